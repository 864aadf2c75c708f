"""The characteristic curve of a film: density against log exposure, from a step tablet exposed on it.

The curve rises and is smooth; how smooth, and how far its densities scatter, is learnt from the readings
themselves. Everything read off it carries a standard deviation, got by moving the curve along each of the
directions in which it is uncertain.

Sources
-------
Eilers : P. H. C. Eilers, B. D. Marx, Flexible smoothing with B-splines and penalties, Stat. Sci. 11 (1996).
Patterson : H. D. Patterson, R. Thompson, Recovery of inter-block information when block sizes are unequal,
    Biometrika 58 (1971): restricted likelihood, here of smoothness and scatter.
Lawson : C. L. Lawson, R. J. Hanson, Solving Least Squares Problems (1974), 23: least squares, none negative.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from negcat.errors import QuantityError
from negcat.sensitometry.figures import Figure

__all__ = ["FEWEST_READINGS", "FilmCurve", "Read", "fit_film_curve"]

FEWEST_READINGS = 5

_Floats = NDArray[np.float64]

_GRID = 0.01  # log H between the points that a curve is kept at
_KNOTS = 0.15  # log H between the knots: the step of the usual tablet
_SMOOTH = np.geomspace(1e-3, 3.0, 22)  # of the change of a knot's rise, in density
_SCATTER = np.geomspace(0.5, 4.0, 13)  # of the readings, in their stated deviations
_SCATTER_PRIOR = 0.35  # of its logarithm, about the stated deviations
_SMOOTHNESS_LEARNT = 1.12  # deviations are wider by this, as smoothness is learnt; measured on known truth
_TABLET_SD = 0.01  # density of a tablet's step, as calibrated
_TOE = 0.40  # density above the clearest steps up to which readings tell where the toe runs out
_TOE_MISFIT = 0.004  # density by which a film's toe departs from the form it is given
_TOE_STEEPNESS = np.geomspace(1.5, 8.0, 10)  # of the toe, per log H
_TOE_PLACES = 40  # tried along the readings
_WELL_ENOUGH = 0.025  # density: a base+fog less well told from the toe is none
_RECORDED_SD = 0.02  # of a base+fog that was typed in


@dataclass(frozen=True)
class Read:
    """What a figure is read off: the curve, or the curve moved to where it may as well be.

    Parameters
    ----------
    log_h : places, rising, shape (n,).
    net : density above base+fog at them, not falling, shape (n,).
    """

    log_h: _Floats
    net: _Floats

    def density(self, log_h: float) -> float | None:
        """Net density at an exposure; None outside what was exposed."""
        if not self.log_h[0] - 1e-9 <= log_h <= self.log_h[-1] + 1e-9:
            return None
        return float(np.interp(log_h, self.log_h, self.net))

    def exposure(self, net: float) -> float | None:
        """Log exposure that gives a net density, the least there is; None where the curve doesn't reach it."""
        if not self.net[0] < net <= self.net[-1]:
            return None
        place = int(np.searchsorted(self.net, net))
        low, high = self.net[place - 1], self.net[place]
        part = (net - low) / (high - low)
        return float(self.log_h[place - 1] + part * (self.log_h[place] - self.log_h[place - 1]))


@dataclass(frozen=True)
class FilmCurve:
    """A fitted characteristic curve.

    Parameters
    ----------
    log_h : log10 exposure at the curve's points, rising: in lux·s where `absolute`, else against any one
        exposure.
    densities : density at them, base+fog in it.
    sds : one standard deviation of the curve at them.
    absolute : the exposures are lux·s at the film.
    base_fog : density of the film where no light fell; None with the reason where it can't be had.
    scatter : by how much a reading stands off the curve, one standard deviation.
    residuals : reading minus curve, in the order of the readings, nan for one left out.
    """

    log_h: tuple[float, ...]
    densities: tuple[float, ...]
    sds: tuple[float, ...]
    absolute: bool
    base_fog: Figure
    scatter: float
    residuals: tuple[float, ...]
    _modes: tuple[tuple[float, ...], ...] = ()
    _fog_modes: tuple[float, ...] = ()

    @cached_property
    def best(self) -> Read | None:
        """The curve above base+fog; None without a base+fog."""
        if self.base_fog.value is None:
            return None
        return self._read(np.zeros(len(self.log_h)), 0.0)

    @cached_property
    def _moved(self) -> tuple[tuple[Read, Read], ...]:
        """The curve moved one deviation either way along each direction in which it is uncertain."""
        return tuple(
            (self._read(np.array(mode), fog), self._read(-np.array(mode), -fog))
            for mode, fog in zip(self._modes, self._fog_modes, strict=True)
        )

    def _read(self, moved: _Floats, fog: float) -> Read:
        assert self.base_fog.value is not None  # asked for only then
        net = np.array(self.densities) + moved - (self.base_fog.value + fog)
        return Read(np.array(self.log_h), np.maximum.accumulate(net))

    def sd_of(self, figure: Callable[[Read], float | None]) -> float | None:
        """Give the standard deviation of a figure read off the curve.

        Parameters
        ----------
        figure : reads it off; None where it can't be had.

        Returns
        -------
        Root of the summed squares of what half a move from end to end does, along each direction; None where
        the figure can't be had off the moved curves.
        """
        if self.best is None:
            return None
        at_best = figure(self.best)
        total = 0.0
        for up, down in self._moved:
            higher, lower = figure(up), figure(down)
            if higher is not None and lower is not None:
                total += ((higher - lower) / 2.0) ** 2
            elif at_best is not None and (one := higher if higher is not None else lower) is not None:
                total += (one - at_best) ** 2
            else:
                return None
        return float(np.sqrt(total))


def fit_film_curve(
    log_h: Sequence[float],
    densities: Sequence[float],
    sds: Sequence[float],
    *,
    absolute: bool,
    shared: NDArray[np.float64] | None = None,
    recorded_base_fog: float | None = None,
    tablet_sd: float = _TABLET_SD,
) -> FilmCurve:
    """Fit the characteristic curve to the steps of a tablet exposed on film.

    Parameters
    ----------
    log_h : log10 exposure of each step, in any order.
    densities : density of each, base+fog in it; nan for a step that couldn't be read.
    sds : its standard deviation by itself (grain, aperture, instrument).
    absolute : whether `log_h` is in lux·s.
    shared : errors that the densities have in common (of a scanner's profile), covariance, shape (n, n).
    recorded_base_fog : the film's recorded base+fog, used where the tablet leaves no step clear.
    tablet_sd : standard deviation of a step's density on the tablet itself.

    Returns
    -------
    The curve, over the exposures of the steps read and no further.

    Raises
    ------
    QuantityError
        Fewer than five steps read, densities that fall with exposure, or lists that don't go together.

    Notes
    -----
    A cubic B-spline with a penalty on its second differences (Eilers), its coefficients not falling (Lawson),
    smoothness and scatter by restricted likelihood (Patterson), scatter with a prior about the stated
    deviations. An error of the tablet's own density counts as one of exposure. The deviations are those of
    the Gaussian posterior in the directions that the rise leaves free.
    """
    x = np.asarray(log_h, dtype=np.float64)
    y = np.asarray(densities, dtype=np.float64)
    own = np.asarray(sds, dtype=np.float64)
    if not x.shape == y.shape == own.shape:
        raise QuantityError(f"{y.size} densities don't go with {x.size} exposures; give one for each step.")
    kept = np.isfinite(x) & np.isfinite(y) & np.isfinite(own)
    if int(kept.sum()) < FEWEST_READINGS:
        raise QuantityError(
            f"{int(kept.sum())} steps could be read; a curve needs at least {FEWEST_READINGS}."
        )
    order = np.flatnonzero(kept)[np.argsort(x[kept], kind="stable")]
    common = np.zeros((order.size, order.size)) if shared is None else shared[np.ix_(order, order)]
    _check_rise(x[order], y[order])

    fit = _Fit(x[order], y[order])
    fit.solve(own[order] ** 2, common)
    # An error of the tablet's density shifts the exposure, and by the curve's slope the density.
    fit.solve(own[order] ** 2 + (fit.slopes() * tablet_sd) ** 2, common)
    return _curve(fit, x, y, order, absolute=absolute, recorded=recorded_base_fog)


def _check_rise(x: _Floats, y: _Floats) -> None:
    if np.ptp(x) <= 0.3:
        raise QuantityError("The steps span less than one stop of exposure; a curve needs more.")
    third = max(x.size // 3, 2)
    if y[-third:].mean() - y[:third].mean() < 0.05:
        raise QuantityError(
            "The densities don't rise with the exposure: list them in the tablet's order, clearest step "
            "first; the film is densest there."
        )


class _Fit:
    """The spline, its design and its solution."""

    def __init__(self, x: _Floats, y: _Floats) -> None:
        from scipy.interpolate import BSpline

        self.x, self.y = x, y
        pieces = int(np.clip(round(float(np.ptp(x)) / _KNOTS), 4, 40))
        inner = np.linspace(x[0], x[-1], pieces + 1)
        gap = inner[1] - inner[0]
        knots = np.concatenate(
            [inner[0] - gap * np.arange(3, 0, -1), inner, inner[-1] + gap * np.arange(1, 4)]
        )
        self._spline = BSpline(knots, np.eye(pieces + 3), 3)
        self.basis = self.at(x)
        size = pieces + 3
        self.penalty = np.diff(np.eye(size), 2, axis=0)
        # Unpenalised part: straight lines; penalised: what the second differences stand for.
        self.lines = self.basis @ np.vander(np.linspace(-1.0, 1.0, size), 2)
        self.bends = self.basis @ self.penalty.T @ np.linalg.inv(self.penalty @ self.penalty.T)
        # Coefficients from rises: the first, then what each adds; none negative.
        self.sums = np.tril(np.ones((size, size)))
        self.coefficients = np.zeros(size)
        self.modes = np.zeros((0, size))
        self.scatter = 1.0
        self.sds = np.zeros(len(x))

    def solve(self, variance: _Floats, common: _Floats) -> None:
        """Choose smoothness and scatter, and fit."""
        from scipy.optimize import nnls

        smooth, self.scatter = self._likeliest(variance, common)
        noise = np.diag(self.scatter**2 * variance) + common
        self.sds = self.scatter * np.sqrt(variance)
        whiten = np.linalg.inv(np.linalg.cholesky(noise + 1e-12 * np.eye(len(variance))))
        rows = np.vstack([whiten @ self.basis, self.penalty / smooth]) @ self.sums
        wanted = np.concatenate([whiten @ self.y, np.zeros(len(self.penalty))])
        rises, _ = nnls(rows, wanted, maxiter=50 * rows.shape[1])
        free = rises > 1e-9
        self.coefficients = self.sums @ rises
        covariance = np.linalg.pinv(rows[:, free].T @ rows[:, free])
        sizes, directions = np.linalg.eigh(self.sums[:, free] @ covariance @ self.sums[:, free].T)
        told = sizes > 1e-10
        self.modes = _SMOOTHNESS_LEARNT * (directions[:, told] * np.sqrt(sizes[told])).T

    def _likeliest(self, variance: _Floats, common: _Floats) -> tuple[float, float]:
        scatter, smooth = (grid.ravel() for grid in np.meshgrid(_SCATTER, _SMOOTH, indexing="ij"))
        bent = self.bends @ self.bends.T
        total = scatter[:, None, None] ** 2 * np.diag(variance) + common + smooth[:, None, None] ** 2 * bent
        factor = np.linalg.cholesky(total)
        both = np.linalg.solve(factor, np.column_stack([self.lines, self.y])[None])
        lines, y = both[:, :, :-1], both[:, :, -1:]
        square = lines.transpose(0, 2, 1) @ lines
        left = y - lines @ np.linalg.solve(square, lines.transpose(0, 2, 1) @ y)
        values = (
            -0.5 * (np.log(scatter) / _SCATTER_PRIOR) ** 2
            - np.log(np.diagonal(factor, axis1=1, axis2=2)).sum(axis=1)
            - 0.5 * np.linalg.slogdet(square)[1]
            - 0.5 * (left**2).sum(axis=(1, 2))
        )
        # Their means by likelihood: the likeliest smoothness alone is too smooth as often as not.
        chance = np.exp(values - values.max())
        chance /= chance.sum()
        return float(np.exp(chance @ np.log(smooth))), float(np.exp(chance @ np.log(scatter)))

    def slopes(self) -> _Floats:
        return np.asarray(self._spline(self.x, 1) @ self.coefficients, dtype=np.float64)

    def at(self, places: _Floats) -> _Floats:
        # Rounding must not push the outermost places off the spline.
        within = np.clip(places, self.x[0], self.x[-1])
        return np.asarray(self._spline(within), dtype=np.float64)


def _curve(
    fit: _Fit, x: _Floats, y: _Floats, order: NDArray[np.intp], *, absolute: bool, recorded: float | None
) -> FilmCurve:
    low, high = float(fit.x[0]), float(fit.x[-1])
    grid = np.linspace(low, high, max(round((high - low) / _GRID), 8) + 1)
    basis = fit.at(grid)
    densities = basis @ fit.coefficients
    modes = fit.modes @ basis.T
    sds = np.sqrt((modes**2).sum(axis=0))
    base_fog, fog_modes, own_mode = _base_fog(fit, densities, modes, recorded)
    if own_mode is not None:
        modes = np.vstack([modes, np.zeros_like(grid)])
        fog_modes = np.append(fog_modes, own_mode)
    residuals = np.full(x.size, np.nan)
    residuals[order] = fit.y - fit.basis @ fit.coefficients
    return FilmCurve(
        log_h=tuple(float(value) for value in grid),
        densities=tuple(float(value) for value in densities),
        sds=tuple(float(value) for value in sds),
        absolute=absolute,
        base_fog=base_fog,
        scatter=float(np.sqrt(np.mean(residuals[order] ** 2) * order.size / max(order.size - 4, 1))),
        residuals=tuple(float(value) for value in residuals),
        _modes=tuple(tuple(float(value) for value in mode) for mode in modes),
        _fog_modes=tuple(float(value) for value in fog_modes),
    )


def _base_fog(
    fit: _Fit, densities: _Floats, modes: _Floats, recorded: float | None
) -> tuple[Figure, _Floats, float | None]:
    """Tell base+fog: from where the toe runs out, else the recorded one.

    Returns
    -------
    It, by how much each of the curve's moves takes it along, and its own deviation where it isn't the curve's.
    """
    still = np.zeros(len(modes))
    value, sd = clear_density(fit.x, fit.y, fit.sds)
    if sd <= _WELL_ENOUGH and (recorded is None or sd <= _RECORDED_SD):
        return Figure(value, sd, "where the film's toe runs out"), still, sd
    if recorded is not None and recorded <= densities[0] + 2.0 * _RECORDED_SD:
        note = "the film's record, as the tablet left no step of the film clear"
        return Figure(recorded, _RECORDED_SD, note), still, _RECORDED_SD
    why = (
        "the tablet left no step of the film clear, and no base+fog is on record for the film"
        if recorded is None
        else f"the recorded base+fog, {recorded:.2f}, is denser than the film's clearest step"
    )
    return Figure(None, None, why), still, None


def clear_density(x: _Floats, y: _Floats, sds: _Floats) -> tuple[float, float]:
    """Tell the density that a film's toe runs out to.

    Parameters
    ----------
    x : log exposures, rising, shape (n,).
    y : densities, shape (n,).
    sds : their deviations, shape (n,).

    Returns
    -------
    The density and its standard deviation, large where the toe hasn't run out.

    Notes
    -----
    Through the clearest readings goes a toe F + B·ln(1 + 10^(s(x − x0))), every steepness s and place x0
    weighted by its likelihood, F and B by least squares.
    """
    low = y <= y[: max(len(y) // 6, 2)].mean() + _TOE
    low[: min(6, len(y))] = True
    x, y, weight = x[low], y[low], 1.0 / (sds[low] ** 2 + _TOE_MISFIT**2)
    steepness, place = (
        grid.ravel() for grid in np.meshgrid(_TOE_STEEPNESS, np.linspace(x[0] - 1.0, x[-1], _TOE_PLACES))
    )
    toe = np.logaddexp(0.0, np.log(10.0) * steepness[:, None] * (x - place[:, None]))
    w, wt, wtt = weight.sum(), toe @ weight, toe**2 @ weight
    wy, wty = float(weight @ y), toe @ (weight * y)
    size = w * wtt - wt**2
    with np.errstate(divide="ignore", invalid="ignore"):
        f, b = (wtt * wy - wt * wty) / size, (w * wty - wt * wy) / size
        good = (size > 1e-9 * w * wtt) & (b > 0.0) & (f >= 0.0)
    if not good.any():
        return float(y[0]), float("inf")
    f, b, toe, spread = f[good], b[good], toe[good], wtt[good] / size[good]
    left = ((y - f[:, None] - b[:, None] * toe) ** 2) @ weight
    chance = np.exp(-0.5 * (left - left.min()))
    chance /= chance.sum()
    mean = float(chance @ f)
    return mean, float(np.sqrt(max(float(chance @ (f**2 + spread)) - mean**2, 0.0)))
