"""Casting the rays of a level view camera: which surface each of them meets first."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import surfaces
from .setting import Camera, Scene
from .solids import F32, FAR, A


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
MATERIAL_IDS = {k: i for i, k in enumerate(NAMES)}
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
        mat = np.full(len(tw), MATERIAL_IDS[solid.material], np.int16)
        if solid.carved_material:
            mat[carved] = MATERIAL_IDS[solid.carved_material]
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
    sx, sy, sz = (
        F32(f[0]) + F32(r[0]) * a[ii[steep_at]],
        F32(f[1]) + F32(r[1]) * a[ii[steep_at]],
        b[jj[steep_at]],
    )
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
        view.material[jj, ii] = MATERIAL_IDS[ground.kinds[0]]
    else:
        ids = np.array([MATERIAL_IDS[k] for k in ground.kinds], np.int16)
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
    count = np.where(
        join, np.clip(np.ceil(length / np.maximum(0.8, np.minimum(wide[sel], wide[nxt]) * 0.4)), 1, 900), 1
    ).astype(int)
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
    view.material[j, i] = MATERIAL_IDS["_blade"]
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
        view.material[won] = MATERIAL_IDS["_water"]
        for k in range(3):
            view.n[k][won] = k == 2
    return view
