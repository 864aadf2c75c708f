"""From estimates to advice: what to do differently on the next sheet, how sure that is, what it rests on."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import log2
from typing import Any, Literal

from negcat import learning
from negcat.catalogue import AdvisedTime, Catalogue, DatedChange
from negcat.notation import format_stop, parse_tag, parse_time
from negcat.work.review_open import entangled_words, names_of_levels
from negcat.work.review_words import (
    counted_sheets,
    in_words,
    index_step,
    key_of,
    minutes,
    more_or_less,
    number_words,
    step_of,
)

__all__ = ["Advice", "advice_of"]

About = Literal["exposure_index", "scale", "shutter_time", "reciprocity", "development"]

LONGEST_EXPONENT = 3.0
"""What a record of a power law takes."""


@dataclass(frozen=True)
class Advice:
    """One thing to do differently.

    Parameters
    ----------
    key : by which it is accepted.
    about : what it changes.
    level : which: the film, ``LENS / CELL``, ``SHUTTER / TIME``, ``FILM / TAG``.
    sentence : the advice, with its 90 % interval and how many sheets it rests on.
    doubt : what it can't be told from so far, in words; empty where it stands by itself.
    sheets : ids of those it rests on.
    value, low, high : the figure advised and its 90 % interval, in `unit`.
    unit : ``ISO``, ``stops``, ``s`` or empty.
    changes : the dated changes that accepting it writes, without a date.
    time : the developing time that accepting it keeps, without a date.
    not_accepted : why accepting it can write nothing; empty where it can.
    accepted : since when the same is accepted already; empty where it isn't.
    """

    key: str
    about: About
    level: str
    sentence: str
    doubt: str
    sheets: tuple[str, ...]
    value: float
    low: float
    high: float
    unit: str
    changes: tuple[DatedChange, ...] = ()
    time: AdvisedTime | None = None
    not_accepted: str = ""
    accepted: str = ""


def advice_of(
    learned: learning.Learned,
    season: learning.Season,
    catalogue: Catalogue,
    rows: Sequence[Mapping[str, Any]],
) -> tuple[Advice, ...]:
    """Turn what was learnt into advice.

    Parameters
    ----------
    learned : what the sheets taught.
    season : what they were.
    catalogue : what is on record, which is only read.
    rows : the sheets, for the stops that were used.

    Returns
    -------
    Advice on exposure first, then on development; each with a key of its own. None on what may be nought.
    """
    given: list[Advice] = []
    named = names_of_levels(learned, season.lenses)
    given += [_index(one, named) for one in learned.exposure_index if one.advised]
    for one in learned.factors:
        if not one.advised:
            continue
        if one.factor in ("cell", "lens"):
            given.append(_scale(one, catalogue, rows, named))
        elif one.factor == "shutter_time":
            given.append(_shutter(one, catalogue, named))
    given += [_reciprocity(one, catalogue, named) for one in learned.reciprocity if one.advised]
    times = catalogue.advised_times()
    given += [_development(one, times) for one in learned.development if one.advised and one.advised_time_s]
    return tuple(_told_apart(given))


def _told_apart(given: Sequence[Advice]) -> list[Advice]:
    """Give advice of one key a number behind it; in the order of the names, so that it stays the same."""
    counts = Counter(advice.key for advice in given)
    numbers: Counter[str] = Counter()
    told = []
    for advice in given:
        if counts[advice.key] > 1:
            numbers[advice.key] += 1
            advice = replace(advice, key=f"{advice.key}-{numbers[advice.key]}")
        told.append(advice)
    return told


# One kind of advice each ----------------------------------------------------------------------------------


def _rests_on(sheets: Sequence[str]) -> str:
    return f"{counted_sheets(len(sheets))} behind it"


def _index(one: learning.IndexEstimate, named: Mapping[str, str]) -> Advice:
    step = index_step(one.indicated, one.low, one.high, one.used)
    return Advice(
        key=key_of("index", one.film),
        about="exposure_index",
        level=one.film,
        sentence=(
            f"Expose {one.film} at EI {step:g} instead of {one.used:g} (90 % interval {one.low:.0f} to "
            f"{one.high:.0f}; {_rests_on(one.sheets)})."
        ),
        doubt=entangled_words(one.entangled_with, named),
        sheets=one.sheets,
        value=step,
        low=one.low,
        high=one.high,
        unit="ISO",
        changes=(
            DatedChange(film=one.film, field="exposure_index", before=None, after=step, effective_from=""),
        ),
    )


def _scale(
    one: learning.FactorEstimate,
    catalogue: Catalogue,
    rows: Sequence[Mapping[str, Any]],
    named: Mapping[str, str],
) -> Advice:
    lens_name = one.names[0]
    lens = catalogue.lens(lens_name)
    assert lens is not None  # its sheets refer to it
    cells = [cell for cell in lens.cells if one.factor == "lens" or cell.cell == one.names[1]]
    known = cells[0].scale_error_stops
    error = round(known + one.error_stops, 2)
    step = step_of(error)
    less = one.error_stops < 0
    if one.factor == "lens" or len(lens.cells) == 1:
        what = f"{lens_name} passes"
    else:
        what = f"The {one.names[1]} cell of {lens_name} passes"
    beyond = "" if not known else f" beyond the {known:+.2f} stop on record".replace("-", "−")
    own = cells[0].own_scale
    size = step_of(one.error_stops)
    sentence = (
        f"{what} {in_words(size) if size else number_words(one.error_stops)} {'less' if less else 'more'} light than "
        f"{'its scale says' if own else 'is reckoned for it'}{beyond} (90 % interval "
        f"{more_or_less(one.low, one.high)} stop; {_rests_on(one.sheets)})"
    )
    if step and own:
        marked = _usual_stop(one.sheets, rows)
        true = format_stop(marked * 2 ** (step / 2))
        turn = "open" if step < 0 else "close"
        wanted = format_stop(marked)
        sentence += (
            f": {turn} it {in_words(step)} further; where {wanted} is wanted, set {true}, and mark it there"
        )
    elif not size:
        sentence += ": too little to set by, but reckoned with once it is accepted"
    else:
        sentence += f": {'open' if size < 0 else 'close'} it {in_words(size)} further than reckoned"
    return Advice(
        key=key_of("scale", *one.names),
        about="scale",
        level=one.level,
        sentence=sentence + ".",
        doubt=entangled_words(one.entangled_with, named),
        sheets=one.sheets,
        value=one.error_stops,
        low=one.low,
        high=one.high,
        unit="stops",
        changes=tuple(
            DatedChange(
                lens=lens_name,
                cell=cell.cell,
                field="scale_error_stops",
                before=cell.scale_error_stops,
                after=round(cell.scale_error_stops + one.error_stops, 2),
                effective_from="",
            )
            for cell in cells
        ),
    )


def _usual_stop(sheets: Sequence[str], rows: Sequence[Mapping[str, Any]]) -> float:
    """Give the full stop next to the one that was used most: the example on the scale."""
    made = set(sheets)
    used = Counter(round(log2(row["f_number"]) * 2) for row in rows if row["sheet"] in made)
    return float(2.0 ** ((used.most_common(1)[0][0] if used else 9) / 2))


def _shutter(one: learning.FactorEstimate, catalogue: Catalogue, named: Mapping[str, str]) -> Advice:
    name, marked = one.names
    record = catalogue.shutter(name)
    mark = parse_time(marked)
    known = next(
        (
            (time, seconds)
            for time, seconds in (record.measured.items() if record else ())
            if abs(time.seconds / mark.seconds - 1.0) < 1e-3
        ),
        None,
    )
    believed = known[1] if known else mark.seconds
    seconds, low, high = (believed * 2**stops for stops in (one.error_stops, one.low, one.high))
    more = "more" if one.error_stops > 0 else "less"
    step = step_of(one.error_stops)
    refused = ""
    if record is None:
        refused = (
            f"no shutter is on record for {name}: record which one it sits in, then it can be written down"
        )
    elif mark.seconds >= 1.0 and known is None:
        refused = "a time counted by hand is put right by counting, not by a record of the shutter"
    return Advice(
        key=key_of("shutter", name, marked),
        about="shutter_time",
        level=one.level,
        sentence=(
            f"Count {marked} of {name} as {seconds:.3g} s (90 % interval {low:.3g} to {high:.3g}; "
            f"{_rests_on(one.sheets)}): it gives {in_words(step) if step else number_words(one.error_stops)} {more} "
            "than is reckoned with."
        ),
        doubt=entangled_words(one.entangled_with, named),
        sheets=one.sheets,
        value=seconds,
        low=low,
        high=high,
        unit="s",
        changes=()
        if refused
        else (
            DatedChange(
                shutter=name,
                marked_time=known[0].text if known else marked,
                field="measured",
                before=known[1] if known else None,
                after=float(f"{seconds:.3g}"),
                effective_from="",
            ),
        ),
        not_accepted=refused,
    )


def _reciprocity(one: learning.ReciprocityEstimate, catalogue: Catalogue, named: Mapping[str, str]) -> Advice:
    film = catalogue.film(one.film)
    assert film is not None  # its sheets refer to it
    law = film.reciprocity
    exponent = round(min(max(one.exponent_indicated, 1.0), LONGEST_EXPONENT), 2)
    if one.exponent_used is None:
        instead = "instead of the table on record"
    elif law is None or law.law == "none":
        instead = "where no law is on record"
    else:
        instead = f"instead of {one.exponent_used:g}"
    from_s = law.from_s if law is not None and law.law == "power" and law.from_s is not None else 1.0
    return Advice(
        key=key_of("law", one.film),
        about="reciprocity",
        level=one.film,
        sentence=(
            f"Reckon long times of {one.film} with the reciprocity exponent {exponent:.2f} {instead} (90 % interval "
            f"{one.low:.2f} to {one.high:.2f}; {_rests_on(one.sheets)}): 10 s metered ask for "
            f"{from_s * (10 / from_s) ** exponent:.0f} s."
        ),
        doubt=entangled_words(one.entangled_with, named),
        sheets=one.sheets,
        value=exponent,
        low=one.low,
        high=one.high,
        unit="",
        changes=(
            DatedChange(
                film=one.film,
                field="reciprocity",
                before=None,
                after={"law": "power", "exponent": exponent, "from_s": from_s},
                effective_from="",
            ),
        ),
    )


def _development(one: learning.DevelopmentEstimate, times: Sequence[AdvisedTime]) -> Advice:
    assert one.advised_time_s is not None  # it is advised
    low = one.advised_low_s if one.advised_low_s is not None else one.advised_time_s
    high = one.advised_high_s if one.advised_high_s is not None else one.advised_time_s
    process = " ".join(part for part in (one.developer, one.dilution) if part)
    warmth = f" at {one.temperature_c:g} °C" if one.temperature_c is not None else ""
    found = f"{one.found_n:+.1f}".replace("-", "−")
    came_to = "N" if found in ("+0.0", "−0.0") else f"N{found}"
    sentence = (
        f"Develop {one.film} for {one.tag}{f' in {process}' if process else ''}{warmth} for "
        f"{minutes(one.advised_time_s)} (90 % interval {minutes(low)} to {minutes(high)}; {_rests_on(one.sheets)})"
    )
    if one.time_s is not None:
        sentence += f" instead of {minutes(one.time_s)}, which came to {came_to}"
    sentence += "."
    if one.outside_tried:
        sentence += " No time like it was tried yet, so go there in two steps and look."
    process_of = (one.film, one.developer, one.dilution, one.temperature_c, one.tag)
    last = next((time for time in reversed(times) if _process(time) == process_of), None)
    return Advice(
        key=key_of("time", one.film, one.developer, one.tag),
        about="development",
        level=f"{one.film} / {one.tag}",
        sentence=sentence,
        doubt="",
        sheets=one.sheets,
        value=one.advised_time_s,
        low=low,
        high=high,
        unit="s",
        time=AdvisedTime(
            film=one.film,
            developer=one.developer,
            dilution=one.dilution,
            temperature_c=one.temperature_c,
            tag=one.tag,
            tag_n=parse_tag(one.tag).n,
            time_s=float(round(one.advised_time_s / 5) * 5)
            if one.advised_time_s >= 180
            else one.advised_time_s,
            low_s=low,
            high_s=high,
            sheets=len(one.sheets),
            effective_from="",
        ),
        accepted=last.effective_from if last is not None and low <= last.time_s <= high else "",
    )


def _process(time: AdvisedTime) -> tuple[str, str | None, str | None, float | None, str]:
    return time.film, time.developer, time.dilution, time.temperature_c, time.tag
