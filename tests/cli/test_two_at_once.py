"""Two commands at once wait for each other, or say so; neither undoes what the other did."""

import json
import sqlite3
from collections import Counter
from pathlib import Path

import pytest

from negcat.catalogue import connection
from negcat.work import on_scan, scanned
from negcat.work.archive import Archive
from negcat.work.ingest import ingest_scans
from negcat.work.match import match_scan
from negcat.work.measure import SpotChange, measure_sheet
from negcat.work.taking import take_record_data
from tests.cli.conftest import Bench
from tests.simulation.killing import begin

AGAIN = """\
sheets:
  - {sheet: BW-02, film: Brickdust 100, format: 4x5, lens: Aldwater, cell: rear, stop: 22, time: 1/4, tag: N+1,
     exposed_at: 2026-05-04, place: Clay pit, notes: the other pit}
  - {sheet: BW-04, film: Brickdust 100, format: 4x5, lens: Aldwater, cell: whole, stop: 22, time: 1/4}
"""


def scans(bench: Bench, *names: str) -> Path:
    for number, name in enumerate(names, 2):
        bench.scan_sheet(f"new/{name}.tif", seed=number)
    return bench.folder / "new"


def sound(bench: Bench) -> dict[str, str | None]:
    """See that all is done and sound; scan → sheet by their names."""
    with Archive.open(bench.archive) as archive:
        assert archive.catalogue.faults() == []
        assert archive.catalogue.out_of_date() == []
        return {Path(row["path"]).stem: row["sheet"] for row in archive.catalogue.scans()}


def test_two_ingests_of_the_same_folder(measured: Bench, tmp_path: Path) -> None:
    folder = scans(measured, "BW-02", "BW-03", "kiln")
    ends = [
        begin(["ingest", str(folder), "--archive", str(measured.archive), "--json"], tmp_path, name=name)
        for name in ("one", "other")
    ]
    done = [end() for end in ends]
    assert [ended.status for ended in done] == [0, 0], done
    told = Counter(
        (Path(item["path"]).stem, item["status"])
        for ended in done
        for item in json.loads(ended.stdout)["items"]
    )
    # Each was added by one of them, and was there already for the other.
    assert told == {
        (name, status): 1
        for name, first in (("BW-02", "added"), ("BW-03", "added"), ("kiln", "unmatched"))
        for status in (first, "unchanged")
    }
    assert sound(measured) == {"BW-01": "BW-01", "BW-02": "BW-02", "BW-03": "BW-03", "kiln": None}


def test_an_ingest_and_a_record(measured: Bench, tmp_path: Path) -> None:
    folder = scans(measured, "BW-02", "BW-04")
    record = measured.records(AGAIN, "again.yaml")
    ends = [
        begin([*words, "--archive", str(measured.archive), "--json"], tmp_path, name=words[0])
        for words in (["ingest", str(folder)], ["record", str(record)])
    ]
    done = [end() for end in ends]
    assert [ended.status for ended in done] == [0, 0], done
    # Whichever was first, the new sheet's scan is joined to it.
    assert sound(measured) == {"BW-01": "BW-01", "BW-02": "BW-02", "BW-04": "BW-04"}
    assert measured.json("show", "BW-02")["notes"] == "the other pit"


def test_four_programs_make_one_archive(tmp_path: Path) -> None:
    place = tmp_path / "new"
    done = [end() for end in [begin(["init", str(place)], tmp_path, name=str(number)) for number in range(4)]]
    assert sorted(ended.status for ended in done) == [0, 2, 2, 2]
    assert all("stays as it is" in ended.stderr for ended in done if ended.status)
    assert {path.name for path in place.iterdir()} == {"negcat.db", "previews"}
    with Archive.open(place) as archive:
        assert archive.catalogue.faults() == []


@pytest.mark.parametrize(
    "args", [("record", "again.yaml"), ("measure", "BW-01"), ("measure", "BW-01", "--spot", "sky=0.5,0.5")]
)
def test_who_waits_too_long_says_so(
    measured: Bench, tmp_path: Path, args: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    measured.records(AGAIN, "again.yaml")
    words = [str(measured.folder / word) if word.endswith("yaml") else word for word in args]
    monkeypatch.setattr(connection, "WAIT_S", 0.05)
    holding = sqlite3.connect(measured.archive / "negcat.db", isolation_level=None)
    holding.execute("begin immediate")
    ended = begin([*words, "--archive", str(measured.archive)], tmp_path)()
    holding.execute("rollback")
    holding.close()
    assert ended.status == 2
    assert "in use" in ended.stderr
    assert ended.stderr.count("\n") == 1


def test_nobody_waits_for_pixels(measured: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """While pictures are looked at, another program can write."""
    scan, _ = measured.scan_sheet("BW-01 again.tif", description="the same sheet again")
    other = sqlite3.connect(measured.archive / "negcat.db", isolation_level=None, timeout=0)
    looked = []

    def watched(of: object, name: str) -> None:
        function = getattr(of, name)

        def looking(*args: object, **kwargs: object) -> object:
            other.execute("begin immediate")
            other.execute("rollback")
            looked.append(name)
            return function(*args, **kwargs)

        monkeypatch.setattr(of, name, looking)

    watched(scanned, "examine")
    watched(on_scan, "_read_spot")
    with Archive.open(measured.archive) as archive:
        run = ingest_scans(archive, [scan])
        (item,) = run.finish(list(run))
        assert item.measured
        assert set(looked) == {"examine", "_read_spot"}
        looked.clear()
        assert match_scan(archive, str(item.scan), "BW-02").measured
        assert archive.catalogue.out_of_date() == []
        assert looked
        looked.clear()
        measure_sheet(archive, "BW-01", [SpotChange("sky", 0.5, 0.5)])
        assert looked
    other.close()


def changed_meanwhile(
    bench: Bench, sheet: str, of: object, name: str, monkeypatch: pytest.MonkeyPatch
) -> list[bool]:
    """Have another program set a sheet's stop to 32 when a function is first called; not empty once it has."""
    function = getattr(of, name)
    changed: list[bool] = []

    def meanwhile(*args: object, **kwargs: object) -> object:
        if not changed:
            changed.append(True)
            with Archive.open(bench.archive) as other:
                found = other.catalogue.sheet(sheet)
                assert found is not None
                record = found.model_dump(mode="json", exclude_none=True)
                take_record_data(other, {"sheets": [{**record, "stop": "32"}]}, via="another program")
        return function(*args, **kwargs)

    monkeypatch.setattr(of, name, meanwhile)
    return changed


def test_a_spot_is_set_in_the_record_as_another_program_left_it(
    measured: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    changed = changed_meanwhile(measured, "BW-01", on_scan, "_read_spot", monkeypatch)
    with Archive.open(measured.archive) as archive:
        measure_sheet(archive, "BW-01", [SpotChange("sky", 0.5, 0.5)])
        sheet, found = archive.catalogue.sheet("BW-01"), archive.catalogue.findings("BW-01")
    assert changed
    assert sheet is not None
    assert (
        sheet.stop.text,
        [spot.x for spot in [r.spot for r in sheet.readings if r.name == "sky"] if spot],
    ) == (
        "32",
        [0.5],
    )
    assert found is not None
    assert found.exposure is not None
    assert found.exposure["marked_stop"] == "32"


def test_what_another_program_changed_meanwhile_is_computed_with(
    measured: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A record that changes between the reading of a sheet and the keeping of its findings isn't lost on them."""
    scan, _ = measured.scan_sheet("BW-03.tif", seed=7)
    changed = changed_meanwhile(measured, "BW-03", scanned, "examine", monkeypatch)
    with Archive.open(measured.archive) as archive:
        run = ingest_scans(archive, [scan])
        run.finish(list(run))
        found = archive.catalogue.findings("BW-03")
        assert archive.catalogue.out_of_date() == []
    assert changed
    assert found is not None
    assert found.exposure is not None
    assert found.exposure["marked_stop"] == "32"
