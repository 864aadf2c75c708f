"""The tone curve behind a scanned tablet: densities fitted against log10 codes, with how well each is known.

A tablet's own densities carry errors of about 0.01, so the curve is fitted, not drawn through every step: a
scanner's physical shape first (a power of the light plus a flare floor), then whatever smooth departure from
it the steps themselves bear out.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.optimize import least_squares

__all__ = ["Curve", "fit_curve"]

_Floats = NDArray[np.float64]

_DRIFT_SD = 0.0013  # density: a lamp repeats itself no better than this from one scan to the next
_PLACE_SD = 0.0002  # density: nor does one place on the bed give quite what the next does
_KNOT_SPACING = 0.03
_USUAL_ERROR = 0.01  # density: what a tablet's own values are usually off by
_STRAY_CHANGE = 0.4  # of the stray light seen on the tablet: by how much another scan's may differ
_SHARED_TERMS = 8
_LOW = np.array([-3.0, 0.05, -3.0, -1e-9])
_HIGH = np.array([5.0, 10.0, 0.97, 0.3])


@dataclass(frozen=True)
class Curve:
    """A fitted tone curve.

    Parameters
    ----------
    fitted : density at each step.
    left_out : fitted minus known density of each step, from a fit that does not know that step.
    knots : log10 codes at which the curve is given, rising.
    values : densities there, falling.
    sds : one standard deviation of the curve there, with what stray light may do in another scan.
    shared : array (knots, terms): what the errors at two knots have in common is the dot product of their
        rows, in density squared.
    """

    fitted: _Floats
    left_out: _Floats
    knots: _Floats
    values: _Floats
    sds: _Floats
    shared: _Floats


def _shape(parameters: _Floats, logs: _Floats, ends: tuple[float, float]) -> _Floats:
    """Density of a scanner that raises light plus flare to a power.

    Parameters are offset, power, the flare's share of the darkest step's light, and an offset of the code
    before the power (as in sRGB), as a share of the brightest code.
    """
    offset, power, share, pedestal = parameters
    darkest, brightest = ends
    flare = share * (10.0 ** (darkest - brightest) + pedestal) ** power
    light = np.maximum((10.0 ** (logs - brightest) + pedestal) ** power - flare, 1e-9)
    return np.asarray(offset - np.log10(light), dtype=np.float64)


def _fit_shape(logs: _Floats, known: _Floats, weights: _Floats, free: int) -> _Floats:
    """Return the shape's parameters, the last one 0 where only three are free."""
    ends = (float(logs.min()), float(logs.max()))
    power = float(np.ptp(known) / np.ptp(logs))

    def whole(parameters: _Floats) -> _Floats:
        return np.concatenate([parameters, np.zeros(4 - free)])

    def miss(parameters: _Floats) -> _Floats:
        return weights * (_shape(whole(parameters), logs, ends) - known)

    best = None
    for factor, share, pedestal in ((1.0, 0.0, 0.01), (0.8, 0.5, 0.05)):
        start = np.array([known.min(), power * factor, share, pedestal])
        start = np.clip(start, _LOW + 1e-6, _HIGH - 1e-6)[:free]
        limits = (_LOW[:free], _HIGH[:free])
        solved = least_squares(miss, start, bounds=limits, loss="soft_l1", f_scale=0.02, max_nfev=60)
        if best is None or solved.cost < best.cost:
            best = solved
    assert best is not None  # two starts were tried
    return whole(np.asarray(best.x, dtype=np.float64))


def _jacobian(parameters: _Floats, logs: _Floats, ends: tuple[float, float], free: int) -> _Floats:
    columns = []
    for index in range(free):
        nudge = np.zeros(4)
        nudge[index] = 1e-6
        columns.append(
            (_shape(parameters + nudge, logs, ends) - _shape(parameters - nudge, logs, ends)) / 2e-6
        )
    return np.stack(columns, axis=1)


def _roughness(at: _Floats) -> _Floats:
    """Matrix K of the natural cubic spline: f'Kf integrates its squared second derivative (Reinsch 1967)."""
    gaps = np.diff(at)
    size = at.size
    q = np.zeros((size, size - 2))
    r = np.zeros((size - 2, size - 2))
    for j in range(size - 2):
        q[j, j] = 1 / gaps[j]
        q[j + 1, j] = -1 / gaps[j] - 1 / gaps[j + 1]
        q[j + 2, j] = 1 / gaps[j + 1]
        r[j, j] = (gaps[j] + gaps[j + 1]) / 3
        if j + 1 < size - 2:
            r[j, j + 1] = r[j + 1, j] = gaps[j + 1] / 6
    return np.asarray(q @ np.linalg.solve(r, q.T))


def fit_curve(logs: _Floats, known: _Floats, coarse: _Floats) -> Curve:
    """Fit the tone curve to steps.

    Parameters
    ----------
    logs : log10 code of each step, falling.
    known : density of each step, rising, at least five.
    coarse : deviation in density that rounding of the codes makes at each step; 0 for 16 bits.

    Returns
    -------
    The curve.

    Notes
    -----
    The shape is code = k·((T + f)^(1/g) − p): light plus flare through a power, with an offset where the
    steps ask for one. The departure from it is a natural cubic smoothing spline in density whose stiffness is
    chosen by generalised cross-validation with each degree of freedom counted 1.4 times (Craven and Wahba
    1979; Kim and Gu 2004, J. R. Statist. Soc. B 66). The deviation is the residual variance through the fit's
    own leverage.
    """
    ends = (float(logs.min()), float(logs.max()))
    size = known.size
    identity = np.eye(size)
    weights = 1.0 / np.sqrt(1.0 + (coarse / _USUAL_ERROR) ** 2)
    weigh = np.diag(weights)
    best: tuple[float, int, _Floats, _Floats, _Floats] | None = None
    for free in (3, 4) if size >= 9 else (3,):
        parameters = _fit_shape(logs, known, weights, free)
        base = _shape(parameters, logs, ends)
        jacobian = _jacobian(parameters, logs, ends, free)
        through_shape = jacobian @ np.linalg.pinv(weigh @ jacobian) @ weigh
        residual = known - base
        # The spline runs over the shape's own density, in which steps lie nearly evenly whatever the power.
        order = np.argsort(base)
        rough = np.zeros((size, size))
        rough[np.ix_(order, order)] = _roughness(base[order] + np.arange(size) * 1e-9)
        for stiffness in (np.inf, *np.logspace(4, -4, 33)):
            smooth = (
                np.zeros((size, size))
                if np.isinf(stiffness)
                else np.linalg.solve(weigh**2 + stiffness * rough, weigh**2)
            )
            hat = through_shape + smooth @ (identity - through_shape)
            freedom = float(np.trace(hat))
            if freedom > max(4.0, size / 2.5):
                continue
            rest = weights * (residual - smooth @ residual)
            score = size * float(rest @ rest) / (size - 1.4 * freedom) ** 2
            # What is more flexible has to earn it.
            if best is None or score < best[0] * 0.98:
                best = (score, free, parameters, smooth, through_shape)
    assert best is not None  # the bare shape has three degrees of freedom
    _, free, parameters, smooth, through_shape = best
    base = _shape(parameters, logs, ends)
    jacobian = _jacobian(parameters, logs, ends, free)
    order = np.argsort(base)
    place = base[order] + np.arange(size) * 1e-9
    residual = known - base
    correction = smooth @ residual
    hat = through_shape + smooth @ (identity - through_shape)
    fitted = base + correction
    rest = known - fitted
    variance = float((weights * rest) @ (weights * rest)) / max(size - float(np.trace(hat)), 1.0)
    left_out = -rest / np.maximum(1.0 - np.diag(hat), 0.1)

    # Knots evenly in density, so that a steep dense end gets as many as a shallow light one.
    count = max(24, int(np.ptp(base) / _KNOT_SPACING))
    fine = np.linspace(ends[0], ends[1], 4096)
    fine_base = _shape(parameters, fine, ends)
    knots = np.interp(np.linspace(fine_base.min(), fine_base.max(), count), fine_base[::-1], fine[::-1])[::-1]
    knots[0], knots[-1] = ends
    at_knots = np.clip(_shape(parameters, knots, ends), place[0], place[-1])
    spread_out = np.zeros((count, size))
    spread_out[:, order] = CubicSpline(place, identity, bc_type="natural")(at_knots)
    rows = _jacobian(parameters, knots, ends, free) @ np.linalg.pinv(weigh @ jacobian) @ weigh
    rows = rows + spread_out @ smooth @ (identity - through_shape)
    values = _shape(parameters, knots, ends) + spread_out @ correction
    # Grain shakes the rounding of pixels loose, fine grain but in part.
    rounding = 0.7 * np.interp(knots, logs[::-1], coarse[::-1])
    errors = np.sqrt(variance) * rows / weights
    # A lamp that has drifted moves all densities of a scan alike.
    errors = np.concatenate([errors, np.full((count, 1), _DRIFT_SD)], axis=1)
    own = _PLACE_SD**2 + rounding**2 + _stray_sd(parameters, knots, ends) ** 2
    sds = np.sqrt(np.sum(errors**2, axis=1) + own)
    turned, sizes, _ = np.linalg.svd(errors, full_matrices=False)
    shared = (turned * sizes)[:, :_SHARED_TERMS]
    return Curve(fitted, left_out, knots, _falling(values), sds, shared)


def _stray_sd(parameters: _Floats, logs: _Floats, ends: tuple[float, float]) -> _Floats:
    """Return what stray light does to a density in a scan that holds more or less of it than the tablet's did.

    Light strays from all that is bright in a scan, so a sheet on open glass and a tablet in a mask don't get
    the same. The fit tells how much the tablet got (its flare, less the code's own floor, which it can't tell
    apart); dT = k·flare makes dD = k·flare/(T ln 10).
    """
    _, power, share, pedestal = parameters
    darkest, brightest = ends
    flare = abs(share) * (10.0 ** (darkest - brightest) + pedestal) ** power
    light = (10.0 ** (logs - brightest) + pedestal) ** power - share * (
        10.0 ** (darkest - brightest) + pedestal
    ) ** power
    return np.asarray(_STRAY_CHANGE * flare / (np.maximum(light, 1e-9) * np.log(10.0)), dtype=np.float64)


def _falling(values: _Floats) -> _Floats:
    """Return values made strictly falling; noise at a flat end must not turn the map round."""
    smallest = 1e-6
    result = values.copy()
    for index in range(1, result.size):
        result[index] = min(result[index], result[index - 1] - smallest)
    return result
