"""Scene luminance in cd/m² by casting rays at analytic solids, a ground of heights, blades and leaves.

The camera is a view camera: its back is plumb, so uprights stay upright, and rise and shift move the
picture over the film. Because the camera is level every column of the picture is an upright plane, which
lets a ground of heights be drawn exactly by one running maximum along each column. Light is the sun (with
its half-degree disc), the sky (occluded by tracing towards many directions) and one bounce off the ground.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from . import surfaces

A = NDArray[np.float32]
F32 = np.float32
FAR = F32(1e9)


def _unit(v: NDArray[np.float64]) -> NDArray[np.float64]:
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


# ---------------------------------------------------------------------------------------------- solids


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
                    inside = (
                        self.carve(*(q[hit_i] + mid * r[hit_i] for q, r in zip(oo, dd, strict=True))) > 0
                    )
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
    x = _unit(np.cross(z, [0.3, 0.2, 1.0] if abs(z[2]) < 0.95 else [1.0, 0, 0]))
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


# ----------------------------------------------------------------------------------------------- scene


@dataclass
class Weather:
    """Light. Luminances in cd/m², illuminances in lux."""

    sun_azimuth: float = 220.0
    sun_elevation: float = 38.0
    sun_lux: float = 70000.0  # on a surface square to the sun
    zenith: float = 2600.0
    horizon: float = 6500.0
    cloud_cover: float = 0.35  # 0 clear … 1 closed
    cloud_light: float = 13000.0
    cloud_seed: int = 1
    cloud_size: float = 1.0
    haze_per_m: float = 0.0006
    air: float | None = None
    blue: float = 0.8  # how blue the sky's own light is: what a yellow filter holds back
    soft: float = 0.27  # half-angle of the light's source in degrees: a veiled sun is wider


@dataclass
class Ground:
    """Heights z(x, y) in m, with the names of the materials chosen by `kind(x, y, z, slope)`."""

    height: Callable[[A, A], A]
    kinds: tuple[str, ...] = ("grass",)
    kind: Callable[[A, A, A, A], NDArray[np.int16]] | None = None
    reach: float = 700.0
    nearest: float = 0.6
    span: float = 64.0  # half the side of the square about the origin within which the ground throws shadows

    def grid(self) -> A:
        """Heights on a fine grid of the square, made once for each ground."""
        key = (self.height, self.span)
        if key not in _GRIDS:
            q = np.linspace(-self.span, self.span, _GRID_CELLS, dtype=F32)
            _GRIDS[key] = np.concatenate([self.height(*np.meshgrid(q, part)) for part in np.split(q, 8)])
        return _GRIDS[key]

    def about(self, x: A, y: A) -> A:
        """Heights read from that grid (clipped to it)."""
        k = F32((_GRID_CELLS - 1) / (2 * self.span))
        lim = _GRID_CELLS - 1.01
        return surfaces.gather(
            self.grid(),
            np.clip((y + F32(self.span)) * k, 0, lim),
            np.clip((x + F32(self.span)) * k, 0, lim),
        )


_GRIDS: dict[tuple[Callable[[A, A], A], float], A] = {}
_GRID_CELLS = 1600


@dataclass
class Blades:
    """Many small things drawn as dots, or as lines from dot to dot: reeds, grass, leaves. One row a dot."""

    at: A  # (n, 3)
    width: A  # m
    tone: A  # reflectance
    normal: A  # (n, 3)
    shade: A  # 0 … 1, how much of sky and sun gets there
    linked: NDArray[np.bool_]  # drawn on to the next dot
    lot: A  # 0 … 1, the same along one stem: which stems go first where they are too thin to draw

    @staticmethod
    def join(parts: list[Blades]) -> Blades:
        return Blades(*(np.concatenate([getattr(p, k) for p in parts]) for k in Blades.__annotations__))


@dataclass
class Scene:
    solids: list[Solid]
    ground: Ground | None
    blades: Blades | None = None
    water: float | None = None  # level
    ripple: float = 0.004  # slope
    ripple_size: float = 0.6
    water_tone: float = 0.05
    canopies: list[tuple[NDArray[np.float64], float, float]] = field(default_factory=list)  # shade of trees


@dataclass
class Camera:
    """A level view camera: position in m, heading in degrees from north, film frame in mm."""

    at: tuple[float, float, float]
    heading: float
    focal_mm: float
    frame_mm: tuple[float, float]  # width, height of the picture
    rise_mm: float = 0.0  # front rise: what is seen moves up
    shift_mm: float = 0.0
    bellows_mm: float | None = None

    def axes(self):
        f = heading_vector(self.heading)
        r = np.array([f[1], -f[0], 0.0])
        return f, r

    def grid(self, nx: int, ny: int):
        """Tangents a (nx) to the right and b (ny, top first) upwards."""
        v = self.bellows_mm or self.focal_mm
        w, h = self.frame_mm
        a = ((np.arange(nx) + 0.5) / nx - 0.5) * w + self.shift_mm
        b = (0.5 - (np.arange(ny) + 0.5) / ny) * h + self.rise_mm
        return (a / v).astype(F32), (b / v).astype(F32)


@dataclass
class View:
    """What each ray of the camera met."""

    t: A
    n: list[A]
    u: A
    v: A
    material: NDArray[np.int16]
    seed: A
    tone: A  # of blades only
    shade: A


NAMES = (*surfaces.MATERIALS, "_blade", "_water")
_IDS = {k: i for i, k in enumerate(NAMES)}
SKY = -1


def _draw_solids(scene: Scene, cam: Camera, eye, a: A, b: A, view: View, tmin: A | None) -> None:
    f, r = cam.axes()
    nx, ny = len(a), len(b)
    for solid in scene.solids:
        rel = solid.corners() - eye
        depth = rel @ f
        if (depth < 0.05).all():
            continue
        if (depth < 0.05).any():
            x0, x1, y0, y1 = 0, nx, 0, ny
        else:
            pa, pb = (rel @ r) / depth, rel[:, 2] / depth
            x0, x1 = np.searchsorted(a, [pa.min(), pa.max()])
            y0, y1 = np.searchsorted(-b, [-pb.max(), -pb.min()])
            x0, x1, y0, y1 = max(x0 - 1, 0), min(x1 + 1, nx), max(y0 - 1, 0), min(y1 + 1, ny)
        if x0 >= x1 or y0 >= y1:
            continue
        rot = solid.rotation
        o = (rot.T @ (eye - solid.centre)).astype(F32)
        df, dr, dz = ((rot.T @ q).astype(F32) for q in (f, r, np.array([0, 0, 1.0])))
        aa, bb = a[None, x0:x1], b[y0:y1, None]
        d = [df[i] + dr[i] * aa + dz[i] * bb for i in range(3)]
        lim: A | np.float32 = F32(0.02) if tmin is None else tmin[y0:y1, None]
        t, face = solid.hit([o[0], o[1], o[2]], d, lim)
        old = view.t[y0:y1, x0:x1]
        won = t < old
        if not won.any():
            continue
        jj, ii = np.nonzero(won)
        tw = np.broadcast_to(t, won.shape)[won]
        fw = np.broadcast_to(face, won.shape)[won]
        p = [o[i] + tw * np.broadcast_to(d[i], won.shape)[won] for i in range(3)]
        carved = fw < 0
        n0, n1, n2, u, v = solid.surface(*p, np.maximum(fw, 0))
        if carved.any():
            c = solid.carved_normal(*(q[carved] for q in p))
            for q, w in zip((n0, n1, n2), c, strict=True):
                q[carved] = w
            level = np.abs(c[2]) > 0.9
            u[carved] = np.where(np.abs(c[1]) > np.abs(c[0]), p[0][carved], p[1][carved])
            v[carved] = np.where(level, p[1][carved], p[2][carved])
        world = [rot[i, 0] * n0 + rot[i, 1] * n1 + rot[i, 2] * n2 for i in range(3)]
        jj, ii = jj + y0, ii + x0
        view.t[jj, ii] = tw
        for i in range(3):
            view.n[i][jj, ii] = world[i]
        view.u[jj, ii], view.v[jj, ii] = u, v
        mat = np.full(len(tw), _IDS[solid.material], np.int16)
        if solid.carved_material:
            mat[carved] = _IDS[solid.carved_material]
        view.material[jj, ii] = mat
        view.seed[jj, ii] = solid.seed


def _draw_ground(scene: Scene, cam: Camera, eye, a: A, b: A, view: View, floor: float | None) -> None:
    ground = scene.ground
    assert ground is not None
    f, r = cam.axes()
    steps = 1500
    t = np.geomspace(ground.nearest, ground.reach, steps).astype(F32)
    x = F32(eye[0]) + t[None] * (F32(f[0]) + F32(r[0]) * a[:, None])
    y = F32(eye[1]) + t[None] * (F32(f[1]) + F32(r[1]) * a[:, None])
    z = ground.height(x, y)
    up = (z - F32(eye[2])) / t[None]
    if floor is not None:  # a mirrored ray begins at the water: neither its bed nor the near bank hides it
        sunk = z < floor
        begun = np.maximum.accumulate(sunk, axis=1)
        up = np.where(sunk | ~begun, F32(-1e3), up)
    top = np.maximum.accumulate(up, axis=1)
    order = np.arange(len(b))[::-1]
    rising = b[order]
    hit_t = np.full((len(b), len(a)), FAR, F32)
    before, after = np.zeros_like(hit_t), np.zeros_like(hit_t)
    for i in range(len(a)):
        k = np.searchsorted(top[i], rising)
        ok = (k < steps) & (k > 0)
        kk = k[ok]
        u0, u1 = up[i, kk - 1], up[i, kk]
        w = np.clip((rising[ok] - u0) / np.maximum(u1 - u0, 1e-9), 0, 1)
        hit_t[order[ok], i] = t[kk - 1] + w * (t[kk] - t[kk - 1])
        before[order[ok], i] = t[kk - 1]
        after[order[ok], i] = np.where(u1 - u0 > 3 * (b[0] - b[1]), t[kk], t[kk - 1])
        low = k == 0
        hit_t[order[low], i] = t[0]
    won = hit_t < view.t
    jj, ii = np.nonzero(won)
    tw = hit_t[won]
    # on a steep face the crossing between two samples is found by halving
    lo, hi = before[won], after[won]
    steep_at = np.nonzero(hi > lo)[0]
    lo, hi = lo[steep_at], hi[steep_at]
    sx, sy, sz = F32(f[0]) + F32(r[0]) * a[ii[steep_at]], F32(f[1]) + F32(r[1]) * a[ii[steep_at]], b[jj[steep_at]]
    for _ in range(6 if len(steep_at) else 0):
        mid = (lo + hi) / 2
        under = ground.height(F32(eye[0]) + mid * sx, F32(eye[1]) + mid * sy) >= F32(eye[2]) + mid * sz
        hi, lo = np.where(under, mid, hi), np.where(under, lo, mid)
    tw[steep_at] = hi
    px = F32(eye[0]) + tw * (F32(f[0]) + F32(r[0]) * a[ii])
    py = F32(eye[1]) + tw * (F32(f[1]) + F32(r[1]) * a[ii])
    e = np.clip(tw * F32(0.0008), 0.004, 0.5).astype(F32)
    h0 = ground.height(px, py)
    gx = (ground.height(px + e, py) - h0) / e
    gy = (ground.height(px, py + e) - h0) / e
    ln = np.sqrt(1 + gx * gx + gy * gy)
    view.t[jj, ii] = tw
    for q, w in zip(view.n, (-gx / ln, -gy / ln, 1 / ln), strict=True):
        q[jj, ii] = w
    steep = np.hypot(gx, gy) > 1.2
    view.u[jj, ii] = np.where(steep, px + py, px)
    view.v[jj, ii] = np.where(steep, h0, py)
    if ground.kind is None:
        view.material[jj, ii] = _IDS[ground.kinds[0]]
    else:
        ids = np.array([_IDS[k] for k in ground.kinds], np.int16)
        view.material[jj, ii] = ids[ground.kind(px, py, h0, np.hypot(gx, gy))]


def _draw_blades(scene: Scene, cam: Camera, eye, a: A, b: A, view: View, floor: float | None) -> None:
    bl = scene.blades
    assert bl is not None
    f, r = cam.axes()
    rel = bl.at - eye.astype(F32)
    depth = rel @ f.astype(F32)
    keep = depth > 0.8
    if floor is not None:
        keep &= bl.at[:, 2] > floor
    da, db = a[1] - a[0], b[0] - b[1]
    safe = np.where(keep, depth, 1)
    fx = ((rel @ r.astype(F32)) / safe - a[0]) / da
    fy = (b[0] - rel[:, 2] / safe) / db
    wide = bl.width / safe / da
    ny, nx = view.t.shape
    keep &= (fx > -40) & (fx < nx + 40) & (fy > -40) & (fy < ny + 40)
    # thinner than a ray: drawn only as often as it covers
    keep &= (wide > 0.9) | (bl.lot < np.maximum(wide, 0.10) / 0.9)
    sel = np.nonzero(keep)[0]
    nxt = np.minimum(sel + 1, len(keep) - 1)
    join = bl.linked[sel] & keep[nxt]
    led = np.zeros(len(keep), bool)
    led[nxt[join]] = True
    chain = bl.linked | np.roll(bl.linked, 1)
    whole = join | led[sel] | ~chain[sel]
    sel, nxt, join = sel[whole], nxt[whole], join[whole]
    length = np.hypot(fx[nxt] - fx[sel], fy[nxt] - fy[sel])
    count = np.where(join, np.clip(np.ceil(length / np.maximum(0.8, wide[sel] * 0.6)), 1, 900), 1).astype(int)
    src = np.repeat(np.arange(len(sel)), count)
    first = np.cumsum(count) - count
    w = ((np.arange(len(src)) - first[src]) / count[src]).astype(F32)
    s0, s1 = sel[src], np.where(join, nxt, sel)[src]

    def between(q):
        return q[s0] * (1 - w) + q[s1] * w

    fx, fy, depth, wide = between(fx), between(fy), between(depth), between(wide)
    tones, shades = between(bl.tone), between(bl.shade)
    parts_j, parts_i, parts_s = [], [], []
    reach = int(min(6, np.ceil(wide.max(initial=0) / 2)))
    for k in range(-reach, reach + 1):
        for m in range(-reach, reach + 1):
            here = np.nonzero(np.hypot(k, m) <= np.maximum(wide / 2, 0.49))[0]
            if not len(here):
                continue
            parts_i.append(np.floor(fx[here]).astype(int) + k)
            parts_j.append(np.floor(fy[here]).astype(int) + m)
            parts_s.append(here)
    if not parts_s:
        return
    j, i, s = (np.concatenate(q) for q in (parts_j, parts_i, parts_s))
    ok = (j >= 0) & (j < ny) & (i >= 0) & (i < nx)
    j, i, s = j[ok], i[ok], s[ok]
    ok = depth[s] < view.t[j, i]
    j, i, s = j[ok], i[ok], s[ok]
    order = np.argsort(-depth[s], kind="stable")
    j, i, s = j[order], i[order], s[order]
    view.t[j, i] = depth[s]
    for k in range(3):
        view.n[k][j, i] = bl.normal[s0[s], k]
    view.material[j, i] = _IDS["_blade"]
    view.tone[j, i] = tones[s]
    view.shade[j, i] = shades[s]


def look(scene: Scene, cam: Camera, nx: int, ny: int, mirrored: bool = False) -> View:
    """Cast every ray; `mirrored` looks from the reflected eye below the water."""
    a, b = cam.grid(nx, ny)
    eye = np.array(cam.at, float)
    floor = None
    tmin = None
    if mirrored:
        assert scene.water is not None
        eye[2] = 2 * scene.water - eye[2]
        b = -b[::-1]  # rising again, top first
        floor = scene.water
        with np.errstate(divide="ignore"):
            tmin = np.where(b > 1e-5, (scene.water - eye[2]) / np.maximum(b, 1e-5), FAR).astype(F32)
    shape = (ny, nx)
    z = [np.zeros(shape, F32) for _ in range(8)]
    view = View(
        np.full(shape, FAR, F32), z[:3], z[3], z[4], np.full(shape, SKY, np.int16), z[5], z[6], z[7] + 1
    )
    _draw_solids(scene, cam, eye, a, b, view, tmin)
    if scene.ground is not None:
        _draw_ground(scene, cam, eye, a, b, view, floor)
    if scene.blades is not None:
        _draw_blades(scene, cam, eye, a, b, view, floor)
    if scene.water is not None and not mirrored:
        with np.errstate(divide="ignore"):
            tw = np.where(b < -1e-5, (scene.water - eye[2]) / np.minimum(b, -1e-5), FAR).astype(F32)
        won = tw[:, None] < view.t
        view.t = np.where(won, tw[:, None], view.t)
        view.material[won] = _IDS["_water"]
        for k in range(3):
            view.n[k][won] = k == 2
    return view


# ----------------------------------------------------------------------------------------------- light


def occluded(scene: Scene, p: A, s: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which points (n, 3) a solid hides from the direction s."""
    e1 = _unit(np.cross(s, [0, 0, 1.0] if abs(s[2]) < 0.99 else [1.0, 0, 0]))
    e2 = np.cross(s, e1)
    p1 = p @ e1.astype(F32)
    order = np.argsort(p1, kind="stable")
    ps = p[order]
    p1 = p1[order]
    p2 = ps @ e2.astype(F32)
    p3 = ps @ s.astype(F32)
    dark = np.zeros(len(p), bool)
    for solid in scene.solids:
        c = solid.corners()
        c1, c2, c3 = c @ e1, c @ e2, c @ s
        i0, i1 = np.searchsorted(p1, [c1.min(), c1.max()])
        if i0 >= i1:
            continue
        m = (
            (p2[i0:i1] > c2.min())
            & (p2[i0:i1] < c2.max())
            & (p3[i0:i1] < c3.max())
            & ~dark[i0:i1]
        )
        idx = np.nonzero(m)[0] + i0
        if not len(idx):
            continue
        rot = solid.rotation.astype(F32)
        o = (ps[idx] - solid.centre.astype(F32)) @ rot
        d = s.astype(F32) @ rot
        if solid.carve is None:
            tn, tf, _ = solid.interval([o[:, 0], o[:, 1], o[:, 2]], [d[0], d[1], d[2]])
            dark[idx] = (tf > np.maximum(tn, F32(0.004))) & (tf > 0.012)
        else:
            t, _ = solid.hit([o[:, 0], o[:, 1], o[:, 2]], [d[0], d[1], d[2]], F32(0.004))
            dark[idx] = t < FAR / 2
    out = np.empty(len(p), bool)
    out[order] = dark
    return out


def _ground_shadow(scene: Scene, p: A, s: NDArray[np.float64], cells: int, spread: float = 0.005) -> A:
    """Share of the light from direction s that the ground itself lets reach each point (0 … 1)."""
    if scene.ground is None or s[2] > 0.995 or len(p) == 0:
        return np.ones(len(p), F32)
    w = _unit(np.array([s[0], s[1], 0.0]))
    tan = s[2] / np.hypot(s[0], s[1])
    q = np.array([-w[1], w[0]])
    along = p[:, 0] * F32(w[0]) + p[:, 1] * F32(w[1])
    across = p[:, 0] * F32(q[0]) + p[:, 1] * F32(q[1])
    # most of the picture is near: fit the grid to the middle 98 % and let the far rest go unshadowed
    a0, a1 = np.quantile(along, [0.005, 0.98])
    c0, c1 = np.quantile(across, [0.01, 0.99])
    a1 = max(a1, a0 + 1) + 12.0 / max(tan, 0.2)
    c1 = max(c1, c0 + 1)
    ga = np.linspace(a0, a1, cells).astype(F32)
    gc = np.linspace(c0, c1, cells).astype(F32)
    x = ga[None] * F32(w[0]) + gc[:, None] * F32(q[0])
    y = ga[None] * F32(w[1]) + gc[:, None] * F32(q[1])
    z = scene.ground.about(x, y) - ga[None] * F32(tan)
    roof = np.maximum.accumulate(z[:, ::-1], axis=1)[:, ::-1] + ga[None] * F32(tan)
    fi = (across - F32(c0)) / F32(c1 - c0) * (cells - 1)
    fj = (along - F32(a0)) / F32(a1 - a0) * (cells - 1) + 1
    inside = (fi >= 0) & (fi <= cells - 1) & (fj >= 0) & (fj <= cells - 1)
    h = surfaces.gather(roof, np.clip(fi, 0, cells - 1.001), np.clip(fj, 0, cells - 1.001))
    step = (a1 - a0) / cells
    soft = np.maximum(F32(0.02), F32(step * tan * 0.7 + spread * 2))
    lit = np.clip((p[:, 2] - h) / soft + F32(1.5), 0, 1)
    return np.where(inside, lit, 1).astype(F32)


def _canopy_shadow(scene: Scene, p: A, s: NDArray[np.float64]) -> A:
    """Light through the crowns of trees: a Beer–Lambert ball each."""
    depth = np.zeros(len(p), F32)
    e1 = _unit(np.cross(s, [0, 0, 1.0] if abs(s[2]) < 0.99 else [1.0, 0, 0]))
    e2 = np.cross(s, e1)
    p1 = p @ e1.astype(F32)
    order = np.argsort(p1, kind="stable")
    p1 = p1[order]
    p2, p3 = (p @ e2.astype(F32))[order], (p @ s.astype(F32))[order]
    for centre, radius, density in scene.canopies:
        c1, c2, c3 = centre @ e1, centre @ e2, centre @ s
        i0, i1 = np.searchsorted(p1, [c1 - radius, c1 + radius])
        d2 = (p1[i0:i1] - F32(c1)) ** 2 + (p2[i0:i1] - F32(c2)) ** 2
        half = np.sqrt(np.maximum(F32(radius * radius) - d2, 0))
        depth[i0:i1] += F32(density) * np.clip(F32(c3) + half - p3[i0:i1], 0, 2 * half)
    out = np.empty(len(p), F32)
    out[order] = np.exp(-depth)
    return out


def sky_directions(count: int) -> NDArray[np.float64]:
    """Directions over the upper hemisphere, even in solid angle, on a golden spiral."""
    k = np.arange(count) + 0.5
    z = 1 - k / count * 0.97
    phi = k * 2.399963
    r = np.sqrt(1 - z * z)
    return np.stack([r * np.cos(phi), r * np.sin(phi), z], 1)


def sky_luminance(w: Weather, d: list[A], footprint: float = 0.0) -> tuple[A, A]:
    """(cd/m², blueness) towards unit directions."""
    z = np.maximum(d[2], F32(0.002))
    s = heading_vector(w.sun_azimuth, w.sun_elevation)
    mu = np.clip(d[0] * F32(s[0]) + d[1] * F32(s[1]) + d[2] * F32(s[2]), -1, 1)
    clear = w.zenith + (w.horizon - w.zenith) * np.exp(-z * F32(3.2))
    if w.sun_lux > 0:
        glow = F32(0.9) * np.exp((mu - 1) * 14) + F32(4.0) * np.exp((mu - 1) * 160) * (w.sun_lux / 90000)
        clear = clear * (1 + glow)
    blue = np.full_like(clear, w.blue) * np.clip(F32(0.35) + z * 2.2, 0, 1)
    if w.cloud_cover <= 0:
        return clear.astype(F32), blue.astype(F32)
    # a sheet of cloud above a curved earth: the horizon's clouds are crowded but not infinitely
    scale = F32(1.0) / (z + F32(0.12)) * F32(1.15 / w.cloud_size)
    cx, cy = d[0] * scale, d[1] * scale
    tile = surfaces.tile("cloud", w.cloud_seed)

    def thick(x: A, y: A) -> A:
        big = surfaces.sample(tile, x * 60, y * 60)
        return big + F32(0.30) * surfaces.sample(tile, x * 190 + 91, y * 190 + 17)

    lim = _cloud_limit(w.cloud_cover)
    m = thick(cx, cy)
    dens = np.clip((m - lim) * F32(1.5), 0, 1)
    dens = dens * dens * (3 - 2 * dens)
    if w.sun_lux > 0:
        sx, sy = F32(s[0] * 0.10), F32(s[1] * 0.10)
        toward = thick(cx + sx, cy + sy)
        lit = np.clip(F32(0.62) + F32(0.35) * (m - toward) - F32(0.16) * (m - lim), 0.25, 1.15)
        silver = F32(0.5) * np.exp((mu - 1) * 8) * (1 - dens)
        cloud = F32(w.cloud_light) * (lit + silver)
    else:
        cloud = F32(w.cloud_light) * (F32(0.82) + F32(0.13) * m + F32(0.22) * z)
    out = clear * (1 - dens) + cloud * dens
    veil = np.exp(-z * F32(9.0)) * F32(0.5)
    air = w.air if w.air is not None else w.horizon
    out = out * (1 - veil) + air * veil
    return out.astype(F32), (blue * (1 - dens) * (1 - veil)).astype(F32)


def _cloud_limit(cover: float) -> np.float32:
    return F32(1.5 - 3.4 * cover) if cover < 0.98 else F32(-3.5)


def _filtered_by_likeness(num: A, den: A, t: A, n: list[A], reach: int) -> A:
    """Mean of num/den over a window, only between rays that met the same surface."""
    sn = np.zeros_like(num)
    sd = np.zeros_like(den)
    h, w = num.shape
    lo = -(reach // 2)
    for dj in range(lo, lo + reach):
        for di in range(lo, lo + reach):
            ys, yd = slice(max(dj, 0), h + min(dj, 0)), slice(max(-dj, 0), h + min(-dj, 0))
            xs, xd = slice(max(di, 0), w + min(di, 0)), slice(max(-di, 0), w + min(-di, 0))
            like = np.abs(t[ys, xs] - t[yd, xd]) < F32(0.02) * t[yd, xd] + F32(0.02)
            like &= sum(n[k][ys, xs] * n[k][yd, xd] for k in range(3)) > 0.75
            sn[yd, xd] += num[ys, xs] * like
            sd[yd, xd] += den[ys, xs] * like
    return np.where(sd > 1e-3, sn / np.maximum(sd, 1e-3), 1).astype(F32)


@dataclass
class Picture:
    """Luminances in cd/m² on the ray grid, and how blue their light is (0 … 1)."""

    luminance: A
    blue: A
    view: View
    pixel: float


def _shade(scene: Scene, cam: Camera, weather: Weather, view: View, eye, a: A, b: A):
    f, r = cam.axes()
    ny, nx = view.t.shape
    solid = (view.material != SKY) & (view.material != _IDS["_water"])
    d = [
        np.broadcast_to(F32(f[0]) + F32(r[0]) * a[None], view.t.shape),
        np.broadcast_to(F32(f[1]) + F32(r[1]) * a[None], view.t.shape),
        np.broadcast_to(b[:, None], view.t.shape),
    ]
    ln = np.sqrt(d[0] ** 2 + d[1] ** 2 + d[2] ** 2)
    unit = [q / ln for q in d]
    sky, sky_blue = sky_luminance(weather, unit)
    lum, blue = sky.copy(), sky_blue.copy()
    if not solid.any():
        return lum, blue
    jj, ii = np.nonzero(solid)
    t = view.t[jj, ii]
    n = np.stack([view.n[k][jj, ii] for k in range(3)], 1)
    rd = np.stack([np.broadcast_to(d[k], view.t.shape)[jj, ii] for k in range(3)], 1)
    p = eye.astype(F32) + t[:, None] * rd
    flip = np.einsum("ij,ij->i", n, rd) > 0
    blade = view.material[jj, ii] == _IDS["_blade"]
    n = np.where((flip & ~blade)[:, None], -n, n)
    facing = np.abs(np.einsum("ij,ij->i", n, rd)) / np.linalg.norm(rd, axis=1)
    foot = t * (a[1] - a[0]) / np.maximum(facing, 0.08) ** 0.6
    tone = np.zeros(len(t), F32)
    gloss = np.zeros(len(t), F32)
    cavity = np.ones(len(t), F32)
    geometric = n.copy()
    mats = view.material[jj, ii]
    for m in np.unique(mats):
        sel = np.nonzero(mats == m)[0]
        if NAMES[m] == "_blade":
            tone[sel] = view.tone[jj[sel], ii[sel]]
            continue
        u, v = view.u[jj[sel], ii[sel]], view.v[jj[sel], ii[sel]]
        finish = surfaces.MATERIALS[NAMES[m]](
            surfaces.Patch(u, v, foot[sel], view.seed[jj[sel], ii[sel]], p[sel], n[sel])
        )
        tone[sel] = np.clip(finish.tone, 0.012, 0.9)
        gloss[sel] = finish.gloss
        cavity[sel] = finish.cavity
        if finish.slope is not None:
            ns = n[sel]
            e1 = np.stack([-ns[:, 1], ns[:, 0], np.zeros(len(sel), F32)], 1)
            l1 = np.linalg.norm(e1, axis=1, keepdims=True)
            e1 = np.where(l1 > 0.25, e1 / np.maximum(l1, 1e-6), np.array([[1, 0, 0]], F32))
            e2 = np.cross(ns, e1)
            nn = ns - finish.slope[0][:, None] * e1 - finish.slope[1][:, None] * e2
            n[sel] = nn / np.linalg.norm(nn, axis=1, keepdims=True)
    start = p + geometric * (F32(0.006) + F32(0.0012) * t[:, None]) - rd * F32(0.0015) * t[:, None] * 0.2
    airy = p + geometric * F32(0.10) + np.array([0, 0, 0.02], F32)  # clear of the shadow grid's own steps
    shade = np.where(blade, view.shade[jj, ii], 1).astype(F32)

    # sun: each of four neighbouring rays looks at another part of its disc
    sun_dir = heading_vector(weather.sun_azimuth, weather.sun_elevation)
    direct = np.zeros(len(t), F32)
    if weather.sun_lux > 0:
        vis = np.zeros(len(t), F32)
        e1 = _unit(np.cross(sun_dir, [0, 0, 1.0]))
        e2 = np.cross(sun_dir, e1)
        # facing away needs no tracing
        cand = (np.einsum("ij,j->i", n, sun_dir.astype(F32)) > 0) | blade
        for k in range(4):
            sel = np.nonzero(((jj % 2) * 2 + ii % 2 == k) & cand)[0]
            if not len(sel):
                continue
            ang = np.radians(weather.soft) * 0.7
            off = ang * np.array([(-0.9, -0.35), (0.35, -0.9), (-0.35, 0.9), (0.9, 0.35)][k])
            s = _unit(sun_dir + off[0] * e1 + off[1] * e2)
            free = ~occluded(scene, start[sel], s)
            vis[sel] = free
            live = sel[free]
            vis[live] *= _ground_shadow(scene, airy[live], s, 1500, np.radians(weather.soft) * 2)
            vis[live] *= _canopy_shadow(scene, start[live], s)
        cos = np.einsum("ij,j->i", n, sun_dir.astype(F32))
        cos = np.where(blade, F32(0.35) + F32(0.45) * np.abs(cos), np.maximum(cos, 0))
        direct = weather.sun_lux * cos * vis * shade
        view_dir = -rd / np.linalg.norm(rd, axis=1, keepdims=True)
        half = sun_dir.astype(F32) + view_dir
        half /= np.linalg.norm(half, axis=1, keepdims=True)
        spec = np.maximum(np.einsum("ij,ij->i", n, half), 0) ** 48 * gloss * vis
    else:
        spec = np.zeros(len(t), F32)

    # sky: a window of 4 × 4 rays shares 32 directions
    dirs = sky_directions(32)
    num = np.zeros(view.t.shape, F32)
    den = np.zeros(view.t.shape, F32)
    cellno = (jj % 4) * 4 + ii % 4
    for k in range(32):
        sel = np.nonzero(cellno == (k * 5) % 16)[0]
        if not len(sel):
            continue
        s = dirs[k]
        w = np.maximum(np.einsum("ij,j->i", geometric[sel], s.astype(F32)), 0)
        w = np.where(blade[sel], F32(0.3 + 0.4 * s[2]), w)
        use = w > 0.01
        free = np.zeros(len(sel), F32)
        live = sel[use]
        f_ = (~occluded(scene, start[live], s)).astype(F32)
        ok = f_ > 0
        f_[ok] *= _ground_shadow(scene, airy[live[ok]], s, 500, 0.1)
        f_[ok] *= _canopy_shadow(scene, start[live[ok]], s)
        free[use] = f_
        num[jj[sel], ii[sel]] += w * free
        den[jj[sel], ii[sel]] += w
    open_sky = _filtered_by_likeness(num, den, view.t, view.n, 4)[jj, ii]

    dirs = sky_directions(64)
    ls, bs = sky_luminance(weather, [dirs[:, i].astype(F32) for i in range(3)])
    level = float((ls * dirs[:, 2]).sum() * 2 * np.pi / 64)  # lux on level ground
    up = n[:, 2]
    from_sky = level * (F32(0.5) + F32(0.5) * up) * open_sky
    if weather.sun_lux <= 0:  # an overcast sky is brightest overhead
        from_sky *= F32(0.8) + F32(0.2) * up
    sunlit = weather.sun_lux * max(sun_dir[2], 0)
    bounce = F32(0.17) * (level + 0.75 * sunlit) * (F32(0.5) - F32(0.35) * up) * (F32(0.35) + F32(0.65) * open_sky)
    ambient = (from_sky + bounce) * shade * cavity
    surface = tone / np.pi * (direct + ambient)
    back = _reflect(rd, n)
    mirror = sky_luminance(weather, back)[0]
    # what stands behind the camera (sheds, trees) in upright panes
    skyline = F32(0.10) + F32(0.05) * surfaces.sample(surfaces.tile("soft", 9), back[0] * 22 + 5, back[1] * 3)
    mirror = np.where((np.abs(n[:, 2]) < 0.3) & (back[2] < skyline), mirror * F32(0.10), mirror)
    fres = gloss * (F32(0.05) + F32(0.95) * (1 - np.clip(facing, 0, 1)) ** 5)
    surface += fres * mirror * open_sky + spec * F32(weather.sun_lux) * F32(0.12)
    sky_share = from_sky * shade / np.maximum(direct + ambient, 1)
    sky_blue_mean = float((ls * bs * dirs[:, 2]).sum() / (ls * dirs[:, 2]).sum())
    air = weather.air if weather.air is not None else weather.horizon * 0.9
    dist = t * np.linalg.norm(rd, axis=1)
    through = np.exp(-dist * F32(weather.haze_per_m)).astype(F32)
    lum[jj, ii] = surface * through + air * (1 - through)
    blue[jj, ii] = 0.3 * sky_blue_mean * sky_share * through + F32(0.4 * weather.blue) * (1 - through)
    return lum, blue


def _reflect(rd: A, n: A) -> list[A]:
    d = rd / np.linalg.norm(rd, axis=1, keepdims=True)
    m = d - 2 * np.einsum("ij,ij->i", d, n)[:, None] * n
    return [m[:, 0], m[:, 1], np.abs(m[:, 2])]


def render(scene: Scene, cam: Camera, weather: Weather, nx: int, ny: int) -> Picture:
    """Luminance of the picture, seen upright, top row first."""
    a, b = cam.grid(nx, ny)
    eye = np.array(cam.at, float)
    view = look(scene, cam, nx, ny)
    lum, blue = _shade(scene, cam, weather, view, eye, a, b)
    wet = view.material == _IDS["_water"]
    if wet.any():
        hx, hy = nx // 2, ny // 2
        ma, mb = cam.grid(hx, hy)
        mview = look(scene, cam, hx, hy, mirrored=True)
        meye = eye.copy()
        meye[2] = 2 * float(scene.water or 0) - eye[2]
        mlum, mblue = _shade(scene, cam, weather, mview, meye, ma, -mb[::-1])
        mlum, mblue = mlum[::-1], mblue[::-1]  # row j of the mirror is row j of the picture
        _water(scene, cam, weather, view, wet, lum, blue, mlum, mblue, eye, a, b)
    return Picture(lum, blue, view, float(a[1] - a[0]))


def _water(scene, cam, weather, view, wet, lum, blue, mlum, mblue, eye, a, b) -> None:
    f, r = cam.axes()
    jj, ii = np.nonzero(wet)
    t = view.t[jj, ii]
    x = F32(eye[0]) + t * (F32(f[0]) + F32(r[0]) * a[ii])
    y = F32(eye[1]) + t * (F32(f[1]) + F32(r[1]) * a[ii])
    foot = t * (a[1] - a[0]) / np.maximum(np.abs(b[jj]), 0.02)
    s = F32(scene.ripple_size)
    tile = surfaces.tile("soft", 5)

    def wave(k: float, ox: float) -> tuple[A, A]:
        fade = np.clip(1.4 - foot / (s * k), 0.06, 1)
        gx = surfaces.sample(tile, x / (s * k) * 3 + ox, y / (s * k) * 3) * fade
        gy = surfaces.sample(tile, x / (s * k) * 3, y / (s * k) * 3 + 77 + ox) * fade
        return gx, gy

    g = [wave(1.0, 0), wave(2.7, 31), wave(7.0, 59)]
    patch = np.clip(surfaces.sample(tile, x / 14, y / 14 + 40) * F32(0.6) + F32(0.8), 0.15, 2)
    sx = (g[0][0] * 0.6 + g[1][0] * 0.8 + g[2][0] * 0.5) * F32(scene.ripple) * patch
    sy = (g[0][1] * 0.6 + g[1][1] * 0.8 + g[2][1] * 0.5) * F32(scene.ripple) * patch
    fwd = sx * F32(f[0]) + sy * F32(f[1])
    side = sx * F32(r[0]) + sy * F32(r[1])
    db = 2 * fwd
    da = 2 * side * np.abs(b[jj]) * 1.5
    hy, hx = mlum.shape
    # a slope towards us throws the reflected ray up or down: the mirror image is read there
    mj = np.interp((b[jj] + db).ravel(), b[::-1], np.arange(len(b))[::-1]) * (hy / len(b))
    mi = (ii + da / (a[1] - a[0])) * (hx / len(a))
    mi, mj = np.clip(mi, 0, hx - 1.01), np.clip(mj - 0.25, 0, hy - 1.01)
    mirror = surfaces.gather(mlum, mj.astype(F32), mi.astype(F32))
    mirror_blue = surfaces.gather(mblue, mj.astype(F32), mi.astype(F32))
    ln = np.sqrt(1 + a[ii] ** 2 + b[jj] ** 2)
    cos = np.clip(np.abs(b[jj]) / ln + fwd, 0.01, 1)
    fres = F32(0.02) + F32(0.98) * (1 - cos) ** 5
    dirs = sky_directions(64)
    ls, _ = sky_luminance(weather, [dirs[:, i].astype(F32) for i in range(3)])
    level = float((ls * dirs[:, 2]).sum() * 2 * np.pi / 64) + weather.sun_lux * max(
        np.sin(np.radians(weather.sun_elevation)), 0
    )
    body = F32(scene.water_tone) * level / np.pi * F32(0.6)
    out = fres * mirror + (1 - fres) * body
    air = weather.air if weather.air is not None else weather.horizon * 0.9
    through = np.exp(-t * ln * F32(weather.haze_per_m)).astype(F32)
    lum[jj, ii] = out * through + air * (1 - through)
    blue[jj, ii] = mirror_blue * fres * mirror / np.maximum(out, 1) * through
