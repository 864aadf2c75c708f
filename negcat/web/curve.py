"""The chart of a sheet: target density against print zone, with what was planned and what was found.

The drawing is worked out here in user units of an SVG; the template only writes it down. Colour carries
nothing: planned points are open, found points are filled, and each bears its reading's letter.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from negcat.web.typesetting import fixed, zone_numeral

__all__ = ["Chart", "Drawing", "Ground", "Mark", "Tick", "draw"]

WIDTH, HEIGHT = 640.0, 420.0
LEFT, RIGHT, TOP, BOTTOM = 56.0, 18.0, 18.0, 52.0


@dataclass(frozen=True)
class Tick:
    """A line across the chart and what stands at its end."""

    at: float
    text: str


@dataclass(frozen=True)
class Mark:
    """One reading on the chart, in user units.

    Parameters
    ----------
    letter : the reading's letter in the table.
    x : across.
    planned_y : height of the planned point, None where there is no target.
    found_y : height of the found point, None where nothing was measured.
    low_y, high_y : ends of the bar of one standard deviation, None without one.
    label_x, label_y : where the letter stands.
    anchor : ``start`` or ``end``: on which side of that place.
    """

    letter: str
    x: float
    planned_y: float | None
    found_y: float | None
    low_y: float | None
    high_y: float | None
    label_x: float
    label_y: float
    anchor: str


@dataclass(frozen=True, kw_only=True)
class Ground:
    """What every chart is drawn on, in user units.

    Parameters
    ----------
    width, height : of the whole.
    left, right, top, bottom : edges of the field that the scales stand at.
    summary : the chart in a sentence, for whoever can't see it.
    """

    width: float
    height: float
    left: float
    right: float
    top: float
    bottom: float
    summary: str


@dataclass(frozen=True, kw_only=True)
class Drawing(Ground):
    """A line over two scales.

    Parameters
    ----------
    line : the ``points`` of a polyline.
    across, up : ticks of the two scales.
    """

    line: str
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]


@dataclass(frozen=True, kw_only=True)
class Chart(Drawing):
    """A sheet's drawing: the target as its line, over zone and density, and the readings as marks."""

    marks: tuple[Mark, ...]


def draw(
    zones: Sequence[float],
    densities: Sequence[float],
    readings: Sequence[Mapping[str, Any]],
    *,
    target: str,
) -> Chart | None:
    """Draw the target curve and the readings on it.

    Parameters
    ----------
    zones, densities : the target's curve, as many points as make it smooth; densities are net.
    readings : with ``letter``, ``planned_print_zone``, ``target_density``, ``net_density`` and ``sd``.
    target : the target's name.

    Returns
    -------
    Chart, or None without a curve.
    """
    if len(zones) < 2:
        return None
    found = [
        (float(reading["net_density"]), float(reading.get("sd") or 0.0))
        for reading in readings
        if reading.get("net_density") is not None
    ]
    highest = max([*densities, *(net + sd for net, sd in found)])
    lowest = min([0.0, *(net - sd for net, sd in found)])
    # Ends on a rule, a fifth of a density apart, with a little air above.
    ceiling = max(1.0, math.ceil((highest + 0.02) * 5) / 5)
    floor = math.floor(lowest * 5) / 5

    def x_of(zone: float) -> float:
        return round(LEFT + min(max(zone, 0.0), 10.0) / 10.0 * (WIDTH - LEFT - RIGHT), 1)

    def y_of(density: float) -> float:
        return round(HEIGHT - BOTTOM - (density - floor) / (ceiling - floor) * (HEIGHT - TOP - BOTTOM), 1)

    marks: list[Mark] = []
    for reading in readings:
        zone = reading.get("planned_print_zone")
        if zone is None:
            continue
        wanted, net, sd = reading.get("target_density"), reading.get("net_density"), reading.get("sd")
        planned_y = None if wanted is None else y_of(wanted)
        found_y = None if net is None else y_of(net)
        heights = [height for height in (planned_y, found_y) if height is not None]
        if not heights:
            continue
        below = found_y is not None and planned_y is not None and found_y > planned_y
        label_x, label_y, anchor = _letter_place(x_of(zone), heights, below, marks)
        marks.append(
            Mark(
                letter=str(reading["letter"]),
                x=x_of(zone),
                planned_y=planned_y,
                found_y=found_y,
                low_y=None if net is None or not sd else y_of(net - sd),
                high_y=None if net is None or not sd else y_of(net + sd),
                label_x=label_x,
                label_y=label_y,
                anchor=anchor,
            )
        )
    ticks = round((ceiling - floor) / 0.2)
    return Chart(
        width=WIDTH,
        height=HEIGHT,
        left=LEFT,
        right=WIDTH - RIGHT,
        top=TOP,
        bottom=HEIGHT - BOTTOM,
        line=" ".join(
            f"{x_of(zone)},{y_of(density)}"
            for zone, density in zip(zones, densities, strict=True)
            if 0 <= zone <= 10
        ),
        across=tuple(Tick(x_of(zone), zone_numeral(zone)) for zone in range(11)),
        up=tuple(
            Tick(y_of(floor + 0.2 * index), fixed(floor + 0.2 * index, 1)) for index in range(ticks + 1)
        ),
        marks=tuple(marks),
        summary=_summary(readings, target),
    )


def _letter_place(
    x: float, heights: Sequence[float], below: bool, taken: Sequence[Mark]
) -> tuple[float, float, str]:
    """Find a place for a reading's letter beside its points that no other letter has.

    The curve runs from bottom left to top right, so there is room above left of it and below right.
    """
    places = [
        (x + step if under else x - step, round(max(heights) + 14 if under else min(heights) - 7, 1), anchor)
        for step in (10.0, 24.0, 38.0, 52.0)
        for under, anchor in ((below, "start" if below else "end"), (not below, "end" if below else "start"))
    ]

    def free(place: tuple[float, float, str]) -> bool:
        return all(abs(place[0] - mark.label_x) > 14 or abs(place[1] - mark.label_y) > 16 for mark in taken)

    return next((place for place in places if free(place)), places[0])


def _summary(readings: Sequence[Mapping[str, Any]], target: str) -> str:
    parts = []
    for reading in readings:
        if reading.get("net_density") is None or reading.get("target_density") is None:
            continue
        wanted, zone = fixed(reading["target_density"]), zone_numeral(reading["planned_print_zone"])
        parts.append(
            f"{reading['letter']}, {reading.get('name')}: {fixed(reading['net_density'])} found "
            f"where {wanted} was planned, on zone {zone}"
        )
    what = "; ".join(parts) if parts else "nothing has been measured yet"
    return f"Net density against print zone: the target “{target}” as a line. Readings: {what}."
