"""What a page asks of a large archive begins at an index, and doesn't cost more for more sheets."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest

from negcat.catalogue import OFTEN_ASKED, Findings, Query
from negcat.catalogue.tallying import made_anew
from negcat.records import Records
from negcat.work.archive import Archive
from negcat.work.batch_story import batch_story
from negcat.work.film_story import film_story
from negcat.work.lens_story import lens_story
from negcat.work.show import dossier

FILTERS = {
    "cell": "REAR",
    "lens": "aldwater 195",
    "tag": "N+1",
    "film": "marl 400",
    "developer": "metol",
    "batch": "D-001",
    "place": "kiln 7",
    "since": "2026-05-03",
    "until": "2026-05-03",
    "verdict": "thin",
    "suits": "LONG-scale",
    "text": "soot",
}
PAIRS = [
    {"cell": "rear", "tag": "N+1"},
    {"text": "soot", "film": "Marl 400"},
    {"place": "ki", "since": "2026"},
    {"suits": "long-scale", "cell": "rear"},
]


def build(root: Path, count: int) -> Archive:
    lists: dict[str, Any] = {
        "films": [{"name": "Marl 400", "box_speed": "400"}, {"name": "Sorrel 100", "box_speed": "100"}],
        "lenses": [
            {
                "name": "Aldwater 195",
                "cells": [
                    {"cell": name, "focal_mm": "195", "mounted": name if name == "whole" else None}
                    for name in ("whole", "rear", "front")
                ],
            }
        ],
        "sheets": [
            {
                "sheet": f"S-{number}",
                "film": ("Marl 400", "Sorrel 100")[number % 2],
                "lens": "Aldwater 195",
                "cell": ("whole", "rear", "front")[number % 3],
                "stop": "22",
                "time": "1",
                "tag": ("N", "N+1", "N-1", "N+2")[number % 4],
                "place": f"North kiln {number % 50}",
                "subject": "soot" if number % 5 else "brick",
                "exposed_at": f"2026-{1 + number % 12:02d}-{1 + number % 28:02d}",
                "readings": [{"name": "door", "role": "shadow", "ev": "9", "zone": "IV"}],
            }
            for number in range(count)
        ],
        "developments": [
            {
                "batch": f"D-{number:03d}",
                "date": f"{2000 + number // 28}-06-{1 + number % 28:02d}",
                "developer": ("Metol", "Amidol")[number % 2],
                "time": "9m",
                "sheets": [f"S-{number * 10 + place}" for place in range(10)],
            }
            for number in range(count // 10)
        ],
    }
    archive = Archive.create(root)
    catalogue = archive.catalogue
    catalogue.take([Records.model_validate(lists)], "a test")
    with catalogue.writing() as database:
        catalogue.save_findings(
            *(
                Findings(
                    f"S-{number}",
                    exposure={"marked_stop": "22"},
                    readings=[
                        {"name": "door", "density": 0.4, "given_zone": 4.0, "net_density": 0.3, "sd": 0.01}
                    ],
                    result={
                        "verdict": ("thin", "as planned", "dense")[number % 3],
                        "why": [],
                        "residual_stops": number % 7 / 10,
                        "found_n": 0.1,
                        "found_n_density_sd": 0.2,
                        "printing_range": 0.8 + number % 11 / 10,
                    },
                )
                for number in range(count)
            )
        )
        database.conn.executemany(
            "insert into scans (scan, taken_order, sha256, path, size_bytes, modified_ns, width, height, bits,"
            " added_at, sheet, mode) values (?, ?, ?, ?, 1, 1, 1200, 1500, 16, '2026-07-01T10:00:00Z', ?, 'grey')",
            (
                (f"{number:012x}", number + 10, f"{number:064x}", f"{number}.tif", f"S-{number}")
                for number in range(count - count // 10)
            ),
        )
    return archive


@pytest.fixture(scope="module", params=["analysed", "not analysed"])
def many(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Archive]:
    with build(tmp_path_factory.mktemp("many") / "archive", 2000) as archive:
        if request.param == "analysed":
            archive.catalogue.database.analyze()
            with pytest.MonkeyPatch.context() as patched, archive.catalogue.writing() as database:
                patched.setattr("negcat.catalogue.tallying.FROM", 1)
                made_anew(database.conn)
        yield archive


@pytest.fixture(scope="module")
def more(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Archive]:
    """Four times as many."""
    with build(tmp_path_factory.mktemp("more") / "archive", 8000) as archive:
        archive.catalogue.database.analyze()
        yield archive


def asked(**chosen: Any) -> Callable[[Archive], Any]:
    return lambda archive: archive.catalogue.find_with_choices(Query(**chosen, limit=48))


PAGES: dict[str, Callable[[Archive], Any]] = {
    **{f"wall, {name}": asked(**{name: value}) for name, value in FILTERS.items()},
    **{f"wall, {' and '.join(pair)}": asked(**pair) for pair in PAIRS},
    **{f"wall by {sort}": asked(sort=sort) for sort in ("newest", "oldest", "sheet", "place", "verdict")},
    **{f"wall by {sort}, filtered": asked(sort=sort, cell="rear", tag="N+1") for sort in ("newest", "place")},
    "sheet": lambda archive: dossier(archive, "S-777"),
    "lens": lambda archive: lens_story(archive, "Aldwater 195"),
    "film": lambda archive: film_story(archive, "Marl 400"),
    "batch": lambda archive: batch_story(archive, "D-010"),
}
FOUND: dict[str, Callable[[Archive], Any]] = {
    f"found, {name}": lambda archive, asked_for=(name, value): archive.catalogue.find(
        Query(**dict([asked_for]))
    )
    for name, value in FILTERS.items()
}
"""What the command line asks, which holds nothing in memory."""
SMALL = {"sheet_counts", "films", "lenses", "cells", "shutters", "places", "print_targets", "dated_changes"}
"""Tables that don't grow with the sheets, and what is counted of them."""


@pytest.mark.parametrize("page", [*PAGES, *FOUND])
def test_every_statement_of_a_page_begins_at_an_index(many: Archive, page: str) -> None:
    ask = (PAGES | FOUND)[page]
    ask(many)  # what is held in memory is read once
    _begins_at_an_index(many, ask)


@pytest.mark.parametrize("sort", ["newest", "oldest", "sheet", "verdict", "place"])
def test_two_filters_together_begin_at_an_index_in_any_order(many: Archive, sort: Any) -> None:
    for pair in combinations([*FILTERS.items(), ("stage", "to scan")], 2):
        first = Query(**dict(pair), sort=sort, limit=3)
        for query in (first, replace(first, after=many.catalogue.find(first).after)):
            _begins_at_an_index(many, lambda one, query=query: one.catalogue.find(query))


def _begins_at_an_index(many: Archive, ask: Callable[[Archive], Any]) -> None:
    statements: list[str] = []
    connection = many.catalogue.database.conn
    connection.set_trace_callback(statements.append)
    try:
        ask(many)
    finally:
        connection.set_trace_callback(None)
    asked_for = [sql for sql in statements if sql.lower().startswith(("select", "with"))]
    assert len(asked_for) >= 2, statements
    for sql in asked_for:
        for (step,) in ((row[3],) for row in connection.execute(f"explain query plan {sql}")):
            if not step.startswith("SCAN ") or "VIRTUAL TABLE" in step:
                continue
            table = step.split()[1]
            # A page that was chosen is read whole; a walk along an index ends with the page.
            along = " USING " in step and " limit " in sql
            assert table in SMALL or table == "p" or along, f"{step} in {sql[:200]}"


@pytest.mark.parametrize("page", PAGES)
def test_a_page_asks_no_more_of_four_times_as_many_sheets(many: Archive, more: Archive, page: str) -> None:
    """Count SQLite's steps, which is no time and so the same on every machine."""
    steps = {}
    for archive in (many, more):
        PAGES[page](archive)
        taken = 0

        def step() -> int:
            nonlocal taken
            taken += 1
            return 0

        archive.catalogue.database.conn.set_progress_handler(step, 20)
        try:
            PAGES[page](archive)
        finally:
            archive.catalogue.database.conn.set_progress_handler(None, 20)
        steps[archive] = 20 * taken
    # To name all rows that hold a word, or the batches of a film, takes a few steps for each of them.
    each = 12 if "text" in page or page == "film" else 0
    assert steps[more] <= 1.5 * steps[many] + 400 + each * 6000, steps.values()


def test_masters_unchecked_longest_are_read_along_an_index(many: Archive) -> None:
    (sql,) = (one.sql for one in OFTEN_ASKED if one.name == "masters_unchecked_longest")
    plan = [row[3] for row in many.catalogue.database.conn.execute(f"explain query plan {sql}")]
    assert plan == ["SCAN c USING INDEX idx_scans_checked"]


def test_the_view_of_readings_is_counted_along_an_index(many: Archive) -> None:
    sql = "explain query plan select count(*) from (select * from readings_planned_given_found)"
    plan = [row[3] for row in many.catalogue.database.conn.execute(sql)]
    assert len(plan) == 1
    assert "COVERING INDEX" in plan[0]
