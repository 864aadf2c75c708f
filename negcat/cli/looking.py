"""Commands that look over the archive: find, pending."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click

from negcat.cli.options import archive_option, brought_up_to_date, json_option, open_archive, sheet_filters
from negcat.cli.output import figure, print_json, table
from negcat.work.finding import find_in, page_json, query_of

_SHOWN = ("sheet", "exposed", "film", "lens", "cell", "stop", "time", "tag", "batch", "place", "subject")


@click.command()
@sheet_filters
@click.option(
    "--limit",
    metavar="N",
    type=click.IntRange(1),
    default=50,
    show_default=True,
    help="How many are printed.",
)
@archive_option
@json_option
def find(archive_dir: Path | None, as_json: bool, **filters: Any) -> None:
    """Find sheets that fit all of it; TEXT is looked for in places, subjects, notes, readings, films and lenses.

    \b
    Examples:
      negcat find --cell rear --tag N+1
      negcat find kiln --verdict thin --since 2026-05-01
      negcat find --suits long-scale
    """
    query = query_of(filters)
    page = brought_up_to_date(archive_dir, lambda root: find_in(root, query, with_suits=as_json))
    if as_json:
        print_json(page_json(page))
        return
    if page.rows:
        # What was asked for by its range is shown with it.
        head = [*_SHOWN, *(["range"] if query.suits else []), "verdict"]
        right = [place for place, name in enumerate(head) if name == "range"]
        click.echo(table(head, [[_cell(row, name) for name in head] for row in page.rows], right))
    shown = f", the first {len(page.rows)} shown" if page.count > len(page.rows) else ""
    click.echo(f"{page.count} {'sheet' if page.count == 1 else 'sheets'}{shown}.")


def _cell(row: Mapping[str, Any], name: str) -> str | None:
    if name == "exposed":
        return (row["exposed_at"] or "")[:10]
    if name == "range":
        return figure(row["printing_range"])
    found: str | None = row[name]
    return found


@click.command()
@click.option(
    "--temperature",
    "temperature_c",
    metavar="C",
    type=click.FloatRange(5, 45),
    help="Give the times to develop for at this temperature, °C: accepted, learnt from sheets, from film tests.",
)
@archive_option
@json_option
def pending(archive_dir: Path | None, as_json: bool, temperature_c: float | None) -> None:
    """Say what waits: sheets to develop (by film and tag), to scan, scans to join, sheets to measure.

    \b
    Examples:
      negcat pending
      negcat pending --temperature 22
    """
    from negcat.cli.review_text import CAUTION, wrapped
    from negcat.work.pending import pending as pending_work

    with open_archive(archive_dir, readonly=True) as archive:
        waiting = pending_work(archive)
        if temperature_c is not None:
            # Imported here: what learns from sheets takes long to load, and only this needs it.
            from negcat.work.developing import times_at

            times_at(archive, waiting["develop"], temperature_c)
    if as_json:
        print_json(waiting)
        return
    if not any(waiting[part] for part in ("develop", "scan", "join", "measure")):
        click.echo("Nothing waits.")
        return
    if waiting["develop"]:
        click.echo("To develop")
        click.echo(
            table(
                ["  film", "tag", "sheets", ""],
                [
                    [f"  {g['film']}", g["tag"], str(len(g["sheets"])), ", ".join(g["sheets"])]
                    for g in waiting["develop"]
                ],
                right=(2,),
            )
        )
        for group in waiting["develop"]:
            for time in group["advised"] if temperature_c is None else ():
                click.echo(f"  {group['film']}, {group['tag']}: {time['sentence']}")
            for time in group.get("times", ()):
                click.echo(wrapped(f"{group['film']}, {group['tag']}: {time['sentence']}"))
            if temperature_c is not None and not group["times"]:
                click.echo(
                    f"  {group['film']}, {group['tag']}: neither sheets nor film tests tell a time yet"
                )
        if temperature_c is not None:
            click.echo(wrapped(CAUTION))
    if waiting["scan"]:
        click.echo("To scan")
        click.echo(
            table(
                ["  sheet", "film", "tag", "batch"],
                [[f"  {s['sheet']}", s["film"], s["tag"], s["batch"]] for s in waiting["scan"]],
            )
        )
    if waiting["join"]:
        click.echo("To join: 'negcat match SCAN SHEET'")
        click.echo(
            table(
                ["  scan", "file", "why it waits"],
                [[f"  {s['scan']}", Path(s["path"]).name, s["reason"]] for s in waiting["join"]],
            )
        )
    if waiting["measure"]:
        click.echo("To measure")
        click.echo(
            table(["  sheet", "why it waits"], [[f"  {s['sheet']}", s["reason"]] for s in waiting["measure"]])
        )
