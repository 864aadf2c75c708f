"""A film's tests on its page: characteristic curves, standard figures, the time for each N."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from negcat.web.curve import Drawing, Tick
from negcat.web.summed import duration, number
from negcat.web.typesetting import deviation, fixed, zone_numeral
from negcat.work.archive import Archive
from negcat.work.curve_chart import apart
from negcat.work.curves import curves_json, film_curves
from negcat.work.film_story import film_story

__all__ = [
    "Curve",
    "CurvePanel",
    "Fact",
    "Growth",
    "Process",
    "Reading",
    "Test",
    "Timed",
    "set_curves",
    "story",
]

WIDTH, HEIGHT = 640.0, 480.0
LEFT, RIGHT, TOP, BOTTOM = 56.0, 44.0, 54.0, 54.0
GROWTH_WIDTH, GROWTH_HEIGHT = 400.0, 320.0
GROWTH_LEFT, GROWTH_RIGHT, GROWTH_TOP, GROWTH_BOTTOM = 50.0, 50.0, 16.0, 50.0

STYLES = 6
"""Kinds of line, solid and broken, that curves are told apart by beside their letters."""

LETTER_APART = 17.0
"""User units between two letters at the ends of curves."""

_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_STOP = math.log10(2.0)

Story = Mapping[str, Any]


def story(archive: Archive, name: str) -> dict[str, Any]:
    """Gather what is known of a film, its curves with it.

    Parameters
    ----------
    archive : the archive.
    name : the film's, case aside.

    Raises
    ------
    UnknownNameError : no such film.
    """
    known = film_story(archive, name)
    return {**known, "curves": curves_json(film_curves(archive, known["film"]))["processes"]}


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


@dataclass(frozen=True)
class Fact:
    """A figure of a test: its name, value, unit or word, deviation, and a sentence about it."""

    name: str
    value: str
    unit: str
    sd: str
    note: str


@dataclass(frozen=True)
class Reading:
    """A step: log exposure, density, its deviation, density above base+fog."""

    step: str
    log_h: str
    density: str
    sd: str
    net: str


@dataclass(frozen=True)
class Test:
    """A film test set for reading."""

    letter: str
    test: str
    how: str
    facts: tuple[Fact, ...]
    notes: tuple[str, ...]
    reason: str
    readings: tuple[Reading, ...]


@dataclass(frozen=True)
class Timed:
    """The developing time for a tag."""

    tag: str
    contrast: str
    time: str
    interval: str
    note: str


@dataclass(frozen=True)
class Process:
    """A developer with its tests."""

    developer: str
    dilution: str
    at: str
    tests: tuple[Test, ...]
    panels: tuple[CurvePanel, ...]
    growth: Growth | None
    times: tuple[Timed, ...]
    law: str
    reason: str


def set_curves(processes: Sequence[Story]) -> tuple[Process, ...]:
    """Set a film's curves for reading.

    Parameters
    ----------
    processes : of :func:`negcat.work.curves.curves_json`.
    """
    return tuple(_process(process) for process in processes)


def _process(process: Story) -> Process:
    letters = {test["test"]: _letter(place) for place, test in enumerate(process["tests"])}
    law = process["contrast_law"]
    at = process["times_at_c"]
    return Process(
        developer=str(process["developer"]),
        dilution=str(process["dilution"] or ""),
        at=f"{number(at)} °C" if at is not None else "",
        tests=tuple(_test(letters[test["test"]], test) for test in process["tests"]),
        panels=tuple(
            panel
            for absolute in (True, False)
            if (panel := _panel(process, letters, absolute=absolute)) is not None
        ),
        growth=None if law is None else _growth(process, letters),
        times=tuple(_timed(one) for one in process["times"]),
        law="" if law is None else _law(law),
        reason=str(process["reason"]),
    )


def _letter(place: int) -> str:
    return _LETTERS[place] if place < len(_LETTERS) else str(place + 1)


# A test -----------------------------------------------------------------------------------------------------


def _test(letter: str, test: Story) -> Test:
    how = [duration(test["time_s"])]
    if test["temperature_c"] is not None:
        how.append(f"{number(test['temperature_c'])} °C")
    read = sum(step["density"] is not None for step in test["steps"])
    if read:
        source = "by densitometer" if test["read_from"] == "densities" else "from a scan"
        how.append(f"{read} steps of {test['tablet']} {source}")
    return Test(
        letter=letter,
        test=str(test["test"]),
        how=", ".join(how),
        facts=() if test["figures"] is None else _facts(test),
        notes=tuple(test["notes"]),
        reason=str(test["reason"]),
        readings=tuple(
            Reading(
                step=str(step["step"]),
                log_h=fixed(step["log_h"]),
                density=fixed(step["density"]),
                sd=deviation(step["sd"], 3),
                net=fixed(step["net_density"]),
            )
            for step in test["steps"]
            if step["density"] is not None
        ),
    )


def _facts(test: Story) -> tuple[Fact, ...]:
    of = test["figures"]
    condition = of["contrast_condition"]
    rise = f"over 1.30 log H it gains {fixed(of['rise']['value'])} {deviation(of['rise']['sd'])}, for 0.80 ± 0.05"
    said = {
        None: f"whether it is an ISO speed isn’t known: {of['rise']['note']}",
        "holds": f"an ISO 6 speed, as the contrast condition holds: {rise}",
        "does not hold": f"no ISO 6 speed, as the contrast condition doesn’t hold: {rise}",
        "unsure": f"whether the contrast condition of ISO 6 holds is unsure: {rise}",
    }[condition]
    useful = of["useful_range"]
    stops = f"log H, {fixed(useful['value'] / _STOP, 1)} stops" if useful["value"] is not None else ""
    return (
        _fact("Base+fog", of["base_fog"], 3),
        _fact("Speed, 0.8/H at 0.10", of["speed"], 0, said=said if of["speed"]["value"] is not None else ""),
        _fact("Speed, Delta-X", of["delta_x_speed"], 0),
        _fact("Index for a flare-free zone I", of["zone_i_index"], 0),
        _fact("Average gradient", of["average_gradient"], 3),
        _fact("Contrast index", of["contrast_index"], 3),
        _fact("Useful range", useful, 2, unit=stops),
        _fact("Development reached", test["found_n"], 2, unit="N", signed=True),
    )


def _fact(name: str, of: Story, places: int, *, unit: str = "", said: str = "", signed: bool = False) -> Fact:
    value = fixed(of["value"], places, signed=signed)
    if value and of["at_least"]:
        value = f"at least {value}"
    return Fact(
        name=name,
        value=value,
        unit=unit if value else "",
        sd=deviation(of["sd"], places),
        note="; ".join(part for part in (str(of["note"]), said) if part),
    )


def _timed(one: Story) -> Timed:
    low, high = one["low_s"], one["high_s"]
    interval = ""
    if one["time_s"] is not None:
        interval = f"{_clock(low) if low else '…'} to {_clock(high) if high else '…'}"
    said = ["outside the times tried"] if one["outside_tried"] else []
    return Timed(
        tag=str(one["tag"]),
        contrast=fixed(one["contrast"]),
        time=_clock(one["time_s"]) if one["time_s"] is not None else "",
        interval=interval,
        note="; ".join([*said, *([one["note"]] if one["note"] else [])]),
    )


def _clock(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes}:{rest:02}"


def _law(law: Story) -> str:
    count = int(law["tests"])
    if law["form"] == "limit":
        limit, rate = law["limit"], law["rate_per_min"]
        said = (
            f"From {count} tests: contrast, 1 for N, rises as c∞(1 − e^(−kt)) with c∞ {fixed(limit['value'])} "
            f"{deviation(limit['sd'])} and k {fixed(rate['value'], 3)} {deviation(rate['sd'], 3)} a minute."
        )
    else:
        said = f"From {count} tests at two times: contrast is taken as linear in the logarithm of time."
    q10 = f"{fixed(law['q10']['value'])} {deviation(law['q10']['sd'])}"
    told = "as the tests tell" if law["q10_fitted"] else "taken so, as the tests don’t tell"
    return f"{said} Ten degrees quicken it by {q10}, {told}."


# The drawings -----------------------------------------------------------------------------------------------


def _panel(process: Story, letters: Mapping[str, str], *, absolute: bool) -> CurvePanel | None:
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


def _growth(process: Story, letters: Mapping[str, str]) -> Growth | None:
    law = process["contrast_law"]
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
