"""Compute all that is found of sheets: plan, densities and judgement joined, and kept as findings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from negcat import records
from negcat.catalogue import Findings
from negcat.errors import ScanError
from negcat.work.archive import Archive
from negcat.work.in_hand import InHand
from negcat.work.on_scan import Measured, measure_on_scans
from negcat.work.planning import Equipment
from negcat.work.writing_findings import findings_from

__all__ = ["compute", "refresh"]


def refresh(
    archive: Archive,
    sheets: Iterable[str],
    in_hand: Mapping[str, InHand] | None = None,
    *,
    leave_marked: bool = False,
) -> list[str]:
    """Compute the findings of sheets anew and keep them.

    Parameters
    ----------
    archive : the archive.
    sheets : ids.
    in_hand : scans in hand, by id, so that they aren't read twice.
    leave_marked : they stay marked as out of date, until whoever calls is done with all that hangs on them.

    Returns
    -------
    The sheets whose master is away. They stay marked as out of date. What was found before stands meanwhile,
    unless it was measured in another channel than the film's record names now.
    """
    catalogue = archive.catalogue
    equipment = Equipment(catalogue)
    waiting: list[Findings] = []
    away: list[str] = []

    def keep() -> None:
        if not waiting:
            return
        computed = {findings.sheet for findings in waiting}
        with catalogue.writing():
            catalogue.save_findings(*waiting)
            catalogue.mark_out_of_date(computed if leave_marked else computed & set(away))
        waiting.clear()

    for sheet in sheets:
        record = catalogue.sheet(sheet)
        if record is None:
            continue
        try:
            waiting.append(compute(archive, equipment, record, in_hand=in_hand or {}))
        except ScanError as error:
            away.append(sheet)
            catalogue.mark_out_of_date([sheet])
            if not _same_channel(catalogue.findings(sheet), equipment.film(record.film).channel):
                waiting.append(compute(archive, equipment, record, blind=str(error)))
        if len(waiting) >= 500:
            keep()
    keep()
    return away


def _same_channel(findings: Findings | None, film_channel: str) -> bool:
    """Tell whether a sheet was measured, if at all, in the channel that its film's record names."""
    if findings is None or findings.scan is None:
        return findings is not None
    measured_in = findings.provenance.get("channel")
    return measured_in in ({"grey", "green"} if film_channel == "grey" else {film_channel})


def compute(
    archive: Archive,
    equipment: Equipment,
    record: records.Sheet,
    *,
    in_hand: Mapping[str, InHand] | None = None,
    reuse: bool = True,
    fresh: bool = False,
    blind: str | None = None,
) -> Findings:
    """Compute everything there is to know of a sheet.

    Parameters
    ----------
    archive : the archive; of the catalogue only what is known of the scans is written, and where it is open
        for reading only, nothing.
    equipment : what the record refers to.
    record : the sheet's record.
    in_hand : scans in hand, by id.
    reuse : take densities over that were measured on the same spot of the same scan with the same profile.
    fresh : look the scan over anew, whatever is known of it.
    blind : why no scan is looked at; None: they are.

    Returns
    -------
    The findings, not yet kept.
    """
    before = archive.catalogue.findings(record.sheet) if reuse else None
    measured = (
        measure_on_scans(archive, equipment, record, in_hand or {}, before, fresh=fresh)
        if blind is None
        else Measured(why=(f"Not measured again: {blind}.",))
    )
    # Where nothing was measured, spots are said to lie on the scan that they were recorded on.
    return findings_from(
        equipment, record, measured, measured.scan or archive.catalogue.spot_scan(record.sheet)
    )
