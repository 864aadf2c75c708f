"""Test scans of known truth: step tablets and sheets with their margins, as a scanner hands them over.

Everything is drawn in millimetres on the bed, turned by the wanted angle, grained, blurred, flared, toned and
quantised. Nothing here looks like a picture anyone took; it only has to be as hard to measure as one.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, map_coordinates

Floats = NDArray[np.float64]
MASK_DENSITY = 5.0


@dataclass(frozen=True)
class Bed:
    """A scanner: code = full · ((T + flare + veil · mean T) · exposure)^(1/gamma), blurred, noisy, quantised."""

    exposure: float = 0.88
    gamma: float = 1.0
    flare: float = 3e-4
    blur_px: float = 0.6
    noise: float = 6e-5
    shot: float = 2e-3
    bits: int = 16
    srgb: bool = False
    veil: float = 0.0
    halo: float = 0.0
    halo_mm: float = 6.0

    def codes(self, light: Floats, rng: np.random.Generator, px_per_mm: float = 8.0) -> NDArray[np.uint16]:
        seen = gaussian_filter(light, self.blur_px, mode="nearest")
        if self.halo:
            wide = gaussian_filter(light, self.halo_mm * px_per_mm, mode="nearest", truncate=2.5)
            seen = (1 - self.halo) * seen + self.halo * wide
        seen = (seen + self.flare + self.veil * float(light.mean())) * self.exposure
        seen = seen + rng.normal(0, 1, seen.shape) * np.sqrt(
            self.noise**2 + self.shot**2 * np.maximum(seen, 0)
        )
        return self.toned(seen)

    def toned(self, seen: Floats) -> NDArray[np.uint16]:
        seen = np.clip(seen, 0, 1)
        if self.srgb:
            toned = np.where(
                seen <= 0.0031308, 12.92 * seen, 1.055 * np.maximum(seen, 1e-9) ** (1 / 2.4) - 0.055
            )
        else:
            toned = seen ** (1 / self.gamma)
        if self.bits == 8:
            return (np.round(toned * 255) * 257).astype(np.uint16)
        return np.round(toned * 65535).astype(np.uint16)


def grain(density: Floats, px_per_mm: float, rng: np.random.Generator, granularity: float = 0.012) -> Floats:
    """Density with grain: granularity is the deviation through a 48 µm round aperture at density 1 (Selwyn)."""
    pixel = 1.0 / px_per_mm
    sd = granularity * np.sqrt(np.pi * 0.024**2) / pixel * np.sqrt(np.maximum(density, 0.02))
    return density + sd * rng.normal(size=density.shape)


def _window(
    x: float, y: float, reach: float, px_per_mm: float, shape: tuple[int, ...]
) -> tuple[slice, slice]:
    """The pixels within reach of a place in mm."""
    rows, columns = (
        slice(max(int((at - reach) * px_per_mm) - 1, 0), min(int((at + reach) * px_per_mm) + 2, size))
        for at, size in ((y, shape[0]), (x, shape[1]))
    )
    return rows, columns


@dataclass
class Tablet:
    """A step tablet on the bed, in mm; `hidden` are step numbers covered by `cover` (a density)."""

    densities: NDArray[np.float64]
    pitch_mm: float = 6.0
    width_mm: float = 12.0
    reversed: bool = False
    along: str = "x"
    tilt_deg: float = 0.0
    surround: str = "mask"
    border_mm: float = 0.0
    border_density: float = 0.05
    hidden: tuple[int, ...] = ()
    cover: float = MASK_DENSITY
    neighbour: bool = False
    dust: int = 0
    margin_mm: tuple[float, float] = (10.0, 10.0)
    crop_steps: tuple[float, float] = (0.0, 0.0)
    gap_mm: float = 0.0

    def draw(self, px_per_mm: float, rng: np.random.Generator) -> Floats:
        """Density (h, w) on the bed; nan-free, open glass is 0."""
        n = len(self.densities)
        length = n * self.pitch_mm
        ax, ay = self.margin_mm
        first, last = self.crop_steps
        long_mm = length + 2 * ax
        high_mm = self.width_mm + 2 * ay + (70.0 if self.neighbour else 0.0)
        px = px_per_mm * 2
        w, h = int(long_mm * px_per_mm) * 2, int(high_mm * px_per_mm) * 2
        y, x = np.mgrid[0:h, 0:w].astype(np.float64)
        x, y = (x + 0.5) / px, (y + 0.5) / px
        cx, cy = ax + length / 2, ay + self.width_mm / 2
        t = np.deg2rad(self.tilt_deg)
        u = (x - cx) * np.cos(t) + (y - cy) * np.sin(t) + length / 2
        v = -(x - cx) * np.sin(t) + (y - cy) * np.cos(t) + self.width_mm / 2
        back = 0.0 if self.surround == "glass" else MASK_DENSITY
        density = np.full((h, w), back)
        b = self.border_mm
        if b:
            rim = (u > -b) & (u < length + b) & (v > -b) & (v < self.width_mm + b)
            density[rim] = self.border_density
        on = (u >= 0) & (u < length) & (v >= 0) & (v < self.width_mm)
        index = np.clip((u / self.pitch_mm).astype(int), 0, n - 1)
        order = n - 1 - index if self.reversed else index
        values = np.asarray(self.densities)[order]
        if self.gap_mm:
            near = np.abs(u - np.round(u / self.pitch_mm) * self.pitch_mm) < self.gap_mm / 2
            values = np.where(near, self.border_density, values)
        density[on] = values[on]
        if self.hidden:
            covered = (
                np.isin(order, self.hidden) & (u > -3) & (u < length + 3) & (v > -3) & (v < self.width_mm + 3)
            )
            density[covered] = self.cover
        if self.neighbour:
            top = int((self.width_mm + 2 * ay) * px)
            picture = landscape((h - top, w), rng, low=0.25, high=1.9)
            edge = int(6 * px)
            density[top : h - edge, edge : w - edge] = 0.22
            inner = int(4 * px)
            density[top + inner : h - edge - inner, edge + inner : w - edge - inner] = picture[
                inner : h - top - edge - inner, edge + inner : w - edge - inner
            ]
        for _ in range(self.dust):
            dx, dy, r = rng.uniform(0, long_mm), rng.uniform(0, high_mm), rng.uniform(0.05, 0.35)
            near = _window(dx, dy, 2.5 * r, px, density.shape)
            speck = (x[near] - dx) ** 2 + ((y[near] - dy) * rng.uniform(0.4, 2.5)) ** 2 < r**2
            density[near][speck] += rng.uniform(0.2, 1.0)
        light = 10.0**-density
        light = light.reshape(h // 2, 2, w // 2, 2).mean(axis=(1, 3))
        a = int((ax + first * self.pitch_mm) * px_per_mm) if first else 0
        z = int((ax + length - last * self.pitch_mm) * px_per_mm) if last else light.shape[1]
        light = light[:, a:z]
        density = -np.log10(light)
        return density.T if self.along == "y" else density


def tablet(n: int = 21, first: float = 0.05, step: float = 0.15, error: float = 0.0, seed: int = 0) -> Floats:
    rng = np.random.default_rng(seed)
    return first + step * np.arange(n) + rng.normal(0, error, n)


def landscape(
    shape: tuple[int, int],
    rng: np.random.Generator,
    low: float,
    high: float,
    sky: float | None = None,
    sky_share: float = 0.4,
    sky_slope: float = 0.02,
) -> Floats:
    """A picture in density: hills of noise over blocks of wall; above a rough horizon an even sky, if any."""
    h, w = shape
    fy, fx = np.fft.fftfreq(h)[:, None] * h, np.fft.rfftfreq(w)[None, :] * w
    power = 1.0 / np.maximum(np.hypot(fy, fx), 1.0) ** 1.3
    noise = np.fft.irfft2(power * np.exp(2j * np.pi * rng.random(power.shape)), s=shape)
    noise = (noise - noise.mean()) / noise.std()
    picture = (low + high) / 2 + noise * (high - low) / 5
    for _ in range(int(rng.integers(6, 16))):
        bw, bh = int(w * rng.uniform(0.05, 0.35)), int(h * rng.uniform(0.05, 0.4))
        x0, y0 = int(rng.integers(-bw // 3, w)), int(rng.integers(-bh // 3, h))
        block = picture[max(y0, 0) : y0 + bh, max(x0, 0) : x0 + bw]
        block *= 0.35
        block += 0.65 * rng.uniform(low, high)
    picture = np.clip(picture, low, high)
    if sky is not None:
        y, x = np.mgrid[0:h, 0:w]
        wave = np.interp(np.arange(w), np.linspace(0, w, 12), rng.normal(0, 0.03, 12)) * h
        above = y < sky_share * h + wave[None, :]
        even = sky + sky_slope * (y / h) + 0.2 * sky_slope * x / w
        picture = np.where(above, even, picture)
    return picture


@dataclass
class Sheet:
    """A sheet of film on the bed, in mm; `rebate_mm` left, right, top, bottom, 0 where there is none."""

    size_mm: tuple[float, float] = (125.0, 100.0)
    rebate_mm: tuple[float, float, float, float] = (3.0, 3.0, 3.0, 3.0)
    base: float = 0.2
    low: float = 0.05
    high: float = 1.7
    sky: float | None = None
    sky_share: float = 0.4
    sky_slope: float = 0.02
    tilt_deg: float = 0.0
    surround: str = "glass"
    margin_mm: tuple[float, float, float, float] = (6.0, 6.0, 6.0, 6.0)
    shadow_mm: float = 0.2
    notch: bool = False
    clips: int = 0
    dust: int = 0
    granularity: float = 0.012
    mask_tilt_deg: float = 0.0
    mask_overlap_mm: float | None = None
    patches: tuple[float, ...] = field(default=())

    def draw(self, px_per_mm: float, rng: np.random.Generator) -> tuple[Floats, dict[str, object]]:
        """Density on the bed with its grain, and the truth: base, frame in fractions, patch centres in pixels.

        Margins are the bed shown beyond the film on each side; a negative one crops into the film.
        """
        fw, fh = self.size_mm
        ml, mr, mt, mb = self.margin_mm
        w, h = round((fw + ml + mr) * px_per_mm), round((fh + mt + mb) * px_per_mm)
        y, x = np.mgrid[0 : 2 * h, 0 : 2 * w].astype(np.float64)
        x, y = (x + 0.5) / (2 * px_per_mm), (y + 0.5) / (2 * px_per_mm)
        cx, cy = ml + fw / 2, mt + fh / 2
        t = np.deg2rad(self.tilt_deg)
        u = (x - cx) * np.cos(t) + (y - cy) * np.sin(t) + fw / 2
        v = -(x - cx) * np.sin(t) + (y - cy) * np.cos(t) + fh / 2
        rl, rr, rt, rb = self.rebate_mm
        grid = (int(fh * px_per_mm) + 1, int(fw * px_per_mm) + 1)
        sky = None if self.sky is None else self.base + self.sky
        picture = landscape(
            grid, rng, self.base + self.low, self.base + self.high, sky, self.sky_share, self.sky_slope
        )
        centres = []
        for k, value in enumerate(self.patches):
            pu, pv = fw * (0.2 + 0.6 * k / max(len(self.patches) - 1, 1)), fh * 0.6
            r = 3.0
            a, b = int((pv - r) * px_per_mm), int((pv + r) * px_per_mm)
            c, d = int((pu - r) * px_per_mm), int((pu + r) * px_per_mm)
            picture[a:b, c:d] = self.base + value
            ux, vy = pu - fw / 2, pv - fh / 2
            centres.append(
                (
                    (cx + ux * np.cos(t) - vy * np.sin(t)) * px_per_mm,
                    (cy + ux * np.sin(t) + vy * np.cos(t)) * px_per_mm,
                )
            )
        seen = map_coordinates(picture, [v * px_per_mm - 0.5, u * px_per_mm - 0.5], order=1, mode="nearest")
        # The rail's shadow edge: exposure falls off over shadow_mm, density from the picture's to the base's.
        s = max(self.shadow_mm, 1e-3)
        lit = np.ones_like(seen)
        for distance, rebate in ((u, rl), (fw - u, rr), (v, rt), (fh - v, rb)):
            if rebate > 0:
                lit *= np.clip((distance - rebate) / s + 0.5, 0, 1)
        density = self.base + (seen - self.base) * lit
        density = density.reshape(h, 2, w, 2).mean(axis=(1, 3))
        density = grain(density, px_per_mm, rng, self.granularity)
        film = (u >= 0) & (u < fw) & (v >= 0) & (v < fh)
        if self.notch:
            for k in range(3):
                film &= (u - (fw - 12 - 5 * k)) ** 2 + v**2 > 1.6**2
        density = np.repeat(np.repeat(density, 2, 0), 2, 1)
        back = 0.0 if self.surround == "glass" else MASK_DENSITY
        density = np.where(film, density, back)
        if self.mask_overlap_mm is not None:
            o, m = self.mask_overlap_mm, np.deg2rad(self.mask_tilt_deg)
            mu = (x - cx) * np.cos(m) + (y - cy) * np.sin(m) + fw / 2
            mv = -(x - cx) * np.sin(m) + (y - cy) * np.cos(m) + fh / 2
            density = np.where((mu > o) & (mu < fw - o) & (mv > o) & (mv < fh - o), density, MASK_DENSITY)
        for k in range(self.clips):
            at = fw * (0.3 + 0.4 * k)
            density = np.where((np.abs(u - at) < 2.5) & (v < 4.0) & (v > -30), MASK_DENSITY, density)
        for _ in range(self.dust):
            dx, dy, r = rng.uniform(0, w / px_per_mm), rng.uniform(0, h / px_per_mm), rng.uniform(0.04, 0.25)
            near = _window(dx, dy, r, 2 * px_per_mm, density.shape)
            density[near] += ((x[near] - dx) ** 2 + (y[near] - dy) ** 2 < r**2) * rng.uniform(0.2, 0.8)
        light = (10.0**-density).reshape(h, 2, w, 2).mean(axis=(1, 3))
        frame = (
            (ml + rl) / (fw + ml + mr),
            (mt + rt) / (fh + mt + mb),
            (ml + fw - rr) / (fw + ml + mr),
            (mt + fh - rb) / (fh + mt + mb),
        )
        return -np.log10(light), {"base": self.base, "frame": frame, "centres": centres}
