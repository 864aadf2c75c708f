"""What waits: to be developed, scanned, joined, measured."""

from __future__ import annotations

from typing import Any

from negcat.work.archive import Archive

__all__ = ["pending"]


def pending(archive: Archive) -> dict[str, Any]:
    """List what waits for someone.

    Returns
    -------
    ``develop``: groups by film and tag with their sheets; ``scan``: developed sheets without a scan;
    ``join``: scans without a sheet, with the reason; ``measure``: sheets whose scan gave no density, with
    the reason.
    """
    return archive.catalogue.pending()
