"""The notations' patterns let through whatever can be read, and stop what plainly can't."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from negcat import notation
from negcat.errors import NotationError
from negcat.notation.patterns import FORMS, PATTERNS, fits

PARSERS = {
    "number": notation.parse_number,
    "stop": notation.parse_stop,
    "time": notation.parse_time,
    "tag": notation.parse_tag,
    "zone": notation.parse_zone,
}
# The letters that notations are made of, so that a good part of what is drawn can be read.
LETTERS = st.text("0123456789./,:+-−–½⅓⅔¼ fFƒNnIVXivxⅢⅣhmins'\"″′e", max_size=9)
MARKS = st.sampled_from(("5.6", "8", "11", "16", "22", "32", "13", "0.7", "22.", "022", "f/45", "F8"))
PARTS = st.sampled_from(("½", "⅓", "+1/3", "+0.3"))
UNITS = st.sampled_from(("", "h", "m", "s", "'", " min ", '"', "''"))
MADE = st.one_of(
    LETTERS,
    st.tuples(MARKS, PARTS).map("".join),
    st.tuples(st.integers(0, 70).map(str), UNITS, st.integers(0, 70).map(str), UNITS).map("".join),
)


@pytest.mark.parametrize("kind", PARSERS)
@given(text=MADE)
def test_what_can_be_read_fits(kind: str, text: str):
    try:
        PARSERS[kind](text)
    except NotationError:
        return
    assert fits(text, kind)


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        ("stop", "13½"), ("stop", "22-1/3"), ("stop", "wide open"), ("stop", "22½½"), ("stop", "f/"),
        ("time", "soon"), ("time", "1/15th"), ("time", "bulb"), ("time", "-4 s"), ("time", "1:75"),
        ("tag", "N*2"), ("tag", "M+1"), ("zone", "IIV+"), ("zone", "three"), ("number", "12 mm"), ("number", "1..2"),
        ("stop", "2" * 61),
    ],
)  # fmt: skip
def test_what_cannot_be_read_does_not_fit(kind: str, text: str):
    assert not fits(text, kind)
    with pytest.raises(NotationError):
        PARSERS[kind](text)


def test_every_notation_is_asked_for_in_words():
    assert FORMS.keys() == PATTERNS.keys() == PARSERS.keys()
    assert all("(?P" not in pattern for pattern in PATTERNS.values())
