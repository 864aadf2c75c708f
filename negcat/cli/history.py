"""Commands about what was changed: its history, bringing back what was, removing a sheet and bringing it back."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import click

from negcat.cli.history_text import history_text, removed_text
from negcat.cli.options import archive_option, json_option, open_archive
from negcat.cli.output import print_json, warn
from negcat.work.history import KINDS, history_json, history_of, named
from negcat.work.removing import bring_back, removed_json
from negcat.work.removing import remove as remove_sheet
from negcat.work.reverting import revert as revert_record

_KINDS = ", ".join(KINDS)


def _kind_and_name(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command ``[KIND] NAME``."""
    return click.argument("words", metavar="[KIND] NAME", nargs=-1, required=True)(command)


def _read(words: Sequence[str]) -> tuple[str, str]:
    if len(words) > 2:
        raise click.UsageError("write the kind and the name, the name in quotes where it has a space.")
    return ("sheet", words[0]) if len(words) == 1 else (words[0], words[1])


@click.command(epilog=f"KIND is one of {_KINDS}.")
@_kind_and_name
@archive_option
@json_option
def history(words: tuple[str, ...], archive_dir: Path | None, as_json: bool) -> None:
    """Show what was changed of a record, the newest change first: when, by which way, what it was and became.

    Without a kind, NAME is a sheet's. Nothing of a history is ever dropped, and a change keeps its number.

    \b
    Examples:
      negcat history BW-07
      negcat history film "Sorrel 100"
      negcat history batch D-62
    """
    kind, name = _read(words)
    with open_archive(archive_dir, readonly=True) as archive:
        kind, name = named(archive, kind, name)
        changes = history_of(archive, kind, name)
    if as_json:
        print_json(history_json(kind, name, changes))
    else:
        click.echo(history_text(kind, name, changes))


@click.command(epilog=f"KIND is one of {_KINDS}; a scan is joined anew with match.")
@_kind_and_name
@click.option(
    "--to",
    "number",
    metavar="NUMBER",
    type=click.IntRange(1),
    required=True,
    help="The change after which it is to stand, by its number in the history.",
)
@archive_option
@json_option
def revert(words: tuple[str, ...], number: int, archive_dir: Path | None, as_json: bool) -> None:
    """Bring a record back to what it was after a change in its history.

    Without a kind, NAME is a sheet's. That is a change itself and kept in the history, so it can be taken back
    too; what rests on the record is computed anew.

    \b
    Examples:
      negcat revert BW-07 --to 2
      negcat revert film "Sorrel 100" --to 1
    """
    kind, name = _read(words)
    with open_archive(archive_dir) as archive:
        done = revert_record(archive, kind, name, number)
    for sentence in done.outcome.warnings:
        warn(sentence)
    if as_json:
        print_json(done.as_json())
    elif done.changed:
        click.echo(f"{done.kind.capitalize()} {done.name} is again what it was after change {number}.")
    else:
        click.echo(
            f"{done.kind.capitalize()} {done.name} stands as it was after change {number} already; nothing was changed."
        )


@click.command()
@click.argument("sheet", required=False)
@click.option(
    "--undo", is_flag=True, help="Bring a removed sheet back, with its scans and all that was found."
)
@click.option("--list", "listing", is_flag=True, help="List the sheets that are removed.")
@archive_option
@json_option
def remove(sheet: str | None, undo: bool, listing: bool, archive_dir: Path | None, as_json: bool) -> None:
    """Remove a SHEET, or bring it back.

    Nothing is lost: a removed sheet is found no more and counts nowhere, but the whole of it is kept, its id is
    given to no other, and --undo puts all back as it was. Its scans wait meanwhile. No master is touched.

    \b
    Examples:
      negcat remove BW-07
      negcat remove --list
      negcat remove --undo BW-07
    """
    if listing == (sheet is not None) or (listing and undo):
        raise click.UsageError("name one sheet, or ask for --list.")
    if sheet is None:
        with open_archive(archive_dir, readonly=True) as archive:
            removed = removed_json(archive)
        if as_json:
            print_json(removed)
        else:
            click.echo(removed_text(removed["sheets"]))
        return
    with open_archive(archive_dir) as archive:
        if undo:
            back = bring_back(archive, sheet)
            name, scans, warnings, said = back.sheet, back.scans, back.warnings, "is back as it was"
        else:
            gone = remove_sheet(archive, sheet)
            name, scans, warnings, said = gone.sheet, gone.scans, (), "is removed"
    for sentence in warnings:
        warn(sentence)
    if as_json:
        print_json({"sheet": name, "removed": not undo, "scans": list(scans), "warnings": list(warnings)})
        return
    click.echo(f"Sheet {name} {said}." + ("" if undo else f" 'negcat remove --undo {name}' brings it back."))
    if scans:
        one = len(scans) == 1
        word, is_now = ("scan", "is") if one else ("scans", "are")
        does = f"{is_now} its own again" if undo else f"{'waits' if one else 'wait'} for that"
        click.echo(f"Its {word} {', '.join(scans)} {does}.")
