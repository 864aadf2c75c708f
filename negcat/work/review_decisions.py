"""Sheets grouped by what was decided: how often each decision came out as planned, and two that are often asked."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from negcat.judgement import DEVELOPMENT_TOLERANCE, EXPOSURE_TOLERANCE
from negcat.learning.decisions import Difference, Share, Trend, difference, share, trend
from negcat.notation import format_stop, format_time, format_zone, parse_tag
from negcat.summaries import Summary, summarise
from negcat.work.review_words import counted_sheets
from negcat.work.summing import tells_development

__all__ = ["BY", "Compared", "Decided", "Grouped", "Trends", "compared", "grouped", "trends"]

Row = Mapping[str, Any]
Readings = Mapping[str, Sequence[tuple[Any, ...]]]

ROUNDED = 1.0 / 6.0
"""Stops beyond plan from which on a setting was rounded up or down, and not simply set."""

FURTHER_OFF = 2.0 / 3.0
"""Stops beyond plan past which it was no rounding: a filter or the bellows forgotten, a bracket."""

LONG_S = 1.0

BY = {
    "cell": "Cell",
    "film": "Film",
    "tag": "Tag",
    "developer": "Developer",
    "batch": "Batch",
    "stop": "Stop",
    "time": "Time",
    "zone": "Zone the shadow was placed on",
    "rounding": "Stop and time, against what the placement asked for",
}
"""What sheets are grouped by, with the name of each on a page."""


@dataclass(frozen=True)
class Decided:
    """The sheets of one decision.

    Parameters
    ----------
    name : the decision.
    sheets : ids of those measured, the oldest first.
    made : how many were made so, measured or not.
    exposure, development : how often each came out as planned.
    error_stops : distance of the exposure from plan.
    found_n : N found less N planned.
    chosen : filters of ``negcat find`` that give these sheets; empty where there are none such.
    """

    name: str
    sheets: tuple[str, ...]
    made: int
    exposure: Share
    development: Share
    error_stops: Summary
    found_n: Summary
    chosen: Mapping[str, str]


@dataclass(frozen=True)
class Grouped:
    """Sheets grouped by one kind of decision."""

    by: str
    groups: tuple[Decided, ...]


@dataclass(frozen=True)
class Compared:
    """Two ways of deciding held against each other.

    Parameters
    ----------
    question : what is asked.
    one, other : the two ways.
    apart : share that came out as planned with the one less that with the other.
    answer : in words, also where it can't be told.
    """

    question: str
    one: Decided
    other: Decided
    apart: Difference
    answer: str


@dataclass(frozen=True)
class Trends:
    """Whether the practice is getting tighter, in exposure and in development."""

    exposure: Trend
    development: Trend


def grouped(rows: Sequence[Row], readings: Readings, by: str) -> Grouped:
    """Group sheets by a kind of decision.

    Parameters
    ----------
    rows, readings : as :func:`negcat.work.review_gathering.gather` gives them.
    by : one of :data:`BY`.

    Returns
    -------
    The groups in the decision's own order; sheets without that decision are left out.
    """
    groups: dict[Any, list[Row]] = defaultdict(list)
    named = _NAMED[by]
    for row in rows:
        name = named(row, readings)
        if name is not None:
            groups[name].append(row)
    return Grouped(
        by,
        tuple(
            _decided(text, groups[order, text], _chosen(by, groups[order, text][0], text))
            for order, text in sorted(groups)
        ),
    )


def _cell(row: Row, readings: Readings) -> tuple[Any, str] | None:
    del readings
    return (row["lens"].casefold(), f"{row['lens']} / {row['cell']}") if row["cell"] else None


def _film(row: Row, readings: Readings) -> tuple[Any, str]:
    del readings
    return row["film"].casefold(), row["film"]


def _tag(row: Row, readings: Readings) -> tuple[Any, str]:
    del readings
    return parse_tag(row["tag"]).n, row["tag"]


def _developer(row: Row, readings: Readings) -> tuple[Any, str] | None:
    del readings
    return (row["developer"].casefold(), row["developer"]) if row["developer"] else None


def _batch(row: Row, readings: Readings) -> tuple[Any, str] | None:
    del readings
    return ("", row["batch"]) if row["batch"] else None


def _stop(row: Row, readings: Readings) -> tuple[Any, str]:
    del readings
    return round(row["f_number"], 6), format_stop(row["f_number"])


def _time(row: Row, readings: Readings) -> tuple[Any, str]:
    del readings
    return round(row["time_s"], 6), format_time(row["time_s"])


def _placed_zone(row: Row, readings: Readings) -> float | None:
    for _, placed, planned, *_ in readings.get(row["sheet"], ()):
        if placed and planned is not None:
            return float(planned)
    return None


def _zone(row: Row, readings: Readings) -> tuple[Any, str] | None:
    zone = _placed_zone(row, readings)
    if zone is None:
        return None
    half = round(zone * 2) / 2
    return half, format_zone(half)


def _rounding(row: Row, readings: Readings) -> tuple[Any, str] | None:
    del readings
    beyond = row["decision_stops"]
    if beyond is None:
        return None
    if abs(beyond) > FURTHER_OFF:
        return (0, "much less than asked") if beyond < 0 else (4, "much more than asked")
    if abs(beyond) <= ROUNDED:
        return 2, "as asked, to a sixth of a stop"
    return (1, "rounded down") if beyond < 0 else (3, "rounded up")


_NAMED: Mapping[str, Callable[[Row, Readings], tuple[Any, str] | None]] = {
    "cell": _cell,
    "film": _film,
    "tag": _tag,
    "developer": _developer,
    "batch": _batch,
    "stop": _stop,
    "time": _time,
    "zone": _zone,
    "rounding": _rounding,
}


def _chosen(by: str, row: Row, text: str) -> dict[str, str]:
    if by == "cell":
        return {"lens": row["lens"], "cell": row["cell"]}
    return {by: text} if by in ("film", "tag", "developer", "batch") else {}


def _exposed(rows: Sequence[Row]) -> list[Row]:
    return [
        row
        for row in rows
        if row["exposure_error_stops"] is not None and row["exposure_error_sd"] is not None
    ]


def _developed(rows: Sequence[Row]) -> list[Row]:
    return [row for row in rows if tells_development(row["found_n"], row["found_n_sd"])]


def _decided(name: str, rows: Sequence[Row], chosen: Mapping[str, str] | None = None) -> Decided:
    exposed, developed = _exposed(rows), _developed(rows)
    errors = [row["exposure_error_stops"] for row in exposed]
    off = [row["found_n"] - row["tag_n"] for row in developed]
    return Decided(
        name=name,
        sheets=tuple(row["sheet"] for row in exposed),
        made=len(rows),
        exposure=share(errors, [row["exposure_error_sd"] for row in exposed], EXPOSURE_TOLERANCE),
        development=share(off, [row["found_n_sd"] for row in developed], DEVELOPMENT_TOLERANCE),
        error_stops=summarise(errors),
        found_n=summarise(off),
        chosen=chosen or {},
    )


def compared(rows: Sequence[Row], readings: Readings) -> tuple[Compared, ...]:
    """Answer two questions that are often asked: rounding long times up, and shadows on III or on IV."""
    long = [row for row in rows if row["time_s"] >= LONG_S and row["decision_stops"] is not None]
    up = [row for row in long if ROUNDED < row["decision_stops"] <= FURTHER_OFF]
    as_asked = [row for row in long if -FURTHER_OFF <= row["decision_stops"] <= ROUNDED]
    on = {
        zone: [row for row in rows if (found := _placed_zone(row, readings)) and abs(found - zone) <= 0.25]
        for zone in (3.0, 4.0)
    }
    return (
        _compare(
            "Does it help to round long times up?",
            _decided("rounded up, from 1 s on", up),
            _decided("as asked or shorter, from 1 s on", as_asked),
        ),
        _compare(
            "Do shadows come out better placed on III or on IV?",
            _decided("placed on III", on[3.0]),
            _decided("placed on IV", on[4.0]),
        ),
    )


def _compare(question: str, one: Decided, other: Decided) -> Compared:
    apart = difference(one.exposure, other.exposure)
    if apart.difference is None:
        missing = one if not one.sheets else other
        answer = f"Can’t be told: no measured sheet was {missing.name}."
    else:
        assert apart.low is not None  # it comes with the difference
        assert apart.high is not None
        span = f"{_points(apart.low)} to {_points(apart.high)} of a hundred sheets, 90 % interval"
        behind = f"{counted_sheets(len(one.sheets))} {one.name}, {len(other.sheets)} {other.name}"
        if not apart.settled:
            answer = f"Can’t be told yet ({behind}: a difference of {span})."
        else:
            better = one if apart.difference > 0 else other
            answer = (
                f"{better.name[:1].upper()}{better.name[1:]} came out as planned oftener ({behind}: {span})."
            )
    return Compared(question, one, other, apart, answer)


def _points(part: float) -> str:
    return f"{100 * part:+.0f}".replace("-", "−")


def trends(rows: Sequence[Row]) -> Trends:
    """Tell whether sheets come nearer to plan, in the order in which they were exposed.

    Parameters
    ----------
    rows : the oldest first; those without a date are left out.
    """
    dated = [row for row in rows if row["exposed_at"]]
    exposed, developed = _exposed(dated), _developed(dated)
    return Trends(
        trend(
            [row["exposure_error_stops"] for row in exposed], [row["exposure_error_sd"] for row in exposed]
        ),
        trend([row["found_n"] - row["tag_n"] for row in developed], [row["found_n_sd"] for row in developed]),
    )
