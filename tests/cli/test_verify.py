"""Masters checked: quickly, whole, by parts, with a record of it; found again where they were moved."""

from __future__ import annotations

import os
import shutil
import sqlite3
from pathlib import Path

import pytest

from negcat.work.archive import Archive
from negcat.work.verify import Verification
from tests.cli.conftest import Bench


@pytest.fixture
def three(measured: Bench) -> Bench:
    """An archive of three masters: one measured, two that wait."""
    for number in (2, 3):
        path = measured.folder / "scans" / f"other{number}.tif"
        shutil.copy(measured.folder / "tablet.tif", path)
        with path.open("ab") as handle:
            handle.write(bytes(number))
    measured.json("ingest", measured.folder / "scans")
    return measured


def rows(bench: Bench, sql: str) -> list[tuple]:
    with sqlite3.connect(bench.folder / "negcat.db") as db:
        found = db.execute(sql).fetchall()
    db.close()
    return found


def spoil(path: Path, *, hidden: bool) -> None:
    """Turn one bit; hidden: as a failing disk does, with size and time as they were."""
    seen = path.stat()
    with path.open("r+b") as handle:
        handle.seek(-1, os.SEEK_END)
        last = handle.read(1)[0]
        handle.seek(-1, os.SEEK_END)
        handle.write(bytes([last ^ 1]))
    if hidden:
        os.utime(path, ns=(seen.st_atime_ns, seen.st_mtime_ns))


def statuses(document: dict) -> dict[str, str]:
    return {Path(item["path"]).name: item["status"] for item in document["items"]}


def test_a_bit_that_turned_by_itself_is_found_by_reading_whole(three: Bench) -> None:
    spoil(three.folder / "scans" / "BW-01.tif", hidden=True)
    assert three.json("verify")["unchanged"] == 3  # what only size and time can tell
    found = three.json("verify", "--full", status=1)
    assert statuses(found) == {
        "BW-01.tif": "changed",
        "other2.tif": "unchanged",
        "other3.tif": "unchanged",
    }
    item = next(item for item in found["items"] if item["status"] == "changed")
    assert item["sheet"] == "BW-01"
    assert len(item["found"]) == 64
    assert item["found"] != item["expected"]


def test_what_was_written_to_is_found_without_reading_all(three: Bench) -> None:
    spoil(three.folder / "scans" / "BW-01.tif", hidden=False)
    found = three.json("verify", status=1)
    assert statuses(found)["BW-01.tif"] == "changed"
    assert [item["found"] is None for item in found["items"]].count(True) == 2


def test_a_touched_master_is_read_once_and_known_from_then_on(three: Bench) -> None:
    os.utime(three.folder / "scans" / "BW-01.tif")
    read = [item for item in three.json("verify")["items"] if item["found"]]
    assert [Path(item["path"]).name for item in read] == ["BW-01.tif"]
    assert all(item["found"] is None for item in three.json("verify")["items"])


def test_every_check_is_kept(three: Bench) -> None:
    three.run("verify")
    spoil(three.folder / "scans" / "other2.tif", hidden=True)
    (three.folder / "scans" / "other3.tif").rename(three.folder / "away.tif")
    three.run("verify", "--full", status=1)
    assert rows(
        three, "select way, masters, unchanged, ended_at is not null from check_runs order by id"
    ) == [
        ("size and time", 3, 3, 1),
        ("SHA-256", 3, 1, 1),
    ]
    kept = rows(three, "select status, found_sha256 is not null, reason is null from checks order by status")
    assert kept == [("changed", 1, 0), ("missing", 0, 0), ("unchanged", 1, 1)]
    assert rows(three, "select count(*) from scans where checked_at is not null") == [(1,)]


def test_a_run_that_was_interrupted_is_gone_on_with(three: Bench) -> None:
    with Archive.open(three.folder) as archive:
        begun = iter(Verification(archive, full=True))
        first = next(begun)
        begun.close()
    later = three.json("verify", "--full")
    assert later["earlier"] == 1
    assert first.scan not in {item["scan"] for item in later["items"]}
    assert len(later["items"]) == 2
    assert later["finished"]
    # The whole run counts, and the next one is a new one.
    assert rows(three, "select masters, unchanged from check_runs") == [(3, 3)]
    assert three.json("verify", "--full")["earlier"] == 0


def test_what_was_checked_longest_ago_comes_first_and_what_was_lately_can_be_left_out(three: Bench) -> None:
    with sqlite3.connect(three.folder / "negcat.db") as db:
        ids = [scan for (scan,) in db.execute("select scan from scans order by taken_order")]
        for scan, day in zip(ids, ("2026-03-01", "2026-01-01", "2026-02-01"), strict=True):
            db.execute("update scans set checked_at = ? where scan = ?", [f"{day}T00:00:00Z", scan])
    db.close()
    order = [item["scan"] for item in three.json("verify", "--full")["items"]]
    assert order == [ids[1], ids[2], ids[0]]
    assert three.json("verify", "--full", "--older-than", "30")["items"] == []


def test_time_that_is_up_ends_the_run_and_the_next_goes_on(three: Bench) -> None:
    short = three.json("verify", "--full", "--minutes", "0.000001")
    assert not short["finished"]
    rest = three.json("verify", "--full")
    assert rest["finished"]
    assert len(short["items"]) + len(rest["items"]) == 3


def test_moved_masters_are_found_by_their_content(three: Bench) -> None:
    moved = three.folder / "disk 2" / "renamed as well.bin"
    moved.parent.mkdir()
    (three.folder / "scans" / "BW-01.tif").rename(moved)
    (three.folder / "disk 2" / "alike.bin").write_bytes(bytes(moved.stat().st_size))
    assert statuses(three.json("verify", status=1))["BW-01.tif"] == "missing"
    found = three.json("verify", "--find", three.folder / "disk 2")
    assert (found["moved"], found["unchanged"], found["masters"]) == (1, 3, 3)
    assert statuses(found)["renamed as well.bin"] == "moved"
    assert rows(three, "select path from scans where sheet = 'BW-01'") == [("disk 2/renamed as well.bin",)]
    assert three.json("verify")["unchanged"] == 3
    assert three.json("measure", "BW-01")  # its pixels are reached there


def test_a_sound_copy_takes_the_place_of_a_damaged_master(three: Bench) -> None:
    master = three.folder / "scans" / "BW-01.tif"
    copy = three.folder / "backup" / "BW-01.tif"
    copy.parent.mkdir()
    shutil.copy2(master, copy)
    spoil(master, hidden=True)
    found = three.json("verify", "--full", "--find", copy)
    assert found["moved"] == 1
    assert rows(three, "select path from scans where sheet = 'BW-01'") == [("backup/BW-01.tif",)]


def test_a_missing_folder_and_a_known_copy_are_said(three: Bench) -> None:
    copy = three.folder / "backup" / "BW-01.tif"
    copy.parent.mkdir()
    shutil.copy2(three.folder / "scans" / "BW-01.tif", copy)
    three.run("ingest", copy)
    (three.folder / "scans").rename(three.folder / "unplugged")
    said = three.json("verify", status=2)
    reasons = {Path(item["path"]).name: item["reason"] for item in said["items"]}
    assert "disk or network drive" in reasons["other2.tif"]
    assert "backup/BW-01.tif" in reasons["BW-01.tif"]


def test_pictures_are_made_again(three: Bench) -> None:
    previews = three.folder / "previews"
    made = sorted(path for path in previews.rglob("*") if path.is_file() and path.suffix in {".jpg", ".tif"})
    assert three.json("verify", "--previews")["previews_made"] == []
    shutil.rmtree(previews)
    assert len(three.json("verify", "--previews")["previews_made"]) == 3
    assert all(path.is_file() for path in made)
    wall = next(path for path in made if path.name.endswith("-wall.jpg"))
    wall.write_bytes(wall.read_bytes()[: wall.stat().st_size // 2])
    assert len(three.json("verify", "--previews")["previews_made"]) == 1
    assert three.json("verify", "--previews")["previews_made"] == []


def test_a_picture_whose_master_is_gone_is_a_sentence(three: Bench) -> None:
    shutil.rmtree(three.folder / "previews")
    (three.folder / "scans" / "BW-01.tif").unlink()
    said = three.json("verify", "--previews", status=1)
    assert len(said["previews_made"]) == 2
    assert len(said["previews_failed"]) == 1
    assert "BW-01.tif" in said["previews_failed"][0]


def test_quiet_says_nothing_where_all_is_well(three: Bench) -> None:
    assert three.run("verify", "--quiet").output == ""
    spoil(three.folder / "scans" / "BW-01.tif", hidden=False)
    assert "BW-01.tif" in three.run("verify", "--quiet", status=1).output


def test_an_archive_that_cannot_be_written_is_checked_all_the_same(
    three: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = (three.folder / "negcat.db").read_bytes()
    real = Archive.open

    def refusing(root: Path, *, readonly: bool = False) -> Archive:
        from negcat.errors import ArchiveError

        if not readonly:
            raise ArchiveError("it can't be written to")
        return real(root, readonly=True)

    monkeypatch.setattr(Archive, "open", refusing)
    result = three.run("verify", "--full", "--json")
    assert '"recorded": false' in result.stdout
    assert "can't be written" in result.stderr
    assert (three.folder / "negcat.db").read_bytes() == before


def test_what_goes_with_full_only_is_refused_without(three: Bench) -> None:
    assert "--full" in three.run("verify", "--older-than", "3", status=2).output
