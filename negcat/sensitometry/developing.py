"""Contrast against the time and temperature of developing, and the time for each N.

Sources
-------
Hurter : F. Hurter, V. C. Driffield, Photo-chemical investigations, J. Soc. Chem. Ind. 9 (1890), and
Sheppard : S. E. Sheppard, C. E. K. Mees, Investigations on the Theory of the Photographic Process (1907):
    contrast rises as c∞(1 − e^(−kt)).
Adams : A. Adams, The Negative (1981): N+n fills the scale of the print from a subject of 7 − n stops.
Fieller : E. C. Fieller, Some problems in interval estimation, J. R. Stat. Soc. B 16 (1954): the interval of a time is
    the set of times at which the contrast wanted is not contradicted.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from negcat.sensitometry.figures import Figure
from negcat.sensitometry.film_curve import FilmCurve, Read
from negcat.sensitometry.film_figures import STOP
from negcat.sensitometry.targets import TargetCurve

__all__ = [
    "BATCH_SD",
    "Q10",
    "TAGS",
    "ContrastLaw",
    "ContrastTest",
    "TimeForN",
    "contrast_of",
    "fit_contrast",
]

_Floats = NDArray[np.float64]

Q10 = (2.0, 0.5)
"""By how much ten degrees quicken developing, and its deviation, where no tests say."""

BATCH_SD = 0.03
"""Deviation of a batch's contrast from what its time and temperature give, as a ratio, before the tests tell."""

TAGS = (-2.0, -1.0, 0.0, 1.0, 2.0)
"""The N that times are given for."""

_FULL_STOPS = 7.0  # a subject of 7 − n stops fills zones I to VIII
_LEAST_ZONE = 5.0  # a curve must reach the print's zone V to tell its contrast
_LOG_Q10 = (float(np.log(Q10[0])), Q10[1] / Q10[0])
_BEND = (float(np.log(0.8)), 0.6)  # of ln kt at the mean time: c is between 0.35 and 0.8 of c∞
_LEVEL_SD = 1.0  # of ln c at the mean time
_RISE = (0.6, 0.3)  # of d ln c / d ln t, where two times can't tell the bend: mean and deviation
_BATCH_PRIOR = 4.0  # how many tests the stated deviation of a batch is worth
_SURE = 1.6449  # deviations to either side of a 90 % interval
_REACH = 4.0  # times the longest and shortest time tried, within which times are looked for


@dataclass(frozen=True)
class ContrastTest:
    """One test of a film and developer.

    Parameters
    ----------
    time_s : developing time, seconds.
    temperature_c : of the developer; None where not recorded, and then that of the others is taken.
    contrast : reached, 1 for N, positive.
    sd : its standard deviation.
    """

    time_s: float
    temperature_c: float | None
    contrast: float
    sd: float


@dataclass(frozen=True)
class TimeForN:
    """The developing time for an N.

    Parameters
    ----------
    n : which.
    contrast : that it means, 1 for N.
    time_s, low_s, high_s : the time and its 90 % interval, seconds; None with the reason.
    outside_tried : the time lies outside those of the tests.
    note : why there is no time, or what must be known about it.
    """

    n: float
    contrast: float
    time_s: float | None
    low_s: float | None
    high_s: float | None
    outside_tried: bool
    note: str = ""


def contrast_of(curve: FilmCurve, target: TargetCurve) -> Figure:
    """Contrast that a test's development reached, 1 for N.

    Parameters
    ----------
    curve : the test's curve.
    target : the print target whose zones I to VIII the film is to fill.

    Returns
    -------
    c = 7 stops over the log exposure from the target's density for zone I to that for zone VIII. Where the
    film isn't that dense, the densest reached, at least zone V's, takes the place of VIII: c is what makes
    the target pass through it.

    Notes
    -----
    That is the definition of N+n itself (Adams), n = 7 − 7/c; no gradient is converted into it.
    """
    if curve.best is None:
        return Figure(None, None, f"there is no base+fog to count densities from: {curve.base_fog.note}")
    one, eight = target.density(1.0), target.density(8.0)
    reached = min(eight, float(curve.best.net[-1]))
    top_zone = target.zone(reached)

    def off(read: Read) -> float | None:
        # Moved curves are held at the same densities; one that ends below gives its own top.
        low = read.exposure(one)
        top = min(reached, float(read.net[-1]))
        high = read.exposure(top)
        if low is None or high is None or high - low < STOP:
            return None
        return (target.zone(top) - 1.0) * STOP / (high - low)

    if curve.best.exposure(one) is None:
        return Figure(
            None, None, f"the clearest step is denser already than zone I's {one:.2f} above base+fog"
        )
    if top_zone < _LEAST_ZONE:
        return Figure(
            None,
            None,
            f"the film reaches {reached:.2f} above base+fog, less than zone V of the print target: "
            "its contrast can't be told",
        )
    note = ""
    if reached < eight:
        note = f"the film reaches {reached:.2f} above base+fog, not zone VIII's {eight:.2f}: told from zone I to there"
    return Figure(off(curve.best), curve.sd_of(off), note)


@dataclass(frozen=True)
class ContrastLaw:
    """Contrast against time, for one film, developer and dilution.

    Parameters
    ----------
    form : ``limit``: c∞(1 − e^(−kt)), ``logarithm``: linear in ln t.
    reference_c : temperature that its times are for; None where no test recorded one.
    tried_s : shortest and longest time tried, carried to that temperature.
    limit : c∞, of the form ``limit``.
    rate_per_min : k, of the form ``limit``.
    q10, q10_fitted : by how much ten degrees quicken it, and whether the tests tell or it is taken as 2.0 ± 0.5.
    batch_sd : deviation of a test from the law, as a ratio, beyond its own.
    tests : how many it rests on.
    """

    form: Literal["limit", "logarithm"]
    reference_c: float | None
    tried_s: tuple[float, float]
    limit: Figure
    rate_per_min: Figure
    q10: Figure
    q10_fitted: bool
    batch_sd: float
    tests: int
    _unknowns: tuple[float, ...] = ()
    _covariance: tuple[tuple[float, ...], ...] = ()
    _mean_log_time: float = 0.0

    def log_contrast(self, time_s: _Floats, temperature_c: float | None = None) -> tuple[_Floats, _Floats]:
        """Natural logarithm of the contrast, and its deviation.

        Parameters
        ----------
        time_s : times, seconds, shape (n,).
        temperature_c : of the developer; None for the reference.

        Returns
        -------
        Both of shape (n,).
        """
        unknowns = np.array(self._unknowns)
        degrees = 0.0
        if temperature_c is not None and self.reference_c is not None:
            degrees = (temperature_c - self.reference_c) / 10.0
        log_time = np.log(np.asarray(time_s, dtype=np.float64)) - self._mean_log_time
        tens = np.full(log_time.shape, degrees)
        value, by = _predict(self.form, unknowns, log_time, tens)
        covariance = np.array(self._covariance)
        return value, np.sqrt(np.einsum("ij,jk,ik->i", by, covariance, by))

    def time_for(self, n: float, temperature_c: float | None = None) -> TimeForN:
        """Time for an N.

        Parameters
        ----------
        n : wanted, below 7.
        temperature_c : of the developer; None for the reference.

        Returns
        -------
        The time and its 90 % interval; None where the developer's limit, or four times the longest time
        tried, doesn't give it.
        """
        wanted = _FULL_STOPS / (_FULL_STOPS - n)
        if temperature_c is not None and self.reference_c is None:
            return TimeForN(
                n, wanted, None, None, None, False, "no test's temperature is on record: no time for another"
            )
        quicker = 1.0
        if temperature_c is not None and self.reference_c is not None:
            quicker = float(self.q10.value or Q10[0]) ** ((temperature_c - self.reference_c) / 10.0)
        shortest, longest = (time / quicker for time in self.tried_s)
        times = np.geomspace(shortest / _REACH, longest * _REACH, 2000)
        value, sd = self.log_contrast(times, temperature_c)
        off = value - np.log(wanted)
        time = _crossing(times, off)
        if time is None:
            return TimeForN(n, wanted, None, None, None, False, self._never(wanted, value, longest))
        low, high = _crossing(times, off + _SURE * sd), _crossing(times, off - _SURE * sd)
        note = ""
        if high is None:
            note = "no upper limit: the tests don't rule out that it takes more than four times the longest tried"
        elif low is None:
            note = "no lower limit: the tests don't say how short a time would do"
        outside = not shortest * 0.999 <= time <= longest * 1.001
        return TimeForN(n, wanted, time, low, high, outside, note)

    def _never(self, wanted: float, reached: _Floats, longest: float) -> str:
        if reached[0] > np.log(wanted):
            return "even a quarter of the shortest time tried gives more contrast than that"
        limit = self.limit.value
        if limit is not None and limit <= wanted:
            return f"contrast levels off at {limit:.2f} of N's in this developer; this asks for {wanted:.2f}"
        return f"more than four times the longest time tried, {longest / 60.0:.0f} min, would be needed"


def _crossing(times: _Floats, off: _Floats) -> float | None:
    """First time at which a rising figure passes zero, between its ends; None where it doesn't."""
    above = np.flatnonzero(off >= 0.0)
    if not above.size or above[0] == 0:
        return None
    k = int(above[0])
    part = -off[k - 1] / (off[k] - off[k - 1])
    return float(np.exp(np.log(times[k - 1]) + part * np.log(times[k] / times[k - 1])))


def fit_contrast(tests: Sequence[ContrastTest]) -> ContrastLaw | None:
    """Fit contrast against time and temperature.

    Parameters
    ----------
    tests : of one film, developer and dilution.

    Returns
    -------
    The law; None with tests at fewer than two times.

    Notes
    -----
    Fitted to ln c by Gauss–Newton, every test with its own deviation and a batch's. The limit's form where
    three or more different times (carried to one temperature) allow it, with a weak prior on how far the mean
    time is on the way to the limit; else c linear in ln t. Q10 has the prior 2.0 ± 0.5 always, and counts as
    fitted where the tests make it better known by a third at least.
    """
    known = [test for test in tests if test.contrast > 0.0]
    temperatures = [test.temperature_c for test in known if test.temperature_c is not None]
    reference = float(np.median(temperatures)) if temperatures else None
    tens = np.array(
        [
            0.0
            if test.temperature_c is None or reference is None
            else (test.temperature_c - reference) / 10.0
            for test in known
        ]
    )
    log_time = np.log(np.array([test.time_s for test in known], dtype=np.float64))
    effective = log_time + tens * _LOG_Q10[0]
    different = _different(effective)
    if different < 2:
        return None
    mean = float(effective.mean())
    form: Literal["limit", "logarithm"] = "limit" if different >= 3 else "logarithm"
    log_contrast = np.log(np.array([test.contrast for test in known]))
    own = np.array([test.sd / test.contrast for test in known])

    batch = BATCH_SD
    unknowns = _start(form, log_contrast)
    for _ in range(3):
        unknowns, covariance, left = _solve(form, unknowns, log_time - mean, tens, log_contrast, own, batch)
        free = max(len(known) - 2 - (form == "limit"), 0)
        beyond = max(float((left**2 - own**2).sum()), 0.0)
        batch = float(np.sqrt((_BATCH_PRIOR * BATCH_SD**2 + beyond) / (_BATCH_PRIOR + free)))
    q10_sd = float(np.sqrt(covariance[-1, -1]))
    q10 = float(np.exp(unknowns[-1]))
    tried = np.exp(log_time + tens * unknowns[-1])
    return ContrastLaw(
        form=form,
        reference_c=reference,
        tried_s=(float(tried.min()), float(tried.max())),
        limit=_limit(form, unknowns, covariance),
        rate_per_min=_rate(form, unknowns, covariance, mean),
        q10=Figure(q10, q10 * q10_sd, ""),
        q10_fitted=q10_sd < _LOG_Q10[1] / 1.5,
        batch_sd=batch,
        tests=len(known),
        _unknowns=tuple(float(value) for value in unknowns),
        _covariance=tuple(tuple(float(value) for value in row) for row in covariance),
        _mean_log_time=mean,
    )


def _different(effective: _Floats) -> int:
    """Count times that differ by a twentieth at least."""
    return 1 + int((np.diff(np.sort(effective)) > np.log(1.05)).sum()) if effective.size else 0


def _start(form: str, log_contrast: _Floats) -> _Floats:
    level = float(log_contrast.mean())
    return np.array([level, _BEND[0] if form == "limit" else _RISE[0], _LOG_Q10[0]])


def _predict(form: str, unknowns: _Floats, log_time: _Floats, tens: _Floats) -> tuple[_Floats, _Floats]:
    """Logarithm of contrast and its derivatives, shape (n, 3).

    The unknowns: ln c at the mean time; ln kt there, or d ln c / d ln t there; ln Q10.
    """
    level, second, log_q10 = unknowns
    at = log_time + tens * log_q10
    if form == "logarithm":
        # Contrast itself is linear in ln t: c = c0·(1 + s·ln t).
        grown = np.maximum(1.0 + second * at, 0.05)
        by_at = second / grown
        return level + np.log(grown), np.stack([np.ones_like(at), at / grown, by_at * tens], axis=1)
    way = np.exp(second)
    far = way * np.exp(at)
    value = level + np.log(-np.expm1(-far)) - np.log(-np.expm1(-way))
    slope = far / np.expm1(far)
    return value, np.stack([np.ones_like(at), slope - way / np.expm1(way), slope * tens], axis=1)


def _solve(
    form: str,
    start: _Floats,
    log_time: _Floats,
    tens: _Floats,
    wanted: _Floats,
    own: _Floats,
    batch: float,
) -> tuple[_Floats, _Floats, _Floats]:
    second = _BEND if form == "limit" else _RISE
    prior = np.array([start[0], second[0], _LOG_Q10[0]])
    trust = 1.0 / np.array([_LEVEL_SD, second[1], _LOG_Q10[1]]) ** 2
    weights = 1.0 / (own**2 + batch**2)

    def cost(unknowns: _Floats) -> float:
        left = wanted - _predict(form, unknowns, log_time, tens)[0]
        return float((weights * left**2).sum() + (trust * (unknowns - prior) ** 2).sum())

    unknowns, damping = start.copy(), 1e-6
    for _ in range(60):
        value, by = _predict(form, unknowns, log_time, tens)
        square = by.T @ (weights[:, None] * by) + np.diag(trust)
        slope = by.T @ (weights * (wanted - value)) - trust * (unknowns - prior)
        step = np.linalg.solve(square + damping * np.diag(np.diag(square)), slope)
        if cost(unknowns + step) <= cost(unknowns):
            unknowns, damping = unknowns + step, max(damping / 10.0, 1e-9)
            if np.abs(step).max() < 1e-9:
                break
        else:
            damping *= 10.0
    value, by = _predict(form, unknowns, log_time, tens)
    covariance: _Floats = np.asarray(
        np.linalg.inv(by.T @ (weights[:, None] * by) + np.diag(trust)), dtype=np.float64
    )
    return unknowns, covariance, wanted - value


def _limit(form: str, unknowns: _Floats, covariance: _Floats) -> Figure:
    if form != "limit":
        return Figure(None, None, "fewer than three different times were tried")
    way = float(np.exp(unknowns[1]))
    value = float(np.exp(unknowns[0]) / -np.expm1(-way))
    by = np.array([1.0, -way / np.expm1(way), 0.0])
    return Figure(value, value * float(np.sqrt(by @ covariance @ by)))


def _rate(form: str, unknowns: _Floats, covariance: _Floats, mean_log_time: float) -> Figure:
    if form != "limit":
        return Figure(None, None, "fewer than three different times were tried")
    value = 60.0 * float(np.exp(unknowns[1] - mean_log_time))
    return Figure(value, value * float(np.sqrt(covariance[1, 1])))
