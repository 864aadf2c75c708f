"""Light, lenses, placement and the ledger, one correction at a time."""

import math
from dataclasses import replace

import pytest

from negcat.errors import QuantityError
from negcat.exposure import (
    Cell,
    Lens,
    MeteredReading,
    Setting,
    bellows_stops,
    contrast,
    ev100,
    expose,
    exposure_value,
    exposure_zone_of,
    luminance,
    n_of_contrast,
    print_zone_of,
    pupil_stops,
)
from negcat.reciprocity import PowerLaw, TableLaw

SHADOW = MeteredReading("under the kiln arch", "shadow", ev=8.0, zone=4.0, placed=True)
SKY = MeteredReading("sky over the pit", "highlight", ev=12.0)
# EV 8 on IV asks for EV 9: f/22.6 (2^4.5) for one second.
PLAIN = Setting((SHADOW, SKY), exposure_index=100, f_number=2**4.5, time_s=1.0)

CONVERTIBLE = Lens(
    "Convertible",
    {
        "whole": Cell(300, "whole"),
        "front": Cell(600, "front", cell_to_stop_mm=30),
        "rear": Cell(500, "behind", own_scale=False, scale_error_stops=-0.5),
    },
)


# --- Light ------------------------------------------------------------------------------------------


def test_exposure_value():
    assert exposure_value(1.0, 1.0) == 0
    assert exposure_value(2**4.5, 1 / 16) == pytest.approx(13)


def test_a_reading_at_iso_100():
    assert ev100(12, 100) == 12
    assert ev100(12, 400) == pytest.approx(10)
    assert ev100(12, 50) == pytest.approx(13)


@pytest.mark.parametrize("iso", [0, -100, math.nan, math.inf])
def test_no_film_speed_to_meter_at(iso):
    with pytest.raises(QuantityError):
        ev100(12, iso)


def test_luminance_of_ev_3_is_one_candela_per_square_metre():
    assert luminance(3) == 1
    assert luminance(15) == 4096


@pytest.mark.parametrize(
    ("n", "c"), [(-2, 0.778), (-1, 0.875), (0, 1), (1, 1.167), (2, 1.4), (4, 2.333), (-5, 0.583)]
)
def test_contrast_of_n(n, c):
    assert contrast(n) == pytest.approx(c, abs=5e-4)
    assert n_of_contrast(contrast(n)) == pytest.approx(n, abs=1e-12)


def test_no_contrast():
    with pytest.raises(QuantityError, match="less than N\\+7"):
        contrast(7)
    with pytest.raises(QuantityError, match="more than 0"):
        n_of_contrast(0)


@pytest.mark.parametrize(
    ("zone", "n", "printed"),
    [
        (4, 1, 4.5),
        (7, 1, 8),
        (8, 0, 8),
        (1, 2, 1),
        (0.5, 2, 0.5),
        (-1, -2, -1),
        (9, -1, 8),
        (3.5, -2, 1 + 2.5 * 7 / 9),
    ],
)
def test_where_development_prints_a_zone(zone, n, printed):
    assert print_zone_of(zone, n) == pytest.approx(printed)
    assert exposure_zone_of(printed, n) == pytest.approx(zone)


# --- Cells and bellows ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("extension", "focal", "ratio", "stops"),
    [
        (300, 300, 1, 0),
        (600, 300, 1, -2),
        (360, 300, 1, -0.526),
        (480, 400, 0.8, -0.644),
        (600, 300, 2, -1.170),
    ],
)
def test_bellows(extension, focal, ratio, stops):
    lost = bellows_stops(extension, focal, ratio)
    assert lost.stops == pytest.approx(stops, abs=5e-4)
    assert lost.why is None


def test_a_bellows_shorter_than_the_lens_is_doubted():
    lost = bellows_stops(270, 300)
    assert lost.stops == pytest.approx(0.304, abs=5e-4)
    assert "shorter than the focal length" in lost.why
    assert bellows_stops(298, 300).why is None  # a ruler's error


@pytest.mark.parametrize(("extension", "ratio"), [(30, 1.0), (149, 1.0), (200, 0.3)])
def test_a_bellows_in_the_wrong_unit_gives_no_stops(extension, ratio):
    lost = bellows_stops(extension, 300, ratio)
    assert lost.stops is None
    assert "millimetres" in lost.why


@pytest.mark.parametrize(
    "lengths", [(0, 300, 1), (300, -1, 1), (300, 300, 0), (math.nan, 300, 1), (300, math.inf, 1)]
)
def test_no_bellows(lengths):
    with pytest.raises(QuantityError):
        bellows_stops(*lengths)


@pytest.mark.parametrize(
    ("cell", "scale", "ratio"),
    [
        ("whole", None, 1),
        ("front", None, 1),  # it has a scale of its own
        ("front", "front", 1),
        ("front", "whole", 600 / 300),
        ("rear", None, 500 / 300 * 600 / 570),  # it has none
        ("rear", "whole", 500 / 300 * 600 / 570),
        ("rear", "front", 500 / 600 * 600 / 570),
        ("whole", "front", 300 / 600),
        ("whole", "rear", 300 / 500 * 570 / 600),
    ],
)
def test_a_stop_read_from_another_cells_scale(cell, scale, ratio):
    lost = pupil_stops(CONVERTIBLE, cell, scale)
    assert lost.stops == pytest.approx(-2 * math.log2(ratio), abs=1e-12)
    assert lost.why is None


def _with(name: str, **changes) -> Lens:
    return Lens("Convertible", {**CONVERTIBLE.cells, name: replace(CONVERTIBLE.cells[name], **changes)})


def test_an_unknown_distance_to_the_diaphragm_is_left_out_and_said():
    lost = pupil_stops(_with("front", cell_to_stop_mm=None), "rear")
    assert lost.stops == pytest.approx(-2 * math.log2(500 / 300))
    assert "half a stop" in lost.why
    # It cancels between two cells behind the diaphragm, and plays no part in front of it.
    both = _with("front", cell_to_stop_mm=None, mounted="behind")
    assert pupil_stops(both, "rear", "front") == (pytest.approx(-2 * math.log2(500 / 600)), None)
    assert pupil_stops(_with("front", cell_to_stop_mm=None), "front", "whole").why is None


def test_a_front_cell_mounted_behind_is_still_the_front_cell():
    lens = Lens("L", {"whole": Cell(240, "whole"), "front": Cell(400, "behind", False, cell_to_stop_mm=25)})
    assert lens.front == "front"
    assert pupil_stops(lens, "front").stops == pytest.approx(-2 * math.log2(400 / 240 * 400 / 375))


def test_an_unknown_mounting_is_said():
    lost = pupil_stops(_with("rear", mounted=None), "rear")
    assert lost.stops == pytest.approx(-2 * math.log2(500 / 300))
    assert "rear" in lost.why
    assert "half a stop" in lost.why
    assert pupil_stops(_with("rear", mounted=None), "rear", "rear") == (
        0.0,
        None,
    )  # its own scale hides nothing


def test_an_impossible_distance_gives_no_stops():
    lost = pupil_stops(_with("front", cell_to_stop_mm=600), "rear")
    assert lost.stops is None
    assert "600" in lost.why


def test_without_a_whole_lens_or_the_named_scale_there_are_no_stops():
    no_whole = Lens("L", {"a": Cell(500, "behind", own_scale=False), "b": Cell(600, "front")})
    assert pupil_stops(no_whole, "a").stops is None
    assert "mounted: whole" in pupil_stops(no_whole, "a").why
    assert pupil_stops(CONVERTIBLE, "rear", "other").stops is None
    assert "no cell other" in pupil_stops(CONVERTIBLE, "rear", "other").why


def test_which_cell_is_the_whole_lens_and_which_its_front():
    assert CONVERTIBLE.whole == "whole"
    assert CONVERTIBLE.front == "front"
    assert Lens("Ordinary", {"150": Cell(150)}).whole == "150"
    assert Lens("L", {"both": Cell(300, "whole"), "Front alone": Cell(500)}).front == "Front alone"
    assert Lens("L", {"a": Cell(300, "front"), "b": Cell(500, "front")}).front is None
    assert Lens("L", {"a": Cell(300), "b": Cell(500)}).whole is None
    assert Lens("L", {"Whole lens": Cell(300), "b": Cell(500)}).whole == "Whole lens"


@pytest.mark.parametrize(
    "fields",
    [
        {"focal_mm": 0},
        {"focal_mm": math.nan},
        {"focal_mm": 300, "cell_to_stop_mm": -1},
        {"focal_mm": 300, "pupil_ratio": 0},
        {"focal_mm": 300, "scale_error_stops": math.nan},
    ],
)
def test_no_cell(fields):
    with pytest.raises(QuantityError):
        Cell(**fields)


# --- Placement --------------------------------------------------------------------------------------


def test_a_plain_exposure_is_as_planned():
    done = expose(PLAIN)
    assert done.decision_stops == pytest.approx(0, abs=1e-12)
    assert [reading.planned_zone for reading in done.readings] == [4, 8]
    assert [reading.given_zone for reading in done.readings] == [pytest.approx(4), pytest.approx(8)]
    assert done.why == ()
    assert (done.time_s, done.shutter_time_s, done.effective_time_s) == (1, 1, 1)
    assert done.f_number == done.effective_f_number


@pytest.mark.parametrize(
    ("changes", "column", "stops"),
    [
        ({"time_s": 2.0}, "setting_stops", 1),
        ({"f_number": 2**5.0}, "setting_stops", -1),
        ({"exposure_index": 50}, "setting_stops", -1),
        ({"meter_iso": 200}, "setting_stops", -1),
        ({"filter_factor": 2.5, "filter_name": "yellow"}, "filter_stops", -math.log2(2.5)),
        ({"lens": CONVERTIBLE, "cell": "whole", "bellows_mm": 600}, "bellows_stops", -2),
        ({"lens": CONVERTIBLE, "cell": "front", "stop_scale": "whole"}, "cell_stops", -2),
        ({"lens": _with("whole", scale_error_stops=0.5), "cell": "whole"}, "cell_stops", 0.5),
        ({"lens": CONVERTIBLE, "cell": "rear"}, "cell_stops", -0.5 - 2 * math.log2(500 / 300 * 600 / 570)),
        ({"shutter": {1.0: 1.25}}, "shutter_stops", math.log2(1.25)),
        ({"reciprocity": PowerLaw(1.3), "time_s": 8.0}, "reciprocity_stops", 3 / 1.3 - 3),
        ({"reciprocity": TableLaw(((0.5, 1.0), (10, 100)))}, "reciprocity_stops", -1),
    ],
)
def test_each_correction_has_its_own_column(changes, column, stops):
    done = expose(replace(PLAIN, **changes))
    assert getattr(done, column) == pytest.approx(stops, abs=1e-12)
    columns = (
        "setting_stops",
        "filter_stops",
        "bellows_stops",
        "cell_stops",
        "shutter_stops",
        "reciprocity_stops",
    )
    untouched = set(columns) - {column} - ({"setting_stops"} if "time_s" in changes else set())
    assert all(getattr(done, other) == pytest.approx(0, abs=1e-12) for other in untouched)
    assert done.decision_stops == pytest.approx(sum(getattr(done, name) for name in columns), abs=1e-12)
    assert done.readings[0].given_zone == pytest.approx(4 + done.decision_stops)
    assert done.readings[1].given_zone == pytest.approx(8 + done.decision_stops)


def test_the_true_stop_holds_scale_error_and_pupil():
    done = expose(replace(PLAIN, lens=CONVERTIBLE, cell="rear"))
    assert done.effective_f_number == pytest.approx(2**4.5 * 500 / 300 * 600 / 570 * 2**0.25)
    assert done.cell_scale_stops == -0.5


def test_a_pupil_ratio_weakens_the_bellows_loss():
    lens = Lens("L", {"only": Cell(300, pupil_ratio=2.0)})
    done = expose(replace(PLAIN, lens=lens, bellows_mm=600))
    assert done.bellows_stops == pytest.approx(-2 * math.log2(1.5))


def test_a_filter_without_a_factor_is_counted_as_clear_and_said():
    done = expose(replace(PLAIN, filter_name="deep orange"))
    assert done.filter_stops == 0
    assert "deep orange" in done.why[0]


def test_a_marked_time_finds_its_measured_one_within_a_thousandth():
    shutter = {0.0625: 0.08, 0.5: 0.55}
    assert expose(replace(PLAIN, time_s=0.06255, shutter=shutter)).shutter_time_s == 0.08
    assert expose(replace(PLAIN, time_s=0.0627, shutter=shutter)).shutter_time_s == 0.0627
    assert expose(replace(PLAIN, time_s=0.5, shutter=shutter)).shutter_time_s == 0.55


def test_reciprocity_works_on_the_measured_time():
    done = expose(replace(PLAIN, shutter={1.0: 2.0}, reciprocity=PowerLaw(2.0)))
    assert done.effective_time_s == pytest.approx(2**0.5)
    assert (done.shutter_stops, done.reciprocity_stops) == (pytest.approx(1), pytest.approx(-0.5))


def test_a_table_carried_on_past_its_end_is_said():
    done = expose(replace(PLAIN, time_s=200.0, reciprocity=TableLaw(((1, 1), (10, 100)))))
    assert any("carried straight on" in sentence for sentence in done.why)
    assert done.effective_time_s == pytest.approx(200**0.5)


def test_the_meters_stop_and_time_are_an_alternative_to_its_reading():
    placed = replace(SHADOW, ev=None)
    done = expose(
        replace(PLAIN, readings=(placed, SKY), meter_iso=800, indicated=(2**4.5, 1.0), exposure_index=800)
    )
    # f/22.6 at 1 s is EV 9 for the placement on IV, so the shadow itself is EV 8 at the index; the sky, read
    # at ISO 800, is EV 12 at the index of 800.
    assert [reading.ev for reading in done.readings] == [pytest.approx(8), pytest.approx(12)]
    assert done.decision_stops == pytest.approx(0)
    assert done.why == ()


def test_a_reading_rules_over_the_meters_stop_and_time():
    done = expose(replace(PLAIN, indicated=(2**4.5, 0.5)))
    assert done.readings[0].ev == 8
    assert "+1 stops" in done.why[0]
    assert expose(replace(PLAIN, indicated=(2**4.5, 0.8))).why == ()  # less than a third of a stop apart


def test_stops_from_the_placed_reading():
    readings = (SHADOW, MeteredReading("wall", "middle", stops_from_placed=1.5))
    done = expose(replace(PLAIN, readings=readings))
    assert (done.readings[1].planned_zone, done.readings[1].given_zone, done.readings[1].ev) == (
        5.5,
        5.5,
        9.5,
    )


def test_a_reading_rules_over_its_own_distance():
    readings = (SHADOW, replace(SKY, stops_from_placed=3.0))
    done = expose(replace(PLAIN, readings=readings))
    assert done.readings[1].planned_zone == 8
    assert "+4" in done.why[0]
    assert "+3" in done.why[0]
    assert expose(replace(PLAIN, readings=(SHADOW, replace(SKY, stops_from_placed=3.7)))).why == ()


def test_a_placed_reading_may_be_known_from_another():
    readings = (replace(SHADOW, ev=None), replace(SKY, stops_from_placed=4.0))
    done = expose(replace(PLAIN, readings=readings))
    assert done.readings[0].ev == pytest.approx(8)
    assert done.decision_stops == pytest.approx(0)


def test_the_first_shadow_is_placed_where_none_is_marked():
    readings = (SKY, replace(SHADOW, placed=False), MeteredReading("second", "shadow", ev=9.0))
    done = expose(replace(PLAIN, readings=readings))
    assert [reading.placed for reading in done.readings] == [False, True, False]


def test_the_print_plan_follows_the_tag():
    done = expose(replace(PLAIN, n=1.0, readings=(SHADOW, replace(SKY, ev=11.0))))
    assert [reading.planned_print_zone for reading in done.readings] == [4.5, pytest.approx(8)]
    assert not any(reading.wanted for reading in done.readings)


def test_a_wanted_print_zone_is_the_plan_and_a_tag_that_misses_it_is_said():
    done = expose(replace(PLAIN, readings=(SHADOW, replace(SKY, zone=7.0))))
    assert (done.readings[1].planned_print_zone, done.readings[1].planned_zone, done.readings[1].wanted) == (
        7,
        8,
        True,
    )
    assert done.why == ("sky over the pit is wanted on VII, but N will print it on VIII.",)
    assert expose(replace(PLAIN, readings=(SHADOW, replace(SKY, zone=7.5)))).why == ()


# --- What can't be known ----------------------------------------------------------------------------


def test_without_a_placed_reading_there_is_no_plan_but_what_was_given():
    done = expose(replace(PLAIN, readings=(SKY,)))
    assert (done.decision_stops, done.setting_stops) == (None, None)
    assert (done.readings[0].planned_zone, done.readings[0].given_zone) == (None, pytest.approx(8))
    assert "No reading was placed" in done.why[0]
    assert expose(replace(PLAIN, readings=())).readings == ()


def test_two_placed_readings_are_no_plan():
    done = expose(replace(PLAIN, readings=(SHADOW, replace(SKY, placed=True, zone=7.0))))
    assert done.decision_stops is None
    assert "More than one" in done.why[0]


def test_a_placed_reading_without_its_zone_or_its_light():
    no_zone = expose(replace(PLAIN, readings=(replace(SHADOW, zone=None), SKY)))
    assert no_zone.decision_stops is None
    assert no_zone.readings[0].planned_zone is None
    assert no_zone.readings[0].given_zone == pytest.approx(4)
    assert "zone" in no_zone.why[0]
    no_light = expose(
        replace(PLAIN, readings=(replace(SHADOW, ev=None), replace(SKY, ev=None, stops_from_placed=4.0)))
    )
    assert no_light.decision_stops is None
    assert [reading.planned_zone for reading in no_light.readings] == [4, 8]
    assert [reading.given_zone for reading in no_light.readings] == [None, None]
    assert "Neither" in no_light.why[0]


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"lens": CONVERTIBLE}, "not recorded"),
        ({"lens": CONVERTIBLE, "cell": "middle"}, "no cell middle"),
        ({"bellows_mm": 400}, "without a lens"),
        ({"lens": CONVERTIBLE, "cell": "whole", "bellows_mm": 30}, "millimetres"),
        ({"lens": _with("front", cell_to_stop_mm=900), "cell": "rear"}, "can't stand"),
    ],
)
def test_light_that_is_unknown_makes_the_given_zones_unknown(changes, word):
    done = expose(replace(PLAIN, **changes))
    assert done.decision_stops is None
    assert [reading.given_zone for reading in done.readings] == [None, None]
    assert [reading.planned_zone for reading in done.readings] == [4, 8]
    assert done.setting_stops == pytest.approx(0)
    assert word in done.why[0]
    assert len(done.lines) == 8


@pytest.mark.parametrize(
    "changes",
    [
        {"f_number": 0},
        {"time_s": -1},
        {"time_s": math.nan},
        {"exposure_index": 0},
        {"meter_iso": 0},
        {"filter_factor": 0},
        {"indicated": (0, 1)},
        {"indicated": (8, 0)},
        {"shutter": {1.0: 0.0}},
        {"readings": (replace(SHADOW, ev=math.nan),)},
        {"readings": (replace(SHADOW, ev=1e9),)},
        {"readings": (SHADOW, replace(SKY, stops_from_placed=math.inf))},
        {"n": 7.0},
        {"lens": CONVERTIBLE, "cell": "whole", "bellows_mm": 0},
    ],
)
def test_no_exposure(changes):
    with pytest.raises(QuantityError):
        expose(replace(PLAIN, **changes))


# --- The ledger in words ----------------------------------------------------------------------------


def test_the_ledger_has_a_line_for_everything_and_adds_up():
    done = expose(
        replace(
            PLAIN,
            lens=CONVERTIBLE,
            cell="rear",
            bellows_mm=600,
            filter_factor=2.0,
            filter_name="yellow",
            shutter={1.0: 1.25},
            reciprocity=PowerLaw(1.3),
        )
    )
    assert [line.item for line in done.lines] == [
        "setting",
        "filter",
        "bellows",
        "cell_scale",
        "cell_pupil",
        "shutter",
        "reciprocity",
        "decision",
    ]
    assert sum(line.stops for line in done.lines[:-1]) == pytest.approx(done.lines[-1].stops, abs=1e-12)
    texts = {line.item: line.text for line in done.lines}
    assert texts["setting"] == (
        "under the kiln arch, EV 8.0 at index 100, placed on IV asks for 1 s at f/22; f/22 and 1 s were set"
    )
    assert texts["filter"] == "yellow, factor 2"
    assert texts["bellows"] == "600 mm with a focal length of 500 mm"
    assert texts["cell_pupil"] == "rear: f/22 read from the scale of whole is f/39.7 here"
    assert texts["shutter"] == "1 s as marked is 1.25 s as measured"
    assert texts["reciprocity"] == "1.25 s counts as 1.19 s (exponent 1.3)"
    assert texts["decision"] == "under the kiln arch, planned on IV, was given 0.6"


def test_the_ledger_of_a_bare_record_says_what_is_missing():
    texts = {line.item: line.text for line in expose(replace(PLAIN, readings=())).lines}
    assert texts["setting"] == "f/22 and 1 s were set; what the placement asks is not known"
    assert texts["filter"] == "no filter"
    assert texts["decision"] == "not known: something above is missing"
