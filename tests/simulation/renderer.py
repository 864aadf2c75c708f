"""Scene luminance in cd/m² by casting rays at analytic solids, a ground of heights, blades and leaves.

The camera is a view camera: its back is plumb, so uprights stay upright, and rise and shift move the
picture over the film. Because the camera is level every column of the picture is an upright plane, which
lets a ground of heights be drawn exactly by one running maximum along each column. Light is the sun (with
its half-degree disc), the sky (occluded by tracing towards many directions) and one bounce off the ground.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import surfaces
from .casting import MATERIAL_IDS, NAMES, SKY, View, look
from .setting import Camera, Scene, Weather
from .solids import F32, FAR, A, heading_vector, unit


def occluded(scene: Scene, p: A, s: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which points (n, 3) a solid hides from the direction s."""
    e1 = unit(np.cross(s, [0, 0, 1.0] if abs(s[2]) < 0.99 else [1.0, 0, 0]))
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
        m = (p2[i0:i1] > c2.min()) & (p2[i0:i1] < c2.max()) & (p3[i0:i1] < c3.max()) & ~dark[i0:i1]
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
    w = unit(np.array([s[0], s[1], 0.0]))
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
    e1 = unit(np.cross(s, [0, 0, 1.0] if abs(s[2]) < 0.99 else [1.0, 0, 0]))
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
    _ny, _nx = view.t.shape
    solid = (view.material != SKY) & (view.material != MATERIAL_IDS["_water"])
    d = [
        np.broadcast_to(F32(f[0]) + F32(r[0]) * a[None], view.t.shape),
        np.broadcast_to(F32(f[1]) + F32(r[1]) * a[None], view.t.shape),
        np.broadcast_to(b[:, None], view.t.shape),
    ]
    ln = np.sqrt(d[0] ** 2 + d[1] ** 2 + d[2] ** 2)
    rays = [q / ln for q in d]
    sky, sky_blue = sky_luminance(weather, rays)
    lum, blue = sky.copy(), sky_blue.copy()
    if not solid.any():
        return lum, blue
    jj, ii = np.nonzero(solid)
    t = view.t[jj, ii]
    n = np.stack([view.n[k][jj, ii] for k in range(3)], 1)
    rd = np.stack([np.broadcast_to(d[k], view.t.shape)[jj, ii] for k in range(3)], 1)
    p = eye.astype(F32) + t[:, None] * rd
    flip = np.einsum("ij,ij->i", n, rd) > 0
    blade = view.material[jj, ii] == MATERIAL_IDS["_blade"]
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
        e1 = unit(np.cross(sun_dir, [0, 0, 1.0]))
        e2 = np.cross(sun_dir, e1)
        # facing away needs no tracing
        cand = (np.einsum("ij,j->i", n, sun_dir.astype(F32)) > 0) | blade
        for k in range(4):
            sel = np.nonzero(((jj % 2) * 2 + ii % 2 == k) & cand)[0]
            if not len(sel):
                continue
            ang = np.radians(weather.soft) * 0.7
            off = ang * np.array([(-0.9, -0.35), (0.35, -0.9), (-0.35, 0.9), (0.9, 0.35)][k])
            s = unit(sun_dir + off[0] * e1 + off[1] * e2)
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
    bounce = (
        F32(0.17) * (level + 0.75 * sunlit) * (F32(0.5) - F32(0.35) * up) * (F32(0.16) + F32(0.84) * open_sky)
    )
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
    wet = view.material == MATERIAL_IDS["_water"]
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
