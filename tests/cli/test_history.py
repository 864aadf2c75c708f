"""What was changed is kept, shown, and brought back; a removed sheet comes back as it was."""

from __future__ import annotations

import json
import shutil
import sqlite3
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from negcat.catalogue import Findings
from negcat.cli import main
from negcat.work.archive import Archive
from negcat.work.removing import bring_back, remove
from tests.cli.conftest import RECORDS, Bench


def everything(folder: Path) -> dict[str, list[tuple[Any, ...]]]:
    """Read all that an archive keeps but its history, with the places of rows and without the time of computing."""
    with sqlite3.connect(f"file:{folder / 'negcat.db'}?mode=ro", uri=True) as database:
        tables = [
            name
            for (name,) in database.execute(
                "select name from sqlite_master where type = 'table' and name not like 'sqlite%'"
                " and name not like '%_fts_%' and name not in ('history', 'sheet_changes', 'places_fts')"
            )
        ]
        found = {}
        for table in tables:
            columns = [
                column
                for _, column, *_ in database.execute(f"pragma table_info({table})")
                if column != "computed_at" and (table, column) != ("places", "id")
            ]
            place, order = ("0", "1, 2") if table == "places" else ("rowid", "rowid")
            found[table] = database.execute(
                f"select {place}, {', '.join(columns)} from {table} order by {order}"
            ).fetchall()
    return found


def history(bench: Bench, *words: object) -> list[dict[str, Any]]:
    return bench.json("history", *words)["changes"]


def told(change: dict[str, Any]) -> list[tuple[str, str | None, str | None]]:
    return [(one["field"], one["was"], one["became"]) for one in change["fields"]]


def changed_records(bench: Bench, old: str, new: str, name: str = "may.yaml") -> None:
    text = (bench.folder / "records.yaml").read_text(encoding="utf-8")
    assert old in text
    (bench.folder / name).write_text(text.replace(old, new), encoding="utf-8")
    bench.run("record", bench.folder / name)


# The history ------------------------------------------------------------------------------------------------


def test_a_history_tells_field_by_field_what_was_and_by_what_way(archive: Bench) -> None:
    changed_records(archive, "stop: 22½", "stop: 22 2/3")
    changed_records(
        archive, "{name: wall, role: middle, ev: 11.5}", "{name: wall, role: middle, ev: 12}", "june.yaml"
    )
    newest, middle, first = archive.json("show", "bw-01", "--history")["changes"]
    assert [one["number"] for one in (newest, middle, first)] == [3, 2, 1]
    assert (first["what"], first["way"], first["old"]) == ("taken in", "by negcat record records.yaml", None)
    assert (middle["what"], middle["way"]) == ("changed", "by negcat record may.yaml")
    assert told(middle) == [("stop", "22½", "22 2/3")]
    assert newest["way"] == "by negcat record june.yaml"
    assert told(newest) == [("stop", "22 2/3", "22½"), ("wall, ev", "11.5", "12")]
    assert newest["at"].endswith("Z")
    assert archive.json("show", "BW-01")["history"] == [newest, middle, first]
    text = archive.run("show", "BW-01", "--history").stdout
    lines = text.splitlines()
    assert lines[0] == "Sheet BW-01: 3 entries, the newest first"
    assert [line.split()[0] for line in lines if "UTC" in line] == ["3", "2", "1"]
    assert "wall, ev: 11.5 → 12" in text
    assert "taken in by negcat record records.yaml" in text


def test_of_each_file_of_one_command_its_name_is_kept(bench: Bench) -> None:
    bench.run("init", bench.archive)
    film = bench.records("films: [{name: Marl 400, box_speed: 400}]", "film.yaml")
    other = bench.records("films: [{name: Sorrel 100, box_speed: 100}]", "other.yaml")
    bench.run("record", film, other)
    assert history(bench, "film", "marl 400")[0]["via"] == "record film.yaml"
    assert history(bench, "film", "Sorrel 100")[0]["via"] == "record other.yaml"


def test_every_way_in_at_the_command_line_is_kept(measured: Bench) -> None:
    taken, joined, spots = history(measured, "BW-01")[::-1]
    scan = measured.json("show", "BW-01")["scans"][0]["scan"]
    assert (taken["via"], joined["via"], spots["via"]) == ("record records.yaml", "ingest", "measure")
    assert told(joined) == [(f"scan {scan}", None, "joined to this sheet by its file name")]
    assert [field for field, *_ in told(spots)] == ["kiln mouth, spot", "wall, spot", "sky, spot"]
    measured.run("holders", "--load", "5", "A", "Brickdust 100", "--at", "2026-05-01")
    measured.run("holders", "--empty", "5", "A", "--at", "2026-05-02")
    emptied, loaded = history(measured, "holder", "5")
    assert (emptied["via"], loaded["via"]) == ("holders --empty", "holders --load")
    assert told(emptied) == [
        ("A, film", "Brickdust 100", None),
        ("A, loaded at", "2026-05-01", "2026-05-02"),
    ]


def test_a_scan_joined_to_another_sheet_keeps_what_it_was_joined_to(measured: Bench) -> None:
    scan = measured.json("show", "BW-01")["scans"][0]["scan"]
    measured.run("match", scan, "BW-02")
    (was, *_), (gained, *_) = history(measured, "BW-01"), history(measured, "BW-02")
    moved = (f"scan {scan}", "joined to this sheet by its file name", "joined to sheet BW-02 by hand")
    assert (was["via"], told(was)) == ("match", [moved])
    came = (f"scan {scan}", "joined to sheet BW-01 by its file name", "joined to this sheet by hand")
    assert told(gained) == [came]
    newest, first, taken = history(measured, "scan", scan)
    assert told(newest) == [("joined by", "its file name", "by hand"), ("sheet", "BW-01", "BW-02")]
    assert told(first) == [("joined by", None, "its file name"), ("sheet", None, "BW-01")]
    assert taken["what"] == "taken in"


def test_a_history_asked_of_what_there_is_not_is_refused(archive: Bench) -> None:
    assert "has no history" in archive.run("history", "tripod", "5", status=2).stderr
    assert "nearest known: BW-01" in archive.run("history", "BW-1", status=2).stderr
    assert "holds no film" in archive.run("history", "film", "Tar", status=2).stderr
    assert "in quotes" in archive.run("history", "film", "Sorrel", "100", status=2).stderr


# Bringing back ----------------------------------------------------------------------------------------------


def test_an_earlier_state_comes_back_is_a_change_and_is_computed_anew(measured: Bench) -> None:
    before = measured.json("show", "BW-01")
    changed_records(measured, "stop: 22½", "stop: 16")
    thick = measured.json("show", "BW-01")
    assert thick["exposure"]["decision_stops"] != before["exposure"]["decision_stops"]
    entries = len(history(measured, "BW-01"))
    done = measured.json("revert", "bw-01", "--to", "3")
    assert (done["name"], done["to"], done["changed"]) == ("BW-01", 3, True)
    after = measured.json("show", "BW-01")
    assert len(after["history"]) == entries + 1
    assert after["history"][0]["via"] == "revert --to 3"
    for part in ("exposure", "readings", "result", "base_fog"):
        assert after[part] == before[part]
    # What was between is kept, and may be brought back as well.
    measured.run("revert", "BW-01", "--to", "4")
    assert measured.json("show", "BW-01")["exposure"] == thick["exposure"]
    again = measured.run("revert", "BW-01", "--to", "4").stdout
    assert "already" in again
    assert len(history(measured, "BW-01")) == entries + 2
    with Archive.open(measured.folder) as opened:
        assert opened.catalogue.faults() == []


def test_other_records_are_brought_back_too(archive: Bench) -> None:
    before = archive.json("show", "BW-01")["exposure"]
    changed_records(archive, "1/15: 0.08", "1/4: 0.5")
    assert archive.json("show", "BW-01")["exposure"] != before
    archive.run("revert", "shutter", "long shutter", "--to", "1")
    assert archive.json("show", "BW-01")["exposure"] == before
    assert history(archive, "shutter", "long shutter")[0]["via"] == "revert --to 1"
    changed_records(archive, "dilution: 1+49", "dilution: 1+25", "b.yaml")
    archive.run("revert", "batch", "b1", "--to", "1")
    assert archive.json("show", "BW-01")["development"]["dilution"] == "1+49"


def test_a_built_in_print_target_that_is_brought_back_names_its_source_again(bench: Bench) -> None:
    bench.run("init", bench.archive)

    def source() -> str | None:
        with Archive.open(bench.folder, readonly=True) as opened:
            return opened.catalogue.print_target_source("silver contact")

    was = source()
    assert was
    bench.run(
        "record",
        bench.records("print_targets: [{name: silver contact, densities: {I: 0.1, V: 0.7, IX: 1.4}}]"),
    )
    assert source() is None
    bench.run("revert", "print target", "silver contact", "--to", "1")
    assert source() == was


def test_what_can_not_be_brought_back_is_refused_and_nothing_is_written(archive: Bench) -> None:
    changed_records(archive, "cell: rear\n    stop: 22", "cell: whole\n    stop: 22")
    without = RECORDS.replace(
        "      - {cell: rear, focal_mm: 300, mounted: behind, own_scale: false}\n", ""
    ).replace("cell: rear\n    stop: 22", "cell: whole\n    stop: 22")
    archive.run("record", archive.records(without, "cells.yaml"))
    kept = everything(archive.folder)
    said = archive.run("revert", "BW-02", "--to", "1", status=2).stderr
    assert "can't be brought back to change 1: lens 'Aldwater' has no cell 'rear'" in said
    assert "no number 9" in archive.run("revert", "BW-02", "--to", "9", status=2).stderr
    assert everything(archive.folder) == kept
    assert len(history(archive, "BW-02")) == 2


# Removing ---------------------------------------------------------------------------------------------------


def test_a_removed_sheet_comes_back_exactly(measured: Bench) -> None:
    before, shown = everything(measured.folder), measured.json("show", "BW-01")
    done = measured.json("remove", "BW-01")
    scan = shown["scans"][0]["scan"]
    assert done == {"sheet": "BW-01", "removed": True, "scans": [scan], "warnings": []}
    gone = everything(measured.folder)
    assert [row[1] for row in gone["sheets"]] == ["BW-02", "BW-03"]
    assert gone["readings"] != before["readings"]
    (listed,) = measured.json("remove", "--list")["sheets"]
    assert (listed["sheet"], listed["way"], listed["scans"]) == ("BW-01", "by negcat remove", [scan])
    back = measured.json("remove", "--undo", "bw-01")
    assert back == {"sheet": "BW-01", "removed": False, "scans": [scan], "warnings": []}
    assert everything(measured.folder) == before
    after = measured.json("show", "BW-01")
    ways = [(one["what"], one["via"]) for one in after["history"][:4]]
    assert sorted(ways) == [
        ("brought back", "remove --undo"),
        ("removed", "remove"),
        ("scan", "remove"),
        ("scan", "remove --undo"),
    ]
    assert {**after, "history": 0} == {**shown, "history": 0}
    assert [one["via"] for one in history(measured, "batch", "B1")[:2]] == ["remove --undo", "remove"]
    with Archive.open(measured.folder) as opened:
        assert opened.catalogue.faults() == []


def test_a_removed_sheet_is_nowhere_and_every_way_to_it_names_the_way_back(measured: Bench) -> None:
    count = measured.json("find")["count"]
    scan = measured.json("show", "BW-01")["scans"][0]["scan"]
    measured.run("remove", "BW-01")
    assert measured.json("find")["count"] == count - 1
    assert measured.json("find", "kiln")["count"] == 0
    pending = measured.json("pending")
    assert [one for part in pending.values() for one in part if "BW-01" in json.dumps(one)] == []
    back = "'negcat remove --undo BW-01' brings it back"
    for words in (
        ["show", "BW-01"],
        ["remove", "BW-01"],
        ["revert", "BW-01", "--to", "1"],
        ["measure", "BW-01"],
        ["match", scan, "bw-01"],
    ):
        assert back in measured.run(*words, status=2).stderr
    assert "removed by negcat remove" in measured.run("show", "BW-01", "--history").stdout
    kept = everything(measured.folder)
    refused = measured.run("record", measured.folder / "records.yaml", status=2).stderr
    for where in ("sheets[0].sheet (sheet BW-01)", "developments[0].sheets[0] (batch B1)"):
        assert (
            f"{where}: sheet 'BW-01' was removed; bring it back with 'negcat remove --undo BW-01'" in refused
        )
    lower = "sheets: [{sheet: bw-01, film: Brickdust 100, lens: Aldwater, cell: whole, stop: 8, time: 1}]"
    assert "was removed" in measured.run("record", measured.records(lower, "lower.yaml"), status=2).stderr
    # Its scan waits, and taken again it still does, whatever its name says.
    (item,) = measured.json("ingest", measured.folder / "scans")["items"]
    assert (item["status"], item["sheet"], item["reason"]) == (
        "unchanged",
        None,
        "its sheet BW-01 was removed",
    )
    assert everything(measured.folder)["scans"] == kept["scans"]
    assert "is not removed" in measured.run("remove", "--undo", "BW-02", status=2).stderr
    assert "holds no sheet" in measured.run("remove", "--undo", "BW-77", status=2).stderr
    measured.run("verify")


def test_a_new_scan_of_a_removed_sheet_waits_for_it_and_is_joined_when_it_is_back(archive: Bench) -> None:
    archive.run("remove", "BW-02")
    scan, _ = archive.scan_sheet("scans/BW-02.tif")
    (item,) = archive.json("ingest", scan)["items"]
    assert item["status"] == "unmatched"
    assert "its file name names BW-02, which was removed; 'negcat remove --undo BW-02'" in item["reason"]
    back = archive.json("remove", "--undo", "BW-02")
    assert back["scans"] == [item["scan"]]
    assert [one["scan"] for one in archive.json("show", "BW-02")["scans"]] == [item["scan"]]


def test_a_scan_given_to_another_sheet_meanwhile_stays_there(measured: Bench) -> None:
    scan = measured.json("show", "BW-01")["scans"][0]["scan"]
    measured.run("remove", "BW-01")
    measured.run("match", scan, "BW-02")
    back = measured.json("remove", "--undo", "BW-01")
    assert back["scans"] == []
    assert f"Scan {scan} was joined to BW-02 meanwhile and stays with it" in back["warnings"][0]
    assert measured.json("show", "BW-01")["scans"] == []
    assert [one["scan"] for one in measured.json("show", "BW-02")["scans"]] == [scan]


def test_what_was_changed_meanwhile_is_reckoned_with(measured: Bench) -> None:
    measured.run("remove", "BW-01")
    film = "films: [{name: Brickdust 100, box_speed: 100, exposure_index: 50}]"
    measured.run("record", measured.records(film, "film.yaml"))
    measured.run("remove", "--undo", "BW-01")
    now = measured.json("show", "BW-01")
    measured.run("measure", "BW-01")
    assert measured.json("show", "BW-01")["exposure"] == now["exposure"]
    assert now["exposure_index"] == 50


def test_who_borrowed_base_and_fog_of_a_removed_sheet_is_computed_anew(archive: Bench) -> None:
    changed_records(archive, "sheets: [BW-01]", "sheets: [BW-01, BW-02]")
    with Archive.open(archive.folder) as opened:
        catalogue = opened.catalogue
        for digit, sheet in (("a", "BW-01"), ("b", "BW-02")):
            master = {"path": f"{digit}.tif", "size_bytes": 1, "modified_ns": 1}
            size = {"width": 40, "height": 50, "bits": 16, "mode": "grey"}
            catalogue.save_scan({"sha256": digit * 64, **master, **size})
            catalogue.join_scan(digit * 12, sheet, joined_by="by hand")
        borrowed = {"density": 0.2, "sd": 0.01, "source": "batch"}
        catalogue.save_findings(Findings("BW-01"), Findings("BW-02", base_fog=borrowed))
        assert catalogue.out_of_date() == []
        # Their masters are away, so what is to be computed stays to be computed.
        remove(opened, "BW-01")
        assert catalogue.out_of_date() == ["BW-02"]
        catalogue.save_findings(Findings("BW-02", base_fog=borrowed))
        bring_back(opened, "BW-01")
        assert "BW-02" in catalogue.out_of_date()


def test_a_sheet_whose_lens_lost_its_cell_stays_removed(archive: Bench) -> None:
    archive.run("remove", "BW-02")
    without = """\
lenses:
  - name: Aldwater
    cells: [{cell: whole, focal_mm: 180, mounted: whole, widest_stop: 6.8}]
"""
    archive.run("record", archive.records(without, "lens.yaml"))
    said = archive.run("remove", "--undo", "BW-02", status=2).stderr
    assert "sheet BW-02 can't be brought back" in said
    assert "'Aldwater / rear'" in said
    assert archive.json("remove", "--list")["count"] == 1


def test_in_a_batch_written_anew_meanwhile_a_sheet_finds_its_place(archive: Bench) -> None:
    changed_records(archive, "sheets: [BW-01]", "sheets: [BW-01, BW-02, BW-03]")
    archive.run("remove", "BW-02")
    fewer = (
        "developments: [{batch: B1, developer: Slip, time: 9m, temperature_c: 21, sheets: [BW-01, BW-03]}]"
    )
    archive.run("record", archive.records(fewer, "fewer.yaml"))
    archive.run("remove", "--undo", "BW-02")
    with Archive.open(archive.folder, readonly=True) as opened:
        batch = opened.catalogue.development("B1")
    assert batch is not None
    assert (batch.sheets, batch.temperature_c) == (("BW-01", "BW-02", "BW-03"), 21)


def test_a_batch_whose_sheets_are_all_removed_is_still_on_record(archive: Bench) -> None:
    archive.run("remove", "BW-01")
    with Archive.open(archive.folder, readonly=True) as opened:
        batch = opened.catalogue.development("B1")
    assert batch is not None
    assert (batch.sheets, batch.developer, batch.time.text) == ((), "Slip", "9m30s")
    assert told(history(archive, "batch", "B1")[0]) == [("sheets", "BW-01", None)]
    # What leaves as a record file is taken elsewhere all the same.
    archive.run("export", "records", archive.folder / "out.yaml")
    elsewhere = Bench(archive.folder / "elsewhere")
    elsewhere.run("init", elsewhere.archive)
    elsewhere.run("record", archive.folder / "out.yaml")
    assert elsewhere.json("find")["count"] == 2


@pytest.mark.parametrize("words", [["remove"], ["remove", "BW-01", "--list"], ["remove", "--list", "--undo"]])
def test_remove_asked_for_nothing_or_two_things_is_refused(archive: Bench, words: list[str]) -> None:
    assert "name one sheet, or ask for --list" in archive.run(*words, status=2).stderr


def test_two_sheets_of_a_batch_come_back_exactly(sample: Path, tmp_path: Path) -> None:
    """The first that goes is the first that comes back, while the other is away."""
    own = tmp_path / "own"
    shutil.copytree(sample, own)

    def run(*words: str) -> None:
        result = CliRunner().invoke(main, [*words, "--archive", str(own)])
        assert result.exit_code == 0, result.stderr

    with Archive.open(own) as opened:
        batch = max(opened.catalogue.records("developments"), key=lambda one: len(one.sheets))
        sheets = batch.sheets[:2]
    before = everything(own)
    for sheet in sheets:
        run("remove", sheet)
    for sheet in sheets:
        run("remove", "--undo", sheet)
    after = everything(own)
    for table in ("exposures", "found_readings"):
        # Computed anew, as the other one's leaving is a change; where such a row lies says nothing.
        before[table], after[table] = (sorted(row[1:] for row in rows[table]) for rows in (before, after))
    assert after == before
