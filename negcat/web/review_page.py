"""The review set for reading: what to change, the ring-around, what each thing did, how decisions came out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from negcat.notation import format_clock
from negcat.web.review_ring import Ring, draw_ring
from negcat.web.spread import Group, Spread, draw_spread
from negcat.web.summed import duration, number
from negcat.web.typesetting import deviation, fixed
from negcat.work.review_words import FACTORS

__all__ = ["Advised", "Decision", "Page", "Row", "set_page"]

Document = Mapping[str, Any]

IN_CHART = ("film", "lens", "cell", "shutter_time", "tag")
MOST_IN_CHART = 30
"""Levels that are drawn; the table holds all."""

SHOWN = ("cell", "tag", "zone", "rounding")
"""Decisions that are shown without being asked for."""


@dataclass(frozen=True)
class Evidence:
    """The sheets behind something: a search of the wall where one gives just these, else each by itself."""

    count: int
    search: Mapping[str, str]
    sheets: tuple[str, ...]


@dataclass(frozen=True)
class Advised:
    """One thing to do differently."""

    key: str
    sentence: str
    doubt: str
    evidence: Evidence
    not_accepted: str
    accepted: str
    chemicals: bool


@dataclass(frozen=True)
class Row:
    """A factor's level."""

    factor: str
    level: str
    evidence: Evidence
    error: str
    interval: str
    entangled: str
    advice: str
    reason: str


@dataclass(frozen=True)
class Film:
    """A film's exposure index and exponent."""

    film: str
    evidence: Evidence
    used: str
    indicated: str
    interval: str
    exponent_used: str
    exponent: str
    exponent_interval: str


@dataclass(frozen=True)
class Developed:
    """A tag's development, and the time that would make it what its name says."""

    film: str
    process: str
    tag: str
    evidence: Evidence
    found: str
    interval: str
    time: str
    indicated: str
    indicated_interval: str
    reason: str


@dataclass(frozen=True)
class DecisionRow:
    """One decision's sheets."""

    name: str
    evidence: Evidence
    exposure: str
    exposure_part: str
    development: str
    development_part: str
    error: str
    error_interval: str


@dataclass(frozen=True)
class Decision:
    """Sheets grouped by one kind of decision."""

    by: str
    title: str
    rows: tuple[DecisionRow, ...]


@dataclass(frozen=True)
class Page:
    """All that the template writes down."""

    sheets: int
    measured: int
    why: tuple[str, ...]
    advice: tuple[Advised, ...]
    ring: Ring | None
    ring_rows: tuple[tuple[str, str, str, str, str, str], ...]
    ring_measured: int
    ring_reason: str
    asked: str
    factors: tuple[Row, ...]
    chart: Spread | None
    gauge: str
    films: tuple[Film, ...]
    developed: tuple[Developed, ...]
    spoiled: tuple[tuple[str, str], ...]
    settling: tuple[str, ...]
    decisions: tuple[Decision, ...]
    compared: tuple[tuple[str, str], ...]
    what_if_films: tuple[tuple[str, tuple[str, ...]], ...]


def set_page(document: Document, titles: Mapping[str, str], by: str | None = None) -> Page:
    """Set a review for reading.

    Parameters
    ----------
    document : as ``negcat review --json`` prints it.
    titles : kinds of decision with their names.
    by : the kind of decision asked for; else some of them are shown.
    """
    ring = document["ring_around"]
    chosen = document["chosen"]
    asked = ring["what_if"]
    return Page(
        sheets=int(document["sheets"]),
        measured=int(document["measured"]),
        why=tuple(document["why"]),
        advice=tuple(_advised(one, chosen) for one in document["advice"]),
        ring=draw_ring(ring["points"]),
        ring_rows=tuple(_ring_row(point) for point in reversed(ring["points"])),
        ring_measured=int(ring["measured"]),
        ring_reason=str(ring["reason"]),
        asked=_asked(asked) if asked else "",
        factors=tuple(_row(one, chosen) for one in document["factors"]),
        chart=_chart(document["factors"]),
        gauge=str(document["gauge"]),
        films=_films(document, chosen),
        developed=tuple(_developed(one, chosen) for one in document["development"]),
        spoiled=tuple((str(one["sheet"]), str(one["sentence"])) for one in document["spoiled"]),
        settling=tuple(str(one["sentence"]) for one in document["settling"]),
        decisions=tuple(
            _decision(one, titles, chosen)
            for one in document["decisions"]
            if one["by"] == by or (by is None and one["by"] in SHOWN)
        ),
        compared=(
            *((str(one["question"]), str(one["answer"])) for one in document["compared"]),
            *(_trend(name, document["trend"][name]) for name in ("exposure", "development")),
        ),
        what_if_films=_what_if_films(document),
    )


def _evidence(sheets: Sequence[str], chosen: Mapping[str, str], own: Mapping[str, str] | None) -> Evidence:
    """Lead to the sheets behind something: by the same search narrowed further where that gives just these."""
    return Evidence(len(sheets), {**chosen, **own} if own else {}, tuple(sheets))


def _advised(one: Document, chosen: Mapping[str, str]) -> Advised:
    return Advised(
        key=str(one["key"]),
        sentence=str(one["sentence"]),
        doubt=str(one["doubt"]),
        evidence=_evidence(one["evidence"], chosen, None),
        not_accepted=str(one["not_accepted"]),
        accepted=str(one["accepted"]).replace("T", " "),
        chemicals=one["about"] == "development",
    )


def _ring_row(point: Document) -> tuple[str, str, str, str, str, str]:
    moved = ""
    if point["moved_stops"] is not None or point["moved_n"] is not None:
        stops = point["error_stops"] if point["moved_stops"] is None else point["moved_stops"]
        n = point["found_n"] if point["moved_n"] is None else point["moved_n"]
        moved = f"{fixed(stops, signed=True)}, {fixed(n, signed=True)}"
    return (
        str(point["sheet"]),
        fixed(point["error_stops"], signed=True),
        deviation(point["error_sd"]),
        fixed(point["found_n"], signed=True),
        deviation(point["found_sd"]) if point["told"] else "by its tag",
        moved,
    )


def _asked(asked: Document) -> str:
    parts = []
    if asked["index"] is not None:
        parts.append(f"{asked['film']} exposed at EI {number(asked['index'])}")
    if asked["time_s"] is not None:
        what = f"what of {asked['film']} was tagged {asked['tag']}" if asked["tag"] else str(asked["film"])
        parts.append(f"{what} developed for {duration(asked['time_s'])}")
    return ", and ".join(parts)


_SEARCH = {"film": ("film",), "cell": ("lens", "cell"), "lens": ("lens",), "batch": ("batch",)}


def _row(one: Document, chosen: Mapping[str, str]) -> Row:
    fields = _SEARCH.get(one["factor"])
    own = dict(zip(fields, one["names"], strict=True)) if fields else None
    low, high = fixed(one["low"], signed=True), fixed(one["high"], signed=True)
    reference = bool(one["is_reference"])
    return Row(
        factor=FACTORS.get(one["factor"], str(one["factor"])),
        level=str(one["level"]),
        evidence=_evidence(one["evidence"], chosen, own),
        error="0" if reference else fixed(one["error_stops"], signed=True),
        interval="counts as right" if reference else f"{low} to {high}",
        entangled=str(one["entangled"]),
        advice=str(one["key"] or ""),
        # Of an interval that holds nought everybody sees why nothing is advised.
        reason="" if reference or one["low"] <= 0.0 <= one["high"] else str(one["reason"]),
    )


def _chart(factors: Sequence[Document]) -> Spread | None:
    drawn = [one for one in factors if one["factor"] in IN_CHART and not one["is_reference"]]
    return draw_spread(
        [
            Group(
                label=f"{FACTORS[one['factor']]}: {one['level']}",
                values=(),
                mean=one["error_stops"],
                low=one["low"],
                high=one["high"],
            )
            for one in drawn[:MOST_IN_CHART]
        ],
        title="What each did to the exposure, with its 90 % interval",
        axis="stops; + is denser than the record says",
        unit="stop",
    )


def _films(document: Document, chosen: Mapping[str, str]) -> tuple[Film, ...]:
    exponents = {one["film"]: one for one in document["reciprocity"]}
    films = []
    for one in document["exposure_index"]:
        law = exponents.get(one["film"])
        used = ""
        if law is not None:
            used = "the table" if law["exponent_used"] is None else fixed(law["exponent_used"])
        films.append(
            Film(
                film=str(one["film"]),
                evidence=_evidence(one["evidence"], chosen, {"film": one["film"]}),
                used=number(one["used"]),
                indicated=fixed(one["indicated"], 0),
                interval=f"{fixed(one['low'], 0)} to {fixed(one['high'], 0)}",
                exponent_used=used,
                exponent=fixed(law["exponent_indicated"]) if law else "",
                exponent_interval=f"{fixed(law['low'])} to {fixed(law['high'])}" if law else "",
            )
        )
    return tuple(films)


def _developed(one: Document, chosen: Mapping[str, str]) -> Developed:
    process = " ".join(part for part in (one["developer"], one["dilution"]) if part)
    if one["temperature_c"] is not None:
        process += f", {number(one['temperature_c'])}\u00a0°C"
    own = {"film": one["film"], "tag": one["tag"]}
    if one["developer"]:
        own["developer"] = one["developer"]
    low, high = one["advised_low_s"], one["advised_high_s"]
    return Developed(
        film=str(one["film"]),
        process=process,
        tag=str(one["tag"]),
        evidence=_evidence(one["evidence"], chosen, own),
        found=fixed(one["found_n"], signed=True),
        interval=f"{fixed(one['low_n'], signed=True)} to {fixed(one['high_n'], signed=True)}",
        time=clock(one["time_s"]),
        indicated=clock(one["advised_time_s"]),
        indicated_interval=f"{clock(low)} to {clock(high)}" if low is not None and high is not None else "",
        reason=str(one["reason"]),
    )


def clock(seconds: float | None) -> str:
    """Set a developing time as minutes and seconds; nothing for None.

    Examples
    --------
    >>> clock(684.4), clock(None)
    ('11:24', '')
    """
    return "" if seconds is None else format_clock(seconds)


def _decision(one: Document, titles: Mapping[str, str], chosen: Mapping[str, str]) -> Decision:
    rows = []
    for group in one["groups"]:
        error = group["exposure_error_stops"]
        low, high = fixed(error["low"], signed=True), fixed(error["high"], signed=True)
        exposure, exposure_part = _share(group["exposure"])
        development, development_part = _share(group["development"])
        rows.append(
            DecisionRow(
                name=str(group["name"]),
                evidence=_evidence(group["evidence"], chosen, group["chosen"] or None),
                exposure=exposure,
                exposure_part=exposure_part,
                development=development,
                development_part=development_part,
                error=fixed(error["mean"], signed=True),
                error_interval=f"{low} to {high}" if low else "no interval",
            )
        )
    return Decision(str(one["by"]), str(titles[one["by"]]), tuple(rows))


def _share(share: Document) -> tuple[str, str]:
    if share["share"] is None:
        return "", ""
    return (
        f"{fixed(share['as_planned'], 1)} of {share['sheets']}",
        f"{fixed(100 * share['low'], 0)} to {fixed(100 * share['high'], 0)}\u00a0%",
    )


def _trend(name: str, trend: Document) -> tuple[str, str]:
    question = f"Is the {name} getting nearer to plan?"
    if trend["ratio"] is None:
        return question, f"Can’t be told: {trend['reason']}."
    said = "Not to be told from chance"
    if trend["settled"]:
        said = "It is" if trend["ratio"] < 1 else "No, it is getting wider"
    unit = "stop" if name == "exposure" else "N"
    return question, (
        f"{said}: over {trend['sheets']} sheets the usual distance went from {fixed(trend['first'])} to "
        f"{fixed(trend['last'])} {unit}, to {fixed(trend['ratio'])} of it (90 % interval {fixed(trend['low'])} to "
        f"{fixed(trend['high'])})."
    )


def _what_if_films(document: Document) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """List the films, each with the tags that it was developed for."""
    tags: dict[str, list[str]] = {one["film"]: [] for one in document["exposure_index"]}
    for one in document["development"]:
        if one["tag"] not in tags.setdefault(one["film"], []):
            tags[one["film"]].append(one["tag"])
    return tuple((film, tuple(known)) for film, known in tags.items())


def address(chosen: Mapping[str, str], **more: str) -> str:
    """Write the query string of a review of these sheets, with a question mark before it where there is one."""
    written = urlencode(
        {**chosen, **{name.replace("_", "-"): value for name, value in more.items() if value}}
    )
    return f"?{written}" if written else ""
