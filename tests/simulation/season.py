"""A season worked through: every entry of the book exposed, developed and scanned, with the truth kept.

The truth is computed here from the light at the film; nothing is read back from what negcat makes of it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from . import fieldbook
from .camera import Cell, Lens, bellows_stops, f_number, falloff, lux_seconds, seconds
from .fieldbook import ALDWATER, MARL, SORREL, TRESSICK, Entry
from .film import Film, Law, contrast_of, grain
from .renderer import render
from .scanner import Lay, Scanner, lay_on_glass, scan_fraction
from .views import COMPOSITIONS, Composition

F = NDArray[np.float64]

FILMS = {
    SORREL: Film(
        SORREL, 100, 100, 0.085, 0.0065,
        Law(table=((1, 1), (2, 2.5), (5, 8), (10, 19), (30, 75), (60, 180))),
        ((9.0, "round"), (14.0, "round")),
    ),
    # the box says 400
    MARL: Film(MARL, 400, 400 * 2 ** (-2 / 3), 0.145, 0.0105, Law(exponent=1.25), ((9.0, "vee"), (14.5, "square"))),
}  # fmt: skip

LENSES = {
    ALDWATER: Lens(
        ALDWATER,
        {
            "whole": Cell(195.0, "whole"),
            "front": Cell(340.0, "front", own_scale=False, to_stop_mm=14.0),
            "rear": Cell(420.0, "behind", own_scale=True, to_stop_mm=14.0, hidden_stops=-0.5),
        },
        # what its shutter really gives, unmeasured: near enough
        {1 / 64: 0.0160, 1 / 32: 0.0318, 1 / 16: 0.0610, 1 / 8: 0.1270, 1 / 4: 0.2450, 1 / 2: 0.507},
        flare=0.0035,
    ),
    TRESSICK: Lens(
        TRESSICK,
        {"150": Cell(150.0, "whole")},
        {1 / 64: 0.0192, 1 / 32: 0.0365, 1 / 16: 0.0702, 1 / 8: 0.1310, 1 / 4: 0.2620, 1 / 2: 0.520, 1: 1.03},
        pupil_ratio=1.08,
        flare=0.006,
    ),
}
MEASURED_SHUTTER = (TRESSICK,)

#: contrast grows with time as c∞(1 − e^−kt), t in minutes at 20 °C, k for the film
_GROWTH = {SORREL: 0.08, MARL: 0.08 * 9 / 11}


def true_n(film: str, time: str, batch: str) -> float:
    """What a development really does: the film's own growth of contrast, and the day's accidents."""
    k = _GROWTH[film]
    base = 9.0 if film == SORREL else 11.0
    c = (1 - np.exp(-k * seconds(time) / 60)) / (1 - np.exp(-k * base))
    rng = np.random.default_rng([int(batch[2:]), 9])
    return float(7 - 7 / c + rng.normal(0, 0.03))


@dataclass
class Luminance:
    """A rendered scene: cd/m² on a grid of rays over the picture frame, upright."""

    cd_m2: F
    blue: F


#: rays along the long side of the picture
RAYS = 1172


def luminance_of(
    name: str, composition: Composition, focal: float, bellows: float | None, rays: int
) -> Luminance:
    w, h = composition.frame
    nx = int(rays * w / max(w, h)) // 2 * 2
    ny = int(rays * h / max(w, h)) // 2 * 2
    p = render(composition.scene(), composition.camera(focal, bellows), composition.weather, nx, ny)
    return Luminance(p.luminance.astype(float), p.blue.astype(float))


@dataclass
class Developed:
    """One sheet, from plan to scan, and what is true of it."""

    entry: Entry
    record: dict[str, Any]
    batch: str
    codes: NDArray[np.uint16]
    lay: Lay
    truth: dict[str, Any] = field(default_factory=dict)


# ------------------------------------------------------------------------------- meter and placement


def _disc(image: F, u: float, v: float, radius_mm: float, frame: tuple[float, float]) -> F:
    ny, nx = image.shape
    y, x = np.ogrid[:ny, :nx]
    dx = ((x + 0.5) / nx - u) * frame[0]
    dy = ((y + 0.5) / ny - v) * frame[1]
    return np.asarray(image[dx * dx + dy * dy <= radius_mm**2])


def evenest(
    image: F, u: float, v: float, frame: tuple[float, float], reach_mm: float = 3.5
) -> tuple[float, float]:
    """The evenest 3 mm patch whose middle lies within reach of a point and is about as bright."""
    ny, nx = image.shape
    px = nx / frame[0]
    log = np.log2(np.maximum(image, 1e-3))
    m = gaussian_filter(log, 0.7 * px)
    sd = np.sqrt(np.maximum(gaussian_filter(log * log, 0.7 * px) - m * m, 0))
    gy, gx = np.gradient(gaussian_filter(log, 0.5 * px))
    cost = sd + np.hypot(gx, gy) * px * 0.5
    cost = gaussian_filter(cost, 0.3 * px)
    y, x = np.mgrid[:ny, :nx]
    d = np.hypot((x / nx - u) * frame[0], (y / ny - v) * frame[1])
    i, j = min(int(v * ny), ny - 1), min(int(u * nx), nx - 1)
    far = (d > reach_mm) | (np.abs(m - m[i, j]) > 0.5)
    edge = 2.5 * px
    far |= (x < edge) | (x > nx - edge) | (y < edge) | (y > ny - edge)
    cost = np.where(far, np.inf, cost + 0.01 * d)
    k = int(np.argmin(cost))
    return float((k % nx + 0.5) / nx), float((k // nx + 0.5) / ny)


def _zone(text: str) -> float:
    roman = ("0", "I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX", "X")
    half = text.endswith("½")
    return roman.index(text.rstrip("½")) + (0.5 if half else 0.0)


_STOPS = (1.4, 2, 2.8, 4, 5.6, 8, 11, 16, 22, 32, 45, 64, 90)


def mark(n: float, parts: int, style: str) -> str:
    """The nearest mark on a scale divided in whole, half or third stops, as he writes it."""
    k = round(2 * np.log2(n) * parts) / parts
    whole = int(np.floor(k + 1e-9))
    rest = round((k - whole) * 6)
    base = _STOPS[whole - 1]
    text = f"{base:g}"
    if style == "f":
        text = f"f/{base:g}"
    words = {
        "½": {2: "⅓", 3: "½", 4: "⅔"},
        "third": {2: " 1/3", 3: " 1/2", 4: " 2/3"},
        "dec": {2: "+1/3", 3: "+1/2", 4: "+2/3"},
        "f": {2: "⅓", 3: "½", 4: "⅔"},
    }[style]
    return text if rest == 0 else text + words[rest]


def counted(t: float) -> str:
    """A long time as one counts it."""
    if t < 1.2:
        return "1"
    if t < 10:
        q = round(t * 2) / 2
        return f"{q:g} s"
    s = round(t) if t < 20 else round(t / 5) * 5
    return f"{s} s" if s <= 60 else f"{s // 60}m{s % 60:02d}s" if s % 60 else f"{s // 60}m"


@dataclass(frozen=True)
class Plan:
    stop: str
    time: str
    evs: tuple[float, ...]


def plan(entry: Entry, film: Film, lens: Lens, noted: tuple[float, ...], focal: float) -> Plan:
    """He works out stop or time from the placed reading, with every correction he knows of."""
    z = _zone(entry.readings[0].zone or "III")
    need = noted[0] - np.log2(entry.meter_iso / 100) + np.log2(film.box_speed / 100) - (z - 5)
    loss = -np.log2(entry.factor) if entry.factor else 0.0
    if not entry.forgot_bellows:
        loss += bellows_stops(focal, entry.bellows, lens.pupil_ratio)
    need = need + loss - entry.off
    spread = lens.true_n(1.0, entry.cell, entry.scale)  # N really in use for N = 1 on the scale read
    if entry.time is not None:
        t = lens.real_time(seconds(entry.time)) if lens.name in MEASURED_SHUTTER else seconds(entry.time)
        return Plan(mark(float(np.sqrt(2**need * t)) / spread, entry.parts, entry.style), entry.time, noted)
    assert entry.stop is not None
    n = f_number(entry.stop) * spread
    t = n * n / 2**need
    t = film.law.given(t)
    return Plan(entry.stop, counted(t), noted)


# ------------------------------------------------------------------------------------- the whole way


@dataclass(frozen=True)
class Seen:
    """What he metered, and set by it: where, what he wrote down, and what it truly was."""

    spots: list[tuple[float, float]]
    noted: list[float]
    true_ev: list[float]
    plan: Plan


def metered(entry: Entry, light: Luminance, frame: tuple[float, float], rng: np.random.Generator) -> Seen:
    """He meters the patches, and works out stop and time."""
    film, lens = FILMS[entry.film], LENSES[entry.lens]
    near = 1.3  # mm on the film: he walks up until his one degree is well inside the patch
    spots = [evenest(light.cd_m2, m.u, m.v, frame) for m in entry.readings]
    noted, true_ev = [], []
    for u, v in spots:
        ev = float(np.log2(_disc(light.cd_m2, u, v, near, frame).mean() / 0.125))
        true_ev.append(ev)
        ev += rng.normal(0, 0.05) + np.log2(entry.meter_iso / 100)
        noted.append(round(ev * 10) / 10 if entry.fresh else round(ev * 3) / 3)
    focal = lens.cells[entry.cell].focal_mm
    return Seen(spots, noted, true_ev, plan(entry, film, lens, tuple(noted), focal))


def expose(
    entry: Entry, light: Luminance, rng: np.random.Generator
) -> tuple[F, dict[str, Any], dict[str, Any]]:
    """(net densities on the ray grid, the record, the truth) of one sheet, not yet scanned."""
    film, lens = FILMS[entry.film], LENSES[entry.lens]
    comp = COMPOSITIONS[entry.composition]
    cell = lens.cells[entry.cell]
    focal = cell.focal_mm
    image_mm = entry.bellows or focal
    frame = comp.frame
    seen = metered(entry, light, frame, rng)
    spots, true_ev, p = seen.spots, seen.true_ev, seen.plan

    # what reached the film
    n = lens.true_n(f_number(p.stop), entry.cell, entry.scale)
    t_real = lens.real_time(seconds(p.time))
    t_eff = film.law.effective(t_real)
    bell = bellows_stops(focal, entry.bellows, lens.pupil_ratio)
    stops = bell + cell.hidden_stops
    image = light.cd_m2
    if entry.factor:
        stops -= float(np.log2(entry.factor))
        image = image * (1 - 0.42 * light.blue)
    vig = falloff(image.shape, frame, image_mm, comp.rise if abs(comp.rise) < 90 else 0.0, comp.shift)
    h = lux_seconds(image, n, t_eff, stops, vig, lens.flare)
    h = gaussian_filter(h, 0.8)
    batch, tag, _, time, *_ = next(b for b in fieldbook.BATCHES if b[1] == entry.tag and b[2] == entry.film)
    dev_n = true_n(entry.film, time, batch)
    net = film.net(h, dev_n)
    record = record_of(entry, seen)
    planned = _zone(entry.readings[0].zone or "III")
    at = [(film.zone(_disc(h, u, v, 1.0, frame).mean()).item()) for u, v in spots]
    base = (
        film.base_fog
        + 0.012 * max(dev_n, 0)
        + float(np.random.default_rng([int(batch[2:]), 4]).normal(0, 0.004))
    )
    ei_ev = true_ev[0] + np.log2(film.box_speed / 100)
    truth = {
        "film": entry.film,
        "cell": entry.cell,
        "tag": entry.tag,
        "batch": batch,
        "planned_zone": planned,
        "exposure_error_stops": at[0] - planned,
        "parts_of_it": {
            "film_speed": float(np.log2(film.speed / film.box_speed)),
            "cell_beyond_its_scale": cell.hidden_stops,
            "stop_time_and_corrections": float(
                5
                - np.log2(n * n / t_eff)
                + ei_ev
                + bell
                - (np.log2(entry.factor) if entry.factor else 0)
                - planned
            ),
            "falloff_filter_flare_and_spot": 0.0,
        },
        "n": dev_n,
        "contrast": contrast_of(dev_n),
        "base_fog": base,
        "true_f_number": n,
        "true_time_s": t_real,
        "effective_time_s": t_eff,
        "readings": [],
    }
    parts = truth["parts_of_it"]
    parts["falloff_filter_flare_and_spot"] = truth["exposure_error_stops"] - sum(parts.values())  # type: ignore[index, attr-defined]
    for m, (u, v), z, ev in zip(entry.readings, spots, at, true_ev, strict=True):
        truth["readings"].append({"name": m.name, "ev100": ev, "film_zone": z, "frame": [u, v]})  # type: ignore[attr-defined]
    truth["batch_time"] = time
    assert tag == entry.tag
    return net, record, {**truth, "base": base}


def develop_and_scan(
    entry: Entry,
    net: F,
    record: dict[str, Any],
    truth: dict[str, Any],
    scanner: Scanner,
    rng: np.random.Generator,
    lay: Lay | None = None,
) -> Developed:
    film = FILMS[entry.film]
    frame = COMPOSITIONS[entry.composition].frame
    wide = frame[0] > frame[1]
    lay = lay or Lay(
        sheet_mm=(127.0, 101.0) if wide else (101.0, 127.0),
        frame_mm=frame,
        frame_shift_mm=(float(rng.uniform(-0.35, 0.35)), float(rng.uniform(-0.35, 0.35))),
        tilt_deg=float(rng.uniform(-0.8, 0.8)),
        offset_mm=(float(rng.uniform(-0.7, 0.7)), float(rng.uniform(-0.7, 0.7))),
        notches=film.notches,
        notch_corner="top-left" if rng.random() < 0.5 else "bottom-right",
    )
    t, density = lay_on_glass(net, truth["base"], lay, scanner.dpi, film.grain, rng, grain)
    codes = scanner.codes(t, rng)
    h, w = codes.shape
    px = scanner.dpi / 25.4
    y, x = np.ogrid[:h, :w]
    for k, (m, q) in enumerate(zip(record["readings"], truth["readings"], strict=True)):
        fx, fy = scan_fraction(lay, scanner.dpi, *q.pop("frame"))
        spot = {"x": round(fx, 4), "y": round(fy, 4)}
        m["spot"] = spot
        inside = (x + 0.5 - spot["x"] * w) ** 2 + (y + 0.5 - spot["y"] * h) ** 2 <= px**2
        transmittance = float((10.0 ** -density[inside]).mean())
        q["net_density"] = -float(np.log10(transmittance)) - truth["base"]
        q["texture_sd"] = float(density[inside].std())
        assert m["name"] == q["name"], k
    truth = {k: v for k, v in truth.items() if k != "base"}
    return Developed(entry, record, truth["batch"], codes, lay, truth)


def record_of(entry: Entry, seen: Seen) -> dict[str, Any]:
    """Write a sheet's record down as he does."""
    film, p, noted = FILMS[entry.film], seen.plan, seen.noted
    r: dict[str, Any] = {"sheet": entry.sheet, "film": entry.film}
    if entry.film == SORREL:
        r["exposure_index"] = 100
    r |= {"format": "4x5", "holder": entry.holder, "side": entry.side, "exposed_at": entry.when}
    r |= {"place": entry.place, "subject": entry.subject, "lens": entry.lens}
    if len(LENSES[entry.lens].cells) > 1:
        r["cell"] = entry.cell
    r["stop"] = p.stop
    if entry.scale:
        r["stop_scale"] = entry.scale
    r["time"] = p.time
    if entry.bellows:
        r["bellows_mm"] = entry.bellows
    if entry.filter:
        r |= {"filter": entry.filter, "filter_factor": entry.factor}
    if entry.movements:
        r["movements"] = dict(entry.movements)
    r |= {"weather": entry.weather, "tag": entry.tag}
    if entry.meter_iso != 100:
        r["meter_iso"] = entry.meter_iso
    readings = []
    for k, (m, ev) in enumerate(zip(entry.readings, noted, strict=True)):
        q: dict[str, Any] = {"name": m.name, "role": m.role}
        if entry.how == "stops" and k:
            q["stops_from_placed"] = round(ev - noted[0], 1)
        elif entry.how == "indicated":
            if k:
                q["stops_from_placed"] = round(ev - noted[0], 2)
        else:
            q["ev"] = round(ev, 2)
        if m.zone:
            q["zone"] = m.zone
        readings.append(q)
    if entry.how == "indicated":
        # a meter set to the index, its reading placed: it shows a pair of a stop and a time
        z = _zone(entry.readings[0].zone or "III")
        x = noted[0] + np.log2(film.box_speed / 100) - (z - 5)
        r["indicated"] = {"stop": mark(float(np.sqrt(2**x / 2)), 3, "½"), "time": "1/2"}
    r["readings"] = readings
    r["location"] = f"binder 7, sleeve {int(entry.sheet[3:]):02d}"
    if entry.notes:
        r["notes"] = entry.notes
    return r


def season(
    seed: int = 2026,
    only: tuple[str, ...] | None = None,
    scanner: Scanner | None = None,
    rays: int = RAYS,
    lay: Callable[[Entry, np.random.Generator], Lay | None] | None = None,
    light: Callable[[Entry], Luminance] | None = None,
) -> Iterator[Developed]:
    """Work through the field book.

    Parameters
    ----------
    seed : of the meter's noise, the grain, how sheets lie and the scanner's noise.
    only : ids of the sheets wanted; all by default. A sheet is the same whichever others are made.
    scanner : another scanner (resolution, gamma, noise).
    rays : along the picture's long side; few make quick, coarse pictures with the same light.
    lay : how each sheet lies: tilt, glass or mask, cropping; None for an ordinary one.
    light : another source of luminances than the renderer.
    """
    scanner = scanner or Scanner()
    for entry in fieldbook.ENTRIES:
        if only is not None and entry.sheet not in only:
            continue
        rng = np.random.default_rng([seed, int(entry.sheet[3:])])
        comp = COMPOSITIONS[entry.composition]
        focal = LENSES[entry.lens].cells[entry.cell].focal_mm
        seen = light(entry) if light else luminance_of(entry.composition, comp, focal, entry.bellows, rays)
        net, record, truth = expose(entry, seen, rng)
        yield develop_and_scan(entry, net, record, truth, scanner, rng, lay(entry, rng) if lay else None)
