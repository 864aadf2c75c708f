"""The chart: letters that can be told apart, and readings drawn where they belong."""

import pytest

from negcat.web.curve import draw

ZONES = [tenth / 10 for tenth in range(101)]
DENSITIES = [0.02 + 0.16 * zone for zone in ZONES]


def reading(letter, zone, wanted, net, sd=0.02):
    return {
        "letter": letter,
        "name": f"spot {letter}",
        "planned_print_zone": zone,
        "target_density": wanted,
        "net_density": net,
        "sd": sd,
    }


def test_letters_of_readings_close_together_stay_apart():
    readings = [reading("a", 3.0, 0.50, 0.44), reading("b", 3.1, 0.52, 0.46), reading("c", 3.2, 0.53, 0.60)]
    marks = draw(ZONES, DENSITIES, readings, target="made up").marks
    assert len(marks) == 3
    for one in marks:
        for other in marks:
            if one is not other:
                assert abs(one.label_x - other.label_x) > 14 or abs(one.label_y - other.label_y) > 16


def test_the_scale_holds_the_densest_reading_and_one_below_base_and_fog():
    readings = [reading("a", 2.0, 0.3, -0.03), reading("b", 9.0, 1.5, 2.71, sd=0.1)]
    chart = draw(ZONES, DENSITIES, readings, target="made up")
    for mark in chart.marks:
        assert chart.top <= mark.high_y < mark.found_y < mark.low_y <= chart.bottom
    assert (chart.up[0].text, chart.up[-1].text) == ("−0.2", "3.0")


def test_what_was_not_measured_is_drawn_as_planned_only():
    (mark,) = draw(ZONES, DENSITIES, [reading("a", 4.0, 0.66, None, None)], target="made up").marks
    assert mark.planned_y is not None
    assert (mark.found_y, mark.low_y, mark.high_y) == (None, None, None)


@pytest.mark.parametrize("zones", [[], [5.0]])
def test_without_a_curve_there_is_no_chart(zones):
    assert draw(zones, [0.7] * len(zones), [], target="none") is None
