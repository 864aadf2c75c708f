"""A sheet leaves all tables and comes back into all of them; history and removed sheets are read in bulk."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from negcat.catalogue import Catalogue, Findings
from negcat.errors import UnknownNameError
from negcat.records import Records
from tests.unit.catalogue.conftest import scan

FILM = {"name": "Marl 400", "box_speed": 400}


def sheet(name: str, **fields: Any) -> dict[str, Any]:
    readings = [{"name": "soot", "role": "shadow", "ev": 9, "zone": "III"}, {"name": "sky", "ev": 14}]
    plain = {"film": "Marl 400", "lens": "Brinmoor 90", "stop": "22½", "time": "1/4", "readings": readings}
    return {"sheet": name, **plain, **fields}


@pytest.fixture
def three(tmp_path: Path) -> Iterator[Catalogue]:
    """Three sheets, two of them in a batch."""
    records = {
        "films": [FILM],
        "lenses": [{"name": "Brinmoor 90", "cells": [{"cell": "whole", "focal_mm": 90}]}],
        "sheets": [sheet(f"BW-0{number}") for number in (1, 2, 3)],
        "developments": [{"batch": "D-1", "developer": "Slip", "time": "9m", "sheets": ["BW-01", "BW-02"]}],
    }
    with Catalogue.create(tmp_path / "negcat.db") as catalogue:
        catalogue.take([Records.model_validate(records)], "record first.yaml")
        yield catalogue


def rows_of(catalogue: Catalogue, table: str) -> list[tuple[Any, ...]]:
    return catalogue.tuples(f"select rowid, * from {table} order by rowid")


def test_whatever_speaks_of_a_sheet_goes_with_it_or_is_a_scan(three: Catalogue) -> None:
    """A table that refers to sheets in another way would keep a sheet from being removed, or lose something."""
    references = three.tuples(
        'select t.name, f."table", f.on_delete from sqlite_master t join pragma_foreign_key_list(t.name) f'
        " where t.type = 'table'"
    )
    children: dict[str, set[str]] = {}
    for table, parent, on_delete in references:
        if on_delete == "CASCADE":
            children.setdefault(parent, set()).add(table)
    hanging, waiting = set(), ["sheets"]
    while waiting:
        new = children.get(waiting.pop(), set()) - hanging
        hanging |= new
        waiting += new
    other = {
        (table, parent)
        for table, parent, on_delete in references
        if parent in hanging | {"sheets"} and on_delete != "CASCADE"
    }
    assert other == {("scans", "sheets")}


def test_a_table_of_the_future_is_carried_along(three: Catalogue) -> None:
    database = three.database
    database.execute(
        "create table strips (print integer references prints(id) on delete cascade, seconds real)"
    )
    database.execute(
        "create table prints (id integer primary key, sheet text references sheets(sheet) on delete cascade)"
    )
    database.execute("insert into prints values (4, 'BW-01'), (7, 'BW-02')")
    database.execute("insert into strips values (4, 12.5), (7, 3.0), (4, 25.0)")
    before = [rows_of(three, table) for table in ("prints", "strips", "sheets", "readings", "sheet_search")]
    three.remove_sheet("BW-01", "remove")
    assert rows_of(three, "prints") == [(7, 7, "BW-02")]
    assert rows_of(three, "strips") == [(2, 7, 3.0)]
    three.put_back_sheet("BW-01", "remove --undo")
    assert [
        rows_of(three, table) for table in ("prints", "strips", "sheets", "readings", "sheet_search")
    ] == before


def test_a_place_that_was_taken_meanwhile_stays_the_other_ones(three: Catalogue) -> None:
    last = three.value("select max(id) from sheet_search")
    three.remove_sheet("BW-03", "remove")
    three.take([Records.model_validate({"sheets": [sheet("BW-04")]})], "record second.yaml")
    assert three.value("select id from sheet_search where sheet = 'BW-04'") == last
    three.put_back_sheet("BW-03", "remove --undo")
    assert three.sheet_ids() == ["BW-01", "BW-02", "BW-04", "BW-03"]
    assert three.value("select id from sheet_search where sheet = 'BW-03'") > last
    assert three.faults() == []


def test_what_was_found_comes_back_unless_something_was_changed(three: Catalogue) -> None:
    three.save_scan(scan("a"))
    three.join_scan("a" * 12, "BW-01", joined_by="by hand")
    three.save_findings(Findings("BW-01", result={"verdict": "thin", "why": []}))
    three.save_findings(Findings("BW-02"), Findings("BW-03"))
    three.remove_sheet("BW-01", "remove")
    back = three.put_back_sheet("BW-01", "remove --undo")
    assert (back.unchanged, back.scans) == (True, ("a" * 12,))
    assert three.out_of_date() == []
    found = three.findings("BW-01")
    assert found is not None
    assert found.result is not None
    assert found.result["verdict"] == "thin"
    three.remove_sheet("BW-01", "remove")
    film = {**FILM, "exposure_index": 320}
    three.take([Records.model_validate({"films": [film]})], "record film.yaml")
    three.save_findings(Findings("BW-02"), Findings("BW-03"))
    assert not three.put_back_sheet("BW-01", "remove --undo").unchanged
    assert three.out_of_date() == ["BW-01"]


def test_what_is_not_there_is_neither_removed_nor_brought_back(three: Catalogue) -> None:
    with pytest.raises(UnknownNameError):
        three.remove_sheet("BW-09", "remove")
    with pytest.raises(UnknownNameError):
        three.put_back_sheet("BW-01", "remove --undo")


def test_ids_of_removed_sheets_are_taken_and_known(three: Catalogue) -> None:
    three.remove_sheet("BW-01", "remove")
    assert three.has_sheet("bw-01")
    assert three.sheet_id("BW-01") is None
    known = three.known_names()
    assert (known.removed, known.sheets) == ({"BW-01"}, {"BW-02", "BW-03"})
    found = three.removed_sheet("bw-01")
    assert found is not None
    assert (found["sheet"], found["removed_via"]) == ("BW-01", "remove")
    assert found["record"]["sheet"] == "BW-01"


def test_all_history_and_all_removed_sheets_are_read_in_bulk(three: Catalogue) -> None:
    three.take([Records.model_validate({"sheets": [sheet("BW-02", stop="16")]})], "record second.yaml")
    three.remove_sheet("BW-01", "remove")
    told = [(one["kind"], one["name"], one["via"]) for one in three.all_history()]
    assert told == [
        ("sheets", "BW-02", "record second.yaml"),
        ("sheets", "BW-01", "remove"),
        ("developments", "D-1", "remove"),
    ]
    removed = list(three.all_history())[1]
    assert (removed["old"]["sheet"], removed["new"]) == ("BW-01", None)
    taken = {(kind, name): via for kind, name, _, via in three.taken_in()}
    assert taken["sheets", "BW-02"] == "record first.yaml"
    assert ("sheets", "BW-01") not in taken
    (whole,) = three.removed_whole()
    assert whole["record"] == removed["old"]
    (row,) = whole["tables"]["sheets"]
    assert (row["sheet"], row["recorded_via"]) == ("BW-01", "record first.yaml")
    assert json.loads(json.dumps(whole)) == whole
