"""The command that says what worked and what to change."""

from __future__ import annotations

import csv
import sys
from pathlib import Path
from typing import Any

import click

from negcat.cli.options import archive_option, json_option, open_archive, sheet_filters
from negcat.cli.output import print_json
from negcat.cli.review_text import accepted_text, review_text
from negcat.work.accepting import accept, accepted_json
from negcat.work.finding import query_of
from negcat.work.reviewing import BY, review_csv, review_json
from negcat.work.reviewing import review as review_sheets


@click.command()
@sheet_filters
@click.option(
    "--by",
    type=click.Choice(list(BY)),
    help="Group the sheets by this decision, and say how often each came out as planned.",
)
@click.option(
    "--accept", "key", metavar="NAME", help="Accept the advice of this name: a change that holds from now on."
)
@click.option(
    "--from",
    "effective_from",
    metavar="DATE",
    help="With --accept: the day, or day and time, from which on it holds.",
)
@click.option("--csv", "as_csv", is_flag=True, help="Print the factors, or with --by the groups, as CSV.")
@json_option
@archive_option
def review(
    archive_dir: Path | None,
    as_json: bool,
    as_csv: bool,
    by: str | None,
    key: str | None,
    effective_from: str | None,
    **filters: Any,
) -> None:
    """Say what worked, and what to do differently, as far as the sheets that fit all of it tell.

    Every ordinary sheet is a test: all are fitted together, so that film, cell, shutter and development are told
    apart as far as they can be. Accepting an advice changes the film, lens or shutter from a day on; sheets made
    before keep what was believed then.

    \b
    Examples:
      negcat review
      negcat review --film "Marl 400" --by cell
      negcat review --suits long-scale
      negcat review --accept index-marl-400 --from 2026-06-01
    """
    if as_json and as_csv:
        raise click.UsageError("Give --json or --csv, not both.")
    if effective_from and not key:
        raise click.UsageError("--from says from when on an advice holds: it goes with --accept NAME.")
    query = query_of(filters)
    if key is not None:
        with open_archive(archive_dir) as archive:
            accepted = accept(archive, key, via="review --accept", query=query, effective_from=effective_from)
        if as_json:
            print_json(accepted_json(accepted))
        else:
            click.echo(accepted_text(accepted_json(accepted)))
        return
    with open_archive(archive_dir, readonly=True) as archive:
        done = review_sheets(archive, query, by)
        ring = done.ring()
    if as_json:
        print_json(review_json(done, ring))
    elif as_csv:
        head, rows = review_csv(done, by)
        writer = csv.writer(sys.stdout, lineterminator="\n")
        writer.writerow(head)
        writer.writerows(rows)
    else:
        click.echo(review_text(review_json(done), by))
