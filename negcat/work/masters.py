"""Masters that the catalogue knows: found again, and read only when they are still what was taken."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from negcat import scans
from negcat.errors import ScanError
from negcat.places import Address, Place
from negcat.scans import Reduced, ScanHeader
from negcat.work.archive import Archive
from negcat.work.reading_apart import read_apart
from negcat.work.reading_scans import PREVIEW_SIDE

__all__ = ["find_master", "header_of", "reduced_of"]


def find_master(archive: Archive, row: Mapping[str, Any]) -> Place:
    """Find the file of a scan: where it was taken, or where a copy of it was seen.

    Raises
    ------
    ScanError : none of them is there unchanged.
    """
    unasked: list[str] = []
    for known in ({"path": row["path"], "size_bytes": row["size_bytes"], "modified_ns": row["modified_ns"]},
                  *archive.catalogue.paths_of(row["scan"])):  # fmt: skip
        path = archive.master_path(known["path"])
        try:
            status = path.stat()
        except OSError as error:
            if isinstance(path, Address) and not isinstance(error, FileNotFoundError):
                unasked.append(f"{path}: {error.strerror}")
            continue
        if status.st_size != row["size_bytes"]:
            continue
        # A touched file of the same length is read once to see that it is still the same master.
        if status.st_mtime_ns == known["modified_ns"] or scans.sha256_of(path) == row["sha256"]:
            return path
    if unasked:
        raise ScanError(
            f"the master of scan {row['scan']} can't be looked at ({'; '.join(unasked)}); see that its store can be "
            "reached from here, and try again"
        )
    raise ScanError(
        f"the master of scan {row['scan']} is not at {archive.master_path(row['path'])} any more, or was changed; "
        "put it back, or take it from where it lies now with 'negcat ingest'"
    )


def header_of(archive: Archive, row: Mapping[str, Any]) -> ScanHeader:
    """Read the header of a scan's master."""
    return scans.read_header(find_master(archive, row))


def reduced_of(archive: Archive, row: Mapping[str, Any]) -> Reduced:
    """Read a scan's master whole and make it small."""
    header = header_of(archive, row)
    return read_apart(header.path, scans.read_reduced, header, max_side=PREVIEW_SIDE)
