"""What things are made of: reflectance, relief and gloss of brick, tile, timber, mud, clay, iron, water's edge.

Each material is a function of a Patch (surface co-ordinates u along, v up, in metres; the size of a ray's
footprint; a seed) and fades its own detail out where a ray covers more than the detail, as a lens would.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter
from scipy.spatial import cKDTree

A = NDArray[np.float32]
F32 = np.float32


def gather(image: A, y: A, x: A) -> A:
    """Bilinear reading of an image at rows y, columns x (inside it)."""
    _h, w = image.shape
    j, i = y.astype(np.int32), x.astype(np.int32)
    fy, fx = (y - j).astype(F32), (x - i).astype(F32)
    flat = image.ravel()
    k = j * w + i
    top = flat[k] * (1 - fx) + flat[k + 1] * fx
    low = flat[k + w] * (1 - fx) + flat[k + w + 1] * fx
    return top * (1 - fy) + low * fy


def sample(tile_: A, x: A, y: A) -> A:
    """Bilinear reading of an endless tile (sides a power of two, one row and column repeated)."""
    n = tile_.shape[0] - 1
    fx, fy = np.floor(x), np.floor(y)
    i, j = fx.astype(np.int64) & (n - 1), fy.astype(np.int64) & (n - 1)
    wx, wy = (x - fx).astype(F32), (y - fy).astype(F32)
    flat = tile_.ravel()
    k = j * (n + 1) + i
    top = flat[k] * (1 - wx) + flat[k + 1] * wx
    low = flat[k + n + 1] * (1 - wx) + flat[k + n + 2] * wx
    return top * (1 - wy) + low * wy


@cache
def tile(kind: str, seed: int = 0) -> A:
    """A seamless tile of noise, mean 0 and deviation 1 (`cells`: distance between cracks, 0 … 1)."""
    rng = np.random.default_rng([seed, sum(map(ord, kind))])
    n = 512
    if kind == "soft":
        z = gaussian_filter(rng.standard_normal((n, n)), 1.3, mode="wrap")
    elif kind == "cloud":
        f = np.hypot(np.fft.fftfreq(n)[:, None], np.fft.fftfreq(n)[None]) * n
        amp = np.where(f > 0, np.maximum(f, 1.5) ** -1.75, 0) * np.exp(-((f / 170) ** 2))
        z = np.fft.ifft2(np.fft.fft2(rng.standard_normal((n, n))) * amp).real
    elif kind == "rough":
        f = np.hypot(np.fft.fftfreq(n)[:, None], np.fft.fftfreq(n)[None]) * n
        amp = np.where(f > 0, np.maximum(f, 6.0) ** -1.2, 0) * np.exp(-((f / 200) ** 2))
        z = np.fft.ifft2(np.fft.fft2(rng.standard_normal((n, n))) * amp).real
    elif kind in ("cells", "plates"):
        m = 15
        g = np.stack(np.meshgrid(np.arange(m), np.arange(m)), -1).reshape(-1, 2)
        p = (g + 0.5 + rng.uniform(-0.42, 0.42, g.shape)) / m
        tree = cKDTree(p, boxsize=1.0)
        q = np.stack(np.meshgrid(np.arange(n), np.arange(n)), -1).reshape(-1, 2) / n
        warp = [
            np.roll(gaussian_filter(rng.standard_normal((n, n)), s, mode="wrap"), 0) * s * k
            for s, k in ((9, 0.011), (9, 0.011), (2.5, 0.006), (2.5, 0.006))
        ]
        q = q + np.stack([(warp[0] + warp[2]).ravel(), (warp[1] + warp[3]).ravel()], 1)
        dist, who = tree.query(q % 1.0, k=2)
        if kind == "cells":
            z = ((dist[:, 1] - dist[:, 0]) * m).reshape(n, n)
            out = z.astype(F32)
            return np.pad(out, ((0, 1), (0, 1)), mode="wrap")
        z = rng.standard_normal(len(p))[who[:, 0]].reshape(n, n)
    else:
        raise KeyError(kind)
    z = (z - z.mean()) / z.std()
    return np.pad(z.astype(F32), ((0, 1), (0, 1)), mode="wrap")


_RANDOM = np.random.default_rng(77).random(8192).astype(F32)


def chance(i: A, j: A, seed: A | float = 0.0) -> A:
    """An even random number 0 … 1 for each whole (i, j)."""
    k = i.astype(np.int64) * 157 + j.astype(np.int64) * 911 + np.asarray(seed * 1013).astype(np.int64)
    return _RANDOM[(k ^ (k >> 5)) & 8191]


def noise(p: Patch, size: float, kind: str = "soft", stretch: float = 1.0, seed: int = 0) -> A:
    """Noise whose lumps are about `size` m along v and size·stretch along u, faded where too fine to see."""
    fade = np.clip(F32(1.6) - p.foot / F32(size * 0.5), 0, 1)
    s = p.seed * 37 + seed * 11.7
    if kind == "soft":
        k = 3.2 / size
        return sample(tile(kind), p.u * F32(k / stretch) + s, p.v * F32(k) + s * F32(1.7)) * fade
    k = 30 / size
    return sample(tile(kind), p.u * F32(k / stretch) + s, p.v * F32(k) + s * F32(1.7))


@dataclass
class Patch:
    u: A
    v: A
    foot: A
    seed: A
    at: A
    normal: A


@dataclass
class Finish:
    tone: A
    slope: tuple[A, A] | None = None
    gloss: A | float = 0.0
    cavity: A | float = 1.0


def _relief(p: Patch, height: Callable[[Patch], A], e: float, size: float) -> tuple[A, A]:
    """Slope of a relief of features about `size` m, faded with the footprint."""
    h0 = height(p)
    hu = height(Patch(p.u + F32(e), p.v, p.foot, p.seed, p.at, p.normal))
    hv = height(Patch(p.u, p.v + F32(e), p.foot, p.seed, p.at, p.normal))
    fade = np.clip(F32(1.5) - p.foot / F32(size), 0, 1)
    return (hu - h0) / F32(e) * fade, (hv - h0) / F32(e) * fade


def _edge(x: A, width: A | float) -> A:
    """0 in the joint at whole x, 1 away from it; x in joints, width as a share."""
    d = np.abs(x - np.round(x))
    return np.clip(d / width, 0, 1)


def _courses(p: Patch, bond: str = "english"):
    course = F32(0.077)
    row = np.floor(p.v / course)
    fv = p.v / course
    header = (row % 2 == 0) if bond == "english" else (row % 4 == 0)
    length = np.where(header, F32(0.115), F32(0.23))
    shift = np.where(header, F32(0.25), F32(0.0)) + np.where(row % 4 == 1, F32(0.5), F32(0))
    fu = p.u / length + shift
    col = np.floor(fu)
    return row, col, fv, fu, length


def _brick(p: Patch, base=0.17, spread=0.055, mortar=0.27, worn=0.3, soot=0.0, bond="english") -> Finish:
    row, col, _fv, _fu, _length = _courses(p, bond)
    fade = np.clip(F32(1.5) - p.foot / F32(0.075), 0, 1)

    def joint(q: Patch) -> A:
        _, _, gv, gu, ln = _courses(q, bond)
        wob = noise(q, 0.07, seed=3) * F32(0.022)
        return np.minimum(_edge(gv + wob, F32(0.13)), _edge(gu + wob, F32(0.010) / ln))

    j = joint(p)
    who = chance(row, col, p.seed + 3)
    each = (who - F32(0.5)) * 2
    tone = base + spread * each + np.where(chance(col, row, p.seed + 8) > 0.94, F32(-0.6 * base), 0)
    tone = tone * (1 + F32(0.13) * noise(p, 0.02, seed=1) + F32(0.10) * noise(p, 0.008, seed=6))
    blotch = noise(p, 2.4, "rough", seed=2)
    lime = np.clip(noise(p, 0.9, "rough", seed=5) - 1.2, 0, 1) * worn
    tone = tone * (1 + F32(0.16) * blotch) * (1 - soot) + F32(0.16) * lime
    mort = mortar * (1 + F32(0.15) * noise(p, 0.03, seed=9)) * (1 + F32(0.12) * blotch) * (1 - soot * 0.8)
    mixed = tone * j + mort * (1 - j)
    average = base * F32(0.8) + mortar * F32(0.2)
    far = average * (1 + F32(0.16) * blotch) * (1 - soot) + F32(0.14) * lime
    far = far + spread * each * F32(0.5) * np.clip(F32(1.5) - p.foot / F32(0.3), 0, 1)
    streak = np.clip(noise(p, 2.6, "rough", stretch=0.22, seed=4) - F32(0.4), 0, 1.6)
    out = (mixed * fade + far * (1 - fade)) * (1 - F32(0.22) * streak)

    def height(q: Patch) -> A:
        rough = noise(q, 0.025, seed=7) * F32(0.0013) + noise(q, 0.009, seed=8) * F32(0.0005)
        r2, c2, *_ = _courses(q, bond)
        tilt = (chance(r2, c2, q.seed + 5) - F32(0.5)) * F32(0.006)
        return joint(q) * (F32(0.007) + tilt * F32(0.6)) + rough

    return Finish(out, _relief(p, height, 0.004, 0.05), cavity=1 - F32(0.45) * (1 - j) * fade)


def brick(p: Patch) -> Finish:
    return _brick(p)


def brick_sooty(p: Patch) -> Finish:
    return _brick(p, base=0.12, spread=0.035, mortar=0.15, worn=0.15)


def brick_pale(p: Patch) -> Finish:
    return _brick(p, base=0.30, spread=0.07, mortar=0.36, worn=0.4)


def brick_arch(p: Patch) -> Finish:
    """Headers on edge, as in the reveal of an arch."""
    q = Patch(p.v, p.u, p.foot, p.seed, p.at, p.normal)
    f = _brick(q, base=0.13, spread=0.04, mortar=0.2)
    return Finish(f.tone, None, cavity=f.cavity)


def stack(p: Patch) -> Finish:
    """Green bricks on edge, stacked dry: courses with dark gaps."""
    cw, ch = F32(0.068), F32(0.108)
    row = np.floor(p.v / ch)
    fv = p.v / ch
    sh = chance(row, row, p.seed) * F32(0.7)
    fu = p.u / cw + sh
    col = np.floor(fu)
    fade = np.clip(F32(1.6) - p.foot / F32(0.06), 0, 1)
    gap = F32(0.10) + F32(0.14) * chance(row, np.round(fu), p.seed + 2)
    j = np.minimum(_edge(fu, gap), _edge(fv, F32(0.09)))
    j = np.clip(j * 1.6 - F32(0.15), 0, 1)
    each = chance(row, col, p.seed + 1) - F32(0.5)
    tone = F32(0.24) + F32(0.10) * each + F32(0.02) * noise(p, 0.02)
    tone *= 1 + F32(0.12) * noise(p, 1.4, "rough", seed=3)
    mixed = tone * (F32(0.12) + F32(0.88) * j)
    out = mixed * fade + F32(0.19) * (1 - fade) * (1 + F32(0.3) * each * np.clip(1.5 - p.foot / 0.4, 0, 1))

    def height(q: Patch) -> A:
        r2, c2 = np.floor(q.v / ch), np.floor(q.u / cw + sh)
        return chance(r2, c2, q.seed + 4) * F32(0.006) + noise(q, 0.03) * F32(0.001)

    return Finish(out, _relief(p, height, 0.006, 0.05), cavity=1 - F32(0.6) * (1 - j) * fade)


def tiles(p: Patch) -> Finish:
    """Plain clay tiles, weathered, laid on a slope."""
    row_h, wide = F32(0.11), F32(0.17)
    sag = noise(p, 3.0, "rough", seed=1) * F32(0.02)
    v = p.v + sag
    row = np.floor(v / row_h)
    fu = p.u / wide + F32(0.5) * (row % 2)
    col = np.floor(fu)
    fv = v / row_h - row
    fade = np.clip(F32(1.5) - p.foot / F32(0.11), 0, 1)
    each = chance(row, col, p.seed) - F32(0.5)
    blot = noise(p, 3.5, "rough", seed=2)
    moss = np.clip(noise(p, 1.1, "rough", seed=7) - F32(0.7), 0, 1)
    tone = F32(0.15) + F32(0.06) * each + F32(0.012) * noise(p, 0.03)
    tone = tone * (1 + F32(0.2) * blot) * (1 - F32(0.35) * moss)
    missing = chance(row, col, p.seed + 6) > F32(0.994)
    j = np.clip(_edge(fu, F32(0.04)) + F32(0.35), 0, 1) * np.clip(fv * 7, F32(0.25), 1)
    out = tone * (j * fade + F32(0.85) * (1 - fade))
    out = np.where(missing, F32(0.03) + out * (1 - fade) * 0.8, out)
    lift = (chance(row, col, p.seed + 2) - F32(0.5)) * F32(0.16)
    su = (chance(row, col, p.seed + 4) - F32(0.5)) * F32(0.14)
    f2 = np.clip(F32(1.5) - p.foot / F32(0.2), 0, 1)
    return Finish(out, (su * f2, (lift - F32(0.10)) * f2), gloss=F32(0.25))


def slate(p: Patch) -> Finish:
    f = tiles(p)
    return Finish(f.tone * F32(0.8), f.slope, gloss=F32(0.5))


def corrugated(p: Patch) -> Finish:
    pitch = F32(0.076)
    fade = np.clip(F32(1.3) - p.foot / F32(0.045), 0, 1)
    sheet = np.floor(p.u / F32(0.66))
    lap = np.floor(p.v / F32(2.2) + chance(sheet, sheet) * F32(0.2))
    rust = np.clip(noise(p, 1.6, "rough", stretch=0.45, seed=1) * F32(0.5) + F32(0.35), 0, 1)
    rust = np.clip(rust + (chance(sheet, lap, p.seed) - F32(0.5)) * F32(0.7), 0, 1)
    tone = F32(0.36) * (1 - rust) + F32(0.11) * rust + F32(0.015) * noise(p, 0.05)
    seam = _edge(p.v / F32(2.2) + chance(sheet, sheet) * F32(0.2), F32(0.012))
    tone *= F32(0.55) + F32(0.45) * seam
    slope = F32(0.55) * np.cos(p.u / pitch * F32(2 * np.pi)) * fade
    return Finish(tone, (slope.astype(F32), np.zeros_like(tone)), gloss=F32(0.6) * (1 - rust))


def _planks(p: Patch, across: A, along: A, wide: float, base: float, spread: float) -> Finish:
    n = np.floor(across / F32(wide))
    f = across / F32(wide)
    fade = np.clip(F32(1.4) - p.foot / F32(wide * 0.35), 0, 1)
    each = chance(n, n * 3, p.seed) - F32(0.5)
    q = Patch(across, along + each * 9, p.foot, p.seed + each, p.at, p.normal)
    grain = noise(q, 0.012, stretch=1.0, seed=1) * F32(0)
    bend = noise(q, 0.35, seed=12) * F32(0.006)
    q.u = q.u + bend
    g1 = sample(tile("soft"), q.u * F32(900), q.v * F32(14)) * np.clip(F32(1.6) - p.foot / F32(0.004), 0, 1)
    g2 = sample(tile("soft"), q.u * F32(230), q.v * F32(5)) * np.clip(F32(1.6) - p.foot / F32(0.014), 0, 1)
    damp = noise(p, 1.2, "rough", seed=4)
    ki, kj = np.floor(q.v / F32(0.55) + each * 3), n
    kx = (chance(ki, kj, p.seed + 6) - F32(0.5)) * F32(0.6) + F32(0.5)
    ky = chance(kj, ki, p.seed + 7) * F32(0.6) + F32(0.2)
    dx = (f - n - kx) * F32(wide)
    dy = (q.v / F32(0.55) + each * 3 - ki - ky) * F32(0.55)
    knot = np.hypot(dx, dy * F32(0.75)) / (F32(0.010) + F32(0.012) * chance(ki, kj, 3.0))
    knot = np.where(chance(ki, kj, p.seed + 9) > F32(0.55), np.clip(F32(1.3) - knot, 0, 1), 0)
    knot = knot * np.clip(F32(1.5) - p.foot / F32(0.012), 0, 1)
    tone = base * (1 + spread * 2 * each + F32(0.11) * g1 + F32(0.14) * g2 + F32(0.12) * damp) + grain
    tone = tone * (1 - F32(0.5) * knot)
    j = _edge(f, F32(0.006) / F32(wide) + F32(0.012))
    tone = tone * (F32(0.12) + F32(0.88) * (j * fade + F32(0.93) * (1 - fade)))
    tilt = (chance(n, n * 7, p.seed + 2) - F32(0.5)) * F32(0.10) * fade
    rel = (g2 * F32(0.10) + g1 * F32(0.12)) * fade
    return Finish(tone.astype(F32), (tilt + rel, rel * F32(0.1)), cavity=1 - F32(0.5) * (1 - j) * fade)


def boards(p: Patch) -> Finish:
    """Upright boarding, weathered grey."""
    return _planks(p, p.u, p.v, 0.16, 0.20, 0.16)


def boards_tarred(p: Patch) -> Finish:
    return _planks(p, p.u, p.v, 0.18, 0.065, 0.25)


def weatherboard(p: Patch) -> Finish:
    """Lapped boards lying level, tarred long ago."""
    f = _planks(p, p.v, p.u, 0.19, 0.10, 0.25)
    ramp = p.v / F32(0.19) - np.floor(p.v / F32(0.19))
    fade = np.clip(F32(1.4) - p.foot / F32(0.12), 0, 1)
    tone = f.tone * (1 - F32(0.45) * np.clip((ramp - F32(0.86)) * 8, 0, 1) * fade)
    return Finish(tone, (np.zeros_like(tone), F32(0.12) * fade), cavity=f.cavity)


def timber(p: Patch) -> Finish:
    return _planks(p, p.u, p.v, 0.5, 0.19, 0.15)


def slat(p: Patch) -> Finish:
    """A board whose grain runs level."""
    return _planks(p, p.v, p.u, 0.5, 0.20, 0.22)


def timber_wet(p: Patch) -> Finish:
    """A post that the tide covers: weed and slime below, bleached above."""
    f = _planks(p, p.u, p.v, 0.5, 0.17, 0.15)
    wet = np.clip((F32(0.5) - p.at[:, 2] + F32(0.12) * noise(p, 0.5, "rough")) * 3, 0, 1)
    tone = f.tone * (1 - F32(0.68) * wet) * (1 + F32(0.25) * wet * noise(p, 0.06))
    return Finish(tone, f.slope, gloss=F32(0.5) * wet)


def oak(p: Patch) -> Finish:
    return _planks(p, p.u, p.v, 0.21, 0.26, 0.12)


def iron(p: Patch) -> Finish:
    r = noise(p, 0.12, "rough", seed=2)
    tone = F32(0.085) * (1 + F32(0.35) * r + F32(0.15) * noise(p, 0.01))

    def height(q: Patch) -> A:
        return noise(q, 0.012, seed=3) * F32(0.0002) + noise(q, 0.05, seed=4) * F32(0.0006)

    return Finish(tone, _relief(p, height, 0.003, 0.02), gloss=F32(0.3))


def rail(p: Patch) -> Finish:
    top = p.normal[:, 2] > F32(0.8)
    tone = np.where(top, F32(0.22), F32(0.08)) * (1 + F32(0.2) * noise(p, 0.1, "rough"))
    return Finish(tone, None, gloss=np.where(top, F32(2.0), F32(0.3)))


def concrete(p: Patch) -> Finish:
    b = noise(p, 1.1, "rough")
    streak = np.clip(noise(p, 1.6, "rough", stretch=0.25, seed=4) - F32(0.3), 0, 2)
    tone = F32(0.34) * (1 + F32(0.12) * b + F32(0.05) * noise(p, 0.02)) * (1 - F32(0.2) * streak)
    return Finish(tone, _relief(p, lambda q: noise(q, 0.04) * F32(0.0012), 0.006, 0.04))


def lime(p: Patch) -> Finish:
    """Whitewash over brick, flaking."""
    f = _brick(p, base=0.2, spread=0.04, mortar=0.26)
    keep = np.clip((noise(p, 0.8, "rough", seed=11) + F32(0.75)) * 4, 0, 1)
    tone = f.tone * (1 - keep) + (F32(0.62) + F32(0.03) * noise(p, 0.1)) * keep
    return Finish(tone, f.slope, cavity=f.cavity)


def dark(p: Patch) -> Finish:
    return Finish(np.full_like(p.u, 0.03) * (1 + F32(0.3) * noise(p, 0.5, "rough")))


def glass(p: Patch) -> Finish:
    return Finish(np.full_like(p.u, 0.03), None, gloss=F32(1.6))


def putty(p: Patch) -> Finish:
    return Finish(F32(0.46) * (1 + F32(0.06) * noise(p, 0.03)))


# --- ground -----------------------------------------------------------------------------------------


def grass(p: Patch) -> Finish:
    a, b = noise(p, 0.9, "rough"), noise(p, 6.0, "rough", seed=3)
    fine = noise(p, 0.035, seed=1) + F32(0.6) * noise(p, 0.1, seed=2) + F32(0.3) * noise(p, 0.25, seed=6)
    tone = F32(0.115) * (1 + F32(0.16) * a + F32(0.16) * b + F32(0.20) * fine)

    def height(q: Patch) -> A:
        return noise(q, 0.07, seed=4) * F32(0.010) + noise(q, 0.3, seed=5) * F32(0.03)

    return Finish(tone, _relief(p, height, 0.02, 0.25), cavity=F32(0.85))


def yard(p: Patch) -> Finish:
    """Trodden clay and cinders with brick crumbs, puddled."""
    a, b = noise(p, 1.6, "rough"), noise(p, 7.0, "rough", seed=3)
    fine = noise(p, 0.03, seed=1) * F32(0.14) + noise(p, 0.12, seed=2) * F32(0.09)
    tone = F32(0.19) * (1 + F32(0.15) * a + F32(0.13) * b + fine)
    cell = F32(0.11)
    i, j = np.floor(p.u / cell), np.floor(p.v / cell)
    cu, cv = chance(i, j) * F32(0.6) + F32(0.2), chance(j, i, 4.0) * F32(0.6) + F32(0.2)
    r = np.hypot(p.u / cell - i - cu, p.v / cell - j - cv)
    big = chance(i, j, 9.0)
    crumb = (r < F32(0.08) + F32(0.13) * big) & (chance(j, i, 6.0) > 0.62)
    see = np.clip(F32(1.4) - p.foot / F32(0.03), 0, 1)
    tone = np.where(crumb, tone * (1 - see) + see * (F32(0.12) + F32(0.22) * big), tone)

    def height(q: Patch) -> A:
        return noise(q, 0.05, seed=4) * F32(0.003) + noise(q, 0.5, seed=5) * F32(0.02)

    return Finish(tone, _relief(p, height, 0.012, 0.12))


def cinder(p: Patch) -> Finish:
    fine = noise(p, 0.035, seed=1) * F32(0.35) + noise(p, 0.012, seed=7) * F32(0.2)
    tone = F32(0.10) * (1 + F32(0.2) * noise(p, 1.2, "rough") + fine)

    def height(q: Patch) -> A:
        return noise(q, 0.04, seed=4) * F32(0.009)

    return Finish(tone, _relief(p, height, 0.01, 0.06))


def clay(p: Patch) -> Finish:
    """The dug face: strata, spade cuts, slips; shelves are trodden and pale where dry."""
    z = p.at[:, 2]
    warp = noise(p, 5.0, "rough", seed=2) * F32(0.16)
    bed = sample(tile("soft", 3), (z + warp) * F32(9.0), np.zeros_like(z) + 3) * F32(0.10)
    bed += sample(tile("soft", 3), (z + warp) * F32(2.2), np.zeros_like(z) + 90) * F32(0.20)
    steep = np.clip((F32(0.93) - p.normal[:, 2]) * 5, 0, 1)
    cut = sample(tile("soft", 4), p.u * F32(9), p.v * F32(2.4)) * F32(0.06)
    cut *= np.clip(F32(1.5) - p.foot / F32(0.15), 0, 1)
    a = noise(p, 1.5, "rough") * F32(0.10)
    dry = F32(0.33) * (1 + a + F32(0.05) * noise(p, 0.05))
    face = F32(0.26) * (1 + a + bed + cut + F32(0.06) * noise(p, 0.06))
    wet = np.clip(F32(0.45) - (z - F32(-9.0)) * F32(0.9) + a, 0, 1)
    tone = (face * steep + dry * (1 - steep)) * (1 - F32(0.5) * wet)

    def height(q: Patch) -> A:
        return (
            noise(q, 0.16, seed=5) * F32(0.014)
            + noise(q, 0.05, seed=6) * F32(0.004)
            + noise(q, 0.5, seed=7) * F32(0.03)
        )

    return Finish(tone, _relief(p, height, 0.02, 0.2), gloss=F32(0.6) * wet)


def mud(p: Patch) -> Finish:
    """Tidal mud: smooth, wet, runnelled."""
    a, b = noise(p, 2.2, "rough"), noise(p, 0.5, "rough", seed=4)
    tone = F32(0.14) * (1 + F32(0.14) * a + F32(0.10) * b + F32(0.05) * noise(p, 0.04))

    def height(q: Patch) -> A:
        return noise(q, 0.06, seed=5) * F32(0.004) + noise(q, 0.45, seed=6) * F32(0.025)

    sheen = np.clip(F32(0.28) + F32(0.22) * a, 0.04, 0.7)
    return Finish(tone, _relief(p, height, 0.02, 0.15), gloss=sheen)


def marsh(p: Patch) -> Finish:
    a, b = noise(p, 2.0, "rough"), noise(p, 9.0, "rough", seed=3)
    fine = noise(p, 0.06, seed=1) + F32(0.7) * noise(p, 0.2, seed=2) + F32(0.4) * noise(p, 0.6, seed=6)
    tone = F32(0.15) * (1 + F32(0.18) * a + F32(0.15) * b + F32(0.17) * fine)

    def height(q: Patch) -> A:
        return noise(q, 0.18, seed=4) * F32(0.03) + noise(q, 0.6, seed=5) * F32(0.05)

    return Finish(tone, _relief(p, height, 0.04, 0.4), cavity=F32(0.85))


def cracked(p: Patch) -> Finish:
    """Clay dried to plates: each plate's own tone, curled edges, dark cracks."""
    k = 34.0 / 0.16 * 0.5
    c = sample(tile("cells", 2), p.u * F32(k), p.v * F32(k))
    minor = sample(tile("cells", 6), p.u * F32(k * 2.3) + 40, p.v * F32(k * 2.3))
    own = sample(tile("plates", 2), p.u * F32(k), p.v * F32(k))
    open_ = np.clip((c - F32(0.055)) * 16, 0, 1)
    hair = np.clip((minor - F32(0.02)) * 20, 0, 1) * F32(0.35) + F32(0.65)
    tone = F32(0.31) * (
        1 + F32(0.05) * own + F32(0.08) * noise(p, 0.5, "rough") + F32(0.05) * noise(p, 0.012)
    )
    tone = tone * (F32(0.10) + F32(0.90) * open_) * hair

    def height(q: Patch) -> A:
        cc = sample(tile("cells", 2), q.u * F32(k), q.v * F32(k))
        curl = np.clip(cc, 0, F32(0.32)) * F32(-0.022) + np.clip(cc * 8, 0, 1) * F32(0.012)
        return curl + noise(q, 0.035, seed=3) * F32(0.0012) + noise(q, 0.012, seed=4) * F32(0.0004)

    return Finish(tone, _relief(p, height, 0.003, 0.03), cavity=F32(0.12) + F32(0.88) * open_)


def rough_wood(p: Patch) -> Finish:
    """Far woodland seen as a mass."""
    a = noise(p, 2.5, "rough") * F32(0.3) + noise(p, 0.8) * F32(0.2)
    return Finish(F32(0.06) * (1 + a))


MATERIALS: dict[str, Callable[[Patch], Finish]] = {
    f.__name__: f
    for f in (
        brick, brick_sooty, brick_pale, brick_arch, stack, tiles, slate, corrugated, boards, boards_tarred,
        weatherboard, timber, slat, timber_wet, oak, iron, rail, concrete, lime, dark, glass, putty, grass, yard,
        cinder, clay, mud, marsh, cracked, rough_wood,
    )
}  # fmt: skip
