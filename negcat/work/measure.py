"""Measure sheets when asked to: spots set, carried spots confirmed, masters read again."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from negcat import records
from negcat.catalogue import Catalogue, Findings
from negcat.errors import NegcatError, NotationError, UnknownNameError
from negcat.work.archive import Archive
from negcat.work.computing import compute
from negcat.work.editing import state_of
from negcat.work.naming import known_sheet
from negcat.work.on_scan import BASE_FOG_SPOT
from negcat.work.planning import Equipment

__all__ = [
    "OutdatedSpotsError",
    "SheetOutcome",
    "SpotChange",
    "confirmed",
    "measure_sheet",
    "measured_sheet_ids",
    "state_of_spots",
    "with_spots",
]


@dataclass(frozen=True)
class SpotChange:
    """A spot to set.

    Parameters
    ----------
    name : the reading's name, or ``base+fog``.
    x, y : fractions of the upright scan's width and height from its top left.
    diameter_mm : on the film; None keeps the reading's, else the default.
    scan : the scan that it is a place on; None: the one that the sheet is measured on.
    """

    name: str
    x: float
    y: float
    diameter_mm: float | None = None
    scan: str | None = None

    @classmethod
    def parse(cls, text: str) -> SpotChange:
        """Read ``NAME=X,Y[,DIAMETER_MM]``.

        Raises
        ------
        NotationError : anything else, or a place outside the scan.

        Examples
        --------
        >>> SpotChange.parse("kiln mouth=0.31,0.64")
        SpotChange(name='kiln mouth', x=0.31, y=0.64, diameter_mm=None, scan=None)
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
    seen: str | None = None,
) -> SheetOutcome:
    """Set spots and measure a sheet again, from its master.

    Parameters
    ----------
    archive : the archive.
    sheet : the sheet's id.
    changes : spots to set; they go into the sheet's record, whose old values stay in its history.
    confirm : take the spots that were carried over from another scan as set where they lie now.
    via : the way in, kept in the history.
    seen : :func:`state_of_spots` when somebody looked at them; None: nobody looked.

    Raises
    ------
    UnknownNameError : no such sheet, reading or scan.
    OutdatedSpotsError : the sheet isn't as it was when they were seen. Nothing is written.
    ScanError : the master can't be read. No spot is set then.
    """
    if not changes and not confirm:
        # Asked for nothing else, everything is read anew.
        record = known_sheet(archive.catalogue, sheet)
        before = archive.catalogue.writes_of_others()
        findings = compute(archive, Equipment(archive.catalogue), record, reuse=False, fresh=True)
        with archive.catalogue.writing():
            archive.catalogue.save_findings(findings)
            if archive.catalogue.writes_of_others() != before:
                # The record may be another one by now: the next command that writes computes the sheet again.
                archive.catalogue.mark_out_of_date([sheet])
        return _outcome(findings)
    # A spot is set only once it is measured; and whoever else writes isn't kept waiting by pixels.
    before = archive.catalogue.writes_of_others()
    record, changed, findings = _with_spots_set(archive, sheet, changes, confirm=confirm, seen=seen)
    with archive.catalogue.writing():
        if archive.catalogue.writes_of_others() != before:
            record, changed, findings = _with_spots_set(archive, sheet, changes, confirm=confirm, seen=seen)
        if changed != record:
            archive.catalogue.take([records.Records(sheets=(changed,))], via=via)
        archive.catalogue.save_findings(findings)
    return _outcome(findings)


def _with_spots_set(
    archive: Archive, sheet: str, changes: Sequence[SpotChange], *, confirm: bool, seen: str | None
) -> tuple[records.Sheet, records.Sheet, Findings]:
    """Measure a sheet with spots set, and nothing written of it: its record, as it would be, what is found then."""
    record = known_sheet(archive.catalogue, sheet)
    _refuse_outdated(archive.catalogue, record, seen)
    changed = record
    if confirm:
        # Only now is it sure where they lie: the scans may have been taken since they were last looked at.
        changed = confirmed(changed, compute(archive, Equipment(archive.catalogue), record))
    changed = with_spots(archive.catalogue, changed, changes)
    return record, changed, compute(archive, Equipment(archive.catalogue), changed, reuse=False)


def _outcome(findings: Findings) -> SheetOutcome:
    assert findings.result is not None
    return SheetOutcome(findings.sheet, findings.result["verdict"], findings.readings)


class OutdatedSpotsError(NegcatError):
    """A sheet's record or scans were changed since somebody looked at its spots.

    Parameters
    ----------
    sheet : its id.
    at, via : when and by which way in its record was changed last; None where it never was.
    """

    def __init__(self, sheet: str, at: str | None, via: str | None) -> None:
        super().__init__(
            f"sheet {sheet} was changed meanwhile, so no spot was set; look at how they lie now and save again"
        )
        self.sheet, self.at, self.via = sheet, at, via


def state_of_spots(record: records.Sheet, findings: Findings | None) -> str:
    """Give a mark by which a record, and the scan and profile it was measured with, are known again."""
    measured = [findings.scan, findings.provenance.get("profile")] if findings else []
    written = json.dumps([state_of(record), *measured])
    return hashlib.sha256(written.encode()).hexdigest()[:24]


def _refuse_outdated(catalogue: Catalogue, record: records.Sheet, seen: str | None) -> None:
    if seen is None or seen == state_of_spots(record, catalogue.findings(record.sheet)):
        return
    last = next(iter(catalogue.history("sheets", record.sheet)), {})
    raise OutdatedSpotsError(record.sheet, last.get("at"), last.get("via"))


def confirmed(record: records.Sheet, findings: Findings) -> records.Sheet:
    """Set the carried spots of a record where they lie.

    Parameters
    ----------
    record : the sheet's.
    findings : where they were found to lie.
    """
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


def with_spots(catalogue: Catalogue, record: records.Sheet, changes: Iterable[SpotChange]) -> records.Sheet:
    """Put spots into a sheet's record.

    Parameters
    ----------
    catalogue : knows the sheet's scans.
    record : the sheet's.
    changes : the spots; of a reading named twice the last counts.

    Raises
    ------
    UnknownNameError : no such reading, a scan that isn't one of the sheet.
    NotationError : a place outside the scan, a diameter that can't be.
    """
    scans = [str(row["scan"]) for row in catalogue.scans_of(record.sheet)]
    readings = {reading.name: reading for reading in record.readings}
    updates: dict[str, Any] = {}
    for change in changes:
        scan = change.scan or next(iter(scans), None)
        if change.scan is not None and change.scan not in scans:
            raise UnknownNameError(f"sheet {record.sheet} has no scan '{change.scan}'")
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
    if not (0 <= change.x <= 1 and 0 <= change.y <= 1):
        raise NotationError(
            f"the spot of '{change.name}' lies outside the scan: x and y are fractions from 0 to 1 of its width "
            "and height"
        )
    try:
        return records.Spot.model_validate(values)
    except ValueError as error:
        raise NotationError(
            f"the spot of '{change.name}' can't be {change.diameter_mm:g} mm wide: write 0.05 to 50 mm"
        ) from error
