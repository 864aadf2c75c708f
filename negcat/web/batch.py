"""The page of a batch: what was done in the darkroom, its sheets, and what they have in common."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from negcat.web.spread import Group, Spread, draw_spread
from negcat.web.summed import Summed, duration, number, set_summary
from negcat.web.typesetting import date, deviation, fixed, stops
from negcat.web.wall import Plate, plates

__all__ = ["Common", "Developed", "Page", "set_page"]

Story = Mapping[str, Any]

MOST_PLATES = 96
"""Sheets shown; a batch with more leads to the wall for the rest."""

_MOST_LINES = 30


@dataclass(frozen=True)
class Developed:
    """A sheet of the batch: its plate, N planned and found, and what came after the decision."""

    plate: Plate
    tag: str
    found: str
    found_sd: str
    residual: str
    residual_sd: str
    note: str


@dataclass(frozen=True)
class Common:
    """What the sheets have in common.

    Parameters
    ----------
    name : what it is about.
    unit : of the figures.
    summed : the mean and its interval.
    apart : the sheets that stand apart from the others.
    chart : sheet by sheet, with the mean below.
    """

    name: str
    unit: str
    summed: Summed
    apart: tuple[str, ...]
    chart: Spread | None


@dataclass(frozen=True)
class Page:
    """All that the template writes down."""

    batch: str
    date: str
    record: tuple[tuple[str, str], ...]
    notes: str
    count: int
    sheets: tuple[Developed, ...]
    common: tuple[Common, ...]
    other_tags: tuple[str, ...]
    films: tuple[str, ...]
    lenses: tuple[str, ...]
    earlier: str
    later: str


def set_page(story: Story) -> Page:
    """Set a batch's story for reading."""
    sheets: Sequence[Story] = story["sheets"]
    by_exposure = [
        (str(sheet["sheet"]), sheet["residual_stops"], sheet["exposure_error_sd"])
        for sheet in sheets
        if sheet["residual_stops"] is not None
    ]
    by_development = [
        (str(sheet["sheet"]), sheet["found_n"] - sheet["planned_n"], sheet["found_n_sd"])
        for sheet in sheets
        if sheet["n_is_found"] and sheet["planned_n"] is not None
    ]
    return Page(
        batch=str(story["batch"]),
        date=date(story["date"]),
        record=_record(story),
        notes=str(story["notes"] or ""),
        count=len(sheets),
        sheets=tuple(
            _developed(sheet, plate)
            for sheet, plate in zip(
                sheets[:MOST_PLATES], plates(dict(sheet) for sheet in sheets[:MOST_PLATES]), strict=True
            )
        ),
        common=(
            _common("Exposure, after the decision", "stop", story["residual_stops"], by_exposure),
            _common("Development, found less planned", "N", story["n_error"], by_development),
        ),
        other_tags=tuple(
            f"{sheet['sheet']} ({sheet['tag']})"
            for sheet in sheets
            if story["tag"] and sheet["tag"] != story["tag"]
        ),
        films=tuple(story["films"]),
        lenses=tuple(story["lenses"]),
        earlier=str(story["earlier"] or ""),
        later=str(story["later"] or ""),
    )


def _record(story: Story) -> tuple[tuple[str, str], ...]:
    found = set_summary(story["base_fog_found"], 3, signed=False)
    if not found.count:
        measured = "not measured: no sheet has shown its clear rebate yet"
    else:
        measured = f"{found.median}, the median of {found.count} {'sheet' if found.count == 1 else 'sheets'}"
    temperature = story["temperature_c"]
    return (
        ("Developer", str(story["developer"])),
        ("Dilution", str(story["dilution"] or "not recorded")),
        ("Temperature", "not recorded" if temperature is None else f"{number(temperature)} °C"),
        ("Time", duration(story["time_s"])),
        ("Method", str(story["method"] or "not recorded")),
        ("Agitation", str(story["agitation"] or "not recorded")),
        ("Aimed at", str(story["tag"] or "not recorded")),
        ("Date", date(story["date"]) or "not recorded"),
        ("Base+fog, recorded", fixed(story["base_fog"], 3) or "not recorded"),
        ("Base+fog, measured", measured),
    )


def _developed(sheet: Story, plate: Plate) -> Developed:
    untold = sheet["found_n"] is not None and not sheet["n_is_found"]
    return Developed(
        plate=plate,
        tag=str(sheet["tag"]),
        found=fixed(sheet["found_n"], signed=True) if sheet["n_is_found"] else "",
        found_sd=deviation(sheet["found_n_sd"]) if sheet["n_is_found"] else "",
        residual=stops(sheet["residual_stops"]),
        residual_sd=deviation(sheet["exposure_error_sd"]) if sheet["residual_stops"] is not None else "",
        note="its readings can’t tell the N" if untold else "",
    )


def _common(
    name: str, unit: str, summary: Story, sheets: Sequence[tuple[str, float, float | None]]
) -> Common:
    mean = Group(
        f"all {len(sheets)}: mean and its 90\u00a0% interval",
        () if len(sheets) <= _MOST_LINES else tuple(value for _, value, _ in sheets),
        summary["mean"],
        summary["low"],
        summary["high"],
    )
    lines = [
        Group(sheet, (value,), None, value - sd if sd else None, value + sd if sd else None)
        for sheet, value, sd in sheets
    ]
    shown = [*(lines if len(lines) <= _MOST_LINES else ()), *((mean,) if len(sheets) > 1 else ())]
    return Common(
        name=name,
        unit=unit,
        summed=set_summary(summary),
        apart=tuple(summary["apart"]),
        chart=draw_spread(
            shown,
            title=name,
            axis="stops; + is denser" if unit == "stop" else "N; + is more contrast than planned",
            unit=unit,
        ),
    )
