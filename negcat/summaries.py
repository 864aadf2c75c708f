"""What several sheets say together: a mean with its interval, a median, and which of them stand apart.

Sources
-------
ASTM E178 : ASTM E178, Standard Practice for Dealing With Outlying Observations: Grubbs' test.
Grubbs : F. E. Grubbs, Sample criteria for testing outlying observations, Ann. Math. Stat. 21 (1950).
Student : W. S. Gosset, The probable error of a mean, Biometrika 6 (1908).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np
import numpy.typing as npt
from scipy.special import stdtrit

from negcat.errors import QuantityError

__all__ = ["COVERAGE", "FEWEST_TO_TELL_APART", "Summary", "apart", "summarise"]

COVERAGE = 0.90
"""Share of such intervals that hold the mean they are about."""

FEWEST_TO_TELL_APART = 4
"""Among fewer values none can be said to stand apart from the others."""

_FALSE_ALARMS = 0.05
"""Share of sets without an outlier in which one would yet be named."""


@dataclass(frozen=True, slots=True)
class Summary:
    """Several values in a few figures, all in the values' own unit.

    Parameters
    ----------
    count : how many values.
    mean, median : None without values.
    low, high : ends of the mean's 90 % interval; None where there is none.
    sd : standard deviation of one value; None for fewer than two.
    reason : why there is no interval, else empty.
    """

    count: int
    mean: float | None
    median: float | None
    low: float | None
    high: float | None
    sd: float | None
    reason: str


def summarise(values: Sequence[float] | npt.NDArray[np.float64]) -> Summary:
    """Sum values up.

    Parameters
    ----------
    values : finite, any number, of independent things.

    Returns
    -------
    Their mean with its 90 % interval by Student's t (Student), which is wide for few values; median and
    standard deviation.

    Raises
    ------
    QuantityError
        Where a value is no finite number.

    Examples
    --------
    >>> three = summarise([-0.4, -0.6, -0.5])
    >>> round(three.mean, 2), round(three.low, 2), round(three.high, 2)
    (-0.5, -0.67, -0.33)
    >>> summarise([0.2]).reason
    'a single one has no scatter, which an interval is made from'
    """
    given = np.asarray(values, float)
    if not np.isfinite(given).all():
        raise QuantityError("Only finite numbers can be summed up.")
    count = len(given)
    if not count:
        return Summary(0, None, None, None, None, None, "there is none yet")
    mean, middle = float(given.mean()), float(np.median(given))
    if count == 1:
        reason = "a single one has no scatter, which an interval is made from"
        return Summary(1, mean, middle, None, None, None, reason)
    sd = float(given.std(ddof=1))
    half = _t_quantile(0.5 + COVERAGE / 2, count - 1) * sd / sqrt(count)
    return Summary(count, mean, middle, mean - half, mean + half, sd, "")


def apart(values: Sequence[float], least: float = 0.0) -> tuple[int, ...]:
    """Find the values that stand apart from the others.

    Parameters
    ----------
    values : finite, of things that ought to be alike.
    least : distance from the mean of the others below which nothing stands apart, whatever the test says.

    Returns
    -------
    Their places in `values`, rising; none for fewer than four values.

    Notes
    -----
    Grubbs' test at 5 % (Grubbs, ASTM E178), repeated on the rest after each value found, for as long as
    more than half of the values, and at least four, are left.

    Examples
    --------
    >>> apart([0.02, -0.05, 0.04, 0.01, -0.95])
    (4,)
    >>> apart([0.02, -0.05, -0.95])
    ()
    """
    given = np.asarray(values, float)
    inside = np.ones(len(given), bool)
    while (left := int(inside.sum())) >= max(FEWEST_TO_TELL_APART, len(given) // 2 + 1):
        mean, sd = given[inside].mean(), given[inside].std(ddof=1)
        furthest = int(np.argmax(np.where(inside, np.abs(given - mean), -1.0)))
        distance = abs(given[furthest] - mean)
        # From the mean of the others it is n/(n − 1) as far as from that of all.
        from_others = distance * left / (left - 1)
        if sd == 0.0 or distance / sd <= _grubbs(left) or from_others < least:
            break
        inside[furthest] = False
    return tuple(int(place) for place in np.flatnonzero(~inside))


def _grubbs(count: int) -> float:
    """Return the distance from the mean, in standard deviations, that a value of so many must pass."""
    t = _t_quantile(1.0 - _FALSE_ALARMS / (2 * count), count - 2)
    return (count - 1) / sqrt(count) * sqrt(t * t / (count - 2 + t * t))


def _t_quantile(share: float, freedom: int) -> float:
    return float(stdtrit(freedom, share))
