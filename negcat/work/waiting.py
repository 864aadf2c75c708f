"""Scans that wait for their sheet, looked at again when new sheets are recorded."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from negcat.work.archive import Archive
from negcat.work.joining import Join, SheetIds, decide, side_file_texts

__all__ = ["decide_row", "join_waiting"]


def decide_row(archive: Archive, ids: SheetIds, row: Mapping[str, Any]) -> Join:
    """Decide which sheet a scan on record belongs to, by every name that it was seen under."""
    paths = [archive.master_path(row["path"])]
    paths += [archive.master_path(known["path"]) for known in archive.catalogue.paths_of(row["scan"])]
    last = Join(None, None, None)
    for path in dict.fromkeys(paths):
        last = decide(
            ids, stem=path.stem, side_texts=side_file_texts(path), descriptions=row["description"] or ()
        )
        if last.sheet is not None:
            return last
    return last


def join_waiting(archive: Archive) -> list[tuple[str, str]]:
    """Join the scans that wait, where the archive now holds their sheet.

    Returns
    -------
    (sheet, scan) of each one joined.
    """
    catalogue = archive.catalogue
    rows = catalogue.unmatched_scans()
    if not rows:
        return []
    ids = SheetIds(catalogue.sheet_ids())
    joined = []
    for row in rows:
        join = decide_row(archive, ids, row)
        if join.sheet is not None:
            catalogue.join_scan(row["scan"], join.sheet, joined_by=join.source)
            joined.append((join.sheet, row["scan"]))
        elif join.reason != row["reason"]:
            catalogue.join_scan(row["scan"], None, joined_by=None, reason=join.reason)
    return joined
