"""Means, intervals and what stands apart, against printed tables and by simulation."""

import numpy as np
import pytest

from negcat.errors import QuantityError
from negcat.summaries import apart, summarise

# Student's t at 0.95 one-sided, as every printed table has it.
T_95 = {1: 6.314, 2: 2.920, 3: 2.353, 4: 2.132, 5: 2.015, 9: 1.833, 29: 1.699}
# ASTM E178, table 1, upper 2.5 % significance: 5 % for a value on either side.
GRUBBS = {4: 1.481, 5: 1.715, 6: 1.887, 7: 2.020, 8: 2.126, 10: 2.290}


@pytest.mark.parametrize(("freedom", "t"), T_95.items())
def test_the_interval_is_the_printed_t_times_the_standard_error(freedom, t):
    values = np.random.default_rng(freedom).normal(0.3, 0.4, freedom + 1)
    found = summarise(values.tolist())
    error = values.std(ddof=1) / np.sqrt(len(values))
    assert found.count == len(values)
    assert found.mean == pytest.approx(values.mean())
    assert found.low == pytest.approx(values.mean() - t * error, rel=1e-3, abs=1e-3)
    assert found.high == pytest.approx(values.mean() + t * error, rel=1e-3, abs=1e-3)


def test_the_median_is_the_middle_one_or_between_the_two():
    assert summarise([3.0, -1.0, 0.5]).median == 0.5
    assert summarise([3.0, -1.0, 0.5, 1.0]).median == 0.75


def test_one_value_has_no_interval_and_none_has_nothing():
    one, none = summarise([-0.7]), summarise([])
    assert (one.count, one.mean, one.median, one.low, one.high, one.sd) == (1, -0.7, -0.7, None, None, None)
    assert "scatter" in one.reason
    assert (none.count, none.mean, none.median, none.low) == (0, None, None, None)
    assert none.reason


def test_what_is_no_number_is_refused():
    with pytest.raises(QuantityError, match="finite"):
        summarise([0.1, float("nan")])


def test_nine_intervals_in_ten_hold_the_mean():
    random = np.random.default_rng(5)
    for size in (2, 3, 6):
        held = 0
        for values in random.normal(0.25, 0.3, (1500, size)):
            found = summarise(values.tolist())
            held += found.low <= 0.25 <= found.high
        assert 0.875 < held / 1500 < 0.925, size


@pytest.mark.parametrize(("count", "critical"), GRUBBS.items())
def test_a_value_stands_apart_from_the_printed_limit_on(count, critical):
    def with_distance(distance: float) -> list[float]:
        """Values of which the last lies that many standard deviations from the mean."""
        low, high = 1.0, 1000.0
        rest = [(-1.0) ** place for place in range(count - 1)]
        for _ in range(200):
            middle = (low + high) / 2
            values = np.array([*rest, middle])
            far = (values[-1] - values.mean()) / values.std(ddof=1)
            low, high = (middle, high) if far < distance else (low, middle)
        return [*rest, low]

    assert apart(with_distance(critical - 0.003)) == ()
    assert apart(with_distance(critical + 0.003)) == (count - 1,)


def test_two_far_ones_among_many_are_both_found_and_never_half_of_them():
    quiet = [0.01, -0.02, 0.03, 0.0, -0.01, 0.02, -0.03, 0.015]
    assert apart([2.0, *quiet, -1.5]) == (0, 9)
    assert apart([0.0, 0.0, 0.0, 0.0]) == ()
    assert apart([0.0, 0.01, 5.0]) == ()


def test_what_matters_to_nobody_is_not_named():
    values = [0.001, -0.001, 0.0015, -0.0012, 0.0, 0.05]
    assert apart(values) == (5,)
    assert apart(values, least=1 / 3) == ()


def test_false_alarms_are_one_in_twenty():
    random = np.random.default_rng(8)
    for size in (4, 6, 12):
        named = sum(bool(apart(values.tolist())) for values in random.normal(0, 1, (1500, size)))
        assert 0.03 < named / 1500 < 0.07, size
