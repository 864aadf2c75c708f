"""Commands that keep the archive sound."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from negcat.cli.options import archive_option, json_option, open_archive
from negcat.cli.output import print_json, progress, table
from negcat.work.verify import verify_archive


@click.command()
@archive_option
@json_option
def verify(archive_dir: Path | None, as_json: bool) -> None:
    """Check that every master is still there and unchanged (SHA-256), and that the catalogue is sound.

    \b
    Example:
      negcat verify
    """
    with open_archive(archive_dir, readonly=True) as archive:
        run = verify_archive(archive)
        with progress(run, run.length, "Checking masters") as items:
            checks = list(items)
    failed = [check for check in checks if check.status != "unchanged"]
    if as_json:
        print_json(
            {
                "masters": len(checks),
                "unchanged": len(checks) - len(failed),
                "catalogue": run.catalogue_faults or "sound",
                "items": [check.as_json() for check in checks],
            }
        )
    else:
        if failed:
            click.echo(
                table(
                    ["scan", "sheet", "status", "path", "reason"],
                    [[c.scan, c.sheet, c.status, c.path, c.reason] for c in failed],
                )
            )
        click.echo(f"{len(checks) - len(failed)} of {len(checks)} masters are there and unchanged.")
        for fault in run.catalogue_faults:
            click.echo(f"The catalogue is not sound: {fault}.")
        if not run.catalogue_faults:
            click.echo("The catalogue is sound.")
    if run.catalogue_faults or (checks and len(failed) == len(checks)):
        sys.exit(2)
    if failed:
        sys.exit(1)
