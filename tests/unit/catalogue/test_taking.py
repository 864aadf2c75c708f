"""Records go in and come back as they were; the same again changes nothing; what changed is kept."""

import json

import pytest

from negcat.catalogue import Catalogue, bulk, taking
from negcat.errors import ArchiveError
from negcat.sensitometry import BUILT_IN_TARGETS
from tests.unit.catalogue.conftest import RECORDS, records, sheet

KINDS = list(RECORDS)


@pytest.mark.parametrize("kind", KINDS)
def test_records_come_back_as_they_were(catalogue: Catalogue, kind: str) -> None:
    taken = list(getattr(records(**RECORDS), kind))
    back = [found for found in catalogue.records(kind) if found in taken or kind != "print_targets"]
    assert back == taken
    assert [found.model_dump(mode="json") for found in back] == [one.model_dump(mode="json") for one in taken]


def test_marked_text_stands_beside_the_exact_value(catalogue: Catalogue) -> None:
    row = catalogue.row("select stop, f_number, time, time_s, tag, tag_n from sheets where sheet = 'BW-01'")
    assert row == {
        "stop": "22½",
        "f_number": pytest.approx(26.909, abs=0.001),
        "time": "1/4",
        "time_s": 0.25,
        "tag": "N+1",
        "tag_n": 1.0,
    }


def test_the_same_again_changes_nothing(catalogue: Catalogue) -> None:
    before = list(catalogue.database.conn.iterdump())
    again = catalogue.take([records(**RECORDS)], "again")
    assert (again.added, again.updated, again.changed_sheets) == ({}, {}, set())
    assert again.unchanged == {kind: len(found) for kind, found in RECORDS.items()}
    assert list(catalogue.database.conn.iterdump()) == before


def test_a_change_keeps_what_was(catalogue: Catalogue) -> None:
    changed = sheet(2, stop="45", readings=[{"name": "plank", "role": "shadow", "zone": "IV"}])
    taken = catalogue.take([records(sheets=[changed])], "notes.yaml")
    assert taken.updated == {"sheets": 1}
    assert taken.changed_sheets == {"BW-02"}
    newest, first = catalogue.history("sheet", "BW-02")
    assert (newest["via"], newest["old"]["stop"], newest["new"]["stop"]) == ("notes.yaml", "32", "45")
    assert "readings" not in newest["old"] or newest["old"]["readings"] == []
    assert newest["new"]["readings"][0]["name"] == "plank"
    assert (first["via"], first["old"], first["new"]["stop"]) == ("a test", None, "32")
    # What history says is a record file's content: taken again, it brings the old state back.
    catalogue.take([records(sheets=[newest["old"]])], "back")
    assert catalogue.sheet("BW-02") == records(**RECORDS).sheets[1]
    assert len(catalogue.history("sheets", "BW-02")) == 3


@pytest.mark.parametrize(
    ("lists", "touched"),
    [
        ({"films": [{"name": "Clinker 400", "box_speed": "320"}]}, {"BW-03", "BW-04"}),
        ({"shutters": [{"name": "No. 3", "measured": {"1/15": "0.08"}}]}, {"BW-01", "BW-02", "BW-04"}),
        (
            {"lenses": [{"name": "Brinmoor 90", "cells": [{"cell": "whole", "focal_mm": "91"}]}]},
            {"BW-03"},
        ),
        (
            {"print_targets": [{"name": "salt", "densities": {"I": "0.2", "V": "1.0", "IX": "2.0"}}]},
            {"BW-03"},
        ),
        (
            {
                "print_targets": [
                    {"name": "silver, diffusion", "densities": {"I": "0.2", "V": "1.0", "IX": "2"}}
                ]
            },
            {"BW-01", "BW-02", "BW-04"},
        ),
        (
            {"developments": [{"batch": "D-02", "developer": "Metol", "time": "7m", "sheets": ["BW-04"]}]},
            {"BW-03", "BW-04"},
        ),
        ({"scanners": [{"name": "the flatbed", "make": "Ovenby & Sons"}]}, set()),
    ],
)
def test_a_changed_record_touches_the_sheets_that_rest_on_it(
    catalogue: Catalogue, lists: dict[str, list[object]], touched: set[str]
) -> None:
    catalogue.database.execute("delete from out_of_date")
    assert catalogue.take([records(**lists)], "x").changed_sheets == touched
    assert set(catalogue.out_of_date()) == touched


def test_the_later_file_counts(empty: Catalogue) -> None:
    first = {**RECORDS["films"][0], "lot": "1"}
    second = {**RECORDS["films"][0], "lot": "2"}
    for _ in range(2):
        taken = empty.take([records(films=[first]), records(films=[second])], "x")
        film = empty.film("Kiln 100")
        assert film is not None
        assert film.lot == "2"
    assert taken.unchanged == {"films": 1}


def test_sheets_stay_in_the_files_order(empty: Catalogue) -> None:
    shuffled = {**RECORDS, "sheets": [RECORDS["sheets"][place] for place in (2, 0, 3, 1)]}
    empty.take([records(**shuffled)], "x")
    assert empty.sheet_ids() == ["BW-03", "BW-01", "BW-04", "BW-02"]
    development = empty.development("D-01")
    assert development is not None
    assert development.sheets == ("BW-02", "BW-01")


def test_what_is_refused_changes_nothing(catalogue: Catalogue) -> None:
    before = list(catalogue.database.conn.iterdump())
    lens = {**RECORDS["lenses"][0], "cells": RECORDS["lenses"][0]["cells"][:1]}
    with pytest.raises(ArchiveError, match=r"Aldwater 180.*'rear'.*BW-01, BW-04"):
        catalogue.take([records(films=[{"name": "New", "box_speed": "50"}], lenses=[lens])], "x")
    with pytest.raises(ArchiveError, match=r"BW-09.*refers to 'None such'.*films"):
        catalogue.take([records(sheets=[sheet(2, sheet="BW-09", film="None such")])], "x")
    assert list(catalogue.database.conn.iterdump()) == before


def test_built_in_targets_are_records_with_their_sources(empty: Catalogue) -> None:
    for name, (curve, source) in BUILT_IN_TARGETS.items():
        target = empty.print_target(name)
        assert target is not None
        assert empty.print_target_source(name) == source
        points = {zone.value: density for zone, density in target.densities.items()}
        assert points == dict(zip(curve.zones, curve.densities, strict=True))
    changed = {"name": "long-scale", "densities": {"I": "0.1", "V": "0.9", "VIII": "1.8"}}
    empty.take([records(print_targets=[changed])], "x")
    assert empty.print_target_source("long-scale") is None


def test_many_at_once_are_found_like_few(empty: Catalogue, monkeypatch: pytest.MonkeyPatch) -> None:
    empty.take([records(**RECORDS)], "few")
    few = (
        empty.tuples("select * from sheet_search order by sheet"),
        empty.tuples("select * from sheet_counts order by 1, 2, 3, 4, 5"),
    )
    empty.close()
    monkeypatch.setattr(bulk, "FROM", 2)
    monkeypatch.setattr(taking, "_AT_ONCE", 3)
    path = empty.path.with_name("many.db")
    with Catalogue.create(path) as many:
        schema = many.tuples("select name, sql from sqlite_master order by name")
        many.take([records(**RECORDS)], "many")
        assert many.tuples("select name, sql from sqlite_master order by name") == schema
        assert (
            many.tuples("select * from sheet_search order by sheet"),
            many.tuples("select * from sheet_counts order by 1, 2, 3, 4, 5"),
        ) == few
        assert many.faults() == []
        # Triggers are back: the next change is found.
        many.take([records(sheets=[sheet(4, place="Moss wall")])], "x")
        assert many.faults() == []


def test_names_known_and_nearest(catalogue: Catalogue) -> None:
    known = catalogue.known_names()
    assert known.films == {"Kiln 100", "Clinker 400"}
    assert known.sheets == {"BW-01", "BW-02", "BW-03", "BW-04"}
    assert known.lenses["Aldwater 180"].cells[1].cell == "rear"
    assert known.developed == {"BW-01": "D-01", "BW-02": "D-01", "BW-03": "D-02"}
    assert known.cells_in_use["Aldwater 180"] == {"rear", "whole"}
    assert known.cells_in_use["Brinmoor 90"] == {None}
    assert {*BUILT_IN_TARGETS, "salt"} == known.print_targets
    assert known.tablets == {"tablet 21": 5}
    assert catalogue.nearest("film", "kiln100") == ["Kiln 100"]
    assert catalogue.nearest("sheets", "BW-05")[0].startswith("BW-0")
    assert catalogue.nearest("lenses", "zzz") == []
    assert catalogue.sheet_id("bw-01") == "BW-01"
    assert catalogue.sheet_id("bw-1") is None


def test_a_sheet_in_two_batches_counts_with_the_later(catalogue: Catalogue) -> None:
    late = {"batch": "D-09", "date": "2026-07-01", "developer": "Amidol", "time": "5m", "sheets": ["BW-01"]}
    catalogue.take([records(developments=[late])], "x")
    assert [one.batch for one in catalogue.developments_of("BW-01")] == ["D-09", "D-01"]
    development = catalogue.development_of("BW-01")
    assert development is not None
    assert development.batch == "D-09"
    assert catalogue.value("select batch from sheet_search where sheet = 'BW-01'") == "D-09"


def test_history_is_plain_json(catalogue: Catalogue) -> None:
    catalogue.take([records(films=[{"name": "Kiln 100", "box_speed": "80"}])], "x")
    old, new = catalogue.tuples("select old, new from history")[0]
    assert json.loads(old)["exposure_index"] == 64
    assert json.loads(new) == {"name": "Kiln 100", "box_speed": 80.0, "channel": "grey"}
