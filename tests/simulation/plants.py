"""Reeds, grass and trees, as dots and lines."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .setting import Blades
from .solids import F32, A, Solid, rod


def reeds(
    points: A, seed: int, height=1.9, width=0.012, tone=0.2, lean=(0.25, 0.05), per=9, heads=True
) -> Blades:
    """One stem a root point (n, 3): a bent line of dots, with leaves and a plume."""
    rng = np.random.default_rng(seed)
    n = len(points)
    lot = rng.random(n)
    h = (height * rng.normal(1, 0.14, n)).astype(F32)
    az = rng.uniform(0, 2 * np.pi, n)
    lx = (lean[0] + rng.normal(0, 0.16, n)).astype(F32)
    ly = (lean[1] + rng.normal(0, 0.16, n)).astype(F32)
    s = np.linspace(0, 1, per).astype(F32)
    at = np.stack(
        [
            points[:, 0:1] + lx[:, None] * s**2 * h[:, None] * 0.6,
            points[:, 1:2] + ly[:, None] * s**2 * h[:, None] * 0.6,
            points[:, 2:3] + h[:, None] * s,
        ],
        -1,
    )
    base = (tone * rng.normal(1, 0.22, n)).clip(0.05, 0.6).astype(F32)
    wid = np.broadcast_to(width * (1.1 - 0.5 * s), (n, per))
    tones = np.broadcast_to(base[:, None] * (0.75 + 0.35 * s), (n, per)).copy()
    if heads:
        plume = s > 0.86
        wid = np.where(plume[None], width * (2.6 - 12.0 * (s - 0.86)), wid)
        tones = np.where(plume[None], base[:, None] * 0.75, tones)
    shade = np.broadcast_to(0.22 + 0.78 * s**0.8, (n, per))
    nrm = np.stack([np.cos(az), np.sin(az), 0.5 + 0 * az], 1)
    nrm /= np.linalg.norm(nrm, axis=1, keepdims=True)
    parts = [(at, wid, tones, shade, np.broadcast_to(nrm[:, None], (n, per, 3)))]
    for _k in range(3):  # leaves
        s0 = rng.uniform(0.25, 0.8, n).astype(F32)
        la = rng.uniform(0, 2 * np.pi, n)
        ln = (rng.uniform(0.25, 0.55, n) * height * 0.42).astype(F32)
        q = np.linspace(0, 1, 5).astype(F32)
        bx = points[:, 0] + lx * s0**2 * h * 0.6
        by = points[:, 1] + ly * s0**2 * h * 0.6
        bz = points[:, 2] + h * s0
        dx, dy = np.cos(la) * 0.6 + lean[0] * 1.4, np.sin(la) * 0.6 + lean[1] * 1.4
        leaf = np.stack(
            [
                bx[:, None] + dx[:, None] * ln[:, None] * q,
                by[:, None] + dy[:, None] * ln[:, None] * q,
                bz[:, None] + ln[:, None] * (0.75 * q - 0.95 * q**2),
            ],
            -1,
        )
        wl = np.broadcast_to(width * 1.5 * (1 - q**2 * 0.8), (n, len(q)))
        tl = np.broadcast_to(base[:, None] * rng.uniform(0.7, 1.2, (n, 1)), (n, len(q)))
        sl = np.broadcast_to((0.25 + 0.7 * s0)[:, None], (n, len(q)))
        parts.append((leaf, wl, tl, sl, np.broadcast_to(nrm[:, None], (n, len(q), 3))))
    return Blades(
        np.concatenate([p[0].reshape(-1, 3) for p in parts]).astype(F32),
        np.concatenate([p[1].ravel() for p in parts]).astype(F32),
        np.concatenate([p[2].ravel() for p in parts]).astype(F32),
        np.concatenate([p[4].reshape(-1, 3) for p in parts]).astype(F32),
        np.concatenate([p[3].ravel() for p in parts]).astype(F32),
        np.concatenate([_links(n, p[0].shape[1]) for p in parts]),
        np.concatenate([np.repeat(lot, p[0].shape[1]) for p in parts]).astype(F32),
    )


def _links(stems: int, per: int) -> NDArray[np.bool_]:
    return np.tile(np.arange(per) < per - 1, stems)


def tufts(points: A, seed: int, height=0.22, width=0.005, tone=0.14, blades=14, per=4) -> Blades:
    """Grass: several bent blades a root point."""
    rng = np.random.default_rng(seed)
    root = np.repeat(points, blades, 0).astype(F32)
    n = len(root)
    root[:, :2] += rng.normal(0, height * 0.22, (n, 2))
    az = rng.uniform(0, 2 * np.pi, n)
    out = (rng.uniform(0.1, 0.9, n) * height).astype(F32)
    h = (height * rng.uniform(0.5, 1.25, n)).astype(F32)
    s = np.linspace(0, 1, per).astype(F32)
    at = np.stack(
        [
            root[:, 0:1] + (np.cos(az) * out)[:, None] * s**1.8,
            root[:, 1:2] + (np.sin(az) * out)[:, None] * s**1.8,
            root[:, 2:3] + h[:, None] * (1.25 * s - 0.4 * s**2),
        ],
        -1,
    )
    base = (tone * rng.normal(1, 0.25, n)).clip(0.03, 0.5)
    tones = base[:, None] * (0.7 + 0.5 * s)
    shade = np.broadcast_to(0.3 + 0.7 * s, (n, per))
    nrm = np.stack([np.cos(az) * 0.5, np.sin(az) * 0.5, 0.8 + 0 * az], 1)
    nrm /= np.linalg.norm(nrm, axis=1, keepdims=True)
    return Blades(
        at.reshape(-1, 3).astype(F32),
        np.broadcast_to(width * (1.1 - 0.8 * s), (n, per)).ravel().astype(F32),
        tones.ravel().astype(F32),
        np.repeat(nrm, per, 0).astype(F32),
        shade.ravel().astype(F32),
        _links(n, per),
        np.repeat(rng.random(n), per).astype(F32),
    )


def tree(x, y, z, height, seed, tone=0.13, leaves=36000, leaf=0.075) -> tuple[Blades, list, list[Solid]]:
    """A leafy tree: trunk and boughs as rods, leaves as dots in many small clumps, and its shade."""
    rng = np.random.default_rng(seed)
    wide, tall = height * rng.uniform(0.28, 0.40), height * 0.37
    centre = np.array([x, y, z + height * 0.62])
    clumps = []
    while len(clumps) < 46:
        d = rng.uniform(-1, 1, 3)
        q = np.hypot(np.hypot(d[0], d[1]), d[2])
        if q > 1 or q < 0.35:
            continue
        squeeze = 1 - 0.35 * max(d[2], 0)
        clumps.append(
            (centre + d * [wide * squeeze, wide * squeeze, tall], height * rng.uniform(0.05, 0.115))
        )
    rods: list[Solid] = [
        rod("timber", (x, y, z - 0.3), (x, y, z + height * 0.6), height * 0.02, r1=height * 0.008)
    ]
    for c, _ in clumps[:12]:
        a = np.array([x, y, z + height * rng.uniform(0.28, 0.5)])
        rods.append(rod("timber", a, a + (c - a) * 0.9, height * 0.006, r1=height * 0.0015))
    share = leaves // len(clumps)
    pts, nrm, shade = [], [], []
    for c, r in clumps:
        d = rng.standard_normal((share, 3))
        d /= np.linalg.norm(d, axis=1, keepdims=True)
        rad = r * np.abs(rng.normal(0.75, 0.38, (share, 1)))
        pts.append(c + d * rad * [1.15, 1.15, 0.8])
        out = (c - centre) / height
        nn = d + out * 2 + rng.normal(0, 0.45, d.shape)
        nrm.append(nn / np.linalg.norm(nn, axis=1, keepdims=True))
        shade.append(np.clip(0.55 + 0.35 * rad[:, 0] / r + 0.25 * d[:, 2] + 0.5 * out[2], 0.25, 1.15))
    p = np.concatenate(pts).astype(F32)
    k = len(p)
    return (
        Blades(
            p,
            (leaf * rng.uniform(0.6, 1.3, k)).astype(F32),
            (tone * rng.normal(1, 0.2, k)).clip(0.03, 0.4).astype(F32),
            np.concatenate(nrm).astype(F32),
            np.concatenate(shade).astype(F32),
            np.zeros(k, bool),
            rng.random(k).astype(F32),
        ),
        [(centre + np.array([0, 0, tall * q]), float(wide * 0.8), 0.5 / wide) for q in (-0.4, 0.0, 0.4)],
        rods,
    )


def scatter(rng, count, x0, x1, y0, y1, ground, keep=None) -> A:
    p = np.stack([rng.uniform(x0, x1, count), rng.uniform(y0, y1, count)], 1).astype(F32)
    z = ground(p[:, 0], p[:, 1])
    p = np.column_stack([p, z]).astype(F32)
    return p if keep is None else p[keep(p)]
