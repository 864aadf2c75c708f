"""What came after the scans: sheets that wait, and film tests. Made with the same films, lenses and light.

The sheets have records and no picture yet: two are developed, the others are still in their holders. The tests are
a step tablet exposed on each film in the college's sensitometer and developed at home for several times.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .fieldbook import ALDWATER, ENTRIES, MARL, SORREL, TRESSICK, Entry, Metered
from .film import grain
from .scanner import Scanner, film_strip
from .season import FILMS, LENSES, Luminance, luminance_of, metered, record_of, true_n
from .views import COMPOSITIONS, OVERCAST, Composition, sun_at

F = NDArray[np.float64]

RAYS = 586

#: the places of April and May, on other days
VIEWS: dict[str, Composition] = {
    "kilns": replace(COMPOSITIONS["kilns"], weather=sun_at(255, 33, 21, 0.4)),
    "jetty": replace(COMPOSITIONS["jetty"], weather=sun_at(280, 30, 22, 0.35)),
    "clay face": replace(COMPOSITIONS["clay face"], weather=replace(OVERCAST, zenith=4600, horizon=2600)),
    "window": replace(COMPOSITIONS["window"], weather=replace(OVERCAST, zenith=6300, horizon=3300)),
    "stacks": replace(COMPOSITIONS["stacks"], weather=sun_at(280, 27, 23, 0.3)),
    "pit": replace(COMPOSITIONS["pit"], weather=sun_at(252, 33, 24, 0.3)),
    "reeds": replace(COMPOSITIONS["reeds"], weather=replace(OVERCAST, zenith=5900, horizon=3100)),
}

DEVELOPED = (
    Entry(
        "BW-25", MARL, "kilns", ALDWATER, "whole", "N",
        (
            Metered("inside the wicket", "shadow", 0.215, 0.70, "III"),
            Metered("sunlit wall of the right dome", "middle", 0.59, 0.535),
        ),
        "2026-05-20T16:40", "Hollin Brickworks, kiln yard", "The two kilns again, on the fast film",
        "sun, some cloud, wind", time="1/60", meter_iso=400, movements={"front_rise_mm": 18}, holder="4", side="A",
        style="third", notes="Too windy for anything slower.",
    ),
    Entry(
        "BW-26", MARL, "jetty", ALDWATER, "whole", "N",
        (
            Metered("shaded post under the deck", "shadow", 0.905, 0.58, "III"),
            Metered("mud bank", "middle", 0.41, 0.62),
            Metered("bright sky", "highlight", 0.45, 0.21),
        ),
        "2026-05-20T18:05", "Sallow Creek, clay staging", "Staging, the ebb half run", "sun and cloud", time="1/60",
        meter_iso=400, movements={"front_rise_mm": -6}, holder="4", side="B", style="third",
    ),
)  # fmt: skip

IN_HOLDERS = (
    Entry(
        "BW-27", SORREL, "clay face", ALDWATER, "front", "N+1",
        (
            Metered("side of the old post", "shadow", 0.775, 0.955, "III"),
            Metered("third shelf, face", "middle", 0.775, 0.37),
            Metered("dry clay, second shelf", "highlight", 0.47, 0.21),
        ),
        "2026-05-23T10:20", "Hollin clay pits, north pit", "The four shelves, the ladder gone", "dull, still",
        time="1/4", style="third", movements={"front_rise_mm": 14}, holder="1", side="A",
        notes="Front cell, stop off the whole lens's scale.",
    ),
    Entry(
        "BW-28", SORREL, "window", ALDWATER, "rear", "N+1",
        (
            Metered("pane with the sky in it", "shadow", 0.54, 0.39, "III"),
            Metered("brickwork", "middle", 0.04, 0.60),
            Metered("stone sill", "highlight", 0.45, 0.905),
        ),
        "2026-05-23T12:15", "Hollin Brickworks, engine house", "The engine-house window, a fifth pane gone",
        "bright overcast", time="1", movements={"front_rise_mm": 4}, holder="1", side="B", style="f",
        notes="Rear cell at its own scale this time.",
    ),
    Entry(
        "BW-29", SORREL, "stacks", TRESSICK, "150", "N",
        (
            Metered("shaded wall of the kiln", "shadow", 0.20, 0.46, "III"),
            Metered("lit end of the near stack", "middle", 0.19, 0.70),
            Metered("sky low over the hedge", "highlight", 0.72, 0.38),
        ),
        "2026-05-23T17:10", "Hollin Brickworks, hacks", "Green bricks in the hacks, the top course down",
        "sun in the west, few clouds", time="1/15", movements={"front_rise_mm": -4}, holder="2", side="A",
    ),
    Entry(
        "BW-30", SORREL, "pit", ALDWATER, "whole", "N",
        (
            Metered("cut face in shadow", "shadow", 0.655, 0.61, "IV"),
            Metered("standing water", "middle", 0.11, 0.95),
            Metered("clay in the sun", "highlight", 0.78, 0.95),
        ),
        "2026-05-23T15:55", "Hollin clay pits, north pit", "The north pit from the rim, the water lower",
        "sun, clouds passing", time="1/30", movements={"front_rise_mm": -22}, holder="2", side="B",
    ),
    Entry(
        "BW-31", MARL, "reeds", ALDWATER, "rear", "N+1",
        (Metered("foot of the reeds", "shadow", 0.40, 0.95, "III"), Metered("sky", "highlight", 0.50, 0.06)),
        "2026-05-23T14:50", "Sallow Creek, east bank", "The reeds, green below now", "overcast, a breath of wind",
        time="1/30", meter_iso=400, movements={"front_rise_mm": 4}, holder="3", side="A", style="third",
        notes="Rear cell, own scale.",
    ),
)  # fmt: skip

#: every sheet on record
ALL = (*ENTRIES, *DEVELOPED, *IN_HOLDERS)

BATCH = ("D-67", "N", MARL, "11m", "2026-05-21", "As D-64. Not scanned yet.")


@dataclass(frozen=True)
class Test:
    """A film test: its film, how long it was developed, and whether it was scanned or read at the college."""

    test: str
    film: str
    time: str
    scanned: bool = False


TESTS = (
    Test("T-1", SORREL, "6m30s"),
    Test("T-2", SORREL, "9m", scanned=True),
    Test("T-3", SORREL, "12m"),
    Test("T-4", SORREL, "16m"),
    Test("T-5", MARL, "8m"),
    Test("T-6", MARL, "11m"),
    Test("T-7", MARL, "15m"),
)

#: log10 lux seconds under the clearest step, as the sensitometer's table says, and what it truly gives beyond that
SENSITOMETER = {SORREL: 0.1, MARL: -0.3}
SENSITOMETER_OFF = 0.015

#: how often a college's densitometer gives the same
DENSITOMETER_SD = 0.006


def records_of_sheets(seed: int) -> Iterator[dict[str, Any]]:
    """What the field book says of the sheets that wait, metered in rendered light as all others were."""
    for entry in (*DEVELOPED, *IN_HOLDERS):
        rng = np.random.default_rng([seed, int(entry.sheet[3:])])
        record = record_of(entry, metered(entry, _light(entry), VIEWS[entry.composition].frame, rng))
        if entry in IN_HOLDERS:
            del record["location"]
        yield record


def _light(entry: Entry) -> Luminance:
    focal = LENSES[entry.lens].cells[entry.cell].focal_mm
    return luminance_of(entry.composition, VIEWS[entry.composition], focal, entry.bellows, RAYS)


@dataclass(frozen=True)
class Tested:
    """A film test developed: its record, what is true of it, and its scan where it was scanned."""

    record: dict[str, Any]
    truth: dict[str, Any]
    codes: NDArray[np.uint16] | None


def film_tests(seed: int, tablet: tuple[float, ...], scanner: Scanner) -> Iterator[Tested]:
    """Expose the tablet on both films, develop, and read the densities: on a densitometer, or by scanning."""
    for spec in TESTS:
        film, number = FILMS[spec.film], int(spec.test[2:])
        rng = np.random.default_rng([seed, 1000 + number])
        n = true_n(spec.film, spec.time, spec.test)
        fog = film.base_fog + 0.012 * max(n, 0) + float(rng.normal(0, 0.004))
        recorded = SENSITOMETER[spec.film]
        log_h = recorded + SENSITOMETER_OFF - (np.array(tablet) - tablet[0])
        densities = fog + film.net(10.0**log_h, n)
        record: dict[str, Any] = {
            "test": spec.test,
            "film": spec.film,
            "tablet": f"step tablet {len(tablet)}",
            "developer": "Ousel",
            "dilution": "1+25",
            "temperature_c": 20,
            "time": spec.time,
            "log_exposure": recorded,
        }
        codes = None
        if spec.scanned:
            record["scan"] = f"film_tests/{spec.test}.tif"
            codes = scanner.codes(
                film_strip(scanner, densities, fog, partial(grain, sigma=film.grain, rng=rng)), rng
            )
        else:
            read = densities + rng.normal(0, DENSITOMETER_SD, len(tablet))
            record["densities"] = [round(float(density), 2) for density in read]
        truth = {
            "test": spec.test,
            "film": spec.film,
            "n": n,
            "base_fog": fog,
            "log_exposure": recorded + SENSITOMETER_OFF,
            "net_density": [float(density) - fog for density in densities],
        }
        yield Tested(record, truth, codes)
