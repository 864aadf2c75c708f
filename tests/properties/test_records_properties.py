"""What holds for any records and any files."""

import json
import string
import tempfile
from datetime import datetime
from pathlib import Path
from unittest import mock

from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from negcat.errors import RecordError
from negcat.records import Records, dump_yaml, load_data, load_file
from negcat.records.alike import ReadingsAlike

TEXTS = st.text(st.characters(exclude_categories=("Cs", "Cc", "Zl", "Zp")), min_size=1, max_size=30).filter(
    lambda text: text.strip()
)
NOTES = st.text(
    st.characters(exclude_categories=("Cs", "Cc")) | st.sampled_from("\n\t:#-'\""), min_size=1
).filter(lambda text: text.strip())
IDS = st.text(string.ascii_letters + string.digits, min_size=1, max_size=8)
EARLIEST, LATEST = datetime.fromisoformat("1850-01-01"), datetime.fromisoformat("2150-01-01")
STOPS = st.sampled_from(["22", "f/22", "6.8", "22 1/2", "22½", "22+1/3", "22 2/3", "022", "22.50", 8, 5.6])
TIMES = st.sampled_from(["1/15", "0.3", "1", "4 s", "1m30s", "2m", "1:30", "1/25", 2])
TAGS = st.sampled_from(["N", "N+1", "N-2", "N+1/2", "N−1½", "N + 0.3"])
ZONES = st.sampled_from(["0", "III", "3.5", "III½", "X", 4])
MARKS = st.sampled_from(["1", "1/8", "2 s"])
FRACTIONS = st.floats(0, 1)
SPOTS = st.fixed_dictionaries({"x": FRACTIONS, "y": FRACTIONS}, optional={"diameter_mm": st.floats(0.05, 50)})


@st.composite
def sheets(draw, sheet_id):
    names = draw(st.lists(IDS, max_size=3, unique_by=str.casefold))
    readings = [
        {
            "name": name,
            "role": "shadow" if place == 0 else draw(st.sampled_from(["middle", "highlight", "other"])),
            "zone": draw(ZONES),
            **draw(st.fixed_dictionaries({}, optional={"ev": st.floats(-15, 30), "spot": SPOTS})),
        }
        for place, name in enumerate(names)
    ]
    optional = {
        "place": TEXTS,
        "notes": NOTES,
        "filter": TEXTS,
        "tag": TAGS,
        "bellows_mm": st.floats(5, 10_000),
        "filter_factor": st.integers(1, 100),
        "exposed_at": st.datetimes(EARLIEST, LATEST).map(str),
        "movements": st.fixed_dictionaries({"front_rise_mm": st.floats(-300, 300)}),
        "indicated": st.fixed_dictionaries({"stop": STOPS, "time": TIMES}),
        "base_fog_spot": SPOTS,
    }
    required = {"stop": STOPS, "time": TIMES}
    return {
        "sheet": sheet_id,
        "film": "F",
        "lens": "L",
        "readings": readings,
        **draw(st.fixed_dictionaries(required, optional=optional)),
    }


@st.composite
def seasons(draw):
    ids = draw(st.lists(IDS, min_size=1, max_size=4, unique_by=str.casefold))
    return {
        "films": [{"name": "F", "box_speed": draw(st.floats(0.1, 1e5)), "lot": draw(TEXTS)}],
        "lenses": [{"name": "L", "cells": [{"cell": draw(TEXTS), "focal_mm": draw(st.integers(5, 5000))}]}],
        "shutters": [{"name": draw(TEXTS), "measured": draw(st.dictionaries(MARKS, st.floats(1e-5, 7200)))}],
        "sheets": [draw(sheets(sheet_id)) for sheet_id in ids],
        "developments": [
            {"batch": draw(TEXTS), "developer": draw(TEXTS), "time": draw(TIMES), "sheets": ids}
        ],
    }


def load_text(text, ending):
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / f"records.{ending}"
        file.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8", "surrogatepass"))
        return load_file(file)


@given(seasons())
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_yaml_and_json_read_back_to_the_same_records(season):
    records = load_data(season)
    assert load_text(dump_yaml(records), "yaml") == records
    plain = records.model_dump(mode="json", exclude_none=True)
    assert Records.model_validate(plain) == records
    assert load_text(json.dumps(plain), "json") == records
    assert load_text(json.dumps(season), "json") == records


JUNK = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)


def check_sentences(error):
    assert error.faults
    for fault in error.faults:
        assert fault.what.isprintable()
        assert fault.what[-1] not in ".\n"
        assert "validat" not in fault.what


@given(seasons(), st.data())
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_any_value_anywhere_is_taken_or_refused_in_sentences(season, data):
    holder: object = season
    while True:
        steps = list(holder) if isinstance(holder, dict) else list(range(len(holder)))
        step = data.draw(st.sampled_from(steps))
        if not isinstance(holder[step], dict | list) or not holder[step] or data.draw(st.booleans()):
            break
        holder = holder[step]
    holder[step] = data.draw(JUNK)
    text = json.dumps(season)
    for ending in ("json", "yaml") if text.isascii() and "\\ud8" not in text else ("json",):
        try:
            load_text(text, ending)
        except RecordError as error:
            check_sentences(error)


@given(st.binary(max_size=200) | st.text(max_size=200), st.sampled_from(["yaml", "json", "csv"]))
@settings(max_examples=100, deadline=None)
def test_no_file_whatever_breaks_the_reader(content, ending):
    try:
        load_text(content, ending)
    except RecordError as error:
        check_sentences(error)


@given(st.text("{}[],:-&*! \n\"'ab1?|>#%@", max_size=80))
@settings(max_examples=100, deadline=None)
def test_no_yaml_whatever_breaks_the_reader(text):
    for start in ("", "sheets:\n- ", "films: ["):
        try:
            load_text(start + text, "yaml")
        except RecordError as error:
            check_sentences(error)


WRITTEN = st.fixed_dictionaries(
    {"name": st.sampled_from(["soot", "sky ", ""])},
    optional={
        "role": st.sampled_from(["shadow", "Highlight", "shade"]),
        "ev": st.sampled_from(["9½", "9.5", "400", "dim", True, 1]),
        "zone": st.sampled_from(["III", "4½", "XIV"]),
        "placed": st.sampled_from(["yes", True, 1, 1.0]),
        "spot": st.just({"x": "0.5", "y": "0.5"}),
        "stray": st.just("x"),
    },
)


@example([[{"name": "soot", "role": "shadow", "zone": "III", "ev": ev}] for ev in (1, True)])
@given(st.lists(st.lists(WRITTEN, max_size=2), min_size=1, max_size=6))
@settings(max_examples=100, deadline=None)
def test_readings_written_alike_are_read_as_each_by_itself(written):
    plain = {"film": "F", "lens": "L", "stop": "22", "time": "1"}
    data = {
        "films": [{"name": "F", "box_speed": 100}],
        "lenses": [{"name": "L", "cells": [{"cell": "whole", "focal_mm": 150}]}],
        # Each twice, so that what was remembered is used.
        "sheets": [
            {**plain, "sheet": f"S-{number}", "readings": readings}
            for number, readings in enumerate([*written, *written])
        ],
    }

    def read():
        try:
            loaded = load_data(data)
        except RecordError as error:
            return error.faults
        return loaded, [one.model_fields_set for one in loaded.sheets]

    remembering = read()
    with mock.patch.object(ReadingsAlike, "put_in", return_value=None):
        assert read() == remembering
