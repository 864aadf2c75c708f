"""New sheets are computed while they are taken, to the same as whoever computes them afterwards."""

from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from negcat.catalogue import Findings, bulk, taking
from negcat.records import Sheet
from negcat.work.archive import Archive
from negcat.work.catching_up import catch_up
from negcat.work.new_sheets import FindingsOfNew
from negcat.work.taking import take_record_data
from tests.unit.catalogue.conftest import RECORDS, records, scan, sheet

MORE = [
    sheet(1, sheet="EW-1", filter="yellow", filter_factor="2", bellows_mm="340", exposure_index="50"),
    sheet(1, sheet="EW-2", cell="front", filter="green", exposed_at=None),
    sheet(2, sheet="EW-3", bellows_mm="6", readings=[{"name": "soot", "role": "shadow", "zone": "III"}]),
    sheet(3, sheet="EW-4", readings=[{"name": "mud", "ev": "9", "zone": "IV", "placed": "yes"}]),
]
CHANGE = {
    "film": "Kiln 100",
    "field": "exposure_index",
    "before": 64,
    "after": 50,
    "effective_from": "2026-05-03",
    "accepted_at": "2026-06-20T10:00:00Z",
}
ALL = {**RECORDS, "sheets": [*RECORDS["sheets"], *MORE]}


@pytest.fixture
def archive(tmp_path: Path) -> Iterator[Archive]:
    with Archive.create(tmp_path / "archive") as made:
        yield made


def found(archive: Archive) -> dict[str, Findings | None]:
    return {name: archive.catalogue.findings(name) for name in archive.catalogue.sheet_ids()}


@pytest.mark.parametrize("many", [False, True])
def test_findings_are_those_computed_afterwards(
    archive: Archive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, many: bool
) -> None:
    with Archive.create(tmp_path / "other") as other:
        other.catalogue.take([records(**ALL)], "a test")
        catch_up(other, "a test")
        wanted, searched = found(other), other.catalogue.tuples("select * from sheet_search order by sheet")
    if many:
        monkeypatch.setattr(bulk, "FROM", 2)
        monkeypatch.setattr(taking, "_AT_ONCE", 3)
    taken = archive.catalogue.take([records(**ALL)], "a test", FindingsOfNew(archive.catalogue))
    assert archive.catalogue.out_of_date() == []
    assert taken.added["sheets"] == len(wanted) == 8
    assert found(archive) == wanted
    assert all(one is not None and one.exposure for one in wanted.values())
    assert archive.catalogue.tuples("select * from sheet_search order by sheet") == searched
    assert archive.catalogue.faults() == []


def test_what_is_there_is_changed_along_with_many_new(
    archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    take_record_data(archive, RECORDS, via="first")
    monkeypatch.setattr(bulk, "FROM", 2)
    readings = [{"name": "chalk", "role": "shadow", "ev": "8", "zone": "IV"}]
    changed = [sheet(2, readings=readings), *MORE, sheet(4)]
    outcome = take_record_data(archive, {"sheets": changed}, via="second")
    assert (outcome.added, outcome.updated, outcome.unchanged) == (
        {"sheets": 4},
        {"sheets": 1},
        {"sheets": 1},
    )
    assert archive.catalogue.faults() == []
    assert archive.catalogue.out_of_date() == []
    assert archive.catalogue.value("select reading_names from sheet_search where sheet = 'BW-02'") == "chalk"
    findings = archive.catalogue.findings("BW-02")
    assert findings is not None
    assert findings.readings[0]["planned_zone"] == 4
    assert archive.catalogue.history("sheet", "BW-02")[0]["via"] == "second"


def test_a_stopped_run_leaves_a_mark_while_scans_wait(archive: Archive) -> None:
    take_record_data(archive, RECORDS, via="first")
    archive.catalogue.save_scan(scan("a", path="scans/EW-3.tif"))
    # Stopped before anything follows what was taken.
    archive.catalogue.take([records(sheets=MORE)], "second", FindingsOfNew(archive.catalogue))
    assert len(archive.catalogue.out_of_date()) == 1
    assert catch_up(archive, "third").joined == [("EW-3", "a" * 12)]


def test_what_cannot_be_computed_stays_marked(archive: Archive) -> None:
    def all_but_one(sheets: Sequence[Sheet], at: str) -> Iterator[Findings]:
        yield from FindingsOfNew(archive.catalogue)(sheets[1:], at)

    archive.catalogue.take([records(**ALL)], "a test", all_but_one)
    assert archive.catalogue.out_of_date() == ["BW-01"]


def test_a_change_accepted_in_the_same_files_is_heeded(archive: Archive, tmp_path: Path) -> None:
    both = {**ALL, "dated_changes": [CHANGE]}
    take_record_data(archive, both, via="at once")
    with Archive.create(tmp_path / "other") as other:
        take_record_data(other, {**both, "sheets": [], "developments": []}, via="first")
        later = {"sheets": both["sheets"], "developments": both["developments"]}
        take_record_data(other, later, via="then")
        assert {name: one.exposure for name, one in found(archive).items() if one} == {
            name: one.exposure for name, one in found(other).items() if one
        }
