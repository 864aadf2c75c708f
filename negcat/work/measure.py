"""Measure sheets when asked to: spots set, carried spots confirmed, masters read again."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from negcat import records
from negcat.catalogue import Findings
from negcat.errors import NotationError, UnknownNameError
from negcat.work.archive import Archive
from negcat.work.computing import compute
from negcat.work.naming import known_sheet
from negcat.work.on_scan import BASE_FOG_SPOT
from negcat.work.planning import Equipment

__all__ = ["SheetOutcome", "SpotChange", "measure_sheet", "measured_sheet_ids"]


@dataclass(frozen=True)
class SpotChange:
    """A spot to set.

    Parameters
    ----------
    name : the reading's name, or ``base+fog``.
    x, y : fractions of the upright scan's width and height from its top left.
    diameter_mm : on the film; None keeps the reading's, else the default.
    """

    name: str
    x: float
    y: float
    diameter_mm: float | None

    @classmethod
    def parse(cls, text: str) -> SpotChange:
        """Read ``NAME=X,Y[,DIAMETER_MM]``.

        Raises
        ------
        NotationError : anything else, or a place outside the scan.

        Examples
        --------
        >>> SpotChange.parse("kiln mouth=0.31,0.64")
        SpotChange(name='kiln mouth', x=0.31, y=0.64, diameter_mm=None)
        """
        name, equals, places = text.rpartition("=")
        parts = places.split(",")
        try:
            numbers = [float(part) for part in parts]
        except ValueError:
            numbers = []
        if not equals or not name.strip() or len(numbers) not in (2, 3):
            raise NotationError(
                f"'{text}' is no spot: write NAME=X,Y or NAME=X,Y,DIAMETER_MM, as \"kiln mouth=0.31,0.64,2\""
            )
        x, y, *rest = numbers
        if not (0 <= x <= 1 and 0 <= y <= 1):
            raise NotationError(
                f"the spot '{text}' lies outside the scan: x and y are fractions from 0 to 1 of its width and height"
            )
        return cls(name.strip(), x, y, rest[0] if rest else None)


@dataclass(frozen=True)
class SheetOutcome:
    """A sheet measured: its verdict, and its readings as ``negcat show --json`` has them."""

    sheet: str
    verdict: str
    readings: Sequence[Mapping[str, Any]]

    def as_json(self) -> dict[str, Any]:
        """Give what ``negcat measure --json`` prints of a sheet."""
        return {"sheet": self.sheet, "verdict": self.verdict, "readings": [dict(r) for r in self.readings]}


def measured_sheet_ids(archive: Archive) -> list[str]:
    """List every sheet that has a scan."""
    return list(dict.fromkeys(scan["sheet"] for scan in archive.catalogue.scans() if scan["sheet"]))


def measure_sheet(
    archive: Archive,
    sheet: str,
    changes: Sequence[SpotChange] = (),
    *,
    confirm: bool = False,
    via: str = "measure",
) -> SheetOutcome:
    """Set spots and measure a sheet again, from its master.

    Parameters
    ----------
    archive : the archive.
    sheet : the sheet's id.
    changes : spots to set, on the scan that the sheet is measured on; they go into the sheet's record, whose
        old values stay in its history.
    confirm : take the spots that were carried over from another scan as set where they lie now.
    via : the way in, kept in the history.

    Raises
    ------
    UnknownNameError : no such sheet or reading.
    ScanError : the master can't be read.
    """
    catalogue = archive.catalogue
    record = known_sheet(catalogue, sheet)
    changed = record
    if confirm:
        # Only now is it sure where they lie: the scans may have been taken since they were last looked at.
        before = compute(archive, Equipment(catalogue), record)
        catalogue.save_findings(before)
        changed = _confirmed(changed, before)
    if changes:
        scans_there = catalogue.scans_of(record.sheet)
        changed = _with_spots(changed, changes, scans_there[0]["scan"] if scans_there else None)
    if changed is not record:
        record = changed
        catalogue.take([records.Records(sheets=(record,))], via=via)
    # Setting a spot says nothing of the rest; asked for nothing else, everything is read anew.
    findings = compute(archive, Equipment(catalogue), record, reuse=False, fresh=not changes and not confirm)
    catalogue.save_findings(findings)
    assert findings.result is not None
    return SheetOutcome(record.sheet, findings.result["verdict"], findings.readings)


def _confirmed(record: records.Sheet, findings: Findings) -> records.Sheet:
    """Set the carried spots where they lie."""
    carried = {
        reading["name"]: records.Spot.model_validate(reading["spot"])
        for reading in findings.readings
        if reading.get("spot_status") == "carried"
    }
    base_fog = findings.base_fog or {}
    updates: dict[str, Any] = {}
    if base_fog.get("spot_status") == "carried":
        updates["base_fog_spot"] = records.Spot.model_validate(base_fog["spot"])
    if not carried and not updates:
        return record
    readings = tuple(
        reading.model_copy(update={"spot": carried.get(reading.name, reading.spot)})
        for reading in record.readings
    )
    return record.model_copy(update={"readings": readings, **updates})


def _with_spots(record: records.Sheet, changes: Iterable[SpotChange], scan: str | None) -> records.Sheet:
    """Put spots into a sheet's record, as places on a scan."""
    readings = {reading.name: reading for reading in record.readings}
    updates: dict[str, Any] = {}
    for change in changes:
        if change.name == BASE_FOG_SPOT and change.name not in readings:
            updates["base_fog_spot"] = _spot(change, record.base_fog_spot, scan)
        elif change.name in readings:
            reading = readings[change.name]
            readings[change.name] = reading.model_copy(update={"spot": _spot(change, reading.spot, scan)})
        else:
            raise UnknownNameError(
                f"sheet {record.sheet} has no reading '{change.name}'; it has "
                f"{', '.join(readings) or 'none'} (and '{BASE_FOG_SPOT}')"
            )
    return record.model_copy(update={"readings": tuple(readings.values()), **updates})


def _spot(change: SpotChange, before: records.Spot | None, scan: str | None) -> records.Spot:
    values: dict[str, Any] = {"x": change.x, "y": change.y, "scan": scan}
    if change.diameter_mm is not None:
        values["diameter_mm"] = change.diameter_mm
    elif before is not None:
        values["diameter_mm"] = before.diameter_mm
    try:
        return records.Spot.model_validate(values)
    except ValueError as error:
        raise NotationError(
            f"the spot of '{change.name}' can't be {change.diameter_mm:g} mm wide: write 0.05 to 50 mm"
        ) from error
