"""The models by themselves: what they take, how they keep it, how they give it back."""

import math
from datetime import UTC, datetime

import pytest
from pydantic import ValidationError

from negcat.records import KEYS, Development, Film, Lens, PrintTarget, Records, Sheet, Shutter, Tablet

SHEET = {"sheet": "BW-01", "film": "Kiln 100", "lens": "Aldwater 180", "stop": "22½", "time": "1/15"}


def test_marked_text_stands_beside_the_exact_value():
    sheet = Sheet.model_validate(
        {**SHEET, "tag": "N − 1 1/2", "readings": [{"name": "arch", "role": "shadow", "zone": "III½"}]}
    )
    assert sheet.stop.text == "22½"
    assert math.isclose(sheet.stop.f_number, 2**4.75)
    assert (sheet.time.text, sheet.time.seconds) == ("1/15", 0.0625)
    assert (sheet.tag.text, sheet.tag.n) == ("N-1½", -1.5)
    assert (sheet.readings[0].zone.text, sheet.readings[0].zone.value) == ("III½", 3.5)


def test_defaults_are_those_of_the_field_list():
    sheet = Sheet.model_validate({**SHEET, "base_fog_spot": {"x": "0.5", "y": "0.01"}, "readings": []})
    assert sheet.tag.text == "N"
    assert sheet.meter_iso == 100
    assert sheet.base_fog_spot.diameter_mm == 2
    film = Film(name="Kiln 100", box_speed=100)
    assert film.channel == "grey"
    assert film.reciprocity is None
    cell = Lens.model_validate({"name": "x", "cells": [{"cell": "whole", "focal_mm": 180}]}).cells[0]
    assert (cell.own_scale, cell.scale_error_stops, cell.pupil_ratio) == (True, 0, None)


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("215", 215.0),
        ("215.5", 215.5),
        ("12⅓", 12 + 1 / 3),
        ("215 1/2", 215.5),
        (215, 215.0),
        ("21,5", 21.5),
        ("+9", 9.0),
    ],
)
def test_a_number_is_read_as_people_write_it(written, read):
    assert Sheet.model_validate({**SHEET, "bellows_mm": written}).bellows_mm == pytest.approx(read)


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("2026-05-03", "2026-05-03"),
        ("2026-05-03 07:40", "2026-05-03T07:40"),
        ("2026-05-03T07:40:12+02:00", "2026-05-03T07:40:12+02:00"),
        ("2026-05-03 07:40 +0200", "2026-05-03T07:40+02:00"),
        ("2026-05-03 07:40Z", "2026-05-03T07:40Z"),
        (datetime(2026, 5, 3, 7, 40, tzinfo=UTC), "2026-05-03T07:40:00+00:00"),
    ],
)
def test_dates_are_kept_in_one_form(written, read):
    assert Sheet.model_validate({**SHEET, "exposed_at": written}).exposed_at == read


@pytest.mark.parametrize(
    "written", ["3 May 2026", "2026-13-01", "2026-02-30", "0206-05-03", "2026-05-03 25:00", "20260503", 7]
)
def test_what_is_no_date_is_refused(written):
    with pytest.raises(ValidationError, match="write"):
        Sheet.model_validate({**SHEET, "exposed_at": written})


def test_text_is_stripped_and_put_into_one_unicode_form():
    assert Film(name="  Ziegelhu\u0308tte ", box_speed=100).name == "Ziegelhütte"
    with pytest.raises(ValidationError, match="one line"):
        Film(name="a\nb", box_speed=100)
    with pytest.raises(ValidationError, match="unprintable"):
        Sheet.model_validate({**SHEET, "notes": "bell \x07"})
    assert Sheet.model_validate({**SHEET, "notes": "two\r\nlines"}).notes == "two\nlines"


@pytest.mark.parametrize("written", ["BW 01", "BW/01", "Ü1", "..", "", "x" * 101])
def test_what_is_no_sheet_id_is_refused(written):
    with pytest.raises(ValidationError):
        Sheet.model_validate({**SHEET, "sheet": written})


@pytest.mark.parametrize("name", [".", "..", " .. "])
def test_what_no_address_can_end_in_is_no_name_of_a_film_lens_or_batch(name):
    for kind, record in (
        (Film, {"name": name, "box_speed": 100}),
        (Lens, {"name": name, "cells": [{"cell": "whole", "focal_mm": 150}]}),
        (Development, {"batch": name, "time": "9m", "sheets": ["BW-01"]}),
    ):
        with pytest.raises(ValidationError, match="can't stand in an address; write a name with a letter"):
            kind.model_validate(record)
    assert Film(name="...", box_speed=100).name == "..."


def test_records_are_frozen():
    with pytest.raises(ValidationError, match="frozen"):
        Film(name="Kiln", box_speed=100).name = "other"


def test_a_shutter_keeps_the_marks_of_its_times():
    shutter = Shutter.model_validate({"name": "No. 3", "measured": {"1/15": "1/14", "1": "1.1"}})
    marks = {mark.text: (mark.seconds, measured) for mark, measured in shutter.measured.items()}
    assert marks == {"1/15": (0.0625, pytest.approx(1 / 14)), "1": (1.0, 1.1)}
    assert Shutter.model_validate(shutter.model_dump(mode="json")) == shutter


def test_a_target_may_be_written_in_any_order():
    target = PrintTarget.model_validate({"name": "salt", "densities": {"VIII": 1.4, "1": "0.1", "V": 0.7}})
    assert target.model_dump(mode="json")["densities"] == {"VIII": 1.4, "1": 0.1, "V": 0.7}


def test_a_lens_knows_which_cell_is_the_whole():
    one = Lens.model_validate({"name": "x", "cells": [{"cell": "only", "focal_mm": 210}]})
    assert one.whole == "only"
    assert one.cell_named(None).cell == "only"
    three = {
        "name": "y",
        "cells": [
            {"cell": "both", "focal_mm": 180, "mounted": "Whole"},
            {"cell": "front", "focal_mm": 305, "mounted": "front"},
            {"cell": "rear", "focal_mm": 355, "mounted": "behind", "own_scale": "no"},
        ],
    }
    lens = Lens.model_validate(three)
    assert lens.whole == "both"
    assert lens.cell_named(None) is None
    named = [{"cell": "Whole lens", "focal_mm": 180}, {"cell": "rear", "focal_mm": 355}]
    assert Lens.model_validate({"name": "z", "cells": named}).whole == "Whole lens"
    assert (
        Lens.model_validate({"name": "z", "cells": [*named, {"cell": "whole", "focal_mm": 9}]}).whole is None
    )
    assert lens.cell_named("rear").own_scale is False


def test_the_placed_reading_is_the_marked_one_else_the_first_shadow():
    readings = [{"name": "sky", "role": "highlight"}, {"name": "arch", "role": "shadow", "zone": "III"}]
    assert Sheet.model_validate({**SHEET, "readings": readings}).placed_reading.name == "arch"
    readings[0] |= {"placed": "true", "zone": "VII"}
    assert Sheet.model_validate({**SHEET, "readings": readings}).placed_reading.name == "sky"


def test_equal_steps_are_taken_and_falling_ones_are_not():
    assert Tablet(name="t", densities=[0.1, 0.2, 0.2, 0.3, 0.4]).densities[2] == 0.2
    with pytest.raises(ValidationError, match=r"step 3 with 0\.15 is lighter"):
        Tablet(name="t", densities=[0.1, 0.2, 0.15, 0.3, 0.4])


def test_every_list_has_a_model_and_a_naming_field():
    assert set(Records.MODELS) == set(Records.model_fields)
    assert set(Records.MODELS) - set(KEYS) == {"dated_changes", "advised_times"}
    for name, key in KEYS.items():
        assert Records.MODELS[name].model_fields[key].is_required()


def _all_models(model, seen):
    seen.add(model)
    for field in model.model_fields.values():
        pending = [field.annotation]
        while pending:
            part = pending.pop()
            if isinstance(part, type) and hasattr(part, "model_fields") and part not in seen:
                _all_models(part, seen)
            pending += getattr(part, "__args__", ())
    return seen


def test_every_field_says_what_it_is_and_every_required_one_gives_an_example():
    models = _all_models(Records, set())
    assert len(models) == 20
    for model in models:
        for name, field in model.model_fields.items():
            assert field.description, f"{model.__name__}.{name}"
            if field.is_required():
                assert field.examples, f"{model.__name__}.{name}"


def test_examples_are_themselves_valid():
    for model in _all_models(Records, set()):
        required = {
            name: field.examples[0] for name, field in model.model_fields.items() if field.is_required()
        }
        if model.__name__ == "FilmTest":
            required["scan"] = "tests/t3.tif"
        if model.__name__ == "AcceptedChange":
            required["film"] = "Marl 400"
        if model.__name__ == "Reciprocity":
            required["exponent"] = "1.3"
        model.model_validate(required)
        for name, field in model.model_fields.items():
            if field.examples and model.__name__ != "Reciprocity":
                model.model_validate({**required, name: field.examples[0]})
