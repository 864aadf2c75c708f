"""What is held in memory says what the records say, whatever was written, changed or removed, by whomever."""

from __future__ import annotations

import re
import tempfile
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from negcat.catalogue import Catalogue, Findings, Memory, Query, bulk
from negcat.catalogue.columns import CHOICES, OUTCOMES, SEARCHED
from negcat.records import Records
from negcat.sensitometry import BUILT_IN_TARGETS, TargetCurve

FILMS = ("Marl 400", "Sorrel 100")
LENSES = {"Aldwater 195": ("whole", "front", "rear"), "Tressick 150": ("whole",)}
TAGS = ("N", "N+1", "N-1½")
DEVELOPERS = ("Metol", "Amidol")
PLACES = ("North kiln", "Clay pit", "Tidal creek 7", "kiln yard", "")
WORDS = ("kiln", "mouth", "soot", "creek", "brick", "ki")
DATES = ("", "2024-01-02", "2024-05-06", "2025-12-31T23:59:59Z", "2026-05-03", "2026-05-03T07:40")
VERDICTS = ("thin", "as planned", "unsure", "thin, contrasty")
BATCHES = ("D-1", "D-2", "d-3")
IDS = [f"BW-{number:02d}" for number in range(60)]

EQUIPMENT: dict[str, Any] = {
    "films": [{"name": name, "box_speed": name.split()[1]} for name in FILMS],
    "lenses": [
        {"name": lens, "cells": [{"cell": cell, "focal_mm": "195"} | ({"mounted": "whole"} if cell == "whole" else {})
                                 for cell in cells]}
        for lens, cells in LENSES.items()
    ],
}  # fmt: skip


@st.composite
def sheet_of(draw: Any, name: str) -> dict[str, Any]:
    """Draw a field record."""
    lens = draw(st.sampled_from(list(LENSES)))
    record = {
        "sheet": name,
        "film": draw(st.sampled_from(FILMS)),
        "lens": lens,
        "stop": draw(st.sampled_from(["22", "f/22", "32"])),
        "time": "1",
        "tag": draw(st.sampled_from(TAGS)),
        "place": draw(st.sampled_from(PLACES)),
        "subject": " ".join(draw(st.lists(st.sampled_from(WORDS), max_size=3))),
        "exposed_at": draw(st.sampled_from(DATES)),
    }
    if len(LENSES[lens]) > 1:
        record["cell"] = draw(st.sampled_from(LENSES[lens]))
    return {field: value for field, value in record.items() if value}


class Archive:
    """A catalogue being written to, and the same kept in plain Python."""

    def __init__(self, folder: Path) -> None:
        self.catalogue = Catalogue.create(folder / "negcat.db")
        self.sheets: dict[str, dict[str, Any]] = {}
        self.order: list[str] = []
        self.batches: dict[str, tuple[str, list[str]]] = {}
        self.verdicts: dict[str, str] = {}
        self.residuals: dict[str, float | None] = {}
        self.ranges: dict[str, float | None] = {}
        self.targets = {name: curve for name, (curve, _) in BUILT_IN_TARGETS.items()}
        self.take(**EQUIPMENT)
        self.want("salted paper", 1.6)

    def take(self, **lists: Any) -> None:
        self.catalogue.take([Records.model_validate(lists)], "a test")

    def record(self, *records: dict[str, Any]) -> None:
        self.take(sheets=list(records))
        for record in records:
            if record["sheet"] not in self.sheets:
                self.order.append(record["sheet"])
            self.sheets[record["sheet"]] = record

    def develop(self, batch: str, developer: str, sheets: list[str]) -> None:
        self.take(developments=[{"batch": batch, "developer": developer, "time": "9m", "sheets": sheets}])
        self.batches[batch] = (developer, sheets)

    def want(self, target: str, highlight: float) -> None:
        """Record a print target, or edit it."""
        densities = {"I": 0.1, "II": 0.2, "V": 0.8, "VIII": highlight}
        self.take(print_targets=[{"name": target, "densities": densities}])
        self.targets[target] = TargetCurve(target, (1.0, 2.0, 5.0, 8.0), tuple(densities.values()))

    def judge(
        self, sheet: str, verdict: str | None, residual: float | None, range_: float | None = None
    ) -> None:
        result = None
        if verdict is not None:
            result = {"verdict": verdict, "why": [], "residual_stops": residual, "printing_range": range_}
        self.catalogue.save_findings(Findings(sheet, result=result))
        for known in (self.verdicts, self.residuals, self.ranges):
            known.pop(sheet, None)
        if verdict is not None:
            self.verdicts[sheet], self.residuals[sheet], self.ranges[sheet] = verdict, residual, range_

    def edges(self) -> list[float]:
        """List the ranges that still suit a target."""
        wanted = [curve.density(8.0) - curve.density(2.0) for curve in self.targets.values()]
        return [edge for one in wanted for edge in (one / (7 / 6.5), one * (7 / 6.5))]

    def suits(self, sheet: str, target: str) -> bool:
        """Tell whether a sheet's range is within half an N of what a target wants."""
        curve, range_ = self.targets[target], self.ranges.get(sheet)
        wanted = curve.density(8.0) - curve.density(2.0)
        return range_ is not None and wanted / (7 / 6.5) <= range_ <= wanted * (7 / 6.5)

    def remove(self, sheet: str) -> None:
        self.catalogue.database.execute("delete from sheets where sheet = ?", [sheet])
        del self.sheets[sheet]
        self.order.remove(sheet)
        for known in (self.verdicts, self.residuals, self.ranges):
            known.pop(sheet, None)
        self.batches = {
            batch: (developer, [name for name in sheets if name != sheet])
            for batch, (developer, sheets) in self.batches.items()
        }

    def facts(self, sheet: str) -> dict[str, str]:
        """Say what a sheet is found by."""
        record = self.sheets[sheet]
        # Of batches without a date the one recorded last counts.
        batch = next((name for name in reversed(self.batches) if sheet in self.batches[name][1]), "")
        return {
            "film": record["film"],
            "lens": record["lens"],
            "cell": record.get("cell", "whole"),
            "tag": record["tag"],
            "developer": self.batches[batch][0] if batch else "",
            "batch": batch,
            "place": record.get("place", ""),
            "exposed_at": record.get("exposed_at", ""),
            "verdict": self.verdicts.get(sheet, "not measured"),
            "stage": "to scan" if batch else "to develop",
            "subject": record.get("subject", ""),
        }

    def fits(self, sheet: str, name: str, asked: str) -> bool:
        """Tell whether a sheet fits one filter."""
        facts = self.facts(sheet)
        if name == "text":
            said = " ".join(
                [sheet, *(facts[field] for field in ("place", "subject", "developer", "lens", "film"))]
            )
            words = re.findall(r"[a-z0-9]+", said.casefold())
            return all(any(word.startswith(part.casefold()) for word in words) for part in asked.split())
        if name == "since":
            return facts["exposed_at"] >= asked
        if name == "until":
            return "" < facts["exposed_at"] <= asked + "~"
        if name == "place":
            return asked.casefold() in facts["place"].casefold()
        if name == "suits":
            return self.suits(sheet, asked.casefold())
        return facts[name].casefold() == asked.casefold()

    def fitting(self, chosen: dict[str, str]) -> list[str]:
        return [name for name in self.order if all(self.fits(name, *one) for one in chosen.items())]

    def counts(self, chosen: dict[str, str]) -> dict[str, dict[str, int]]:
        """Count the values of every filter, given the others."""
        others = self.fitting({key: asked for key, asked in chosen.items() if key != "suits"})
        suits = {target: sum(self.suits(name, target) for name in others) for target in self.targets}
        return {"suits": {target: sheets for target, sheets in suits.items() if sheets}} | {
            column: {
                value: number
                for value, number in Counter(
                    self.facts(name)[column]
                    for name in self.fitting({key: asked for key, asked in chosen.items() if key != column})
                ).items()
                if value
            }
            for column in CHOICES
        }

    def sorted(self, sheets: list[str], sort: str) -> list[str]:
        """Put sheets in an order; equal ones as they were recorded."""
        if sort in ("newest", "oldest"):
            ordered = sorted(
                sheets, key=lambda name: (self.facts(name)["exposed_at"], self.order.index(name))
            )
            return ordered[::-1] if sort == "newest" else ordered
        if sort == "sheet":
            return sorted(sheets)
        return sorted(
            sheets,
            key=lambda name: (self.facts(name)[sort], self.facts(name)["exposed_at"], self.order.index(name)),
        )


QUESTIONS = st.fixed_dictionaries(
    {},
    optional={
        "text": st.sampled_from(["kiln", "ki", "kiln soot", "marl", "BW", "brick", "nowhere"]),
        "film": st.sampled_from([*FILMS, "marl 400", "None such"]),
        "lens": st.sampled_from(list(LENSES)),
        "cell": st.sampled_from(["whole", "REAR", "front"]),
        "tag": st.sampled_from(TAGS),
        "developer": st.sampled_from([*DEVELOPERS, "metol"]),
        "batch": st.sampled_from([*BATCHES, "D-9"]),
        "verdict": st.sampled_from([*VERDICTS, "not measured"]),
        "stage": st.sampled_from(["to develop", "to scan", "measured"]),
        "place": st.sampled_from(["kiln", "ki", "pit", "creek 7", "x"]),
        "suits": st.sampled_from(["long-scale", "Salted Paper", "silver contact"]),
        "since": st.sampled_from(["2024", "2026-05-03", "2027"]),
        "until": st.sampled_from(["2024", "2025-12", "2026-05-03", "2023"]),
    },
)


@contextmanager
def _kept(archive: Archive) -> Iterator[Catalogue]:
    """Open the archive as a page does, and keep it open."""
    with Catalogue.open(archive.catalogue.path, readonly=True) as kept:
        yield kept


def _change(archive: Archive, data: st.DataObject) -> None:
    """Change something, drawn at random."""
    known = st.sampled_from(sorted(archive.sheets))
    kind = data.draw(
        st.sampled_from(["record", "record", "develop", "judge", "judge", "remove", "bulk", "want"])
    )
    if kind == "record":
        archive.record(data.draw(sheet_of(data.draw(st.sampled_from(IDS)))))
    elif kind == "bulk":
        names = data.draw(st.lists(st.sampled_from(IDS), min_size=1, max_size=12, unique=True))
        archive.record(*(data.draw(sheet_of(name)) for name in names))
    elif archive.sheets and kind == "develop":
        sheets = data.draw(st.lists(known, min_size=1, max_size=4, unique=True))
        archive.develop(data.draw(st.sampled_from(BATCHES)), data.draw(st.sampled_from(DEVELOPERS)), sheets)
    elif archive.sheets and kind == "judge":
        residual = data.draw(st.none() | st.floats(-2, 2))
        # Ranges that lie on the very edge of what suits, too.
        range_ = data.draw(st.none() | st.floats(0.9, 1.7) | st.sampled_from(archive.edges()))
        archive.judge(data.draw(known), data.draw(st.none() | st.sampled_from(VERDICTS)), residual, range_)
    elif kind == "want":
        archive.want("salted paper", data.draw(st.sampled_from([1.3, 1.4, 1.6, 1.7])))
    elif len(archive.sheets) > 1 and kind == "remove":
        archive.remove(data.draw(known))


def _sets(catalogue: Catalogue) -> list[dict[int, tuple[Any, ...]]]:
    """Write out all that a catalogue holds in memory, sheet by sheet."""
    written = []
    for layout in (SEARCHED, OUTCOMES):
        columns = catalogue.columns(layout)
        parts = [np.array(column.words, object)[column.numbers] for column in columns.words.values()]
        parts += [np.array([str(value) for value in values]) for values in columns.arrays.values()]
        rows = zip(*parts, strict=True)
        written.append(
            {
                int(number): row
                for number, there, row in zip(columns.ids, columns.there, rows, strict=True)
                if there
            }
        )
    return written


@settings(max_examples=30, deadline=None)
@given(st.data())
def test_counts_pages_and_sums_are_those_of_the_records(data: st.DataObject) -> None:
    with tempfile.TemporaryDirectory() as folder:
        archive = Archive(Path(folder))
        # Enough that a few changed ones are read anew, not all.
        archive.record(*(data.draw(sheet_of(name)) for name in IDS[:24]))
        with _kept(archive) as kept, archive.catalogue:
            for _ in range(data.draw(st.integers(1, 8))):
                kept.columns(OUTCOMES)  # so that later only the changed ones are read anew
                _change(archive, data)
                chosen = data.draw(QUESTIONS)
                sort = data.draw(st.sampled_from(["newest", "oldest", "sheet", "place", "verdict"]))
                query = Query(**chosen, sort=sort, limit=5, offset=data.draw(st.integers(0, 7)))
                page, choices = kept.find_with_choices(query)
                fitting = archive.fitting(chosen)
                assert page.count == len(fitting)
                ordered = archive.sorted(fitting, sort)[query.offset :][:5]
                assert [row["sheet"] for row in page.rows] == ordered
                assert {name: dict(counted) for name, counted in choices.items()} == archive.counts(chosen)
                # The same without what is held in memory.
                found = kept.find(query)
                assert (found.count, found.rows) == (page.count, page.rows)
                for row in page.rows:
                    assert row["printing_range"] == archive.ranges.get(row["sheet"])
                    suits = [target for target in archive.targets if archive.suits(row["sheet"], target)]
                    assert sorted(row["suits"]) == sorted(suits)
            with _kept(archive) as fresh:
                assert _sets(kept) == _sets(fresh)
            residuals = kept.columns(OUTCOMES)
            known = np.isfinite(residuals.arrays["residual_stops"]) & residuals.there
            assert sorted(residuals.arrays["residual_stops"][known].tolist()) == sorted(
                one for one in archive.residuals.values() if one is not None
            )
            assert archive.catalogue.faults() == []


@pytest.fixture
def archive(tmp_path: Path) -> Iterator[Archive]:
    made = Archive(tmp_path)
    made.record(
        *(
            {"sheet": name, "film": FILMS[place % 2], "lens": "Tressick 150", "stop": "22", "time": "1", "tag": "N",
             "place": "Clay pit", "exposed_at": f"2026-05-{1 + place % 28:02d}"}
            for place, name in enumerate(IDS)
        )
    )  # fmt: skip
    with made.catalogue:
        yield made


def test_only_what_changed_is_read_anew(archive: Archive) -> None:
    with _kept(archive) as kept:
        assert kept.find_with_choices(Query(place="quay"))[0].count == 0
        statements: list[str] = []
        kept.database.conn.set_trace_callback(statements.append)
        kept.find_with_choices(Query(place="quay"))
        assert not [sql for sql in statements if "from sheet_search k" in sql and "json_each" not in sql]
        archive.record({**archive.sheets["BW-07"], "place": "Old quay"})
        statements.clear()
        assert [row["sheet"] for row in kept.find_with_choices(Query(place="quay"))[0].rows] == ["BW-07"]
        read = [sql for sql in statements if "from sheet_search k" in sql and "json_each" not in sql]
        assert len(read) == 1
        assert "sheet_changes where change >" in read[0]


def test_what_is_taken_back_is_never_counted(archive: Archive) -> None:
    """A number that a change had, and that is given anew after it was taken back, means the later change."""
    memory = Memory()
    archive.catalogue.remember_in(memory)
    with _kept(archive) as kept:
        kept.remember_in(memory)
        assert kept.counts(Query())["place"] == [("Clay pit", 60)]

        def take_and_fail() -> None:
            with archive.catalogue.writing():
                archive.take(sheets=[{**archive.sheets["BW-07"], "place": "Old quay"}])
                assert archive.catalogue.counts(Query())["place"] == [("Clay pit", 59), ("Old quay", 1)]
                assert kept.counts(Query())["place"] == [("Clay pit", 60)]
                raise ZeroDivisionError

        with pytest.raises(ZeroDivisionError):
            take_and_fail()
        assert archive.catalogue.counts(Query())["place"] == [("Clay pit", 60)]
        archive.record({**archive.sheets["BW-08"], "place": "Tramway"})
        assert kept.counts(Query())["place"] == [("Clay pit", 59), ("Tramway", 1)]


def test_one_who_began_to_read_earlier_sees_what_was_then(archive: Archive) -> None:
    memory = Memory()
    with _kept(archive) as early, _kept(archive) as late:
        for one in (early, late):
            one.remember_in(memory)
        with early.at_once():
            assert early.count(Query(place="quay")) == 0
            archive.record({**archive.sheets["BW-07"], "place": "Old quay"})
            assert late.find_with_choices(Query(place="quay"))[0].count == 1
            page, choices = early.find_with_choices(Query(place="quay"))
            assert (page.count, page.rows, choices["place"]) == (0, [], [("Clay pit", 60)])
        assert early.find_with_choices(Query(place="quay"))[0].count == 1


def test_nothing_is_written_while_one_state_is_read(archive: Archive) -> None:
    with archive.catalogue.at_once(), pytest.raises(RuntimeError), archive.catalogue.writing():
        pass
    assert archive.catalogue.count(Query()) == 60


def test_sheets_that_come_at_once_are_held(archive: Archive, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bulk, "FROM", 5)
    with _kept(archive) as kept:
        assert kept.counts(Query())["film"] == [("Marl 400", 30), ("Sorrel 100", 30)]
        archive.record(*({**archive.sheets["BW-00"], "sheet": f"CW-{number}"} for number in range(200)))
        assert kept.counts(Query())["film"] == [("Marl 400", 230), ("Sorrel 100", 30)]
        assert archive.catalogue.value("select count(*) from sheet_changes") == 260
        archive.record({**archive.sheets["BW-01"], "sheet": "DW-1"})
        assert kept.counts(Query())["film"] == [("Marl 400", 230), ("Sorrel 100", 31)]


def test_of_many_batches_those_with_most_sheets_are_given(archive: Archive) -> None:
    for number, size in enumerate((3, 1, 2, 1, 1)):
        archive.develop(f"E-{number}", "Metol", IDS[10 * number :][:size])
    counted = archive.catalogue.counts(Query(), most=3)["batch"]
    assert counted == [("E-0", 3), ("E-1", 1), ("E-2", 2)]


def test_a_catalogue_without_sheets(tmp_path: Path) -> None:
    with Catalogue.create(tmp_path / "negcat.db") as catalogue:
        page, choices = catalogue.find_with_choices(Query(text="kiln", film="Marl 400", since="2026"))
        assert (page.count, page.rows) == (0, [])
        assert set(choices) == {*CHOICES, "suits"}
        assert not any(choices.values())
        assert len(catalogue.outcomes("film", "Marl 400")) == 0
        assert catalogue.newest_readings_of_film("Marl 400", 40) == []


def test_a_target_that_is_edited_suits_others_at_once(archive: Archive) -> None:
    archive.judge("BW-07", "thin", 0.1, 1.3)
    archive.judge("BW-08", "thin", 0.1, 1.5)
    archive.judge("BW-09", "unsure", None)
    archive.want("salted paper", 1.5)
    with _kept(archive) as kept:
        asked = Query(suits="salted paper", verdict="thin")
        page, choices = kept.find_with_choices(asked)
        assert [row["sheet"] for row in page.rows] == ["BW-07"]
        assert ("salted paper", 1) in choices["suits"]
        waiting = kept.out_of_date()
        archive.want("salted paper", 1.7)
        page, choices = kept.find_with_choices(asked)
        assert (
            [row["sheet"] for row in page.rows]
            == [row["sheet"] for row in kept.find(asked).rows]
            == ["BW-08"]
        )
        assert kept.counts(Query())["suits"] == [("long-scale", 1), ("salted paper", 1)]
        assert kept.out_of_date() == waiting


def test_a_sheet_renamed_by_sql_keeps_its_range(archive: Archive) -> None:
    archive.judge("BW-07", "thin", 0.1, 1.5)
    archive.catalogue.database.execute("update sheets set sheet = 'EW-1' where sheet = 'BW-07'")
    assert [row["sheet"] for row in archive.catalogue.find(Query(suits="long-scale")).rows] == ["EW-1"]
    assert archive.catalogue.faults() == []


def test_a_range_that_is_not_what_the_result_says_is_a_fault(archive: Archive) -> None:
    archive.judge("BW-07", "thin", 0.1, 1.5)
    assert archive.catalogue.faults() == []
    archive.catalogue.database.execute("update sheet_search set printing_range = 1.2 where sheet = 'BW-07'")
    assert len(archive.catalogue.faults()) == 1


def test_results_that_are_there_before_their_sheets_are_found_by_their_range(archive: Archive) -> None:
    catalogue = archive.catalogue
    with catalogue.writing():
        result = {"verdict": "thin", "why": [], "printing_range": 1.5}
        catalogue.save_findings(Findings("EW-1", result=result))
        archive.take(sheets=[{**archive.sheets["BW-00"], "sheet": "EW-1"}])
    assert [row["sheet"] for row in catalogue.find(Query(suits="long-scale")).rows] == ["EW-1"]
    assert catalogue.counts(Query())["suits"] == [("long-scale", 1), ("salted paper", 1)]
