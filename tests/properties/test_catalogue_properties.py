"""Whatever is recorded comes back as it was, and is found exactly by what it says."""

import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from negcat.catalogue import Catalogue, Findings, Query
from negcat.catalogue.queries import full_text
from negcat.records import Records

names = st.text(st.characters(categories=("L", "N", "P", "S", "Zs")), min_size=1, max_size=12).filter(
    lambda text: text.strip() != ""
)
words = st.sampled_from(
    ["kiln", "Östra", "creek", "soot", "ÉTANG", "clay-pit", "n° 3", "ß", "İ", "O'Dell", '"', "%_"]
)
phrases = st.lists(words, min_size=1, max_size=3).map(" ".join)
fractions = st.floats(0, 1).map(repr)
spots = st.fixed_dictionaries({"x": fractions, "y": fractions}, optional={"diameter_mm": st.just("3.5")})
FILMS = ("Kiln 100", "Clinker 400")
CELLS = ("whole", "rear")
TAGS = ("N", "N+1", "N-1½")
VERDICTS = ("thin", "as planned", "thin, contrasty")


@st.composite
def readings(draw: Callable[..., Any]) -> list[dict[str, Any]]:
    found = []
    for place, name in enumerate(
        draw(st.lists(names, max_size=3, unique_by=lambda text: text.strip().casefold()))
    ):
        reading: dict[str, Any] = {"name": name, "role": "highlight"}
        if place == 0:
            reading |= {"role": "shadow", "zone": draw(st.sampled_from(["III½", "4", "3.5", "IV"]))}
        if draw(st.booleans()):
            reading["ev"] = repr(draw(st.floats(-5, 20)))
        if draw(st.booleans()):
            reading["spot"] = draw(spots)
        found.append(reading)
    return found


sheets = st.fixed_dictionaries(
    {
        "film": st.sampled_from(FILMS),
        "lens": st.just("Aldwater"),
        "cell": st.sampled_from(CELLS),
        "stop": st.sampled_from(["22", "f/22", "22½", "6.8", "45 2/3"]),
        "time": st.sampled_from(["1/15", "0.3", "1m30s", "2m", "4 s"]),
        "tag": st.sampled_from(TAGS),
        "readings": readings(),
    },
    optional={
        "place": phrases,
        "subject": phrases,
        "notes": phrases,
        "exposed_at": st.sampled_from(["2026-05-03", "2026-05-03 07:40", "2025-12-31T23:59:59Z"]),
        "bellows_mm": st.floats(5, 10_000).map(repr),
        "movements": st.just({"rear_tilt_deg": "-3"}),
        "base_fog_spot": spots,
        "indicated": st.just({"stop": "16½", "time": "1/8"}),
        "stop_scale": st.sampled_from(CELLS),
    },
)


@st.composite
def files(draw: Callable[..., Any]) -> Records:
    ids = draw(st.lists(st.sampled_from([f"BW-{number}" for number in range(12)]), max_size=6, unique=True))
    lists: dict[str, Any] = {
        "films": [{"name": name, "box_speed": "100"} for name in FILMS],
        "lenses": [
            {
                "name": "Aldwater",
                "cells": [
                    {"cell": "whole", "focal_mm": "180", "mounted": "whole"},
                    {"cell": "rear", "focal_mm": "310"},
                ],
            }
        ],
        "sheets": [{"sheet": name, **draw(sheets)} for name in ids],
    }
    if ids:
        developer = draw(st.sampled_from(["Metol", "Amidol"]))
        developed = draw(st.lists(st.sampled_from(ids), min_size=1, unique=True))
        lists["developments"] = [{"batch": "D-1", "developer": developer, "time": "9m", "sheets": developed}]
    return Records.model_validate(lists)


@contextmanager
def _fresh() -> Iterator[Catalogue]:
    with tempfile.TemporaryDirectory() as folder, Catalogue.create(Path(folder) / "negcat.db") as catalogue:
        yield catalogue


@settings(max_examples=40, deadline=None)
@given(st.lists(files(), min_size=1, max_size=3), st.data())
def test_records_come_back_and_search_stays_true(taken: list[Records], data: st.DataObject) -> None:
    with _fresh() as catalogue:
        last: dict[str, Any] = {}
        for file in taken:
            catalogue.take([file], "x")
            last |= {sheet.sheet: sheet for sheet in file.sheets}
            measured = [
                Findings(name, result={"verdict": data.draw(st.sampled_from(VERDICTS)), "why": []})
                for name in data.draw(st.sets(st.sampled_from(sorted(last))) if last else st.just(set()))
            ]
            catalogue.save_findings(*measured)
            again = catalogue.take([file], "x")
            assert not again.added
            assert not again.updated
        assert {sheet.sheet: sheet for sheet in catalogue.sheets()} == last
        # Every earlier state is in the history, and the last one is what is on record.
        for name, sheet in last.items():
            changes = catalogue.history("sheet", name)
            assert changes[0]["new"] == sheet.model_dump(mode="json", exclude_none=True)
            for newer, older in pairwise(changes):
                assert newer["old"] == older["new"]
        assert catalogue.faults() == []


@settings(max_examples=40, deadline=None)
@given(files(), st.data())
def test_filters_find_what_the_records_say(file: Records, data: st.DataObject) -> None:
    with _fresh() as catalogue:
        catalogue.take([file], "x")
        developed = {name: one.developer for one in file.developments for name in one.sheets}
        chosen = {
            "film": data.draw(st.none() | st.sampled_from(FILMS)),
            "cell": data.draw(st.none() | st.sampled_from(CELLS)),
            "tag": data.draw(st.none() | st.sampled_from(TAGS)),
            "developer": data.draw(st.none() | st.sampled_from(["METOL", "amidol"])),
            "place": data.draw(st.none() | st.sampled_from(["kil", "östra", "O'D", "%", "ck", "y-pit"])),
            "since": data.draw(st.none() | st.sampled_from(["2026", "2026-05-03"])),
            "until": data.draw(st.none() | st.sampled_from(["2026", "2026-05-03", "2025"])),
        }
        expected = [
            sheet.sheet
            for sheet in file.sheets
            if (chosen["film"] in (None, sheet.film))
            and chosen["cell"] in (None, sheet.cell)
            and chosen["tag"] in (None, sheet.tag.text)
            and (chosen["developer"] or "").casefold() in ("", developed.get(sheet.sheet, "-").casefold())
            and (chosen["place"] or "").casefold() in (sheet.place or "").casefold()
            and (sheet.exposed_at or "") >= (chosen["since"] or "")
            and (
                chosen["until"] is None
                or "" < (sheet.exposed_at or "")[: len(chosen["until"])] <= chosen["until"]
            )
        ]
        page = catalogue.find(Query(**chosen, limit=2))
        found = [row["sheet"] for row in page.rows]
        while page.after:
            page = catalogue.find(Query(**chosen, limit=2, after=page.after))
            found += [row["sheet"] for row in page.rows]
        assert sorted(found) == sorted(expected)
        assert page.count == len(expected)
        together = catalogue.counts(Query(**chosen))
        assert sum(number for _, number in together["tag"]) == catalogue.count(
            Query(**{**chosen, "tag": None})
        )


@pytest.fixture(scope="module")
def one_sheet() -> Iterator[Catalogue]:
    sheet = {"sheet": "BW-1", "film": "F", "lens": "L", "stop": "22", "time": "1", "place": "Östra kiln"}
    lists = {
        "films": [{"name": "F", "box_speed": "100"}],
        "lenses": [{"name": "L", "cells": [{"cell": "whole", "focal_mm": "180"}]}],
        "sheets": [sheet],
    }
    with _fresh() as catalogue:
        catalogue.take([Records.model_validate(lists)], "x")
        yield catalogue


@settings(max_examples=200, deadline=None)
@given(text=st.text(max_size=40))
def test_any_text_may_be_searched_for(one_sheet: Catalogue, text: str) -> None:
    page = one_sheet.find(Query(text=text))
    assert page.count == len(page.rows) <= 1
    assert one_sheet.find(Query(place=text)).count <= 1
    if full_text(text) is None and text.strip():
        assert page.count == 0
