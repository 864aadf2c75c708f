"""Print targets read both ways, the printed tone, the paper."""

from itertools import pairwise

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

from negcat.errors import QuantityError
from negcat.sensitometry import (
    BUILT_IN_TARGETS,
    DEFAULT_TARGET,
    PAPER_GRADES,
    TargetCurve,
    built_in_target,
    nearest_grade,
    paper_exposure_scale,
    print_lightness,
)

ALL_TARGETS = sorted(BUILT_IN_TARGETS)


@pytest.mark.parametrize(
    ("name", "points"),
    [
        (
            "silver, diffusion",
            {
                0: 0.02,
                1: 0.10,
                2: 0.21,
                3: 0.35,
                4: 0.51,
                5: 0.70,
                6: 0.89,
                7: 1.09,
                8: 1.30,
                9: 1.46,
                10: 1.60,
            },
        ),
        ("silver, condenser", {1: 0.10, 5: 0.64, 8: 1.20}),
        ("silver contact", {1: 0.10, 5: 0.72, 8: 1.35}),
        ("long-scale", {1: 0.12, 5: 0.92, 8: 1.75}),
    ],
)
def test_built_in_targets_have_their_published_densities(name, points):
    curve = built_in_target(name)
    for zone, density in points.items():
        assert curve.density(float(zone)) == pytest.approx(density, abs=1e-9)


def test_default_target_is_silver_for_diffused_light():
    assert DEFAULT_TARGET == "silver, diffusion"
    assert built_in_target().name == DEFAULT_TARGET


@pytest.mark.parametrize("name", ALL_TARGETS)
def test_every_built_in_target_says_where_it_is_from(name):
    curve, source = BUILT_IN_TARGETS[name]
    assert curve.name == name
    assert source.endswith(".")
    assert len(source) > 40


@pytest.mark.parametrize("name", ALL_TARGETS)
def test_curve_is_the_monotone_cubic_of_its_points(name):
    curve = built_in_target(name)
    reference = PchipInterpolator(curve.zones, curve.densities)
    zones = np.linspace(0.0, 10.0, 401)
    assert np.allclose(curve.density(zones), reference(zones), atol=1e-12)
    assert np.allclose(curve.slope(zones), reference.derivative()(zones), atol=1e-12)


@pytest.mark.parametrize("name", ALL_TARGETS)
def test_numbers_and_arrays_agree(name):
    curve = built_in_target(name)
    zones = np.linspace(-2.0, 12.0, 57)
    densities = curve.density(zones)
    assert densities == pytest.approx([curve.density(float(zone)) for zone in zones], abs=1e-12)
    assert curve.slope(zones) == pytest.approx([curve.slope(float(zone)) for zone in zones], abs=1e-12)
    assert curve.zone(densities) == pytest.approx([curve.zone(float(d)) for d in densities], abs=1e-8)
    assert curve.zone(densities) == pytest.approx(zones, abs=1e-8)
    assert curve.zone(densities.reshape(3, 19)).shape == (3, 19)


def test_straight_on_past_both_ends_at_the_end_slope():
    curve = built_in_target()
    for end, beyond in ((0.0, -1.5), (10.0, 12.5)):
        expected = curve.density(end) + (beyond - end) * curve.slope(end)
        assert curve.density(beyond) == pytest.approx(expected, abs=1e-12)
        assert curve.zone(expected) == pytest.approx(beyond, abs=1e-9)
        assert curve.slope(beyond) == curve.slope(end)


def test_a_curve_that_ends_level_can_still_be_read_backwards():
    # A monotone cubic ends level here: its one-sided slope would have the wrong sign.
    curve = TargetCurve("shouldered", (1, 5, 8, 9), (0.1, 0.3, 1.5, 1.505))
    assert PchipInterpolator(curve.zones, curve.densities).derivative()(9.0) == 0.0
    assert curve.slope(9.0) > 0.0
    assert curve.zone(curve.density(9.5)) == pytest.approx(9.5, abs=1e-6)


@pytest.mark.parametrize(
    ("zones", "densities", "word"),
    [
        ((1, 8), (0.1, 1.3), "at least 3"),
        ((1, 5, 8), (0.1, 1.3), "one density for each"),
        ((1, 5, 5), (0.1, 0.7, 1.3), "must rise; 5 follows 5"),
        ((1, 5, 8), (0.1, 0.7, 0.7), "zone 8 has 0.7, not more than the 0.7 of zone 5"),
        ((1, 5, 8), (0.1, float("nan"), 1.3), "no number"),
    ],
)
def test_a_curve_that_is_none_is_refused_in_one_sentence(zones, densities, word):
    with pytest.raises(QuantityError) as refusal:
        TargetCurve("mine", zones, densities)
    message = str(refusal.value)
    assert word in message
    assert "mine" in message
    assert "\n" not in message


def test_an_unknown_target_names_the_known_ones():
    with pytest.raises(QuantityError, match=r"'velvet'.*silver contact"):
        built_in_target("velvet")


def test_equal_curves_are_equal_and_can_be_keys():
    one = TargetCurve("mine", (1, 5, 8), (0.1, 0.7, 1.3))
    other = TargetCurve("mine", (1.0, 5.0, 8.0), (0.1, 0.7, 1.3))
    assert one == other
    assert len({one, other}) == 1


# Printed tone


def test_printed_tone_rises_from_paper_black_to_paper_white():
    zones = np.linspace(0.0, 10.0, 1001)
    lightness = print_lightness(zones)
    assert np.all(np.diff(lightness) > 0.0)
    assert lightness[0] == pytest.approx(116 * 0 + 903.2963 * 10**-2.10, abs=0.01)
    assert lightness[-1] == pytest.approx(116 * 10 ** (-0.05 / 3) - 16, abs=1e-9)
    assert print_lightness(-3.0) == print_lightness(0.0)
    assert print_lightness(11.0) == print_lightness(10.0)


def test_zone_five_prints_as_the_middle_grey_card():
    assert print_lightness(5.0) == pytest.approx(116 * 0.18 ** (1 / 3) - 16, abs=2.0)


def test_textured_zones_look_equally_far_apart():
    steps = np.diff(print_lightness(np.arange(2.0, 10.0)))
    assert np.all((steps > 9.0) & (steps < 11.0))


# Paper


def test_in_contact_the_density_range_is_the_exposure_scale():
    assert paper_exposure_scale(1.05) == pytest.approx(105.0)
    assert paper_exposure_scale(1.05, built_in_target("silver contact")) == pytest.approx(105.0)


def test_a_condenser_spreads_the_range():
    condenser = built_in_target("silver, condenser")
    assert paper_exposure_scale(1.0, condenser) == pytest.approx(100.0 * 1.25 / 1.10)


@pytest.mark.parametrize("name", ["silver, diffusion", "silver, condenser", "silver contact"])
def test_a_negative_on_target_prints_on_medium_paper(name):
    curve = built_in_target(name)
    scale = paper_exposure_scale(curve.density(8.0) - curve.density(2.0), curve)
    assert nearest_grade(scale).grade == 2


def test_readings_of_other_zones_are_carried_to_the_textured_scale():
    curve = built_in_target("silver contact")
    whole = paper_exposure_scale(curve.density(8.0) - curve.density(2.0), curve)
    part = paper_exposure_scale(curve.density(7.0) - curve.density(4.0), curve, zones=(4.0, 7.0))
    assert part == pytest.approx(whole)
    flat = paper_exposure_scale(0.8 * (curve.density(7.0) - curve.density(4.0)), curve, zones=(4.0, 7.0))
    assert flat == pytest.approx(0.8 * whole)
    assert nearest_grade(flat).grade > nearest_grade(whole).grade


@pytest.mark.parametrize(
    ("iso_r", "grade"), [(200, 0), (150, 0), (130, 1), (105, 2), (90, 3), (70, 4), (55, 5), (20, 5)]
)
def test_nearest_grade(iso_r, grade):
    assert nearest_grade(iso_r).grade == grade


def test_grades_leave_no_gap():
    for softer, harder in pairwise(PAPER_GRADES):
        assert softer.from_r == harder.to_r
        assert harder.grade == softer.grade + 1


@pytest.mark.parametrize("bad", [0.0, -0.3, float("nan")])
def test_no_range_no_paper(bad):
    with pytest.raises(QuantityError):
        paper_exposure_scale(bad)
    with pytest.raises(QuantityError):
        nearest_grade(bad)


def test_paper_zones_must_rise():
    with pytest.raises(QuantityError, match="must lie above"):
        paper_exposure_scale(1.0, zones=(7.0, 3.0))
