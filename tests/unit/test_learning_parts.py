"""The parts of the fit over a season, each against a slower way to the same figure."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from negcat.learning import FilmTest, Reading
from negcat.learning.fitting import Fitter, State
from negcat.learning.layout import lay_out
from negcat.learning.posterior import quantiles
from negcat.learning.prediction import Derivatives, predict
from negcat.learning.shape import BENDS, SMOOTH_BENDS, shape_of
from negcat.learning.sheets_together import (
    CARELESS_SHARE,
    FLOOR_SD,
    MISTAKEN_SD,
    MISTAKEN_SHARE,
    SHIFTED_SHARE,
    SPOILED_SHARE,
    Noise,
    spoiled_directions,
)
from negcat.sensitometry import built_in_target
from tests.simulation.seasons import Kind, made

NOISE = Noise(0.1, 0.08, 0.06, 0.02, 0.3, 0.2, 0.08)


def varied():
    """A small season with all kinds of unknowns: bounds, tests, temperatures, times not recorded, two developers."""
    season, _ = made(Kind(sheets=(24, 24)), 3)
    sheets = list(season.sheets)
    for i, degrees in ((0, 18.0), (3, 22.0), (5, 24.0)):
        sheets[i] = replace(sheets[i], temperature_c=degrees)
    sheets[7] = replace(sheets[7], development_s=None)
    sheets[8] = replace(sheets[8], developer="Slip", dilution="1+49")
    sheets[9] = replace(sheets[9], batch=None)
    lost = Reading(2.0, name="lost", bound="clearer", bound_density=0.03)
    blocked = Reading(8.5, name="blocked", bound="denser", bound_density=1.2)
    sheets[4] = replace(sheets[4], readings=(lost, *sheets[4].readings, blocked))
    log_h = tuple(np.linspace(0.0, 2.4, 9))
    test = FilmTest(
        "T-1", sheets[0].film, log_h, tuple(np.linspace(0.05, 1.4, 9)), developer="Ousel", dilution="1+25"
    )
    return replace(season, sheets=tuple(sheets), tests=(test,))


@pytest.fixture(scope="module")
def layout():
    return lay_out(varied())


def some_state(layout, seed=1):
    rng = np.random.default_rng(seed)
    unknowns = layout.unknowns.means + 0.1 * rng.standard_normal(len(layout.unknowns))
    return State(unknowns, 0.05 * rng.standard_normal((len(layout.batches), 2)))


def test_derivatives_are_those_of_the_prediction(layout):
    state = some_state(layout)
    rows, count = layout.rows, len(layout.unknowns)

    def density(unknowns, batches):
        return predict(layout.shape, rows, unknowns, batches).density

    by_unknown, by_batch = Derivatives(rows, count).at(
        predict(layout.shape, rows, state.unknowns, state.batches), state.unknowns
    )
    step = 1e-4
    slow = np.empty((len(rows), count))
    for j in range(count):
        up, down = state.unknowns.copy(), state.unknowns.copy()
        up[j] += step
        down[j] -= step
        slow[:, j] = (density(up, state.batches) - density(down, state.batches)) / (2 * step)
    # The curve is read from a fine table, so that its slope has steps of its own.
    assert np.abs(by_unknown.toarray() - slow).max() < 0.01
    idle = [unknown for unknown, j in layout.unknowns.place.items() if np.abs(slow[:, j]).max() < 1e-4]
    # Contrast's rise of a process with one time alone; foot and shoulder where no reading lies there.
    outside = {str(j) for j in range(SMOOTH_BENDS, BENDS)}
    assert all(one.kind in ("rise", "rise bend") or one.of[-1] in outside for one in idle)
    assert len(idle) < 6
    for side in range(2):
        up, down = state.batches.copy(), state.batches.copy()
        up[:, side] += step
        down[:, side] -= step
        slow_batch = (density(state.unknowns, up) - density(state.unknowns, down)) / (2 * step)
        assert np.abs(by_batch[:, side] - slow_batch).max() < 0.01


def test_a_curve_always_rises_and_keeps_zones_one_and_eight():
    shape = shape_of(built_in_target())
    zones = np.linspace(-2, 12, 600)
    rng = np.random.default_rng(2)
    for _ in range(50):
        bends = 0.4 * rng.standard_normal(BENDS)
        read = shape.at(zones, np.tile(bends, (len(zones), 1)))
        assert read.slope.min() > 0
        held = shape.at(np.array([1.0, 8.0]), np.tile(bends, (2, 1)))
        assert held.density == pytest.approx([0.10, 1.30], abs=1e-3)
        assert (read.density > 0).all()


def test_an_unbent_curve_is_the_target():
    target = built_in_target()
    zones = np.linspace(0, 10, 101)
    read = shape_of(target).at(zones, np.zeros((101, BENDS)))
    assert read.density == pytest.approx(target.density(zones), abs=1e-5)


def by_hand(layout, fitter, state, noise):
    """The sheets' log likelihood, score and P(belongs), sheet by sheet with whole matrices."""
    predicted = fitter.predict(state)
    rows, total, score, belongs = layout.rows, 0.0, np.zeros(len(layout.rows)), []
    for i in range(len(layout.sheets)):
        which = np.flatnonzero(rows.sheet[: layout.densities] == i)
        k, r = predicted.by_stop[which], (rows.density - predicted.density)[which]
        own = rows.sd[which] ** 2 + (FLOOR_SD**2 + noise.reading**2) * k**2
        ordinary = np.diag(own) + noise.sheet**2 * np.outer(k, k)
        careless = np.diag(own + 3 * noise.reading**2 * k**2) + ((2 * noise.sheet) ** 2 + 0.25**2) * np.outer(
            k, k
        )
        middle = rows.zone[which] - rows.zone[which].mean()
        u = spoiled_directions(k[None], np.ones((1, len(k))), middle[None])[0]
        several = len(which) if len(which) > 1 else 0
        usual = 1 - CARELESS_SHARE - SHIFTED_SHARE - SPOILED_SHARE - several * MISTAKEN_SHARE
        cases = [(usual, ordinary), (CARELESS_SHARE, careless), (SHIFTED_SHARE, ordinary + np.outer(k, k))]
        cases.append((SPOILED_SHARE, ordinary + u @ u.T))
        for j in range(several):
            wide = ordinary.copy()
            wide[j, j] += MISTAKEN_SD**2
            cases.append((MISTAKEN_SHARE, wide))
        each = np.array([share * multivariate_normal(cov=v).pdf(r) for share, v in cases])
        share = each / each.sum()
        total += np.log(each.sum())
        belongs.append(share[:2].sum())
        score[which] = sum(p * np.linalg.solve(v, r) for p, (_, v) in zip(share, cases, strict=True))
    return total, score, np.array(belongs)


def test_sheets_together_are_the_mixture_that_they_are_said_to_be(layout):
    fitter = Fitter(layout)
    state = some_state(layout, 4)
    weighed, score, likelihood = fitter.together.weigh(fitter.predict(state), NOISE)
    total, slow_score, belongs = by_hand(layout, fitter, state, NOISE)
    sheets = slice(0, layout.densities)
    assert score[sheets] == pytest.approx(slow_score[sheets], rel=1e-6, abs=1e-6)
    assert weighed.belongs == pytest.approx(belongs, abs=1e-9)
    rest = slice(layout.densities, None)
    predicted, rows = fitter.predict(state), layout.rows
    residual, variance = (rows.density - predicted.density)[rest], weighed.variance[rest]
    bounds = rows.sign[rest] != 0
    share = norm.cdf(-rows.sign[rest][bounds] * residual[bounds] / np.sqrt(variance[bounds]))
    other = np.log(0.999 * share + 0.001).sum()
    other += norm.logpdf(residual[~bounds], scale=np.sqrt(variance[~bounds])).sum()
    assert likelihood == pytest.approx(total + other, abs=1e-6)


def test_a_bound_pulls_only_where_it_is_not_kept(layout):
    fitter = Fitter(layout)
    predicted = fitter.predict(fitter.start())
    _, score, _ = fitter.together.weigh(predicted, NOISE)
    bounds = slice(layout.densities, layout.densities + layout.bounds)
    signs = layout.rows.sign[bounds]
    assert set(signs) == {-1.0, 1.0}
    assert (np.sign(score[bounds]) == signs).all()
    kept = replace(predicted, density=predicted.density + 2.0 * layout.rows.sign)
    _, score, _ = fitter.together.weigh(kept, NOISE)
    assert np.abs(score[bounds]).max() < 1e-6


def test_the_mode_is_stationary_and_the_batches_are_integrated_out(layout):
    fitter = Fitter(layout)
    state = fitter.climb(fitter.start(), NOISE, steps=60, near=1e-7)
    step = fitter.solve(state, NOISE)
    assert np.abs(step.unknowns).max() < 1e-5
    fit = fitter.fit(state, NOISE)
    # The same with every batch as an unknown of its own, in one dense system.
    weighed, _, _ = fitter.together.weigh(fit.predicted, NOISE)
    derivatives = Derivatives(layout.rows, len(layout.unknowns))
    by_unknown, by_batch = derivatives.at(fit.predicted, fit.state.unknowns)
    wide = np.zeros((len(layout.rows), 2 * len(layout.batches)))
    for row, batch in enumerate(layout.rows.batch):
        if batch >= 0:
            wide[row, 2 * batch : 2 * batch + 2] = by_batch[row]
    whole = np.hstack([by_unknown.toarray(), wide])
    prior = [*fitter.precisions(NOISE), *[NOISE.batch**-2, NOISE.batch_contrast**-2] * len(layout.batches)]
    covariance = np.linalg.inv(whole.T @ (weighed.precision @ whole) + np.diag(prior))
    count = len(layout.unknowns)
    assert fit.covariance == pytest.approx(covariance[:count, :count], rel=1e-5, abs=1e-9)
    gain = fit.batch_gain[:, 0, :]
    variance = fit.batch_own[:, 0, 0] + np.einsum("bp,pq,bq->b", gain, fit.covariance, gain)
    assert variance == pytest.approx(covariance.diagonal()[count::2], rel=1e-5)


def test_quantiles_of_a_mixture():
    shares, means, sds = np.array([0.3, 0.7]), np.array([[0.0], [3.0]]), np.array([[1.0], [0.5]])
    for share in (0.05, 0.5, 0.95):
        at = quantiles(shares, means, sds, share)[0]
        assert 0.3 * norm.cdf(at) + 0.7 * norm.cdf((at - 3) / 0.5) == pytest.approx(share, abs=1e-9)
    found = [quantiles(shares, means, sds, share)[0] for share in (0.01, 0.2, 0.31, 0.6, 0.99)]
    assert all(a < b for a, b in pairwise(found))
