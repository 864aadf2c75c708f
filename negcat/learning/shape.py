"""A film's curve: the target's shape, bent by as much as the readings ask.

Sources
-------
Ramsay : J. O. Ramsay, X. Li, Curve registration, J. R. Stat. Soc. B 60 (1998): a shape fitted through a smooth
    bending of its axis.
Rasmussen : C. E. Rasmussen, C. K. I. Williams, Gaussian Processes for Machine Learning (2006), 2.2, 4.3:
    conditioning a process on points it must meet; its eigenfunctions.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from negcat.sensitometry import TargetCurve

__all__ = ["BENDS", "SMOOTH_BENDS", "Densities", "Shape", "shape_of"]

Array = NDArray[np.float64]

BENDS = 8
"""How many bendings a curve has: six eigenfunctions of the process, 99 % of its variance, then foot and shoulder."""

SMOOTH_BENDS = 6

_BEND_LENGTH = 2.5  # zones over which toe or shoulder takes shape
_HELD = (1.0, 8.0)  # what speed and contrast are defined by
_RANGE = (-1.0, 12.0)  # zones within which a curve bends; straight on with the target beyond
_GRID = (-12.0, 24.0, 0.01)
_LEAST_STEEPNESS = 0.15  # share of the target's slope that bending leaves, so that a curve always rises


@dataclass(frozen=True)
class Densities:
    """A bent curve at given places.

    Parameters
    ----------
    density : net density, shape (n,).
    slope : its derivative by the place, density per zone, shape (n,).
    by_bend : its derivative by each bend's size, shape (n, BENDS).
    """

    density: Array
    slope: Array
    by_bend: Array


class Shape:
    """The target's shape, and the ways in which a film's own may depart from it.

    Notes
    -----
    Net density = target(x + Σ aⱼ·φⱼ(x)), x the zone that speed and development lead to. The bending of the
    axis is a Gaussian process with a squared-exponential covariance (length 2.5 zones) held at 0 in zones I
    and VIII, because those two define speed and contrast; φⱼ are its first eigenfunctions scaled so that all aⱼ
    have one deviation, the process's before it is held, in zones (Rasmussen; Ramsay for bending an axis). Under
    zone I and over VIII the axis may run at another pace besides: the target's own shoulder begins there, and a
    film without one must not bend what lies below. Under zone 0 the target runs out exponentially, so that no
    density is negative.
    """

    def __init__(self, target: TargetCurve) -> None:
        low, high, step = _GRID
        grid = np.asarray(np.arange(round((high - low) / step) + 1) * step + low, np.float64)
        density = target.density(grid)
        first, least = target.zones[0], target.densities[0]
        if least > 0.0:
            slope = target.slope(first)
            foot = least * np.exp(np.minimum(grid - first, 0.0) * slope / least)
            density = np.where(grid < first, foot, density)
        self._low, self._step, self._last = low, step, len(grid) - 2
        self._density = density
        within = np.clip(grid, *_RANGE)
        first, last = _HELD
        self._bends = np.column_stack(
            [_eigenfunctions(within), np.minimum(within - first, 0.0), np.maximum(within - last, 0.0)]
        )

    def _place(self, x: Array) -> tuple[NDArray[np.intp], Array]:
        at = (x - self._low) / self._step
        index = np.clip(at.astype(np.intp), 0, self._last)
        return index, np.clip(at - index, 0.0, 1.0)

    def at(self, x: Array, bends: Array) -> Densities:
        """Read a curve.

        Parameters
        ----------
        x : places, zones after speed and development, shape (n,).
        bends : size of each bend at each place, shape (n, BENDS).

        Returns
        -------
        Densities, with derivatives.
        """
        index, into = self._place(x)
        below, above = self._bends[index], self._bends[index + 1]
        phi = below + (above - below) * into[:, None]
        steep = 1.0 + np.einsum("ij,ij->i", bends, above - below) / self._step
        bent = x + np.einsum("ij,ij->i", bends, phi)
        index, into = self._place(bent)
        start = self._density[index]
        rise = self._density[index + 1] - start
        by_place = rise / self._step
        return Densities(
            start + rise * into,
            np.maximum(by_place * np.maximum(steep, _LEAST_STEEPNESS), 1e-3),
            by_place[:, None] * phi,
        )


@lru_cache(maxsize=8)
def shape_of(target: TargetCurve) -> Shape:
    """Return the shape of a target, computed once."""
    return Shape(target)


def _covariance(x: Array, y: Array) -> Array:
    apart = (x[:, None] - y[None, :]) / _BEND_LENGTH
    return np.asarray(np.exp(-0.5 * apart * apart))


def _held_covariance(x: Array, y: Array) -> Array:
    """Return the process's covariance, given that it is 0 where it is held."""
    held = np.array(_HELD)
    inner = _covariance(held, held)
    return np.asarray(_covariance(x, y) - _covariance(x, held) @ np.linalg.solve(inner, _covariance(held, y)))


def _eigenfunctions(grid: Array) -> Array:
    nodes = np.arange(_RANGE[0], _RANGE[1] + 1e-9, 0.25)
    values, vectors = np.linalg.eigh(_held_covariance(nodes, nodes))
    values, vectors = values[::-1][:SMOOTH_BENDS], vectors[:, ::-1][:, :SMOOTH_BENDS]
    # The sign of an eigenvector is the library's whim: the largest swing goes up, everywhere the same.
    vectors = vectors * np.sign(vectors[np.abs(vectors).argmax(axis=0), np.arange(SMOOTH_BENDS)])
    return np.asarray(_held_covariance(grid, nodes) @ vectors / np.sqrt(values))
