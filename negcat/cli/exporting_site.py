"""The command that writes pages which need no server."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from negcat.cli.options import archive_option, json_option, open_archive
from negcat.cli.output import print_json, progress, warn

__all__ = ["site"]


@click.command()
@click.argument("directory", metavar="DIR", type=click.Path(path_type=Path))
@json_option
@archive_option
def site(directory: Path, as_json: bool, archive_dir: Path | None) -> None:
    """Write the archive as pages that need no server into the new folder DIR, for a shelf or a stick.

    DIR/index.html opens in any browser, without network: the wall, a page for each sheet, and those of films, lenses
    and batches, with their pictures. Nothing in it names a folder of this machine; masters are not in it. Exit status
    0: all is there; 1: some pictures couldn't be made, each named with its reason.

    \b
    Example:
      negcat export site /media/stick/negatives
    """
    from negcat.site import site_of

    with open_archive(archive_dir, readonly=True) as archive:
        run = site_of(archive, directory)
        with progress(run, len(archive.catalogue.sheet_ids()), "Writing pages") as items:
            for _ in items:
                pass
    left = run.left
    if as_json:
        print_json(left.as_json())
    else:
        click.echo(
            f"{directory}: {left.sheets} sheets, {left.pages} pages, {left.pictures} pictures; open "
            f"{directory / 'index.html'} in a browser."
        )
    for one in left.unpictured:
        warn(f"no picture of {one.sheet}: {one.reason}")
    if left.unpictured:
        sys.exit(1)
