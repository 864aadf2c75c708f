"""The command that tells what is loaded in which film holder, and writes down what was loaded."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click

from negcat.cli.options import archive_option, json_option, open_archive
from negcat.cli.output import print_json, table
from negcat.work.holders import holders as sides_of
from negcat.work.holders import holders_json
from negcat.work.loading import load_side


@click.command()
@click.option(
    "--load", "loaded", nargs=3, metavar="HOLDER SIDE FILM", help="Write down that a side was loaded."
)
@click.option("--empty", nargs=2, metavar="HOLDER SIDE", help="Write down that a side was emptied.")
@click.option("--at", metavar="DATE", help="When, as 2026-04-17 or 2026-04-17T08:30; now, unless given.")
@archive_option
@json_option
def holders(
    archive_dir: Path | None,
    as_json: bool,
    loaded: tuple[str, str, str] | None,
    empty: tuple[str, str] | None,
    at: str | None,
) -> None:
    """Tell what is loaded in which holder, since when, and what was exposed in it since.

    Holders are recorded in record files (holders), or here with --load and --empty. A sheet whose record
    contradicts its holder is warned of when it is recorded.

    \b
    Examples:
      negcat holders
      negcat holders --load 5 A "Marl 400"
    """
    if loaded and empty:
        raise click.UsageError("write --load or --empty, not both")
    if at and not (loaded or empty):
        raise click.UsageError("--at says when a side was loaded or emptied: give --load or --empty too")
    writes = loaded or empty
    with open_archive(archive_dir, readonly=not writes) as archive:
        if writes:
            holder, side, film = loaded if loaded else (*empty, None)  # type: ignore[misc]
            when = at or datetime.now().astimezone().strftime("%Y-%m-%dT%H:%M")
            load_side(archive, holder, side, film, when, via="holders --load" if film else "holders --empty")
        listed = sides_of(archive)
    if as_json:
        print_json(holders_json(listed))
        return
    if not listed:
        click.echo("No holder is on record; write them under holders, or use --load.")
        return
    rows = [
        [one.holder, one.side, one.film or "", (one.loaded_at or "")[:16], one.state, ", ".join(one.sheets)]
        for one in listed
    ]
    click.echo(table(["holder", "side", "film", "loaded", "state", "exposed since"], rows))
