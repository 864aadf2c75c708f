"""The command that writes XMP side files."""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

import click

from negcat.cli.options import archive_option, json_option, open_archive
from negcat.cli.output import print_json, progress, warn

__all__ = ["xmp"]


@click.command()
@click.argument("directory", metavar="[DIR]", required=False, type=click.Path(path_type=Path))
@json_option
@archive_option
def xmp(directory: Path | None, as_json: bool, archive_dir: Path | None) -> None:
    """Write an XMP side file for each scan that is joined to a sheet: NAME.tif.xmp for NAME.tif.

    Into the new folder DIR; without it, beside each master. There only what negcat wrote, and nobody changed since, is
    replaced; masters are never touched. When and how the negative was exposed stands in the fields of Exif, Dublin
    Core and IPTC, where they mean just that; readings, densities, verdict and all else in fields of negcat's own, which
    schemas/xmp.md describes. Exit status 0: all are written; 1: some are refused, each with its reason; 2: none is.

    \b
    Examples:
      negcat export xmp side-files
      negcat export xmp
    """
    from negcat.work.export_xmp import export_xmp

    with (
        open_archive(archive_dir, readonly=True) as archive,
        progress(
            export_xmp(archive, directory), archive.catalogue.count_masters(), "Writing side files"
        ) as items,
    ):
        files = list(items)
    counts = Counter(file.status for file in files)
    if as_json:
        print_json(
            {
                "folder": None if directory is None else str(directory),
                "written": counts["written"],
                "unchanged": counts["unchanged"],
                "refused": counts["refused"],
                "items": [file.as_json() for file in files],
            }
        )
    else:
        where = "beside the masters" if directory is None else str(directory)
        same = f", {counts['unchanged']} there already" if counts["unchanged"] else ""
        click.echo(f"{where}: {counts['written']} side files written{same}.")
    for file in files:
        if file.status == "refused":
            warn(f"scan {file.scan} of {file.sheet}: {file.reason}")
    if counts["refused"]:
        sys.exit(2 if counts["refused"] == len(files) else 1)
