"""What holds of every curve and of every sheet."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from negcat.exposure import contrast, print_zone_of
from negcat.judgement import FoundReading, judge
from negcat.judgement.line import Point, fit_line
from negcat.sensitometry import BUILT_IN_TARGETS, TargetCurve, built_in_target, print_lightness

TARGET = built_in_target()

tags = st.floats(-3.0, 3.0)
residuals = st.floats(-2.0, 2.0)


@st.composite
def curves(draw):
    """Any print target a photographer could write down: 3 to 11 zones, rising."""
    count = draw(st.integers(3, 11))
    zones = sorted(draw(st.lists(st.integers(0, 10), min_size=count, max_size=count, unique=True)))
    steps = draw(st.lists(st.floats(0.02, 0.5), min_size=count, max_size=count))
    return TargetCurve("any", tuple(zones), tuple(itertools.accumulate(steps)))


@st.composite
def points(draw, least=1):
    """Points of a line, with the shift and the development they were made from, up to small errors."""
    count = draw(st.integers(least, 6))
    r, n = draw(st.floats(-1.5, 1.5)), draw(st.floats(-2.0, 2.0))
    made = []
    for i in range(count):
        zone = draw(st.floats(1.0, 9.0))
        error = draw(st.floats(-0.3, 0.3))
        sd = draw(st.floats(0.03, 0.5))
        made.append(Point(str(i), zone, print_zone_of(zone + r, n) + error, sd * sd))
    return made, n


@st.composite
def sheets(draw):
    """Readings of any kind: some without density, some without given zone, some out of range."""
    readings = []
    for i in range(draw(st.integers(0, 6))):
        zone = draw(st.one_of(st.none(), st.floats(-1.0, 11.0)))
        net = draw(st.one_of(st.none(), st.floats(-0.05, 2.5)))
        bound = draw(st.sampled_from([None, "denser", "clearer"])) if net is None else None
        readings.append(
            FoundReading(
                name=f"reading {i}",
                placed=i == 0,
                given_zone=zone,
                planned_print_zone=draw(st.one_of(st.none(), st.floats(0.0, 10.0))),
                density=None if net is None else net + 0.2,
                sd=draw(st.one_of(st.none(), st.floats(0.0, 0.3))),
                net_density=net,
                bound=bound,
                planned_zone=draw(st.one_of(st.none(), st.floats(0.0, 10.0))),
            )
        )
    return readings


@given(curves(), st.floats(-3.0, 13.0))
def test_a_curve_read_backwards_gives_the_zone(curve, zone):
    # Where it is all but level a zone can be no nearer than its density allows.
    assert abs(curve.zone(curve.density(zone)) - zone) < 1e-7 + 1e-13 / max(curve.slope(zone), 1e-12)


@given(curves(), st.floats(-3.0, 13.0), st.floats(0.001, 5.0))
def test_a_curve_rises(curve, zone, further):
    assert curve.density(zone + further) > curve.density(zone)
    assert curve.slope(zone) >= 0.0


@given(curves())
def test_numbers_and_arrays_agree(curve):
    zones = np.linspace(-2.0, 12.0, 29)
    densities = curve.density(zones)
    np.testing.assert_allclose(densities, [curve.density(float(z)) for z in zones], atol=1e-12)
    for zone, back in zip((curve.zone(float(d)) for d in densities), curve.zone(densities), strict=True):
        assert abs(zone - back) < 1e-4


@given(st.floats(-5.0, 15.0), st.floats(0.0, 5.0))
def test_a_higher_zone_prints_no_darker(zone, further):
    assert 0.0 <= print_lightness(zone) <= print_lightness(zone + further) <= 100.0


@given(points(), st.sampled_from([0.0, 0.05, 0.1, 0.2]))
def test_knowing_the_metering_can_only_help(made, metering_sd):
    line = fit_line(made[0], made[1], metering_sd)
    assert 0.0 < line.r_density_variance <= line.r_variance + 1e-12
    assert 0.0 < line.n_density_variance <= line.n_variance + 1e-12


@given(points(), tags)
def test_without_metering_error_the_deviations_are_those_of_the_posterior(made, tag):
    line = fit_line(made[0], tag, 0.0)
    assume(-6.9 < line.n < 5.4)
    c = contrast(line.n)
    rows = []
    for point in made[0]:
        zone = point.zone + line.r
        assume(abs(zone - 1.0) > 1e-3)
        rows.append((c, (zone - 1.0) * c * c / 7.0) if zone > 1.0 else (1.0, 0.0))
    x = np.array(rows)
    weights = np.diag([1.0 / point.density_variance for point in made[0]])
    covariance = np.linalg.inv(x.T @ weights @ x + np.diag([1.0, 4.0]))
    np.testing.assert_allclose([line.r_variance, line.n_variance], np.diag(covariance), rtol=1e-4)
    np.testing.assert_allclose(
        [line.r_density_variance, line.n_density_variance], np.diag(covariance), rtol=1e-4
    )


@given(points(), tags)
def test_the_estimate_is_where_the_posterior_is_highest(made, tag):
    line = fit_line(made[0], tag, 0.0)
    assume(-6.9 < line.n < 5.4)
    assume(all(abs(point.zone + line.r - 1.0) > 0.02 for point in made[0]))

    def depth(r, n):
        misses = ((p.found - print_zone_of(p.zone + r, n)) ** 2 / p.density_variance for p in made[0])
        return math.fsum(misses) + r * r + ((n - tag) / 0.5) ** 2

    here = depth(line.r, line.n)
    for dr, dn in itertools.product((-0.01, 0.0, 0.01), repeat=2):
        assert depth(line.r + dr, line.n + dn) >= here - 1e-9


@given(st.integers(-30, 30), residuals, tags, st.sampled_from(sorted(BUILT_IN_TARGETS)))
@example(30, 2.0, 0.0, "silver, condenser")
def test_a_sheet_on_tag_comes_back_as_it_was_made(decision, r, n, name):
    target = built_in_target(name)
    decision /= 20.0
    readings = []
    for zone in (3.0, 5.0, 6.5):
        net = target.density(print_zone_of(zone + decision + r, n))
        readings.append(
            FoundReading(str(zone), zone == 3.0, zone + decision, zone, net, 0.01, net, planned_zone=zone)
        )
    judgement = judge(readings, target=target, n=n, decision_stops=decision)
    used = sum(one.weight_used for one in judgement.readings)
    assume(used >= 2)
    # Development on tag: only the prior on r can draw, and it is weak, though of more weight beside two readings.
    drawn = 0.04 if used > 2 else 0.06
    assert judgement.residual_stops == pytest.approx(r, abs=0.02 + drawn * abs(r))
    assert judgement.exposure_error_stops == pytest.approx(decision + judgement.residual_stops)


@given(st.permutations(range(4)), residuals, tags)
def test_the_order_of_the_readings_does_not_matter(order, r, n):
    readings = []
    for i, zone in enumerate((2.5, 4.0, 5.5, 7.0)):
        net = TARGET.density(print_zone_of(zone + r, n)) + (0.01, -0.02, 0.015, 0.0)[i]
        readings.append(FoundReading(str(zone), i == 0, zone, zone, net, 0.01, net, planned_zone=zone))
    one = judge(readings, target=TARGET, n=0.0, decision_stops=0.1)
    other = judge([readings[i] for i in order], target=TARGET, n=0.0, decision_stops=0.1)
    assert one.verdict == other.verdict
    if one.found_n is None or other.found_n is None:
        assert one.found_n is other.found_n
    else:
        assert one.found_n == pytest.approx(other.found_n, abs=1e-5)


@given(sheets(), st.floats(-5.0, 4.0), st.one_of(st.none(), st.floats(-5.0, 5.0)))
def test_every_sheet_gets_a_judgement_that_holds_together(readings, n, decision):
    judgement = judge(readings, target=TARGET, n=n, decision_stops=decision)
    assert judgement.exposure_verdict in {"thin", "as planned", "dense", "unsure", "not measured"}
    assert judgement.development_verdict in {"flat", "as planned", "contrasty", "unsure", "not measured"}
    assert judgement.why
    assert len(judgement.readings) == len(readings)
    figures = (judgement.found_n, judgement.found_n_sd, judgement.found_n_density_sd)
    assert len({figure is None for figure in figures}) == 1
    for figure in (*figures, judgement.exposure_error_stops, judgement.exposure_error_sd):
        assert figure is None or math.isfinite(figure)
    if judgement.found_n is None:
        assert judgement.verdict in {"unsure", "not measured"}
        assert not any(one.weight_used for one in judgement.readings)
    if sum(one.weight_used for one in judgement.readings) == 1:
        assert judgement.development_verdict == "unsure"
    for one in judgement.readings:
        assert one.weight_used is (one.note == "")
