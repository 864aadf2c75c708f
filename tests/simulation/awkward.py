"""Awkward scans of known truth: sheets as they lie on a bed on a bad day, drawn otherwise than in `scanbench`.

The film is described by signed distances in millimetres and carries a label of what every pixel is, so that
a margin taken from a sky or from open glass is seen even where its density happens to be right.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, zoom

Floats = NDArray[np.float64]
GLASS, MASK, MARGIN, PICTURE, EDGE = range(5)
FORMATS_MM = ((125.4, 100.6), (176.2, 126.0), (252.0, 202.0), (178.8, 129.0), (118.6, 89.0))


@dataclass(frozen=True)
class Awkward:
    """What one scan is like; lengths in mm, sides in the order left, right, top, bottom."""

    film_mm: tuple[float, float]
    rebate_mm: tuple[float, float, float, float]
    beyond_mm: tuple[float, float, float, float]  # bed seen beyond the film; below 0 the film is cropped
    base: float
    subject: str  # day, night, sky, two skies, dark foot, band, glow
    sky: float
    tilt_deg: float
    surround: str  # glass, mask
    mask_over_mm: tuple[float, float, float, float] | None
    mask_tilt_deg: float
    border: str  # none, line, leak, print
    edge_shadow: float
    granularity: float
    dust: int
    hairs: int
    print_of_a_finger: bool
    rings: float
    lamp: float
    halo: float
    flare: float
    exposure: float
    gamma: float  # 0: the sRGB curve
    bits: int
    blur_px: float
    px_per_mm: float
    turned: int  # quarter turns
    mirrored: bool
    seed: int

    @property
    def margins_in_scan(self) -> int:
        """Edges on which at least 1.2 mm of margin can be seen."""
        cover = self.mask_over_mm or (0.0,) * 4
        askew = np.deg2rad(abs(self.mask_tilt_deg - self.tilt_deg)) if self.mask_over_mm else 0.0
        lean = np.deg2rad(abs(self.tilt_deg))
        seen = 0
        for k in range(4):
            along = self.film_mm[1 if k < 2 else 0]
            cropped = max(-self.beyond_mm[k], 0.0)
            room = self.rebate_mm[k] - max(cover[k] + askew * along / 2, cropped)
            if cropped or self.beyond_mm[k] <= lean * along / 2:
                room -= lean * along / 2
            seen += room >= 1.6
        return seen


def draw_case(seed: int, kind: str = "any") -> Awkward:
    """Throw the dice for one scan; `kind` ordinary, cropped (into the picture), bare (no margin) or any."""
    rng = np.random.default_rng([seed, 77])
    if kind == "any":
        kind = str(rng.choice(["ordinary", "ordinary", "hard", "hard", "cropped", "bare"]))
    film = FORMATS_MM[int(rng.integers(len(FORMATS_MM)))]
    if rng.random() < 0.4:
        film = film[::-1]
    rebate = rng.uniform(2.2, 6.5, 4) if kind == "ordinary" else rng.uniform(1.6, 8.0, 4)
    beyond = rng.uniform(2.0, 14.0, 4)
    if kind == "hard":
        drop = rng.permutation(4)[: int(rng.integers(0, 4))]
        rebate[drop] = 0.0
        for k in range(4):
            roll = rng.random()
            if roll < 0.25 and rebate[k]:
                beyond[k] = -rng.uniform(0.2, max(0.3, rebate[k] - 1.8))
            elif roll < 0.4:
                beyond[k] = -rebate[k] - rng.uniform(1.5, 8.0)
    elif kind == "cropped":
        beyond = -rebate - rng.uniform(1.5 + np.deg2rad(2.2) * max(film) / 2, 12.0, 4)
    surround = "glass" if rng.random() < 0.55 else "mask"
    cover = None
    if kind == "bare" and surround == "glass":
        rebate[:] = 0.0
    elif kind == "bare":  # all of it under the mask
        cover = tuple(float(x) for x in rebate + rng.uniform(0.8, 4.0, 4) + 0.021 * max(film) / 2)
    if kind == "hard" and surround == "mask" and rng.random() < 0.6:
        cover = tuple(float(x) for x in rng.uniform(-1.0, 3.0, 4))
    mild = kind == "ordinary"
    return Awkward(
        film_mm=film,
        rebate_mm=tuple(float(x) for x in rebate),  # type: ignore[arg-type]
        beyond_mm=tuple(float(x) for x in beyond),  # type: ignore[arg-type]
        base=float(rng.uniform(0.07, 0.4) if mild else rng.uniform(0.035, 0.45)),
        subject=str(
            rng.choice(["day", "day", "sky", "night", "two skies", "dark foot", "band", "glow", "posts"])
        ),
        sky=float(rng.choice([0.0, 0.02, 0.04, 0.08, 0.15]) if not mild else rng.choice([0.03, 0.06, 0.12])),
        tilt_deg=float(rng.uniform(-2.0, 2.0) if rng.random() < 0.7 and kind != "bare" else 0.0),
        surround=surround,
        mask_over_mm=cover,  # type: ignore[arg-type]
        mask_tilt_deg=float(rng.uniform(-1.2, 1.2)) if cover and kind == "hard" else 0.0,
        border="none" if mild else str(rng.choice(["none", "none", "line", "leak", "print"])),
        edge_shadow=float(rng.choice([0.0, 0.05, 0.2, 0.5])),
        granularity=float(rng.uniform(0.006, 0.025)),
        dust=int(rng.integers(0, 60 if mild else 250)),
        hairs=int(rng.integers(0, 2 if mild else 7)),
        print_of_a_finger=bool(rng.random() < (0.0 if mild else 0.25)),
        rings=float(rng.choice([0.0, 0.0, 0.006, 0.015])) if not mild else 0.0,
        lamp=float(rng.uniform(0.0, 0.01 if mild else 0.03)),
        halo=float(rng.uniform(0.0, 0.005 if mild else 0.02)),
        flare=float(10 ** rng.uniform(-4.5, -3.0)),
        exposure=float(rng.uniform(0.6, 0.96)),
        gamma=float(rng.choice([1.0, 1.0, 1.8, 2.2, 2.6, 0.0])),
        bits=8 if rng.random() < 0.15 else 16,
        blur_px=float(rng.uniform(0.4, 1.3)),
        px_per_mm=float(rng.uniform(3.9, 7.0) if max(film) < 200 else rng.uniform(3.2, 4.5)),
        turned=int(rng.integers(4)),
        mirrored=bool(rng.random() < 0.5),
        seed=seed,
    )


def tone(light: Floats, case: Awkward) -> Floats:
    """Codes of light that reaches the sensor, before lamp and noise, not yet rounded."""
    seen = np.clip((light + case.flare) * case.exposure, 0, 1)
    if case.gamma:
        return np.asarray(65535 * seen ** (1 / case.gamma))
    low = 12.92 * seen
    high = 1.055 * np.maximum(seen, 1e-9) ** (1 / 2.4) - 0.055
    return np.asarray(65535 * np.where(seen <= 0.0031308, low, high))


def _clouds(shape: tuple[int, int], cells: float, rng: np.random.Generator) -> Floats:
    """Smooth noise of some `cells` lumps a side, deviation about 1."""
    coarse = rng.normal(size=(max(int(cells * shape[0] / max(shape)), 2) + 3,) * 2)
    grown = zoom(coarse, (shape[0] / (coarse.shape[0] - 2), shape[1] / (coarse.shape[1] - 2)), order=1)
    return np.asarray(grown[: shape[0], : shape[1]])


def _subject(case: Awkward, fx: Floats, fy: Floats, rng: np.random.Generator) -> Floats:
    """Net density over fractions fx, fy of the picture frame: planes, straight builder's edges, clouds."""
    shape = fx.shape
    low, high = rng.uniform(0.04, 0.15), rng.uniform(1.1, 1.9)
    net = (low + high) / 2.4 + 0.22 * _clouds(shape, 5, rng) + 0.1 * _clouds(shape, 40, rng)
    for _ in range(int(rng.integers(5, 14))):
        x0, y0 = rng.uniform(-0.2, 0.9, 2)
        x1, y1 = x0 + rng.uniform(0.05, 0.6), y0 + rng.uniform(0.05, 0.6)
        slant = rng.normal(0, 0.03)
        wall = (fx + slant * fy > x0) & (fx + slant * fy < x1) & (fy > y0) & (fy < y1)
        net = np.where(wall, 0.3 * net + 0.7 * rng.uniform(low, high) + 0.1 * (fy - y0), net)
    if case.subject == "night":
        lit = gaussian_filter((rng.random(shape) < 2e-4).astype(float), 4) * 900
        net = np.minimum(lit, 1.6) + np.where(fy > 0.7, 0.25 + 0.15 * _clouds(shape, 20, rng), 0.0)
        net = np.where(fy > 0.7, net, np.minimum(lit, 1.6))
    net = np.clip(net, 0.0 if case.subject == "night" else low, high)
    even = case.sky + 0.012 * fy + 0.006 * fx
    if case.subject in ("sky", "two skies", "glow"):
        horizon = rng.uniform(0.05, 0.6) + 0.04 * np.interp(fx, np.linspace(0, 1, 9), rng.normal(0, 1, 9))
        if rng.random() < 0.3:
            horizon = rng.uniform(0.1, 0.6) + rng.normal(0, 0.01) * fx  # a sea horizon
        if case.subject == "glow":
            even = even + 0.8 * np.exp(-(((fx - 0.5) / 0.2) ** 2) - (fy / 0.2) ** 2)
        net = np.where(fy < horizon, even, net)
    if case.subject == "two skies":
        net = np.where(fx < 0.12 + 0.05 * fy, even + 0.01, net)
    if case.subject == "dark foot":
        foot = 0.85 + 0.03 * np.interp(fx, np.linspace(0, 1, 14), rng.normal(0, 1, 14))
        net = np.where(fy > foot, 0.0, net)
    if case.subject == "band":
        net = np.where(fx < rng.uniform(0.08, 0.2) + 0.02 * fy, case.sky + 0.0, net)
    if case.subject == "posts":
        # Nobody levels a camera to the tenth of a degree, nor does a post end just where the frame does.
        lean, first = rng.choice([-1, 1]) * rng.uniform(0.01, 0.03), rng.random()
        net = np.where(
            (np.mod(fx * 9 + 9 * lean * fy + first, 1) < 0.25) & (fy > 0.15), 0.03 + 0.02 * fy, net
        )
    return net


def scan(case: Awkward) -> tuple[NDArray[np.uint16], NDArray[np.uint8], Floats]:
    """Return codes (h, w), what each pixel is, and the noiseless net density of film there (nan off it)."""
    rng = np.random.default_rng([case.seed, 3])
    fw, fh = case.film_mm
    left, right, top, bottom = case.beyond_mm
    s = case.px_per_mm
    w, h = round((fw + left + right) * s), round((fh + top + bottom) * s)
    y, x = np.meshgrid((np.arange(h) + 0.5) / s, (np.arange(w) + 0.5) / s, indexing="ij")
    cx, cy = left + fw / 2, top + fh / 2
    t = np.deg2rad(case.tilt_deg)
    u = (x - cx) * np.cos(t) + (y - cy) * np.sin(t) + fw / 2
    v = -(x - cx) * np.sin(t) + (y - cy) * np.cos(t) + fh / 2
    film = np.minimum(np.minimum(u, fw - u), np.minimum(v, fh - v))  # mm inside the film
    rl, rr, rt, rb = case.rebate_mm
    inner = np.minimum(np.minimum(u - rl, fw - rr - u), np.minimum(v - rt, fh - rb - v))
    # A side without a rail is lit right to the cut edge.
    fx, fy = (u - rl) / (fw - rl - rr), (v - rt) / (fh - rt - rb)
    net = _subject(case, fx, fy, rng)
    soft = float(rng.uniform(0.1, 0.4))
    lit = np.clip(inner / soft + 0.5, 0, 1)
    open_side = [r == 0 for r in case.rebate_mm]
    far = np.stack([u - rl, fw - rr - u, v - rt, fh - rb - v])
    far[open_side] = 99.0
    lit = np.clip(far.min(axis=0) / soft + 0.5, 0, 1)
    net = net * lit
    at_edge = far.min(axis=0)
    if case.border == "line":  # a brightly lit rail: a dense line just inside the picture
        net = net + 0.5 * np.exp(-(((at_edge - 0.5) / 0.25) ** 2)) * (rng.random() + 0.2)
    if case.border == "leak":  # light crept in under the dark slide at one place
        net = net + 0.7 * np.exp(-(((u - fw * rng.random()) / 9.0) ** 2) - ((v - fh) / 7.0) ** 2)
    if case.border == "print":  # the maker's letters in the margin
        letters = (np.sin(u * 4.0) + np.sin(u * 2.3 + 1.0) > 0.7) & (np.abs(v - rt / 2) < 0.5)
        net = net + 0.9 * letters * (np.abs(u - fw * 0.4) < 14)
    density = case.base + net
    grain = case.granularity * np.sqrt(np.pi) * 0.024 * s
    density = density + grain * np.sqrt(np.maximum(density, 0.02)) * rng.normal(size=density.shape)
    if case.edge_shadow:
        density = density + case.edge_shadow * np.exp(-((film / 0.35) ** 2))
    if case.print_of_a_finger:
        px, py = fw * rng.random(), fh * rng.choice([0.03, 0.5, 0.97])
        ridge = 0.5 + 0.5 * np.sin(2 * np.pi * np.hypot(u - px, (v - py) * 0.8) / 0.5)
        density = density + 0.05 * ridge * (np.hypot((u - px) / 7, (v - py) / 10) < 1)
    if case.rings:
        density = density + case.rings * np.sin(np.hypot(u - fw * 0.3, v - fh * 0.7) ** 2 / 12)
    if case.surround == "glass":
        light = 10.0**-density
        around = np.ones_like(light)
        if case.edge_shadow:  # and its shadow beyond, where the sheet curls off the glass
            around = around * (1 - 0.4 * case.edge_shadow * np.exp(-((film / 0.8) ** 2)))
    else:
        light, around = 10.0**-density, np.full_like(density, 10.0**-4.5)
    on = np.clip(film * s + 0.5, 0, 1)
    label = np.where(film > 0, PICTURE, GLASS if case.surround == "glass" else MASK).astype(np.uint8)
    label[(film > 0) & (at_edge < 0)] = MARGIN
    label[(film > 0) & (np.abs(at_edge) <= soft) & (at_edge < 90)] = EDGE
    light = on * light + (1 - on) * around
    if case.mask_over_mm:
        ml, mr, mt, mb = case.mask_over_mm
        a = np.deg2rad(case.mask_tilt_deg)
        mu = (x - cx) * np.cos(a) + (y - cy) * np.sin(a) + fw / 2
        mv = -(x - cx) * np.sin(a) + (y - cy) * np.cos(a) + fh / 2
        window = np.minimum(np.minimum(mu - ml, fw - mr - mu), np.minimum(mv - mt, fh - mb - mv))
        seen = np.clip(window * s + 0.5, 0, 1)
        gap = (window > 0) & (film <= 0)
        light = np.where(gap, 1.0 - on + on * light, light)
        label[gap] = GLASS
        light = seen * light + (1 - seen) * 10.0**-4.5
        label[window <= 0] = MASK
    for _ in range(case.dust):
        px, py, r = rng.uniform(0, w), rng.uniform(0, h), rng.uniform(0.05, 0.4) * s
        a, b, c, d = (int(max(k, 0)) for k in (py - r - 1, py + r + 2, px - r - 1, px + r + 2))
        spot = (np.arange(a, min(b, h))[:, None] - py) ** 2 + (np.arange(c, min(d, w))[None] - px) ** 2
        light[a:b, c:d] *= 1 - rng.uniform(0.2, 0.9) * np.clip(r + 0.5 - np.sqrt(spot), 0, 1)
    for _ in range(case.hairs):
        k = np.linspace(0, rng.uniform(3, 15) * s, 400)
        bend = rng.uniform(0, 2 * np.pi) + np.cumsum(rng.normal(0, 0.03, k.size))
        hx = (rng.uniform(0, w) + np.cumsum(np.cos(bend)) * (k[1] - k[0])).astype(int)
        hy = (rng.uniform(0, h) + np.cumsum(np.sin(bend)) * (k[1] - k[0])).astype(int)
        keep = (hx >= 0) & (hx < w) & (hy >= 0) & (hy < h)
        light[hy[keep], hx[keep]] *= 0.6
    light = gaussian_filter(light, case.blur_px, mode="nearest")
    if case.halo:
        few = light[: h // 4 * 4, : w // 4 * 4].reshape(h // 4, 4, w // 4, 4).mean(axis=(1, 3))
        wide = gaussian_filter(few, 5.0 * s / 4, mode="nearest", truncate=2.5)
        wide = np.pad(np.kron(wide, np.ones((4, 4))), ((0, h - h // 4 * 4), (0, w - w // 4 * 4)), mode="edge")
        light = (1 - case.halo) * light + case.halo * wide
    if case.lamp:
        light = light * (1 - case.lamp * (((x / x.max() - 0.5) * 2) ** 2 - 0.4))
    noise = rng.normal(size=light.shape) * np.sqrt(6e-5**2 + 4e-6 * np.maximum(light, 0))
    codes = tone(light + noise, case)
    codes = np.round(codes / 257) * 257 if case.bits == 8 else np.round(codes)
    codes, net = codes.astype(np.uint16), np.where(film > 0, net, np.nan)
    turn = [np.rot90(plane, case.turned) for plane in (codes, label, net)]
    if case.mirrored:
        turn = [plane[:, ::-1] for plane in turn]
    return turn[0].copy(), turn[1].copy(), turn[2].copy()
