"""Reciprocity: the time a film must be given for the time that was metered, and the way back.

Below about a second every film answers to exposure as time × illuminance; beyond it most lose speed. A law
maps the metered time to the time to be given; its inverse maps the time that was given to the *effective*
time, the one that would have done the same without the loss. Three kinds of law are known: none, a power
law, and the table that a film's data sheet prints.
"""

import math
from bisect import bisect_right
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Final, NamedTuple, TypeAlias

import numpy as np

from negcat.errors import QuantityError

__all__ = [
    "Corrected",
    "NoLaw",
    "PowerLaw",
    "Reciprocity",
    "TableLaw",
    "effective_time",
    "given_time",
]


@dataclass(frozen=True, slots=True)
class NoLaw:
    """A film that loses nothing, or of which nothing is known: times stand for themselves."""


@dataclass(frozen=True, slots=True)
class PowerLaw:
    """Given time = from_s · (metered / from_s)^exponent above ``from_s``, the metered time itself below.

    Parameters
    ----------
    exponent : 1 (no loss) to 3; 1.3 is a usual film.
    from_s : the time from which the film loses, in seconds, more than 0.

    Raises
    ------
    QuantityError
        Where one of them is outside its range.
    """

    exponent: float
    from_s: float = 1.0

    def __post_init__(self) -> None:
        if not 1 <= self.exponent <= 3:
            raise QuantityError(
                f"the reciprocity exponent {self.exponent:g} must lie between 1 (no loss) and 3."
            )
        if not 0 < self.from_s < math.inf:
            raise QuantityError(
                f"the time {self.from_s:g} s from which reciprocity fails must be longer than 0 s."
            )


@dataclass(frozen=True, slots=True)
class TableLaw:
    """A data sheet's table of metered and given times.

    Parameters
    ----------
    points : at least two pairs (metered, given) in seconds; both columns rise, and given is never shorter
        than metered.

    Raises
    ------
    QuantityError
        Where the points are no such table.
    """

    points: tuple[tuple[float, float], ...]

    def __post_init__(self) -> None:
        points = tuple((float(metered), float(given)) for metered, given in self.points)
        object.__setattr__(self, "points", points)  # lists are taken too, and a law must be hashable
        if len(points) < 2:
            raise QuantityError("a reciprocity table needs at least two points [metered, given].")
        for metered, given in points:
            if not (0 < metered < math.inf and 0 < given < math.inf):
                raise QuantityError(
                    f"the reciprocity point [{metered:g}, {given:g}] must have two times longer than 0 s."
                )
            if given < metered:
                raise QuantityError(
                    f"the reciprocity point [{metered:g}, {given:g}] gives less than was metered: "
                    "write the metered time first."
                )
        for before, after in pairwise(points):
            if not (before[0] < after[0] and before[1] < after[1]):
                raise QuantityError(
                    f"the reciprocity points [{before[0]:g}, {before[1]:g}] and [{after[0]:g}, {after[1]:g}] "
                    "must rise in both times."
                )


Reciprocity: TypeAlias = NoLaw | PowerLaw | TableLaw


class Corrected(NamedTuple):
    """A time after the law.

    Parameters
    ----------
    seconds : the time in seconds.
    extrapolated : it lies past the last point of a table, where the law was carried straight on.
    """

    seconds: float
    extrapolated: bool


_TINY: Final = 1e-13
_LEVEL: Final = 1e-3


class _Curve(NamedTuple):
    """A table as cubic pieces of ln(given) over ln(metered), in plain floats because sheets are many."""

    metered: tuple[float, ...]
    given: tuple[float, ...]
    pieces: tuple[tuple[float, float, float, float], ...]
    end_slope: float


@lru_cache(maxsize=256)
def _curve(law: TableLaw) -> _Curve:
    log_metered, log_given = np.log(np.asarray(law.points)).T
    # Imported here, because most films need no table and scipy takes long to load.
    from scipy.interpolate import PchipInterpolator

    pchip = PchipInterpolator(log_metered, log_given)
    # PCHIP may end level where the table bends sharply; a level end has no inverse, so its last chord serves.
    end_slope = float(pchip.derivative()(log_metered[-1]))
    if not end_slope > _LEVEL:
        end_slope = float((log_given[-1] - log_given[-2]) / (log_metered[-1] - log_metered[-2]))
    pieces = tuple(tuple(float(x) for x in column) for column in pchip.c.T)
    return _Curve(tuple(log_metered.tolist()), tuple(log_given.tolist()), pieces, end_slope)  # type: ignore[arg-type]


def _solve(piece: tuple[float, float, float, float], rise: float, width: float) -> float:
    """Return the u in 0…width at which a rising cubic piece (without its constant) has risen by ``rise``."""
    a, b, c, _ = piece
    low, high = 0.0, width
    u = width / 2
    for _step in range(200):
        miss = ((a * u + b) * u + c) * u - rise
        if miss > 0:
            high = u
        else:
            low = u
        slope = (3 * a * u + 2 * b) * u + c
        after = u - miss / slope if slope > 0 else low
        if not low < after < high:
            after = (low + high) / 2  # Newton left the bracket: halve it instead
        if abs(after - u) <= _TINY * width:
            return after
        u = after
    return u


def given_time(law: Reciprocity, metered_s: float) -> Corrected:
    """Return the time to give a film for a metered time.

    Parameters
    ----------
    law : the film's law.
    metered_s : seconds, more than 0.

    Returns
    -------
    Corrected, never shorter than ``metered_s``; ``extrapolated`` past a table's last point.

    Raises
    ------
    QuantityError
        Where the time is not longer than 0.

    Notes
    -----
    A table is read as the monotone cubic (PCHIP; Fritsch & Butland, 1984) of log given over log metered,
    straight on at its end slope, and below its first point times stand for themselves. Between two points
    without loss such a cubic can dip below "no loss" by a trifle; no film gains speed, so it is held there.

    Examples
    --------
    >>> round(given_time(PowerLaw(1.3), 10).seconds, 2)
    19.95
    >>> given_time(TableLaw(((1, 2), (10, 50))), 10)
    Corrected(seconds=50.0, extrapolated=False)
    """
    _require_time(metered_s)
    if isinstance(law, NoLaw):
        return Corrected(metered_s, False)
    if isinstance(law, PowerLaw):
        if metered_s <= law.from_s:
            return Corrected(metered_s, False)
        # max, min: an exponent of 1 must not lose or win the last bit
        return Corrected(max(law.from_s * (metered_s / law.from_s) ** law.exponent, metered_s), False)
    if metered_s < law.points[0][0]:
        return Corrected(metered_s, False)
    curve = _curve(law)
    x = math.log(metered_s)
    if metered_s > law.points[-1][0]:
        y = curve.given[-1] + curve.end_slope * (x - curve.metered[-1])
        return Corrected(max(math.exp(y), metered_s), True)
    for metered, given in law.points:
        if metered == metered_s:
            return Corrected(given, False)
    at = min(bisect_right(curve.metered, x) - 1, len(curve.pieces) - 1)
    a, b, c, d = curve.pieces[at]
    u = x - curve.metered[at]
    return Corrected(max(math.exp(((a * u + b) * u + c) * u + d), metered_s), False)


def effective_time(law: Reciprocity, given_s: float) -> Corrected:
    """Return the time that would have done the same without reciprocity failure: the inverse of the law.

    Parameters
    ----------
    law : the film's law.
    given_s : the time the film was given, in seconds, more than 0.

    Returns
    -------
    Corrected, never longer than ``given_s``; ``extrapolated`` past a table's last point. Where a table
    begins with a loss (its first given time is longer than its first metered one), every given time
    between the two counts as the first metered one.

    Raises
    ------
    QuantityError
        Where the time is not longer than 0.

    Examples
    --------
    >>> round(effective_time(PowerLaw(1.3), 19.95).seconds, 2)
    10.0
    >>> effective_time(TableLaw(((1, 2), (10, 50))), 1.5).seconds
    1.0
    """
    _require_time(given_s)
    if isinstance(law, NoLaw):
        return Corrected(given_s, False)
    if isinstance(law, PowerLaw):
        if given_s <= law.from_s:
            return Corrected(given_s, False)
        return Corrected(min(law.from_s * (given_s / law.from_s) ** (1 / law.exponent), given_s), False)
    first_metered, first_given = law.points[0]
    if given_s <= first_metered:
        return Corrected(given_s, False)
    if given_s <= first_given:
        return Corrected(first_metered, False)
    curve = _curve(law)
    y = math.log(given_s)
    if given_s > law.points[-1][1]:
        x = curve.metered[-1] + (y - curve.given[-1]) / curve.end_slope
        return Corrected(min(math.exp(x), given_s), True)
    for metered, given in law.points:
        if given == given_s:
            return Corrected(metered, False)
    at = min(bisect_right(curve.given, y) - 1, len(curve.pieces) - 1)
    width = curve.metered[at + 1] - curve.metered[at]
    u = _solve(curve.pieces[at], y - curve.given[at], width)
    return Corrected(min(math.exp(curve.metered[at] + u), given_s), False)


def _require_time(seconds: float) -> None:
    if not 0 < seconds < math.inf:
        raise QuantityError(f"the time {seconds:g} s has no reciprocity: it must be longer than 0 s.")
