"""Decisions counted: intervals that hold, differences, and whether the practice gets tighter."""

import numpy as np
import pytest
from scipy.special import erf
from scipy.stats import beta

from negcat.errors import QuantityError
from negcat.learning.decisions import FEWEST_FOR_A_TREND, difference, share, trend

THIRD = 1 / 3


def test_settled_sheets_give_jeffreys_interval():
    found = share([0.0] * 5 + [2.0] * 3, [0.03] * 8, THIRD)
    assert found.as_planned == pytest.approx(5, abs=1e-6)
    assert found.low == pytest.approx(beta.ppf(0.05, 5.5, 3.5), abs=1e-3)
    assert found.high == pytest.approx(beta.ppf(0.95, 5.5, 3.5), abs=1e-3)


def test_the_interval_is_open_where_all_or_none_came_out_as_planned():
    assert share([0.0] * 4, [0.03] * 4, THIRD).high == 1.0
    assert share([2.0] * 4, [0.03] * 4, THIRD).low == 0.0


def test_a_sheet_on_the_limit_counts_by_half_and_widens_the_interval():
    settled = share([0.0, 0.0, 2.0, 2.0], [0.03] * 4, THIRD)
    doubtful = share([0.0, THIRD, 2.0, THIRD], [0.03, 0.1, 0.03, 0.1], THIRD)
    assert doubtful.as_planned == pytest.approx(2.0, abs=0.01)
    assert doubtful.low < settled.low
    assert doubtful.high > settled.high


def test_without_a_sheet_there_is_no_share_and_no_difference():
    none = share([], [], THIRD)
    assert (none.share, none.low, none.high) == (None, None, None)
    assert difference(none, share([0.0], [0.1], THIRD)).difference is None
    assert not difference(none, none).settled


def test_a_single_sheet_says_next_to_nothing():
    one = share([0.05], [0.05], THIRD)
    assert one.high - one.low > 0.7


@pytest.mark.parametrize("count", [4, 12, 40])
@pytest.mark.parametrize("scatter", [0.2, 0.5])
def test_nine_of_ten_intervals_hold_the_true_share(count, scatter):
    rng = np.random.default_rng(count)
    true = float(erf(THIRD / scatter / np.sqrt(2)))
    held = 0
    for _ in range(400):
        sds = rng.uniform(0.05, 0.15, count)
        found = share(rng.normal(0, scatter, count) + rng.normal(0, sds), sds, THIRD)
        held += found.low <= true <= found.high
    assert held / 400 > 0.86


def test_a_difference_that_is_there_is_found_and_one_that_is_not_is_not():
    good = share([0.0] * 20, [0.05] * 20, THIRD)
    bad = share([0.7] * 15 + [0.0] * 5, [0.05] * 20, THIRD)
    found = difference(good, bad)
    assert found.settled
    assert found.low < found.difference < found.high
    assert found.difference == pytest.approx(0.75, abs=0.03)
    assert not difference(good, share([0.0] * 3, [0.05] * 3, THIRD)).settled


def test_differences_of_alike_groups_are_seldom_called_settled():
    rng = np.random.default_rng(2)
    called = 0
    for _ in range(300):
        one, other = (share(rng.normal(0, 0.4, n), [0.05] * n, THIRD) for n in (14, 9))
        called += difference(one, other).settled
    assert called / 300 < 0.12


@pytest.mark.parametrize("ratio", [1.0, 0.4])
def test_nine_of_ten_intervals_hold_the_true_trend(ratio):
    rng = np.random.default_rng(3)
    held = tighter = 0
    for _ in range(300):
        wide = 0.4 * ratio ** np.linspace(0, 1, 40)
        sds = rng.uniform(0.04, 0.1, 40)
        found = trend(rng.normal(0, np.hypot(wide, sds)), sds)
        held += found.low <= ratio <= found.high
        tighter += found.settled and found.ratio < 1
    assert 0.85 < held / 300 < 0.97
    assert tighter / 300 > 0.6 if ratio < 1 else tighter / 300 < 0.1


def test_measuring_alone_is_no_scatter():
    rng = np.random.default_rng(4)
    found = trend(rng.normal(0, 0.1, 60), [0.1] * 60)
    assert found.first < 0.08
    assert found.last < 0.08


def test_few_sheets_give_no_trend_but_a_reason():
    found = trend([0.1] * (FEWEST_FOR_A_TREND - 1), [0.1] * (FEWEST_FOR_A_TREND - 1))
    assert found.ratio is None
    assert "too few" in found.reason


@pytest.mark.parametrize(
    ("errors", "sds", "tolerance"),
    [([0.1], [], 0.3), ([float("nan")], [0.1], 0.3), ([0.1], [-0.1], 0.3), ([0.1], [0.1], 0.0)],
)
def test_what_cannot_be_counted_is_refused(errors, sds, tolerance):
    with pytest.raises(QuantityError):
        share(errors, sds, tolerance)
