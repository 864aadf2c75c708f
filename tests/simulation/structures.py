"""Things people built: kilns, stack, sheds, rails, wagon, pump house, staging, punt, door and window."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from .solids import F32, Convex, Solid, box, dome, post, prism, rod, turn


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
        return np.minimum(d, mouth)

    yaw = 180.0 - face
    body = post(
        "brick", (x, y, -0.1), r, wall + 0.1, r1=r - 0.18, yaw=yaw, seed=seed, carve=holes, samples=40
    )
    body.carved_material = "brick_sooty"
    out.append(body)
    out.append(post("brick_sooty", (x, y, wall), r - 0.02, 0.28, seed=seed + 2))
    out.append(
        dome(
            "brick",
            (x, y, wall + 0.22 - 0.9),
            (r - 0.25, r - 0.25, crown + 0.9),
            cut=0.9 / (crown + 0.9),
            seed=seed + 1,
        )
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
    bays = round(length / 3.0)
    for side in (1, -1):
        for k in range(bays + 1):
            lx = -length / 2 + k * length / bays
            out.append(
                box("brick", at(lx, side * w, -0.1), (0.36, 0.36, eaves + 0.1), yaw=yaw, seed=seed + k)
            )
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
                        box(
                            "slat",
                            at(lx, side * w, z),
                            (bl, 0.26, 0.024),
                            yaw=yaw,
                            pitch=-side * pitch,
                            roll=float(rng.normal(0, 0.5)),
                            seed=float(rng.random() * 9),
                        )
                    )
    for side in (1, -1):
        gable = [(-w, eaves - 0.1), (w, eaves - 0.1), (0.0, ridge - 0.25)]
        out.append(
            prism("boards_tarred", at(side * (length / 2 - 0.1), 0, 0), 0.08, gable, yaw=yaw, seed=seed)
        )
    return out


def brick_stack(x, y, length=4.0, depth=0.95, height=1.25, yaw=0.0, seed=1.0) -> list[Solid]:
    rng = np.random.default_rng(int(seed * 17) + 5)
    rot = turn(yaw)
    out: list[Solid] = [box("stack", (x, y, -0.02), (length, depth, height), yaw=yaw, seed=seed)]
    n = int(length * 5)
    for _ in range(n):
        lx, ly = (
            rng.uniform(-length / 2 + 0.15, length / 2 - 0.15),
            rng.uniform(-depth / 2 + 0.1, depth / 2 - 0.1),
        )
        p = rot @ np.array([lx, ly, height - 0.02]) + np.array([x, y, 0])
        out.append(
            box(
                "brick_pale" if rng.random() < 0.3 else "brick",
                tuple(p),
                (0.225, 0.108, 0.07),
                yaw=yaw + rng.choice([0, 90]) + rng.normal(0, 6),
                seed=float(rng.random() * 50),
            )
        )
    return out


def loose_bricks(x, y, spread, count, seed, ground=None) -> list[Solid]:
    rng = np.random.default_rng(seed)
    out: list[Solid] = []
    for _ in range(count):
        px, py = x + rng.normal(0, spread), y + rng.normal(0, spread)
        z = float(ground(np.array([px], F32), np.array([py], F32))[0]) if ground else 0.0
        out.append(
            box(
                "brick",
                (px, py, z - 0.02),
                (0.225, 0.108, 0.072),
                yaw=rng.uniform(0, 180),
                pitch=rng.normal(0, 9),
                roll=rng.normal(0, 9),
                seed=float(rng.random() * 90),
            )
        )
    return out


def track(points, gauge=0.61, ground=None, seed=1) -> list[Solid]:
    """Narrow-gauge rails on sleepers along straight pieces between points (x, y)."""
    out: list[Solid] = []
    rng = np.random.default_rng(seed)
    for (x0, y0), (x1, y1) in pairwise(points):
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
                box(
                    "timber",
                    (*c, -0.02 + rng.normal(0, 0.006)),
                    (0.16, 1.15 + rng.normal(0, 0.05), 0.115),
                    yaw=yaw + rng.normal(0, 2.5),
                    seed=float(rng.random() * 30),
                )
            )
    return out


def wagon(x, y, yaw=0.0, seed=4.0) -> list[Solid]:
    """A tip wagon: V body in a frame on four wheels."""
    rot = turn(yaw)

    def at(lx, ly, lz):
        return tuple(rot @ np.array([lx, ly, lz]) + np.array([x, y, 0.0]))

    out: list[Solid] = []
    for lx in (-0.45, 0.45):
        for ly in (-0.31, 0.31):
            c = np.array(at(lx, ly, 0.165 + 0.15))
            n = rot @ np.array([0, 1.0, 0])
            out.append(rod("iron", c - n * 0.035, c + n * 0.035, 0.15, seed=seed))
            out.append(
                rod("iron", c - n * 0.035 * np.sign(-ly), c - n * 0.05 * np.sign(-ly), 0.18, seed=seed)
            )
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


def hut(x, y, z, yaw=0.0, size=(3.2, 2.6), eaves=2.2, seed=1.0) -> list[Solid]:
    """A pump house of corrugated iron with a door and a small window."""
    w, d = size
    out: list[Solid] = [
        box(
            "corrugated",
            (x, y, z - 0.4),
            (w, d, eaves + 0.4),
            yaw=yaw,
            seed=seed,
            carve=either(
                slot(-w / 2 + 0.35, -w / 2 + 1.2, -1, 2.35, (-9, -d / 2 + 0.12)),
                slot(0.5, 1.15, 1.35, 2.1, (-9, -d / 2 + 0.1)),
            ),
        ),
    ]
    out[0].carved_material = "boards_tarred"
    rw = d / 2 + 0.25
    for side in (1, -1):
        prof = [(-rw, eaves - 0.12), (-rw, eaves - 0.18), (0, eaves + 0.75), (0, eaves + 0.81)]
        if side > 0:
            prof = [(-py, pz) for py, pz in prof][::-1]
        out.append(prism("corrugated", (x, y, z), w + 0.4, prof, yaw=yaw, seed=seed + 3))
    out.append(
        prism(
            "corrugated",
            (x, y, z),
            w,
            [(-d / 2, eaves - 0.1), (d / 2, eaves - 0.1), (0, eaves + 0.68)],
            yaw=yaw,
            seed=seed,
        )
    )
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


def raised(solids: list[Solid], dz: float) -> list[Solid]:
    for b in solids:
        b.centre = b.centre + np.array([0, 0, dz])
    return solids


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
            foot, head = (
                at(lx + rng.normal(0, 0.06), ly * 1.15, -3.0),
                at(lx + rng.normal(0, 0.05), ly, deck + (0.9 if rng.random() < 0.35 else 0.02)),
            )
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
        out.append(
            box(
                "oak",
                tuple(c),
                (0.165, 1.85 + rng.normal(0, 0.06), 0.045),
                yaw=yaw + rng.normal(0, 1.5),
                roll=rng.normal(0, 1.2),
                seed=float(rng.random() * 40),
            )
        )
    return out


def punt(x, y, z, yaw=0.0, length=6.2, seed=1.0, roll=0.0) -> list[Solid]:
    """A clay punt: flat bottom, raked ends, hollow."""
    h, w = 0.8, 1.0

    def hollow(px, py, pz):
        return np.maximum(
            np.maximum(np.abs(py) - F32(w - 0.09), F32(0.12) - pz),
            np.abs(px) - (F32(length / 2 - 0.75) + pz * F32(0.55)),
        )

    n = np.array([[0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1], [0.80, 0, -0.6], [-0.80, 0, -0.6]], float)
    off = np.array([w, w, h, 0.0, 0.8 * length / 2 - 0.6 * h, 0.8 * length / 2 - 0.6 * h])
    body = Convex(
        "weatherboard",
        np.array([x, y, z], float),
        turn(yaw, 0.0, roll),
        np.array([-length / 2 - 0.2, -w, 0]),
        np.array([length / 2 + 0.2, w, h]),
        seed=seed,
        carve=hollow,
        samples=30,
        normals=n,
        offsets=off,
    )
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
    return [rod("timber", p0, p1, r) for p0, p1 in pairwise(pts)]


def door(x, y, z=0.0, width=1.06, height=2.05, seed=1.0, ajar=0.0) -> list[Solid]:
    """A ledged plank door in its frame, hung on strap hinges, facing −y."""
    rng = np.random.default_rng(int(seed * 31))
    out: list[Solid] = []
    n = 6
    w = width / n
    for k in range(n):
        cx = x - width / 2 + (k + 0.5) * w
        out.append(
            box(
                "oak",
                (cx, y + rng.normal(0, 0.002), z + 0.03 + abs(rng.normal(0, 0.012))),
                (w - 0.006, 0.034, height - 0.04),
                roll=rng.normal(0, 0.12),
                seed=float(rng.random() * 40),
            )
        )
    for sx in (-1, 1):
        out.append(
            box(
                "timber",
                (x + sx * (width / 2 + 0.05), y + 0.02, z),
                (0.09, 0.12, height + 0.08),
                seed=seed + sx,
            )
        )
    out.append(box("timber", (x, y + 0.02, z + height + 0.01), (width + 0.2, 0.12, 0.10), seed=seed + 3))
    out.append(box("dark", (x, y + 0.05, z), (width, 0.01, height)))
    left = x - width / 2
    for hz in (z + 0.36, z + height - 0.36):
        out.append(
            box(
                "iron",
                (left + 0.345, y - 0.021, hz - 0.028),
                (0.735, 0.008, 0.056),
                roll=rng.normal(0, 0.3),
                seed=seed,
            )
        )
        out.append(rod("iron", (left + 0.70, y - 0.017, hz), (left + 0.70, y - 0.0255, hz), 0.044, seed=seed))
        out.append(
            rod(
                "iron",
                (left - 0.012, y - 0.03, hz - 0.062),
                (left - 0.012, y - 0.03, hz + 0.062),
                0.019,
                seed=seed,
            )
        )
        out.append(
            rod(
                "iron",
                (left - 0.012, y - 0.03, hz - 0.10),
                (left - 0.012, y - 0.03, hz + 0.10),
                0.012,
                seed=seed,
            )
        )
        out.append(box("iron", (left - 0.055, y - 0.052, hz - 0.08), (0.07, 0.014, 0.16), seed=seed))
        for q in (0.10, 0.28, 0.46, 0.64):
            out.append(
                dome(
                    "iron",
                    (left + q, y - 0.024, hz + rng.normal(0, 0.004)),
                    (0.0135, 0.012, 0.0135),
                    cut=-1.0,
                    seed=q,
                )
            )
    out.append(box("iron", (x + width / 2 - 0.14, y - 0.022, z + 0.98), (0.16, 0.012, 0.10), seed=seed))
    out.append(
        rod(
            "iron",
            (x + width / 2 - 0.2, y - 0.03, z + 1.03),
            (x + width / 2 + 0.04, y - 0.03, z + 1.03),
            0.012,
        )
    )
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
        out.append(
            box(
                "putty",
                (x, y + 0.001, z + k * height / rows - 0.015),
                (width, 0.04, 0.03 if 0 < k < rows else 0.05),
                seed=float(k),
            )
        )
    for i in range(cols):
        for k in range(rows):
            if rng.random() < 0.28:
                continue
            out.append(
                box(
                    "glass",
                    (x - width / 2 + (i + 0.5) * width / cols, y + 0.01, z + k * height / rows),
                    (width / cols - 0.02, 0.004, height / rows),
                    pitch=rng.normal(0, 0.8),
                    yaw=rng.normal(0, 0.8),
                )
            )
    out.append(box("dark", (x, y + 0.85, z - 0.5), (width * 3, 0.05, height + 1.2)))
    return out


def segment(x0, spring, half, rise):
    r = (half * half + rise * rise) / (2 * rise)

    def inside(x, y, z):
        d = np.hypot(x - F32(x0), z - F32(spring + rise - r)) - F32(r)
        return np.maximum(d, np.maximum(F32(spring - 0.01) - z, np.abs(x - F32(x0)) - F32(half)))

    return inside
