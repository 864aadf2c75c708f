"""Development: what each tag came to, and the time that makes it what its name says.

Sources
-------
Adams : A. Adams, The Negative (1981): N+n fills zones I to VIII with 7 − n stops.
Gelman : A. Gelman et al., Bayesian Data Analysis (2013), 1.9, 10: quantities of interest from draws.
Mees : C. E. K. Mees, T. H. James, The Theory of the Photographic Process (1966): contrast against the logarithm of
    time; temperature coefficients.
"""

from collections import defaultdict
from collections.abc import Sequence
from math import exp, inf, isfinite, log
from statistics import median

import numpy as np
from numpy.typing import NDArray

from negcat.exposure import contrast
from negcat.learning.layout import Layout, process_of
from negcat.learning.learned import ContrastCurve, DevelopmentEstimate, FittedCurve
from negcat.learning.noise import Weighted
from negcat.learning.posterior import INTERVAL, draws, moments
from negcat.learning.season import FilmTest, Sheet
from negcat.learning.shape import BENDS
from negcat.learning.unknowns import Process
from negcat.notation import format_tag

__all__ = ["contrast_combination", "contrasts_of", "curves_of", "developments_of", "in_use"]

Array = NDArray[np.float64]

_LEAST_RISE = 0.02
_LEAST_CONTRAST = 0.05
_FURTHEST = 1.5  # in ln time: beyond it a time is no figure
_OUTSIDE = 1.02


def _by_tag(layout: Layout) -> dict[tuple[Process, float], list[Sheet]]:
    found: dict[tuple[Process, float], list[Sheet]] = defaultdict(list)
    for sheet in layout.sheets:
        found[process_of(sheet), sheet.planned_n].append(sheet)
    return dict(sorted(found.items(), key=lambda item: (repr(item[0][0]), item[0][1])))


def in_use(sheets: Sequence[Sheet]) -> tuple[float | None, float | None]:
    """Return the time in seconds and the temperature in use for sheets of one tag: their medians."""
    times = [sheet.development_s for sheet in sheets if sheet.development_s is not None]
    degrees = [sheet.temperature_c for sheet in sheets if sheet.temperature_c is not None]
    return (median(times) if times else None), (median(degrees) if degrees else None)


def _warmer(layout: Layout, process: Process, degrees: float | None) -> float:
    reference = layout.reference_temperature[process]
    return (degrees - reference) / 10.0 if degrees is not None and reference is not None else 0.0


def _tried(layout: Layout) -> dict[Process, list[float]]:
    """Gather the times that each process was developed for, of sheets and of tests."""
    times: dict[Process, list[float]] = defaultdict(list)
    tests = [test for of_process in layout.tests.values() for test in of_process]
    tried: list[Sheet | FilmTest] = [*layout.sheets, *tests]
    for thing in tried:
        if thing.development_s is not None:
            times[process_of(thing)].append(thing.development_s)
    return times


class _Contrast:
    """Draws of a process's contrast against time."""

    def __init__(self, layout: Layout, points: Sequence[Weighted], process: Process) -> None:
        find = layout.unknowns.find
        columns = [find(kind, process) for kind in ("contrast", "rise", "rise bend")]
        q10 = find("log q10", process)
        drawn = draws(points, columns + ([q10] if q10 >= 0 else []))
        self.start, self.rise, self.bend = drawn[:, :3].T
        self.log_q10 = drawn[:, 3] if q10 >= 0 else np.zeros(len(drawn))
        self.reference = layout.reference_time[process] or 1.0

    def at(self, seconds: float, warmer: float) -> Array:
        """Draws of contrast at a time, `warmer` tens of degrees above the reference."""
        time = log(seconds / self.reference) + warmer * self.log_q10
        found = self.start + (self.rise + 0.5 * self.bend * time) * time
        return np.asarray(np.maximum(found, _LEAST_CONTRAST))

    def time_for(self, wanted: float, warmer: float) -> Array:
        """Draws of the logarithm of the seconds for a contrast; infinite where none reaches it."""
        more = wanted - self.start
        under_root = self.rise**2 + 2.0 * self.bend * more
        reached = (under_root > 0.0) & (self.rise > _LEAST_RISE)
        root = np.sqrt(np.where(reached, under_root, 1.0))
        time = np.where(reached, 2.0 * more / (self.rise + root), np.copysign(inf, more))
        return np.asarray(log(self.reference) + time - warmer * self.log_q10)


def developments_of(layout: Layout, points: Sequence[Weighted]) -> tuple[DevelopmentEstimate, ...]:
    """Return, for every tag of every process, what it came to and which time it asks for.

    Parameters
    ----------
    layout : the season.
    points : its fits.
    """
    found, curves = [], {}
    tried_for = _tried(layout)
    for (process, planned), sheets in _by_tag(layout).items():
        seconds, degrees = in_use(sheets)
        tag = format_tag(planned)
        warmer = _warmer(layout, process, degrees)
        reason = ""
        times: tuple[float | None, float | None, float | None] = (None, None, None)
        if seconds is None:
            column = layout.unknowns.find("untimed", (*process, tag))
            reached = np.maximum(draws(points, [column])[:, 0], _LEAST_CONTRAST)
            reason = "the developing time is not recorded"
        else:
            if process not in curves:
                curves[process] = _Contrast(layout, points, process)
            reached = curves[process].at(seconds, warmer)
            times = _interval_of(curves[process].time_for(contrast(planned), warmer))
        n = 7.0 - 7.0 / reached
        low_n, high_n = np.quantile(n, INTERVAL)
        advised = False
        if seconds is not None:
            asked, low, high = times
            if asked is None:
                reason = "no time within reach is known to give this contrast: try one further out"
            elif low is None or high is None:
                reason = "how contrast grows with time is too little known for limits: develop some for another time"
            elif low <= seconds <= high:
                reason = "no change is called for: the interval holds the time in use"
            else:
                advised = True
        tried = tried_for[process]
        asked = times[0]
        found.append(
            DevelopmentEstimate(
                film=process.film,
                developer=process.developer,
                dilution=process.dilution,
                tag=tag,
                planned_n=planned,
                sheets=tuple(sheet.sheet for sheet in sheets),
                found_n=float(np.mean(n)),
                sd=float(np.std(n)),
                low_n=float(low_n),
                high_n=float(high_n),
                time_s=seconds,
                temperature_c=degrees,
                advised_time_s=asked,
                advised_low_s=times[1],
                advised_high_s=times[2],
                outside_tried=asked is not None
                and not min(tried) / _OUTSIDE <= asked <= max(tried) * _OUTSIDE,
                advised=advised,
                reason=reason,
            )
        )
    return tuple(found)


def _interval_of(log_times: Array) -> tuple[float | None, float | None, float | None]:
    """Return median and ends in seconds; None for what isn't within reach."""
    middle = float(np.quantile(log_times, 0.5, method="inverted_cdf"))
    ends = [float(np.quantile(log_times, share, method="inverted_cdf")) for share in INTERVAL]
    found = [
        exp(value) if isfinite(value) and (not isfinite(middle) or abs(value - middle) < _FURTHEST) else None
        for value in (middle, *ends)
    ]
    return (found[0], found[1], found[2])


def contrast_combination(layout: Layout, process: Process, tag: str, sheets: Sequence[Sheet]) -> Array:
    """Return the combination of the unknowns that is a tag's contrast at the time in use, (unknowns,)."""
    found = np.zeros(len(layout.unknowns))
    find = layout.unknowns.find
    seconds, reference = in_use(sheets)[0], layout.reference_time[process]
    if seconds is None or reference is None:
        found[find("untimed", (*process, tag))] = 1.0
        return found
    time = log(seconds / reference)
    for kind, by in (("contrast", 1.0), ("rise", time), ("rise bend", 0.5 * time * time)):
        found[find(kind, process)] = by
    return found


def contrasts_of(layout: Layout, points: Sequence[Weighted]) -> tuple[ContrastCurve, ...]:
    """Return the development reached against time, for every process whose times are recorded."""
    found = []
    tried_for = _tried(layout)
    for process in sorted({process for process, _ in _by_tag(layout)}, key=repr):
        tried = tried_for[process]
        if not tried:
            continue
        curve = _Contrast(layout, points, process)
        times = np.geomspace(min(tried), max(tried), 9 if max(tried) > min(tried) else 1)
        reached = [7.0 - 7.0 / curve.at(float(time), 0.0) for time in times]
        found.append(
            ContrastCurve(
                film=process.film,
                developer=process.developer,
                dilution=process.dilution,
                temperature_c=layout.reference_temperature[process],
                times_s=tuple(times.tolist()),
                found_n=tuple(float(np.mean(n)) for n in reached),
                sds=tuple(float(np.std(n)) for n in reached),
            )
        )
    return tuple(found)


def curves_of(
    layout: Layout, points: Sequence[Weighted], film_combinations: dict[str, Array]
) -> tuple[FittedCurve, ...]:
    """Return every process's curve at N, by the exposure index in use.

    Parameters
    ----------
    layout, points : the season and its fits.
    film_combinations : film → the combination of the unknowns that is its error in the gauge.
    """
    mean, covariance = moments(points)
    zones = np.arange(0.0, 10.25, 0.5)
    found = []
    for process in sorted({process for process, _ in _by_tag(layout)}, key=repr):
        shift = film_combinations[process.film].copy()
        if (column := layout.unknowns.find("process", process)) >= 0:
            shift[column] = 1.0
        first = layout.unknowns.find("bend", (*process, "0"))
        bends = np.tile(mean[first : first + BENDS], (len(zones), 1))
        curve = layout.shape.at(zones + shift @ mean, bends)
        by = np.outer(curve.slope, shift)
        by[:, first : first + BENDS] += curve.by_bend
        found.append(
            FittedCurve(
                film=process.film,
                developer=process.developer,
                dilution=process.dilution,
                zones=tuple(zones.tolist()),
                densities=tuple(curve.density.tolist()),
                sds=tuple(np.sqrt((by @ covariance * by).sum(axis=1)).tolist()),
                tests=tuple(test.test for test in layout.tests.get(process, ())),
            )
        )
    return tuple(found)
