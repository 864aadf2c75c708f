"""A film's standard figures, read off its characteristic curve: speed, contrast, range.

They are different figures, defined by different constructions on the curve; none is converted into another.

Sources
-------
ISO 6 : ISO 6:1993, speed of black-and-white still negative film: S = 0.8/H_m.
Jones : L. A. Jones, The evaluation of negative film speeds in terms of print quality, J. Franklin Inst. 227
    (1939): a gradient of 0.3 of the average is the least that prints well.
Nelson : C. N. Nelson, J. L. Simonds, Simple methods for approximating the fractional gradient speeds of
    photographic materials, J. Opt. Soc. Am. 46 (1956): the Delta-X criterion.
Niederpruem : C. J. Niederpruem, C. N. Nelson, J. A. C. Yule, Contrast index, Phot. Sci. Eng. 10 (1966).
Adams : A. Adams, The Negative (1981): zone I is 0.10 above base+fog, four stops below the meter's zone V.
"""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from math import log10, sqrt
from statistics import NormalDist
from typing import Literal

import numpy as np

from negcat.sensitometry.figures import Figure
from negcat.sensitometry.film_curve import FilmCurve, Read

__all__ = [
    "AVERAGE_OVER",
    "SPEED_DENSITY",
    "STOP",
    "ZONE_I_SHARE",
    "ContrastCondition",
    "FilmFigures",
    "film_figures",
]

STOP = log10(2.0)
"""A stop, and a zone, in log10 exposure."""

SPEED_DENSITY = 0.10
"""Net density of point m, by which speed is defined (ISO 6)."""

AVERAGE_OVER = 1.50
"""Log exposure over which the average gradient is taken, from point m on."""

ZONE_I_SHARE = 0.63
"""Share of the ISO speed: the index with which a flare-free zone I falls on point m."""

_SPEED = 0.8  # lux·s: S = 0.8/H_m (ISO 6)
_N_FROM_M = 1.30  # log H from m to n (ISO 6)
_RISE, _RISE_TOLERANCE = 0.80, 0.05  # density from m to n (ISO 6)
_DELTA_X = (0.83, -0.86, 0.24)  # of the rise's powers (Nelson)
_STANDARD_DELTA_X = 0.296  # at a rise of 0.80, where both speeds are one
_DELTA_X_WITHIN = (0.40, 1.40)  # rises of ordinary development; the parabola turns back beyond 1.8
_ARCS = (0.2, 2.0)  # radii about a point on the base+fog line (Niederpruem)
_LEAST_GRADIENT = 0.3  # of the average gradient (Jones)
_SURE = 0.90

ContrastCondition = Literal["holds", "does not hold", "unsure"]

_NO_FOG = "there is no base+fog to count densities from"
_NO_M = "the film's clearest and densest steps don't hold a density of 0.10 above base+fog between them"


@dataclass(frozen=True)
class FilmFigures:
    """The standard figures of one film test.

    Parameters
    ----------
    base_fog : density where no light fell.
    log_h_m : log10 exposure of point m; in lux·s where the curve is `absolute`.
    rise : density gained from m over 1.30 log H.
    contrast_condition : whether that is 0.80 ± 0.05, as the ISO speed demands: `unsure` where less than 90 %
        speaks either way; None without a rise.
    speed : 0.8/H_m; it is the ISO speed only where `contrast_condition` holds.
    speed_sd_log : its deviation in log10, as for the other speeds.
    delta_x_speed : speed by the Delta-X criterion, at whatever contrast.
    zone_i_index : 0.63 of `speed`.
    average_gradient : from m over 1.50 log H.
    contrast_index : slope of the line on which the arcs of 0.2 and 2.0 about its foot cut the curve.
    useful_range : log exposure from m to where the gradient falls to 0.3 of the average again.
    densest : greatest net density reached.
    """

    base_fog: Figure
    log_h_m: Figure
    rise: Figure
    contrast_condition: ContrastCondition | None
    speed: Figure
    speed_sd_log: float | None
    delta_x_speed: Figure
    delta_x_sd_log: float | None
    zone_i_index: Figure
    average_gradient: Figure
    contrast_index: Figure
    useful_range: Figure
    densest: Figure


def film_figures(curve: FilmCurve) -> FilmFigures:
    """Read the standard figures off a characteristic curve.

    Parameters
    ----------
    curve : the curve.

    Returns
    -------
    The figures, each with its deviation, or None with the reason.

    Notes
    -----
    Speeds are in ISO arithmetic and need exposures in lux·s. Where ISO 6's contrast condition isn't met,
    0.8/H_m is no ISO speed, as it moves with development; the Delta-X speed is S·10^(ΔX − 0.296) with
    ΔX = 0.83 − 0.86·ΔD + 0.24·ΔD², ΔD the rise, which approximates the fractional-gradient speed and equals
    0.8/H_m at a rise of 0.80 (Nelson). Some authors draw the outer arc of the contrast index at 2.2; on a
    straight line that is the same figure.
    """
    log_h_m = _figure(curve, _m, _NO_M)
    rise = _figure(curve, _rise, "the tablet's clearest step gave less than 1.30 log H beyond point m")
    speed, speed_sd = _speed(curve, log_h_m, lambda read: _minus(_m(read)))
    delta_x, delta_x_sd = _delta_x_speed(curve, log_h_m, rise)
    index = Figure(
        None if speed.value is None else ZONE_I_SHARE * speed.value,
        None if speed.sd is None else ZONE_I_SHARE * speed.sd,
        speed.note,
    )
    return FilmFigures(
        base_fog=curve.base_fog,
        log_h_m=log_h_m,
        rise=rise,
        contrast_condition=_condition(rise),
        speed=speed,
        speed_sd_log=speed_sd,
        delta_x_speed=delta_x,
        delta_x_sd_log=delta_x_sd,
        zone_i_index=index,
        average_gradient=_figure(
            curve, average_gradient, "the tablet's clearest step gave less than 1.50 log H beyond point m"
        ),
        contrast_index=_figure(
            curve, contrast_index, "the film doesn't reach the outer arc: its steps end at too little density"
        ),
        useful_range=_useful_range(curve),
        densest=_figure(curve, lambda read: float(read.net[-1]), _NO_FOG),
    )


def _figure(curve: FilmCurve, off: Callable[[Read], float | None], otherwise: str) -> Figure:
    if curve.best is None:
        return Figure(None, None, f"{_NO_FOG}: {curve.base_fog.note}")
    value = off(curve.best)
    if value is None:
        return Figure(None, None, otherwise if _m(curve.best) is not None else _NO_M)
    sd = curve.sd_of(off)
    return Figure(value, sd, "" if sd is not None else "it lies at the very end of what the tablet exposed")


def _m(read: Read) -> float | None:
    return read.exposure(SPEED_DENSITY)


def _gain(read: Read, over: float) -> float | None:
    m = _m(read)
    further = None if m is None else read.density(m + over)
    return None if further is None else further - SPEED_DENSITY


def _rise(read: Read) -> float | None:
    return _gain(read, _N_FROM_M)


def average_gradient(read: Read) -> float | None:
    """Average gradient from point m over 1.50 log H; None where the curve ends before."""
    gain = _gain(read, AVERAGE_OVER)
    return None if gain is None else gain / AVERAGE_OVER


def contrast_index(read: Read) -> float | None:
    """Contrast index; None where the curve doesn't reach the outer arc.

    Notes
    -----
    A line from a point of the base+fog line, at the angle a, meets the arcs at net densities r·sin a; both
    points lie on the curve where their exposures are (2.0 − 0.2)·cos a apart.
    """
    inner, outer = _ARCS

    def excess(sine: float) -> float | None:
        near, far = read.exposure(inner * sine), read.exposure(outer * sine)
        return None if near is None or far is None else far - near - (outer - inner) * sqrt(1.0 - sine**2)

    # The exposures move apart as the line gets steeper, the arcs' distance along the base shrinks: one root.
    low, high = 0.02, 0.98
    sines = [(sine, excess(sine)) for sine in np.linspace(low, high, 49)]
    known = [(float(sine), value) for sine, value in sines if value is not None]
    for (before, at_before), (after, at_after) in pairwise(known):
        if at_before <= 0.0 < at_after:
            low, high = before, after
            break
    else:
        return None
    for _ in range(40):
        middle = 0.5 * (low + high)
        value = excess(middle)
        if value is None or value > 0.0:
            high = middle
        else:
            low = middle
    sine = 0.5 * (low + high)
    return sine / sqrt(1.0 - sine**2)


def _condition(rise: Figure) -> ContrastCondition | None:
    if rise.value is None:
        return None
    low, high = _RISE - _RISE_TOLERANCE, _RISE + _RISE_TOLERANCE
    if not rise.sd:
        return "holds" if low <= rise.value <= high else "does not hold"
    spread = NormalDist(rise.value, rise.sd)
    within = spread.cdf(high) - spread.cdf(low)
    return "holds" if within >= _SURE else "does not hold" if within <= 1.0 - _SURE else "unsure"


def _minus(value: float | None) -> float | None:
    return None if value is None else -value


def _speed(
    curve: FilmCurve, log_h_m: Figure, off: Callable[[Read], float | None], times: float = 1.0
) -> tuple[Figure, float | None]:
    """Speed and its deviation in log10; `off` gives its logarithm but for a constant."""
    if log_h_m.value is None or curve.best is None:
        return Figure(None, None, log_h_m.note), None
    sd = curve.sd_of(off)
    if not curve.absolute:
        return Figure(None, None, "the exposure of the test isn't on record in lux·s"), sd
    log = off(curve.best)
    assert log is not None  # point m is there
    value = _SPEED * times * 10.0**log
    return Figure(value, None if sd is None else value * sd / STOP * np.log(2.0), ""), sd


def _delta_x_speed(curve: FilmCurve, log_h_m: Figure, rise: Figure) -> tuple[Figure, float | None]:
    if rise.value is None:
        return Figure(None, None, rise.note), None
    low, high = _DELTA_X_WITHIN
    if not low <= rise.value <= high:
        return Figure(
            None, None, f"the rise of {rise.value:.2f} lies outside {low:.2f} to {high:.2f}, where it is used"
        ), None

    def log_speed(read: Read) -> float | None:
        m, gain = _m(read), _rise(read)
        if m is None or gain is None:
            return None
        return _DELTA_X[0] + _DELTA_X[1] * gain + _DELTA_X[2] * gain**2 - _STANDARD_DELTA_X - m

    return _speed(curve, log_h_m, log_speed)


def _useful_range(curve: FilmCurve) -> Figure:
    def off(read: Read) -> float | None:
        top = _shoulder(read)
        m = _m(read)
        return None if top is None or m is None else top - m

    if curve.best is None or _m(curve.best) is None:
        return _figure(curve, _m, _NO_M)
    if average_gradient(curve.best) is None:
        return Figure(None, None, "there is no average gradient to hold the shoulder against")
    m = _m(curve.best)
    assert m is not None  # asked above
    if _shoulder(curve.best) is None:
        return Figure(
            curve.log_h[-1] - m, None, "the tablet's clearest step didn't reach the shoulder", at_least=True
        )
    return Figure(off(curve.best), curve.sd_of(off), "")


def _shoulder(read: Read) -> float | None:
    """Log exposure beyond which the gradient stays under 0.3 of the average; None where it isn't reached."""
    average, m = average_gradient(read), _m(read)
    if average is None or m is None:
        return None
    # Over a stop, so that the unevenness of one step makes no shoulder.
    wide = max(round(STOP / float(read.log_h[1] - read.log_h[0])), 1)
    slopes = (read.net[wide:] - read.net[:-wide]) / (read.log_h[wide:] - read.log_h[:-wide])
    middles = 0.5 * (read.log_h[wide:] + read.log_h[:-wide])
    steep = np.flatnonzero((slopes >= _LEAST_GRADIENT * average) & (middles > m))
    if not steep.size or steep[-1] == len(slopes) - 1:
        return None
    return float(middles[steep[-1]])
