"""What the tallies answer is what the tables say, whoever wrote last."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from negcat.catalogue import Catalogue, Query, tallied, tallying
from tests.unit.test_catalogue_plans import build

ASKED: dict[str, tuple[str, ...]] = {
    "cell": ("whole", "REAR"),
    "film": ("Marl 400", "sorrel 100"),
    "tag": ("N", "N+1", "N+2"),
    "developer": ("metol",),
    "batch": ("D-003",),
    "place": ("North kiln 7", "kiln 1", "ki", "nowhere"),
    "since": ("2026-05", "2026-07-09", "2031", "1990"),
    "until": ("2026-05", "2026-07-09", "1990"),
    "verdict": ("thin", "not measured"),
    "stage": ("to scan", "to measure", "measured"),
    "suits": ("long-scale", "silver contact"),
    "text": ("soot", "ki", "kiln", "so bri", "S-12", "7", "ald marl", "Övne", "zinc"),
}
SORTS: tuple[Any, ...] = ("newest", "oldest", "sheet", "verdict", "place")


@pytest.fixture
def many(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Catalogue]:
    for name, value in {"FROM": 100, "CHANGES": 50, "PART": 64, "_FREQUENT": 6}.items():
        monkeypatch.setattr(tallying, name, value)
    monkeypatch.setattr(tallied, "PART", 64)
    monkeypatch.setattr(tallied, "_NEAREST", 2)
    monkeypatch.setattr("negcat.catalogue.frequent_words._SAMPLE", 100)
    monkeypatch.setattr("negcat.catalogue.finding._LOOKED_UP", 20)
    with build(tmp_path / "archive", 500) as archive:
        yield archive.catalogue


def assert_alike(catalogue: Catalogue, seed: int) -> None:
    """Ask for single filters and pairs, in all orders, page by page, with the tallies and without."""
    chance = random.Random(seed)
    conditions = catalogue.conditions(Query(film="marl 400", tag="N"))
    assert catalogue.marked(conditions) is not None
    for number in range(90):
        names = chance.sample(sorted(ASKED), 1 + number % 3)
        query = Query(
            **{name: chance.choice(ASKED[name]) for name in names}, sort=chance.choice(SORTS), limit=9
        )
        for _ in range(3):
            found = catalogue.find(query, with_suits=False)
            choices = catalogue.find_with_choices(query) if "text" in names else None
            with pytest.MonkeyPatch.context() as without:
                without.setattr(catalogue, "marked", lambda _: None)
                assert catalogue.find(query, with_suits=False) == found, query
                assert choices is None or catalogue.find_with_choices(query) == choices, query
            if found.after is None:
                break
            query = replace(query, after=found.after)


def _as_of(catalogue: Catalogue) -> Any:
    return catalogue.value("select json_extract(meaning, '$.change') from sheet_tallies where name = 'as of'")


def test_tallies_find_and_count_what_the_tables_hold(many: Catalogue) -> None:
    assert many.faults() == []
    assert_alike(many, 1)


def test_what_any_program_has_changed_since_is_found_as_it_is(many: Catalogue) -> None:
    before = _as_of(many)
    for sql in (
        "update sheets set film = 'Sorrel 100', exposed_at = null, place = 'Övne' where sheet like 'S-1_'",
        "update sheets set subject = 'soothing', exposed_at = '2031-01-01' where sheet like 'S-30_'",
        "update results set verdict = 'flat', printing_range = 0.3 where sheet like 'S-2_'",
        "delete from sheets where sheet in ('S-460', 'S-499')",
    ):
        many.connection.execute(sql)
    assert _as_of(many) == before
    assert_alike(many, 2)

    with many.writing() as database:
        database.execute("update sheets set tag = 'N+2', tag_n = 2 where sheet like 'S-45_'")
        database.execute(
            "insert into sheets (sheet, film, lens, stop, f_number, time, time_s, tag, tag_n, meter_iso, subject)"
            " select 'S-9' || sheet, film, lens, stop, f_number, time, time_s, tag, tag_n, meter_iso, 'kite' from"
            " sheets where sheet between 'S-21' and 'S-24'"
        )
    assert _as_of(many) == many.value("select max(change) from sheet_changes") > before
    assert many.value("select json_extract(meaning, '$.last') from sheet_tallies where name = 'as of'") == 500
    assert many.faults() == []
    assert_alike(many, 3)


def test_a_tally_that_is_wrong_is_a_fault(many: Catalogue) -> None:
    many.connection.execute(
        "update sheet_tally_bytes set bytes = zeroblob(64) where name = 'film' and part = 2"
    )
    assert many.faults() == ["the tallies don't fit the records in 64 places"]


def test_tallies_are_of_no_use_where_changes_are_numbered_anew(many: Catalogue) -> None:
    many.connection.execute("delete from sheet_changes")
    many.connection.execute("insert into sheet_changes (id, change) select id, id from sheet_search")
    many.connection.execute("update sheets set tag = 'N-2', tag_n = -2 where sheet = 'S-7'")
    assert [
        row["sheet"] for row in many.find(Query(tag="N-2", film="sorrel 100"), with_suits=False).rows
    ] == ["S-7"]
    assert many.marked(many.conditions(Query())) is None
    with many.writing():
        pass
    assert many.faults() == []
    assert_alike(many, 4)
