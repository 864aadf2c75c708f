"""What people write, and what it must mean."""

import math

import numpy as np
import pytest

from negcat.errors import NotationError
from negcat.notation import (
    SHEET_ID,
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

F22 = 2**4.5


@pytest.mark.parametrize(
    "text", ["22", "f/22", "F22", "f22", "F/22", "f 22", "f:22", "ƒ/22", " 22 ", "22.0", "22,0", 22, 22.0]
)
def test_f22_however_written(text):
    assert parse_stop(text).f_number == pytest.approx(22.627417, abs=1e-6)


@pytest.mark.parametrize(
    ("text", "stops_past_22"),
    [
        ("22½", 1 / 2), ("22 1/2", 1 / 2), ("22+1/2", 1 / 2), ("22 + 1/2", 1 / 2), ("F/22 ½", 1 / 2),
        ("22 1 / 2", 1 / 2),
        ("22+½", 1 / 2), ("22 1⁄2", 1 / 2), ("22\u00a0½", 1 / 2), ("22+1/3", 1 / 3), ("22⅓", 1 / 3),
        ("22 2/3", 2 / 3),
        ("f/22⅔", 2 / 3), ("22 3/4", 3 / 4), ("22¼", 1 / 4), ("22+0.3", 0.3), ("22+.5", 0.5),
    ],
)  # fmt: skip
def test_a_fraction_closes_a_full_stop_further(text, stops_past_22):
    assert 2 * math.log2(parse_stop(text).f_number / F22) == pytest.approx(stops_past_22, abs=1e-12)


# Ray, Applied Photographic Optics: k/2, k/2 + 1/4 and k/6 are the powers of two behind the marks.
FULL = {"0.5": -2, "0.7": -1, "1": 0, "1.4": 1, "2": 2, "2.8": 3, "4": 4, "5.6": 5, "8": 6, "11": 7,
        "16": 8, "22": 9, "32": 10,
        "45": 11, "64": 12, "90": 13, "128": 14, "180": 15, "181": 15, "256": 16, "360": 17, "512": 18,
        "1024": 20}  # fmt: skip
HALVES = {"1.2": 0.5, "1.7": 1.5, "2.4": 2.5, "3.3": 3.5, "3.4": 3.5, "4.8": 4.5, "6.7": 5.5, "9.5": 6.5,
          "19": 8.5, "27": 9.5,
          "38": 10.5, "54": 11.5, "76": 12.5, "107": 13.5}  # fmt: skip
THIRDS = {"0.9": -1, "0.8": -2, "1.1": 1, "1.3": 2, "1.6": 4, "1.8": 5, "2.2": 7, "2.5": 8, "3.2": 10,
          "3.5": 11, "4.5": 13,
          "5": 14, "5.0": 14, "6.3": 16, "7.1": 17, "9": 19, "10": 20, "13": 22, "14": 23, "18": 25,
          "20": 26, "25": 28, "29": 29,
          "36": 31, "40": 32, "51": 34, "57": 35, "72": 37, "80": 38, "81": 38}  # fmt: skip


@pytest.mark.parametrize(
    ("mark", "stops"),
    [
        *FULL.items(),
        *HALVES.items(),
        *((mark, thirds / 3) for mark, thirds in THIRDS.items()),
    ],
)
def test_marks_of_the_three_scales_stand_for_exact_values(mark, stops):
    assert parse_stop(mark).f_number == pytest.approx(2 ** (stops / 2), rel=1e-12)


@pytest.mark.parametrize(
    "text", ["6.8", "7.7", "12.5", "22.5", "4.7", "1.9", "23", "5.7", "100", "12", "44", "11.3"]
)
def test_any_other_number_stands_for_itself(text):
    assert parse_stop(text).f_number == float(text)


@pytest.mark.parametrize("text", ["6.8½", "27 1/2", "22.5+1/3", "13 1/3", "6.7+0.5"])
def test_a_fraction_after_no_full_stop_is_a_fault_and_says_so(text):
    with pytest.raises(NotationError, match="full scale only"):
        parse_stop(text)


@pytest.mark.parametrize(
    "text",
    ["", "  ", "0", "-8", "−8", "nan", "inf", "f/", "f", "22 1/0", "22 3/2", "22 2/2", "22 0/2", "221/2",
     "22-1/3", "22⅓½", "½", "1/2", "½5",
     "1,000", "22 22", "f/22/2", "0.4", "1025", "9" * 50, "9" * 5000, "1e3", "0x16", "１６", "stop",
     "22 1.5/2", True, None, [22],
     float("nan"), float("inf"), -8.0, 0],
)  # fmt: skip
def test_no_stop(text):
    with pytest.raises(NotationError, match="is not a stop"):
        parse_stop(text)


@pytest.mark.parametrize("parse", [parse_stop, parse_time, parse_zone, parse_number])
def test_a_division_by_zero_is_named(parse):
    with pytest.raises(NotationError, match="divided by 0"):
        parse("2 1/0")


def test_the_marked_text_is_kept():
    assert parse_stop(" F/22 ½ ").text == "F/22 ½"
    assert str(parse_time("1/15 s")) == "1/15 s"
    assert parse_zone("Zone III½").text == "Zone III½"
    assert parse_stop(22.0).text == "22"
    assert parse_time(0.00005).text == "0.00005"


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("1/2", 1 / 2), ("1/4", 1 / 4), ("1/8", 1 / 8), ("1/15", 1 / 16), ("1/30", 1 / 32),
        ("1/60", 1 / 64), ("1/125", 1 / 128),
        ("1/250", 1 / 256), ("1/500", 1 / 512), ("1/1000", 1 / 1024), ("1/15s", 1 / 16), ("1/15 s", 1 / 16),
        ("1 / 15 sec", 1 / 16),
        ("1/5", 1 / 5), ("1/10", 1 / 10), ("1/25", 1 / 25), ("1/50", 1 / 50), ("1/100", 1 / 100),
        ("1/16", 1 / 16), ("1/3", 1 / 3),
        ("0.3", 0.3), ("0,3", 0.3), (".3", 0.3), ("½", 0.5), ("1½", 1.5), ("1 1/2 s", 1.5), ("2+1/2", 2.5),
        ("2/3", 2 / 3),
        ("1", 1), ("4", 4), ("4 s", 4), ("4s", 4), ('4"', 4), ("4″", 4), ("4''", 4), ("4 sec.", 4),
        ("4 Seconds", 4), ("125", 125),
        ("1m30s", 90), ("1 m 30 s", 90), ("1m 30", 90), ("1m30", 90), ("1'30\"", 90), ("1′30″", 90),
        ("1 min 30 sec", 90), ("1:30", 90),
        ("2m", 120), ("2 min", 120), ("2½ min", 150), ("1/2 min", 30), ("1/15 min", 4), ("11:30", 690),
        ("0:08", 8), ("1m 2.5s", 62.5),
        ("1h", 3600), ("1h30", 5400), ("1 h 30 m", 5400), ("1:30:00", 5400), ("1h 2m 3s", 3723),
        ("48h", 172800), ("90 m", 5400),
        ("8.3 ms", 0.0083), (0.3, 0.3), (4, 4), (2.0, 2),
    ],
)  # fmt: skip
def test_times(text, seconds):
    assert parse_time(text).seconds == pytest.approx(seconds, rel=1e-12)


@pytest.mark.parametrize(
    "text",
    ["", "0", "0 s", "-1", "−1/15", "nan", "inf", "1/0", "0/4", "4/4", "11/3", "1:90", "1:5", "1:125",
     "1:3:5", "1 30", "30s1m", "1m90s", "1.5m3s",
     "1m1m", "1m½", "49h", "48:00:01", "s", "B", "T", "bulb", "1e3", "4 x", "1/15/2", "1//15", "1/-15",
     "1,000", "9" * 400, "4ss", "1ms30s",
     "1m 5ms", None, True, float("nan"), 0.0, -1],
)  # fmt: skip
def test_no_time(text):
    with pytest.raises(NotationError, match="is not a time"):
        parse_time(text)


@pytest.mark.parametrize(
    ("text", "canonical", "n"),
    [
        ("N", "N", 0), ("n", "N", 0), ("normal", "N", 0), ("N+0", "N", 0), ("N-0", "N", 0),
        ("N+1", "N+1", 1), ("N + 1", "N+1", 1),
        ("+1", "N+1", 1), ("N-2", "N-2", -2), ("N−2", "N-2", -2), ("N–2", "N-2", -2), ("N+1/2", "N+½", 0.5),
        ("N+½", "N+½", 0.5),
        ("N+0.5", "N+½", 0.5), ("N-1½", "N-1½", -1.5), ("N-1 1/2", "N-1½", -1.5), ("N−1.5", "N-1½", -1.5),
        ("N+1 1/3", "N+1⅓", 4 / 3),
        ("N+0.4", "N+0.4", 0.4), ("N+0.00001", "N", 0), ("N-0.25", "N-0.25", -0.25), ("N-5", "N-5", -5),
        ("N+4", "N+4", 4),
    ],
)  # fmt: skip
def test_tags(text, canonical, n):
    tag = parse_tag(text)
    assert (tag.text, tag.n) == (canonical, pytest.approx(n, abs=1e-12))
    assert math.copysign(1, tag.n) == (1 if n >= 0 else -1)  # no minus zero


@pytest.mark.parametrize(
    "text",
    ["", "1", "0", "N1", "N+", "N+-1", "N--1", "N+5", "N+4.1", "N-5½", "M+1", "N+1/0", "N+4/3", "+", "NN"],
)
def test_no_tag(text):
    with pytest.raises(NotationError, match="is not a tag"):
        parse_tag(text)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("0", 0), ("4", 4), ("IV", 4), ("iv", 4), ("Ⅳ", 4), ("Zone IV", 4), ("Z4", 4), ("3.5", 3.5),
        ("III½", 3.5), ("III 1/2", 3.5),
        ("III+1/3", 3 + 1 / 3), ("3⅓", 3 + 1 / 3), ("3 2/3", 3 + 2 / 3), ("½", 0.5), ("0½", 0.5), ("I", 1),
        ("II", 2), ("V", 5), ("VI", 6),
        ("VII", 7), ("VIII", 8), ("IX", 9), ("X", 10), ("10", 10), (4, 4), (4.5, 4.5),
    ],
)  # fmt: skip
def test_zones(text, value):
    assert parse_zone(text).value == pytest.approx(value, abs=1e-12)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "-1",
        "−½",
        "10.1",
        "X½",
        "11",
        "XI",
        "IIII",
        "IV-½",
        "IV.5",
        "four",
        "nan",
        "3 4/3",
        "3.5½",
        "zone",
        "VX",
    ],
)
def test_no_zone(text):
    with pytest.raises(NotationError, match="is not a zone"):
        parse_zone(text)


@pytest.mark.parametrize(
    ("text", "value"),
    [("12.3", 12.3), ("12⅓", 12 + 1 / 3), ("12 1/3", 12 + 1 / 3), ("12+1/3", 12 + 1 / 3), ("½", 0.5),
     ("-1⅓", -4 / 3), ("− 0.5", -0.5),
     ("+2", 2), ("0,5", 0.5), ("1e-3", 0.001), ("-1.5E+2", -150), (7, 7), (-0.25, -0.25), ("0,125", 0.125)],
)  # fmt: skip
def test_numbers(text, value):
    assert parse_number(text) == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "nan",
        "inf",
        "-inf",
        "1e999",
        "121/3",
        "12-1/3",
        "--1",
        "1_000",
        "1,234",
        "٣",
        "1/0",
        "0x10",
        "1/2e3",
        "½5",
    ],
)
def test_no_number(text):
    with pytest.raises(NotationError, match="is not a number"):
        parse_number(text)


@pytest.mark.parametrize("parse", [parse_stop, parse_time, parse_tag, parse_zone, parse_number])
def test_a_message_is_one_line_that_says_how_to_mend_it(parse):
    for text in ("?", "1\n2\x1b[31m", "x" * 500):
        with pytest.raises(NotationError) as caught:
            parse(text)
        message = str(caught.value)
        assert message.isprintable()
        assert len(message) < 160
    with pytest.raises(NotationError, match="write it as"):
        parse("?")


@pytest.mark.parametrize(
    ("f_number", "text"),
    [(F22, "f/22"), (2**4.75, "f/22½"), (2 ** (4.5 + 1 / 6), "f/22⅓"), (6.8, "f/6.8"), (0.5, "f/0.5"),
     (1, "f/1"), (1024, "f/1024"),
     (2**2.5, "f/5.6"), (2**2.75, "f/5.6½"), (39.6, "f/39.6"), (13.05, "f/13.05"), (22.0, "f/22")],
)  # fmt: skip
def test_stops_written(f_number, text):
    assert format_stop(f_number) == text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(1 / 16, "1/15 s"), (1 / 1024, "1/1000 s"), (0.5, "1/2 s"), (1 / 15, "0.0667 s"), (0.04, "1/25 s"),
     (1 / 2000, "1/2000 s"), (0.0139, "1/72 s"), (0.3, "0.3 s"),
     (1.5, "1.5 s"), (59.96, "1 m"), (59.9, "59.9 s"), (90, "1 m 30 s"), (120, "2 m"), (3600, "1 h"),
     (3723, "1 h 2 m 3 s"), (0.798, "0.798 s")],
)  # fmt: skip
def test_times_written(seconds, text):
    assert format_time(seconds) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [(0, "0"), (0.5, "0½"), (3.5, "III½"), (4.0, "IV"), (3.998, "IV"), (4.2, "4.2"), (10, "X"),
     (10.5, "10.5"), (-0.8, "−0.8"), (8 + 1 / 3, "VIII⅓")],
)  # fmt: skip
def test_zones_written(value, text):
    assert format_zone(value) == text


@pytest.mark.parametrize(
    ("stops", "text"),
    [(0, "0"), (-0.0, "0"), (0.001, "0"), (-0.03, "0"), (0.5, "+½"), (-2 / 3, "−⅔"), (-1.5, "−1½"),
     (0.4, "+0.4"), (-1, "−1"), (10, "+10"), (1.9951, "+2")],
)  # fmt: skip
def test_stops_in_words(stops, text):
    assert format_stops(stops) == text


def test_stops_in_words_to_two_places():
    assert format_stops(-0.526, decimals=2) == "−0.53"


def test_tags_written():
    assert [format_tag(n) for n in (0, -0.0, 1, -1.5, 1 / 3, 0.4)] == [
        "N",
        "N",
        "N+1",
        "N-1½",
        "N+⅓",
        "N+0.4",
    ]


def test_numbers_of_other_kinds():
    assert parse_stop(np.float64(6.8)).text == "6.8"
    with pytest.raises(NotationError, match="too long"):
        parse_number(10**5000)


def test_sheet_ids():
    assert SHEET_ID.fullmatch("BW-07_b.2")
    assert not SHEET_ID.fullmatch("BW 07")
    assert not SHEET_ID.fullmatch("")
