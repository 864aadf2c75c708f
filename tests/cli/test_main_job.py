"""From field record and scan to verdict, on the command line."""

import json
import shutil
import sqlite3

import pytest

from tests.cli.conftest import AS_PLANNED, BASE, Bench


def rows(bench: Bench, sql: str) -> list[tuple]:
    with sqlite3.connect(bench.archive / "negcat.db") as database:
        return database.execute(sql).fetchall()


def test_a_sheet_exposed_and_developed_as_planned_is_found_so(measured: Bench) -> None:
    sheet = measured.json("show", "BW-01")
    assert sheet["base_fog"]["source"] == "rebate"
    assert sheet["base_fog"]["density"] == pytest.approx(BASE, abs=0.01)
    found = {reading["name"]: reading["net_density"] for reading in sheet["readings"]}
    assert list(found.values()) == pytest.approx(list(AS_PLANNED), abs=0.015)
    assert sheet["result"]["verdict"] == "as planned"
    # By hand: EV 9.5 on III asks for EV 11.5; f/22½ at ¼ s is log2(26.91² × 4) = 11.5.
    assert sheet["exposure"]["decision_stops"] == pytest.approx(0.0, abs=0.02)
    assert [reading["given_zone"] for reading in sheet["readings"]] == pytest.approx([3, 5, 7], abs=0.02)


def test_show_as_text_says_what_the_json_says(measured: Bench) -> None:
    text = measured.run("show", "bw-01").stdout
    sheet = measured.json("show", "BW-01")
    assert "Verdict: as planned" in text
    assert f"{sheet['readings'][0]['net_density']:.2f}" in text
    assert "f/22½ at 1/4" in text


def test_find_and_show_agree(measured: Bench) -> None:
    page = measured.json("find", "--cell", "whole", "--tag", "N")
    assert page["count"] == 1
    (row,) = page["sheets"]
    assert row["sheet"] == "BW-01"
    assert row["verdict"] == measured.json("show", "BW-01")["result"]["verdict"]
    assert row["developer"] == "Slip"
    assert measured.json("find", "--cell", "REAR", "--tag", "N+1")["sheets"][0]["sheet"] == "BW-02"
    assert measured.json("find", "kiln", "--limit", "1")["count"] == 1
    assert measured.json("find", "--since", "2026-05-04", "--until", "2026-05-31")["count"] == 1


def test_the_same_master_is_unchanged_wherever_it_lies(measured: Bench) -> None:
    copy = measured.folder / "elsewhere" / "copy of it.tif"
    copy.parent.mkdir()
    shutil.copy(measured.folder / "scans" / "BW-01.tif", copy)
    outcome = measured.json("ingest", copy)
    assert (outcome["unchanged"], outcome["added"]) == (1, 0)
    assert outcome["items"][0]["sheet"] == "BW-01"
    assert rows(measured, "select count(*) from scans") == [(1,)]


def test_a_moved_master_is_found_where_it_was_taken_again(measured: Bench) -> None:
    there = measured.folder / "scans" / "BW-01.tif"
    moved = measured.folder / "masters" / "BW-01.tif"
    moved.parent.mkdir()
    there.rename(moved)
    measured.run("verify", status=2)
    measured.run("ingest", moved)
    assert measured.json("verify")["unchanged"] == 1
    assert rows(measured, "select path from scans") == [("masters/BW-01.tif",)]


def test_masters_are_never_touched(archive: Bench) -> None:
    scan, _ = archive.scan_sheet("scans/BW-01.tif")
    before = (scan.read_bytes(), scan.stat().st_mtime_ns)
    archive.run("calibrate", archive.scan_tablet(), "--scanner", "bench scanner", "--tablet", "tablet 21")
    archive.run("ingest", scan)
    archive.run("measure", "BW-01", "--spot", "wall=0.5,0.6")
    archive.run("verify")
    assert (scan.read_bytes(), scan.stat().st_mtime_ns) == before
    assert sorted(path.name for path in scan.parent.iterdir()) == ["BW-01.tif"]


def test_calibration_says_how_well_it_fits(archive: Bench) -> None:
    fit = archive.json(
        "calibrate", archive.scan_tablet(), "--scanner", "bench scanner", "--tablet", "tablet 21"
    )
    assert (fit["scanner"], fit["tablet"], len(fit["steps"])) == ("bench scanner", "tablet 21", 21)
    assert fit["residual_sd"] < 0.02
    low, high = fit["density_range"]
    assert low <= 0.1
    assert high >= 2.4
    codes = [step["code"] for step in fit["steps"]]
    assert codes == sorted(codes, reverse=True)


def test_calibrating_later_measures_what_was_scanned_before(archive: Bench) -> None:
    scan, _ = archive.scan_sheet("BW-01.tif")
    item = archive.json("ingest", scan)["items"][0]
    assert (item["status"], item["measured"]) == ("added", False)
    assert "calibrate" in item["reason"]
    assert [s["sheet"] for s in archive.json("pending")["measure"]] == ["BW-01"]
    archive.run("calibrate", archive.scan_tablet(), "--scanner", "bench scanner", "--tablet", "tablet 21")
    assert archive.json("show", "BW-01")["base_fog"]["density"] == pytest.approx(BASE, abs=0.01)


@pytest.mark.parametrize(
    ("name", "sheet", "why"),
    [
        ("BW-01.tif", "BW-01", None),
        ("2026-05-18_bw-01_scan.tif", "BW-01", None),
        ("BW-011.tif", None, "name"),
        ("XBW-01.tif", None, "name"),
        ("BW-01 and BW-02.tif", None, "BW-01 and BW-02"),
        ("untitled.tif", None, "name"),
    ],
)
def test_a_scan_joins_by_its_file_name(archive: Bench, name: str, sheet: str | None, why: str | None) -> None:
    scan, _ = archive.scan_sheet(name)
    item = archive.json("ingest", scan)["items"][0]
    assert (item["sheet"], item["status"]) == (sheet, "added" if sheet else "unmatched")
    if why:
        assert why in item["reason"]
        assert archive.json("pending")["join"][0]["reason"] == item["reason"]


def test_a_scan_joins_by_its_side_file_then_its_tags(archive: Bench) -> None:
    by_side, _ = archive.scan_sheet("IMG_1.tif", seed=2)
    archive.records("sheet: BW-02\nnotes: right after BW-01\n", "IMG_1.yaml")
    by_tag, _ = archive.scan_sheet("IMG_2.tif", seed=3, description="Sheet BW-03, evening")
    differ, _ = archive.scan_sheet("BW-01 new.tif", seed=4, description="BW-02")
    items = archive.json("ingest", by_side, by_tag, differ)["items"]
    assert [item["sheet"] for item in items] == ["BW-02", "BW-03", None]
    assert "BW-01" in items[2]["reason"]
    assert "BW-02" in items[2]["reason"]


def test_match_joins_what_waits_and_is_the_last_word(archive: Bench) -> None:
    scan, _ = archive.scan_sheet("untitled.tif")
    identity = archive.json("ingest", scan)["items"][0]["scan"]
    outcome = archive.json("match", identity, "BW-02")
    assert outcome["sheet"] == "BW-02"
    assert archive.json("pending")["join"] == []
    assert archive.json("ingest", scan)["items"][0]["sheet"] == "BW-02"
    archive.run("match", scan, "BW-03")
    assert archive.json("show", "BW-02")["scans"] == []
    assert [s["scan"] for s in archive.json("show", "BW-03")["scans"]] == [identity]


def test_a_scan_that_waits_is_joined_when_its_sheet_is_recorded(archive: Bench) -> None:
    scan, _ = archive.scan_sheet("BW-09.tif")
    assert archive.json("ingest", scan)["unmatched"] == 1
    sheet = "sheets: [{sheet: BW-09, film: Brickdust 100, lens: Aldwater, cell: whole, stop: 16, time: 1}]"
    outcome = archive.json("record", archive.records(sheet, "later.yaml"))
    assert [entry["sheet"] for entry in outcome["joined"]] == ["BW-09"]
    assert archive.json("pending")["join"] == []


def test_records_taken_again_change_nothing_and_changes_keep_the_old(measured: Bench) -> None:
    file = measured.folder / "records.yaml"
    text = file.read_text(encoding="utf-8")
    measured.run("init", measured.folder / "other")
    first = measured.json("record", "-a", measured.folder / "other", file)
    again = measured.json("record", "-a", measured.folder / "other", file)
    assert first["added"]["sheets"] == 3
    assert again["added"] == again["updated"] == {}
    file.write_text(text.replace("stop: 22½", "stop: 16"), encoding="utf-8")
    assert measured.json("record", "-a", measured.folder / "other", file)["updated"] == {"sheets": 1}
    history = measured.json("show", "-a", measured.folder / "other", "BW-01")["history"]
    assert "22½" in json.dumps(history, ensure_ascii=False)


def test_a_changed_record_is_judged_anew_without_the_master(measured: Bench) -> None:
    (measured.folder / "scans" / "BW-01.tif").unlink()
    before = measured.json("show", "BW-01")
    changed = (measured.folder / "records.yaml").read_text(encoding="utf-8").replace("22½", "16")
    # The spots were set on the command line, so the record file must name them to keep them.
    for reading in before["readings"]:
        spot = json.dumps(reading["spot"])
        changed = changed.replace(f"name: {reading['name']},", f"name: {reading['name']}, spot: {spot},")
    measured.run("record", measured.records(changed))
    after = measured.json("show", "BW-01")
    assert [r["density"] for r in after["readings"]] == [r["density"] for r in before["readings"]]
    assert after["exposure"]["decision_stops"] == pytest.approx(1.5, abs=0.02)
    assert after["result"]["residual_stops"] == pytest.approx(
        before["result"]["residual_stops"] - 1.5, abs=0.1
    )


def test_jobs_make_no_difference(archive: Bench) -> None:
    for seed, sheet in enumerate(("BW-01", "BW-02", "BW-03")):
        archive.scan_sheet(f"scans/{sheet}.tif", seed=seed)
    outcome = archive.json("ingest", "--jobs", "2", archive.folder / "scans")
    assert [item["sheet"] for item in outcome["items"]] == ["BW-01", "BW-02", "BW-03"]
    assert outcome["added"] == 3


def test_pending_says_what_waits(archive: Bench) -> None:
    waiting = archive.json("pending")
    assert {(g["film"], g["tag"]): g["sheets"] for g in waiting["develop"]} == {
        ("Brickdust 100", "N-1"): ["BW-03"],
        ("Brickdust 100", "N+1"): ["BW-02"],
    }
    assert [s["sheet"] for s in waiting["scan"]] == ["BW-01"]
    assert "To develop" in archive.run("pending").stdout


def test_previews_may_be_deleted_and_come_back(measured: Bench) -> None:
    from negcat.work.archive import Archive
    from negcat.work.previews import preview_path

    shutil.rmtree(measured.archive / "previews")
    scan = measured.json("show", "BW-01")["scans"][0]["scan"]
    with Archive.open(measured.archive, readonly=True) as archive:
        assert preview_path(archive, scan, "wall").stat().st_size > 1000
