"""Decisions: how often they came out as planned, whether one does better than another, and whether it improves.

A sheet's distance from plan is measured with an error of its own, so that near a limit nobody can say on which
side of it the sheet lies. Such a sheet is counted on both sides, by how likely each is; that widens the interval
as much as it ought to.

Sources
-------
Brown : L. D. Brown, T. T. Cai, A. DasGupta, Interval estimation for a binomial proportion, Statistical
    Science 16 (2001): Jeffreys' interval.
Harvey : A. C. Harvey, Estimating regression models with multiplicative heteroscedasticity, Econometrica 44
    (1976): the logarithm of a deviation as a straight line.
Hong : Y. Hong, On computing the distribution function for the Poisson binomial distribution, Computational
    Statistics and Data Analysis 59 (2013).
Morris : C. N. Morris, Parametric empirical Bayes inference, Journal of the American Statistical Association 78
    (1983): each of several like things known better by the others.
Zou : G. Y. Zou, A. Donner, Construction of confidence limits about effect measures: a general approach,
    Statistics in Medicine 27 (2008): limits of a difference from those of its parts; Newcombe's for shares.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, log, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.special import betainc, ndtr, stdtrit

from negcat.errors import QuantityError

__all__ = ["FEWEST_FOR_A_TREND", "Difference", "Share", "Trend", "difference", "share", "trend"]

FEWEST_FOR_A_TREND = 8
"""Sheets below which nothing is said of a change over time."""

_COVERAGE = 0.90
_LEAST_SD = 0.02
"""No distance from plan is known better than this, in stops or N."""

_FEWEST_OF_A_KIND = 6

_SMALL = 64

_SETTLED = 1e-7
"""A chance below this, or above one less this, settles on which side of a limit a sheet lies."""

_Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Share:
    """How often something came out as planned.

    Parameters
    ----------
    sheets : how many it rests on.
    as_planned : how many of them came out as planned; a sheet near a limit counts in part.
    share : of all that would be made so, 0 to 1; None without a sheet.
    low, high : its 90 % interval; None without a sheet.
    """

    sheets: int
    as_planned: float
    share: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class Difference:
    """One share less another.

    Parameters
    ----------
    difference : from −1 to 1; None where one of them has no sheet.
    low, high : its 90 % interval.
    """

    difference: float | None
    low: float | None
    high: float | None

    @property
    def settled(self) -> bool:
        """Whether the interval leaves nought out."""
        return self.low is not None and self.high is not None and (self.low > 0.0 or self.high < 0.0)


@dataclass(frozen=True, slots=True)
class Trend:
    """How the distance from plan changes from the first sheet to the last.

    Parameters
    ----------
    sheets : how many it rests on.
    first, last : usual distance from plan (root mean square, without the measuring's own part) at the first and
        at the last sheet, in the unit of the errors; None without a trend.
    ratio : last over first; less than 1 is tighter.
    low, high : its 90 % interval.
    reason : why there is none, else empty.
    """

    sheets: int
    first: float | None
    last: float | None
    ratio: float | None
    low: float | None
    high: float | None
    reason: str

    @property
    def settled(self) -> bool:
        """Whether the interval leaves 1 out."""
        return self.low is not None and self.high is not None and (self.low > 1.0 or self.high < 1.0)


def _given(errors: Sequence[float], sds: Sequence[float]) -> tuple[_Array, _Array]:
    error, sd = np.asarray(errors, float), np.asarray(sds, float)
    if error.shape != sd.shape or error.ndim != 1:
        raise QuantityError("There must be one deviation for each distance from plan.")
    if not (np.isfinite(error).all() and np.isfinite(sd).all() and (sd >= 0.0).all()):
        raise QuantityError("Distances from plan and their deviations must be finite, no deviation negative.")
    return error, np.maximum(sd, _LEAST_SD)


def share(errors: Sequence[float], sds: Sequence[float], tolerance: float) -> Share:
    """Tell how often something comes out within a tolerance.

    Parameters
    ----------
    errors : distance from plan of each sheet.
    sds : standard deviation with which each is measured, in the same unit.
    tolerance : distance that still counts as planned, more than 0.

    Returns
    -------
    The share of all such sheets, with its 90 % interval.

    Raises
    ------
    QuantityError : numbers that are not finite, lists of different length, a tolerance that is not more than 0.

    Notes
    -----
    Each sheet lies within the tolerance with the chance that its normal error leaves, its scatter drawn in by
    what is measuring alone (Morris); how many do is then spread by the Poisson binomial distribution (Hong),
    and for each number there is Jeffreys' posterior Beta(k + ½, n − k + ½) of the share (Brown). The interval
    is that of their mixture, open to 0 or 1 at the ends as Brown has it.

    Examples
    --------
    >>> seven_of_eight = share([0.0] * 7 + [1.0], [0.05] * 8, 1 / 3)
    >>> round(seven_of_eight.low, 2), round(seven_of_eight.high, 2)
    (0.6, 0.98)
    """
    error, sd = _given(errors, sds)
    if not tolerance > 0.0:
        raise QuantityError(f"The tolerance {tolerance:g} must be more than 0.")
    count = len(error)
    if not count:
        return Share(0, 0.0, None, None, None)
    error, sd = _drawn_in(error, sd)
    chances = ndtr((tolerance - error) / sd) - ndtr((-tolerance - error) / sd)
    numbers, weights = _how_many(chances)
    low = 0.0 if numbers[int(np.argmax(weights))] == 0 else _quantile(numbers, weights, count, 0.05)
    high = 1.0 if numbers[int(np.argmax(weights))] == count else _quantile(numbers, weights, count, 0.95)
    within = float(chances.sum())
    return Share(count, within, min(max(within / count, low), high), low, high)


def _drawn_in(error: _Array, sd: _Array) -> tuple[_Array, _Array]:
    """Take the measuring's own part out of the scatter, so that it isn't counted twice.

    Returns
    -------
    The likeliest true distance of each sheet, and its deviation, among its own kind (Morris); as given for
    too few sheets to know their kind.
    """
    if len(error) < _FEWEST_OF_A_KIND:
        return error, sd
    mean = float(error.mean())
    scatter = max(float(error.var(ddof=1)) - float((sd**2).mean()), _LEAST_SD**2)
    kept = scatter / (scatter + sd**2)
    return mean + kept * (error - mean), np.maximum(np.sqrt(kept) * sd, _LEAST_SD)


def _how_many(chances: _Array) -> tuple[_Array, _Array]:
    """Spread of the number of sheets within: the numbers that can be, and the chance of each."""
    certain = int((chances > 1.0 - _SETTLED).sum())
    open_ones = chances[(chances >= _SETTLED) & (chances <= 1.0 - _SETTLED)]
    # Halves are brought together, all pairs of a size at once while they are small.
    size = 1 << max(len(open_ones) - 1, 0).bit_length()
    each = np.zeros((size, 2))
    each[:, 0] = 1.0
    each[: len(open_ones)] = np.column_stack([1.0 - open_ones, open_ones])
    while len(each) > 1 and each.shape[1] < _SMALL:
        one, other, wide = each[::2], each[1::2], each.shape[1]
        each = np.zeros((len(one), 2 * wide - 1))
        for place in range(wide):
            each[:, place : place + wide] += one[:, place : place + 1] * other
    halves = list(each)
    while len(halves) > 1:
        halves = [np.convolve(*pair) for pair in zip(halves[::2], halves[1::2], strict=True)]
    spread = halves[0][: len(open_ones) + 1]
    numbers = certain + np.arange(len(spread), dtype=float)
    kept = spread > 1e-12
    return numbers[kept], spread[kept] / spread[kept].sum()


def _quantile(numbers: _Array, weights: _Array, count: int, level: float) -> float:
    """Level of the mixture of Jeffreys' posteriors, which rises from 0 to 1 (Brent's root)."""
    from scipy.optimize import brentq

    def beyond(share: float) -> float:
        return float(weights @ betainc(numbers + 0.5, count - numbers + 0.5, share)) - level

    return float(brentq(beyond, 0.0, 1.0, xtol=1e-9))


def difference(one: Share, other: Share) -> Difference:
    """Tell how much oftener one comes out as planned than another.

    Parameters
    ----------
    one, other : of different sheets.

    Returns
    -------
    Share of the one less that of the other, with its 90 % interval.

    Notes
    -----
    Limits of the difference from those of its two parts (Zou).

    Examples
    --------
    >>> good, bad = share([0.0] * 12, [0.05] * 12, 1 / 3), share([0.9] * 12, [0.05] * 12, 1 / 3)
    >>> apart = difference(good, bad)
    >>> apart.settled, round(apart.low, 2)
    (True, 0.79)
    """
    if one.share is None or other.share is None:
        return Difference(None, None, None)
    assert one.low is not None  # limits come with the share
    assert one.high is not None
    assert other.low is not None
    assert other.high is not None
    apart = one.share - other.share
    return Difference(
        apart,
        apart - sqrt((one.share - one.low) ** 2 + (other.high - other.share) ** 2),
        apart + sqrt((one.high - one.share) ** 2 + (other.share - other.low) ** 2),
    )


def trend(errors: Sequence[float], sds: Sequence[float]) -> Trend:
    """Tell whether sheets come nearer to plan from the first to the last.

    Parameters
    ----------
    errors : distance from plan of each sheet, the oldest first.
    sds : standard deviation with which each is measured, in the same unit.

    Returns
    -------
    How wide they lie at both ends, and the ratio with its 90 % interval.

    Raises
    ------
    QuantityError : as :func:`share`.

    Notes
    -----
    The logarithm of the distance's deviation runs straight from sheet to sheet (Harvey), each sheet's own
    error of measuring added: Fisher's scoring to the greatest likelihood, the interval by Student's t.

    Examples
    --------
    >>> steady = trend([0.2, -0.2] * 10, [0.05] * 20)
    >>> steady.settled, round(steady.first, 2)
    (False, 0.19)
    """
    error, sd = _given(errors, sds)
    count = len(error)
    if count < FEWEST_FOR_A_TREND:
        reason = f"{count} measured {'sheet is' if count == 1 else 'sheets are'} too few to tell a change from chance"
        return Trend(count, None, None, None, None, None, reason)
    x = np.linspace(-0.5, 0.5, count)
    design = np.column_stack([np.ones(count), x])
    floor = 2.0 * log(_LEAST_SD)
    typical = max(float((error**2).mean()) - float((sd**2).mean()), _LEAST_SD**2)
    line = np.array([0.5 * log(typical), 0.0])
    information = np.eye(2)
    for _ in range(100):
        own = np.exp(np.maximum(2.0 * design @ line, floor))
        whole = own + sd**2
        part = own / whole
        # A little of the prior's weight keeps ends that measuring alone explains from running off.
        information = 2.0 * (design * (part**2)[:, None]).T @ design + np.diag([1e-3, 0.05])
        gradient = design.T @ (part * (error**2 / whole - 1.0)) - np.array([0.0, 0.05 * line[1]])
        step = np.linalg.solve(information, gradient)
        step *= min(1.0, 0.7 / max(float(np.abs(step).max()), 1e-12))
        line = line + step
        if float(np.abs(step).max()) < 1e-9:
            break
    slope_sd = sqrt(float(np.linalg.inv(information)[1, 1]))
    half = float(stdtrit(count - 2, 0.5 + _COVERAGE / 2)) * slope_sd
    slope = float(line[1])
    first, last = exp(line[0] - slope / 2), exp(line[0] + slope / 2)
    limits = tuple(exp(min(max(value, -50.0), 50.0)) for value in (slope - half, slope + half))
    return Trend(count, first, last, exp(slope), limits[0], limits[1], "")
