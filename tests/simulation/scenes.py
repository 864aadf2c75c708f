"""Hollin Brickworks, its clay pits and Sallow Creek, built of solids. Metres; x east, y north, z up."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from . import surfaces
from .renderer import (
    Blades,
    Ground,
    Scene,
    Solid,
    box,
    dome,
    post,
    prism,
    rod,
    turn,
)

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


# ------------------------------------------------------------------------------------- things of brick


def arch(width, spring, x0=0.0, floor=-1.0, deep=(-9e9, 9e9)):
    """Carving along y: a round-headed opening, `width` wide, springing at `spring`; negative inside."""
    half = width / 2

    def inside(x, y, z):
        dx = np.abs(x - F32(x0))
        below = np.where(z < spring, dx - F32(half), np.hypot(dx, z - F32(spring)) - F32(half))
        d = np.maximum(below, F32(floor) - z)
        return np.maximum(d, np.maximum(F32(deep[0]) - y, y - F32(deep[1])))

    return inside


def either(*carves):
    def inside(x, y, z):
        d = carves[0](x, y, z)
        for c in carves[1:]:
            d = np.minimum(d, c(x, y, z))
        return d

    return inside


def slot(x0, x1, z0, z1, deep=(-9e9, 9e9)):
    cx, hx, cz, hz = (x0 + x1) / 2, (x1 - x0) / 2, (z0 + z1) / 2, (z1 - z0) / 2

    def inside(x, y, z):
        d = np.maximum(np.abs(x - F32(cx)) - F32(hx), np.abs(z - F32(cz)) - F32(hz))
        return np.maximum(d, np.maximum(F32(deep[0]) - y, y - F32(deep[1])))

    return inside


def kiln(x, y, r=4.2, wall=3.4, crown=2.2, face=180.0, seed=1.0) -> list[Solid]:
    """A round downdraught kiln: battered wall, iron bands, domed crown, an arched wicket, fire mouths."""
    out: list[Solid] = []

    # carving in the kiln's own frame, wicket towards −y before turning by `face`
    def holes(px, py, pz):
        ang = np.arctan2(px, -py)
        s = ang * F32(r)
        rad = np.hypot(px, py)
        d = F32(9.0)
        wick = np.where(pz < 1.55, np.abs(s) - F32(0.55), np.hypot(s, pz - F32(1.55)) - F32(0.55))
        d = np.maximum(wick, F32(r - 1.1) - rad)
        o = np.abs(np.mod(ang + F32(np.pi / 8), F32(np.pi / 4)) - F32(np.pi / 8)) * F32(r)
        mouth = np.where(pz < 0.55, o - F32(0.36), np.hypot(o, pz - F32(0.55)) - F32(0.36))
        mouth = np.where(np.abs(s) < F32(1.0), F32(9), np.maximum(mouth, F32(r - 0.8) - rad))
        d = np.minimum(d, mouth)
        return d

    yaw = 180.0 - face
    body = post(
        "brick", (x, y, -0.1), r, wall + 0.1, r1=r - 0.18, yaw=yaw, seed=seed, carve=holes, samples=40
    )
    body.carved_material = "brick_sooty"
    out.append(body)
    out.append(post("brick_sooty", (x, y, wall), r - 0.02, 0.28, seed=seed + 2))
    out.append(
        dome("brick", (x, y, wall + 0.22 - 0.9), (r - 0.25, r - 0.25, crown + 0.9), cut=0.9 / (crown + 0.9), seed=seed + 1)
    )
    out.append(post("brick_sooty", (x, y, wall + crown + 0.02), 0.42, 0.42, seed=seed))
    for z in (0.75, 1.95, 3.05):
        rr = r - 0.18 * z / wall + 0.03
        band = post("iron", (x, y, z), rr, 0.09, yaw=yaw, seed=seed)
        if z < 2.0:
            band.carve = holes
        out.append(band)
    a0 = np.radians(face)
    for k in range(8):
        a = a0 + np.pi / 8 + k * np.pi / 4
        px, py = x + (r + 0.10) * np.sin(a), y + (r + 0.10) * np.cos(a)
        out.append(box("brick", (px, py, -0.1), (0.62, 0.7, wall * 0.78), yaw=-np.degrees(a), seed=seed + k))
    return out


def chimney(x, y, h=31.0, r=1.55, seed=2.0) -> list[Solid]:
    out: list[Solid] = [
        box("brick", (x, y, -0.2), (3.8, 3.8, 4.6), seed=seed),
        box("brick_pale", (x, y, 4.4), (4.1, 4.1, 0.30), seed=seed),
        post("brick", (x, y, 4.6), r, h - 6.0, r1=r * 0.62, seed=seed),
    ]
    top = h - 1.4
    for z, w, t in ((top, 0.16, 0.35), (top + 0.35, 0.30, 0.7), (top + 1.05, 0.18, 0.35)):
        out.append(post("brick_sooty", (x, y, z), r * 0.62 + w, t, seed=seed))
    for z in np.arange(8, h - 3, 3.6):
        rr = r - (r * 0.38) * (z - 4.6) / (h - 6.0) + 0.025
        out.append(post("iron", (x, y, z), rr, 0.08, seed=seed))
    out.append(rod("iron", (x + r * 0.7, y - r * 0.75, 5), (x + r * 0.4, y - r * 0.5, h), 0.015))
    return out


def drying_shed(x, y, length=42.0, width=7.0, eaves=3.1, yaw=0.0, louvres=True, seed=3.0) -> list[Solid]:
    """A long open shed: brick pillars, tilted louvre boards between, tiled roof. Long axis along local x."""
    rot = turn(yaw)

    def at(lx, ly, lz):
        return tuple(rot @ np.array([lx, ly, lz]) + np.array([x, y, 0.0]))

    out: list[Solid] = []
    w = width / 2
    over = 0.55
    ridge = eaves + (w + over) * 0.72
    th = 0.16
    rw = w + over
    for side in (1, -1):
        low, high = eaves - 0.12, ridge
        prof = [(-rw, low), (-rw, low - th), (0.0, high - th), (0.0, high)]
        if side > 0:
            prof = [(-py, pz) for py, pz in prof][::-1]
        out.append(prism("tiles", at(0, 0, 0), length + 1.0, prof, yaw=yaw, seed=seed))
    out.append(box("tiles", at(0, 0, ridge - 0.08), (length + 1.05, 0.26, 0.16), yaw=yaw, seed=seed))
    bays = int(round(length / 3.0))
    for side in (1, -1):
        for k in range(bays + 1):
            lx = -length / 2 + k * length / bays
            out.append(box("brick", at(lx, side * w, -0.1), (0.36, 0.36, eaves + 0.1), yaw=yaw, seed=seed + k))
        out.append(box("slat", at(0, side * w, eaves - 0.2), (length, 0.2, 0.22), yaw=yaw, seed=seed))
        out.append(box("brick", at(0, side * w, -0.1), (length, 0.24, 0.65), yaw=yaw, seed=seed))
        if louvres:
            rng = np.random.default_rng(int(seed * 100) + (side > 0))
            for k in range(bays):
                lx = -length / 2 + (k + 0.5) * length / bays
                bl = length / bays - 0.4
                shut = rng.random() < 0.25
                for row in range(9):
                    if rng.random() < 0.05:
                        continue
                    z = 0.62 + row * 0.255
                    pitch = (68 if shut else 38) + rng.normal(0, 3)
                    out.append(
                        box("slat", at(lx, side * w, z), (bl, 0.26, 0.024), yaw=yaw,
                            pitch=-side * pitch, roll=float(rng.normal(0, 0.5)), seed=float(rng.random() * 9))
                    )
    for side in (1, -1):
        gable = [(-w, eaves - 0.1), (w, eaves - 0.1), (0.0, ridge - 0.25)]
        out.append(prism("boards_tarred", at(side * (length / 2 - 0.1), 0, 0), 0.08, gable, yaw=yaw, seed=seed))
    return out


def brick_stack(x, y, length=4.0, depth=0.95, height=1.25, yaw=0.0, seed=1.0) -> list[Solid]:
    rng = np.random.default_rng(int(seed * 17) + 5)
    rot = turn(yaw)
    out: list[Solid] = [box("stack", (x, y, -0.02), (length, depth, height), yaw=yaw, seed=seed)]
    n = int(length * 5)
    for _ in range(n):
        lx, ly = rng.uniform(-length / 2 + 0.15, length / 2 - 0.15), rng.uniform(-depth / 2 + 0.1, depth / 2 - 0.1)
        p = rot @ np.array([lx, ly, height - 0.02]) + np.array([x, y, 0])
        out.append(
            box("brick_pale" if rng.random() < 0.3 else "brick", tuple(p), (0.225, 0.108, 0.07), yaw=yaw + rng.choice([0, 90]) + rng.normal(0, 6), seed=float(rng.random() * 50))
        )
    return out


def loose_bricks(x, y, spread, count, seed, ground=None) -> list[Solid]:
    rng = np.random.default_rng(seed)
    out: list[Solid] = []
    for _ in range(count):
        px, py = x + rng.normal(0, spread), y + rng.normal(0, spread)
        z = float(ground(np.array([px], F32), np.array([py], F32))[0]) if ground else 0.0
        out.append(
            box("brick", (px, py, z - 0.02), (0.225, 0.108, 0.072), yaw=rng.uniform(0, 180), pitch=rng.normal(0, 9), roll=rng.normal(0, 9), seed=float(rng.random() * 90))
        )
    return out


# ----------------------------------------------------------------------------------- rails and wagon


def track(points, gauge=0.61, ground=None, seed=1) -> list[Solid]:
    """Narrow-gauge rails on sleepers along straight pieces between points (x, y)."""
    out: list[Solid] = []
    rng = np.random.default_rng(seed)
    for (x0, y0), (x1, y1) in zip(points[:-1], points[1:], strict=True):
        d = np.array([x1 - x0, y1 - y0])
        ln = float(np.hypot(*d))
        d /= ln
        side = np.array([-d[1], d[0]])
        yaw = float(np.degrees(np.arctan2(d[1], d[0])))
        mid = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
        for s in (1, -1):
            c = mid + side * s * gauge / 2
            out.append(box("rail", (*c, 0.10), (ln, 0.045, 0.075), yaw=yaw))
            out.append(box("rail", (*c, 0.09), (ln, 0.085, 0.015), yaw=yaw))
        for k in range(int(ln / 0.72)):
            c = mid + d * (k * 0.72 - ln / 2 + 0.3)
            out.append(
                box("timber", (*c, -0.02 + rng.normal(0, 0.006)), (0.16, 1.15 + rng.normal(0, 0.05), 0.115), yaw=yaw + rng.normal(0, 2.5), seed=float(rng.random() * 30))
            )
    return out


def wagon(x, y, yaw=0.0, seed=4.0) -> list[Solid]:
    """A tip wagon: V body in a frame on four wheels."""
    rot = turn(yaw)

    def at(lx, ly, lz):
        return tuple(rot @ np.array([lx, ly, lz]) + np.array([x, y, 0.0]))

    out: list[Solid] = []
    rim = 0.30
    for lx in (-0.45, 0.45):
        for ly in (-0.31, 0.31):
            c = np.array(at(lx, ly, 0.165 + 0.15))
            n = rot @ np.array([0, 1.0, 0])
            out.append(rod("iron", c - n * 0.035, c + n * 0.035, 0.15, seed=seed))
            out.append(rod("iron", c - n * 0.035 * np.sign(-ly), c - n * 0.05 * np.sign(-ly), 0.18, seed=seed))
        out.append(rod("iron", at(lx, -0.36, 0.315), at(lx, 0.36, 0.315), 0.03))
    for ly in (-0.27, 0.27):
        out.append(box("iron", at(0, ly, 0.34), (1.7, 0.06, 0.11), yaw=yaw, seed=seed))
    for lx in (-0.85, 0.85):
        out.append(box("iron", at(lx, 0, 0.33), (0.07, 0.62, 0.13), yaw=yaw, seed=seed))
        out.append(rod("iron", at(lx * 0.92, -0.26, 0.45), at(lx * 0.92, 0, 0.92), 0.028))
        out.append(rod("iron", at(lx * 0.92, 0.26, 0.45), at(lx * 0.92, 0, 0.92), 0.028))
        out.append(rod("iron", at(lx, 0, 0.38), at(lx * 1.12, 0, 0.38), 0.07))
    prof = [(-0.16, 0.62), (0.16, 0.62), (0.66, 1.24), (0.66, 1.30), (-0.66, 1.30), (-0.66, 1.24)]

    def hollow(px, py, pz):
        lim = F32(0.13) + (pz - F32(0.66)) * F32(0.80)
        return np.maximum(np.maximum(np.abs(py) - lim, F32(0.66) - pz), np.abs(px) - F32(0.72))

    body = prism("iron", at(0, 0, 0), 1.5, prof, yaw=yaw, seed=seed, carve=hollow, samples=26)
    body.carved_material = "iron"
    out.append(body)
    for lx in (-0.76, 0.76):
        out.append(box("iron", at(lx, 0, 1.22), (0.05, 1.36, 0.09), yaw=yaw))
    for ly in (-0.67, 0.67):
        out.append(box("iron", at(0, ly, 1.23), (1.55, 0.05, 0.08), yaw=yaw))
    return out


# -------------------------------------------------------------------------------------------- plants


def reeds(points: A, seed: int, height=1.9, width=0.012, tone=0.2, lean=(0.25, 0.05), per=9, heads=True) -> Blades:
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
    for k in range(3):  # leaves
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
        clumps.append((centre + d * [wide * squeeze, wide * squeeze, tall], height * rng.uniform(0.05, 0.115)))
    rods: list[Solid] = [rod("timber", (x, y, z - 0.3), (x, y, z + height * 0.6), height * 0.02, r1=height * 0.008)]
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


# ---------------------------------------------------------------------------------------------- sites


def yard_height(x: A, y: A) -> A:
    z = fbm(x, y, 9.0) * F32(0.035) + lumps(x, y, 1.6, 2) * F32(0.012)
    far = smooth(np.hypot(x, y), 70, 260)
    return (z + far * (F32(3.2) + F32(2.0) * lumps(x, y, 120.0, 3))).astype(F32)


def yard_kind(x: A, y: A, z: A, slope: A):
    d = np.hypot(x, y)
    worn = fbm(x, y, 7.0, 5) * F32(0.8) + F32(0.9) - smooth(d, 24, 60) * 3
    worn = worn + lumps(x, y, 0.10, 4) * F32(0.35) + lumps(x, y, 0.35, 6) * F32(0.3)
    return np.where(worn > 0, 1, 0).astype(np.int16)


def yard_site(weeds: int = 5000, focus=(0.0, 0.0), spread=16.0) -> Scene:
    s: list[Solid] = []
    s += kiln(-6.5, 14.0, seed=1.0, face=165)
    s += kiln(4.5, 16.5, seed=5.0, face=190)
    s += kiln(15.5, 17.5, seed=9.0, face=200)
    s += chimney(-1.2, 25.0)
    s += drying_shed(-24.0, 6.0, length=42, yaw=96, seed=3.0)
    s += drying_shed(-35.0, 4.0, length=42, yaw=96, seed=4.0)
    s += track([(-1.0, -22.0), (-0.4, 2.0), (1.6, 9.0)])
    s += wagon(-0.75, -3.2, yaw=88.5)
    for k in range(5):
        s += brick_stack(7.0 + (k % 3) * 1.9, -2.0 + k * 2.6, length=3.8, yaw=4 + k, height=1.15 + 0.13 * (k % 3), seed=k + 1)
    s += loose_bricks(4.0, 3.5, 1.6, 60, 11, yard_height)
    s += loose_bricks(-3.5, 6.5, 1.2, 40, 12, yard_height)
    rng = np.random.default_rng(41)
    pts = scatter(rng, weeds, focus[0] - spread, focus[0] + spread, focus[1] - spread, focus[1] + spread, yard_height,
                  lambda p: fbm(p[:, 0], p[:, 1], 5.0, 8) > 0.75)
    blades = [tufts(pts, 7)]
    canopies: list = []
    for k, (tx, ty, th) in enumerate([(-16, 48, 13), (-6, 55, 15), (20, 50, 14), (33, 46, 12), (44, 52, 15), (10, 60, 16), (28, 60, 15), (-26, 58, 14), (55, 40, 13), (-44, 50, 15), (-55, 40, 14)]):
        b, c, r = tree(tx, ty, 0.0, th, 100 + k)
        blades.append(b)
        canopies += c
        s += r
    # nettles and dock along the feet of the walls, where no wheel goes
    feet = []
    for cx, cy in ((-6.5, 14.0), (4.5, 16.5), (15.5, 17.5)):
        a = rng.uniform(0, 2 * np.pi, 420)
        q = np.stack([cx + (4.5 + rng.exponential(0.25, 420)) * np.sin(a), cy + (4.5 + rng.exponential(0.25, 420)) * np.cos(a)], 1)
        feet.append(q[fbm(q[:, 0].astype(F32), q[:, 1].astype(F32), 4.0, 2) > 0.1])
    for x0, y0, x1, y1 in ((-18.2, -15.0, -22.6, 26.0), (-1.7, -20.0, -1.1, 2.0), (-0.1, -20.0, 0.6, 2.0)):
        k = rng.random(700)
        feet.append(np.stack([x0 + (x1 - x0) * k + rng.normal(0, 0.10, 700), y0 + (y1 - y0) * k], 1)[: 700 if x0 < -10 else 240])
    f2 = np.concatenate(feet).astype(F32)
    f3 = np.column_stack([f2, yard_height(f2[:, 0], f2[:, 1])]).astype(F32)
    blades.append(tufts(f3, 12, height=0.40, width=0.011, tone=0.14, blades=9))
    return Scene(s, Ground(yard_height, ("grass", "yard"), yard_kind), Blades.join(blades), canopies=canopies)


# --- the clay pit

PIT_WATER = -8.35


def pit_height(x: A, y: A) -> A:
    """A dug pit about the origin: four faces with trodden shelves between, standing water at the bottom."""
    r = np.hypot(x * F32(0.86), y) + fbm(x, y, 34.0, 2) * F32(3.0) + lumps(x, y, 5.0, 3) * F32(0.35)
    wob = fbm(x, y, 8.0, 4)
    z = np.zeros_like(r)
    drops = (1.7, 2.6, 1.9, 2.4)
    for k, edge in enumerate((36.0, 29.5, 21.0, 15.8)):
        e = F32(edge) + wob * F32(1.0) + fbm(x, y, 16.0, 20 + k) * F32(0.9) + lumps(x, y, 0.7, 10 + k) * F32(0.05)
        slump = smooth(fbm(x, y, 13.0, 30 + k), 0.5, 1.4)  # where the face has slid
        run = F32(0.30) + F32(1.5) * slump
        step = F32(1.0) - np.clip((r - e + run) / (run * F32(1.35)), 0, 1) ** F32(1.25)
        z = z - step * F32(drops[k])
        z = z + F32(0.5) * np.exp(-np.clip(e - run - r, 0, 9) / F32(0.7)) * step * (F32(0.35) + F32(0.65) * smooth(wob, -0.8, 1.2))
    z = z - smooth(-r, -15.0, -3.0) * F32(1.1)
    rim = F32(0.5) * np.exp(-(((r - 40.0) / 3.0) ** 2))
    far = smooth(r, 70, 300) * (F32(3.0) + F32(2.0) * lumps(x, y, 130.0, 3))
    return (z + rim + far + fbm(x, y, 3.0, 6) * F32(0.05)).astype(F32)


def pit_kind(x: A, y: A, z: A, slope: A):
    turf = (z > -0.35 + 0.12 * lumps(x, y, 0.3, 3)) & (slope < 1.3)
    green = fbm(x, y, 5.0, 9) * F32(0.7) + lumps(x, y, 0.25, 2) * F32(0.3) + smooth(np.hypot(x, y), 36, 48) * F32(1.5)
    return (turf & (green > 0.35)).astype(np.int16)


def hut(x, y, z, yaw=0.0, size=(3.2, 2.6), eaves=2.2, seed=1.0) -> list[Solid]:
    """A pump house of corrugated iron with a door and a small window."""
    w, d = size
    out: list[Solid] = [
        box("corrugated", (x, y, z - 0.4), (w, d, eaves + 0.4), yaw=yaw, seed=seed,
            carve=either(slot(-w / 2 + 0.35, -w / 2 + 1.2, -1, 2.35, (-9, -d / 2 + 0.12)), slot(0.5, 1.15, 1.35, 2.1, (-9, -d / 2 + 0.1)))),
    ]
    out[0].carved_material = "boards_tarred"
    rw = d / 2 + 0.25
    for side in (1, -1):
        prof = [(-rw, eaves - 0.12), (-rw, eaves - 0.18), (0, eaves + 0.75), (0, eaves + 0.81)]
        if side > 0:
            prof = [(-py, pz) for py, pz in prof][::-1]
        out.append(prism("corrugated", (x, y, z), w + 0.4, prof, yaw=yaw, seed=seed + 3))
    out.append(prism("corrugated", (x, y, z), w, [(-d / 2, eaves - 0.1), (d / 2, eaves - 0.1), (0, eaves + 0.68)], yaw=yaw, seed=seed))
    rot = turn(yaw)
    p = rot @ np.array([w / 2 + 0.3, 0.4, 0]) + np.array([x, y, z])
    out.append(post("iron", tuple(p - [0, 0, 0.5]), 0.09, eaves + 2.6, seed=seed))
    return out


def ladder(foot, head, width=0.42, rungs=14, seed=1.0, mat="timber") -> list[Solid]:
    a, b = np.array(foot, float), np.array(head, float)
    w = b - a
    side = np.cross(w, [0, 0, 1.0])
    side = side / np.linalg.norm(side) * width / 2
    out: list[Solid] = [rod(mat, a + s * side, b + s * side * 0.9, 0.035, seed=seed + s) for s in (1, -1)]
    for k in range(rungs):
        q = a + w * (k + 0.6) / (rungs + 0.3)
        t = 1 - 0.1 * k / rungs
        out.append(rod(mat, q - side * t, q + side * t, 0.02, seed=seed + k))
    return out


def pit_site(water=PIT_WATER, weeds=3500, focus=(0.0, -38.0), spread=7.0) -> Scene:
    s: list[Solid] = []

    def g(px, py):
        return float(pit_height(np.array([px], F32), np.array([py], F32))[0])

    s += hut(13.0, 17.5, g(13.0, 17.5) - 0.1, yaw=-35, seed=2.0)
    for k, (px, py) in enumerate([(-4.5, 2.0), (-3.2, 3.6), (-1.9, 5.0), (4.2, -4.0), (5.1, -2.2)]):
        s.append(post("timber_wet", (px, py, -10.0), 0.09, 2.6 + 0.35 * (k % 3), roll=3.0 * (k % 3 - 1), seed=float(k)))
    s.append(rod("timber", (-5.2, 1.2, -8.0), (-1.2, 5.7, -7.85), 0.06))
    top, low = (-14.5, 25.0), (-11.9, 19.6)
    s += ladder((*low, g(*low) - 0.05), (*top, g(*top) + 0.9), seed=3.0, rungs=11)
    s += ladder((9.2, 14.2, g(9.2, 14.2)), (11.0, 17.0, g(11.0, 17.2) + 0.5), seed=5.0, rungs=8)
    s += ladder((-7.4, 14.4, g(-7.4, 14.4)), (-8.6, 17.6, g(-8.9, 18.2) + 0.9), seed=7.0, rungs=9)
    s += _raised([box("oak", (-9.5, 22.2, 0.0), (3.4, 0.23, 0.05), yaw=24, seed=2.0)], g(-9.5, 22.2) + 0.05)
    wx, wy = 21.0, 36.5
    s += [b for b in _raised(wagon(wx, wy, yaw=25, seed=7.0), g(wx, wy) + 0.02)]
    s += [b for b in _raised(track([(10.0, 31.5), (40.0, 45.3)], seed=6), g(wx, wy) + 0.0)]
    rng = np.random.default_rng(8)
    blades: list[Blades] = []
    canopies: list = []
    gp = scatter(rng, weeds, focus[0] - spread, focus[0] + spread, focus[1] - spread, focus[1] + spread, pit_height, lambda p: p[:, 2] > -0.5)
    blades.append(tufts(gp, 9, height=0.3))
    rim = scatter(rng, 9000, -45, 45, 25, 60, pit_height, lambda p: (p[:, 2] > -0.2) & (fbm(p[:, 0], p[:, 1], 6.0, 3) > 0.0))
    blades.append(tufts(rim, 10, height=0.5, width=0.012, blades=6))
    edge = scatter(rng, 9000, -16, 16, -16, 16, pit_height, lambda p: (p[:, 2] > water - 0.25) & (p[:, 2] < water + 0.25) & (fbm(p[:, 0], p[:, 1], 9.0, 3) > 0.5))
    blades.append(reeds(edge, 11, height=1.3, tone=0.17))
    for k, (tx, ty, th) in enumerate([(-30, 58, 11), (-18, 64, 13), (8, 66, 12), (24, 62, 14), (38, 55, 12), (-44, 50, 12), (50, 48, 13), (-4, 72, 13)]):
        bl, c, r = tree(tx, ty, g(tx, ty), th, 200 + k)
        blades.append(bl)
        canopies += c
        s += r
    s += _raised(chimney(-6.0, 120.0, h=31), 2.0)
    return Scene(s, Ground(pit_height, ("clay", "grass"), pit_kind), Blades.join(blades), water=water, ripple=0.003, ripple_size=0.5, water_tone=0.10, canopies=canopies)


def _raised(solids: list[Solid], dz: float) -> list[Solid]:
    for b in solids:
        b.centre = b.centre + np.array([0, 0, dz])
    return solids


# --- the creek


def creek_centre(y: A) -> A:
    return (F32(7.0) * np.sin(y / F32(19.0)) + F32(3.0) * np.sin(y / F32(8.3) + F32(1.0)) * np.clip(y / 20, 0, 1)).astype(F32)


def creek_height(x: A, y: A) -> A:
    """Saltmarsh 0.9 m over mean water, cut by a tidal creek with soft banks and runnels."""
    xc = creek_centre(y)
    wob = fbm(x, y, 11.0, 2)
    d = np.abs(x - xc) + wob * F32(0.7) + lumps(x, y, 2.2, 4) * F32(0.18)
    half = F32(6.0) + F32(1.2) * np.sin(y / F32(13.0))
    q = d - half
    bank = smooth(q, -3.6, 0.25) * F32(2.0) + smooth(q, 0.0, 0.5) * F32(0.42)
    bed = -F32(1.75) - F32(0.5) * smooth(-d, -3.0, 0.0)
    run = np.abs(lumps(x + y * F32(0.05), y, 3.4, 7))
    gully = np.exp(-((run / F32(0.35)) ** 2)) * smooth(-np.abs(q + 1.0), -2.6, -0.6) * F32(0.30)
    top = smooth(q, 0.5, 4.0) * (fbm(x, y, 14.0, 5) * F32(0.12))
    pool = -F32(0.3) * smooth(-np.abs(lumps(x, y, 7.0, 12)), -0.10, -0.02) * smooth(q, 1.2, 2.5)
    far = smooth(np.hypot(x, y), 200, 600) * (F32(5.0) + F32(3.0) * lumps(x, y, 200.0, 3))
    wall = F32(2.2) * np.exp(-(((np.abs(x - F32(38.0)) + fbm(x, y, 40.0, 8) * 1.5) / F32(3.0)) ** 2))
    return (bed + bank + top + pool + far + wall - gully + lumps(x, y, 0.5, 9) * F32(0.012)).astype(F32)


def creek_kind(x: A, y: A, z: A, slope: A):
    g = z + lumps(x, y, 0.35, 3) * F32(0.05) + fbm(x, y, 4.0, 6) * F32(0.06)
    return np.where((g > 0.33) & (slope < 1.6), 1, 0).astype(np.int16)


def jetty(x, y, length, yaw=0.0, deck=1.35, bays=6, seed=1) -> list[Solid]:
    """A worn staging: raking posts in pairs, caps, stringers, planks with some gone."""
    rng = np.random.default_rng(seed)
    rot = turn(yaw)

    def at(lx, ly, lz):
        return rot @ np.array([lx, ly, lz]) + np.array([x, y, 0.0])

    out: list[Solid] = []
    for k in range(bays + 1):
        lx = k * length / bays
        for ly in (-0.75, 0.75):
            foot, head = at(lx + rng.normal(0, 0.06), ly * 1.15, -3.0), at(lx + rng.normal(0, 0.05), ly, deck + (0.9 if rng.random() < 0.35 else 0.02))
            out.append(rod("timber_wet", foot, head, 0.11, seed=float(rng.random() * 20), r1=0.10))
        out.append(rod("timber", at(lx, -1.0, deck - 0.12), at(lx, 1.0, deck - 0.12), 0.085, seed=float(k)))
        if k < bays and rng.random() < 0.8:
            out.append(rod("timber_wet", at(lx, -0.8, -0.9), at(lx, 0.75, deck - 0.3), 0.05, seed=float(k)))
    for ly in (-0.55, 0.55):
        out.append(rod("timber", at(0, ly, deck - 0.02), at(length, ly, deck - 0.02), 0.075, seed=float(ly)))
    n = int(length / 0.19)
    for k in range(n):
        if rng.random() < 0.13:
            continue
        c = at((k + 0.5) * 0.19, rng.normal(0, 0.03), deck + 0.055)
        out.append(box("oak", tuple(c), (0.165, 1.85 + rng.normal(0, 0.06), 0.045), yaw=yaw + rng.normal(0, 1.5), roll=rng.normal(0, 1.2), seed=float(rng.random() * 40)))
    return out


def punt(x, y, z, yaw=0.0, length=6.2, seed=1.0, roll=0.0) -> list[Solid]:
    """A clay punt: flat bottom, raked ends, hollow."""
    h, w = 0.8, 1.0

    def hollow(px, py, pz):
        return np.maximum(np.maximum(np.abs(py) - F32(w - 0.09), F32(0.12) - pz), np.abs(px) - (F32(length / 2 - 0.75) + pz * F32(0.55)))

    n = np.array([[0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1], [0.80, 0, -0.6], [-0.80, 0, -0.6]], float)
    off = np.array([w, w, h, 0.0, 0.8 * length / 2 - 0.6 * h, 0.8 * length / 2 - 0.6 * h])
    from .renderer import Convex

    body = Convex("weatherboard", np.array([x, y, z], float), turn(yaw, 0.0, roll), np.array([-length / 2 - 0.2, -w, 0]), np.array([length / 2 + 0.2, w, h]), seed=seed, carve=hollow, samples=30, normals=n, offsets=off)
    body.carved_material = "timber_wet"
    rot = turn(yaw, 0.0, roll)

    def at(lx, ly, lz):
        return rot @ np.array([lx, ly, lz]) + np.array([x, y, z])

    out: list[Solid] = [body]
    for ly in (-w, w):
        out.append(rod("timber", at(-length / 2 + 0.1, ly, h), at(length / 2 - 0.1, ly, h), 0.05, seed=seed))
    for lx in (-1.2, 0.9):
        out.append(rod("oak", at(lx, -w + 0.05, h - 0.12), at(lx, w - 0.05, h - 0.12), 0.09, seed=seed))
    return out


def rope(a, b, sag, r=0.018, parts=14) -> list[Solid]:
    a, b = np.array(a, float), np.array(b, float)
    q = np.linspace(0, 1, parts + 1)
    pts = a + (b - a) * q[:, None] - np.array([0, 0, 1.0]) * (4 * sag * q * (1 - q))[:, None]
    return [rod("timber", p0, p1, r) for p0, p1 in zip(pts[:-1], pts[1:], strict=True)]


def creek_site(water=-0.75, ripple=0.004, reed_tone=0.22, near=(0.0, -20.0), bed: tuple[float, float, float, int] | None = None) -> Scene:
    s: list[Solid] = []

    def g(px, py):
        return float(creek_height(np.array([px], F32), np.array([py], F32))[0])

    s += jetty(13.0, 8.0, 11.0, yaw=188, seed=3)
    s += punt(0.2, 10.5, max(water, -1.75) - 0.28, yaw=78, seed=2.0, roll=0.0)
    s += rope((3.2, 7.4, 1.7), (0.8, 9.0, water + 0.62), 0.35)
    for k, (px, py, h) in enumerate([(-3.5, 2.0, 1.6), (-5.2, 6.0, 1.3), (-6.3, 10.5, 1.8), (-6.9, 15.0, 1.1), (-6.2, 20.0, 1.5), (3.0, -2.0, 1.2), (4.4, 1.0, 1.7), (5.8, 24.0, 1.4), (4.6, 29.0, 1.2)]):
        px = px + float(creek_centre(np.array([py], F32))[0]) * 0.8
        s.append(post("timber_wet", (px, py, -3.2), 0.13, 3.2 + h - 0.4, r1=0.10, roll=4.0 * ((k * 7) % 5 - 2) / 2, pitch=2.0 * ((k * 3) % 5 - 2), seed=float(k)))
    rng = np.random.default_rng(31)
    blades: list[Blades] = []

    def belt(p):
        q = np.abs(p[:, 0] - creek_centre(p[:, 1]))
        return (p[:, 2] > 0.25) & (q < 16) & (fbm(p[:, 0], p[:, 1], 12.0, 9) > 0.25)

    r1 = scatter(rng, 26000, -24, 24, -6, 70, creek_height, belt)
    blades.append(reeds(r1, 5, height=1.55, width=0.011, tone=reed_tone))
    r2 = scatter(rng, 9000, near[0] - 9, near[0] + 9, near[1] - 6, near[1] + 14, creek_height, lambda p: p[:, 2] > 0.3)
    blades.append(tufts(r2, 6, height=0.38, width=0.007, tone=0.16, blades=9))
    if bed is not None:  # a dense stand of reeds: x, y, radius, stems
        r3 = scatter(rng, bed[3], bed[0] - bed[2], bed[0] + bed[2], bed[1] - bed[2], bed[1] + bed[2], creek_height, lambda p: p[:, 2] > -0.35)
        blades.append(reeds(r3, 15, height=1.75, width=0.0085, tone=0.30, lean=(-0.18, 0.1)))
    canopies: list = []
    for k in range(22):
        tx, ty = -150 + 14 * k + rng.normal(0, 4), 215 + rng.normal(0, 20)
        bl, _, _ = tree(tx, ty, g(tx, ty) - 1.0, rng.uniform(9, 15), 300 + k, leaves=9000, leaf=0.22)
        blades.append(bl)
    s += _raised(chimney(-38.0, 240.0, h=33), 3.0)
    s += _raised(kiln(-26.0, 235.0), 3.0) + _raised(drying_shed(-5.0, 240.0, yaw=5, louvres=False), 3.0)
    return Scene(s, Ground(creek_height, ("mud", "marsh"), creek_kind, reach=900), Blades.join(blades), water=water, ripple=ripple, ripple_size=0.55, water_tone=0.07, canopies=canopies)


# --- near things


def flat(x: A, y: A) -> A:
    return (fbm(x, y, 5.0) * F32(0.02) + lumps(x, y, 0.8, 2) * F32(0.008)).astype(F32)


def flat_kind(x: A, y: A, z: A, slope: A):
    green = fbm(x, y, 2.5, 5) * F32(0.6) + lumps(x, y, 0.12, 4) * F32(0.4) + F32(0.9) + y * F32(0.5)
    return np.where(green > 0, 0, 1).astype(np.int16)


def door(x, y, z=0.0, width=1.06, height=2.05, seed=1.0, ajar=0.0) -> list[Solid]:
    """A ledged plank door in its frame, hung on strap hinges, facing −y."""
    rng = np.random.default_rng(int(seed * 31))
    out: list[Solid] = []
    n = 6
    w = width / n
    for k in range(n):
        cx = x - width / 2 + (k + 0.5) * w
        out.append(box("oak", (cx, y + rng.normal(0, 0.002), z + 0.03 + abs(rng.normal(0, 0.012))), (w - 0.006, 0.034, height - 0.04), roll=rng.normal(0, 0.12), seed=float(rng.random() * 40)))
    for sx in (-1, 1):
        out.append(box("timber", (x + sx * (width / 2 + 0.05), y + 0.02, z), (0.09, 0.12, height + 0.08), seed=seed + sx))
    out.append(box("timber", (x, y + 0.02, z + height + 0.01), (width + 0.2, 0.12, 0.10), seed=seed + 3))
    out.append(box("dark", (x, y + 0.05, z), (width, 0.01, height)))
    left = x - width / 2
    for hz in (z + 0.36, z + height - 0.36):
        out.append(box("iron", (left + 0.345, y - 0.021, hz - 0.028), (0.735, 0.008, 0.056), roll=rng.normal(0, 0.3), seed=seed))
        out.append(rod("iron", (left + 0.70, y - 0.017, hz), (left + 0.70, y - 0.0255, hz), 0.044, seed=seed))
        out.append(rod("iron", (left - 0.012, y - 0.03, hz - 0.062), (left - 0.012, y - 0.03, hz + 0.062), 0.019, seed=seed))
        out.append(rod("iron", (left - 0.012, y - 0.03, hz - 0.10), (left - 0.012, y - 0.03, hz + 0.10), 0.012, seed=seed))
        out.append(box("iron", (left - 0.055, y - 0.052, hz - 0.08), (0.07, 0.014, 0.16), seed=seed))
        for q in (0.10, 0.28, 0.46, 0.64):
            out.append(dome("iron", (left + q, y - 0.024, hz + rng.normal(0, 0.004)), (0.0135, 0.012, 0.0135), cut=-1.0, seed=q))
    out.append(box("iron", (x + width / 2 - 0.14, y - 0.022, z + 0.98), (0.16, 0.012, 0.10), seed=seed))
    out.append(rod("iron", (x + width / 2 - 0.2, y - 0.03, z + 1.03), (x + width / 2 + 0.04, y - 0.03, z + 1.03), 0.012))
    out.append(dome("iron", (x + width / 2 - 0.19, y - 0.05, z + 1.03), (0.024, 0.03, 0.024), cut=-1.0))
    return out


def window(x, y, z, width=1.1, height=1.35, cols=3, rows=4, seed=1.0) -> list[Solid]:
    """A cast-iron window: glazing bars, some panes gone, a stone sill, facing −y."""
    rng = np.random.default_rng(int(seed * 19))
    out: list[Solid] = [box("concrete", (x, y - 0.10, z - 0.11), (width + 0.24, 0.34, 0.11), seed=seed)]
    for k in range(cols + 1):
        cx = x - width / 2 + k * width / cols
        out.append(box("putty", (cx, y, z), (0.03 if 0 < k < cols else 0.06, 0.045, height), seed=float(k)))
    for k in range(rows + 1):
        out.append(box("putty", (x, y + 0.001, z + k * height / rows - 0.015), (width, 0.04, 0.03 if 0 < k < rows else 0.05), seed=float(k)))
    for i in range(cols):
        for k in range(rows):
            if rng.random() < 0.28:
                continue
            out.append(box("glass", (x - width / 2 + (i + 0.5) * width / cols, y + 0.01, z + k * height / rows), (width / cols - 0.02, 0.004, height / rows), pitch=rng.normal(0, 0.8), yaw=rng.normal(0, 0.8)))
    out.append(box("dark", (x, y + 0.85, z - 0.5), (width * 3, 0.05, height + 1.2)))
    return out


def wall_site(seed=1, leaning=True) -> Scene:
    """The engine house's south wall: door, window under a segmental arch, downpipe, a ladder, nettles."""
    wx = 2.35
    carve = either(
        slot(-0.63, 0.63, -1.0, 2.15, (-9, 9)),
        either(slot(wx - 0.56, wx + 0.56, 1.02, 2.28, (-9, 9)), _segment(wx, 2.28, 0.56, 0.16)),
        slot(-2.9, -2.72, 2.6, 2.68, (-9, 0.1)),
        slot(-2.1, -1.92, 2.6, 2.68, (-9, 0.1)),
    )
    w = box("brick", (0, 0.17, -0.3), (16, 0.34, 7.0), seed=3.0, carve=carve, samples=10, uv0=(0.03, 0.0))
    w.carved_material = "brick_arch"
    s: list[Solid] = [w]
    s += door(0, 0.10, 0.02, seed=2.0)
    s += window(wx, 0.16, 1.02, width=1.1, height=1.38, seed=8.0)
    s.append(box("concrete", (0, -0.22, -0.12), (1.55, 0.62, 0.14), seed=4.0))
    s.append(box("concrete", (0, 0.13, 2.15), (1.7, 0.36, 0.24), seed=6.0))
    s.append(rod("iron", (-1.35, -0.09, 0.25), (-1.35, -0.09, 6.5), 0.045))
    for z in (0.9, 2.7, 4.5):
        s.append(rod("iron", (-1.35, -0.09, z), (-1.35, -0.09, z + 0.09), 0.058))
        s.append(box("iron", (-1.35, -0.02, z), (0.2, 0.05, 0.07)))
    s.append(rod("iron", (-1.35, -0.09, 0.27), (-1.35, -0.26, 0.16), 0.045))
    for bx in (-2.8, -1.98):
        s.append(rod("iron", (bx, 0.05, 2.64), (bx, -0.28, 2.62), 0.018))
    if leaning:
        s += ladder((-2.75, -0.95, 0.0), (-2.55, -0.03, 3.6), rungs=13, seed=3.0)
    s += loose_bricks(1.5, -0.55, 0.22, 9, 5, flat)
    s.append(post("iron", (3.5, -0.6, 0.0), 0.29, 0.85, seed=3.0))
    s.append(box("oak", (4.6, -0.12, 0.0), (0.9, 0.05, 1.7), pitch=-7.0, seed=9.0))
    # the far side of the yard, so that the sky is not all there is behind the camera
    s.append(box("brick", (0, -26, 0), (40, 1, 4.0), seed=2.0))
    rng = np.random.default_rng(seed + 60)
    p = scatter(rng, 260, -5, 5, -0.55, -0.05, flat, lambda q: (np.abs(q[:, 0]) > 0.75) & (fbm(q[:, 0], q[:, 1], 2.5, 4) > -0.4))
    p2 = scatter(rng, 900, -6, 6, -4.5, -0.3, flat, lambda q: (np.abs(q[:, 0]) > 0.6) & (fbm(q[:, 0], q[:, 1], 1.8, 6) > 0.8))
    blades = Blades.join([tufts(p, 3, height=0.42, width=0.010, blades=16, tone=0.15), tufts(p2, 4, height=0.13, width=0.004)])
    return Scene(s, Ground(flat, ("grass", "yard"), flat_kind, span=16.0, nearest=0.4), blades)


def _segment(x0, spring, half, rise):
    r = (half * half + rise * rise) / (2 * rise)

    def inside(x, y, z):
        d = np.hypot(x - F32(x0), z - F32(spring + rise - r)) - F32(r)
        return np.maximum(d, np.maximum(F32(spring - 0.01) - z, np.abs(x - F32(x0)) - F32(half)))

    return inside


def cracked_ground(x: A, y: A) -> A:
    return (fbm(x, y, 2.2) * F32(0.008)).astype(F32)


def cracked_site() -> Scene:
    s: list[Solid] = []
    s += [box("brick", (0.16, 0.95, -0.02), (0.225, 0.108, 0.07), yaw=31, pitch=6, roll=-4, seed=5.0)]
    s += [box("brick", (-0.35, 1.42, -0.025), (0.13, 0.108, 0.07), yaw=-18, pitch=9, roll=8, seed=8.0)]
    s.append(rod("timber", (-0.55, 0.72, 0.006), (0.42, 1.30, 0.02), 0.0035))
    s.append(rod("timber", (0.05, 0.66, 0.004), (0.31, 0.74, 0.008), 0.002))
    rng = np.random.default_rng(5)
    for _ in range(46):
        r = float(rng.uniform(0.004, 0.011))
        s.append(dome("concrete", (rng.normal(0.0, 0.5), rng.uniform(0.5, 2.2), 0.0), (r * 1.3, r, r), seed=float(rng.random())))
    pts = scatter(rng, 9, -0.7, 0.7, 0.9, 2.4, cracked_ground)
    return Scene(s, Ground(cracked_ground, ("cracked",), None, span=4.0, nearest=0.25, reach=30.0), tufts(pts, 3, height=0.10, width=0.003, blades=9))


def inside_site() -> Scene:
    """Inside the end kiln, looking out at the yard through the wicket."""
    yard = yard_site(focus=(4.0, 2.0), spread=9.0)
    keep = [b for b in yard.solids if not (abs(b.centre[0] - 4.5) < 5.2 and abs(b.centre[1] - 16.5) < 5.2)]
    cx, cy, r = 4.5, 16.5, 3.5

    def hollow(px, py, pz):
        rad = np.hypot(px, py)
        room = np.maximum(rad - F32(r), F32(-0.9) - pz)
        vault = np.sqrt((px / F32(r)) ** 2 + (py / F32(r)) ** 2 + (np.maximum(pz - F32(2.6), 0) / F32(2.2)) ** 2) - 1
        room = np.maximum(room, vault * F32(2.0))
        wick = np.where(pz < 1.55, np.abs(px) - F32(0.6), np.hypot(px, pz - F32(1.55)) - F32(0.6))
        wick = np.maximum(wick, py)
        eye = np.maximum(rad - F32(0.3), F32(3.5) - pz)
        return np.minimum(np.minimum(room, wick), eye)

    shell = box("brick_sooty", (cx, cy, 0.0), (9.4, 9.4, 6.0), seed=4.0, carve=hollow, samples=64)
    shell.carved_material = "brick_sooty"
    keep.append(shell)
    keep += loose_bricks(3.2, 14.2, 0.35, 14, 3)
    keep += brick_stack(6.2, 14.6, length=1.5, depth=0.5, height=0.75, yaw=60, seed=2.0)
    keep += track([(3.9, -4.0), (4.2, 13.2)], seed=9)
    keep += wagon(3.98, 1.2, yaw=88.0, seed=3.0)
    yard.solids = keep
    return yard
