"""What a scanner makes of density: the profile fitted to a scanned step tablet.

A profile is a smooth, falling map from log10(code) to density. The tablet's own densities carry errors of
about 0.01, so the map is fitted, not drawn through every step: a scanner's physical shape first (a power of
the light plus a flare floor), then whatever smooth departure from it the steps themselves bear out. Outside
the steps it was fitted to there is no density.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline, PchipInterpolator
from scipy.optimize import least_squares

from negcat.errors import CalibrationError

__all__ = ["FULL_SCALE", "ScannerProfile", "StepFit", "fit_profile"]

FULL_SCALE = 65535.0
"""The code of a sensor that can take no more light, whatever the file's own depth."""

_Floats = NDArray[np.float64]

_SATURATED_FROM = 0.998 * FULL_SCALE
_CLIPPED_SHARE = 0.005
_FLAT = 0.2  # of the usual response: from here on a step says more about flare than about density
_DEAD = 0.04  # of the usual response: no answer at all, so the step before stands on the floor already
_OUTLIER = 0.03
_LARGEST_RESIDUAL_SD = 0.06
_SMALLEST_SD = 0.0015  # a scanner repeats itself no better than this from one scan to the next
_KNOT_SPACING = 0.03
_FEWEST_STEPS = 5
_EIGHT_BIT = 257.0  # codes between neighbours in a scan of 8 bits
_COARSEST = 0.05  # density: where rounding to 8 bits is worse than that, a step says nothing
_USUAL_ERROR = 0.01  # density: what a tablet's own values are usually off by


@dataclass(frozen=True)
class StepFit:
    """One step of the tablet beside what the profile makes of it.

    Parameters
    ----------
    density : the step's known density.
    code : its mean 16-bit code value, nan where the step was not seen.
    residual : fitted minus known density; None where the step stands outside the profile.
    left_out : the same from a fit that does not know this step.
    used : whether the profile was fitted to it.
    note : why it was not used, else empty.
    """

    density: float
    code: float
    residual: float | None
    left_out: float | None = None
    used: bool = True
    note: str = ""


@dataclass(frozen=True)
class ScannerProfile:
    """The density behind a code value, for one channel of one scanner in one mode.

    Parameters
    ----------
    channel : ``grey``, ``red``, ``green`` or ``blue``.
    bits : bits a sample of the scans that it holds for, 8 or 16.
    mode : ``grey`` or ``rgb``.
    log_codes : knots of the map, log10 of the 16-bit code, rising.
    densities : the densities at the knots, falling.
    residual_sd : root mean square of the leave-one-step-out residuals, in density.
    density_range : least and greatest density that the profile knows.
    steps : every step of the tablet, lightest first.
    sds : one standard deviation of the map itself at the knots; empty: `residual_sd` everywhere.
    notes : what the user should know about the fit, sentences.
    """

    channel: str
    bits: int
    mode: str
    log_codes: tuple[float, ...]
    densities: tuple[float, ...]
    residual_sd: float
    density_range: tuple[float, float]
    steps: tuple[StepFit, ...]
    sds: tuple[float, ...] = ()
    notes: tuple[str, ...] = field(default=())

    @cached_property
    def _map(self) -> PchipInterpolator:
        return PchipInterpolator(self.log_codes, self.densities, extrapolate=False)

    @cached_property
    def _table(self) -> NDArray[np.float32]:
        codes = np.arange(65536, dtype=np.float64)
        first, last = 10.0 ** self.log_codes[0], 10.0 ** self.log_codes[-1]
        known = np.clip(codes, first, last)
        density = self._map(np.clip(np.log10(known), self.log_codes[0], self.log_codes[-1]))
        table = 10.0 ** -np.asarray(density, dtype=np.float64)
        slope = self._map.derivative()
        for end, outside in ((first, codes < first), (last, codes > last)):
            at_end = float(np.clip(np.log10(end), self.log_codes[0], self.log_codes[-1]))
            # dT/dcode from dD/dlog10(code): T = 10^-D, so dT/T = -ln10 dD and dlog10(code) = dcode / (code
            # ln10)
            grade = -(10.0 ** -float(self._map(at_end))) * float(slope(at_end)) / end
            table[outside] += grade * (codes[outside] - end)
        table.setflags(write=False)
        result = table.astype(np.float32)
        result.setflags(write=False)
        return result

    def density(self, code: ArrayLike) -> _Floats:
        """Return the density behind code values.

        Parameters
        ----------
        code : array of any shape, 16-bit-scaled code values.

        Returns
        -------
        Densities of the same shape; nan outside `density_range`, where nothing is known.

        Examples
        --------
        >>> steps = [0.05 + 0.15 * k for k in range(21)]
        >>> codes = [60000 * 10**-d for d in steps]
        >>> profile = fit_profile(codes, steps, channel="grey", bits=16, mode="grey")
        >>> profile.density([6000, 3]).round(3).tolist()
        [1.0, nan]
        """
        codes = np.asarray(code, dtype=np.float64)
        with np.errstate(divide="ignore", invalid="ignore"):
            logs = np.log10(codes)
        # Rounding in log10 must not push the outermost steps themselves out of the range.
        slack = 1e-9
        lowest, highest = self.log_codes[0], self.log_codes[-1]
        inside = (logs >= lowest - slack) & (logs <= highest + slack)
        return np.where(inside, self._map(np.clip(np.where(inside, logs, lowest), lowest, highest)), np.nan)

    def code(self, density: ArrayLike) -> _Floats:
        """Return the code value that a density scans to, nan outside `density_range`.

        Parameters
        ----------
        density : array of any shape, densities.

        Returns
        -------
        16-bit-scaled code values of the same shape.
        """
        values = np.asarray(density, dtype=np.float64)
        logs = np.linspace(self.log_codes[0], self.log_codes[-1], 4096)
        falling = self._map(logs)
        found = 10.0 ** np.interp(values, falling[::-1], logs[::-1])
        low, high = self.density_range
        return np.where((values >= low - 1e-9) & (values <= high + 1e-9), found, np.nan)

    def sd(self, density: ArrayLike) -> _Floats:
        """Return one standard deviation of the map itself at a density.

        Parameters
        ----------
        density : array of any shape, densities.

        Returns
        -------
        Standard deviations in density, of the same shape; the nearest end's outside the range.

        Notes
        -----
        This is the error of the fitted line (its leverage times the residual variance), which is smaller than
        the residual of a single step, as the line rests on many of them.
        """
        values = np.asarray(density, dtype=np.float64)
        if not self.sds:
            return np.full(values.shape, self.residual_sd)
        return np.asarray(np.interp(values, self.densities[::-1], self.sds[::-1]), dtype=np.float64)

    def transmittance_table(self) -> NDArray[np.float32]:
        """Return the transmittance of every code value from 0 to 65535.

        Returns
        -------
        65536 float32, read-only. Past the profile's ends the table goes on straight in code and
        transmittance, so that an average over grain near an end is not bent; such an average is a density
        only if it lies inside `density_range` itself.
        """
        return self._table

    def transmittance(self, codes: ArrayLike) -> _Floats:
        """Return transmittances of code values through `transmittance_table`, whole codes or not.

        Parameters
        ----------
        codes : array of any shape, 16-bit-scaled code values from 0 to 65535.

        Returns
        -------
        Transmittances of the same shape, for averaging.
        """
        given = np.asarray(codes)
        if given.dtype == np.uint16:
            return np.asarray(self._table[given], dtype=np.float64)
        wanted = np.clip(given.astype(np.float64), 0.0, FULL_SCALE)
        below = np.minimum(wanted.astype(np.int64), 65534)
        part = wanted - below
        light = self._table[below] * (1.0 - part) + self._table[below + 1] * part
        return np.asarray(light, dtype=np.float64)

    def to_json(self) -> dict[str, Any]:
        """Return the profile as plain lists and numbers, to be stored.

        Returns
        -------
        A mapping that `from_json` turns back into an equal profile.
        """
        return {
            "channel": self.channel,
            "bits": self.bits,
            "mode": self.mode,
            "log_codes": list(self.log_codes),
            "densities": list(self.densities),
            "sds": list(self.sds),
            "residual_sd": self.residual_sd,
            "density_range": list(self.density_range),
            "steps": [
                {
                    "density": step.density,
                    "code": None if np.isnan(step.code) else step.code,
                    "residual": step.residual,
                    "left_out": step.left_out,
                    "used": step.used,
                    "note": step.note,
                }
                for step in self.steps
            ],
            "notes": list(self.notes),
        }

    @classmethod
    def from_json(cls, stored: Mapping[str, Any]) -> "ScannerProfile":
        """Return the profile that `to_json` wrote down.

        Parameters
        ----------
        stored : the mapping.

        Returns
        -------
        The profile.

        Raises
        ------
        CalibrationError
            Where the mapping is not one of `to_json`'s.
        """
        try:
            return cls(
                channel=str(stored["channel"]),
                bits=int(stored["bits"]),
                mode=str(stored["mode"]),
                log_codes=tuple(float(x) for x in stored["log_codes"]),
                densities=tuple(float(x) for x in stored["densities"]),
                residual_sd=float(stored["residual_sd"]),
                density_range=(float(stored["density_range"][0]), float(stored["density_range"][1])),
                steps=tuple(
                    StepFit(
                        density=float(step["density"]),
                        code=float("nan") if step["code"] is None else float(step["code"]),
                        residual=None if step["residual"] is None else float(step["residual"]),
                        left_out=None if step.get("left_out") is None else float(step["left_out"]),
                        used=bool(step.get("used", True)),
                        note=str(step.get("note", "")),
                    )
                    for step in stored["steps"]
                ),
                sds=tuple(float(x) for x in stored.get("sds", ())),
                notes=tuple(str(note) for note in stored.get("notes", ())),
            )
        except (KeyError, TypeError, ValueError, IndexError) as fault:
            raise CalibrationError(
                f"the stored scanner profile can't be read ({fault!r}); calibrate this scanner again"
            ) from fault


def fit_profile(
    codes: Sequence[float] | NDArray[Any],
    densities: Sequence[float] | NDArray[Any],
    *,
    channel: str,
    bits: int,
    mode: str,
    clipped: Sequence[float] | None = None,
) -> ScannerProfile:
    """Fit the profile of one channel to the steps of a scanned tablet.

    Parameters
    ----------
    codes : mean 16-bit code of each step, nan for a step that was not seen.
    densities : the known density of each step, lightest first, rising.
    channel : ``grey``, ``red``, ``green`` or ``blue``.
    bits : bits a sample of the scan, 8 or 16.
    mode : ``grey`` or ``rgb``.
    clipped : share of each step's pixels at 0 or full scale (0 to 1), where known.

    Returns
    -------
    The profile; its range ends at the last steps that still answer to density.

    Raises
    ------
    CalibrationError
        Codes that do not fall as density rises, fewer than five usable steps, steps that do not follow the
        tablet's densities.

    Notes
    -----
    The shape is code = k·(T + f)^(1/g), the light plus flare through a power; the departure from it is a
    natural cubic smoothing spline in density whose stiffness is chosen by generalised cross-validation with
    each degree of freedom counted 1.4 times (Craven and Wahba 1979; Kim and Gu 2004, J. R. Statist. Soc. B
    66).

    Examples
    --------
    >>> steps = [0.05 + 0.15 * k for k in range(21)]
    >>> codes = [60000 * (10**-d + 0.0004) ** (1 / 2.2) for d in steps]
    >>> profile = fit_profile(codes, steps, channel="grey", bits=16, mode="grey")
    >>> round(float(profile.density(60000 * (10**-1.4 + 0.0004) ** (1 / 2.2))), 3)
    1.4
    >>> [round(end, 2) for end in profile.density_range]
    [0.05, 3.05]
    """
    known = np.asarray(densities, dtype=np.float64)
    seen = np.asarray(codes, dtype=np.float64)
    _check_input(seen, known)
    shares = np.zeros(known.size) if clipped is None else np.asarray(clipped, dtype=np.float64)
    why = _unusable(seen, known, shares)
    coarse = _rounding(seen, known) if bits == 8 else np.zeros(known.size)
    if bits == 8:
        for index in np.flatnonzero(coarse > _COARSEST):
            why[index] = why[index] or "too dark for a scan of 8 bits"
    usable = np.array([not reason for reason in why])
    _check_usable(seen, known, usable)

    fit = _fit(np.log10(seen[usable]), known[usable], coarse[usable])
    spread = 1.4826 * float(np.median(np.abs(fit.left_out)))
    strays = np.abs(fit.left_out) > max(_OUTLIER, 4.0 * spread)
    if (
        strays.any()
        and strays.sum() <= max(1, usable.sum() // 10)
        and usable.sum() - strays.sum() >= _FEWEST_STEPS
    ):
        # The fit without them must still cover their place, so an outermost step is kept whatever it does.
        strays[[0, -1]] = False
        for index in np.flatnonzero(usable)[strays]:
            why[index] = "stands off the line of the others: dust, a scratch or a wrong density in the record"
        usable = np.array([not reason for reason in why])
        fit = _fit(np.log10(seen[usable]), known[usable], coarse[usable])
    trust = 1.0 / (1.0 + (coarse[usable] / _USUAL_ERROR) ** 2)
    residual_sd = float(np.sqrt(np.average(fit.left_out**2, weights=trust)))
    if residual_sd > _LARGEST_RESIDUAL_SD:
        raise CalibrationError(
            f"the steps found do not follow the tablet's densities (they miss them by {residual_sd:.2f} "
            "rms): check "
            "that the record names this tablet, lightest step first, and that the region holds nothing else"
        )
    return _profile(fit, residual_sd, seen, known, usable, why, channel=channel, bits=bits, mode=mode)


def _check_input(seen: _Floats, known: _Floats) -> None:
    if seen.ndim != 1 or seen.shape != known.shape:
        raise CalibrationError(
            f"{seen.size} step codes don't go with {known.size} tablet densities: the record must list "
            "every step"
        )
    if not np.all(np.isfinite(known)) or np.any(np.diff(known) <= 0):
        raise CalibrationError(
            "a tablet's densities must rise from step to step: lightest step first in its record"
        )
    if np.any(seen < 0):
        raise CalibrationError(
            "a step with a code below 0 can't come from a scan: scale the codes to 0…65535"
        )


def _unusable(seen: _Floats, known: _Floats, clipped: _Floats) -> list[str]:
    """Return per step why it can't be used, empty where it can."""
    why = [""] * known.size
    for index, code in enumerate(seen):
        if not np.isfinite(code):
            why[index] = "not seen in the scan"
        elif code >= _SATURATED_FROM:
            why[index] = "at full scale"
        elif code < 1.0:
            why[index] = "at zero"
        elif clipped[index] > _CLIPPED_SHARE:
            why[index] = "partly clipped"
    left = [k for k in range(known.size) if not why[k]]
    if len(left) < _FEWEST_STEPS:
        return why
    logs = np.log10(seen[left])
    answer = -np.diff(logs) / np.diff(known[left])
    usual = float(np.median(answer))
    if usual <= 0:
        return why
    answer = answer / usual
    # From each end inward: flat means saturated. A dead-flat pair condemns both its steps.
    last = len(left) - 1
    while last > 0 and answer[last - 1] < _FLAT:
        why[left[last]] = "no longer told from the scanner's floor"
        if answer[last - 1] < _DEAD and (last == 1 or answer[last - 2] >= _FLAT):
            why[left[last - 1]] = "no longer told from the scanner's floor"
        last -= 1
    first = 0
    while first < last and answer[first] < _FLAT:
        why[left[first]] = "no longer told from the scanner's brightest"
        if answer[first] < _DEAD and answer[min(first + 1, answer.size - 1)] >= _FLAT:
            why[left[first + 1]] = "no longer told from the scanner's brightest"
        first += 1
    return why


def _rounding(seen: _Floats, known: _Floats) -> _Floats:
    """Return what rounding to 8 bits does to the density of a step: the deviation of a uniform error."""
    finite = np.isfinite(seen) & (seen > 0)
    if finite.sum() < 2:
        return np.zeros(known.size)
    logs = np.log10(seen[finite])
    slope = float(np.ptp(known[finite]) / max(np.ptp(logs), 1e-6))
    with np.errstate(divide="ignore", invalid="ignore"):
        step = slope * _EIGHT_BIT / np.sqrt(12.0) / (seen * np.log(10.0))
    return np.asarray(np.nan_to_num(step, posinf=9.0), dtype=np.float64)


def _check_usable(seen: _Floats, known: _Floats, usable: NDArray[np.bool_]) -> None:
    finite = np.isfinite(seen)
    if finite.sum() >= _FEWEST_STEPS:
        trend = (
            np.corrcoef(np.log10(np.maximum(seen[finite], 1.0)), known[finite])[0, 1]
            if np.ptp(seen[finite])
            else 0.0
        )
        if trend > 0.5:
            raise CalibrationError(
                "the codes rise with the tablet's density: the scan is a positive (inverted) or the "
                "tablet's record "
                "runs from dark to light; scan it as a plain transparency, or list the lightest step first"
            )
    if usable.sum() < _FEWEST_STEPS:
        raise CalibrationError(
            f"only {int(usable.sum())} of {known.size} steps can be used, {_FEWEST_STEPS} are needed: the "
            "others are "
            "clipped, equal or not seen; scan the whole tablet again without automatic levels"
        )
    logs, steps = np.log10(seen[usable]), known[usable]
    drop = -np.diff(logs)
    usual = float(np.median(drop / np.diff(steps)))
    wrong = np.flatnonzero(drop < -0.02 * max(usual, 0.2))
    if usual <= 0 or wrong.size:
        at = f" between {steps[wrong[0]]:.2f} and {steps[wrong[0] + 1]:.2f}" if wrong.size else ""
        raise CalibrationError(
            f"the codes do not fall steadily as density rises{at}: this is not the tablet of that record, "
            "or the "
            "steps were not found where they are; give --region around the tablet alone"
        )


@dataclass(frozen=True)
class _Fit:
    """A fitted line over the steps: values, leave-one-out residuals, and the knots with their deviations."""

    fitted: _Floats
    left_out: _Floats
    knots: _Floats
    values: _Floats
    sds: _Floats


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


_LOW = np.array([-3.0, 0.05, -3.0, -1e-9])
_HIGH = np.array([5.0, 10.0, 0.97, 0.3])


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


def _fit(logs: _Floats, known: _Floats, coarse: _Floats) -> _Fit:
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
    # Grain shakes rounding of pixels loose, so that half of it at most is left in a mean.
    rounding = np.interp(knots, logs[::-1], coarse[::-1]) / 2.0
    sds = np.sqrt(variance * np.sum((rows / weights) ** 2, axis=1) + _SMALLEST_SD**2 + rounding**2)
    return _Fit(fitted, left_out, knots, _falling(values), sds)


def _falling(values: _Floats) -> _Floats:
    """Return values made strictly falling; noise at a flat end must not turn the map round."""
    smallest = 1e-6
    result = values.copy()
    for index in range(1, result.size):
        result[index] = min(result[index], result[index - 1] - smallest)
    return result


def _profile(
    fit: _Fit,
    residual_sd: float,
    seen: _Floats,
    known: _Floats,
    usable: NDArray[np.bool_],
    why: list[str],
    *,
    channel: str,
    bits: int,
    mode: str,
) -> ScannerProfile:
    profile = ScannerProfile(
        channel=channel,
        bits=bits,
        mode=mode,
        log_codes=tuple(float(x) for x in fit.knots),
        densities=tuple(float(x) for x in fit.values),
        residual_sd=residual_sd,
        density_range=(float(fit.values[-1]), float(fit.values[0])),
        steps=(),
        sds=tuple(float(x) for x in fit.sds),
    )
    found = profile.density(np.where(np.isfinite(seen), seen, 0.0))
    left_out = np.full(known.size, np.nan)
    left_out[usable] = fit.left_out
    steps = tuple(
        StepFit(
            density=float(known[k]),
            code=float(seen[k]),
            residual=float(found[k] - known[k]) if np.isfinite(found[k]) else None,
            left_out=float(left_out[k]) if usable[k] else None,
            used=bool(usable[k]),
            note=why[k],
        )
        for k in range(known.size)
    )
    return ScannerProfile(
        channel=channel,
        bits=bits,
        mode=mode,
        log_codes=profile.log_codes,
        densities=profile.densities,
        residual_sd=residual_sd,
        density_range=profile.density_range,
        steps=steps,
        sds=profile.sds,
        notes=_notes(steps),
    )


def _notes(steps: tuple[StepFit, ...]) -> tuple[str, ...]:
    notes = []
    used = [k for k, step in enumerate(steps) if step.used]
    bright = [step for step in steps[: used[0]] if step.note != "not seen in the scan"]
    dark = [step for step in steps[used[-1] + 1 :] if step.note != "not seen in the scan"]
    if bright:
        notes.append(
            f"Steps up to density {bright[-1].density:.2f} are clipped at the bright end and tell nothing."
        )
    if dark:
        notes.append(
            f"Steps from density {dark[0].density:.2f} on are lost at the dark end and tell nothing."
        )
    if bright and dark:
        notes.append(
            "Both ends are clipped, as automatic levels do: scan tablet and negatives with fixed settings."
        )
    notes.extend(
        f"The step of density {step.density:.2f} {step.note}."
        for step in steps[used[0] : used[-1]]
        if not step.used and step.note.startswith("stands")
    )
    return tuple(notes)
