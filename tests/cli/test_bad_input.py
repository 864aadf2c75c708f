"""Files that others wrote: beside a scan, or named by a record. They are read within bounds, or not at all."""

import json
import os

import pytest
import tifffile

from negcat.work.archive import Archive
from negcat.work.joining import SheetIds, decide, side_file_texts
from tests.cli.conftest import Bench
from tests.cli.test_curve import record, take

IDS = SheetIds([f"BW-{number:05}" for number in range(3000)])


@pytest.mark.parametrize(
    ("ending", "text"),
    [
        (".yaml", "[" * 100_000),
        (".yaml", "a: &a [*a]\nsheet: BW-00003"),
        (".yaml", "sheet: {{BW-00003"),
        (".json", "[" * 100_000),
        (".json", '{"sheet": ' + "9" * 5000 + ', "x": "BW-00003"}'),
        (".txt", "BW-00003 " + "\0\x1b" * 1000),
        (".xmp", "<a>" * 50_000 + "BW-00003"),
    ],
)
def test_side_files_whatever_they_hold(tmp_path, ending, text):
    (tmp_path / f"scan{ending}").write_text(text)
    found = decide(IDS, stem="scan", side_texts=side_file_texts(tmp_path / "scan.tif"), descriptions=[])
    assert found.sheet == ("BW-00003" if "BW-00003" in text else None)


def test_long_side_file_is_read_at_its_beginning(tmp_path):
    with (tmp_path / "scan.txt").open("wb") as file:
        file.write(b"BW-00007")
        file.seek(3 << 30)  # a hole of three gigabytes, that takes no room on the disk
        file.write(b"BW-00008")
    (text,) = side_file_texts(tmp_path / "scan.tif")
    assert IDS.named_in(text) == {"BW-00007"}
    assert len(text) == 1 << 20


def test_side_file_that_names_every_sheet():
    """Every id was compared with every other, from every letter to every other."""
    text = " ".join(f"BW-{number:05}" for number in range(3000)) + " ... " * 50_000
    assert len(IDS.named_in(text)) == 3000
    join = decide(IDS, stem="", side_texts=[text], descriptions=[])
    assert join.sheet is None
    assert join.reason == (
        "its side file names BW-00000, BW-00001, BW-00002, BW-00003, BW-00004 and 2995 more"
    )


def test_ids_within_ids_still_give_way():
    ids = SheetIds(["BW-1", "BW-1-2", "b.w", "straße"])
    assert ids.named_in("bw-1-2") == {"BW-1-2"}
    assert ids.named_in("x/B.W.tif") == {"b.w"}
    assert ids.named_in("BW-12 aBW-1") == set()


def read_of(bench: Bench, scan: object) -> str:
    take(bench, record("T-1", 9, None, scan=str(scan)))
    (process,) = bench.json("curve", "Brickdust 100")["processes"]
    (test,) = process["tests"]
    return str(test["reason"])


@pytest.mark.parametrize("way", ["../outside.tif", "scans/../../outside.tif", ".."])
def test_a_records_relative_path_stays_in_the_archive(archive: Bench, way: str) -> None:
    (archive.folder.parent / "outside.tif").write_bytes(b"II*\0")
    reason = read_of(archive, way)
    assert "leads out of the archive" in reason
    assert "record the whole path" in reason


def test_a_whole_path_is_taken_at_its_word(archive: Bench) -> None:
    with Archive.open(archive.folder, readonly=True) as opened:
        assert opened.recorded_path("/elsewhere/T-1.tif").as_posix() == "/elsewhere/T-1.tif"
        assert opened.recorded_path("tests/../T-1.tif").resolve() == (archive.folder / "T-1.tif").resolve()


@pytest.mark.parametrize("kind", ["pipe", "device", "text", "folder"])
def test_a_record_makes_nothing_read_but_pictures(archive: Bench, kind: str) -> None:
    path = archive.folder / "T-1.tif"
    if kind == "pipe":
        os.mkfifo(path)
    elif kind == "device":
        path.symlink_to("/dev/zero")
    elif kind == "folder":
        path.mkdir()
    else:
        path.write_text("the secret of the kiln")
    reason = read_of(archive, "T-1.tif")
    assert "secret" not in reason
    assert {"pipe": "a device or a pipe", "device": "a device or a pipe", "folder": "this is a folder"}.get(
        kind, "none of TIFF, PNG and JPEG"
    ) in reason


def test_a_bad_scan_takes_no_other_along(archive: Bench) -> None:
    scan, _ = archive.scan_sheet("BW-01.tif")
    raw = scan.read_bytes()
    bad = []
    for name, content in {
        "cut.tif": raw[: len(raw) // 2],
        "lost.tif": raw[:4] + b"\xff\xff\xff\x7f" + raw[8:],
        "BW-02.png": b"\x89PNG\r\n\x1a\n" + b"\xff" * 100,
        "BW-03.jpg": b"\xff\xd8\xff" + b"\xff" * 100,
    }.items():
        bad.append(archive.folder / name)
        bad[-1].write_bytes(content)
    result = archive.run("ingest", *bad[:2], scan, *bad[2:], "--json", status=1)
    items = json.loads(result.stdout)["items"]
    assert [item["status"] for item in items] == ["refused", "refused", "added", "refused", "refused"]
    assert all(item["reason"].endswith(".") for item in items if item["status"] == "refused")
    assert tifffile.imread(scan).size
