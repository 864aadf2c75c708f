"""The schemas: current, valid, and saying what the models say."""

import json
from pathlib import Path

import jsonschema
import pytest

from negcat.records import schema_documents
from negcat.records.__main__ import main
from negcat.records.schema import schema_text

FOLDER = Path(__file__).parents[3] / "schemas"


def test_the_schemas_in_the_folder_are_current():
    expected = {name: schema_text(document) for name, document in schema_documents().items()}
    found = {file.name: file.read_text(encoding="utf-8") for file in FOLDER.glob("*.schema.json")}
    assert found == expected, "run: python -m negcat.records"


def test_writing_takes_away_what_is_no_more(tmp_path):
    (tmp_path / "old.schema.json").write_text("{}")
    (tmp_path / "mine.json").write_text("{}")
    main(tmp_path)
    assert {file.name for file in tmp_path.iterdir()} == {*schema_documents(), "mine.json"}


@pytest.mark.parametrize("name", sorted(schema_documents()))
def test_each_is_a_valid_schema(name):
    jsonschema.Draft202012Validator.check_schema(schema_documents()[name])


def test_ranges_and_unknown_fields_are_in_the_schema():
    validator = jsonschema.Draft202012Validator(schema_documents()["records.schema.json"])
    good = {
        "films": [{"name": "Kiln 100", "box_speed": 100, "base_fog": "0.12"}],
        "sheets": [
            {"sheet": "BW-01", "film": "Kiln 100", "lens": "x", "stop": 22, "time": "1/15", "bellows_mm": 215,
             "readings": [{"name": "arch", "ev": 9.5, "zone": "III", "spot": {"x": 0.5, "y": 0.5}}]},
        ],
    }  # fmt: skip
    validator.validate(good)
    for spoil in (
        {"films": [{"name": "Kiln 100", "box_speed": -100}]},
        {"films": [{"name": "Kiln 100"}]},
        {"films": [{"name": "Kiln 100", "box_speed": 100, "fim": 1}]},
        {"sheets": [{**good["sheets"][0], "bellows_mm": 1}]},
        {"sheets": [{**good["sheets"][0], "readings": [{"name": "a", "spot": {"x": 2, "y": 0}}]}]},
        {"developmnts": []},
    ):
        assert not validator.is_valid(json.loads(json.dumps(spoil))), spoil
