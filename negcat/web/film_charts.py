"""The charts of a film: its law of reciprocity, and how it answered, tag by tag.

Worked out in user units of an SVG as the sheet's curve is; every chart has its table beside it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from negcat.web.curve import Drawing, Tick
from negcat.web.typesetting import fixed, zone_numeral

__all__ = ["Answer", "Failing", "Panel", "draw_panels", "draw_reciprocity"]

WIDTH, HEIGHT = 400.0, 300.0
LEFT, RIGHT, TOP, BOTTOM = 44.0, 12.0, 14.0, 46.0

Figures = Mapping[str, Any]


@dataclass(frozen=True)
class Answer:
    """A reading on its panel: where so much was given, so dense it became, ± one standard deviation."""

    x: float
    y: float
    low_y: float | None
    high_y: float | None


@dataclass(frozen=True, kw_only=True)
class Panel(Drawing):
    """One tag's readings over the print target as that tag is meant to fill it, which is the line."""

    tag: str
    answers: tuple[Answer, ...]


@dataclass(frozen=True, kw_only=True)
class Failing(Drawing):
    """The law of reciprocity as a line: time to be given against time metered, both in doublings.

    Parameters
    ----------
    without : the ends of the line of a film that loses nothing.
    """

    without: tuple[float, float, float, float]


def draw_panels(tags: Sequence[Figures]) -> tuple[Panel, ...]:
    """Draw a panel for each tag, all on the same scales.

    Parameters
    ----------
    tags : with ``tag``, ``line`` and ``points`` of ``given_zone``, ``net_density`` and ``sd``. Those without
        points are left out.
    """
    tags = [tag for tag in tags if tag["points"]]
    if not tags:
        return ()
    points = [point for tag in tags for point in tag["points"]]
    highest = max(
        [
            *(float(place["density"]) for tag in tags for place in tag["line"]),
            *(float(point["net_density"] + (point["sd"] or 0.0)) for point in points),
        ]
    )
    lowest = min([0.0, *(float(point["net_density"] - (point["sd"] or 0.0)) for point in points)])
    ceiling, floor = math.ceil((highest + 0.02) / 0.4) * 0.4, math.floor(lowest / 0.4) * 0.4
    given = [float(point["given_zone"]) for point in points]
    first, last = min(0, math.floor(min(given))), max(10, math.ceil(max(given)))

    def x_of(zone: float) -> float:
        return round(LEFT + (zone - first) / (last - first) * (WIDTH - LEFT - RIGHT), 1)

    def y_of(density: float) -> float:
        return round(HEIGHT - BOTTOM - (density - floor) / (ceiling - floor) * (HEIGHT - TOP - BOTTOM), 1)

    step = 1 if last - first <= 12 else 2
    across = tuple(
        Tick(x_of(zone), zone_numeral(zone) if 0 <= zone <= 10 else fixed(zone, 0))
        for zone in range(first, last + 1, step)
    )
    rules = round((ceiling - floor) / 0.4)
    up = tuple(Tick(y_of(floor + 0.4 * count), fixed(floor + 0.4 * count, 1)) for count in range(rules + 1))
    return tuple(
        Panel(
            tag=str(tag["tag"]),
            width=WIDTH,
            height=HEIGHT,
            left=LEFT,
            right=WIDTH - RIGHT,
            top=TOP,
            bottom=HEIGHT - BOTTOM,
            line=" ".join(f"{x_of(place['given_zone'])},{y_of(place['density'])}" for place in tag["line"]),
            across=across,
            up=up,
            answers=tuple(_answer(point, x_of, y_of) for point in tag["points"]),
            summary=_summary(tag),
        )
        for tag in tags
    )


def _answer(point: Figures, x_of: Any, y_of: Any) -> Answer:
    net, sd = point["net_density"], point["sd"]
    return Answer(
        x_of(point["given_zone"]),
        y_of(net),
        y_of(net - sd) if sd else None,
        y_of(net + sd) if sd else None,
    )


def _summary(tag: Figures) -> str:
    zones = [point["given_zone"] for point in tag["points"]]
    densities = [point["net_density"] for point in tag["points"]]
    return (
        f"{len(zones)} readings given zone {fixed(min(zones), 1)} to {fixed(max(zones), 1)} came to densities "
        f"{fixed(min(densities))} to {fixed(max(densities))}; the line is the print target “{tag['target']}” "
        f"as {tag['tag']} is meant to fill it. The figures stand in the table below."
    )


def draw_reciprocity(times: Sequence[Figures], line: Sequence[Figures]) -> Failing | None:
    """Draw the law over the metered times; None where it makes no difference, or there is none.

    Parameters
    ----------
    times : ``metered_s`` and ``given_s`` where ticks stand, rising.
    line : the same, close enough to draw.
    """
    if len(line) < 2 or all(one["given_s"] <= one["metered_s"] * 1.001 for one in line):
        return None
    low, high = math.log2(times[0]["metered_s"]), math.log2(times[-1]["metered_s"])
    top = math.ceil(math.log2(max(one["given_s"] for one in line)))

    def x_of(seconds: float) -> float:
        return round(LEFT + (math.log2(seconds) - low) / (high - low) * (WIDTH - LEFT - RIGHT), 1)

    def y_of(seconds: float) -> float:
        return round(HEIGHT - BOTTOM - (math.log2(seconds) - low) / (top - low) * (HEIGHT - TOP - BOTTOM), 1)

    doublings = [2.0**power for power in range(round(low), top + 1)]
    every = 1 if len(doublings) <= 9 else 2
    last = times[-1]
    return Failing(
        width=WIDTH,
        height=HEIGHT,
        left=LEFT,
        right=WIDTH - RIGHT,
        top=TOP,
        bottom=HEIGHT - BOTTOM,
        line=" ".join(f"{x_of(one['metered_s'])},{y_of(one['given_s'])}" for one in line),
        without=(
            x_of(times[0]["metered_s"]),
            y_of(times[0]["metered_s"]),
            x_of(last["metered_s"]),
            y_of(last["metered_s"]),
        ),
        across=tuple(Tick(x_of(one["metered_s"]), fixed(one["metered_s"], 0)) for one in times),
        up=tuple(Tick(y_of(seconds), fixed(seconds, 0)) for seconds in doublings[::every]),
        summary=(
            f"From {fixed(times[0]['metered_s'], 0)} s metered, which asks for "
            f"{fixed(times[0]['given_s'], 1)} s, to {fixed(last['metered_s'], 0)} s metered, which asks for "
            f"{fixed(last['given_s'], 0)} s. The figures stand in the table beside it."
        ),
    )
