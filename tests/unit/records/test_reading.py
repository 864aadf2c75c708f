"""Files → plain data: what was typed stays what was typed, and no file can do harm."""

import pytest

from negcat.errors import RecordError
from negcat.records import load_file, load_files
from negcat.records.csv_text import parse_csv
from negcat.records.json_text import json_tokens, parse_json
from negcat.records.positions import lines_of
from negcat.records.unreadable import UnreadableError
from negcat.records.yaml_text import parse_yaml, yaml_tokens


def refused(tmp_path, name, content):
    file = tmp_path / name
    file.write_bytes(content if isinstance(content, bytes) else content.encode())
    with pytest.raises(RecordError) as caught:
        load_file(file)
    return [str(fault).removeprefix(f"{file}: ") for fault in caught.value.faults]


@pytest.mark.parametrize(
    "scalar", ["0012", "22.50", "1:30", "N", "yes", "2026-05-03", "1_000", "0x10", "1e3", "+3", "null x"]
)
def test_every_scalar_is_the_text_it_was_written_as(scalar):
    assert parse_yaml(f"a: {scalar}")[0] == {"a": scalar}


def test_blank_fields_are_left_out():
    assert parse_yaml("a:\nb: ~\nc: null\nd: ''\ne: 'null'\nf: [~]")[0] == {"e": "null", "f": [None]}
    assert parse_json('{"a": null, "b": "", "c": false, "d": 0}')[0] == {"c": False, "d": "0"}


def test_json_numbers_stay_as_written():
    assert parse_json('{"a": 22.50, "b": 1e3, "c": NaN}')[0] == {"a": "22.50", "b": "1e3", "c": "NaN"}


def test_an_alias_stands_for_what_it_names():
    assert parse_yaml("a: &x {b: [1]}\nc: *x")[0] == {"a": {"b": ["1"]}, "c": {"b": ["1"]}}


def test_aliases_that_multiply_are_refused():
    lines = ["a0: &a0 [" + ", ".join(["x"] * 10) + "]"]
    lines += [f"a{n}: &a{n} [" + ", ".join([f"*a{n - 1}"] * 10) + "]" for n in range(1, 9)]
    with pytest.raises(UnreadableError, match="more than 4000000 values"):
        parse_yaml("\n".join(lines))


@pytest.mark.parametrize(
    ("text", "where", "what"),
    [
        ("a: &x [*x]", "line 1", "refers to nothing"),
        ("a: 1\nb: *nowhere", "line 2", "refers to nothing"),
        ("[" * 30 + "]" * 30, "line 1", "lie inside each other"),
        ("a: 1\n---\nb: 2", "line 2", "second YAML document"),
        ("a: !!python/object/apply:os.system [ls]", "line 1", "has no place"),
        ("? [a, b]\n: 1", "line 1", "for its name"),
        ("a: b: c", "line 1, column 5", "no valid YAML"),
        ("a: [1, 2", "line 2, column 1", "no valid YAML"),
        ("a: \x07", "", "unprintable mark"),
    ],
)
def test_yaml_that_is_refused_as_a_whole(text, where, what):
    with pytest.raises(UnreadableError, match=what) as caught:
        parse_yaml(text)
    assert caught.value.where == where


@pytest.mark.parametrize(
    ("name", "content", "what"),
    [
        ("a.yaml", b"", "it is empty"),
        ("a.yaml", b" \n\n", "it is empty"),
        ("a.yaml", b"# only a remark", "it is blank at its top"),
        ("a.yaml", b"- sheet: BW-01", "it is a list at its top"),
        ("a.yaml", b"hello", "it is plain text or a number at its top"),
        ("a.yaml", b"{}", "it holds no records"),
        ("a.yaml", b"films:\nsheets: []", "it holds no records"),
        ("a.json", b"[]", "it is a list at its top"),
        ("a.json", b"3", "it is plain text or a number"),
        ("a.json", b'{"films": [}', "line 1, column 12: this is no valid JSON"),
        ("a.json", b"[" * 100_000, "too many lists"),
        ("a.yaml", b"\x89PNG\x00\x1a", "it is no text"),
        ("a.yaml", b"films:\n  - name: Ziegelh\xfctte", "line 2: it isn't written in UTF-8 (byte FC)"),
        ("a.yaml", "films: []".encode("utf-16"), "UTF-16"),
        ("a.txt", b"films: []", "record files end in"),
        ("a.csv", b"one,two\n1,2", "names no field of a sheet"),
        ("a.csv", b"sheet,film\n", "a header and no rows"),
        ("a.csv", b'sheet,notes\nBW-01,"open', "row 2: this row can't be parted"),
    ],
)
def test_a_file_that_is_no_record_file_gets_one_sentence(tmp_path, name, content, what):
    faults = refused(tmp_path, name, content)
    assert len(faults) == 1
    assert what in faults[0]
    assert "\n" not in faults[0]


def test_absent_files_and_folders(tmp_path):
    with pytest.raises(RecordError) as caught:
        load_files([tmp_path / "none.yaml", tmp_path])
    assert "no such file" in str(caught.value.faults[0])
    assert "is a folder" in str(caught.value.faults[1])


def test_a_file_that_is_too_large_is_not_read(tmp_path):
    file = tmp_path / "huge.yaml"
    with file.open("wb") as stream:
        stream.truncate(65 * 2**20)
    with pytest.raises(RecordError, match="65 MiB and at most 64"):
        load_file(file)


def test_a_byte_order_mark_and_capitals_in_the_ending_are_fine(tmp_path):
    for name, text in (
        ("films.YAML", b"films: [{name: Kiln, box_speed: 100}]"),
        ("films.Json", b'{"films": [{"name": "Kiln", "box_speed": 100}]}'),
    ):
        (tmp_path / name).write_bytes(b"\xef\xbb\xbf" + text)
        assert load_file(tmp_path / name).films[0].name == "Kiln"


def test_lines_of_fields_and_of_what_they_are_missing_in():
    yaml_text = (
        "films:\n  - name: Kiln\n    box_speed:\n      100\nsheets:\n  - a: [1,\n      2]\n  - {b: 1}\n"
    )
    json_text = '{"films": [\n {"name": "Kiln",\n  "box_speed":\n  100}],\n "sheets": [\n {"a": [1,\n 2]},\n{"b": 1}]}'
    wanted = {
        ("films", 0, "name"): (2, 2),
        ("films", 0, "box_speed"): (3, 3),
        ("films", 0, "lot"): (2, 2),
        ("sheets", 0, "a", 1): (7, 7),
        ("sheets", 1, "b"): (8, 8),
        ("sheets", 9): (5, 5),
    }
    assert lines_of(yaml_tokens(yaml_text), wanted) == {path: lines[0] for path, lines in wanted.items()}
    assert lines_of(json_tokens(json_text), wanted) == {path: lines[1] for path, lines in wanted.items()}


@pytest.mark.parametrize("delimiter", [",", ";"])
def test_csv_columns_fill_nested_fields(delimiter):
    header = ["Sheet", "film", "movements_front_rise_mm", "indicated.stop", "base_fog_spot_x", "shadow_name",
              "shadow_ev", "shadow_spot_x", "highlight_zone", "notes"]  # fmt: skip
    row = ["BW-01", "Kiln", "12", "22", "0.01", "arch", "", "0.3", "VII", f'"rain{delimiter} later ""fine"""']
    sheet = parse_csv("\n".join(delimiter.join(cells) for cells in (header, row))).sheets[0]
    assert sheet == {
        "sheet": "BW-01",
        "film": "Kiln",
        "movements": {"front_rise_mm": "12"},
        "indicated": {"stop": "22"},
        "base_fog_spot": {"x": "0.01"},
        "readings": [
            {"role": "shadow", "name": "arch", "spot": {"x": "0.3"}},
            {"role": "highlight", "name": "highlight", "zone": "VII"},
        ],
        "notes": f'rain{delimiter} later "fine"',
    }


def test_csv_rows_are_counted_as_a_spreadsheet_counts_them():
    table = parse_csv('sheet,notes\n\nBW-01,"two\nlines"\nBW-02,\n,\nBW-03,x\n')
    assert table.rows == [3, 4, 6]
    assert table.where(("sheets", 2, "notes")) == "row 6, column notes"
    assert table.where(("sheets", 2, "film")) == "row 6, column film"
