"""Join a scan by hand."""

from __future__ import annotations

from negcat.work.archive import Archive
from negcat.work.computing import refresh
from negcat.work.ingest import Item, join_and_measure
from negcat.work.masters import reduced_of
from negcat.work.naming import known_scan, known_sheet
from negcat.work.previews import make_previews

__all__ = ["match_scan"]


def match_scan(archive: Archive, scan: str, sheet: str, *, via: str = "match") -> Item:
    """Join a scan to a sheet and measure it.

    Parameters
    ----------
    archive : the archive.
    scan : the scan's id, or its path.
    sheet : the sheet's id.
    via : the way in, kept in the history.

    Returns
    -------
    What became of it.

    Raises
    ------
    UnknownNameError : no such scan or sheet.
    ScanError : the master can't be read.
    """
    catalogue = archive.catalogue
    row = known_scan(archive, scan)
    record = known_sheet(catalogue, sheet)
    reduced = reduced_of(archive, row)
    before = row["sheet"]
    with catalogue.writing():
        catalogue.join_scan(row["scan"], record.sheet, joined_by="by hand", via=via)
        join_and_measure(archive, row["scan"], record.sheet, reduced)
        if before is not None and before != record.sheet:
            refresh(archive, [before])
    joined = catalogue.scan(row["scan"])
    findings = catalogue.findings(record.sheet)
    assert joined is not None
    assert findings is not None
    make_previews(archive, joined, reduced)
    return Item(
        path=str(archive.master_path(row["path"])),
        status="unchanged" if before == record.sheet else "added",
        sheet=record.sheet,
        scan=row["scan"],
        reason=f"not measured: {joined['unmeasured']}" if joined["unmeasured"] else None,
        measured=findings.scan == row["scan"],
    )
