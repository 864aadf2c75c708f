"""What is found of a sheet, from its plan and its densities: put in words and figures as it is kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, fields
from typing import Any

from negcat import densitometry, records, sensitometry
from negcat.catalogue import EXPOSURE, Findings
from negcat.exposure import Exposure
from negcat.judgement import FoundReading, Judgement, judge
from negcat.work.carrying import PlacedSpot
from negcat.work.on_scan import BaseFog, Measured
from negcat.work.planning import Equipment

__all__ = ["exposure_columns", "findings_from"]


def findings_from(
    equipment: Equipment, record: records.Sheet, measured: Measured, scan: str | None
) -> Findings:
    """Plan and judge a sheet, and write down all there is to know of it.

    Parameters
    ----------
    equipment : what the record refers to.
    record : the sheet's record.
    measured : what was measured of it.
    scan : id of the scan that its spots lie on; None without one.

    Returns
    -------
    The findings, not yet kept.
    """
    exposed = equipment.expose(record)
    target = equipment.target(record.print_target)
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
        readings=_reading_columns(record, exposed, found, judged, measured, scan),
        result=_result_columns(judged, target),
        scan=measured.scan if measured.profile else None,
        provenance={
            "profile": measured.profile.number if measured.profile else None,
            "scanner": measured.profile.scanner if measured.profile else None,
            "channel": measured.profile.fitted.channel if measured.profile else None,
            "print_target": judged.target,
            "exposure_index": exposed.setting.exposure_index,
            "judgement_version": judged.version,
        },
    )


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
    ledger = [{"item": line.item, "stops": line.stops, "text": line.text} for line in exposed.lines]
    return {**marked, **computed, "ledger": ledger}


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


_JUDGED = tuple(one.name for one in fields(Judgement) if one.name not in ("readings", "version"))


def _result_columns(judged: Judgement, target: sensitometry.TargetCurve) -> dict[str, Any]:
    values = {name: getattr(judged, name) for name in _JUDGED}
    values["why"] = list(judged.why)
    paper = judged.paper
    values["paper"] = asdict(paper) if paper else None
    values["printing_range"] = sensitometry.textured_range(paper.iso_r, target) if paper else None
    return values
