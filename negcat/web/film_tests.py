"""A film's tests on its page: characteristic curves, standard figures, the time for each N."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from negcat.notation import format_clock
from negcat.web.film_test_charts import CurvePanel, Growth, draw_curves, draw_growth
from negcat.web.summed import duration, number
from negcat.web.typesetting import deviation, fixed
from negcat.work.archive import Archive
from negcat.work.curves import curves_json, film_curves
from negcat.work.film_story import film_story

__all__ = [
    "Fact",
    "Process",
    "Reading",
    "Test",
    "Timed",
    "set_curves",
    "story",
]

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
            if (panel := draw_curves(process, letters, absolute=absolute)) is not None
        ),
        growth=draw_growth(process, letters),
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
        source = "typed in" if test["read_from"] == "densities" else "from a scan"
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
        interval = f"{format_clock(low) if low else '…'} to {format_clock(high) if high else '…'}"
    said = ["outside the times tried"] if one["outside_tried"] else []
    return Timed(
        tag=str(one["tag"]),
        contrast=fixed(one["contrast"]),
        time=format_clock(one["time_s"]) if one["time_s"] is not None else "",
        interval=interval,
        note="; ".join([*said, *([one["note"]] if one["note"] else [])]),
    )


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
