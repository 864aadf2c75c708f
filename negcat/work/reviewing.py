"""What worked, and what to change: the chosen sheets learnt from, and set out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from negcat import learning
from negcat.catalogue import Query
from negcat.errors import NotationError
from negcat.work.archive import Archive
from negcat.work.review_advice import Advice, advice_of
from negcat.work.review_decisions import BY, Compared, Grouped, Trends, compared, grouped, trends
from negcat.work.review_gathering import Gathered, gather
from negcat.work.review_open import entangled_words, names_of_levels, settling_words, worth_settling
from negcat.work.review_ring import Ring, WhatIf, ring_around
from negcat.work.review_words import counted_sheets, level_words

__all__ = ["BY", "GAUGE", "Review", "chosen_words", "review", "review_csv", "review_json", "spoiled_words"]

GAUGE = (
    "Only differences can be learnt. An exposure index is personal: it holds with this meter, these lenses and "
    "shutters. Of each lens the whole one, or else the cell with most sheets, counts as right, and the others are "
    "held against it; shutter times are held against the mean of all."
)

MOST_LEARNT = 10_000
"""Measured sheets that are learnt from, the newest: more would take long and tell little more."""

CSV_HEAD = (
    "factor",
    "level",
    "sheets",
    "error_stops",
    "sd",
    "low",
    "high",
    "entangled_with",
    "advice_key",
    "advice",
)

GROUP_HEAD = (
    "sheets",
    "measured",
    *(
        f"{what}_{name}"
        for what in ("exposure", "development")
        for name in ("as_planned", "share", "low", "high")
    ),
    "exposure_error_stops",
    "exposure_error_low",
    "exposure_error_high",
)


@dataclass(frozen=True)
class Review:
    """A review of sheets.

    Parameters
    ----------
    chosen : the filters that chose them.
    gathered : the sheets.
    learned : what they taught.
    advice : what to do differently.
    decisions : sheets grouped by what was decided.
    compared : two questions often asked.
    trends : whether the practice is getting tighter.
    """

    chosen: Mapping[str, str]
    gathered: Gathered
    learned: learning.Learned
    advice: tuple[Advice, ...]
    decisions: tuple[Grouped, ...]
    compared: tuple[Compared, ...]
    trends: Trends

    @property
    def sheets(self) -> int:
        """How many sheets were chosen."""
        return len(self.gathered.rows)

    @property
    def measured(self) -> int:
        """How many of them have a density to learn from."""
        return sum(bool(sheet.readings) for sheet in self.gathered.season.sheets)

    def ring(self, asked: WhatIf | None = None) -> Ring:
        """Place the sheets on the ring-around, and where they would stand by what is asked."""
        return ring_around(
            self.gathered.rows, self.gathered.readings, self.gathered.season, self.learned, asked
        )


def review(archive: Archive, query: Query, by: str | None = None) -> Review:
    """Review sheets.

    Parameters
    ----------
    archive : the archive, which is only read.
    query : which sheets; its limit is not looked at.
    by : group them by this kind of decision only, one of :data:`BY`; else by each.

    Raises
    ------
    NotationError : a tag, date or kind of decision that can't be read.
    """
    if by is not None and by not in BY:
        raise NotationError(f"sheets can't be grouped by {by!r}; group them by {', '.join(BY)}")
    gathered = gather(archive, replace(query, limit=None, offset=0))
    learned = _learned(gathered.season)
    return Review(
        chosen=query.filters(),
        gathered=gathered,
        learned=learned,
        advice=advice_of(learned, gathered.season, archive.catalogue, gathered.rows),
        decisions=tuple(grouped(gathered.rows, gathered.readings, kind) for kind in ([by] if by else BY)),
        compared=compared(gathered.rows, gathered.readings),
        trends=trends(gathered.rows),
    )


def _learned(season: learning.Season) -> learning.Learned:
    """Learn from the newest sheets, as many as it takes and time allows."""
    measured = [sheet for sheet in season.sheets if sheet.readings]
    if len(measured) <= MOST_LEARNT:
        return learning.learn(season)
    learned = learning.learn(replace(season, sheets=measured[-MOST_LEARNT:]))
    said = (
        f"Learnt from the newest {MOST_LEARNT:,} of {len(measured):,} measured sheets; narrow them by film, lens or "
        "date to learn from others."
    )
    return replace(learned, why=(said, *learned.why))


# As a document ----------------------------------------------------------------------------------------------


def review_json(done: Review, ring: Ring | None = None) -> dict[str, Any]:
    """Give what ``negcat review --json`` prints.

    Parameters
    ----------
    done : the review.
    ring : the ring-around, with what was asked to be worked out; without it there are no points.
    """
    learned, lenses = done.learned, done.gathered.season.lenses
    whole = {lens.lens: lens.whole for lens in lenses}
    by_level: dict[tuple[str, str], Advice] = {(one.about, one.level): one for one in done.advice}
    named = names_of_levels(learned, lenses)
    document = {
        "sheets": done.sheets,
        "measured": done.measured,
        "chosen": dict(done.chosen),
        "factors": [_factor(one, by_level, named, whole) for one in learned.factors],
        "development": [_development(one, done.advice) for one in learned.development],
        "exposure_index": [
            {
                **_without(asdict(one), "sheets"),
                "sheets": len(one.sheets),
                "evidence": list(one.sheets),
                **_advice(by_level.get(("exposure_index", one.film))),
            }
            for one in learned.exposure_index
        ],
        "reciprocity": [
            {
                **_without(asdict(one), "sheets"),
                "sheets": len(one.sheets),
                "evidence": list(one.sheets),
                **_advice(by_level.get(("reciprocity", one.film))),
            }
            for one in learned.reciprocity
        ],
        "advice": [_whole_advice(one) for one in done.advice],
        "settling": [
            {**asdict(one), "sentence": settling_words(one, named, lenses)}
            for one in worth_settling(learned.settling)
        ],
        "spoiled": [{**asdict(one), "sentence": spoiled_words(one)} for one in learned.spoiled],
        "noise": [asdict(one) for one in learned.noise],
        "decisions": [_grouped(one) for one in done.decisions],
        "compared": [
            {
                "question": one.question,
                "answer": one.answer,
                "one": _decided(one.one),
                "other": _decided(one.other),
                "difference": asdict(one.apart),
            }
            for one in done.compared
        ],
        "trend": {"exposure": _trend(done.trends.exposure), "development": _trend(done.trends.development)},
        "gauge": GAUGE,
        "why": list(learned.why),
        "version": learned.version,
    }
    if ring is not None:
        document["ring_around"] = {
            "points": [asdict(point) for point in ring.points],
            "measured": ring.measured,
            "what_if": asdict(ring.asked) if ring.asked else None,
            "reason": ring.reason,
        }
    return document


def _without(values: dict[str, Any], *names: str) -> dict[str, Any]:
    return {name: value for name, value in values.items() if name not in names}


def _advice(advice: Advice | None) -> dict[str, Any]:
    if advice is None:
        return {"advice": None, "key": None}
    return {"advice": advice.sentence, "key": advice.key}


_ABOUT = {"film": "exposure_index", "cell": "scale", "lens": "scale", "shutter_time": "shutter_time"}


def _factor(
    one: learning.FactorEstimate,
    by_level: Mapping[tuple[str, str], Advice],
    named: Mapping[str, str],
    whole: Mapping[str, str | None],
) -> dict[str, Any]:
    return {
        "factor": one.factor,
        "level": one.level,
        "sheets": len(one.sheets),
        "error_stops": one.error_stops,
        "sd": one.sd,
        "low": one.low,
        "high": one.high,
        "entangled_with": list(one.entangled_with),
        "entangled": entangled_words(one.entangled_with, named),
        **_advice(by_level.get((_ABOUT.get(one.factor, ""), one.level))),
        "reason": one.reason,
        "is_reference": one.is_reference,
        "names": list(one.names),
        "words": level_words(one.factor, one.names, whole),
        "evidence": list(one.sheets),
    }


def _development(one: learning.DevelopmentEstimate, advice: Sequence[Advice]) -> dict[str, Any]:
    own = next(
        (
            given
            for given in advice
            if given.time is not None
            and (given.time.film, given.time.developer, given.time.dilution, given.time.tag)
            == (one.film, one.developer, one.dilution, one.tag)
            and given.time.temperature_c == one.temperature_c
        ),
        None,
    )
    return {
        **_without(asdict(one), "sheets"),
        "sheets": len(one.sheets),
        "evidence": list(one.sheets),
        **_advice(own),
    }


def _whole_advice(one: Advice) -> dict[str, Any]:
    return {
        "key": one.key,
        "about": one.about,
        "level": one.level,
        "sentence": one.sentence,
        "doubt": one.doubt,
        "value": one.value,
        "low": one.low,
        "high": one.high,
        "unit": one.unit,
        "sheets": len(one.sheets),
        "evidence": list(one.sheets),
        "not_accepted": one.not_accepted,
        "accepted": one.accepted,
    }


def _grouped(one: Grouped) -> dict[str, Any]:
    return {"by": one.by, "groups": [_decided(group) for group in one.groups]}


def _decided(group: Any) -> dict[str, Any]:
    return {
        "name": group.name,
        "sheets": group.made,
        "measured": len(group.sheets),
        "exposure": asdict(group.exposure),
        "development": asdict(group.development),
        "exposure_error_stops": asdict(group.error_stops),
        "found_n_less_planned": asdict(group.found_n),
        "evidence": list(group.sheets),
        "chosen": dict(group.chosen),
    }


def _trend(one: Any) -> dict[str, Any]:
    return {**asdict(one), "settled": one.settled}


def spoiled_words(one: learning.Spoiled) -> str:
    """Say what a sheet that doesn't belong with the others looks like."""
    amount = f"{one.amount:+.1f}".replace("-", "−")
    by = f"{amount} {'stops' if one.unit == 'stops' else 'in density'}"
    look = {
        "fog": f"{one.sheet} looks fogged ({by}): look at its margin and its bag.",
        "double exposure": f"{one.sheet} looks exposed twice ({by}).",
        "mistaken reading": (
            f"“{one.reading}” on {one.sheet} looks misread or its spot misplaced ({by} from what the other readings "
            "say)."
        ),
        "wrong film": (
            f"{one.sheet} looks like another film in the holder"
            + (f", perhaps {one.other_film}" if one.other_film else "")
            + f" ({by})."
        ),
        "stands apart": f"{one.sheet} stands apart from the others ({by}), and nothing on record says why.",
    }[one.looks_like]
    return f"{look} It counts for little here."


def review_csv(done: Review, by: str | None = None) -> tuple[tuple[str, ...], list[tuple[Any, ...]]]:
    """Give a review as a table.

    Parameters
    ----------
    done : the review.
    by : a kind of decision: the sheets grouped by it; else the factors.

    Returns
    -------
    The head and the rows; None for what there isn't.
    """
    document = review_json(done)
    if by is not None:
        groups = next(one["groups"] for one in document["decisions"] if one["by"] == by)
        return (by, *GROUP_HEAD), [
            (
                group["name"],
                group["sheets"],
                group["measured"],
                *(
                    group[what][name]
                    for what in ("exposure", "development")
                    for name in ("as_planned", "share", "low", "high")
                ),
                *(group["exposure_error_stops"][name] for name in ("mean", "low", "high")),
            )
            for group in groups
        ]
    return CSV_HEAD, [
        (
            *(one[name] for name in ("factor", "level", "sheets", "error_stops", "sd", "low", "high")),
            "; ".join(one["entangled_with"]),
            one["key"],
            one["advice"],
        )
        for one in document["factors"]
    ]


def chosen_words(done: Review) -> str:
    """Say which sheets were reviewed."""
    said = f"{counted_sheets(done.sheets)}, {done.measured} measured"
    filters = ", ".join(f"{name} {value}" for name, value in done.chosen.items())
    return f"{said} ({filters})" if filters else said
