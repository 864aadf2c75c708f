"""Compute all that is found of sheets: plan, densities and judgement joined, and kept as findings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, replace
from typing import Any

from negcat import densitometry, records, sensitometry
from negcat.catalogue import EXPOSURE, Findings
from negcat.errors import ScanError
from negcat.exposure import Exposure
from negcat.judgement import FoundReading, Judgement, judge
from negcat.work.archive import Archive
from negcat.work.carrying import PlacedSpot
from negcat.work.in_hand import InHand
from negcat.work.on_scan import BaseFog, Measured, measure_on_scans
from negcat.work.planning import Equipment

__all__ = ["compute", "exposure_columns", "refresh"]


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
    exposed = equipment.expose(record)
    target = equipment.target(record.print_target)
    before = archive.catalogue.findings(record.sheet) if reuse else None
    measured = (
        measure_on_scans(archive, equipment, record, in_hand or {}, before, fresh=fresh)
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
        exposure=exposure_columns(record, exposed),
        base_fog=_base_fog_columns(measured.base_fog),
        readings=_reading_columns(
            record,
            exposed,
            found,
            judged,
            measured,
            measured.scan or archive.catalogue.spot_scan(record.sheet),
        ),
        result=_result_columns(judged, target),
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


def exposure_columns(record: records.Sheet, exposed: Exposure) -> dict[str, Any]:
    """Write an exposure as it is kept and shown: every figure, and the lines of the ledger."""
    marked = {"marked_stop": record.stop.text, "marked_time": record.time.text}
    computed = {name: getattr(exposed, name) for name in EXPOSURE if name not in marked}
    return {**marked, **computed, "ledger": [asdict(line) for line in exposed.lines]}


def _reading_columns(
    record: records.Sheet,
    exposed: Exposure,
    found: Sequence[FoundReading],
    judged: Judgement,
    measured: Measured,
    scan: str | None,
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
                "spot": _spot_columns(reading.spot, place, scan),
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
        return {**recorded.model_dump(), "scan": recorded.scan or scan}
    return {**place.spot.model_dump(), "scan": scan} if place.spot else None


def _base_fog_columns(base_fog: BaseFog | None) -> dict[str, Any] | None:
    if base_fog is None:
        return None
    # What only a spot of its own has is left out where there is none.
    return {name: value for name, value in asdict(base_fog).items() if value is not None}


def _result_columns(judged: Judgement, target: sensitometry.TargetCurve) -> dict[str, Any]:
    values = asdict(replace(judged, readings=()))
    del values["readings"], values["version"]
    values["why"] = list(judged.why)
    paper = judged.paper
    values["printing_range"] = sensitometry.textured_range(paper.iso_r, target) if paper else None
    return values
