"""Measure sheets: spots and base+fog on the scan, held against the plan, kept as findings.

A density once read stays valid while its spot, its scan and the scanner's profile stay the same; it is then
taken from the catalogue, so that a changed record is judged anew without opening the master.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from negcat import densitometry, records, scans
from negcat.catalogue import Catalogue, Findings
from negcat.densitometry import NoRebate, Rebate, SpotDensity
from negcat.errors import NotationError, ScanError, UnknownNameError
from negcat.exposure import Exposure
from negcat.judgement import FoundReading, Judgement, judge
from negcat.scans import Reduced
from negcat.work import scanned
from negcat.work.archive import Archive
from negcat.work.carrying import Carrier, PlacedSpot
from negcat.work.masters import header_of, reduced_of
from negcat.work.naming import known_sheet
from negcat.work.planning import Equipment
from negcat.work.scanned import Profile

__all__ = [
    "BASE_FOG_SPOT",
    "SheetOutcome",
    "SpotChange",
    "compute",
    "measure_sheet",
    "measured_sheet_ids",
    "refresh",
]

BASE_FOG_SPOT = "base+fog"
"""The name under which the spot of base+fog is set."""

RECORDED_BATCH_SD = 0.02
RECORDED_FILM_SD = 0.04
"""Deviation of a recorded base+fog: one densitometer reading for a batch (readings repeat to ±0.02 at worst by
ISO 5-2's tolerance for instruments in use); twice that for a film's, which moves with developer and age."""


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
class BaseFog:
    """Base+fog of a sheet: density, its deviation, where it comes from, and where its own spot lies."""

    density: float
    sd: float
    source: str
    detail: str
    spot: Mapping[str, Any] | None = None
    spot_status: str | None = None
    measured: Mapping[str, Any] | None = None


@dataclass(frozen=True)
class Measured:
    """What a scan gave for a sheet.

    Parameters
    ----------
    scan : the scan's id; None where no scan is there.
    profile : the profile it was measured with.
    base_fog : None where it can't be had.
    spots : reading name → density; only readings whose spot lies on the scan.
    placed : reading name → where its spot lies on the scan; only readings with a spot.
    why : sentences on what could not be had.
    """

    scan: str | None = None
    profile: Profile | None = None
    base_fog: BaseFog | None = None
    spots: Mapping[str, SpotDensity] | None = None
    placed: Mapping[str, PlacedSpot] | None = None
    why: tuple[str, ...] = ()


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
    archive: Archive, sheet: str, changes: Sequence[SpotChange] = (), *, confirm: bool = False
) -> SheetOutcome:
    """Set spots and measure a sheet again, from its master.

    Parameters
    ----------
    archive : the archive.
    sheet : the sheet's id.
    changes : spots to set, on the scan that the sheet is measured on; they go into the sheet's record, whose
        old values stay in its history.
    confirm : take the spots that were carried over from another scan as set where they lie now.

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
        catalogue.take([records.Records(sheets=(record,))], via="measure")
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


def refresh(
    archive: Archive, sheets: Iterable[str], reduced: Mapping[str, Reduced] | None = None
) -> list[str]:
    """Compute the findings of sheets anew and keep them.

    Parameters
    ----------
    archive : the archive.
    sheets : ids.
    reduced : scans in hand, by id, so that they aren't read twice.

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
        catalogue.save_findings(*waiting)
        catalogue.mark_out_of_date(set(away) & {findings.sheet for findings in waiting})
        waiting.clear()

    for sheet in sheets:
        record = catalogue.sheet(sheet)
        if record is None:
            continue
        try:
            waiting.append(compute(archive, equipment, record, reduced=reduced or {}))
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
    reduced: Mapping[str, Reduced] | None = None,
    reuse: bool = True,
    fresh: bool = False,
    blind: str | None = None,
) -> Findings:
    """Compute everything there is to know of a sheet.

    Parameters
    ----------
    archive : the archive; of the catalogue only what is known of the scans is written.
    equipment : what the record refers to.
    record : the sheet's record.
    reduced : scans in hand, by id.
    reuse : take densities over that were measured on the same spot of the same scan with the same profile.
    fresh : look the scan over anew, whatever is known of it.
    blind : why no scan is looked at; None: they are.

    Returns
    -------
    The findings, not yet kept.
    """
    exposed = equipment.expose(record)
    target = equipment.target(record.print_target)
    before = archive.catalogue.findings(record.sheet) if reuse else None
    measured = (
        _measure(archive, equipment, record, reduced or {}, before, fresh=fresh)
        if blind is None
        else Measured(why=(f"Not measured again: {blind}.",))
    )
    found = [
        _found(
            reading,
            planned.planned_zone,
            planned.given_zone,
            planned.planned_print_zone,
            planned.placed,
            measured,
        )
        for reading, planned in zip(record.readings, exposed.readings, strict=True)
    ]
    judged = judge(
        found,
        target=target,
        n=record.tag.n,
        decision_stops=exposed.decision_stops,
        why=(*measured.why, *exposed.why),
    )
    return Findings(
        sheet=record.sheet,
        exposure=_exposure_columns(record, exposed),
        base_fog=_base_fog_columns(measured.base_fog),
        readings=_reading_columns(record, exposed, found, judged, measured),
        result=_result_columns(judged),
        scan=measured.scan if measured.profile else None,
        provenance={
            "profile": measured.profile.number if measured.profile else None,
            "scanner": measured.profile.scanner if measured.profile else None,
            "channel": measured.profile.fitted.channel if measured.profile else None,
            "print_target": judged.target,
            "exposure_index": equipment.exposure_index(record),
            "judgement_version": judged.version,
        },
    )


# Measuring on the scan --------------------------------------------------------------------------------------


def _measure(
    archive: Archive,
    equipment: Equipment,
    record: records.Sheet,
    reduced: Mapping[str, Reduced],
    before: Findings | None,
    *,
    fresh: bool,
) -> Measured:
    """Measure a sheet on the newest of its scans that can be measured."""
    rows = archive.catalogue.scans_of(record.sheet)
    if not rows:
        return Measured(why=("No scan is joined to this sheet.",))
    reasons: list[str] = []
    found: Measured | None = None
    for row in sorted(rows, key=lambda scan: scan["taken_order"], reverse=True):
        sight = _Sight.of(archive, equipment, record, row)
        if found is not None:
            # Older scans are not measured, but what stands against it is kept up to date.
            sight.reason(row["condition"] or {})
            continue
        measured = _measure_scan(archive, equipment, sight, reduced.get(row["scan"]), before, fresh=fresh)
        if isinstance(measured, Measured):
            found = measured
        else:
            reasons.append(f"Scan {row['scan']} is not measured: {measured}.")
    return found or Measured(why=tuple(reasons))


@dataclass(frozen=True)
class _Sight:
    """A scan of a sheet with all that is needed to measure on it.

    Parameters
    ----------
    catalogue : knows the scan.
    record : the sheet's.
    row : the scan.
    film_channel : what the film is measured in.
    channel : the channel's place in the scan and its name; None where the scan hasn't got it.
    profile : the one that holds for the scan; None without one.
    px_per_mm : on the film; None where it isn't known.
    """

    catalogue: Catalogue
    record: records.Sheet
    row: Mapping[str, Any]
    film_channel: str
    channel: tuple[int, str] | None
    profile: Profile | None
    px_per_mm: float | None

    @classmethod
    def of(
        cls, archive: Archive, equipment: Equipment, record: records.Sheet, row: Mapping[str, Any]
    ) -> _Sight:
        """Look up what a scan is measured with."""
        film_channel = equipment.film(record.film).channel
        channel = scanned.channel_of(film_channel, row["mode"])
        film_mm = records.film_size_mm(record.format) if record.format else None
        return cls(
            archive.catalogue,
            record,
            row,
            film_channel,
            channel,
            scanned.profile_of_scan(archive.catalogue, row, channel[1]) if channel else None,
            scanned.pixels_per_mm(row["dpi"], row["width"], row["height"], film_mm),
        )

    def reason(self, condition: Mapping[str, Any]) -> str | None:
        """Say why the scan can't be measured, None where it can, and keep that."""
        reason = self._reason(condition)
        self.catalogue.save_scan(
            {
                "sha256": self.row["sha256"],
                "unmeasured": reason,
                "calibrated": self.profile is not None,
                "profile": self.profile.number if self.profile else None,
            }
        )
        return reason

    def _reason(self, condition: Mapping[str, Any]) -> str | None:
        row = self.row
        if condition.get("measurable") is False:
            return str(condition["reason"]).rstrip(".")
        if self.channel is None:
            return (
                f"{self.record.film} is measured in the {self.film_channel} channel and this is a grey scan; "
                "scan it in colour"
            )
        if row["scanner"] is None:
            return (
                "its scanner isn't known: its own tags fit no scanner on record; take it again with --scanner "
                "NAME, or record the scanner with the make, model or software that the scan names"
            )
        if self.profile is None:
            return (
                f"there is no profile of {row['scanner']} for {row['bits']} bits {row['mode']}; make one with "
                "'negcat calibrate' from a step tablet scanned with the same settings"
            )
        if self.px_per_mm is None:
            return (
                "its resolution isn't known: the scan doesn't say it, and the sheet's record names no format"
            )
        return None


def _measure_scan(
    archive: Archive,
    equipment: Equipment,
    sight: _Sight,
    reduced: Reduced | None,
    before: Findings | None,
    *,
    fresh: bool,
) -> Measured | str:
    """Measure a sheet on one scan; the reason where that can't be done."""
    record, row = sight.record, sight.row
    rebate, condition = scanned.look_over(
        archive.catalogue,
        row,
        lambda: reduced if reduced is not None else reduced_of(archive, row),
        channel=sight.channel[0] if sight.channel else 0,
        px_per_mm=sight.px_per_mm,
        profile=sight.profile,
        fresh=fresh,
    )
    reason = sight.reason(condition)
    profile, channel, px_per_mm = sight.profile, sight.channel, sight.px_per_mm
    if reason is not None or profile is None or channel is None or px_per_mm is None:
        return reason or "its profile is missing"

    why: list[str] = []
    spots: dict[str, SpotDensity] = {}
    placed: dict[str, PlacedSpot] = {}
    known = _known_spots(before, row["scan"], profile.number)
    carrier = Carrier(archive, record, row, fresh=fresh)

    def read(name: str, spot: records.Spot) -> SpotDensity:
        return known.get(_spot_key(name, spot)) or _read_spot(
            archive, row, spot, channel[0], px_per_mm, profile
        )

    for reading in record.readings:
        if reading.spot is None:
            why.append(
                f"No spot is set for '{reading.name}', so it has no density: set it with "
                f'negcat measure {record.sheet} --spot "{reading.name}=X,Y".'
            )
            continue
        place = placed[reading.name] = carrier.place(reading.name, reading.spot)
        if place.spot is None:
            why.append(f"'{reading.name}' has no density: {place.reason}.")
        else:
            spots[reading.name] = read(reading.name, place.spot)
    base_fog = _base_fog(archive, equipment, record, rebate, profile, carrier, read, why)
    why = [*scanned.profile_doubts(archive.catalogue, row, profile), *carrier.sentences(), *why]
    return Measured(row["scan"], profile, base_fog, spots, placed, tuple(why))


def _spot_key(name: str, spot: records.Spot) -> tuple[str, float, float, float]:
    return name, spot.x, spot.y, spot.diameter_mm


def _known_spots(
    before: Findings | None, scan: str, profile: int
) -> dict[tuple[str, float, float, float], SpotDensity]:
    """Collect the densities measured before that still hold."""
    if before is None or before.scan != scan or before.provenance.get("profile") != profile:
        return {}
    known = {}
    measured = [(r["name"], r) for r in before.readings]
    if before.base_fog and before.base_fog.get("measured"):
        measured.append((BASE_FOG_SPOT, dict(before.base_fog)))
    for name, reading in measured:
        kept = reading.get("measured")
        if kept:
            spot = kept["spot"]
            known[(name, spot["x"], spot["y"], spot["diameter_mm"])] = SpotDensity(**kept["density"])
    return known


def _read_spot(
    archive: Archive,
    row: Mapping[str, Any],
    spot: records.Spot,
    channel: int,
    px_per_mm: float,
    profile: Profile,
) -> SpotDensity:
    """Measure one spot on the master."""
    radius = spot.diameter_mm * px_per_mm / 2
    x, y = spot.x * row["width"], spot.y * row["height"]
    left, top = max(int(x - radius) - 1, 0), max(int(y - radius) - 1, 0)
    right = min(int(x + radius) + 2, row["width"])
    bottom = min(int(y + radius) + 2, row["height"])
    left, top = min(left, row["width"] - 1), min(top, row["height"] - 1)
    patch = scans.read_patch(header_of(archive, row), left, top, max(right, left + 1), max(bottom, top + 1))
    return densitometry.measure_spot(patch[:, :, channel], (x - left, y - top), radius, profile.fitted)


def _base_fog(
    archive: Archive,
    equipment: Equipment,
    record: records.Sheet,
    rebate: Rebate | NoRebate,
    profile: Profile,
    carrier: Carrier,
    read: Callable[[str, records.Spot], SpotDensity],
    why: list[str],
) -> BaseFog | None:
    """Find base+fog: the sheet's own spot, the scan's rebate, the batch's, the film's record."""
    if record.base_fog_spot is not None:
        place = carrier.place(BASE_FOG_SPOT, record.base_fog_spot)
        if place.spot is None:
            why.append(f"The base+fog spot gives no density: {place.reason}.")
        else:
            spot = read(BASE_FOG_SPOT, place.spot)
            if spot.density is not None and spot.sd is not None:
                return BaseFog(
                    spot.density,
                    spot.sd,
                    "spot",
                    "the sheet's own spot",
                    {**place.spot.model_dump(), "scan": carrier.scan},
                    place.status,
                    {"spot": place.spot.model_dump(), "density": asdict(spot)},
                )
            why.append(f"The base+fog spot gives no density: {spot.reason}.")
    if isinstance(rebate, Rebate):
        if rebate.density is not None and rebate.sd is not None:
            return BaseFog(rebate.density, rebate.sd, "rebate", "the scan's rebate")
        why.append(f"The scan's rebate gives no base+fog: {rebate.reason.rstrip('.')}.")
    else:
        why.append(f"The scan shows no rebate to read base+fog from: {rebate.reason.rstrip('.')}.")
    development = archive.catalogue.development_of(record.sheet)
    if development is not None:
        if development.base_fog is not None:
            return BaseFog(development.base_fog, RECORDED_BATCH_SD, "batch", "recorded for the batch")
        median = archive.catalogue.batch_base_fog(
            development.batch, film=record.film, without=record.sheet, channel=profile.fitted.channel
        )
        if median is not None:
            return BaseFog(
                median["density"],
                median["sd"],
                "batch",
                f"the median of {median['sheets']} rebates of batch {development.batch}",
            )
    film = equipment.film(record.film)
    if film.base_fog is not None:
        return BaseFog(film.base_fog, RECORDED_FILM_SD, "film", "recorded for the film")
    why.append("Base+fog is recorded neither for the batch nor for the film, so there are no net densities.")
    return None


# From computing to what is kept -----------------------------------------------------------------------------


def _found(
    reading: records.Reading,
    planned_zone: float | None,
    given_zone: float | None,
    planned_print_zone: float | None,
    placed: bool,
    measured: Measured,
) -> FoundReading:
    """Join a reading's plan with its density."""
    spot = (measured.spots or {}).get(reading.name)
    density = spot.density if spot else None
    net = sd = None
    base_fog = measured.base_fog
    if spot is not None and density is not None and spot.sd is not None and base_fog is not None:
        same_scan = measured.profile is not None and base_fog.source in ("spot", "rebate")
        difference = densitometry.net_density(
            density,
            spot.sd,
            base_fog.density,
            base_fog.sd,
            measured.profile.fitted if measured.profile and same_scan else None,
        )
        net, sd = difference.density, difference.sd
    return FoundReading(
        name=reading.name,
        placed=placed,
        given_zone=given_zone,
        planned_print_zone=planned_print_zone,
        density=density,
        sd=sd,
        net_density=net,
        bound=spot.bound if spot else None,
        planned_zone=planned_zone,
    )


def _exposure_columns(record: records.Sheet, exposed: Exposure) -> dict[str, Any]:
    values = {
        name: getattr(exposed, name)
        for name in (
            "f_number",
            "effective_f_number",
            "time_s",
            "shutter_time_s",
            "effective_time_s",
            "setting_stops",
            "filter_stops",
            "bellows_stops",
            "cell_stops",
            "shutter_stops",
            "reciprocity_stops",
            "decision_stops",
        )
    }
    return {
        "marked_stop": record.stop.text,
        "marked_time": record.time.text,
        **values,
        "ledger": [asdict(line) for line in exposed.lines],
    }


def _reading_columns(
    record: records.Sheet,
    exposed: Exposure,
    found: Sequence[FoundReading],
    judged: Judgement,
    measured: Measured,
) -> list[dict[str, Any]]:
    columns = []
    for reading, planned, seen, verdict in zip(
        record.readings, exposed.readings, found, judged.readings, strict=True
    ):
        spot = (measured.spots or {}).get(reading.name)
        place = (measured.placed or {}).get(reading.name)
        columns.append(
            {
                "name": reading.name,
                "role": reading.role,
                "placed": planned.placed,
                "ev": reading.ev,
                "planned_zone": planned.planned_zone,
                "given_zone": planned.given_zone,
                "planned_print_zone": planned.planned_print_zone,
                "target_density": verdict.target_density,
                "density": seen.density,
                "sd": seen.sd if seen.sd is not None else (spot.sd if spot else None),
                "net_density": seen.net_density,
                "print_zone": verdict.print_zone,
                "print_zone_sd": verdict.print_zone_sd,
                "error_density": verdict.error_density,
                "error_zones": verdict.error_zones,
                "wanted": planned.wanted,
                "lost": verdict.lost,
                "bound": seen.bound,
                "limit": spot.limit if spot else None,
                "note": (place.reason if place else "")
                or (spot.reason if spot and spot.density is None else "")
                or verdict.note
                or None,
                "spot": _spot_columns(reading.spot, place, measured.scan),
                "spot_status": (place.status if place else "set") if reading.spot else None,
                "spot_set": reading.spot.model_dump() if reading.spot else None,
                "measured": {"spot": place.spot.model_dump(), "density": asdict(spot)}
                if spot and place and place.spot
                else None,
            }
        )
    return columns


def _spot_columns(
    recorded: records.Spot | None, place: PlacedSpot | None, scan: str | None
) -> dict[str, Any] | None:
    """Write where a spot lies, and on which scan; as recorded where nothing was measured."""
    if recorded is None:
        return None
    if place is None:
        return recorded.model_dump()
    return {**place.spot.model_dump(), "scan": scan} if place.spot else None


def _base_fog_columns(base_fog: BaseFog | None) -> dict[str, Any] | None:
    if base_fog is None:
        return None
    # What only a spot of its own has is left out where there is none.
    return {name: value for name, value in asdict(base_fog).items() if value is not None}


def _result_columns(judged: Judgement) -> dict[str, Any]:
    values = asdict(replace(judged, readings=()))
    del values["readings"], values["version"]
    values["why"] = list(judged.why)
    return values
