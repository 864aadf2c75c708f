"""The chart of a review: each sheet between thin and dense, flat and contrasty, with its error.

The drawing is worked out here in user units of an SVG; the template only writes it down. Stops and N have the
same length, so that an ellipse looks as long as it is. Where something is worked out, the sheets that it moves
are open where they are and filled where they would be, with a line between the two.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from negcat.judgement import DEVELOPMENT_TOLERANCE, EXPOSURE_TOLERANCE
from negcat.web.curve import Tick
from negcat.web.typesetting import fixed

__all__ = ["Dot", "Ring", "draw_ring"]

WIDTH, LEFT, RIGHT, TOP, BOTTOM = 640.0, 62.0, 18.0, 18.0, 58.0
LEAST_HALF = 1.0
MOST_HALF_UP = 2.5
NAMED_UP_TO = 40
_LETTER, _LINE = 9.6, 19.0


@dataclass(frozen=True)
class Dot:
    """A sheet on the chart, in user units.

    Parameters
    ----------
    sheet : its id; words : what stands at it, for whoever points at it or can't see it.
    x, y : where it is.
    told : whether its readings tell the development.
    rx, ry, turn : half axes of its ellipse of one deviation, and its turn in degrees, clockwise.
    moved : where it would be; None where nothing moves it.
    label_x, label_y, anchor : where its id stands; None where there is no room for it.
    """

    sheet: str
    words: str
    x: float
    y: float
    told: bool
    rx: float
    ry: float
    turn: float
    moved: tuple[float, float] | None
    label: tuple[float, float, str] | None


@dataclass(frozen=True)
class Ring:
    """The whole drawing.

    Parameters
    ----------
    box : the tolerance: left, top, width, height.
    corners : words for the corners: x, y, anchor, text.
    beyond : how many sheets lie outside the chart.
    """

    width: float
    height: float
    left: float
    right: float
    top: float
    bottom: float
    x0: float
    y0: float
    box: tuple[float, float, float, float]
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    dots: tuple[Dot, ...]
    corners: tuple[tuple[float, float, str, str], ...]
    beyond: int
    summary: str


def draw_ring(points: Sequence[Mapping[str, Any]]) -> Ring | None:
    """Draw the ring-around.

    Parameters
    ----------
    points : ``ring_around.points`` of ``negcat review --json``.

    Returns
    -------
    Ring, or None without a sheet.
    """
    if not points:
        return None
    across = [point["error_stops"] for point in points]
    across += [point["moved_stops"] for point in points if point["moved_stops"] is not None]
    upwards = [point["found_n"] for point in points]
    upwards += [point["moved_n"] for point in points if point["moved_n"] is not None]
    first, last = _ends(across, 3.0)
    low, high = _ends(upwards, MOST_HALF_UP)
    unit = (WIDTH - LEFT - RIGHT) / (last - first)
    height = TOP + (high - low) * unit + BOTTOM

    def x_of(stops: float) -> float:
        return round(LEFT + (stops - first) * unit, 1)

    def y_of(n: float) -> float:
        return round(TOP + (high - n) * unit, 1)

    inside = [
        point for point in points if first <= point["error_stops"] <= last and low <= point["found_n"] <= high
    ]
    dots = [_dot(point, x_of, y_of, unit, (first, last), (low, high)) for point in inside]
    if len(dots) <= NAMED_UP_TO:
        dots = _named(dots)
    bottom = TOP + (high - low) * unit
    return Ring(
        width=WIDTH,
        height=round(height, 1),
        left=LEFT,
        right=WIDTH - RIGHT,
        top=TOP,
        bottom=round(bottom, 1),
        x0=x_of(0.0),
        y0=y_of(0.0),
        box=(
            x_of(-EXPOSURE_TOLERANCE),
            y_of(DEVELOPMENT_TOLERANCE),
            round(2 * EXPOSURE_TOLERANCE * unit, 1),
            round(2 * DEVELOPMENT_TOLERANCE * unit, 1),
        ),
        across=tuple(Tick(x_of(at), fixed(at, 1, signed=True)) for at in _halves(first, last)),
        up=tuple(Tick(y_of(at), fixed(at, 1, signed=True)) for at in _halves(low, high)),
        dots=tuple(dots),
        corners=(
            (LEFT + 8, TOP + 18, "start", "thin, contrasty"),
            (WIDTH - RIGHT - 8, TOP + 18, "end", "dense, contrasty"),
            (LEFT + 8, round(bottom - 9, 1), "start", "thin, flat"),
            (WIDTH - RIGHT - 8, round(bottom - 9, 1), "end", "dense, flat"),
        ),
        beyond=len(points) - len(inside),
        summary=_summary(points),
    )


def _ends(values: Sequence[float], most: float) -> tuple[float, float]:
    """Choose the ends of a scale, on halves, that hold nought, a stop either way, and all that isn't far off."""
    low = min(-LEAST_HALF, max(min(values) - 0.15, -most))
    high = max(LEAST_HALF, min(max(values) + 0.15, most))
    return math.floor(low * 2) / 2, math.ceil(high * 2) / 2


def _halves(first: float, last: float) -> list[float]:
    return [first + 0.5 * count for count in range(round((last - first) * 2) + 1)]


def _dot(
    point: Mapping[str, Any],
    x_of: Any,
    y_of: Any,
    unit: float,
    across: tuple[float, float],
    up: tuple[float, float],
) -> Dot:
    rx, ry, turn = _ellipse(point["error_sd"], point["found_sd"], point["correlation"], unit)
    moved = None
    if point["moved_stops"] is not None or point["moved_n"] is not None:
        stops = point["error_stops"] if point["moved_stops"] is None else point["moved_stops"]
        n = point["found_n"] if point["moved_n"] is None else point["moved_n"]
        moved = (x_of(min(max(stops, across[0]), across[1])), y_of(min(max(n, up[0]), up[1])))
    return Dot(
        sheet=str(point["sheet"]),
        words=_words(point),
        x=x_of(point["error_stops"]),
        y=y_of(point["found_n"]),
        told=bool(point["told"]),
        rx=rx,
        ry=ry,
        turn=turn,
        moved=moved,
        label=None,
    )


def _ellipse(sd_x: float, sd_y: float, correlation: float, unit: float) -> tuple[float, float, float]:
    """Half axes and turn of the ellipse of one deviation; y goes down on the page, so the turn does too."""
    a, d, b = sd_x**2, sd_y**2, correlation * sd_x * sd_y
    middle, half = 0.5 * (a + d), math.hypot(0.5 * (a - d), b)
    turn = -0.5 * math.degrees(math.atan2(2.0 * b, a - d))
    longer, shorter = math.sqrt(middle + half), math.sqrt(max(middle - half, 0.0))
    return round(longer * unit, 1), round(shorter * unit, 1), round(turn, 1)


def _words(point: Mapping[str, Any]) -> str:
    text = (
        f"{point['sheet']}: {fixed(point['error_stops'], signed=True)} ± {fixed(point['error_sd'])} stop, "
        f"{fixed(point['found_n'], signed=True)} ± {fixed(point['found_sd'])} N, {point['verdict']}"
    )
    if point["moved_stops"] is not None or point["moved_n"] is not None:
        stops = point["error_stops"] if point["moved_stops"] is None else point["moved_stops"]
        n = point["found_n"] if point["moved_n"] is None else point["moved_n"]
        text += f"; worked out: {fixed(stops, signed=True)} stop, {fixed(n, signed=True)} N"
    return text


def _named(dots: Sequence[Dot]) -> list[Dot]:
    """Give each sheet its id where there is room for it beside its point."""
    taken: list[tuple[float, float, float, float]] = [
        (x - 5, y - 5, x + 5, y + 5) for dot in dots for x, y in ((dot.x, dot.y), dot.moved or (dot.x, dot.y))
    ]
    named = []
    for dot in dots:
        wide = _LETTER * len(dot.sheet)
        label = None
        for dx, dy, anchor in (
            (9, 5, "start"),
            (-9, 5, "end"),
            (9, -9, "start"),
            (9, 19, "start"),
            (-9, -9, "end"),
        ):
            x, y = dot.x + dx, dot.y + dy
            left = x if anchor == "start" else x - wide
            box = (left, y - _LINE + 4, left + wide, y + 3)
            if left < LEFT or left + wide > WIDTH - RIGHT:
                continue
            own = (dot.x - 5, dot.y - 5, dot.x + 5, dot.y + 5)
            if not any(_meet(box, other) for other in taken if other != own):
                label = (round(x, 1), round(y, 1), anchor)
                taken.append(box)
                break
        named.append(
            Dot(dot.sheet, dot.words, dot.x, dot.y, dot.told, dot.rx, dot.ry, dot.turn, dot.moved, label)
        )
    return named


def _meet(one: tuple[float, float, float, float], other: tuple[float, float, float, float]) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _summary(points: Sequence[Mapping[str, Any]]) -> str:
    within = sum(
        abs(point["error_stops"]) <= EXPOSURE_TOLERANCE and abs(point["found_n"]) <= DEVELOPMENT_TOLERANCE
        for point in points
    )
    middle = sum(point["error_stops"] for point in points) / len(points)
    upright = sum(point["found_n"] for point in points) / len(points)
    return (
        f"{len(points)} sheets: distance of the exposure from plan in stops across, of the development in N "
        f"upwards. {within} lie within a third of a stop and half an N; the mean lies at "
        f"{fixed(middle, signed=True)} stop and {fixed(upright, signed=True)} N. The figures stand in the table below."
    )
