"""A flat-bed scanner: a sheet of film on its glass, its lamp, lens, sensor and converter, and its files."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import tifffile
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, map_coordinates

F = NDArray[np.float64]


@dataclass(frozen=True)
class Scanner:
    make: str = "Varrow"
    model: str = "Flatbed A4 T"
    software: str = "Varrow Capture 3.2"
    dpi: float = 113.0
    white: float = 60500.0  # code of open glass
    floor: float = 26.0  # code without light
    flare: float = 0.00012  # share of the whole picture's light that reaches every cell
    blur_px: float = 0.55
    electrons: float = 42000.0
    read_electrons: float = 7.0
    adc_bits: int = 14
    gamma: float = 1.0

    def codes(self, transmittance: F, rng: np.random.Generator) -> NDArray[np.uint16]:
        """16-bit codes of a map of transmittances."""
        t = gaussian_filter(transmittance, self.blur_px)
        t = t + self.flare * float(t.mean())
        e = self.electrons * t
        e = e + np.sqrt(np.maximum(e, 0)) * rng.standard_normal(t.shape)
        e = e + self.read_electrons * rng.standard_normal(t.shape)
        code = self.floor + self.white * e / self.electrons
        step = 2 ** (16 - self.adc_bits)
        code = np.clip(np.round(code / step) * step, 0, 65535)
        if self.gamma != 1.0:
            code = np.round(65535 * (code / 65535) ** (1 / self.gamma))
        return code.astype(np.uint16)


@dataclass(frozen=True)
class Lay:
    """How a sheet lies on the glass. Millimetres; the sheet is upright, x to the right, y down."""

    sheet_mm: tuple[float, float] = (101.0, 127.0)
    frame_mm: tuple[float, float] = (92.0, 118.0)
    frame_shift_mm: tuple[float, float] = (0.0, 0.0)
    margin_mm: float = 3.0
    tilt_deg: float = 0.4
    offset_mm: tuple[float, float] = (0.0, 0.0)
    surround: str = "glass"  # or "mask"
    crop_mm: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)  # cut from left, top, right, bottom
    notches: tuple[tuple[float, str], ...] = ()
    notch_corner: str = "top-left"


def scan_size(lay: Lay, dpi: float) -> tuple[int, int]:
    """(height, width) in pixels before cropping is counted off."""
    s = dpi / 25.4
    w = lay.sheet_mm[0] + 2 * lay.margin_mm - lay.crop_mm[0] - lay.crop_mm[2]
    h = lay.sheet_mm[1] + 2 * lay.margin_mm - lay.crop_mm[1] - lay.crop_mm[3]
    return round(h * s), round(w * s)


def film_coordinates(lay: Lay, dpi: float) -> tuple[F, F]:
    """Of each pixel of the scan: x, y on the film in mm from the sheet's middle."""
    h, w = scan_size(lay, dpi)
    s = 25.4 / dpi
    x = (np.arange(w) + 0.5) * s + lay.crop_mm[0] - (lay.sheet_mm[0] / 2 + lay.margin_mm) - lay.offset_mm[0]
    y = (np.arange(h) + 0.5) * s + lay.crop_mm[1] - (lay.sheet_mm[1] / 2 + lay.margin_mm) - lay.offset_mm[1]
    a = np.radians(lay.tilt_deg)
    return (
        np.cos(a) * x[None] + np.sin(a) * y[:, None],
        -np.sin(a) * x[None] + np.cos(a) * y[:, None],
    )


def scan_fraction(lay: Lay, dpi: float, u: float, v: float) -> tuple[float, float]:
    """Fractions of the scan of a point given as fractions of the picture frame."""
    fx = (u - 0.5) * lay.frame_mm[0] + lay.frame_shift_mm[0]
    fy = (v - 0.5) * lay.frame_mm[1] + lay.frame_shift_mm[1]
    a = np.radians(lay.tilt_deg)
    x = np.cos(a) * fx - np.sin(a) * fy + lay.offset_mm[0]
    y = np.sin(a) * fx + np.cos(a) * fy + lay.offset_mm[1]
    h, w = scan_size(lay, dpi)
    s = 25.4 / dpi
    return (
        float((x + lay.sheet_mm[0] / 2 + lay.margin_mm - lay.crop_mm[0]) / (w * s)),
        float((y + lay.sheet_mm[1] / 2 + lay.margin_mm - lay.crop_mm[1]) / (h * s)),
    )


def _rounded(x: F, y: F, w: float, h: float, r: float) -> F:
    """Signed distance (mm, negative inside) to a rectangle with rounded corners."""
    qx, qy = np.abs(x) - w / 2 + r, np.abs(y) - h / 2 + r
    return np.asarray(np.hypot(np.maximum(qx, 0), np.maximum(qy, 0)) + np.minimum(np.maximum(qx, qy), 0) - r)


def _notched(x: F, y: F, lay: Lay) -> F:
    d = _rounded(x, y, *lay.sheet_mm, 1.6)
    w, h = lay.sheet_mm
    for at, shape in lay.notches:
        # along the short side, counted from the corner named
        if w <= h:
            sx, sy = (-1, -1) if lay.notch_corner == "top-left" else (1, 1)
            along = (x * sx) - (w / 2 - at)
            out = y * sy - h / 2
        else:
            sx, sy = (1, -1) if lay.notch_corner == "top-left" else (-1, 1)
            along = (y * sy) - (h / 2 - at)
            out = x * sx - w / 2
        if shape == "round":
            cut = np.hypot(along, out) - 1.25
        elif shape == "vee":
            cut = (np.abs(along) + np.abs(out) * 0.75 - 1.35) * 0.8
        else:  # square
            cut = np.maximum(np.abs(along) - 1.3, np.abs(out) - 1.1)
        d = np.maximum(d, -cut)
    return d


def lay_on_glass(
    net: F,
    base_fog: float,
    lay: Lay,
    dpi: float,
    grain_sigma: float,
    rng: np.random.Generator,
    grain_maker,
) -> tuple[F, F]:
    """Transmittance of every pixel, and the noiseless density there, of a picture's net densities."""
    x, y = film_coordinates(lay, dpi)
    px = 25.4 / dpi
    ny, nx = net.shape
    u = (x - lay.frame_shift_mm[0]) / lay.frame_mm[0] + 0.5
    v = (y - lay.frame_shift_mm[1]) / lay.frame_mm[1] + 0.5
    picture = map_coordinates(net, [v * ny - 0.5, u * nx - 0.5], order=1, mode="nearest")
    edge = _rounded(x - lay.frame_shift_mm[0], y - lay.frame_shift_mm[1], *lay.frame_mm, 0.7)
    inside = np.clip(0.5 - edge / 0.22, 0, 1)  # the rails stand a hair off the film: a soft edge
    net_here = picture * inside
    density = base_fog + net_here
    film = _notched(x, y, lay)
    on = np.clip(0.5 - film / px, 0, 1)
    rim = 0.10 * np.exp(-((film / 0.18) ** 2))  # the cut edge scatters
    noisy = density + grain_maker(density, grain_sigma, rng) + rim
    around = 1.0 if lay.surround == "glass" else 0.0006
    t = on * 10.0**-noisy + (1 - on) * around
    return np.asarray(t), np.asarray(density)


def write_tiff(
    path: Path,
    codes: NDArray[np.uint16] | NDArray[np.uint8],
    scanner: Scanner,
    when: str,
    description: str,
    orientation: int = 1,
) -> None:
    """Deflate with predictor and the tags a scanner writes. `codes` are upright; `orientation` 1 or 6."""
    data = codes if orientation == 1 else np.rot90(codes, 1)
    tags = [
        (271, "s", 0, scanner.make, True),
        (272, "s", 0, scanner.model, True),
        (274, "H", 1, orientation, True),
    ]
    tifffile.imwrite(
        path,
        np.ascontiguousarray(data),
        photometric="minisblack",
        compression="zlib",
        compressionargs={"level": 9},
        predictor=2,
        rowsperstrip=64,
        resolution=(scanner.dpi, scanner.dpi),
        resolutionunit="INCH",
        software=scanner.software,
        datetime=when,
        description=description,
        metadata=None,
        extratags=tags,
    )


def tablet_scan(
    scanner: Scanner, densities, rng: np.random.Generator, step_mm=(9.0, 5.2), surround: str = "mask"
) -> NDArray[np.uint16]:
    """A step tablet lying along the glass, lightest step first, in a black mask or on open glass."""
    s = scanner.dpi / 25.4
    n = len(densities)
    w, h = step_mm[1] * n + 14, step_mm[0] + 16
    x, y = np.meshgrid((np.arange(round(w * s)) + 0.5) / s, (np.arange(round(h * s)) + 0.5) / s)
    a = np.radians(0.3)
    xr = np.cos(a) * (x - w / 2) + np.sin(a) * (y - h / 2) + w / 2
    yr = -np.sin(a) * (x - w / 2) + np.cos(a) * (y - h / 2) + h / 2
    k = (xr - 7) / step_mm[1]
    inside = np.clip(0.5 - (np.abs(yr - h / 2) - step_mm[0] / 2) * s, 0, 1) * np.clip(
        k * step_mm[1] * s + 0.5, 0, 1
    )
    inside *= np.clip((n - k) * step_mm[1] * s + 0.5, 0, 1)
    d = np.array(densities)[np.clip(k.astype(int), 0, n - 1)]
    d = d + 0.004 * np.sqrt((d + 0.05) / 0.5) * gaussian_filter(rng.standard_normal(d.shape), 0.6) / 0.45
    around = 0.0005 if surround == "mask" else 1.0
    return scanner.codes(inside * 10.0**-d + (1 - inside) * around, rng)


def film_strip(
    scanner: Scanner,
    densities: Sequence[float] | F,
    fog: float,
    grain_of: Callable[[F], F],
    step_mm: tuple[float, float] = (9.0, 5.2),
    beside_mm: float = 9.0,
    glass_mm: float = 3.0,
) -> F:
    """Transmittance of a strip of film on open glass that a tablet was exposed on; beside the tablet it was covered."""
    s = scanner.dpi / 25.4
    n = len(densities)
    long, high = step_mm[1] * n + 2 * beside_mm, step_mm[0] + 2 * beside_mm
    w, h = long + 2 * glass_mm, high + 2 * glass_mm
    x, y = np.meshgrid(
        (np.arange(round(w * s)) + 0.5) / s - w / 2, (np.arange(round(h * s)) + 0.5) / s - h / 2
    )
    a = np.radians(-0.4)
    x, y = np.cos(a) * x + np.sin(a) * y, -np.sin(a) * x + np.cos(a) * y
    along = x / step_mm[1] + n / 2
    step = np.asarray(densities)[np.clip(along.astype(int), 0, n - 1)]
    exposed = np.clip(0.5 - _rounded(x, y, step_mm[1] * n, step_mm[0], 0.1) * s, 0, 1)
    density = fog + (step - fog) * exposed
    edge = _rounded(x, y, long, high, 1.0)
    on = np.clip(0.5 - edge * s, 0, 1)
    rim = 0.10 * np.exp(-((edge / 0.18) ** 2))
    return np.asarray(on * 10.0 ** -(density + grain_of(density) + rim) + (1 - on))
