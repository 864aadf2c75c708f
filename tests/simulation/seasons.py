"""Seasons in numbers: sheets by the dozen with everything about them known, for the fit over a season.

No pictures here: zones given, densities found, and the truth beside them. The truth's formulas are the
simulation's own; only the containers are negcat's.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from negcat.learning import Film, FilmTest, Lens, Reading, Season, Sheet
from negcat.sensitometry import built_in_target

from .film import contrast_of, normal_density

F = NDArray[np.float64]
Curve = Callable[[F], F]

WHOLE, FRONT, REAR = "whole", "front", "rear"
CONVERTIBLE = "Aldwater convertible 195"
FILMS = ("Sorrel 100", "Marl 400")
INDEX = {"Sorrel 100": 100.0, "Marl 400": 400.0}
EXPONENT = {"Sorrel 100": 1.35, "Marl 400": 1.25}
NORMAL_TIME = {"Sorrel 100": 540.0, "Marl 400": 660.0}
SHORT = (("1/60", 1 / 64), ("1/30", 1 / 32), ("1/15", 1 / 16), ("1/8", 1 / 8), ("1/4", 1 / 4), ("1/2", 1 / 2))
LONG = (("2 s", 2.0), ("4 s", 4.0), ("8 s", 8.0), ("15 s", 15.0), ("30 s", 30.0), ("1m", 60.0))
BOUND = 0.03


def anchored(raw: Curve) -> Curve:
    """A curve of any shape, laid so that Zone I has 0.10 and Zone VIII 1.30: what speed and N mean.

    Its own axis is stretched and shifted; its densities stay as they are.
    """
    fine = np.linspace(-30, 60, 90001)
    values = raw(fine)
    one, eight = np.interp([0.10, 1.30], values, fine)
    scale = (eight - one) / 7.0
    return lambda x: raw(one + (np.asarray(x, float) - 1.0) * scale)


def toe_and_shoulder(toe: float, top: float, reach: float) -> Curve:
    """A straight line with a toe `toe` zones long, running into a shoulder below `top`, over `reach` density."""

    def raw(x: F) -> F:
        line = 0.19 * toe * np.logaddexp(0.0, np.asarray(x, float) / toe)
        return np.asarray(line - reach * np.logaddexp(0.0, (line - top) / reach))

    return raw


CURVES: dict[str, Curve] = {
    "target": normal_density,
    "short toe": anchored(toe_and_shoulder(0.9, 3.0, 0.05)),
    "long toe": anchored(toe_and_shoulder(1.7, 3.0, 0.05)),
    "shoulder": anchored(toe_and_shoulder(1.2, 2.0, 0.3)),
    "hardly any toe": anchored(toe_and_shoulder(0.45, 3.0, 0.05)),
    "all toe": anchored(toe_and_shoulder(2.2, 3.0, 0.05)),
    "early shoulder": anchored(toe_and_shoulder(1.0, 1.5, 0.25)),
}


@dataclass(frozen=True)
class Kind:
    """What kind of season.

    Parameters
    ----------
    sheets : fewest and most.
    readings : fewest and most of a sheet.
    curves : drawn from, one for each film.
    multiplied : development multiplies densities, in place of stretching zones from I up.
    metering, sheet_noise, batch_noise, contrast_noise : ranges of deviations, drawn for each season.
    spoiled : share of sheets.
    tested : film tests given: "no", "relative", "absolute".
    confounded : the front cell is used with N−1 only, and N−1 with it only.
    long_share : share of long times.
    laws : the films' laws on record.
    batches : fewest and most of each film and tag.
    rounded : readings noted in thirds of a stop.
    """

    sheets: tuple[int, int] = (60, 80)
    readings: tuple[int, int] = (2, 3)
    curves: tuple[str, ...] = ("target",)
    multiplied: bool = False
    metering: tuple[float, float] = (0.1, 0.1)
    sheet_noise: tuple[float, float] = (0.05, 0.18)
    batch_noise: tuple[float, float] = (0.0, 0.08)
    contrast_noise: tuple[float, float] = (0.0, 0.02)
    spoiled: float = 0.0
    tested: str = "no"
    confounded: bool = False
    long_share: float = 0.3
    laws: tuple[str, ...] = ("power",)
    batches: tuple[int, int] = (1, 3)
    rounded: bool = False
    time_noise: float = 0.15


SCENARIOS: dict[str, Kind] = {
    "ordinary": Kind(),
    "noisier meter": Kind(metering=(0.12, 0.15), rounded=True),
    "no noise of sheets or batches": Kind(
        sheet_noise=(0.0, 0.0), batch_noise=(0.0, 0.0), contrast_noise=(0.0, 0.0)
    ),
    "curves of other shapes": Kind(curves=("short toe", "long toe", "shoulder")),
    "curves of quite another shape": Kind(curves=("hardly any toe", "all toe", "early shoulder")),
    "development multiplies densities": Kind(multiplied=True),
    "film tests, relative": Kind(curves=("target", "hardly any toe", "all toe", "shoulder"), tested="relative"),
    "film tests, absolute": Kind(curves=("target", "hardly any toe", "all toe", "shoulder"), tested="absolute"),
    "front cell with N-1 only": Kind(confounded=True),
    "5 % of sheets spoiled": Kind(spoiled=0.05),
    "one reading a sheet": Kind(readings=(1, 1)),
    "few long times": Kind(long_share=0.06),
}  # fmt: skip


@dataclass
class Truth:
    """What is true of a season, in the gauge in which it can be learnt.

    Parameters
    ----------
    film, cell, time, exponent, n, time_for, contrast_at : film → stops; cell → stops; (shutter, mark) → stops; film →
        exponent; (film, tag) → development at the time in use; → seconds for the tag's contrast.
    spoiled : sheet → kind of accident.
    """

    film: dict[str, float] = field(default_factory=dict)
    cell: dict[str, float] = field(default_factory=dict)
    time: dict[str, float] = field(default_factory=dict)
    exponent: dict[str, float] = field(default_factory=dict)
    n: dict[tuple[str, float], float] = field(default_factory=dict)
    time_for: dict[tuple[str, float], float] = field(default_factory=dict)
    spoiled: dict[str, str] = field(default_factory=dict)


def made(kind: Kind, seed: int) -> tuple[Season, Truth]:
    """Make a season of a kind."""
    return _Maker(kind, np.random.default_rng([2026, 5, seed])).made()


class _Maker:
    def __init__(self, kind: Kind, rng: np.random.Generator) -> None:
        self.kind, self.rng = kind, rng
        draw = rng.uniform
        self.metering, self.sheet_sd = draw(*kind.metering), draw(*kind.sheet_noise)
        self.batch_sd, self.contrast_sd = draw(*kind.batch_noise), draw(*kind.contrast_noise)
        self.speed = {film: float(rng.normal(0, 0.4)) for film in FILMS}
        self.cells = {WHOLE: 0.0, FRONT: float(rng.normal(0, 0.3)), REAR: float(rng.normal(0, 0.3))}
        self.times = {mark: float(rng.normal(0, kind.time_noise)) for mark, _ in SHORT}
        self.times |= {mark: float(rng.normal(0, 0.04)) for mark, _ in LONG}
        self.law = {film: str(rng.choice(kind.laws)) for film in FILMS}
        self.on_record = {film: EXPONENT[film] if self.law[film] == "power" else 1.0 for film in FILMS}
        self.exponent = {film: EXPONENT[film] + float(rng.normal(0, 0.1)) for film in FILMS}
        if "none" in kind.laws:
            self.exponent = {film: self.on_record[film] + abs(float(rng.normal(0, 0.15))) for film in FILMS}
        self.curve = {film: CURVES[str(rng.choice(kind.curves))] for film in FILMS}
        # c(t) = (1 − e^(−kt))/(1 − e^(−kT)) · c(T), T the time in use for N
        self.k = {film: draw(0.55, 1.1) / NORMAL_TIME[film] for film in FILMS}
        self.at_normal = {film: float(contrast_of(rng.normal(0, 0.4))) for film in FILMS}
        self.dev_time = {
            (film, n): NORMAL_TIME[film] * float(np.exp(n * draw(0.1, 0.3)))
            for film in FILMS
            for n in (-1.0, 0.0, 1.0, 2.0)
        }

    def contrast(self, film: str, seconds: float) -> float:
        k, whole = self.k[film], NORMAL_TIME[film]
        grown = (1 - np.exp(-k * seconds)) / (1 - np.exp(-k * whole))
        return float(self.at_normal[film] * grown)

    def n_reached(self, film: str, contrast: float) -> float:
        """N+n by its definition: the densities of zones I and VIII at N lie 7 − n stops apart."""
        if not self.kind.multiplied:
            return 7 - 7 / contrast
        zones = np.linspace(-2, 14, 3201)
        one, eight = np.interp([0.10, 1.30], contrast * self.curve[film](zones), zones)
        return float(7 - (eight - one))

    def time_for(self, film: str, n: float) -> float:
        """Seconds that reach N+n; infinite where none do."""
        times = NORMAL_TIME[film] * np.geomspace(0.3, 6, 1201)
        reached = np.array([self.n_reached(film, self.contrast(film, t)) for t in times])
        return float(np.exp(np.interp(n, reached, np.log(times)))) if n < reached[-1] else np.inf

    def density(self, film: str, zone: F, contrast: float) -> F:
        """Net density of zones by the film's true speed."""
        zone = np.asarray(zone, float)
        if self.kind.multiplied:
            return np.asarray(contrast * self.curve[film](zone))
        return self.curve[film](np.where(zone > 1, 1 + contrast * (zone - 1), zone))

    def made(self) -> tuple[Season, Truth]:
        kind, rng = self.kind, self.rng
        count = int(rng.integers(kind.sheets[0], kind.sheets[1] + 1))
        batch_of = self.batches()
        sheets, spoiled = [], {}
        for i in range(count):
            film = FILMS[int(rng.integers(2))]
            cell = str(rng.choice([WHOLE, FRONT, REAR], p=[0.4, 0.3, 0.3]))
            n = float(rng.choice([-1.0, 0.0, 1.0, 2.0], p=[0.2, 0.4, 0.3, 0.1]))
            if kind.confounded:
                n = -1.0 if cell == FRONT else float(rng.choice([0.0, 1.0, 2.0], p=[0.5, 0.35, 0.15]))
            marks = LONG if rng.random() < kind.long_share else SHORT
            mark, seconds = marks[int(rng.integers(len(marks)))]
            batch, shift, more = batch_of[film, n][int(rng.integers(len(batch_of[film, n])))]
            accident = str(rng.choice(ACCIDENTS)) if rng.random() < kind.spoiled else ""
            name = f"SE-{i:03d}"
            readings, accident = self.readings(film, cell, n, mark, seconds, shift, more, accident)
            if accident:
                spoiled[name] = accident
            exponent = self.on_record[film]
            sheets.append(
                Sheet(
                    sheet=name,
                    film=film,
                    lens=CONVERTIBLE,
                    cell=cell,
                    shutter=CONVERTIBLE,
                    marked_time=mark,
                    time_s=seconds,
                    by_hand=seconds >= 1,
                    exposure_index=INDEX[film],
                    planned_n=n,
                    effective_s=seconds ** (1 / exponent) if seconds > 1 else seconds,
                    readings=readings,
                    developer="Ousel",
                    dilution="1+25",
                    batch=batch,
                    development_s=self.dev_time[film, n],
                    temperature_c=20.0,
                )
            )
        season = Season(
            sheets=tuple(sheets),
            films=tuple(self.film(name) for name in FILMS),
            lenses=(Lens(CONVERTIBLE, (WHOLE, FRONT, REAR), WHOLE),),
            target=built_in_target(),
            tests=() if kind.tested == "no" else tuple(self.test(film) for film in FILMS),
        )
        return season, self.truth(season, spoiled)

    def film(self, name: str) -> Film:
        if self.law[name] == "power":
            return Film(name, INDEX[name], "power", self.on_record[name])
        return Film(name, INDEX[name])

    def batches(self) -> dict[tuple[str, float], list[tuple[str, float, float]]]:
        found: dict[tuple[str, float], list[tuple[str, float, float]]] = {}
        for film in FILMS:
            for n in (-1.0, 0.0, 1.0, 2.0):
                count = int(self.rng.integers(self.kind.batches[0], self.kind.batches[1] + 1))
                found[film, n] = [
                    (
                        f"D-{film[:1]}{n:+.0f}-{j}",
                        float(self.rng.normal(0, self.batch_sd)),
                        float(self.rng.normal(0, self.contrast_sd)),
                    )
                    for j in range(count)
                ]
        return found

    def readings(
        self,
        film: str,
        cell: str,
        n: float,
        mark: str,
        seconds: float,
        shift: float,
        more: float,
        accident: str,
    ) -> tuple[tuple[Reading, ...], str]:
        rng, kind = self.rng, self.kind
        count = int(rng.integers(kind.readings[0], kind.readings[1] + 1))
        shadow = float(rng.choice([2.0, 3.0, 4.0], p=[0.1, 0.5, 0.4]))
        zones = [shadow]
        if count > 1:
            zones.append(float(rng.uniform(6.0, 8.5)))
        if count > 2:
            zones.append(float(rng.uniform(4.0, 6.5)))
        if count == 1 and rng.random() < 0.5:
            zones = [float(rng.uniform(3.0, 8.0))]
        # what the record knows: rounding and stopping down, within a third of a stop
        given = np.array(zones) + rng.normal(0, 0.15)
        true = given + self.metering * rng.standard_normal(len(zones)) + self.sheet_sd * rng.standard_normal()
        if kind.rounded:
            true = true + rng.uniform(-1 / 6, 1 / 6, len(zones))
        true = true + self.cells[cell] + self.times[mark] + shift
        if seconds > 1:
            true = true + np.log2(seconds) * (1 / self.exponent[film] - 1 / self.on_record[film])
        on = film
        if accident == "wrong film":
            on = next(other for other in FILMS if other != film)
            true = true + np.log2(INDEX[on] / INDEX[film])
        true = true + self.speed[on]
        if accident == "double exposure":
            true = np.log2(2.0**true + 2.0 ** (true + rng.normal(0, 0.3)))
        contrast = self.contrast(on, self.dev_time[film, n]) * float(np.exp(more))
        density = self.density(on, true, contrast)
        if accident == "fog":
            density = density + rng.uniform(0.12, 0.35)
        if accident == "mistaken reading":
            j = int(rng.integers(len(zones)))
            density[j] = max(density[j] + float(rng.choice([-1, 1])) * rng.uniform(0.25, 0.6), 0.05)
        sd = rng.uniform(0.008, 0.02, len(zones))
        density = density + sd * rng.standard_normal(len(zones))
        found = tuple(
            Reading(float(z), None, None, f"reading {j}", "clearer", BOUND)
            if d < BOUND
            else Reading(float(z), float(d), float(s), f"reading {j}")
            for j, (z, d, s) in enumerate(zip(given, density, sd, strict=True))
        )
        return found, accident

    def test(self, film: str) -> FilmTest:
        rng = self.rng
        log_h = np.arange(21) * -0.15 + 0.4 - np.log10(INDEX[film] / 100)
        zone = 1 + (log_h + np.log10(INDEX[film] / 0.504)) / np.log10(2) + self.speed[film]
        zone = zone + rng.normal(0, 0.05)
        density = self.density(film, zone, self.contrast(film, self.dev_time[film, 0.0]))
        density = np.maximum(density + rng.normal(0, 0.01, 21), 0.0)
        absolute = self.kind.tested == "absolute"
        return FilmTest(
            test=f"T-{film[:1]}",
            film=film,
            log_exposure=tuple(log_h if absolute else log_h - log_h[0]),
            net_density=tuple(density),
            absolute=absolute,
            developer="Ousel",
            dilution="1+25",
            development_s=self.dev_time[film, 0.0],
            temperature_c=20.0,
        )

    def truth(self, season: Season, spoiled: dict[str, str]) -> Truth:
        marks = Counter(sheet.marked_time for sheet in season.sheets)
        middle = sum(self.times[mark] * often for mark, often in marks.items()) / sum(marks.values())
        used = {(sheet.film, sheet.planned_n) for sheet in season.sheets}
        return Truth(
            film={film: self.speed[film] + middle for film in FILMS},
            cell={cell: error for cell, error in self.cells.items() if cell != WHOLE},
            time={mark: self.times[mark] - middle for mark in marks},
            exponent=dict(self.exponent),
            n={
                (film, n): self.n_reached(film, self.contrast(film, self.dev_time[film, n]))
                for film, n in used
            },
            time_for={(film, n): self.time_for(film, n) for film, n in used},
            spoiled=spoiled,
        )


ACCIDENTS = ("fog", "double exposure", "mistaken reading", "wrong film")
