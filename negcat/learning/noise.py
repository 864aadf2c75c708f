"""How large the noise is: variance components by marginal likelihood, and how well they are known.

Sources
-------
Box : G. E. P. Box, W. G. Hunter, J. S. Hunter, Statistics for Experimenters (2005), 5–6: two-level fractional
    factorial designs, folded over.
Rue : H. Rue, S. Martino, N. Chopin, Approximate Bayesian inference for latent Gaussian models by integrated
    nested Laplace approximations, J. R. Stat. Soc. B 71 (2009), 6.5: integrating over such a design.
Simpson : D. Simpson et al., Penalising model component complexity, Statistical Science 32 (2017): exponential
    priors for deviations.
Tierney : L. Tierney, J. B. Kadane, Accurate approximations for posterior moments and marginal densities, J.
    Am. Stat. Assoc. 81 (1986).
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import hadamard

from negcat.learning.fitting import Fit, Fitter, State
from negcat.learning.sheets_together import Noise

__all__ = ["LEVELS", "Weighted", "integrate", "likeliest_noise"]

Array = NDArray[np.float64]

LEVELS: Final = ("reading", "sheet", "batch", "batch_contrast", "bend", "shutter", "hand")

_USUAL: Final = {
    "reading": (0.1, 0.5),
    "sheet": (0.1, 0.5),
    "shutter": (1 / 3, 0.8),
    "hand": (0.1, 0.8),
    "bend": (0.25, 0.6),
}
"""Lognormal beliefs, median and deviation of the logarithm: by what such things are usually off."""

_SELDOM_MORE: Final = {"batch": 0.25, "batch_contrast": 0.05}
"""Exponential beliefs, which prefer none: the deviation that is exceeded in one case of twenty."""

_START: Final = {
    "reading": 0.12, "sheet": 0.15, "batch": 0.06, "batch_contrast": 0.02, "bend": 0.25, "shutter": 0.25, "hand": 0.08
}  # fmt: skip

_LEAST, _MOST = np.log(0.003), np.log(1.5)
_REACH: Final = 1.1  # deviations of each level between the middle of the design and its points
_STEP: Final = 0.2


@dataclass(frozen=True)
class Weighted:
    """A fit at one point of the design, and its share."""

    fit: Fit
    share: float


def _noise(levels: Array) -> Noise:
    reading, sheet, batch, batch_contrast, bend, shutter, hand = np.exp(levels).tolist()
    return Noise(reading, sheet, batch, batch_contrast, bend, shutter, hand)


def _log_hyperprior(levels: Array) -> float:
    """Return the log density of the logarithms of the levels."""
    found = 0.0
    for name, level in zip(LEVELS, levels, strict=True):
        if name in _USUAL:
            median, wide = _USUAL[name]
            found -= 0.5 * ((level - np.log(median)) / wide) ** 2
        else:
            found += level + np.log(0.05) / _SELDOM_MORE[name] * np.exp(level)
    return float(found)


def integrate(fitter: Fitter) -> tuple[Weighted, ...]:
    """Fit at the likeliest noise levels and around them.

    Parameters
    ----------
    fitter : of the season.

    Returns
    -------
    Fits whose shares sum to 1, the likeliest levels first.

    Notes
    -----
    The log marginal likelihood is Laplace's (Tierney). Its maximum over the logarithms of the levels is found
    by Newton's method with numerical derivatives; around it fits are made at the points of a central
    composite design (Box) and weighed as in Rue, so that an estimate's interval holds what isn't known of
    the noise. A level about which the season has nothing to say is left to its prior by the same arithmetic.
    """
    state, levels, free = _climb(fitter)
    state = fitter.climb(state, _noise(levels), steps=6, near=2e-3)
    curvature = _curvature(fitter, state, levels, free)
    fit = fitter.fit(state, _noise(levels))
    return tuple(_around(fitter, fit, levels, curvature, free))


def likeliest_noise(fitter: Fitter) -> Noise:
    """Return the likeliest noise levels alone, for where they are known so well that it doesn't matter how well."""
    return _noise(_climb(fitter)[1])


def _climb(fitter: Fitter) -> tuple[State, Array, list[int]]:
    """Return a state near the mode, the likeliest levels, and which levels bear on anything."""
    state = fitter.start()
    levels = np.log(np.array([_START[name] for name in LEVELS]))
    # First as if there were no accidents and much scatter: whatever all sheets have in common shows.
    rough = replace(_noise(levels), reading=0.15, sheet=0.4, accidents=False)
    state = fitter.climb(state, rough, steps=12, near=0.05)
    state = fitter.climb(state, replace(rough, sheet=0.3, accidents=True), steps=8, near=0.05)
    free = [i for i, name in enumerate(LEVELS) if fitter.has(name)]
    return *_likeliest(fitter, state, levels, free), free


def _evidence(fitter: Fitter, state: State, levels: Array) -> float:
    return fitter.solve(state, _noise(levels)).log_evidence + _log_hyperprior(levels)


def _likeliest(fitter: Fitter, state: State, levels: Array, free: list[int]) -> tuple[State, Array]:
    """Return the likeliest levels, and the mode near them."""
    for turn in range(10):
        state = fitter.climb(state, _noise(levels), steps=4, near=1e-2)
        gradient, second = _derivatives(fitter, state, levels, free)
        # Where the evidence isn't yet concave, a cautious step uphill.
        step = np.clip(gradient / np.maximum(-second, 0.7), -1.0, 1.0)
        if turn > 4:
            step *= 0.7
        moved = levels.copy()
        moved[free] = np.clip(levels[free] + step, _LEAST, _MOST)
        done = np.abs(moved - levels).max() < 0.1
        levels = moved
        if done:
            break
    return state, levels


def _moved(levels: Array, free: list[int], *moves: tuple[int, float]) -> Array:
    moved = levels.copy()
    for i, size in moves:
        moved[free[i]] += size * _STEP
    return moved


def _derivatives(fitter: Fitter, state: State, levels: Array, free: list[int]) -> tuple[Array, Array]:
    """Return gradient and second derivatives of the log evidence, each level by itself, at a state held fast."""
    each = range(len(free))
    middle = _evidence(fitter, state, levels)
    up = np.array([_evidence(fitter, state, _moved(levels, free, (i, 1.0))) for i in each])
    down = np.array([_evidence(fitter, state, _moved(levels, free, (i, -1.0))) for i in each])
    return (up - down) / (2.0 * _STEP), (up - 2.0 * middle + down) / _STEP**2


def _curvature(fitter: Fitter, state: State, levels: Array, free: list[int]) -> Array:
    """Return the negative Hessian of the log evidence at a state held fast."""
    _, second = _derivatives(fitter, state, levels, free)
    hessian = np.diag(second)
    # Metering of readings and of sheets share what they explain; the rest hardly do.
    pairs = [(0, 1)]
    for i, j in pairs:
        corners = [
            a * b * _evidence(fitter, state, _moved(levels, free, (i, a), (j, b)))
            for a in (1.0, -1.0)
            for b in (1.0, -1.0)
        ]
        hessian[i, j] = hessian[j, i] = sum(corners) / (4.0 * _STEP**2)
    return np.asarray(-hessian)


def _design(count: int) -> Iterable[tuple[Array, float]]:
    """Yield the design's points in units of deviations, and each one's share for a normal density.

    Up to eight levels, each at two settings; by folding over, each is balanced against every pair of others.
    """
    setting = hadamard(8)[:, :count] * _REACH
    yield np.zeros(count), 1.0 - 1.0 / _REACH**2
    for point in np.vstack([setting, -setting]):
        yield point, 1.0 / (_REACH**2 * 16)


def _around(fitter: Fitter, fit: Fit, levels: Array, curvature: Array, free: list[int]) -> list[Weighted]:
    values, vectors = np.linalg.eigh(curvature)
    # No level is less sure than its prior leaves it.
    root = vectors / np.sqrt(np.maximum(values, 0.7))
    fits, logs = [], []
    for point, share in _design(len(free)):
        moved = levels.copy()
        moved[free] = np.clip(levels[free] + root @ point, _LEAST, _MOST)
        near = fit if not point.any() else fitter.fit(fit.state, _noise(moved), steps=3, near=5e-3)
        fits.append(near)
        logs.append(near.log_evidence + _log_hyperprior(moved) + 0.5 * float(point @ point) + np.log(share))
    shares = np.exp(np.array(logs) - max(logs))
    shares /= shares.sum()
    return [Weighted(near, float(share)) for near, share in zip(fits, shares, strict=True)]
