"""A sheet's spots as they stand, and what would be found of it with spots elsewhere, which is not kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from negcat import records
from negcat.catalogue import Findings
from negcat.work.archive import Archive
from negcat.work.carrying import PlacedSpot, known_place
from negcat.work.computing import compute
from negcat.work.measure import SpotChange, confirmed, state_of_spots, with_spots
from negcat.work.naming import known_sheet
from negcat.work.on_scan import BASE_FOG_SPOT
from negcat.work.planning import Equipment

__all__ = ["Lying", "Standing", "lying_on", "standing", "try_spots"]


@dataclass(frozen=True)
class Standing:
    """A sheet with its spots somewhere, and what is found with them there.

    Parameters
    ----------
    record : the sheet's, with its spots.
    findings : what is found with them.
    state : the mark by which the state that is kept is known again, see
        :func:`negcat.work.measure.state_of_spots`.
    """

    record: records.Sheet
    findings: Findings
    state: str


def standing(archive: Archive, sheet: str) -> Standing:
    """Look up a sheet's spots as they are kept.

    Parameters
    ----------
    archive : the archive, which is only read.
    sheet : the sheet's id.

    Raises
    ------
    UnknownNameError : no such sheet.
    """
    record = known_sheet(archive.catalogue, sheet)
    kept = archive.catalogue.findings(record.sheet)
    # Findings are kept with every change; an archive open for reading only may lag behind for a moment.
    found = kept or compute(archive, Equipment(archive.catalogue), record)
    return Standing(record, found, state_of_spots(record, kept))


def try_spots(
    archive: Archive, now: Standing, changes: Sequence[SpotChange], *, confirm: bool = False
) -> Standing:
    """Find what would be found of a sheet with spots set elsewhere; nothing is kept.

    Only the spots that are changed are read from the master: what was measured holds for the others.

    Parameters
    ----------
    archive : the archive, which is only read.
    now : what stands.
    changes, confirm : as for :func:`negcat.work.measure.measure_sheet`, which finds the same.

    Raises
    ------
    UnknownNameError : no such reading or scan.
    NotationError : a place outside the scan, a diameter that can't be.
    ScanError : the master can't be read.
    """
    equipment = Equipment(archive.catalogue)
    changed = confirmed(now.record, compute(archive, equipment, now.record)) if confirm else now.record
    changed = with_spots(archive.catalogue, changed, changes)
    if changed == now.record:
        return now
    return Standing(changed, compute(archive, equipment, changed), now.state)


@dataclass(frozen=True)
class Lying:
    """How a spot lies on a scan.

    Parameters
    ----------
    name : the reading's, or ``base+fog``.
    index : the reading's place among the sheet's readings; None for base+fog.
    place : where it lies; None where no spot is set.
    """

    name: str
    index: int | None
    place: PlacedSpot | None


def lying_on(archive: Archive, record: records.Sheet, scan: str) -> tuple[Lying, ...]:
    """Place a sheet's spots on one of its scans, as far as it is known how the scans lie on each other.

    Parameters
    ----------
    archive : the archive, which is only read.
    record : the sheet's.
    scan : one of its scans.

    Returns
    -------
    Every reading's, then base+fog's, unless a reading bears that name.
    """
    spots: list[tuple[str, int | None, records.Spot | None]] = [
        (reading.name, index, reading.spot) for index, reading in enumerate(record.readings)
    ]
    if all(name != BASE_FOG_SPOT for name, *_ in spots):
        spots.append((BASE_FOG_SPOT, None, record.base_fog_spot))
    return tuple(
        Lying(name, index, None if spot is None else known_place(archive, record, spot, scan))
        for name, index, spot in spots
    )
