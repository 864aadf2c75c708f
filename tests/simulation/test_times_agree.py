"""Developing times from film tests, from ordinary sheets, and from both, on simulated seasons of known truth."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest

from negcat.learning import FilmTest, learn
from negcat.sensitometry import ContrastTest, built_in_target, contrast_of, fit_contrast, fit_film_curve
from tests.simulation import seasons

pytestmark = pytest.mark.slow

SEASONS = 6
FOG = 0.10
TEST_SD = 0.02
"""Scatter of a test's contrast about the film's: one sheet, one tray."""

LOG_H = 0.2 - 0.15 * np.arange(21)


@dataclass(frozen=True)
class Advised:
    """What was advised for a tag, and the truth."""

    kind: str
    season: int
    film: str
    n: float
    true_s: float
    time_s: float
    low_s: float
    high_s: float

    @property
    def width(self) -> float:
        return float(np.log(self.high_s / self.low_s))

    @property
    def holds(self) -> bool:
        return self.low_s <= self.true_s <= self.high_s


def film_tests(maker: seasons._Maker, film: str) -> list[FilmTest]:
    """Expose a tablet on the film three times and develop it for three times."""
    rng = maker.rng
    tests = []
    for part in (0.75, 1.0, 1.4):
        seconds = round(part * seasons.NORMAL_TIME[film] / 15.0) * 15.0
        log_h = LOG_H - np.log10(seasons.INDEX[film] / 100.0)
        zones = 1.0 + (log_h + np.log10(seasons.INDEX[film] / 0.504)) / np.log10(2.0) + maker.speed[film]
        contrast = maker.contrast(film, seconds) * float(np.exp(rng.normal(0.0, TEST_SD)))
        net = np.maximum(maker.density(film, zones, contrast) + rng.normal(0.0, 0.008, zones.size), 0.0)
        tests.append(
            FilmTest(
                test=f"T-{film[:1]}-{seconds:g}",
                film=film,
                log_exposure=tuple(log_h),
                net_density=tuple(net),
                absolute=True,
                developer="Ousel",
                dilution="1+25",
                development_s=seconds,
                temperature_c=20.0,
            )
        )
    return tests


def law_of(tests: list[FilmTest]):
    known = []
    for test in tests:
        curve = fit_film_curve(
            test.log_exposure,
            [FOG + density for density in test.net_density],
            [0.008] * len(test.net_density),
            absolute=True,
            recorded_base_fog=FOG,
            tablet_sd=0.0,
        )
        contrast = contrast_of(curve, built_in_target())
        assert contrast.value is not None
        assert contrast.sd is not None
        assert test.development_s is not None
        known.append(ContrastTest(test.development_s, test.temperature_c, contrast.value, contrast.sd))
    law = fit_contrast(known)
    assert law is not None
    return law


def of_season(number: int) -> list[Advised]:
    maker = seasons._Maker(seasons.Kind(), np.random.default_rng([2026, 6, number]))
    season, truth = maker.made()
    tests = {film: film_tests(maker, film) for film in seasons.FILMS}
    laws = {film: law_of(of_film) for film, of_film in tests.items()}
    both = replace(season, tests=[test for of_film in tests.values() for test in of_film])
    found = []
    for kind, learnt in (("sheets", learn(season)), ("both", learn(both))):
        for one in learnt.development:
            true = truth.time_for[one.film, one.planned_n]
            if one.advised_time_s is None or one.advised_low_s is None or one.advised_high_s is None:
                continue
            found.append(
                Advised(
                    kind,
                    number,
                    one.film,
                    one.planned_n,
                    true,
                    one.advised_time_s,
                    one.advised_low_s,
                    one.advised_high_s,
                )
            )
    for film, law in laws.items():
        for n in sorted({one.n for one in found if one.film == film}):
            time = law.time_for(n)
            if time.time_s is not None and time.low_s is not None and time.high_s is not None:
                found.append(
                    Advised(
                        "tests",
                        number,
                        film,
                        n,
                        truth.time_for[film, n],
                        time.time_s,
                        time.low_s,
                        time.high_s,
                    )
                )
    return found


@pytest.fixture(scope="module")
def advised() -> list[Advised]:
    return [one for number in range(SEASONS) for one in of_season(number)]


def side_by_side(advised: list[Advised]) -> list[dict[str, Advised]]:
    """Those of one season, film and tag that all three ways gave."""
    together: dict[tuple[int, str, float], dict[str, Advised]] = {}
    for one in advised:
        together.setdefault((one.season, one.film, one.n), {})[one.kind] = one
    return [ways for ways in together.values() if len(ways) == 3]


@pytest.mark.parametrize("kind", ["tests", "sheets", "both"])
def test_the_intervals_hold_the_truth(advised: list[Advised], kind: str):
    ours = [one.holds for one in advised if one.kind == kind]
    assert len(ours) >= 25
    assert float(np.mean(ours)) >= 0.80


def test_the_three_agree_within_their_intervals(advised: list[Advised]):
    pairs = [
        (one, other)
        for ways in side_by_side(advised)
        for one, other in (
            (ways["tests"], ways["sheets"]),
            (ways["tests"], ways["both"]),
            (ways["sheets"], ways["both"]),
        )
    ]
    overlap = [one.low_s <= other.high_s and other.low_s <= one.high_s for one, other in pairs]
    assert len(pairs) >= 60
    assert float(np.mean(overlap)) >= 0.95


def test_both_together_know_it_best(advised: list[Advised]):
    rows = side_by_side(advised)
    narrowest = [ways["both"].width <= min(ways["tests"].width, ways["sheets"].width) for ways in rows]
    assert float(np.mean(narrowest)) >= 0.85
    widths = {
        kind: float(np.median([ways[kind].width for ways in rows])) for kind in ("tests", "sheets", "both")
    }
    assert widths["both"] < widths["tests"]
    assert widths["both"] < widths["sheets"]
