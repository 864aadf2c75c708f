"""Target densities: what a zone should measure on the negative.

A print target says for every zone of the print scale (0 to X) which net density (above base+fog) prints as
it. Between its points runs a monotone cubic, past them a straight line, so that it can be read both ways.

Sources
-------
Adams : A. Adams, The Negative (1981): zones I and VIII of a negative for diffused and for condenser light.
Fritsch : F. N. Fritsch, R. E. Carlson, Monotone piecewise cubic interpolation, SIAM J. Num. Anal. 17 (1980).
"""

from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from math import isfinite
from types import MappingProxyType
from typing import overload

import numpy as np
from numpy.typing import NDArray

from negcat.errors import QuantityError

__all__ = ["BUILT_IN_TARGETS", "DEFAULT_TARGET", "TargetCurve", "built_in_target"]

_LEAST_END_SLOPE = 0.05
"""A monotone cubic may end level, and can't be read backwards there: it keeps a twentieth of its chord."""


@dataclass(frozen=True)
class TargetCurve:
    """Zones and the net densities that belong to them, readable both ways.

    Parameters
    ----------
    name : what the curve is called: the target's or the film's name.
    zones : at least three zones, 0 to 10, rising.
    densities : net density of each, rising.

    Raises
    ------
    QuantityError
        For fewer than three points, or zones or densities that don't rise.

    Notes
    -----
    Monotone cubic through the points (Fritsch), straight on past both ends at the end slope.

    Examples
    --------
    >>> curve = TargetCurve("own", (1, 5, 8), (0.10, 0.72, 1.30))
    >>> round(curve.density(5.0), 3), round(curve.zone(0.72), 3)
    (0.72, 5.0)
    """

    name: str
    zones: tuple[float, ...]
    densities: tuple[float, ...]

    def __post_init__(self) -> None:
        zones = tuple(float(zone) for zone in self.zones)
        densities = tuple(float(density) for density in self.densities)
        if len(zones) != len(densities):
            raise QuantityError(
                f"The curve {self.name!r} has {len(zones)} zones and {len(densities)} densities; "
                "give one density for each zone."
            )
        if len(zones) < 3:
            raise QuantityError(f"The curve {self.name!r} has {len(zones)} points; give at least 3 zones.")
        if not all(isfinite(value) for value in (*zones, *densities)):
            raise QuantityError(f"The curve {self.name!r} holds something that is no number.")
        for (z0, d0), (z1, d1) in pairwise(zip(zones, densities, strict=True)):
            if z1 <= z0:
                raise QuantityError(f"The zones of {self.name!r} must rise; {z1:g} follows {z0:g}.")
            if d1 <= d0:
                raise QuantityError(
                    f"The densities of {self.name!r} must rise with the zone; "
                    f"zone {z1:g} has {d1:g}, not more than the {d0:g} of zone {z0:g}."
                )
        object.__setattr__(self, "zones", zones)
        object.__setattr__(self, "densities", densities)

    @cached_property
    def _slopes(self) -> tuple[float, ...]:
        """Density per zone at every point, by PCHIP."""
        # Imported here: finding sheets needs no curve, and scipy takes longer to load than they take to find.
        from scipy.interpolate import PchipInterpolator

        slopes = [
            float(slope) for slope in PchipInterpolator(self.zones, self.densities).derivative()(self.zones)
        ]
        chords = self._chords
        slopes[0] = max(slopes[0], _LEAST_END_SLOPE * chords[0])
        slopes[-1] = max(slopes[-1], _LEAST_END_SLOPE * chords[-1])
        return tuple(slopes)

    @property
    def _chords(self) -> list[float]:
        points = zip(self.zones, self.densities, strict=True)
        return [(d1 - d0) / (z1 - z0) for (z0, d0), (z1, d1) in pairwise(points)]

    @cached_property
    def _sections(self) -> tuple[tuple[float, float, float, float], ...]:
        """Density, slope, square and cubic part of the curve between every two points."""
        slopes = self._slopes
        sections = []
        for i, chord in enumerate(self._chords):
            width = self.zones[i + 1] - self.zones[i]
            sections.append(
                (
                    self.densities[i],
                    slopes[i],
                    (3.0 * chord - 2.0 * slopes[i] - slopes[i + 1]) / width,
                    (slopes[i] + slopes[i + 1] - 2.0 * chord) / width**2,
                )
            )
        return tuple(sections)

    @property
    def _first_slope(self) -> float:
        return self._slopes[0]

    @property
    def _last_slope(self) -> float:
        return self._slopes[-1]

    @overload
    def density(self, zone: float) -> float: ...
    @overload
    def density(self, zone: NDArray[np.float64]) -> NDArray[np.float64]: ...
    def density(self, zone: float | NDArray[np.float64]) -> float | NDArray[np.float64]:
        """Net density of a zone.

        Parameters
        ----------
        zone : one zone, or an array of them of any shape.

        Returns
        -------
        Density above base+fog, of the shape of `zone`.

        Examples
        --------
        >>> built_in_target("silver, diffusion").density(5.0)
        0.7
        """
        if isinstance(zone, np.ndarray):
            index, x = self._places(zone)
            a, b, c, d = self._coefficients()
            inside = a[index] + x * (b[index] + x * (c[index] + x * d[index]))
            below = self.densities[0] + (zone - self.zones[0]) * self._first_slope
            above = self.densities[-1] + (zone - self.zones[-1]) * self._last_slope
            return np.where(zone < self.zones[0], below, np.where(zone > self.zones[-1], above, inside))
        zones = self.zones
        if zone <= zones[0]:
            return self.densities[0] + (zone - zones[0]) * self._first_slope
        if zone >= zones[-1]:
            return self.densities[-1] + (zone - zones[-1]) * self._last_slope
        i = bisect_right(zones, zone) - 1
        into = zone - zones[i]
        a0, b0, c0, d0 = self._sections[i]
        return a0 + into * (b0 + into * (c0 + into * d0))

    @overload
    def slope(self, zone: float) -> float: ...
    @overload
    def slope(self, zone: NDArray[np.float64]) -> NDArray[np.float64]: ...
    def slope(self, zone: float | NDArray[np.float64]) -> float | NDArray[np.float64]:
        """Density per zone at a zone; positive.

        Parameters
        ----------
        zone : one zone, or an array of them of any shape.

        Returns
        -------
        Density per zone, of the shape of `zone`.

        Examples
        --------
        >>> round(built_in_target("silver, diffusion").slope(5.0), 3)
        0.19
        """
        if isinstance(zone, np.ndarray):
            index, x = self._places(zone)
            _, b, c, d = self._coefficients()
            inside = b[index] + x * (2.0 * c[index] + 3.0 * x * d[index])
            return np.where(
                zone < self.zones[0],
                self._first_slope,
                np.where(zone > self.zones[-1], self._last_slope, inside),
            )
        zones = self.zones
        if zone <= zones[0]:
            return self._first_slope
        if zone >= zones[-1]:
            return self._last_slope
        i = bisect_right(zones, zone) - 1
        into = zone - zones[i]
        _, b0, c0, d0 = self._sections[i]
        return b0 + into * (2.0 * c0 + 3.0 * into * d0)

    @overload
    def zone(self, net_density: float) -> float: ...
    @overload
    def zone(self, net_density: NDArray[np.float64]) -> NDArray[np.float64]: ...
    def zone(self, net_density: float | NDArray[np.float64]) -> float | NDArray[np.float64]:
        """Zone as which a net density prints: the curve read backwards.

        Parameters
        ----------
        net_density : density above base+fog, or an array of them of any shape.

        Returns
        -------
        Zone, of the shape of `net_density`; not held between 0 and 10. Exact to 1e-9 zone.

        Examples
        --------
        >>> curve = built_in_target("silver, diffusion")
        >>> round(curve.zone(1.30), 6), round(curve.zone(0.51), 6)
        (8.0, 4.0)
        """
        if isinstance(net_density, np.ndarray):
            return self._zones_of(net_density)
        densities = self.densities
        if net_density <= densities[0]:
            return self.zones[0] + (net_density - densities[0]) / self._first_slope
        if net_density >= densities[-1]:
            return self.zones[-1] + (net_density - densities[-1]) / self._last_slope
        i = bisect_right(densities, net_density) - 1
        a, b, c, d = self._sections[i]
        low, high = 0.0, self.zones[i + 1] - self.zones[i]
        x = high * (net_density - a) / (densities[i + 1] - a)
        # Newton's step, or halving wherever it would leave the bracket: the cubic rises, so this can't fail.
        for _ in range(60):
            excess = a + x * (b + x * (c + x * d)) - net_density
            if excess > 0.0:
                high = x
            else:
                low = x
            slope = b + x * (2.0 * c + 3.0 * x * d)
            step = excess / slope if slope > 0.0 else 0.0
            following = x - step
            if not low < following < high:
                following = 0.5 * (low + high)
            if abs(following - x) < 1e-11:
                x = following
                break
            x = following
        return self.zones[i] + x

    def _coefficients(self) -> NDArray[np.float64]:
        """Density, slope, square and cubic part of every section: shape (4, sections)."""
        return np.array(self._sections, dtype=np.float64).T

    def _places(self, zone: NDArray[np.float64]) -> tuple[NDArray[np.intp], NDArray[np.float64]]:
        """Section of every zone and the way into it."""
        knots = np.array(self.zones)
        index = np.clip(np.searchsorted(knots, zone, side="right") - 1, 0, len(knots) - 2)
        return index, zone - knots[index]

    def _zones_of(self, net_density: NDArray[np.float64]) -> NDArray[np.float64]:
        """Read an array backwards: halving first, so that Newton's last steps are safe."""
        knots, values = np.array(self.zones), np.array(self.densities)
        index = np.clip(np.searchsorted(values, net_density, side="right") - 1, 0, len(values) - 2)
        a, b, c, d = (part[index] for part in self._coefficients())
        low = np.zeros_like(a)
        high = (knots[1:] - knots[:-1])[index]
        for _ in range(16):
            middle = 0.5 * (low + high)
            over = a + middle * (b + middle * (c + middle * d)) > net_density
            high = np.where(over, middle, high)
            low = np.where(over, low, middle)
        x = 0.5 * (low + high)
        for _ in range(3):
            slope = np.maximum(b + x * (2.0 * c + 3.0 * x * d), 1e-12)
            x = np.clip(x - (a + x * (b + x * (c + x * d)) - net_density) / slope, low, high)
        below = knots[0] + (net_density - values[0]) / self._first_slope
        above = knots[-1] + (net_density - values[-1]) / self._last_slope
        above_or_inside = np.where(net_density > values[-1], above, knots[index] + x)
        return np.asarray(np.where(net_density < values[0], below, above_or_inside), dtype=np.float64)


_DIFFUSION = (0.02, 0.10, 0.21, 0.35, 0.51, 0.70, 0.89, 1.09, 1.30, 1.46, 1.60)


def _in_the_same_shape(name: str, one: float, five: float, eight: float) -> TargetCurve:
    """Bend the diffusion target so that it meets other densities at zones I, V and VIII.

    Its densities are mapped by straight lines from zero (no density stays no density) through the anchors
    and straight on past the last, rounded to 0.001; rising pieces of a rising curve keep it rising.
    """
    places = (0.0, _DIFFUSION[1], _DIFFUSION[5], _DIFFUSION[8])
    anchors = (0.0, one, five, eight)
    last = (anchors[3] - anchors[2]) / (places[3] - places[2])
    densities = tuple(
        round(
            float(np.interp(density, places, anchors))
            if density <= places[3]
            else eight + (density - places[3]) * last,
            3,
        )
        for density in _DIFFUSION
    )
    return TargetCurve(name, tuple(float(zone) for zone in range(11)), densities)


DEFAULT_TARGET = "silver, diffusion"
"""Name of the target used where a sheet names none."""

BUILT_IN_TARGETS: Mapping[str, tuple[TargetCurve, str]] = MappingProxyType(
    {
        "silver, diffusion": (
            TargetCurve("silver, diffusion", tuple(float(zone) for zone in range(11)), _DIFFUSION),
            (
                "Silver paper under diffused enlarger light: zones I and VIII after Adams, The Negative; "
                "the shape between from published measured zones."
            ),
        ),
        "silver, condenser": (
            _in_the_same_shape("silver, condenser", 0.10, 0.64, 1.20),
            (
                "Silver paper under condenser light: I 0.10 · V 0.64 · VIII 1.20 after Adams, The Negative; "
                "between them the shape of the diffusion target."
            ),
        ),
        "silver contact": (
            _in_the_same_shape("silver contact", 0.10, 0.72, 1.35),
            (
                "Silver paper in contact: I 0.10 · V 0.72 · VIII 1.35; "
                "between them the shape of the diffusion target."
            ),
        ),
        "long-scale": (
            _in_the_same_shape("long-scale", 0.12, 0.92, 1.75),
            (
                "Platinum, palladium and other long-scale papers in contact: I 0.12 · V 0.92 · VIII 1.75; "
                "between them the shape of the diffusion target."
            ),
        ),
    }
)
"""Name → (curve, the sentence that says where its figures are from)."""


def built_in_target(name: str = DEFAULT_TARGET) -> TargetCurve:
    """Look up a built-in print target by name.

    Raises
    ------
    QuantityError
        For a name that isn't built in; the message names those that are.

    Examples
    --------
    >>> built_in_target("long-scale").density(8.0)
    1.75
    """
    if name not in BUILT_IN_TARGETS:
        raise QuantityError(
            f"No print target is called {name!r}; built in are: {'; '.join(BUILT_IN_TARGETS)}."
        )
    return BUILT_IN_TARGETS[name][0]
