"""The command that shows one sheet."""

from __future__ import annotations

from pathlib import Path

import click

from negcat.cli.history_text import history_text
from negcat.cli.options import archive_option, json_option, open_archive
from negcat.cli.output import print_json
from negcat.cli.sheet_text import sheet_text
from negcat.work.history import history_json, history_of, named
from negcat.work.show import dossier


@click.command()
@click.argument("sheet")
@click.option(
    "--history",
    "of_history",
    is_flag=True,
    help="Show what was changed of it instead, the newest change first; of a removed sheet too.",
)
@archive_option
@json_option
def show(sheet: str, of_history: bool, archive_dir: Path | None, as_json: bool) -> None:
    """Show one SHEET: its record, what was planned, given and found, and the result.

    \b
    Examples:
      negcat show BW-07
      negcat show BW-07 --history
    """
    with open_archive(archive_dir, readonly=True) as archive:
        if of_history:
            kind, name = named(archive, "sheet", sheet)
            changes = history_of(archive, kind, name)
            if as_json:
                print_json(history_json(kind, name, changes))
            else:
                click.echo(history_text(kind, name, changes))
            return
        found = dossier(archive, sheet)
    if as_json:
        print_json(found)
    else:
        click.echo(sheet_text(found))
