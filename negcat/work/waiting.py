"""Scans that wait for their sheet, looked at again when new sheets are recorded."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from negcat.catalogue.removing import removed_reason
from negcat.places import Place
from negcat.work.archive import Archive
from negcat.work.joining import Join, SheetIds, decide, side_file_texts

__all__ = ["claim_elsewhere", "decide_row", "join_waiting", "sheet_ids"]


def sheet_ids(archive: Archive) -> SheetIds:
    """Give the ids that a scan may name: a removed sheet's too, so that its scans don't fall to another."""
    return SheetIds([*archive.catalogue.sheet_ids(), *archive.catalogue.removed_ids()])


def decide_row(archive: Archive, ids: SheetIds, row: Mapping[str, Any]) -> Join:
    """Decide which sheet a scan on record belongs to, by every name that it was seen under."""
    parted = archive.catalogue.removed_sheet_of(row["scan"])
    if parted is not None:
        return Join(None, None, removed_reason(parted))
    join = _decide_by_names(archive, ids, row)
    if join.sheet is not None and archive.catalogue.removed_sheet(join.sheet) is not None:
        said = f"{join.source} names {join.sheet}, which was removed"
        return Join(None, None, f"{said}; 'negcat remove --undo {join.sheet}' brings it back")
    return join


def _decide_by_names(archive: Archive, ids: SheetIds, row: Mapping[str, Any]) -> Join:
    paths = [archive.master_path(row["path"])]
    paths += [archive.master_path(known["path"]) for known in archive.catalogue.paths_of(row["scan"])]
    joins = {path: _decide_path(ids, path, row) for path in dict.fromkeys(paths)}
    sure = {path: join for path, join in joins.items() if join.sheet is not None}
    if len({join.sheet for join in sure.values()}) > 1:
        # A copy under another name is the same picture: two sheets can't both be it.
        claims = ", ".join(f"{path.name} is of {join.sheet}" for path, join in sure.items())
        return Join(None, None, f"its copies name different sheets: {claims}")
    return next(iter(sure.values()), list(joins.values())[-1])


def claim_elsewhere(archive: Archive, ids: SheetIds, path: Place, row: Mapping[str, Any]) -> str | None:
    """Say that a joined scan was seen under the name of another sheet; None where it was not.

    Parameters
    ----------
    archive : the archive.
    ids : its sheet ids.
    path : where the scan was seen.
    row : the scan on record, joined to a sheet.
    """
    if row["joined_by"] == "by hand":
        return None
    join = _decide_path(ids, path, row)
    if join.sheet is None or join.sheet == row["sheet"]:
        return None
    return (
        f"by {join.source} it is of {join.sheet}, but it is joined to {row['sheet']} already; "
        f"'negcat match {row['scan']} {join.sheet}' joins it anew"
    )


def _decide_path(ids: SheetIds, path: Place, row: Mapping[str, Any]) -> Join:
    return decide(
        ids, stem=path.stem, side_texts=side_file_texts(path), descriptions=row["description"] or ()
    )


def join_waiting(archive: Archive, via: str) -> list[tuple[str, str]]:
    """Join the scans that wait, where the archive now holds their sheet.

    Parameters
    ----------
    archive : the archive, open for writing.
    via : the way in of what made their sheet known, kept in the history.

    Returns
    -------
    (sheet, scan) of each one joined.
    """
    catalogue = archive.catalogue
    rows = catalogue.unmatched_scans()
    if not rows:
        return []
    ids = sheet_ids(archive)
    joined = []
    for row in rows:
        join = decide_row(archive, ids, row)
        if join.sheet is not None:
            catalogue.join_scan(row["scan"], join.sheet, joined_by=join.source, via=via)
            joined.append((join.sheet, row["scan"]))
        elif join.reason != row["reason"]:
            catalogue.join_scan(row["scan"], None, joined_by=None, reason=join.reason)
    return joined
