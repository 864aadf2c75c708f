"""The archive's tables as CSV: whole, described, and taken again."""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path

import pytest

from negcat.catalogue import Catalogue, describe, tables
from negcat.records import Sheet, load_data
from tests.cli.test_export_records import FULL, run

MOMENT = re.compile(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}Z")


@pytest.fixture
def full(tmp_path: Path) -> Path:
    root = tmp_path / "full"
    run("init", root)
    (root / "full.yaml").write_text(FULL, encoding="utf-8")
    run("record", root / "full.yaml", "-a", root)
    return root


def read(file: Path) -> list[list[str]]:
    # By the letter of RFC 4180: line breaks are CRLF outside of quotes, and quotes are doubled.
    content = file.read_bytes().decode("utf-8")
    assert content.endswith("\r\n")
    return list(csv.reader(io.StringIO(content, newline=""), strict=True))


@pytest.mark.parametrize("archive", ["sample", "full_of_markup", "full"])
def test_every_row_is_there_and_is_what_the_metadata_says(archive, tmp_path, request):
    root, folder = request.getfixturevalue(archive), tmp_path / "tables"
    told = json.loads(run("export", "csv", folder, "-a", root, "--json").stdout)
    metadata = json.loads((folder / "csv-metadata.json").read_text(encoding="utf-8"))
    assert metadata["@context"][0] == "http://www.w3.org/ns/csvw"
    by_url = {table["url"]: table for table in metadata["tables"]}
    files = {path.name for path in folder.iterdir()} - {"csv-metadata.json", "README.txt"}
    assert set(by_url) == files == set(told["rows"])
    held: dict[str, list[dict[str, str]]] = {}
    for url, table in by_url.items():
        head, *rows = read(folder / url)
        columns = table["tableSchema"]["columns"]
        assert [column["name"] for column in columns] == head
        assert len(rows) == told["rows"][url]
        assert all(column["dc:description"] for column in columns), url
        for row in rows:
            assert len(row) == len(head)
            for column, cell in zip(columns, row, strict=True):
                if cell == "":
                    assert not column.get("required"), (url, column)
                    continue
                match column["datatype"]:
                    case "integer":
                        int(cell)
                    case "number":
                        float(cell)
                    case "json":
                        json.loads(cell)
                    case "dateTime":
                        assert MOMENT.fullmatch(cell), (url, column, cell)
        held[url] = [dict(zip(head, row, strict=True)) for row in rows]
    for url, table in by_url.items():
        key = table["tableSchema"].get("primaryKey", [])
        if key:
            assert len({tuple(row[name] for name in key) for row in held[url]}) == len(held[url])
        for foreign in table["tableSchema"].get("foreignKeys", []):
            (column,), (named,) = foreign["columnReference"], foreign["reference"]["columnReference"]
            there = {row[named] for row in held[foreign["reference"]["resource"]]}
            assert {row[column] for row in held[url]} <= there
    with Catalogue.open(root / "negcat.db", readonly=True) as catalogue:
        for table in tables.tables_leaving(catalogue):
            rows = [tuple("" if value is None else str(value) for value in row)
                    for row in tables.rows_leaving(catalogue, table)]  # fmt: skip
            assert [tuple(row.values()) for row in held[f"{table.name}.csv"]] == rows
        assert len(held["sheets.csv"]) == len(catalogue.sheet_ids())
    read_me = (folder / "README.txt").read_text(encoding="utf-8")
    assert [url for url in by_url if f"{url}, {told['rows'][url]} row" not in read_me] == []


def test_no_table_is_forgotten(sample):
    with Catalogue.open(sample / "negcat.db", readonly=True) as catalogue:
        there = {
            name
            for (name,) in catalogue.tuples(
                "select name from sqlite_master where type in ('table', 'view') order by name"
            )
            if not name.startswith(("sqlite_", "_sqlite_")) and "_fts" not in name
        }
        leaving = {table.name for table in tables.tables_leaving(catalogue)}
    assert there == set(describe())
    assert leaving | set(tables.LEFT_OUT) == there
    assert not leaving & set(tables.LEFT_OUT)


@pytest.mark.parametrize("archive", ["sample", "full_of_markup", "scanned_twice", "full"])
def test_the_sheets_are_taken_again_as_they_are(archive, tmp_path, request, copy_tree):
    root = tmp_path / "own"
    copy_tree(request.getfixturevalue(archive), root)
    folder = tmp_path / "tables"
    run("export", "csv", folder, "-a", root)
    told = json.loads(run("record", folder / "sheets_record.csv", "-a", root, "--json").stdout)
    with Catalogue.open(root / "negcat.db", readonly=True) as catalogue:
        assert told["unchanged"] == {"sheets": len(catalogue.sheet_ids())}
    assert (told["added"], told["updated"]) == ({}, {})


def test_readings_of_any_number_and_role_are_taken_from_a_table(full, tmp_path):
    table = tmp_path / "notes.csv"
    table.write_text(
        "sheet,film,lens,cell,stop,time,reading_2_name,reading_2_role,reading_2_ev,reading_10_name,shadow_name,shadow_zone,"
        "reading_10_spot_x,reading_10_spot_y\n"
        "BW-09,Marl 400,Haldane,whole,22,1,wall,middle,11,sill,arch,III,0.25,0.5\n",
        encoding="utf-8",
    )
    run("record", table, "-a", full)
    with Catalogue.open(full / "negcat.db", readonly=True) as catalogue:
        sheet = catalogue.sheet("BW-09")
    assert isinstance(sheet, Sheet)
    assert [(one.name, one.role, one.ev) for one in sheet.readings] == [
        ("arch", "shadow", None), ("wall", "middle", 11), ("sill", "other", None),
    ]  # fmt: skip
    assert sheet.readings[2].spot is not None
    table.write_text(table.read_text(encoding="utf-8").replace(",11,", ",eleven,"), encoding="utf-8")
    assert "row 2, column reading_2_ev" in run("record", table, "-a", full, status=2).stderr
    table.write_text("sheet,reading_0_ev\nBW-09,1\n", encoding="utf-8")
    assert "unknown column 'reading_0_ev'" in run("record", table, "-a", full, status=2).stderr


def test_what_a_spreadsheet_takes_for_a_formula_is_kept_and_named(full, tmp_path):
    told = run("export", "csv", tmp_path / "tables", "-a", full)
    assert "sheets.csv: a spreadsheet could take 2 of its cells for formulas" in told.stderr
    (row,) = [row for row in read(tmp_path / "tables" / "sheets.csv") if row[0] == "BW-01"]
    assert "=1+1" in row
    assert "@ dusk" in row
    assert load_data({"films": [{"name": "=1+1", "box_speed": 1}]}).films[0].name == "=1+1"


def test_never_into_a_folder_that_holds_something(full, tmp_path):
    filled = tmp_path / "filled"
    filled.mkdir()
    (filled / "mine.txt").write_text("mine", encoding="utf-8")
    for wrong, why in (
        (filled, "holds something already"),
        (filled / "mine.txt", "is there already and no folder"),
        (tmp_path / "nowhere" / "tables", "there is no folder"),
        (full, "holds something already"),
    ):
        assert why in run("export", "csv", wrong, "-a", full, status=2).stderr
    assert [path.name for path in filled.iterdir()] == ["mine.txt"]
    assert {path.name for path in tmp_path.iterdir()} == {"filled", "full"}
    (tmp_path / "empty").mkdir()
    run("export", "csv", tmp_path / "empty", "-a", full)
    assert (tmp_path / "empty" / "sheets.csv").is_file()
