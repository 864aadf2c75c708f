"""Join a scan by hand."""

from __future__ import annotations

from negcat.work.archive import Archive
from negcat.work.catching_up import catch_up
from negcat.work.in_hand import InHand
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
    in_hand = InHand(lambda: reduced)
    before = row["sheet"]
    since = catalogue.writes_of_others()
    catalogue.join_scan(row["scan"], record.sheet, joined_by="by hand", via=via)
    # Whoever else writes isn't kept waiting by pixels. Stopped from here on, the next run finds the marks.
    join_and_measure(archive, row["scan"], record.sheet, in_hand, leave_marked=True)
    catch_up(archive, via, {record.sheet}, since)
    joined = catalogue.scan(row["scan"])
    findings = catalogue.findings(record.sheet)
    assert joined is not None
    assert findings is not None
    make_previews(archive, joined, in_hand)
    return Item(
        path=str(archive.master_path(row["path"])),
        status="unchanged" if before == record.sheet else "added",
        sheet=record.sheet,
        scan=row["scan"],
        reason=f"not measured: {joined['unmeasured']}" if joined["unmeasured"] else None,
        measured=findings.scan == row["scan"],
    )
