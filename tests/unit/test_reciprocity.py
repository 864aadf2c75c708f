"""The three laws, their inverses, and their edges."""

import math

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from negcat.errors import QuantityError
from negcat.reciprocity import NoLaw, PowerLaw, TableLaw, effective_time, given_time

TABLE = TableLaw(((1.0, 1.5), (4.0, 9.0), (10.0, 40.0), (60.0, 400.0)))


@pytest.mark.parametrize("seconds", [0.001, 1.0, 300.0])
def test_no_law_leaves_times_alone(seconds):
    assert given_time(NoLaw(), seconds) == effective_time(NoLaw(), seconds) == (seconds, False)


@pytest.mark.parametrize(
    ("exponent", "from_s", "metered", "given"),
    [
        (1.3, 1.0, 0.5, 0.5),
        (1.3, 1.0, 1.0, 1.0),
        (1.3, 1.0, 10.0, 10**1.3),
        (1.5, 4.0, 16.0, 4 * 4**1.5),  # four times the threshold: 4^1.5 = 8 times it
        (1.5, 4.0, 4.0, 4.0),
        (1.0, 1.0, 50.0, 50.0),
    ],
)
def test_the_power_law(exponent, from_s, metered, given):
    law = PowerLaw(exponent, from_s)
    assert given_time(law, metered) == (pytest.approx(given, rel=1e-14), False)
    assert effective_time(law, given) == (pytest.approx(metered, rel=1e-14), False)


def test_the_threshold_is_one_second_unless_said():
    assert PowerLaw(1.3).from_s == 1.0


def test_the_table_goes_through_its_points():
    for metered, given in TABLE.points:
        assert given_time(TABLE, metered) == (given, False)
        assert effective_time(TABLE, given) == (metered, False)


def test_the_table_is_a_monotone_cubic_of_logs():
    points = np.log(np.array(TABLE.points))
    pchip = PchipInterpolator(points[:, 0], points[:, 1])
    for metered in (1.2, 2.0, 3.99, 5.0, 22.0, 59.0):
        assert given_time(TABLE, metered).seconds == pytest.approx(
            math.exp(pchip(math.log(metered))), rel=1e-12
        )
    for given in (1.6, 4.0, 8.9, 25.0, 333.0):
        root = brentq(lambda x, given=given: pchip(x) - math.log(given), *points[[0, -1], 0], xtol=1e-14)
        assert effective_time(TABLE, given).seconds == pytest.approx(math.exp(root), rel=1e-10)


def test_below_the_table_times_stand_for_themselves():
    assert given_time(TABLE, 0.5) == (0.5, False)
    assert effective_time(TABLE, 0.5) == (0.5, False)
    assert effective_time(TABLE, 1.0) == (1.0, False)


def test_a_table_that_begins_with_a_loss_holds_its_first_time():
    assert effective_time(TABLE, 1.2) == (1.0, False)
    assert effective_time(TABLE, 1.5) == (1.0, False)
    assert effective_time(TABLE, 1.5001).seconds == pytest.approx(1.0, abs=1e-3)


def test_past_its_last_point_the_table_goes_straight_on_and_says_so():
    points = np.log(np.array(TABLE.points))
    slope = float(PchipInterpolator(points[:, 0], points[:, 1]).derivative()(points[-1, 0]))
    assert given_time(TABLE, 120.0) == (pytest.approx(400 * 2**slope, rel=1e-12), True)
    assert effective_time(TABLE, 400 * 2**slope) == (pytest.approx(120.0, rel=1e-12), True)


def test_two_points_are_a_straight_line():
    law = TableLaw(((1.0, 1.0), (100.0, 10000.0)))
    assert given_time(law, 10.0).seconds == pytest.approx(100.0)
    assert effective_time(law, 1e6) == (pytest.approx(1000.0), True)


def test_no_film_gains_speed_between_or_past_the_points():
    # Two points without loss before a steep one bend a monotone cubic below "no loss"; so does a falling end.
    law = TableLaw(((1.0, 1.0), (10.0, 10.0), (100.0, 400.0)))
    for seconds in (1.5, 2.0, 5.0, 9.0):
        assert given_time(law, seconds).seconds >= seconds
        assert effective_time(law, seconds).seconds <= seconds
    flattening = TableLaw(((1.0, 2.0), (10.0, 15.0)))
    assert given_time(flattening, 1e4) == (1e4, True)
    assert effective_time(flattening, 1e4) == (1e4, True)


def test_a_table_that_ends_level_still_has_an_inverse():
    law = TableLaw(((1.0, 1.1), (2.0, 60.0), (40.0, 61.0)))
    given, flagged = given_time(law, 50.0)
    assert flagged
    assert given >= 61.0
    assert effective_time(law, 61.01).seconds > 40.0


def test_lists_are_taken_for_points():
    law = TableLaw([[1, 2], [10, 50]])  # type: ignore[arg-type]
    assert law == TableLaw(((1.0, 2.0), (10.0, 50.0)))
    assert hash(law) == hash(TableLaw(((1.0, 2.0), (10.0, 50.0))))


@pytest.mark.parametrize(
    ("points", "what"),
    [
        ((), "at least two"),
        (((1, 2),), "at least two"),
        (((0, 2), (10, 50)), "longer than 0"),
        (((1, 2), (10, math.inf)), "longer than 0"),
        (((1, 2), (10, math.nan)), "longer than 0"),
        (((2, 1), (10, 50)), "gives less than was metered"),
        (((1, 2), (1, 50)), "must rise"),
        (((1, 50), (10, 50)), "must rise"),
        (((10, 50), (1, 60)), "must rise"),
    ],
)
def test_no_table(points, what):
    with pytest.raises(QuantityError, match=what):
        TableLaw(points)


@pytest.mark.parametrize(
    ("exponent", "from_s"),
    [(0.9, 1.0), (3.1, 1.0), (math.nan, 1.0), (1.3, 0.0), (1.3, -1.0), (1.3, math.inf)],
)
def test_no_power_law(exponent, from_s):
    with pytest.raises(QuantityError):
        PowerLaw(exponent, from_s)


@pytest.mark.parametrize("seconds", [0.0, -1.0, math.nan, math.inf])
@pytest.mark.parametrize("law", [NoLaw(), PowerLaw(1.3), TABLE], ids=["none", "power", "table"])
def test_no_time_to_correct(law, seconds):
    with pytest.raises(QuantityError, match="longer than 0"):
        given_time(law, seconds)
    with pytest.raises(QuantityError, match="longer than 0"):
        effective_time(law, seconds)
