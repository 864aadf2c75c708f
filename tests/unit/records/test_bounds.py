"""How much of a record file is read, and how much is said of what is wrong with it."""

import json
import os

import pytest

from negcat.errors import RecordError
from negcat.records import checking, csv_text, json_text, load_data, load_file, reading, yaml_text
from negcat.records.json_text import parse_json
from negcat.records.unreadable import UnreadableError
from negcat.records.yaml_text import parse_yaml


def refused(tmp_path, name, content):
    file = tmp_path / name
    file.write_text(content, "utf-8")
    with pytest.raises(RecordError) as caught:
        load_file(file)
    return [str(fault).removeprefix(f"{file}: ") for fault in caught.value.faults]


def test_value_without_end(tmp_path):
    (said,) = refused(tmp_path, "a.yaml", f"films:\n- name: {'x' * 100_001}")
    assert said == "line 2: a value has 100,001 letters, and 100,000 are read at most; shorten it"
    parse_yaml(f"films:\n- name: {'x' * 100_000}")


def test_long_value_behind_an_alias_counts_by_its_length(monkeypatch):
    """Ten thousand uses of a megabyte are looked through one by one."""
    text = f"a: &a {'x' * 64_000}\nb: [{', '.join(['*a'] * 10)}]"
    parse_yaml(text)
    monkeypatch.setattr(yaml_text, "MAX_NODES", 10_000)
    with pytest.raises(UnreadableError, match="more than 10000 values"):
        parse_yaml(text)
    parse_yaml(text.replace("x" * 64_000, "x" * 64))


@pytest.mark.parametrize("ending", ["yaml", "json"])
def test_mapping_of_fields_without_end(tmp_path, ending):
    """For each unknown field the nearest known one was looked for."""
    fields = ", ".join(f'"k{number}": 1' for number in range(1001))
    (said,) = refused(tmp_path, f"a.{ending}", f'{{"sheets": [{{{fields}}}]}}')
    assert "1,000" in said


def test_json_of_very_many_values(monkeypatch):
    monkeypatch.setattr(json_text, "MAX_MARKS", 100)
    parse_json("[" + ",".join(["1"] * 100) + "]")
    with pytest.raises(UnreadableError, match="more than 100 values"):
        parse_json("[" + ",".join(["1"] * 101) + "]")


def test_more_records_than_anyone_has(tmp_path, monkeypatch):
    for module in (reading, csv_text):
        monkeypatch.setattr(module, "MAX_RECORDS", 3)
    (said,) = refused(tmp_path, "a.yaml", "films: [a, b]\nlenses: [c, d]")
    assert "holds 4 records, and 3 are read at most" in said
    (said,) = refused(tmp_path, "a.csv", "sheet,film\n" + "BW-01,Kiln\n" * 4)
    assert said == "row 5: it has more than 3 rows; share the records among several files"


def test_table_of_very_many_columns(tmp_path):
    (said,) = refused(tmp_path, "a.csv", ",".join(["sheeet"] * 1001) + "\nBW-01")
    assert "1,001 columns" in said


def test_list_of_what_is_no_record(tmp_path):
    said = refused(tmp_path, "a.json", '{"films": [' + ",".join(["1"] * 5000) + "]}")
    assert len(said) == 201
    assert "and 800 more faults" in said[-1]


def test_beyond_many_faults_records_are_only_counted(tmp_path, monkeypatch):
    monkeypatch.setattr(checking, "MAX_EXPLAINED", 4)
    said = refused(tmp_path, "a.yaml", "films:\n" + "- {name: '', box_speed: fast, lott: 1}\n" * 4)
    assert [fault for fault in said if "this record has faults too" in fault] == [
        "line 4, films[2]: this record has faults too",
        "line 5, films[3]: this record has faults too",
    ]
    assert sum("did you mean 'lot'" in fault for fault in said) == 2


def test_faults_quote_no_more_than_a_name_may_have(tmp_path):
    name = "x" * 5000
    sheet = {"sheet": name, "film": "F", "lens": "L", "stop": 22, "time": 1}
    said = refused(tmp_path, "a.json", json.dumps({"sheets": [sheet, sheet, {name: 1}], name: 1}))
    assert any("stands in this file already" in fault for fault in said)
    assert max(map(len, said)) < 500


def test_columns_name_of_unprintable_marks_is_shown_readably(tmp_path):
    said = refused(tmp_path, "a.csv", "sheet,film,l\u202een\x7fs\nBW-01,Kiln,x")
    assert all(fault.isprintable() for fault in said)
    assert any("unknown column" in fault for fault in said)


def test_number_beyond_all_range_from_a_form():
    with pytest.raises(RecordError, match="out of all range"):
        load_data({"films": [{"name": "Kiln 100", "box_speed": 10**400}]})


def test_blank_item_is_called_so(tmp_path):
    (said,) = (fault for fault in refused(tmp_path, "a.json", '{"lenses": [{"name": "L", "cells": [null]}]}'))
    assert "a blank is no mapping" in said


def test_pipe_is_no_record_file(tmp_path):
    """Nobody writes into it: to open it would wait for ever."""
    os.mkfifo(tmp_path / "a.yaml")
    with pytest.raises(RecordError, match="a device or a pipe"):
        load_file(tmp_path / "a.yaml")


def test_device_is_no_record_file(tmp_path):
    (tmp_path / "a.yaml").symlink_to("/dev/zero")
    with pytest.raises(RecordError, match="a device or a pipe"):
        load_file(tmp_path / "a.yaml")
