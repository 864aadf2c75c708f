"""Finding sheets: every filter, counts, pages, and the index behind each."""

from collections.abc import Iterator
from typing import Any

import pytest

from negcat.catalogue import Catalogue, Findings, Query
from negcat.errors import NotationError
from tests.unit.catalogue.conftest import records, scan, sheet


def ids(catalogue: Catalogue, **query: Any) -> list[str]:
    page = catalogue.find(Query(**query))
    assert page.count == len(page.rows)
    return [row["sheet"] for row in page.rows]


ALL = ["BW-03", "BW-02", "BW-01", "BW-04"]


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ({}, ALL),
        ({"cell": "rear"}, ["BW-01", "BW-04"]),
        ({"cell": "REAR", "tag": "n + 1"}, ["BW-01", "BW-04"]),
        ({"cell": "rear", "film": "kiln 100"}, ["BW-01"]),
        ({"cell": "whole"}, ["BW-03", "BW-02"]),
        ({"lens": "brinmoor 90"}, ["BW-03"]),
        ({"tag": "N−1 1/2"}, ["BW-03"]),
        ({"tag": "N"}, ["BW-02"]),
        ({"developer": "METOL"}, ["BW-03"]),
        ({"batch": "d-01"}, ["BW-02", "BW-01"]),
        ({"batch": "D-01", "cell": "rear"}, ["BW-01"]),
        ({"place": "östra"}, ["BW-02", "BW-01"]),
        ({"place": "ÖSTRA TEGEL"}, ["BW-02", "BW-01"]),
        ({"place": "ugn"}, ["BW-01"]),
        ({"place": "Ö"}, ["BW-02", "BW-01"]),
        ({"place": "N"}, ["BW-01"]),
        ({"place": "%"}, []),
        ({"place": 'a"b'}, []),
        ({"since": "2026-05-04"}, ["BW-03"]),
        ({"until": "2026-05-03"}, ["BW-02", "BW-01"]),
        ({"until": "2026-05-03 07:40"}, ["BW-01"]),
        ({"since": "2026-05-03", "until": "2026-06-11"}, ["BW-03", "BW-02", "BW-01"]),
        ({"since": "2026-05-03T08:00", "until": "2026-05"}, ["BW-02"]),
        ({"verdict": "Thin"}, ["BW-02"]),
        ({"verdict": "not measured"}, ["BW-03", "BW-01", "BW-04"]),
        ({"stage": "to develop"}, ["BW-04"]),
        ({"text": "kiln"}, ["BW-02", "BW-01"]),
        ({"text": "kil mou"}, ["BW-01"]),
        ({"text": "SOOT"}, ["BW-01"]),
        ({"text": "ostra"}, ["BW-02", "BW-01"]),
        ({"text": "metol"}, ["BW-03"]),
        ({"text": "aldwater mist"}, ["BW-01"]),
        ({"text": "bw-0"}, ALL),
        ({"text": "BW-03"}, ["BW-03"]),
        ({"text": 'kiln" OR "creek'}, []),
        ({"text": "NOT kiln"}, []),
        ({"text": "subject:kiln"}, []),
        ({"text": "** -"}, []),
        ({"text": "'; drop table sheets; --"}, []),
        ({"text": "  ", "film": ""}, ALL),
        ({"film": "No such"}, []),
        ({"film": "Kiln 100", "cell": "front"}, []),
    ],
)
def test_filters(catalogue: Catalogue, query: dict[str, str], found: list[str]) -> None:
    catalogue.save_findings(Findings("BW-02", result={"verdict": "thin", "why": []}))
    assert ids(catalogue, **query) == found


@pytest.mark.parametrize(
    "query",
    [
        {"tag": "N+99"},
        {"since": "spring"},
        {"until": "2026-13-1"},
        {"sort": "colour"},
        {"limit": -1},
        {"offset": -1},
        {"after": "!"},
        {"after": "W10"},
        {"after": "WyJuZXdlc3QiLHt9LDFd"},
    ],
)
def test_what_cant_be_read_says_so(catalogue: Catalogue, query: dict[str, Any]) -> None:
    with pytest.raises(NotationError, match=r";|understood"):
        catalogue.find(Query(**query))


def test_rows_say_what_is_shown(catalogue: Catalogue) -> None:
    catalogue.save_scan(scan("a"))
    catalogue.join_scan("a" * 12, "BW-01", joined_by="by hand")
    (row,) = catalogue.find(Query(text="soot")).rows
    assert row == {
        "sheet": "BW-01",
        "film": "Kiln 100",
        "lens": "Aldwater 180",
        "cell": "rear",
        "tag": "N+1",
        "developer": "pyrocatechin",
        "batch": "D-01",
        "exposed_at": "2026-05-03T07:40",
        "place": "Östra tegelbruket, ugn 3",
        "subject": "Kiln mouth",
        "verdict": "not measured",
        "stage": "to measure",
        "stop": "22½",
        "time": "1/4",
        "format": "4x5",
        "exposure_error_stops": None,
        "exposure_error_sd": None,
        "found_n": None,
        "found_n_sd": None,
        "printing_range": None,
        "suits": [],
        "scan": "a" * 12,
        "width": 1200,
        "height": 1500,
    }
    undeveloped = catalogue.find(Query(text="BW-04")).rows[0]
    assert (undeveloped["developer"], undeveloped["batch"], undeveloped["exposed_at"]) == (None, None, None)


@pytest.mark.parametrize("sort", ["newest", "oldest", "sheet", "verdict", "place"])
@pytest.mark.parametrize("query", [{}, {"film": "Clinker 400"}, {"text": "aldwater"}])
def test_pages_join_without_gap_or_double(catalogue: Catalogue, sort: Any, query: dict[str, str]) -> None:
    catalogue.save_findings(Findings("BW-02", result={"verdict": "thin", "why": []}))
    whole = catalogue.find(Query(sort=sort, limit=None, **query))
    assert whole.after is None
    pages: list[dict[str, Any]] = []
    after = None
    while True:
        page = catalogue.find(Query(sort=sort, limit=1, after=after, **query))
        assert page.count == whole.count
        pages += page.rows
        after = page.after
        if after is None:
            break
    assert pages == whole.rows
    by_offset = [
        catalogue.find(Query(sort=sort, limit=1, offset=at, **query)).rows[0] for at in range(whole.count)
    ]
    assert by_offset == whole.rows


def test_orders(catalogue: Catalogue) -> None:
    assert ids(catalogue, sort="sheet") == sorted(ALL)
    assert ids(catalogue, sort="oldest") == ["BW-04", "BW-01", "BW-02", "BW-03"]
    assert ids(catalogue, sort="place") == ["BW-04", "BW-03", "BW-02", "BW-01"]


def test_counts_beside_each_filter(catalogue: Catalogue) -> None:
    counts = catalogue.counts(Query(cell="rear"))
    assert counts["cell"] == [("rear", 2), ("whole", 2)], "its own choice doesn't narrow a filter"
    assert counts["film"] == [("Clinker 400", 1), ("Kiln 100", 1)]
    assert counts["tag"] == [("N+1", 2)]
    assert counts["developer"] == [("pyrocatechin", 1)]
    assert counts["batch"] == [("D-01", 1)]
    assert counts["place"] == [("Clay pit", 1), ("Östra tegelbruket, ugn 3", 1)]
    everything = catalogue.counts(Query())
    assert [tag for tag, _ in everything["tag"]] == ["N-1½", "N", "N+1"]
    assert catalogue.counts(Query(text="kiln", cell="rear"))["cell"] == [("rear", 1), ("whole", 1)]
    assert catalogue.counts(Query(), most=1)["place"][0][1] == 1


def test_every_count_is_what_its_filter_finds(catalogue: Catalogue) -> None:
    catalogue.save_findings(Findings("BW-02", result={"verdict": "thin", "why": []}))
    for given in ({}, {"cell": "rear"}, {"text": "kiln"}, {"film": "Kiln 100", "since": "2026"}):
        for name, values in catalogue.counts(Query(**given)).items():
            for value, number in values:
                rows = catalogue.find(Query(**{**given, name: value})).rows
                # A place is found by any part of it, and counted as a whole.
                assert sum(1 for row in rows if row[name] == value) == number, (given, name, value)
                assert len(rows) == number or name == "place"


def test_search_follows_every_change(catalogue: Catalogue) -> None:
    first = sheet(1, place="Moss wall", film="Clinker 400", readings=None, indicated=None)
    catalogue.take([records(sheets=[first])], "x")
    assert ids(catalogue, text="soot") == []
    assert ids(catalogue, text="östra") == ["BW-02"]
    assert ids(catalogue, place="ugn") == []
    assert ids(catalogue, text="moss clinker") == ["BW-01"]
    renewed = sheet(1, place="Moss wall", readings=[{"name": "lichen", "role": "shadow", "zone": "IV"}])
    catalogue.take([records(sheets=[renewed])], "x")
    assert ids(catalogue, text="lichen") == ["BW-01"]
    only_reading = {**renewed, "readings": [{"name": "rust", "role": "shadow", "zone": "IV"}]}
    catalogue.take([records(sheets=[only_reading])], "x")
    assert (ids(catalogue, text="lichen"), ids(catalogue, text="rust")) == ([], ["BW-01"])
    batch = {"batch": "D-03", "developer": "Amidol", "time": "8m", "sheets": ["BW-04"]}
    catalogue.take([records(developments=[batch])], "x")
    assert ids(catalogue, text="amidol") == ids(catalogue, developer="Amidol") == ["BW-04"]
    catalogue.take([records(developments=[{**batch, "developer": "Glycin"}])], "x")
    assert (ids(catalogue, text="amidol"), ids(catalogue, text="glycin")) == ([], ["BW-04"])
    two_cells = {
        "name": "Brinmoor 90",
        "cells": [
            {"cell": "whole", "focal_mm": "90", "mounted": "whole"},
            {"cell": "rear", "focal_mm": "150"},
        ],
    }
    catalogue.take([records(lenses=[two_cells])], "x")
    assert ids(catalogue, cell="whole") == ["BW-02"], "which of the two BW-03 was made with isn't said"
    # A rename by plain SQL takes every mention along.
    catalogue.database.execute("update lenses set name = 'Aldwater No. 1' where name = 'Aldwater 180'")
    assert (
        ids(catalogue, text="aldwater no")
        == ids(catalogue, lens="aldwater no. 1")
        == ["BW-02", "BW-01", "BW-04"]
    )
    catalogue.database.execute("delete from sheets where sheet = 'BW-02'")
    assert ids(catalogue, text="drying") == []
    assert catalogue.faults() == []
    assert catalogue.tuples("select place, sheets from places order by place") == [
        ("Clay pit", 1),
        ("Moss wall", 1),
        ("The tidal creek", 1),
    ]


def test_neighbours(catalogue: Catalogue) -> None:
    assert catalogue.neighbours("BW-02") == {"previous": "BW-01", "next": "BW-03", "batch_sheets": ["BW-01"]}
    assert catalogue.neighbours("BW-01")["previous"] is None
    assert catalogue.neighbours("BW-04") == {"previous": None, "next": None, "batch_sheets": []}
    assert catalogue.neighbours("none") == {"previous": None, "next": None, "batch_sheets": []}


FILTERS = {
    "cell": "rear",
    "lens": "Aldwater 180",
    "tag": "N+1",
    "film": "Kiln 100",
    "developer": "Metol",
    "batch": "D-01",
    "place": "östra",
    "since": "2026-05-03",
    "until": "2026-05-03",
    "verdict": "not measured",
    "stage": "to scan",
    "text": "kiln",
}


@pytest.fixture(scope="module", params=["analysed", "not analysed"])
def many(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Catalogue]:
    """Enough sheets, with and without figures about them, for the planner to see no use in all of them."""
    lists: dict[str, Any] = {
        "films": [{"name": "Kiln 100", "box_speed": "100"}, {"name": "Clinker 400", "box_speed": "400"}],
        "lenses": [
            {
                "name": "Aldwater 180",
                "cells": [
                    {"cell": name, "focal_mm": "180", "mounted": name if name == "whole" else None}
                    for name in ("whole", "rear", "front")
                ],
            }
        ],
        "sheets": [
            {
                "sheet": f"S-{number}",
                "film": ("Kiln 100", "Clinker 400")[number % 2],
                "lens": "Aldwater 180",
                "cell": ("whole", "rear", "front")[number % 3],
                "stop": "22",
                "time": "1",
                "tag": ("N", "N+1", "N-1", "N+2")[number % 4],
                "place": f"Östra {number % 50}",
                "exposed_at": f"2026-{1 + number % 12:02d}-{1 + number % 28:02d}",
            }
            for number in range(2000)
        ],
        "developments": [
            {
                "batch": f"D-{number:02d}",
                "developer": ("Metol", "Amidol")[number % 2],
                "time": "9m",
                "sheets": [f"S-{number * 10 + place}" for place in range(10)],
            }
            for number in range(150)
        ],
    }
    with Catalogue.create(tmp_path_factory.mktemp("many") / "negcat.db") as catalogue:
        catalogue.take([records(**lists)], "x")
        if request.param == "analysed":
            catalogue.database.analyze()
        yield catalogue


@pytest.mark.parametrize("sort", ["newest", "sheet", "place"])
@pytest.mark.parametrize("name", FILTERS)
def test_every_filter_goes_by_an_index(many: Catalogue, name: str, sort: Any) -> None:
    query = Query(**{name: FILTERS[name]}, sort=sort)
    conditions = many.conditions(query)
    page, parameters = many._page_sql(query, conditions)
    statements = [(page, parameters)]
    if not conditions.counted:
        statements.append((f"select count(*) from sheet_search{conditions.where}", conditions.parameters))
    for sql, given in statements:
        plan = [row["detail"] for row in many.rows(f"explain query plan {sql}", given)]
        # A walk along an index in the order wanted ends with the page; a walk over all sheets doesn't.
        whole = [step for step in plan if step == "SCAN sheet_search"]
        assert not whole, plan
        assert any(" sheet_search USING " in step for step in plan), plan
    assert many.find(query).count > 0


def test_counts_of_choices_never_go_through_the_sheets(many: Catalogue) -> None:
    for chosen in ("cell", "lens", "tag", "film", "developer", "verdict", "stage"):
        assert many.conditions(Query(**{chosen: FILTERS[chosen]})).counted
    assert many.value("select count(*) from sheet_counts") < 100
    assert many.count(Query(cell="rear", tag="N+1")) == sum(
        1 for number in range(2000) if number % 3 == 1 and number % 4 == 1
    )
