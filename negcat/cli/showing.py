"""The command that shows one sheet."""

from __future__ import annotations

from pathlib import Path

import click

from negcat.cli.options import archive_option, json_option, open_archive
from negcat.cli.output import print_json
from negcat.cli.sheet_text import sheet_text
from negcat.work.show import dossier


@click.command()
@click.argument("sheet")
@archive_option
@json_option
def show(sheet: str, archive_dir: Path | None, as_json: bool) -> None:
    """Show one SHEET: its record, what was planned, given and found, and the result.

    \b
    Example:
      negcat show BW-07
    """
    with open_archive(archive_dir, readonly=True) as archive:
        found = dossier(archive, sheet)
    if as_json:
        print_json(found)
    else:
        click.echo(sheet_text(found))
