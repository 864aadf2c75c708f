"""Close things: the engine house's wall, the dried pan, the inside of a kiln."""

from __future__ import annotations

import numpy as np

from .plants import scatter, tufts
from .scenes import yard_site
from .setting import Blades, Ground, Scene
from .solids import F32, A, Solid, box, dome, post, rod
from .structures import (
    brick_stack,
    door,
    either,
    ladder,
    loose_bricks,
    segment,
    slot,
    track,
    wagon,
    window,
)
from .terrain import fbm, lumps


def flat(x: A, y: A) -> A:
    return (fbm(x, y, 5.0) * F32(0.02) + lumps(x, y, 0.8, 2) * F32(0.008)).astype(F32)


def flat_kind(x: A, y: A, z: A, slope: A):
    green = fbm(x, y, 2.5, 5) * F32(0.6) + lumps(x, y, 0.12, 4) * F32(0.4) + F32(0.9) + y * F32(0.5)
    return np.where(green > 0, 0, 1).astype(np.int16)


def wall_site(seed=1, leaning=True) -> Scene:
    """The engine house's south wall: door, window under a segmental arch, downpipe, a ladder, nettles."""
    wx = 2.35
    carve = either(
        slot(-0.63, 0.63, -1.0, 2.15, (-9, 9)),
        either(slot(wx - 0.56, wx + 0.56, 1.02, 2.28, (-9, 9)), segment(wx, 2.28, 0.56, 0.16)),
        slot(-2.9, -2.72, 2.6, 2.68, (-9, 0.1)),
        slot(-2.1, -1.92, 2.6, 2.68, (-9, 0.1)),
    )
    w = box("brick", (0, 0.17, 0.0), (16, 0.34, 7.0), seed=3.0, carve=carve, samples=10, uv0=(0.03, 0.0))
    w.carved_material = "brick_arch"
    s: list[Solid] = [w, box("brick", (0, 0.17, -0.3), (16, 0.36, 0.3), seed=3.0)]
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
    p = scatter(
        rng,
        260,
        -5,
        5,
        -0.55,
        -0.05,
        flat,
        lambda q: (np.abs(q[:, 0]) > 0.75) & (fbm(q[:, 0], q[:, 1], 2.5, 4) > -0.4),
    )
    p2 = scatter(
        rng,
        900,
        -6,
        6,
        -4.5,
        -0.3,
        flat,
        lambda q: (np.abs(q[:, 0]) > 0.6) & (fbm(q[:, 0], q[:, 1], 1.8, 6) > 0.8),
    )
    blades = Blades.join(
        [tufts(p, 3, height=0.42, width=0.010, blades=16, tone=0.15), tufts(p2, 4, height=0.13, width=0.004)]
    )
    return Scene(s, Ground(flat, ("grass", "yard"), flat_kind, span=16.0, nearest=0.4), blades)


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
        s.append(
            dome(
                "concrete",
                (rng.normal(0.0, 0.5), rng.uniform(0.5, 2.2), 0.0),
                (r * 1.3, r, r),
                seed=float(rng.random()),
            )
        )
    pts = scatter(rng, 9, -0.7, 0.7, 0.9, 2.4, cracked_ground)
    return Scene(
        s,
        Ground(cracked_ground, ("cracked",), None, span=4.0, nearest=0.25, reach=30.0),
        tufts(pts, 3, height=0.10, width=0.003, blades=9),
    )


def inside_site() -> Scene:
    """Inside the end kiln, looking out at the yard through the wicket."""
    yard = yard_site(focus=(4.0, 2.0), spread=9.0)
    keep = [b for b in yard.solids if not (abs(b.centre[0] - 4.5) < 5.2 and abs(b.centre[1] - 16.5) < 5.2)]
    cx, cy, r = 4.5, 16.5, 3.5

    def hollow(px, py, pz):
        rad = np.hypot(px, py)
        room = np.maximum(rad - F32(r), F32(-0.9) - pz)
        vault = (
            np.sqrt((px / F32(r)) ** 2 + (py / F32(r)) ** 2 + (np.maximum(pz - F32(2.6), 0) / F32(2.2)) ** 2)
            - 1
        )
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
