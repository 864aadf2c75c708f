"""Whatever arrives in tags, profiles, side files, forms and addresses: an answer, or one of negcat's errors."""

import json
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from negcat.errors import NegcatError, NotationError, RecordError
from negcat.notation import parse_number, parse_stop, parse_tag, parse_time, parse_zone
from negcat.records import load_data
from negcat.scans.exif import exif_values
from negcat.scans.icc import icc_exponent, icc_tag, icc_text
from negcat.scans.tags import TEXT_LENGTH, facts
from negcat.web.form_fields import typed_from
from negcat.web.iiif_request import MAX_AREA, read_request
from negcat.work.joining import SheetIds
from tests.simulation.small_files import exif_block, icc_profile

BLOCKS = tuple(exif_block(order) for order in "<>")
MANY = settings(max_examples=60, deadline=None)


@st.composite
def wounded(draw, raw):
    """Change a few bytes, or lose the end."""
    changed = bytearray(draw(st.sampled_from(raw)))
    for place, value in draw(
        st.lists(st.tuples(st.integers(0, len(changed) - 1), st.integers(0, 255)), max_size=8)
    ):
        changed[place] = value
    return bytes(changed[: draw(st.integers(0, len(changed)) | st.just(len(changed)))])


@MANY
@given(st.binary(max_size=200) | wounded(BLOCKS))
def test_exif(block):
    notes = []
    values = exif_values(block, notes)
    assert not (values and notes)
    assert sum(len(value) for value in values.values() if isinstance(value, bytes)) < 400_000


@MANY
@given(st.binary(max_size=300) | wounded((icc_profile(),)))
def test_colour_profiles(icc):
    exponent = icc_exponent(icc)
    assert exponent is None or (math.isfinite(exponent) and exponent > 0)
    assert len(icc_text(icc_tag(icc, b"desc"))) <= len(icc)


NUMBERS = st.integers(-(2**63), 2**64) | st.floats()
VALUES = st.recursive(
    NUMBERS | st.text(max_size=40) | st.binary(max_size=40) | st.none(),
    lambda inner: st.lists(inner, max_size=4) | st.tuples(inner, inner),
    max_leaves=6,
)
TAGS = (
    "ImageDescription", "XPTitle", "UserComment", "Make", "Software", "DateTime", "DateTimeOriginal", "ProfileName",
    "OffsetTimeOriginal", "XResolution", "YResolution", "ResolutionUnit", "ColorSpace", "TransferFunction", "Gamma",
)  # fmt: skip


@MANY
@given(
    values=st.dictionaries(st.sampled_from(TAGS), VALUES),
    xmp=st.binary(max_size=60)
    | st.text(max_size=60).map(lambda text: f"<a>{text}</a>".encode("utf-8", "replace")),
    density=st.none() | st.tuples(st.floats(), st.floats()),
)
def test_tags_of_any_kind(values, xmp, density):
    told = facts(values, texts=(), xmp=xmp, icc=b"", density=density, width=900, height=700)
    texts = [text for text in (told.make, told.software, told.taken_at, *told.description) if text]
    assert all(
        0 < len(text) <= TEXT_LENGTH and text.replace("\n", "").replace("\t", "").isprintable()
        for text in texts
    )
    assert told.dpi is None or 50 <= told.dpi <= 20_000
    assert told.exponent is None or math.isfinite(told.exponent)


@MANY
@given(st.text(max_size=70) | st.text("0123456789.,/½⅔ⅢIVXN+-−:mshf '\"eE ", max_size=20))
def test_notations(text):
    for parse in (parse_number, parse_stop, parse_tag, parse_time, parse_zone):
        said = ""
        try:
            parse(text)
        except NotationError as error:
            said = str(error)
        assert said == "" or (said.isprintable() and len(said) < 250)


NAMES = st.text(max_size=12) | st.builds(
    "{}.{}.{}".format,
    st.sampled_from(["readings", "movements", "sheet"]),
    st.sampled_from(["0", "1", "²", "٣", "-1", "9" * 30, ""]),
    st.sampled_from(["ev", "name", "spot.x", "spot", "", "."]),
)
ANY_TEXT = st.text(st.characters(), max_size=20)


@MANY
@given(
    st.dictionaries(
        NAMES | st.sampled_from(["sheet", "film", "stop", "time", "notes", "spot.x"]), ANY_TEXT | VALUES
    )
)
def test_forms(fields):
    record = typed_from(fields).record
    try:
        load_data({"sheets": [record]})
    except RecordError as error:
        for fault in error.faults:
            json.dumps(str(fault)).encode()
            assert str(fault).encode("utf-8").decode().isprintable()


PART = st.text(max_size=12) | st.text("0123456789,.:!^pctfulmaxsqre", max_size=14)


@MANY
@given(
    st.tuples(PART, PART, PART, PART | st.just("default.jpg")),
    st.integers(16, 70_000),
    st.integers(16, 70_000),
)
def test_addresses_of_pictures(parts, width, height):
    try:
        drawing = read_request(parts, width, height)
    except NegcatError:
        return
    x0, y0, x1, y1 = drawing.box
    assert 0 <= x0 < x1 <= width
    assert 0 <= y0 < y1 <= height
    assert 0 < drawing.width * drawing.height <= MAX_AREA


@MANY
@given(
    st.lists(st.text("ABab1.-_ß", min_size=1, max_size=6), max_size=8),
    st.text("ABab1.-_ ßſK\0\ud800", max_size=60),
)
def test_ids_in_any_text(ids, text):
    """What the search finds is what looking at every place finds."""
    found = SheetIds(ids).named_in(text)
    there = {
        sheet
        for sheet in ids
        for start in range(len(text))
        if text[start : start + len(sheet)].casefold() == sheet.casefold()
        and not text[start - 1 : start].isalnum()
        and not text[start + len(sheet) : start + len(sheet) + 1].isalnum()
    }
    assert found <= there
    assert bool(found) == bool(there)


def test_a_json_body_of_a_number_without_end_is_no_fault_of_the_reader():
    with pytest.raises(RecordError):
        load_data({"sheets": [typed_from({"bellows_mm": 10**400, "sheet": "BW-01"}).record]})
