"""Exposure and reciprocity: what must hold for every sheet."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from negcat.exposure import (
    contrast,
    expose,
    exposure_zone_of,
    n_of_contrast,
    print_zone_of,
    pupil_stops,
)
from negcat.reciprocity import NoLaw, TableLaw, effective_time, given_time
from tests.properties import strategies as some

COLUMNS = (
    "setting_stops",
    "filter_stops",
    "bellows_stops",
    "cell_stops",
    "shutter_stops",
    "reciprocity_stops",
)


@given(law=some.laws, metered=some.numbers(0.001, 10_000))
def test_the_inverse_undoes_the_law(law, metered):
    assert effective_time(law, given_time(law, metered).seconds).seconds == pytest.approx(metered, rel=1e-8)


@given(law=some.laws, given_s=some.numbers(0.001, 10_000))
def test_the_law_undoes_its_inverse_but_for_the_step_at_a_tables_beginning(law, given_s):
    back = given_time(law, effective_time(law, given_s).seconds).seconds
    if isinstance(law, TableLaw) and law.points[0][0] <= given_s <= law.points[0][1]:
        assert back == pytest.approx(law.points[0][1])
    else:
        assert back == pytest.approx(given_s, rel=1e-8)


@given(law=some.laws, first=some.numbers(0.001, 10_000), second=some.numbers(0.001, 10_000))
def test_films_only_lose_and_longer_is_never_less(law, first, second):
    short, long = sorted((first, second))
    assert effective_time(law, short).seconds <= short
    assert given_time(law, short).seconds >= short
    assert effective_time(law, short).seconds <= effective_time(law, long).seconds * (1 + 1e-12)
    assert given_time(law, short).seconds <= given_time(law, long).seconds * (1 + 1e-12)


@given(setting=some.settings_of_sheets())
def test_the_ledger_adds_up_to_the_decision(setting):
    done = expose(setting)
    assert done.decision_stops == pytest.approx(sum(getattr(done, name) for name in COLUMNS), abs=1e-9)
    lines = done.lines
    assert sum(line.stops for line in lines[:-1]) == pytest.approx(lines[-1].stops, abs=1e-9)
    for reading in done.readings:
        assert reading.given_zone - reading.planned_zone == pytest.approx(done.decision_stops, abs=1e-9)


@given(setting=some.settings_of_sheets())
def test_the_zone_given_follows_from_the_light_that_passed(setting):
    """Given zone by another road: the luminance, the true stop, the true time, one after the other."""
    done = expose(setting)
    placed = next(reading for reading in setting.readings if reading.placed)
    light = 2.0 ** (placed.ev - math.log2(setting.meter_iso / 100))
    exposure = light * done.effective_time_s / done.effective_f_number**2
    exposure /= setting.filter_factor or 1.0
    if setting.bellows_mm is not None:
        cell = setting.lens.cells[setting.cell]
        exposure /= (1 + (setting.bellows_mm / cell.focal_mm - 1) / (cell.pupil_ratio or 1.0)) ** 2
    # The meter's own zone V: EV = log2(N²/t) at the exposure index.
    zone = 5 + math.log2(exposure * setting.exposure_index / 100)
    mine = next(reading for reading in done.readings if reading.placed)
    assert mine.given_zone == pytest.approx(zone, abs=1e-9)


@given(setting=some.settings_of_sheets(), more=some.numbers(0.1, 4))
def test_another_time_stop_or_filter_moves_every_zone_as_much(setting, more):
    plain = replace(setting, shutter={}, reciprocity=NoLaw())
    before = expose(plain)
    longer = expose(replace(plain, time_s=plain.time_s * 2**more))
    opened = expose(replace(plain, f_number=plain.f_number * 2 ** (-more / 2)))
    clearer = expose(replace(plain, filter_factor=(plain.filter_factor or 1.0) * 2**-more))
    for after in (longer, opened, clearer):
        assert after.decision_stops - before.decision_stops == pytest.approx(more, abs=1e-9)


@given(setting=some.settings_of_sheets())
def test_the_meters_setting_is_the_same_as_its_reading(setting):
    placed = next(reading for reading in setting.readings if reading.placed)
    ei_ev = placed.ev + math.log2(setting.exposure_index / setting.meter_iso)
    # Show the placement at f/16: t = N² / 2^(EV − (z − 5)).
    shown = (16.0, 256.0 / 2 ** (ei_ev - (placed.zone - 5)))
    readings = tuple(replace(reading, ev=None) if reading.placed else reading for reading in setting.readings)
    by_meter = expose(replace(setting, readings=readings, indicated=shown))
    assert by_meter.decision_stops == pytest.approx(expose(setting).decision_stops, abs=1e-9)
    assert expose(replace(setting, indicated=shown)).why == expose(setting).why


@given(lens=some.convertibles(), cells=st.permutations(["whole", "front", "rear"]))
def test_reading_one_scale_for_another_and_back_is_no_change(lens, cells):
    first, second, third = cells
    there, back = pupil_stops(lens, first, second).stops, pupil_stops(lens, second, first).stops
    assert there == pytest.approx(-back, abs=1e-12)
    round_about = pupil_stops(lens, first, third).stops + pupil_stops(lens, third, second).stops
    assert there == pytest.approx(round_about, abs=1e-12)


@given(n=some.tag_numbers, zone=some.numbers(-3, 12))
def test_development_and_back(n, zone):
    assert n_of_contrast(contrast(n)) == pytest.approx(n, abs=1e-9)
    assert exposure_zone_of(print_zone_of(zone, n), n) == pytest.approx(zone, abs=1e-9)


@given(n=some.tag_numbers)
def test_n_is_the_subject_range_that_fills_zones_i_to_viii(n):
    assert print_zone_of(1 + (7 - n), n) == pytest.approx(8, abs=1e-9)
