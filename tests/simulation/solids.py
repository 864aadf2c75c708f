"""Convex solids that rays are cast at: boxes, prisms, round posts and rods, domes; all may be carved into."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

A = NDArray[np.float32]
F32 = np.float32
FAR = F32(1e9)


def unit(v: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(v / np.linalg.norm(v))


def heading_vector(azimuth_deg: float, elevation_deg: float = 0.0) -> NDArray[np.float64]:
    """Unit vector; azimuth clockwise from north (y), elevation up."""
    a, e = np.radians(azimuth_deg), np.radians(elevation_deg)
    return np.array([np.sin(a) * np.cos(e), np.cos(a) * np.cos(e), np.sin(e)])


def turn(yaw_deg: float = 0.0, pitch_deg: float = 0.0, roll_deg: float = 0.0) -> NDArray[np.float64]:
    """Rotation matrix: roll about y, then pitch about x, then yaw about z (anticlockwise from above)."""
    y, p, r = np.radians([yaw_deg, pitch_deg, roll_deg])
    rz = np.array([[np.cos(y), -np.sin(y), 0], [np.sin(y), np.cos(y), 0], [0, 0, 1]])
    rx = np.array([[1, 0, 0], [0, np.cos(p), -np.sin(p)], [0, np.sin(p), np.cos(p)]])
    ry = np.array([[np.cos(r), 0, np.sin(r)], [0, 1, 0], [-np.sin(r), 0, np.cos(r)]])
    return np.asarray(rz @ rx @ ry)


@dataclass
class Solid:
    """A convex body: the ray's stay inside it is one interval."""

    material: str
    centre: NDArray[np.float64]
    rotation: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    seed: float = 0.0
    carve: Callable[[A, A, A], A] | None = None
    carved_material: str = ""
    samples: int = 28
    uv0: tuple[float, float] = (0.0, 0.0)

    def corners(self) -> NDArray[np.float64]:
        pick = np.array([[i & 1, (i >> 1) & 1, i >> 2] for i in range(8)])
        local = np.where(pick, self.high, self.low)
        return np.asarray(local @ self.rotation.T + self.centre)

    def interval(self, o, d):
        raise NotImplementedError

    def surface(self, x, y, z, face):
        raise NotImplementedError

    def hit(self, o, d, tmin):
        """(t, face): first t beyond tmin where the ray is in the solid; face −1 is the carved surface."""
        tn, tf, face = self.interval(o, d)
        ok = (tf > tn) & (tf > tmin)
        if self.carve is None:
            return np.where(ok & (tn > tmin), tn, FAR), face
        return self._hit_carved(o, d, np.maximum(tn, tmin), tf, face, ok, tn > tmin)

    def _hit_carved(self, o, d, t0, t1, face, ok, outside):
        shape = np.broadcast_shapes(np.shape(t0), np.shape(ok))
        t0, t1, ok, outside = (np.broadcast_to(q, shape) for q in (t0, t1, ok, outside))
        face = np.broadcast_to(face, shape)
        out_t = np.full(shape, FAR, F32)
        out_f = np.full(shape, -1, np.int16)
        idx = np.nonzero(ok.ravel())[0]
        if not len(idx):
            return out_t, out_f
        oo = [np.broadcast_to(q, shape).ravel()[idx] for q in o]
        dd = [np.broadcast_to(q, shape).ravel()[idx] for q in d]
        a, b = t0.ravel()[idx], t1.ravel()[idx]
        assert self.carve is not None

        def solid(t, sel=slice(None)):
            return self.carve(*(q[sel] + t * r[sel] for q, r in zip(oo, dd, strict=True))) > 0

        span = b - a
        first = solid(a + 1e-4 * span + 1e-4)
        res = np.where(first & outside.ravel()[idx], a, FAR).astype(F32)
        fac = np.where(first & outside.ravel()[idx], face.ravel()[idx], -1).astype(np.int16)
        # a ray that starts inside the solid (a shadow ray from its own recess) is blocked at once
        res = np.where(first & ~outside.ravel()[idx], a + 1e-3, res)
        todo = np.nonzero(~first)[0]
        lo = a[todo].copy()
        n = self.samples
        for k in range(1, n + 1):
            if not len(todo):
                break
            t = a[todo] + span[todo] * F32((k - 0.3) / n)
            s = self.carve(*(q[todo] + t * r[todo] for q, r in zip(oo, dd, strict=True))) > 0
            if s.any():
                hit_i, lo_i, hi_i = todo[s], lo[s], t[s]
                for _ in range(9):
                    mid = (lo_i + hi_i) / 2
                    inside = self.carve(*(q[hit_i] + mid * r[hit_i] for q, r in zip(oo, dd, strict=True))) > 0
                    hi_i = np.where(inside, mid, hi_i)
                    lo_i = np.where(inside, lo_i, mid)
                res[hit_i] = hi_i
            keep = ~s
            todo, lo = todo[keep], t[keep]
        out_t.ravel()[idx] = res
        out_f.ravel()[idx] = fac
        return out_t, out_f

    def carved_normal(self, x, y, z):
        assert self.carve is not None
        e = F32(0.01)
        g = [
            self.carve(x + e, y, z) - self.carve(x - e, y, z),
            self.carve(x, y + e, z) - self.carve(x, y - e, z),
            self.carve(x, y, z + e) - self.carve(x, y, z - e),
        ]
        n = np.sqrt(g[0] ** 2 + g[1] ** 2 + g[2] ** 2) + 1e-9
        return [-q / n for q in g]


@dataclass
class Convex(Solid):
    """Half-spaces n·p ≤ h in the body's own frame."""

    normals: NDArray[np.float64] = field(default_factory=lambda: np.zeros((0, 3)))
    offsets: NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))

    def interval(self, o, d):
        tn, tf = F32(-FAR), F32(FAR)
        face: object = np.int16(0)
        for k, (n, h) in enumerate(zip(self.normals.astype(F32), self.offsets.astype(F32), strict=True)):
            nd = n[0] * d[0] + n[1] * d[1] + n[2] * d[2]
            no = h - (n[0] * o[0] + n[1] * o[1] + n[2] * o[2])
            nd = np.where(np.abs(nd) < 1e-7, F32(-1e-7), nd)
            t = no / nd
            entering = nd < 0
            te = np.where(entering, t, -FAR)
            better = te > tn
            tn = np.where(better, te, tn)
            face = np.where(better, np.int16(k), face)
            tf = np.minimum(tf, np.where(entering, FAR, t))
        return tn, tf, face

    def surface(self, x, y, z, face):
        n = self.normals[face].astype(F32)
        flat = np.abs(self.normals[:, 2]) > 0.99
        tang = np.stack([-self.normals[:, 1], self.normals[:, 0], 0 * self.normals[:, 0]], 1)
        ln = np.linalg.norm(tang, axis=1, keepdims=True)
        tang = np.where(flat[:, None], [1.0, 0, 0], tang / np.where(ln < 1e-9, 1, ln))
        up = np.cross(self.normals, tang)
        e1, e2 = tang[face].astype(F32), up[face].astype(F32)
        u = e1[:, 0] * x + e1[:, 1] * y + e1[:, 2] * z
        v = e2[:, 0] * x + e2[:, 1] * y + e2[:, 2] * z
        return n[:, 0], n[:, 1], n[:, 2], u + F32(self.uv0[0]), v + F32(self.uv0[1])


@dataclass
class Frustum(Solid):
    """A round post: radius r0 at z=0, r1 at z=height, in its own frame."""

    r0: float = 1.0
    r1: float = 1.0
    height: float = 1.0

    def interval(self, o, d):
        k = F32((self.r1 - self.r0) / self.height)
        rz = F32(self.r0) + k * o[2]
        a = np.maximum(d[0] * d[0] + d[1] * d[1] - k * k * d[2] * d[2], F32(1e-9))
        b = o[0] * d[0] + o[1] * d[1] - k * rz * d[2]
        c = o[0] * o[0] + o[1] * o[1] - rz * rz
        disc = b * b - a * c
        root = np.sqrt(np.maximum(disc, 0))
        s0, s1 = (-b - root) / a, (-b + root) / a
        dz = np.where(np.abs(d[2]) < 1e-7, F32(1e-7), d[2])
        z0, z1 = (0 - o[2]) / dz, (F32(self.height) - o[2]) / dz
        c0, c1 = np.minimum(z0, z1), np.maximum(z0, z1)
        tn = np.maximum(s0, c0)
        tf = np.where(disc > 0, np.minimum(s1, c1), -FAR)
        face = np.where(s0 >= c0, 0, np.where(d[2] > 0, 1, 2)).astype(np.int16)
        return tn, tf, face

    def surface(self, x, y, z, face):
        r = np.hypot(x, y) + 1e-9
        k = (self.r0 - self.r1) / self.height
        q = 1 / np.sqrt(1 + k * k)
        side = face == 0
        nx = np.where(side, x / r * q, 0).astype(F32)
        ny = np.where(side, y / r * q, 0).astype(F32)
        nz = np.where(side, k * q, np.where(face == 2, 1.0, -1.0)).astype(F32)
        theta = np.arctan2(y, x)
        u = np.where(side, theta * max(self.r0, self.r1), x)
        v = np.where(side, z, y)
        return nx, ny, nz, u + F32(self.uv0[0]), v + F32(self.uv0[1])


@dataclass
class Dome(Solid):
    """The part of an ellipsoid above `cut` (in its own frame, semi-axes `radii`)."""

    radii: tuple[float, float, float] = (1.0, 1.0, 1.0)
    cut: float = 0.0

    def interval(self, o, d):
        r = [F32(q) for q in self.radii]
        os = [o[i] / r[i] for i in range(3)]
        ds = [d[i] / r[i] for i in range(3)]
        a = ds[0] ** 2 + ds[1] ** 2 + ds[2] ** 2
        b = os[0] * ds[0] + os[1] * ds[1] + os[2] * ds[2]
        c = os[0] ** 2 + os[1] ** 2 + os[2] ** 2 - 1
        disc = b * b - a * c
        root = np.sqrt(np.maximum(disc, 0))
        s0, s1 = (-b - root) / a, (-b + root) / a
        dz = np.where(np.abs(d[2]) < 1e-7, F32(1e-7), d[2])
        tc = (F32(self.cut) - o[2]) / dz
        up = dz > 0
        tn = np.maximum(s0, np.where(up, tc, -FAR))
        tf = np.where(disc > 0, np.minimum(s1, np.where(up, FAR, tc)), -FAR)
        face = np.where(s0 >= np.where(up, tc, -FAR), 0, 1).astype(np.int16)
        return tn, tf, face

    def surface(self, x, y, z, face):
        g = [x / self.radii[0] ** 2, y / self.radii[1] ** 2, z / self.radii[2] ** 2]
        n = np.sqrt(g[0] ** 2 + g[1] ** 2 + g[2] ** 2) + 1e-9
        side = face == 0
        nx = np.where(side, g[0] / n, 0).astype(F32)
        ny = np.where(side, g[1] / n, 0).astype(F32)
        nz = np.where(side, g[2] / n, -1).astype(F32)
        u = np.arctan2(y, x) * self.radii[0] * 0.8
        v = np.arcsin(np.clip(z / self.radii[2], -1, 1)) * (self.radii[0] + self.radii[2]) / 2
        return nx, ny, nz, u, v


def box(material, centre, size, yaw=0.0, pitch=0.0, roll=0.0, seed=0.0, carve=None, **kw) -> Convex:
    """An upright box standing on `centre` (x, y, z of the middle of its base), size (along, across, high)."""
    sx, sy, sz = size
    n = np.array([[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1.0]])
    h = np.array([sx / 2, sx / 2, sy / 2, sy / 2, sz, 0.0])
    return Convex(
        material,
        np.array(centre, float),
        turn(yaw, pitch, roll),
        np.array([-sx / 2, -sy / 2, 0]),
        np.array([sx / 2, sy / 2, sz]),
        seed=seed,
        carve=carve,
        normals=n,
        offsets=h,
        **kw,
    )


def prism(material, centre, length, profile, yaw=0.0, seed=0.0, **kw) -> Convex:
    """A convex profile [(y, z), …] (anticlockwise seen from +x) drawn out along x, middle at `centre`."""
    p = np.array(profile, float)
    e = np.roll(p, -1, 0) - p
    nrm = np.stack([0 * e[:, 0], e[:, 1], -e[:, 0]], 1)
    nrm /= np.linalg.norm(nrm, axis=1, keepdims=True)
    off = nrm[:, 1] * p[:, 0] + nrm[:, 2] * p[:, 1]
    n = np.vstack([nrm, [[1, 0, 0], [-1, 0, 0]]])
    h = np.concatenate([off, [length / 2, length / 2]])
    low = np.array([-length / 2, p[:, 0].min(), p[:, 1].min()])
    high = np.array([length / 2, p[:, 0].max(), p[:, 1].max()])
    return Convex(
        material, np.array(centre, float), turn(yaw), low, high, seed=seed, normals=n, offsets=h, **kw
    )


def post(material, base, r0, height, r1=None, pitch=0.0, roll=0.0, yaw=0.0, seed=0.0, **kw) -> Frustum:
    r1 = r0 if r1 is None else r1
    r = max(r0, r1)
    return Frustum(
        material,
        np.array(base, float),
        turn(yaw, pitch, roll),
        np.array([-r, -r, 0]),
        np.array([r, r, height]),
        seed=seed,
        r0=r0,
        r1=r1,
        height=height,
        **kw,
    )


def rod(material, a, b, r, seed=0.0, r1=None) -> Frustum:
    """A round bar from a to b."""
    a, b = np.array(a, float), np.array(b, float)
    w = b - a
    ln = float(np.linalg.norm(w))
    z = w / ln
    x = unit(np.cross(z, [0.3, 0.2, 1.0] if abs(z[2]) < 0.95 else [1.0, 0, 0]))
    rot = np.stack([x, np.cross(z, x), z], 1)
    rr = max(r, r1 or r)
    return Frustum(
        material,
        a,
        rot,
        np.array([-rr, -rr, 0]),
        np.array([rr, rr, ln]),
        seed=seed,
        r0=r,
        r1=r if r1 is None else r1,
        height=ln,
    )


def dome(material, centre, radii, cut=0.0, seed=0.0, **kw) -> Dome:
    r = np.array(radii, float)
    return Dome(
        material,
        np.array(centre, float),
        np.eye(3),
        np.array([-r[0], -r[1], cut]),
        r,
        seed=seed,
        radii=tuple(radii),
        cut=cut,
        **kw,
    )
