"""Notation: round trips, order, and no surprise whatever is typed."""

import math
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from negcat.errors import NotationError
from negcat.notation import (
    format_stop,
    format_stops,
    format_tag,
    format_time,
    format_zone,
    parse_number,
    parse_stop,
    parse_tag,
    parse_time,
    parse_zone,
)
from tests.properties import strategies as some

PARSERS = [parse_number, parse_stop, parse_tag, parse_time, parse_zone]
LIKELY = st.text(alphabet="0123456789 ./+-−½⅓⅔fFnNsSmMhH:'\"IVXe,zr", max_size=12)


@given(text=st.one_of(LIKELY, st.text(max_size=20)))
def test_whatever_is_typed_is_read_or_refused_in_one_printable_line(text):
    for parse in PARSERS:
        said = None
        try:
            parse(text)
        except NotationError as fault:
            said = str(fault)
        assert said is None or said.isprintable()


@given(text=LIKELY)
def test_what_is_read_is_finite_and_within_its_limits(text):
    with suppress(NotationError):
        assert 0.5 <= parse_stop(text).f_number <= 1024
    with suppress(NotationError):
        assert 0 < parse_time(text).seconds <= 48 * 3600
    with suppress(NotationError):
        assert -5 <= parse_tag(text).n <= 4
    with suppress(NotationError):
        assert 0 <= parse_zone(text).value <= 10
    with suppress(NotationError):
        assert math.isfinite(parse_number(text))


@given(number=st.floats())
def test_numbers_are_read_or_refused_as_well(number):
    for parse in PARSERS:
        with suppress(NotationError):
            parse(number)
    if math.isfinite(number) and 1e-300 < abs(number) < 1e15:
        with suppress(NotationError):  # one with too many figures to be typed
            assert parse_number(number) == number


@given(text=some.stop_texts)
def test_a_stop_is_kept_as_marked_and_written_back(text):
    stop = parse_stop(text)
    assert stop.text == text.strip()
    assert parse_stop(stop.text) == stop
    assert abs(2 * math.log2(parse_stop(format_stop(stop.f_number)).f_number / stop.f_number)) <= 0.005


@given(f_number=some.f_numbers)
def test_any_f_number_is_written_so_that_it_reads_the_same(f_number):
    written = format_stop(f_number)
    found = parse_stop(written).f_number
    apart = abs(2 * math.log2(found / f_number))
    # Only a true f-number that looks like a mark (22.0) has no notation of its own.
    assert apart <= 0.005 or float(f"{f_number:.6g}") == float(written.removeprefix("f/"))


@given(mark=st.sampled_from(some.FULL_STOPS), part=some.fraction_marks)
def test_a_fraction_is_that_part_of_a_stop(mark, part):
    closed = parse_stop(mark + part).f_number / parse_stop(mark).f_number
    assert 2 * math.log2(closed) == pytest.approx(some.FRACTIONS[part], abs=1e-12)


@given(text=some.time_texts)
def test_a_time_is_kept_as_marked_and_written_back(text):
    time = parse_time(text)
    assert time.text == text
    assert parse_time(format_time(time.seconds)).seconds == pytest.approx(time.seconds, rel=0.005)


@given(seconds=some.seconds)
def test_any_time_is_written_so_that_it_reads_the_same(seconds):
    assert parse_time(format_time(seconds)).seconds == pytest.approx(seconds, rel=0.01)


@given(minutes=st.integers(0, 90), left=st.integers(1, 59))
def test_minutes_and_seconds_however_written(minutes, left):
    ways = [
        f"{minutes}:{left:02d}",
        f"{minutes}m{left}s",
        f"{minutes} m {left} s",
        f"{minutes}'{left}\"",
        f"{minutes}m{left}",
    ]
    if minutes:
        assert {parse_time(way).seconds for way in ways} == {float(60 * minutes + left)}


@given(text=some.tag_texts)
def test_equal_tags_have_equal_text(text):
    tag = parse_tag(text)
    assert parse_tag(tag.text) == tag
    assert tag.text == format_tag(tag.n)
    assert tag.text.isprintable()
    assert "−" not in tag.text


@given(n=some.tag_numbers)
def test_any_tag_is_written_so_that_it_reads_the_same(n):
    assert parse_tag(format_tag(n)).n == pytest.approx(n, abs=1e-4)


@given(text=some.zone_texts)
def test_zones_keep_their_text_and_are_written_back(text):
    zone = parse_zone(text)
    assert zone.text == text
    assert parse_zone(format_zone(zone.value)).value == pytest.approx(zone.value, abs=0.051)


@given(stops=st.floats(-30, 30))
def test_stops_in_words_say_the_sign_and_the_size(stops):
    text = format_stops(stops)
    value = parse_number(text)
    assert value == pytest.approx(stops, abs=0.051)
    assert text == "0" or text[0] == ("+" if stops > 0 else "−")
