"""The sentences of a judgement, in the trade's words and with their figures."""

from collections.abc import Sequence
from math import sqrt

from negcat.judgement.line import Line, Point
from negcat.judgement.result import DevelopmentVerdict, ExposureVerdict, JudgedReading
from negcat.notation import format_tag
from negcat.sensitometry import TargetCurve

__all__ = [
    "INTERVAL",
    "curve_sentence",
    "development_sentence",
    "exposure_sentence",
    "no_weight_sentences",
    "plain",
    "quoted",
    "share_sentence",
    "signed",
    "stray_sentence",
    "unresolved_sentence",
]

INTERVAL = 1.6448536269514722
"""Half width of a 90 % interval, in deviations."""


def quoted(name: str) -> str:
    """Set the name of a reading apart from the sentence around it."""
    return f"“{name}”"


def plain(value: float) -> str:
    """Write two decimals, with a proper minus and no negative nought."""
    text = f"{value:.2f}"
    return "0.00" if text == "-0.00" else text.replace("-", "−")


def signed(value: float) -> str:
    """Write two decimals with their sign."""
    text = f"{value:+.2f}"
    return "0.00" if text in {"+0.00", "-0.00"} else text.replace("-", "−")


def _found_n(n: float) -> str:
    """Write a development that was found, ``N+0.4``: to a tenth, for no sheet tells more."""
    text = f"{n:+.1f}"
    return "N" if text in {"+0.0", "-0.0"} else f"N{text}".replace("-", "−")


def exposure_sentence(verdict: ExposureVerdict, error: float, sd: float) -> str:
    """Say how the exposure stands to plan: `error` ± `sd` in stops."""
    if verdict == "unsure":
        return (
            f"Exposure is unsure: {signed(error)} ± {sd:.2f} stop from plan, and the 90 % interval from "
            f"{signed(error - INTERVAL * sd)} to {signed(error + INTERVAL * sd)} stop "
            "reaches across the limit of a third of a stop."
        )
    amount = f"{plain(abs(error))} ± {sd:.2f} stop {'more' if error > 0 else 'less'} exposure than planned"
    if verdict == "as planned":
        return f"Exposure is as planned: the negative got {amount}, within a third of a stop."
    return f"The negative is {verdict}: it got {amount}, beyond a third of a stop."


def development_sentence(verdict: DevelopmentVerdict, found_n: float, planned_n: float, sd: float) -> str:
    """Say how the development stands to plan: `found_n` ± `sd` in N."""
    figures = f"{_found_n(found_n)} (± {sd:.2f}) where {format_tag(planned_n).replace('-', '−')} was planned"
    if verdict == "unsure":
        return (
            f"Development is unsure: it came out at {figures}, and the 90 % interval from "
            f"{_found_n(found_n - INTERVAL * sd)} to {_found_n(found_n + INTERVAL * sd)} "
            "reaches across the limit of half an N."
        )
    if verdict == "as planned":
        return f"Development is as planned: it came out at {figures}, within half an N."
    return f"The negative is {verdict}: development came out at {figures}, beyond half an N."


def unresolved_sentence(points: Sequence[Point]) -> str:
    """Say why the readings don't tell the development."""
    wanted = "it takes a shadow and a highlight to tell contrast."
    if len(points) == 1:
        return f"Development is unsure: {quoted(points[0].name)} is the only reading that counts; {wanted}"
    zones = [point.zone for point in points]
    span = max(zones) - min(zones)
    return f"Development is unsure: the readings that count span only {span:.1f} zones; {wanted}"


def share_sentence(decision: float, line: Line) -> str:
    """Share the distance from plan out between what was set and what happened on the way."""
    return (
        f"Of the distance from plan, {signed(decision)} stop was set (stop, time and corrections), "
        f"and {signed(line.r)} ± {sqrt(line.r_variance):.2f} stop is what film, cell, shutter, meter "
        "and batch did."
    )


def stray_sentence(point: Point, miss: float) -> str:
    """Name a reading that lies off the sheet's line by `miss` zones."""
    return (
        f"{quoted(point.name)} came out {abs(miss):.1f} zone {'denser' if miss > 0 else 'thinner'} than the "
        "line of all readings, more than their errors explain: look at its spot and its meter reading."
    )


def no_weight_sentences(judged: Sequence[JudgedReading]) -> list[str]:
    """Name every reading that bears no weight, with the reason."""
    return [f"{quoted(reading.name)} bears no weight: {reading.note}." for reading in judged if reading.note]


def curve_sentence(target: TargetCurve, response: TargetCurve | None) -> str:
    """Say what the result is held against."""
    if response is None:
        return (
            f"Both are held against the print target ({target.name}), as no curve of this film is known: "
            "a film with a long toe meets it thin and contrasty even when all is right."
        )
    return (
        f"What film and development did is held against the film's own curve ({response.name}), "
        f"what will print against the print target ({target.name})."
    )
