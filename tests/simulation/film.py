"""Film: reciprocity, the characteristic curve by zones, fog, grain. Its formulas are its own, not negcat's."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator
from scipy.ndimage import gaussian_filter
from scipy.optimize import brentq

F = NDArray[np.float64]

#: net densities, zone 0 … X, of a film that prints straight on a normal paper by diffused light
NORMAL = (0.02, 0.10, 0.21, 0.35, 0.51, 0.70, 0.89, 1.09, 1.30, 1.46, 1.60)
_CURVE = PchipInterpolator(np.arange(11.0), NORMAL)
_TOE, _END = 0.055, 0.13  # density per zone beyond both ends

#: lux seconds at the film that make Zone V on a film of speed 1: K = 12.5, and 0.65 for the whole camera
ZONE_V_LUX_S = 0.65 * 12.5


def contrast_of(n: float) -> float:
    """How much development stretches the zones above I: N+n fills I … VIII with 7 − n stops."""
    return 7.0 / (7.0 - n)


def normal_density(zone: F | float) -> F:
    """Net density of the normal curve, straight on beyond its ends, never below 0, shouldering near 2.9."""
    z = np.asarray(zone, float)
    d = np.asarray(_CURVE(np.clip(z, 0, 10)))
    d = d + np.where(z > 10, (z - 10) * _END, 0)
    low = np.where(z < 0, NORMAL[0] * np.exp(np.minimum(z, 0) * _TOE / NORMAL[0]), d)
    high = np.where(low > 2.2, 2.2 + 0.7 * (1 - np.exp(-(low - 2.2) / 0.7)), low)
    return np.asarray(high)


@dataclass(frozen=True)
class Law:
    """Reciprocity: what time must be given for a metered one."""

    exponent: float | None = None
    table: tuple[tuple[float, float], ...] = ()

    def given(self, metered: float) -> float:
        if self.exponent is not None:
            return metered if metered <= 1 else float(metered**self.exponent)
        if self.table and metered > self.table[0][0]:
            m, g = np.log(np.array(self.table)).T
            if metered <= self.table[-1][0]:
                return float(np.exp(PchipInterpolator(m, g)(np.log(metered))))
            slope = (g[-1] - g[-2]) / (m[-1] - m[-2])
            return float(np.exp(g[-1] + slope * (np.log(metered) - m[-1])))
        return metered

    def effective(self, given: float) -> float:
        if given <= 1:
            return given
        return float(brentq(lambda m: self.given(m) - given, 1e-3, given))


@dataclass(frozen=True)
class Film:
    name: str
    box_speed: float
    speed: float  # true
    base_fog: float
    grain: float  # deviation of density at net 0.5 in a cell of 0.2 mm
    law: Law
    notches: tuple[tuple[float, str], ...]  # mm from the corner, shape

    def zone(self, lux_s: F) -> F:
        """Exposure zone by the film's true speed; lux seconds must already be free of reciprocity."""
        return np.asarray(5.0 + np.log2(np.maximum(lux_s, 1e-9) * self.speed / ZONE_V_LUX_S))

    def net(self, lux_s: F, n: float) -> F:
        z = self.zone(lux_s)
        c = contrast_of(n)
        return normal_density(np.where(z >= 1, 1 + c * (z - 1), z))


def grain(density: F, sigma: float, rng: np.random.Generator) -> F:
    """Density noise: clumped over about a cell, growing with the root of density, and a slow unevenness."""
    white = gaussian_filter(rng.standard_normal(density.shape), 0.55)
    white /= white.std()
    slow = gaussian_filter(rng.standard_normal(density.shape), 40)
    slow /= slow.std()
    return np.asarray(sigma * np.sqrt((density + 0.08) / 0.58) * white + 0.003 * slow)
