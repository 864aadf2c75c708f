"""What would be found of a sheet with its spots elsewhere: computed as when they are set, and not kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from negcat import records
from negcat.catalogue import Findings
from negcat.errors import UnknownNameError
from negcat.work.archive import Archive
from negcat.work.carrying import PlacedSpot, known_place
from negcat.work.computing import compute
from negcat.work.measure import SpotChange, confirmed, state_of_spots, with_spots
from negcat.work.naming import known_sheet
from negcat.work.on_scan import BASE_FOG_SPOT
from negcat.work.planning import Equipment

__all__ = ["Lying", "Spots", "Trial", "spots_on", "try_spots"]


@dataclass(frozen=True)
class Lying:
    """How a spot lies on the scan that is looked at.

    Parameters
    ----------
    name : the reading's, or ``base+fog``.
    index : the reading's place among the sheet's readings; None for base+fog.
    place : where it lies; None where no spot is set.
    """

    name: str
    index: int | None
    place: PlacedSpot | None


@dataclass(frozen=True)
class Spots:
    """A sheet's spots as they stand.

    Parameters
    ----------
    sheet : the sheet's id.
    scan : the one that is looked at.
    measured : the one that the sheet is measured on; None where it isn't.
    state : the mark by which this state is known again, see :func:`negcat.work.measure.state_of_spots`.
    lying : every reading's, then base+fog's, on the scan that is looked at.
    findings : what was found with them.
    """

    sheet: str
    scan: str
    measured: str | None
    state: str
    lying: tuple[Lying, ...]
    findings: Findings


@dataclass(frozen=True)
class Trial:
    """What stands, and what would be found instead."""

    now: Spots
    then: Findings


def spots_on(archive: Archive, sheet: str, scan: str = "") -> Spots:
    """Look up a sheet's spots as they lie on one of its scans.

    Parameters
    ----------
    archive : the archive, which is only read.
    sheet, scan : ids; without a scan the one that the sheet is measured on, else its newest.

    Raises
    ------
    UnknownNameError : no such sheet, or the scan isn't one of it.
    """
    catalogue = archive.catalogue
    record = known_sheet(catalogue, sheet)
    scans = [str(row["scan"]) for row in catalogue.scans_of(record.sheet)]
    if not scans or (scan and scan not in scans):
        named = f"scan '{scan}'" if scan else "scan yet"
        raise UnknownNameError(f"sheet {record.sheet} has no {named}")
    scan = scan or scans[0]
    kept = catalogue.findings(record.sheet)
    spots: list[tuple[str, int | None, records.Spot | None]] = [
        (reading.name, index, reading.spot) for index, reading in enumerate(record.readings)
    ]
    if all(name != BASE_FOG_SPOT for name, *_ in spots):
        spots.append((BASE_FOG_SPOT, None, record.base_fog_spot))
    return Spots(
        sheet=record.sheet,
        scan=scan,
        measured=kept.scan if kept else None,
        state=state_of_spots(record, kept),
        lying=tuple(Lying(name, index, _place(archive, record, spot, scan)) for name, index, spot in spots),
        findings=kept or compute(archive, Equipment(catalogue), record),
    )


def _place(
    archive: Archive, record: records.Sheet, spot: records.Spot | None, scan: str
) -> PlacedSpot | None:
    return None if spot is None else known_place(archive, record, spot, scan)


def try_spots(
    archive: Archive, sheet: str, changes: Sequence[SpotChange], *, scan: str = "", confirm: bool = False
) -> Trial:
    """Find what would be found of a sheet with spots set elsewhere; nothing is kept.

    Only the spots that are changed are read from the master: what was measured holds for the others.

    Parameters
    ----------
    archive : the archive, open for reading only.
    sheet : the sheet's id.
    changes : the spots, as for :func:`negcat.work.measure.measure_sheet`.
    scan : the one that is looked at.
    confirm : as for :func:`negcat.work.measure.measure_sheet`.

    Returns
    -------
    What stands, and what :func:`negcat.work.measure.measure_sheet` would find.

    Raises
    ------
    UnknownNameError : no such sheet, reading or scan.
    NotationError : a place outside the scan, a diameter that can't be.
    ScanError : the master can't be read.
    """
    now = spots_on(archive, sheet, scan)
    record = known_sheet(archive.catalogue, now.sheet)
    equipment = Equipment(archive.catalogue)
    changed = confirmed(record, compute(archive, equipment, record)) if confirm else record
    changed = with_spots(archive.catalogue, changed, changes)
    if changed == record:
        return Trial(now, now.findings)
    return Trial(now, compute(archive, equipment, changed))
