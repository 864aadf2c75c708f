"""From a sheet's readings to its verdict."""

from collections.abc import Sequence
from math import sqrt
from typing import Literal

from negcat.errors import QuantityError
from negcat.exposure import contrast, exposure_zone_of
from negcat.judgement.contradictions import falling_densities, lost_against_line
from negcat.judgement.line import METERING_SD, ZONE_FLOOR_SD, Point, fit_line, furthest_off
from negcat.judgement.result import (
    DevelopmentVerdict,
    ExposureVerdict,
    FoundReading,
    JudgedReading,
    Judgement,
    PaperNeed,
)
from negcat.judgement.words import (
    INTERVAL,
    curve_sentence,
    development_sentence,
    exposure_sentence,
    no_weight_sentences,
    plain,
    share_sentence,
    stray_sentence,
    unresolved_sentence,
)
from negcat.notation import format_zone
from negcat.sensitometry import TargetCurve, nearest_grade, paper_exposure_scale

__all__ = ["DEVELOPMENT_TOLERANCE", "EXPOSURE_TOLERANCE", "JUDGEMENT_VERSION", "judge"]

JUDGEMENT_VERSION = 2
"""Rises whenever the same readings would be judged otherwise than before."""

EXPOSURE_TOLERANCE = 1.0 / 3.0
"""Stops either way that still count as planned."""

DEVELOPMENT_TOLERANCE = 0.5
"""N either way that still counts as planned."""

_LOST_BELOW = 0.03  # net density under which nothing prints
_HIGHEST_ZONE = 9.0  # above zone IX a straight target has nothing to say
_STRAY = 3.5  # deviations off the line from which on a reading is named


def judge(
    readings: Sequence[FoundReading],
    *,
    target: TargetCurve,
    n: float,
    decision_stops: float | None,
    response: TargetCurve | None = None,
    metering_sd: float = METERING_SD,
    why: Sequence[str] = (),
) -> Judgement:
    """Judge a sheet: what was found against what was planned.

    Parameters
    ----------
    readings : the sheet's readings, any number.
    target : the print target that says what will print.
    n : development the sheet was tagged for, less than 7.
    decision_stops : stops by which the given exposure departs from the placement, as far as the record
        knows (the photographer's rounding, stopping and corrections); None where it can't be known.
    response : the film's own curve under this process: net density of an exposure zone developed N. The
        line is then taken against it instead of the target.
    metering_sd : deviation of one meter reading in stops, not negative.
    why : sentences known already, told after those of the verdict.

    Returns
    -------
    The judgement; exposure errors in stops, development in N.

    Raises
    ------
    QuantityError
        For a negative `metering_sd`, or an `n` no development can reach.

    Notes
    -----
    Verdicts by the 90 % interval (±1.645 of the deviation without the metering's part): a third of a stop
    and half an N count as planned, an interval that straddles a limit is ``unsure``. Where more than half
    of `found_n` is still the prior, development is ``unsure`` however far off it looks; where the readings
    contradict each other, so is everything.

    Examples
    --------
    >>> from negcat.sensitometry import built_in_target
    >>> def reading(name, zone, net, placed=False):
    ...     return FoundReading(name, placed, zone, zone, net + 0.2, 0.01, net, planned_zone=zone)
    >>> sheet = [reading("kiln mouth", 3, 0.22, True), reading("wall", 5, 0.50), reading("sky", 8, 1.08)]
    >>> judgement = judge(sheet, target=built_in_target(), n=0.0, decision_stops=0.0)
    >>> judgement.verdict, round(judgement.exposure_error_stops, 1)
    ('thin', -0.9)
    """
    contrast(n)  # refuses an n that no development can reach, whatever the readings are
    if not metering_sd >= 0.0:
        raise QuantityError(f"The metering deviation must not be negative; it is {metering_sd:g} stop.")
    curve = target if response is None else response
    zones, given_known = _exposure_zones(readings, n)
    judged: list[JudgedReading] = []
    points: list[Point] = []
    for reading, zone in zip(readings, zones, strict=True):
        one, point = _judge_reading(reading, zone, target, curve)
        judged.append(one)
        if point is not None:
            points.append(point)
    measured = any(one.net_density is not None or one.bound is not None for one in readings)
    contradictions = falling_densities(readings, zones) if measured else []
    if not points:
        return _without_line(readings, judged, contradictions, target, n, response, why)

    line = fit_line(points, n, metering_sd)
    r_density_sd, n_density_sd = sqrt(line.r_density_variance), sqrt(line.n_density_variance)
    decision = decision_stops
    residual: float | None = line.r
    error: float | None = line.r
    if not given_known:
        # The line's shift is the whole distance from plan already.
        residual = None if decision is None else line.r - decision
    else:
        if decision is None:
            decision = _decision_of(readings)
        error = None if decision is None else decision + line.r

    exposure: ExposureVerdict = "not measured"
    if error is not None:
        side = _side(error, r_density_sd, EXPOSURE_TOLERANCE)
        if not contradictions and side in {0, 1}:
            contradictions = lost_against_line(judged, zones, line, curve.zone(_LOST_BELOW))
        if contradictions:
            side = None
        exposure = "unsure" if side is None else ("as planned", "dense", "thin")[side]
    resolved = line.n_settled and not contradictions
    side = _side(line.n - n, n_density_sd, DEVELOPMENT_TOLERANCE) if resolved else None
    development: DevelopmentVerdict = "unsure" if side is None else ("as planned", "contrasty", "flat")[side]

    sentences: list[str] = []
    if contradictions:
        sentences.append("Exposure and development are unsure, because the readings contradict each other.")
    else:
        if error is None:
            sentences.append(
                "Exposure is not measured: what was planned for the placed reading isn't known in zones."
            )
        else:
            sentences.append(exposure_sentence(exposure, error, r_density_sd))
        if line.n_settled:
            sentences.append(development_sentence(development, line.n, n, n_density_sd))
        else:
            sentences.append(unresolved_sentence(points))
    if not given_known:
        sentences.append(
            "Nothing tells what the readings were really given, so the distance from plan can't be shared "
            "out between the setting and what film, cell, shutter and meter did."
        )
    elif decision is not None:
        sentences.append(share_sentence(decision, line))
    sentences += contradictions
    stray = furthest_off(points, line, metering_sd)
    if stray is not None and stray[2] > _STRAY and not contradictions:
        sentences.append(stray_sentence(stray[0], stray[1]))
    sentences += why
    sentences += no_weight_sentences(_measured(readings, judged))
    sentences.append(curve_sentence(target, response))
    return Judgement(
        exposure_error_stops=error,
        exposure_error_sd=None if error is None else sqrt(line.r_variance),
        exposure_error_density_sd=None if error is None else r_density_sd,
        residual_stops=residual,
        found_n=line.n,
        found_n_sd=sqrt(line.n_variance),
        found_n_density_sd=n_density_sd,
        planned_n=n,
        exposure_verdict=exposure,
        development_verdict=development,
        verdict=_whole_verdict(exposure, development),
        why=tuple(sentences),
        readings=tuple(judged),
        target=target.name,
        version=JUDGEMENT_VERSION,
        response=None if response is None else response.name,
        paper=_paper(readings, judged, target),
    )


def _side(error: float, sd: float, tolerance: float) -> int | None:
    """Find the side of the tolerance: -1 under, 0 within, 1 over; None where a limit is straddled."""
    low, high = error - INTERVAL * sd, error + INTERVAL * sd
    if high < -tolerance:
        return -1
    if low > tolerance:
        return 1
    return 0 if low >= -tolerance and high <= tolerance else None


def _whole_verdict(exposure: ExposureVerdict, development: DevelopmentVerdict) -> str:
    departures = [word for word in (exposure, development) if word in {"thin", "dense", "flat", "contrasty"}]
    if departures:
        return ", ".join(departures)
    if exposure == development:
        return exposure
    # One that couldn't be measured leaves the whole open just as an unsure one does.
    return "unsure"


def _exposure_zones(readings: Sequence[FoundReading], planned_n: float) -> tuple[list[float | None], bool]:
    """Exposure zone of each reading for the line, and whether these are what was given.

    Where nothing tells what was given, the zones that were planned stand in: the line's shift is then the
    whole distance from plan.
    """
    if any(reading.given_zone is not None for reading in readings):
        return [reading.given_zone for reading in readings], True
    zones = []
    for reading in readings:
        zone = reading.planned_zone
        if zone is None and reading.placed and reading.planned_print_zone is not None:
            zone = exposure_zone_of(reading.planned_print_zone, planned_n)
        zones.append(zone)
    return zones, False


def _decision_of(readings: Sequence[FoundReading]) -> float | None:
    """Given minus planned exposure zone of the placed reading, where both are known."""
    for reading in readings:
        if reading.placed and reading.given_zone is not None and reading.planned_zone is not None:
            return reading.given_zone - reading.planned_zone
    return None


def _measured(readings: Sequence[FoundReading], judged: Sequence[JudgedReading]) -> list[JudgedReading]:
    """Leave out the readings nobody measured: that they bear no weight goes without saying."""
    return [
        one
        for one, reading in zip(judged, readings, strict=True)
        if reading.density is not None or reading.bound is not None
    ]


def _judge_reading(
    reading: FoundReading, zone: float | None, target: TargetCurve, curve: TargetCurve
) -> tuple[JudgedReading, Point | None]:
    """Hold one reading against the target, and see whether it bears on the line.

    `zone` is its exposure zone for the line, `curve` the one the line is taken against.
    """
    planned, net, sd = reading.planned_print_zone, reading.net_density, reading.sd
    target_density = None if planned is None else target.density(planned)
    error_density = None if net is None or target_density is None else net - target_density
    print_zone = print_zone_sd = error_zones = None
    point = None
    note = ""
    lost = net is not None and net < _LOST_BELOW
    if net is None:
        if reading.bound is not None:
            note = f"{reading.bound} than the scanner's profile reaches"
        elif reading.density is None:
            note = "it has no density"
        else:
            note = "base+fog isn't known, so it has no density above it"
    elif lost:
        note = (
            f"it is lost, {plain(net)} above base+fog, less than the {_LOST_BELOW:.2f} that begins to print"
        )
    else:
        print_zone = target.zone(net)
        error_zones = None if planned is None else print_zone - planned
        if sd is not None:
            print_zone_sd = sd / target.slope(print_zone)
        if net > curve.density(_HIGHEST_ZONE):
            note = f"it is denser than zone IX of the curve ({curve.name})"
        elif zone is None:
            note = "what it was given isn't known"
        elif zone > _HIGHEST_ZONE:
            note = f"it was given zone {format_zone(zone)}, more than IX"
        elif sd is None:
            note = "the deviation of its density isn't known"
        else:
            found = print_zone if curve is target else curve.zone(net)
            density_variance = (sd / curve.slope(found)) ** 2 + ZONE_FLOOR_SD**2
            point = Point(reading.name, zone, found, density_variance)
    judged = JudgedReading(
        name=reading.name,
        target_density=target_density,
        print_zone=print_zone,
        print_zone_sd=print_zone_sd,
        lost=lost,
        error_density=error_density,
        error_zones=error_zones,
        weight_used=point is not None,
        note=note,
    )
    return judged, point


def _paper(
    readings: Sequence[FoundReading], judged: Sequence[JudgedReading], target: TargetCurve
) -> PaperNeed | None:
    """Find the paper that prints the textured shadow and highlight as they were planned."""
    textured = sorted(
        (reading.planned_print_zone, reading.net_density, reading.name)
        for reading, found in zip(readings, judged, strict=True)
        if reading.planned_print_zone is not None
        and reading.net_density is not None
        and not found.lost
        and 1.5 <= reading.planned_print_zone <= 8.5
    )
    if len(textured) < 2:
        return None
    (low_zone, low, shadow), (high_zone, high, highlight) = textured[0], textured[-1]
    # Nearer together than this, carrying them to the whole scale would carry their errors with them.
    if low_zone > 4.5 or high_zone < 6.0 or high - low < 0.2:
        return None
    iso_r = paper_exposure_scale(high - low, target, (low_zone, high_zone))
    grade = nearest_grade(iso_r)
    return PaperNeed(shadow, highlight, high - low, iso_r, grade.grade, grade.word)


def _without_line(
    readings: Sequence[FoundReading],
    judged: Sequence[JudgedReading],
    contradictions: Sequence[str],
    target: TargetCurve,
    n: float,
    response: TargetCurve | None,
    why: Sequence[str],
) -> Judgement:
    """Judge a sheet of which no reading bears weight: nothing is computed, and the reason is told."""
    verdict: Literal["unsure", "not measured"] = "not measured"
    measured = [reading for reading in readings if reading.net_density is not None]
    if not readings:
        reason = "Not measured: the sheet has no readings."
    elif any(reading.given_zone is not None or reading.planned_zone is not None for reading in measured):
        verdict = "unsure"
        reason = "Unsure: of the readings that have a density none can bear weight."
    elif measured:
        reason = "Not measured: neither what was planned nor what was given is known in zones."
    elif any(reading.density is not None for reading in readings):
        reason = "Not measured: base+fog isn't known, so there is no density above it."
    elif any(reading.bound is not None for reading in readings):
        reason = "Not measured: every spot lies outside the range of the scanner's profile."
    else:
        reason = "Not measured: no reading has a density."
    return Judgement(
        exposure_error_stops=None,
        exposure_error_sd=None,
        exposure_error_density_sd=None,
        residual_stops=None,
        found_n=None,
        found_n_sd=None,
        found_n_density_sd=None,
        planned_n=n,
        exposure_verdict=verdict,
        development_verdict=verdict,
        verdict=verdict,
        why=(
            reason,
            *contradictions,
            *why,
            *(no_weight_sentences(_measured(readings, judged)) if measured else ()),
        ),
        readings=tuple(judged),
        target=target.name,
        version=JUDGEMENT_VERSION,
        response=None if response is None else response.name,
        paper=_paper(readings, judged, target) if measured else None,
    )
