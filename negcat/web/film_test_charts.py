"""The charts of a film's tests: characteristic curves with the zones marked, and contrast against time.

Worked out in user units of an SVG as the sheet's curve is; every chart has its table beside it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from negcat.web.curve import Drawing, Tick
from negcat.web.typesetting import fixed, zone_numeral
from negcat.work.curve_chart import apart

__all__ = ["Curve", "CurvePanel", "Growth", "draw_curves", "draw_growth"]

WIDTH, HEIGHT = 640.0, 480.0
LEFT, RIGHT, TOP, BOTTOM = 56.0, 44.0, 54.0, 54.0
GROWTH_WIDTH, GROWTH_HEIGHT = 400.0, 320.0
GROWTH_LEFT, GROWTH_RIGHT, GROWTH_TOP, GROWTH_BOTTOM = 50.0, 50.0, 16.0, 50.0

STYLES = 6
"""Kinds of line, solid and broken, that curves are told apart by beside their letters."""

LETTER_APART = 17.0
"""User units between two letters at the ends of curves."""

Story = Mapping[str, Any]


@dataclass(frozen=True)
class Curve:
    """One test's curve, in user units: its line, its readings, its letter and where that stands."""

    letter: str
    style: int
    line: str
    points: tuple[tuple[float, float], ...]
    letter_x: float
    letter_y: float


@dataclass(frozen=True, kw_only=True)
class CurvePanel(Drawing):
    """Curves that share a scale of exposure.

    Parameters
    ----------
    curves : the tests'.
    zones : places of the zones across, with their numerals.
    axis : what the scale across is.
    zones_by : what puts the zones there, in words; empty without zones.
    """

    curves: tuple[Curve, ...]
    zones: tuple[Tick, ...]
    axis: str
    zones_by: str


@dataclass(frozen=True, kw_only=True)
class Growth(Drawing):
    """Contrast against time: the law as a line, the tests as points with their letters, the N as levels."""

    levels: tuple[Tick, ...]
    points: tuple[tuple[str, float, float, float, float], ...]


def draw_curves(process: Story, letters: Mapping[str, str], *, absolute: bool) -> CurvePanel | None:
    """Draw the curves of a developer's tests that share a scale of exposure; None where none has a curve.

    Parameters
    ----------
    process : one of ``processes`` of :func:`negcat.work.curves.curves_json`.
    letters : test → the letter that it goes by.
    absolute : those in lux·s, or those of unknown exposure.
    """
    tests = [
        (place, test)
        for place, test in enumerate(process["tests"])
        if test["curve"] and test["absolute"] is absolute
    ]
    if not tests:
        return None
    places = [at for _, test in tests for at in test["curve"]]
    steps = [step for _, test in tests for step in test["steps"] if step["density"] is not None]
    first: float = math.floor(min(at["log_h"] for at in places) / 0.5) * 0.5
    last: float = math.ceil(max(at["log_h"] for at in places) / 0.5) * 0.5
    top: float = math.ceil((max(one["density"] for one in (*places, *steps)) + 0.05) / 0.5) * 0.5

    def x_of(log_h: float) -> float:
        return round(LEFT + (log_h - first) / (last - first) * (WIDTH - LEFT - RIGHT), 1)

    def y_of(density: float) -> float:
        return round(HEIGHT - BOTTOM - density / top * (HEIGHT - TOP - BOTTOM), 1)

    ends = [y_of(test["curve"][-1]["density"]) for _, test in tests]
    curves = tuple(
        Curve(
            letter=letters[test["test"]],
            style=place % STYLES,
            line=" ".join(f"{x_of(at['log_h'])},{y_of(at['density'])}" for at in test["curve"]),
            points=tuple(
                (x_of(step["log_h"]), y_of(step["density"]))
                for step in test["steps"]
                if step["density"] is not None
            ),
            letter_x=round(x_of(test["curve"][-1]["log_h"]) + 10.0, 1),
            letter_y=round(end + 5.0, 1),
        )
        for (place, test), end in zip(tests, apart(ends, LETTER_APART), strict=True)
    )
    scale = next((one for one in process["zones"] if one["absolute"] is absolute), None)
    zones = (
        ()
        if scale is None
        else tuple(
            Tick(x_of(log_h), zone_numeral(zone))
            for zone, log_h in enumerate(scale["log_h"])
            if first <= log_h <= last
        )
    )
    return CurvePanel(
        width=WIDTH,
        height=HEIGHT,
        left=LEFT,
        right=WIDTH - RIGHT,
        top=TOP,
        bottom=HEIGHT - BOTTOM,
        line="",
        across=tuple(
            Tick(x_of(first + 0.5 * count), fixed(first + 0.5 * count, 1))
            for count in range(round((last - first) / 0.5) + 1)
        ),
        up=tuple(Tick(y_of(0.5 * count), fixed(0.5 * count, 1)) for count in range(round(top / 0.5) + 1)),
        summary=_summary(tests, letters, absolute=absolute),
        curves=curves,
        zones=zones,
        axis="log10 H, lux·s" if absolute else "log10 H, 0 under the clearest step",
        zones_by=str(scale["by"]) if scale is not None and zones else "",
    )


def _summary(tests: Sequence[tuple[int, Story]], letters: Mapping[str, str], *, absolute: bool) -> str:
    said = []
    for _, test in tests:
        low, high = test["curve"][0], test["curve"][-1]
        said.append(
            f"{letters[test['test']]}, {test['test']}: density {fixed(low['density'])} at log H {fixed(low['log_h'])} "
            f"to {fixed(high['density'])} at {fixed(high['log_h'])}"
        )
    unit = "in lux·s" if absolute else "counted from the tablet’s clearest step"
    return (
        f"Density against log10 exposure {unit}. {'; '.join(said)}. The readings stand in the tables below."
    )


def draw_growth(process: Story, letters: Mapping[str, str]) -> Growth | None:
    """Draw contrast against time; None without a law.

    Parameters
    ----------
    process, letters : as :func:`draw_curves`.
    """
    law = process["contrast_law"]
    if law is None:
        return None
    tests = [test for test in process["tests"] if test["contrast"]["value"] is not None]
    if len(law["line"]) < 2 or not tests:
        return None
    reference, q10 = law["reference_c"], law["q10"]["value"]
    points = []
    for test in tests:
        warmer = 0.0
        if test["temperature_c"] is not None and reference is not None:
            warmer = (test["temperature_c"] - reference) / 10.0
        points.append((test, test["time_s"] / 60.0 * q10**warmer, test["contrast"]))
    minutes = [one["time_s"] / 60.0 for one in law["line"]] + [at for _, at, _ in points]
    every: int = next(step for step in (1, 2, 5, 10, 20, 60, 240) if max(minutes) / step <= 9 or step == 240)
    last: int = every * math.ceil(max(minutes) * 1.02 / every)
    levels = {one["tag"]: one["contrast"] for one in process["times"]}
    top: float = 0.2 * math.ceil(
        (max([*levels.values(), *(c["value"] + (c["sd"] or 0) for *_, c in points)]) + 0.02) / 0.2
    )

    def x_of(time: float) -> float:
        return round(GROWTH_LEFT + time / last * (GROWTH_WIDTH - GROWTH_LEFT - GROWTH_RIGHT), 1)

    def y_of(contrast: float) -> float:
        span = GROWTH_HEIGHT - GROWTH_TOP - GROWTH_BOTTOM
        return round(GROWTH_HEIGHT - GROWTH_BOTTOM - contrast / top * span, 1)

    return Growth(
        width=GROWTH_WIDTH,
        height=GROWTH_HEIGHT,
        left=GROWTH_LEFT,
        right=GROWTH_WIDTH - GROWTH_RIGHT,
        top=GROWTH_TOP,
        bottom=GROWTH_HEIGHT - GROWTH_BOTTOM,
        line=" ".join(f"{x_of(one['time_s'] / 60.0)},{y_of(one['contrast'])}" for one in law["line"]),
        across=tuple(Tick(x_of(time), fixed(time, 0)) for time in range(0, last + 1, every)),
        up=tuple(
            Tick(y_of(0.4 * count), fixed(0.4 * count, 1)) for count in range(int(top / 0.4 + 1e-9) + 1)
        ),
        summary="; ".join(
            f"{letters[test['test']]}: {fixed(contrast['value'])} at {fixed(at, 1)} min"
            for test, at, contrast in points
        )
        + ". The times stand in the table below.",
        levels=tuple(Tick(y_of(contrast), tag) for tag, contrast in levels.items()),
        points=tuple(
            (
                letters[test["test"]],
                x_of(at),
                y_of(contrast["value"]),
                y_of(contrast["value"] - (contrast["sd"] or 0.0)),
                y_of(contrast["value"] + (contrast["sd"] or 0.0)),
            )
            for test, at, contrast in points
        ),
    )
