"""What the fits at several noise levels say together about any quantity.

Sources
-------
Gelman : A. Gelman et al., Bayesian Data Analysis (2013), 13: normal approximations and their mixtures.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from negcat.learning.noise import Weighted

__all__ = ["INTERVAL", "Summed", "draws", "moments", "quantiles", "sum_up"]

Array = NDArray[np.float64]

INTERVAL: Final = (0.05, 0.95)
"""Ends of every interval: 90 %."""


@dataclass(frozen=True)
class Summed:
    """Quantities linear in the unknowns, with all that isn't known in their intervals.

    Parameters
    ----------
    mean, sd, low, high : shape (q,).
    correlation : shape (q, q).
    """

    mean: Array
    sd: Array
    low: Array
    high: Array
    correlation: Array


def sum_up(points: Sequence[Weighted], combinations: Array) -> Summed:
    """Sum up combinations of the unknowns, and every batch's stops after them.

    Parameters
    ----------
    points : the fits and their shares.
    combinations : one row a quantity, shape (q, unknowns).

    Returns
    -------
    Summed, of q + batches quantities: the mixture's moments and quantiles.
    """
    shares = np.array([point.share for point in points])
    means, sds, total = [], [], np.zeros((0, 0))
    for point in points:
        fit = point.fit
        rows = np.vstack([combinations, fit.batch_gain[:, 0, :]])
        covariance = rows @ fit.covariance @ rows.T
        own = np.arange(len(combinations), len(rows))
        covariance[own, own] += fit.batch_own[:, 0, 0]
        mean = np.concatenate([combinations @ fit.state.unknowns, fit.state.batches[:, 0]])
        means.append(mean)
        sds.append(np.sqrt(np.maximum(covariance.diagonal(), 1e-18)))
        share = point.share * covariance
        total = total + share if total.size else share
    at = np.array(means)
    mean = shares @ at
    away = at - mean
    total = total + (away * shares[:, None]).T @ away
    sd = np.sqrt(np.maximum(total.diagonal(), 1e-18))
    low, high = (quantiles(shares, at, np.array(sds), share) for share in INTERVAL)
    return Summed(mean, sd, low, high, total / np.outer(sd, sd))


def quantiles(shares: Array, means: Array, sds: Array, share: float) -> Array:
    """Return a quantile of mixtures of normals, by halving.

    Parameters
    ----------
    shares : of the k components, shape (k,).
    means, sds : shape (k, q).
    share : of the distribution below the quantile.

    Examples
    --------
    >>> found = quantiles(np.array([1.0]), np.array([[2.0]]), np.array([[3.0]]), 0.95)
    >>> round(float(found[0]), 3)
    6.935
    """
    low = (means - 9.0 * sds).min(axis=0)
    high = (means + 9.0 * sds).max(axis=0)
    for _ in range(50):
        middle = 0.5 * (low + high)
        under = shares @ ndtr((middle - means) / sds) < share
        low, high = np.where(under, middle, low), np.where(under, high, middle)
    return np.asarray(0.5 * (low + high))


def moments(points: Sequence[Weighted]) -> tuple[Array, Array]:
    """Return mean and covariance of the unknowns over all the fits, shapes (p,) and (p, p)."""
    shares = np.array([point.share for point in points])
    means = np.array([point.fit.state.unknowns for point in points])
    mean = shares @ means
    away = means - mean
    within = sum(point.share * point.fit.covariance for point in points)
    return mean, np.asarray(within + (away * shares[:, None]).T @ away)


def draws(points: Sequence[Weighted], columns: Sequence[int]) -> Array:
    """Draw a few of the unknowns together, always the same draws.

    Parameters
    ----------
    points : the fits.
    columns : which unknowns.

    Returns
    -------
    Shape (draws, columns), some 4000, in pairs that mirror each other so that means are exact.
    """
    chance = np.random.default_rng(7)
    found = []
    for point in points:
        pairs = round(_DRAWS / 2 * point.share)
        if pairs:
            covariance = point.fit.covariance[np.ix_(columns, columns)]
            values, vectors = np.linalg.eigh(covariance)
            root = vectors * np.sqrt(np.maximum(values, 0.0))
            away = chance.standard_normal((pairs, len(columns))) @ root.T
            mean = point.fit.state.unknowns[list(columns)]
            found += [mean + away, mean - away]
    return np.vstack(found)


_DRAWS = 4000
