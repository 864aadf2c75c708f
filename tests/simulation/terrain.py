"""Noise as landscape uses it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from . import surfaces

A = NDArray[np.float32]
F32 = np.float32


def fbm(x: A, y: A, size: float, seed: int = 0) -> A:
    k = 30 / size
    return surfaces.sample(surfaces.tile("rough"), x * F32(k) + seed * 97, y * F32(k) + seed * 53)


def lumps(x: A, y: A, size: float, seed: int = 0) -> A:
    k = 3.2 / size
    return surfaces.sample(surfaces.tile("soft"), x * F32(k) + seed * 97, y * F32(k) + seed * 53)


def smooth(x, lo, hi):
    w = np.clip((x - F32(lo)) / F32(hi - lo), 0, 1)
    return w * w * (3 - 2 * w)
