"""Film tests and developing times of known truth, recovered from readings with the usual errors."""

from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import norm

from negcat.sensitometry import (
    TAGS,
    ContrastTest,
    FilmFigures,
    film_figures,
    fit_contrast,
    fit_film_curve,
)
from negcat.sensitometry.film_curve import Read
from negcat.sensitometry.film_figures import average_gradient, contrast_index

Floats = NDArray[np.float64]

STEPS = 0.05 + 0.15 * np.arange(21)
READING_SD, TABLET_SD = 0.008, 0.007
"""What a densitometer repeats to, and what a calibrated tablet is known to."""

TESTS = 80


@dataclass(frozen=True)
class Film:
    """A film and its development: toe and shoulder of given lengths about a straight line."""

    gradient: float
    toe: float
    densest: float
    fog: float
    inertia: float
    short_toed: bool

    def density(self, log_h: Floats) -> Floats:
        shoulder = 0.25
        past = (log_h - self.inertia) / self.toe
        if self.short_toed:  # grains that answer within a normal spread of exposures
            rising = self.gradient * self.toe * (past * norm.cdf(past) + norm.pdf(past))
        else:
            rising = self.gradient * self.toe * np.logaddexp(0.0, past)
        level = self.densest - shoulder * np.logaddexp(0.0, self.densest / shoulder)
        return (
            self.fog + self.densest - shoulder * np.logaddexp(0.0, (self.densest - rising) / shoulder) - level
        )

    def true(self, log_h: Floats) -> Read:
        fine = np.arange(log_h.min(), log_h.max() + 0.003, 0.005)
        return Read(fine, self.density(fine) - float(self.density(np.array([-9.0]))[0]))


def films(count: int) -> list[Film]:
    rng = np.random.default_rng(20)
    return [
        Film(
            gradient=rng.uniform(0.45, 0.95),
            toe=rng.uniform(0.08, 0.20),
            densest=rng.uniform(1.9, 3.2),
            fog=rng.uniform(0.05, 0.25),
            inertia=rng.uniform(-1.9, -1.5),
            short_toed=bool(rng.integers(2)),
        )
        for _ in range(count)
    ]


@pytest.fixture(scope="module")
def recovered() -> list[tuple[FilmFigures, Read]]:
    rng = np.random.default_rng(21)
    found = []
    for film in films(TESTS):
        nominal = rng.uniform(0.5, 0.9) - (STEPS - STEPS[0])
        actual = nominal - rng.normal(0.0, TABLET_SD, STEPS.size)
        densities = film.density(actual) + rng.normal(0.0, READING_SD, STEPS.size)
        curve = fit_film_curve(
            nominal.tolist(),
            densities.tolist(),
            [READING_SD] * STEPS.size,
            absolute=True,
            tablet_sd=TABLET_SD,
        )
        found.append((film_figures(curve), film.true(nominal)))
    return found


def errors_of(recovered: list[tuple[FilmFigures, Read]], what: str) -> tuple[Floats, Floats]:
    """Error and stated deviation of a figure of every test, gradients as ratios."""
    errors, sds = [], []
    for figures, true in recovered:
        if what == "speed":
            truth = true.exposure(0.10)
            figure, scale = figures.log_h_m, 1.0
        elif what == "average gradient":
            truth = average_gradient(true)
            figure, scale = figures.average_gradient, truth or 1.0
        else:
            truth = contrast_index(true)
            figure, scale = figures.contrast_index, truth or 1.0
        if truth is None or figure.value is None or figure.sd is None:
            continue
        errors.append((figure.value - truth) / scale)
        sds.append(figure.sd / scale)
    assert len(errors) > 0.9 * len(recovered)
    return np.array(errors), np.array(sds)


# Speed within 0.05 log H in nine tests of ten, gradients within 2 % in seventeen of twenty, none off on average.
@pytest.mark.parametrize(
    ("what", "within"), [("speed", 0.05), ("average gradient", 0.02), ("contrast index", 0.02)]
)
def test_figures_are_recovered(recovered: list[tuple[FilmFigures, Read]], what: str, within: float):
    errors, sds = errors_of(recovered, what)
    assert np.quantile(np.abs(errors), 0.9 if what == "speed" else 0.85) < within
    assert abs(errors.mean()) < 0.25 * within
    covered = float((np.abs(errors) < 1.645 * sds).mean())
    assert 0.82 <= covered <= 0.97


@pytest.mark.parametrize(
    ("times", "temperatures"),
    [
        ((0.75, 1.3), (20.0, 20.0)),
        ((0.7, 1.0, 1.4), (20.0, 20.0, 20.0)),
        ((0.6, 0.8, 1.0, 1.3, 1.7), (20.0,) * 5),
        ((0.7, 1.0, 1.4, 1.0, 0.8), (20.0, 20.0, 20.0, 24.0, 24.0)),
    ],
    ids=["two times", "three times", "five times", "two temperatures"],
)
def test_times_lie_in_their_intervals(times: tuple[float, ...], temperatures: tuple[float, ...]):
    rng = np.random.default_rng(22)
    covered, off = [], []
    for _ in range(100):
        limit, q10 = rng.uniform(1.3, 2.4), max(rng.normal(2.0, 0.4), 1.2)
        rate = -np.log(1.0 - 1.0 / limit) / rng.uniform(6.0, 11.0)
        normal = -np.log(1.0 - 1.0 / limit) / rate
        tests = []
        for part, temperature in zip(times, temperatures, strict=True):
            minutes = round(part * normal * 2.0) / 2.0
            quicker = q10 ** ((temperature - 20.0) / 10.0)
            contrast = limit * (1.0 - np.exp(-rate * minutes * quicker)) * np.exp(rng.normal(0.0, 0.03))
            sd = 0.015 * contrast
            tests.append(ContrastTest(60.0 * minutes, temperature, contrast + rng.normal(0.0, sd), sd))
        law = fit_contrast(tests)
        assert law is not None
        for n in TAGS:
            wanted = 7.0 / (7.0 - n)
            if wanted > 0.95 * limit:
                continue
            for temperature in set(temperatures):
                true = -60.0 * np.log(1.0 - wanted / limit) / rate / q10 ** ((temperature - 20.0) / 10.0)
                advised = law.time_for(n, temperature)
                if advised.time_s is None:
                    continue
                covered.append((advised.low_s or 0.0) <= true <= (advised.high_s or np.inf))
                off.append(np.log(advised.time_s / true))
    assert len(covered) >= 300
    assert 0.85 <= float(np.mean(covered)) <= 0.96
    assert float(np.sqrt(np.mean(np.square(off)))) < 0.10
