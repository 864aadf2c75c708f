"""What stands before the camera and what light falls on it: weather, ground, plants, the camera itself."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from . import surfaces
from .solids import F32, A, Solid, heading_vector


@dataclass
class Weather:
    """Light. Luminances in cd/m², illuminances in lux."""

    sun_azimuth: float = 220.0
    sun_elevation: float = 38.0
    sun_lux: float = 82000.0  # on a surface square to the sun
    zenith: float = 2300.0
    horizon: float = 5800.0
    cloud_cover: float = 0.35  # 0 clear … 1 closed
    cloud_light: float = 13000.0
    cloud_seed: int = 1
    cloud_size: float = 1.0
    haze_per_m: float = 0.0006
    air: float | None = None
    blue: float = 0.8  # how blue the sky's own light is: what a yellow filter holds back
    soft: float = 0.27  # half-angle of the light's source in degrees: a veiled sun is wider


@dataclass
class Ground:
    """Heights z(x, y) in m, with the names of the materials chosen by `kind(x, y, z, slope)`."""

    height: Callable[[A, A], A]
    kinds: tuple[str, ...] = ("grass",)
    kind: Callable[[A, A, A, A], NDArray[np.int16]] | None = None
    reach: float = 700.0
    nearest: float = 0.6
    span: float = 64.0  # half the side of the square about the origin within which the ground throws shadows

    def grid(self) -> A:
        """Heights on a fine grid of the square, made once for each ground."""
        key = (self.height, self.span)
        if key not in _GRIDS:
            q = np.linspace(-self.span, self.span, _GRID_CELLS, dtype=F32)
            _GRIDS[key] = np.concatenate([self.height(*np.meshgrid(q, part)) for part in np.split(q, 8)])
        return _GRIDS[key]

    def about(self, x: A, y: A) -> A:
        """Heights read from that grid (clipped to it)."""
        k = F32((_GRID_CELLS - 1) / (2 * self.span))
        lim = _GRID_CELLS - 1.01
        return surfaces.gather(
            self.grid(),
            np.clip((y + F32(self.span)) * k, 0, lim),
            np.clip((x + F32(self.span)) * k, 0, lim),
        )


_GRIDS: dict[tuple[Callable[[A, A], A], float], A] = {}
_GRID_CELLS = 1600


@dataclass
class Blades:
    """Many small things drawn as dots, or as lines from dot to dot: reeds, grass, leaves. One row a dot."""

    at: A  # (n, 3)
    width: A  # m
    tone: A  # reflectance
    normal: A  # (n, 3)
    shade: A  # 0 … 1, how much of sky and sun gets there
    linked: NDArray[np.bool_]  # drawn on to the next dot
    lot: A  # 0 … 1, the same along one stem: which stems go first where they are too thin to draw

    @staticmethod
    def join(parts: list[Blades]) -> Blades:
        return Blades(*(np.concatenate([getattr(p, k) for p in parts]) for k in Blades.__annotations__))


@dataclass
class Scene:
    solids: list[Solid]
    ground: Ground | None
    blades: Blades | None = None
    water: float | None = None  # level
    ripple: float = 0.004  # slope
    ripple_size: float = 0.6
    water_tone: float = 0.05
    canopies: list[tuple[NDArray[np.float64], float, float]] = field(default_factory=list)  # shade of trees


@dataclass
class Camera:
    """A level view camera: position in m, heading in degrees from north, film frame in mm."""

    at: tuple[float, float, float]
    heading: float
    focal_mm: float
    frame_mm: tuple[float, float]  # width, height of the picture
    rise_mm: float = 0.0  # front rise: what is seen moves up
    shift_mm: float = 0.0
    bellows_mm: float | None = None

    def axes(self):
        f = heading_vector(self.heading)
        r = np.array([f[1], -f[0], 0.0])
        return f, r

    def grid(self, nx: int, ny: int):
        """Tangents a (nx) to the right and b (ny, top first) upwards."""
        v = self.bellows_mm or self.focal_mm
        w, h = self.frame_mm
        a = ((np.arange(nx) + 0.5) / nx - 0.5) * w + self.shift_mm
        b = (0.5 - (np.arange(ny) + 0.5) / ny) * h + self.rise_mm
        return (a / v).astype(F32), (b / v).astype(F32)
