"""Commands that keep the archive sound."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from negcat.cli.options import (
    PlaceType,
    archive_option,
    json_option,
    open_archive,
    workers_named,
    workers_options,
)
from negcat.cli.output import print_json, progress, table, warn
from negcat.errors import ArchiveError, ScanError
from negcat.places import Place

if TYPE_CHECKING:
    from negcat.work.archive import Archive
    from negcat.work.verify import Check, Verification


@click.command()
@click.option("--full", is_flag=True, help="Read every master whole and compare its SHA-256.")
@click.option(
    "--older-than",
    "older_than",
    metavar="DAYS",
    type=click.FloatRange(0),
    help="With --full: only those not found unchanged in the last so many days.",
)
@click.option(
    "--minutes",
    metavar="M",
    type=click.FloatRange(0, min_open=True),
    help="With --full: stop after so many minutes; the next run goes on from there.",
)
@workers_options("the masters, with --full,")
@click.option(
    "--find",
    "places",
    metavar="PATH",
    multiple=True,
    type=PlaceType(exists=True),
    help="Look for masters that are gone in this file or folder, or at this address, by their content, and take it for "
    "their place.",
)
@click.option("--previews", is_flag=True, help="Make pictures that are missing or damaged again.")
@click.option("-q", "--quiet", is_flag=True, help="Say nothing where all is well.")
@archive_option
@json_option
def verify(
    full: bool,
    older_than: float | None,
    minutes: float | None,
    jobs: int | None,
    cluster: str | None,
    places: tuple[Place, ...],
    previews: bool,
    quiet: bool,
    archive_dir: Path | None,
    as_json: bool,
) -> None:
    """Check that every master is still there and unchanged, and that the catalogue is sound.

    Without --full a master counts as unchanged while its size and time are what they were; where they aren't, it is
    read whole. With --full every byte is read, what was checked longest ago first; a run that was interrupted is gone
    on with. Masters at addresses (s3://bucket/…) are checked likewise: their store is asked for size and time, or for
    every byte. Every check is kept in the archive. Exit status 0: all is well; 1: some masters are not; 2: none is, or
    the catalogue is not sound.

    \b
    Examples:
      negcat verify
      negcat verify --full --older-than 180 --minutes 60 --quiet
      negcat verify --find /media/disk2/scans
      negcat verify --find s3://negatives
    """
    from negcat.work.previews import mend_previews
    from negcat.work.verify import Verification

    if not full and any(given is not None for given in (older_than, minutes, jobs, cluster)):
        raise click.UsageError("--older-than, --minutes, --jobs and --workers go with --full.")
    with _opened(archive_dir, to_write=bool(places)) as archive:
        run = Verification(
            archive,
            full=full,
            workers=workers_named(jobs, cluster) if full else 0,
            older_than_days=older_than,
            minutes=minutes,
        )
        if run.earlier and not quiet:
            warn(f"going on with a run that was interrupted, which had checked {run.earlier} masters")
        with progress(run, run.length, "Checking masters", rate=full) as items:
            checks = list(items)
        if places:
            found = {check.scan: check for check in run.find_again(_failed(checks), places)}
            checks = [found.get(check.scan, check) for check in checks]
        made: list[str] = []
        unmade: list[str] = []
        if previews:
            with progress(archive.catalogue.scans(), run.length, "Looking at pictures") as rows:
                for row in rows:
                    try:
                        if mend_previews(archive, row):
                            made.append(row["scan"])
                    except ScanError as error:
                        unmade.append(str(error))
        unread = archive.catalogue.readonly
    failed = _failed(checks)
    if as_json:
        print_json(_document(run, checks, made, unmade))
    elif failed or run.catalogue_faults or unmade or not quiet:
        _say(run, checks, failed, made if previews else None, unmade)
    if unread and not quiet:
        warn("the archive can't be written to, so that this check is not kept in it")
    if run.catalogue_faults or (checks and len(failed) == len(checks)):
        sys.exit(2)
    if failed or unmade:
        sys.exit(1)


def _opened(archive_dir: Path | None, *, to_write: bool) -> Archive:
    """Open the archive, for reading only where it can't be written."""
    try:
        return open_archive(archive_dir)
    except ArchiveError:
        if to_write:
            raise
        return open_archive(archive_dir, readonly=True)


def _failed(checks: list[Check]) -> list[Check]:
    return [check for check in checks if not check.sound]


def _document(
    run: Verification, checks: list[Check], made: list[str], unmade: list[str]
) -> dict[str, object]:
    failed = len(_failed(checks))
    return {
        "masters": len(checks),
        "unchanged": len(checks) - failed,
        "moved": sum(check.status == "moved" for check in checks),
        "catalogue": run.catalogue_faults or "sound",
        "finished": run.finished,
        "earlier": run.earlier,
        "recorded": run.recorded,
        "previews_made": made,
        "previews_failed": unmade,
        "items": [check.as_json() for check in checks],
    }


def _say(
    run: Verification, checks: list[Check], failed: list[Check], made: list[str] | None, unmade: list[str]
) -> None:
    """Print what was found, the failures by name."""
    moved = [check for check in checks if check.status == "moved"]
    if failed or moved:
        click.echo(
            table(
                ["scan", "sheet", "status", "path", "reason"],
                [[c.scan, c.sheet, c.status, c.path, c.reason] for c in (*failed, *moved)],
            )
        )
    click.echo(f"{len(checks) - len(failed)} of {len(checks)} masters are there and unchanged.")
    if not run.finished:
        click.echo("The time is up: run it again to go on with those that were checked longest ago.")
    if made is not None:
        click.echo(f"Pictures made again of {len(made)} {'scan' if len(made) == 1 else 'scans'}.")
    for fault in unmade:
        click.echo(f"A picture can't be made: {fault}")
    for fault in run.catalogue_faults:
        click.echo(f"The catalogue is not sound: {fault}.")
    if not run.catalogue_faults:
        click.echo("The catalogue is sound.")
