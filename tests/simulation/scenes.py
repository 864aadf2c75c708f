"""Hollin Brickworks, its clay pits and Sallow Creek. Metres; x east, y north, z up."""

from __future__ import annotations

import numpy as np

from .plants import reeds, scatter, tree, tufts
from .setting import Blades, Ground, Scene
from .solids import F32, A, Solid, box, post, rod
from .structures import (
    brick_stack,
    chimney,
    drying_shed,
    hut,
    jetty,
    kiln,
    ladder,
    loose_bricks,
    punt,
    raised,
    rope,
    track,
    wagon,
)
from .terrain import fbm, lumps, smooth


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
        s += brick_stack(
            7.0 + (k % 3) * 1.9,
            -2.0 + k * 2.6,
            length=3.8,
            yaw=4 + k,
            height=1.15 + 0.13 * (k % 3),
            seed=k + 1,
        )
    s += loose_bricks(4.0, 3.5, 1.6, 60, 11, yard_height)
    s += loose_bricks(-3.5, 6.5, 1.2, 40, 12, yard_height)
    rng = np.random.default_rng(41)
    pts = scatter(
        rng,
        weeds,
        focus[0] - spread,
        focus[0] + spread,
        focus[1] - spread,
        focus[1] + spread,
        yard_height,
        lambda p: fbm(p[:, 0], p[:, 1], 5.0, 8) > 0.75,
    )
    blades = [tufts(pts, 7)]
    canopies: list = []
    for k, (tx, ty, th) in enumerate(
        [
            (-16, 48, 13),
            (-6, 55, 15),
            (20, 50, 14),
            (33, 46, 12),
            (44, 52, 15),
            (10, 60, 16),
            (28, 60, 15),
            (-26, 58, 14),
            (55, 40, 13),
            (-44, 50, 15),
            (-55, 40, 14),
        ]
    ):
        b, c, r = tree(tx, ty, 0.0, th, 100 + k)
        blades.append(b)
        canopies += c
        s += r
    # nettles and dock along the feet of the walls, where no wheel goes
    feet = []
    for cx, cy in ((-6.5, 14.0), (4.5, 16.5), (15.5, 17.5)):
        a = rng.uniform(0, 2 * np.pi, 420)
        q = np.stack(
            [
                cx + (4.5 + rng.exponential(0.25, 420)) * np.sin(a),
                cy + (4.5 + rng.exponential(0.25, 420)) * np.cos(a),
            ],
            1,
        )
        feet.append(q[fbm(q[:, 0].astype(F32), q[:, 1].astype(F32), 4.0, 2) > 0.1])
    for x0, y0, x1, y1 in ((-18.2, -15.0, -22.6, 26.0), (-1.7, -20.0, -1.1, 2.0), (-0.1, -20.0, 0.6, 2.0)):
        k = rng.random(700)
        feet.append(
            np.stack([x0 + (x1 - x0) * k + rng.normal(0, 0.10, 700), y0 + (y1 - y0) * k], 1)[
                : 700 if x0 < -10 else 240
            ]
        )
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
        e = (
            F32(edge)
            + wob * F32(1.0)
            + fbm(x, y, 16.0, 20 + k) * F32(0.9)
            + lumps(x, y, 0.7, 10 + k) * F32(0.05)
        )
        slump = smooth(fbm(x, y, 13.0, 30 + k), 0.5, 1.4)  # where the face has slid
        run = F32(0.30) + F32(1.5) * slump
        step = F32(1.0) - np.clip((r - e + run) / (run * F32(1.35)), 0, 1) ** F32(1.25)
        z = z - step * F32(drops[k])
        z = z + F32(0.5) * np.exp(-np.clip(e - run - r, 0, 9) / F32(0.7)) * step * (
            F32(0.35) + F32(0.65) * smooth(wob, -0.8, 1.2)
        )
    z = z - smooth(-r, -15.0, -3.0) * F32(1.1)
    rim = F32(0.5) * np.exp(-(((r - 40.0) / 3.0) ** 2))
    far = smooth(r, 70, 300) * (F32(3.0) + F32(2.0) * lumps(x, y, 130.0, 3))
    return (z + rim + far + fbm(x, y, 3.0, 6) * F32(0.05)).astype(F32)


def pit_kind(x: A, y: A, z: A, slope: A):
    turf = (z > -0.35 + 0.12 * lumps(x, y, 0.3, 3)) & (slope < 1.3)
    green = (
        fbm(x, y, 5.0, 9) * F32(0.7)
        + lumps(x, y, 0.25, 2) * F32(0.3)
        + smooth(np.hypot(x, y), 36, 48) * F32(1.5)
    )
    return (turf & (green > 0.35)).astype(np.int16)


def pit_site(water=PIT_WATER, weeds=3500, focus=(0.0, -38.0), spread=7.0) -> Scene:
    s: list[Solid] = []

    def g(px, py):
        return float(pit_height(np.array([px], F32), np.array([py], F32))[0])

    s += hut(13.0, 17.5, g(13.0, 17.5) - 0.1, yaw=-35, seed=2.0)
    for k, (px, py) in enumerate([(-4.5, 2.0), (-3.2, 3.6), (-1.9, 5.0), (4.2, -4.0), (5.1, -2.2)]):
        s.append(
            post(
                "timber_wet",
                (px, py, -10.0),
                0.09,
                2.6 + 0.35 * (k % 3),
                roll=3.0 * (k % 3 - 1),
                seed=float(k),
            )
        )
    s.append(rod("timber", (-5.2, 1.2, -8.0), (-1.2, 5.7, -7.85), 0.06))
    top, low = (-14.5, 25.0), (-11.9, 19.6)
    s += ladder((*low, g(*low) - 0.05), (*top, g(*top) + 0.9), seed=3.0, rungs=11)
    s += ladder((9.2, 14.2, g(9.2, 14.2)), (11.0, 17.0, g(11.0, 17.2) + 0.5), seed=5.0, rungs=8)
    s += ladder((-7.4, 14.4, g(-7.4, 14.4)), (-8.6, 17.6, g(-8.9, 18.2) + 0.9), seed=7.0, rungs=9)
    s += raised([box("oak", (-9.5, 22.2, 0.0), (3.4, 0.23, 0.05), yaw=24, seed=2.0)], g(-9.5, 22.2) + 0.05)
    wx, wy = 21.0, 36.5
    s += list(raised(wagon(wx, wy, yaw=25, seed=7.0), g(wx, wy) + 0.02))
    s += list(raised(track([(10.0, 31.5), (40.0, 45.3)], seed=6), g(wx, wy) + 0.0))
    rng = np.random.default_rng(8)
    blades: list[Blades] = []
    canopies: list = []
    gp = scatter(
        rng,
        weeds,
        focus[0] - spread,
        focus[0] + spread,
        focus[1] - spread,
        focus[1] + spread,
        pit_height,
        lambda p: p[:, 2] > -0.5,
    )
    blades.append(tufts(gp, 9, height=0.3))
    rim = scatter(
        rng,
        9000,
        -45,
        45,
        25,
        60,
        pit_height,
        lambda p: (p[:, 2] > -0.2) & (fbm(p[:, 0], p[:, 1], 6.0, 3) > 0.0),
    )
    blades.append(tufts(rim, 10, height=0.5, width=0.012, blades=6))
    edge = scatter(
        rng,
        9000,
        -16,
        16,
        -16,
        16,
        pit_height,
        lambda p: (p[:, 2] > water - 0.25) & (p[:, 2] < water + 0.25) & (fbm(p[:, 0], p[:, 1], 9.0, 3) > 0.5),
    )
    blades.append(reeds(edge, 11, height=1.3, tone=0.17))
    for k, (tx, ty, th) in enumerate(
        [
            (-30, 58, 11),
            (-18, 64, 13),
            (8, 66, 12),
            (24, 62, 14),
            (38, 55, 12),
            (-44, 50, 12),
            (50, 48, 13),
            (-4, 72, 13),
        ]
    ):
        bl, c, r = tree(tx, ty, g(tx, ty), th, 200 + k)
        blades.append(bl)
        canopies += c
        s += r
    s += raised(chimney(-6.0, 120.0, h=31), 2.0)
    return Scene(
        s,
        Ground(pit_height, ("clay", "grass"), pit_kind),
        Blades.join(blades),
        water=water,
        ripple=0.003,
        ripple_size=0.5,
        water_tone=0.10,
        canopies=canopies,
    )


# --- the creek


def creek_centre(y: A) -> A:
    return (
        F32(7.0) * np.sin(y / F32(19.0)) + F32(3.0) * np.sin(y / F32(8.3) + F32(1.0)) * np.clip(y / 20, 0, 1)
    ).astype(F32)


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


def creek_site(
    water=-0.75,
    ripple=0.004,
    reed_tone=0.22,
    near=(0.0, -20.0),
    bed: tuple[float, float, float, int] | None = None,
) -> Scene:
    s: list[Solid] = []

    def g(px, py):
        return float(creek_height(np.array([px], F32), np.array([py], F32))[0])

    s += jetty(13.0, 8.0, 11.0, yaw=188, seed=3)
    s += punt(0.2, 10.5, max(water, -1.75) - 0.28, yaw=78, seed=2.0, roll=0.0)
    s += rope((3.2, 7.4, 1.7), (0.8, 9.0, water + 0.62), 0.35)
    for k, (px, py, h) in enumerate(
        [
            (-3.5, 2.0, 1.6),
            (-5.2, 6.0, 1.3),
            (-6.3, 10.5, 1.8),
            (-6.9, 15.0, 1.1),
            (-6.2, 20.0, 1.5),
            (3.0, -2.0, 1.2),
            (4.4, 1.0, 1.7),
            (5.8, 24.0, 1.4),
            (4.6, 29.0, 1.2),
        ]
    ):
        px = px + float(creek_centre(np.array([py], F32))[0]) * 0.8
        s.append(
            post(
                "timber_wet",
                (px, py, -3.2),
                0.13,
                3.2 + h - 0.4,
                r1=0.10,
                roll=4.0 * ((k * 7) % 5 - 2) / 2,
                pitch=2.0 * ((k * 3) % 5 - 2),
                seed=float(k),
            )
        )
    rng = np.random.default_rng(31)
    blades: list[Blades] = []

    def belt(p):
        q = np.abs(p[:, 0] - creek_centre(p[:, 1]))
        return (p[:, 2] > 0.25) & (q < 16) & (fbm(p[:, 0], p[:, 1], 12.0, 9) > 0.25)

    r1 = scatter(rng, 26000, -24, 24, -6, 70, creek_height, belt)
    blades.append(reeds(r1, 5, height=1.55, width=0.011, tone=reed_tone))
    r2 = scatter(
        rng, 9000, near[0] - 9, near[0] + 9, near[1] - 6, near[1] + 14, creek_height, lambda p: p[:, 2] > 0.3
    )
    blades.append(tufts(r2, 6, height=0.38, width=0.007, tone=0.16, blades=9))
    if bed is not None:  # a dense stand of reeds: x, y, radius, stems
        r3 = scatter(
            rng,
            bed[3],
            bed[0] - bed[2],
            bed[0] + bed[2],
            bed[1] - bed[2],
            bed[1] + bed[2],
            creek_height,
            lambda p: p[:, 2] > -0.35,
        )
        blades.append(reeds(r3, 15, height=1.75, width=0.0085, tone=0.30, lean=(-0.18, 0.1)))
    canopies: list = []
    for k in range(22):
        tx, ty = -150 + 14 * k + rng.normal(0, 4), 215 + rng.normal(0, 20)
        bl, _, _ = tree(tx, ty, g(tx, ty) - 1.0, rng.uniform(9, 15), 300 + k, leaves=9000, leaf=0.22)
        blades.append(bl)
    s += raised(chimney(-38.0, 240.0, h=33), 3.0)
    s += raised(kiln(-26.0, 235.0), 3.0) + raised(drying_shed(-5.0, 240.0, yaw=5, louvres=False), 3.0)
    return Scene(
        s,
        Ground(creek_height, ("mud", "marsh"), creek_kind, reach=900),
        Blades.join(blades),
        water=water,
        ripple=ripple,
        ripple_size=0.55,
        water_tone=0.07,
        canopies=canopies,
    )
