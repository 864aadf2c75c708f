"""The whole archive in a bag: valid by a public validator, masters as they are, honest about what is missing."""

from __future__ import annotations

import contextlib
import csv
import hashlib
import json
import logging
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import unicodedata
from collections import namedtuple
from pathlib import Path
from urllib.parse import unquote, urlparse

import bagit
import pytest

from negcat.catalogue import Catalogue
from negcat.work import bagging, export_bag
from tests.cli.test_backing_up import contents
from tests.cli.test_export_records import FULL, run

logging.getLogger("bagit").setLevel(logging.CRITICAL)


def validate(folder: Path) -> None:
    bagit.Bag(str(folder)).validate()


def masters(folder: Path) -> dict[str, dict[str, str]]:
    with (folder / "data" / "masters.csv").open(encoding="utf-8", newline="") as file:
        return {row["scan"] or row["shows"]: row for row in csv.DictReader(file)}


def left_behind(folder: Path) -> list[str]:
    return [path.name for path in folder.iterdir() if path.name.startswith(".")]


class Shelf:
    """An archive that knows of masters; they are no pictures, which nobody looks into here."""

    def __init__(self, root: Path) -> None:
        self.root = root
        run("init", root)
        (root / "full.yaml").write_text(FULL, encoding="utf-8")
        run("record", root / "full.yaml", "-a", root)
        (root / "tests").mkdir()
        (root / "tests" / "T-2.tif").write_bytes(b"a film test")

    def put(self, stored: str, content: bytes = b"") -> str:
        path = self.root / stored
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content or stored.encode())
        sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
        status = path.stat()
        with Catalogue.open(self.root / "negcat.db") as catalogue:
            catalogue.save_scan(
                {
                    "sha256": sha256,
                    "path": stored,
                    "size_bytes": status.st_size,
                    "modified_ns": status.st_mtime_ns,
                    "width": 4,
                    "height": 5,
                    "bits": 16,
                }
            )
        return sha256[:12]


@pytest.fixture
def shelf(tmp_path: Path) -> Shelf:
    return Shelf(tmp_path / "full")


def test_all_is_in_it_and_nothing_was_touched(sample, tmp_path, copy_tree):
    folder = tmp_path / "bag"
    with Catalogue.open(sample / "negcat.db", readonly=True) as catalogue:
        scans = catalogue.scans()
    before = {row["path"]: (sample / row["path"]).stat() for row in scans}
    told = json.loads(run("export", "bag", folder, "-a", sample, "--json").stdout)
    assert told["failed"] == []
    assert list(told["masters"]) == ["copied"]
    validate(folder)
    for row in scans:
        there, packed = sample / row["path"], folder / "data" / "archive" / row["path"]
        assert hashlib.sha256(packed.read_bytes()).hexdigest() == row["sha256"]
        assert packed.stat().st_mtime_ns == there.stat().st_mtime_ns == before[row["path"]].st_mtime_ns
    assert {path.name for path in folder.iterdir()} == {
        "bag-info.txt", "bagit.txt", "data", "manifest-sha256.txt", "manifest-sha512.txt", "tagmanifest-sha256.txt",
        "tagmanifest-sha512.txt",
    }  # fmt: skip
    assert {path.name for path in (folder / "data").iterdir()} == {
        "README.txt", "archive", "catalogue.sql", "masters.csv", "records", "tables",
    }  # fmt: skip
    assert told["bytes"] == sum(
        path.stat().st_size for path in (folder / "data").rglob("*") if path.is_file()
    )

    # The tablet's scan and the film tests' come along.
    what = {row["what"] for row in masters(folder).values()}
    assert {"negative", "tablet"} <= what

    # The SQL text is the catalogue, and makes a working one.
    assert contents(folder / "data" / "archive" / "negcat.db") == contents(sample / "negcat.db")
    again = tmp_path / "again.db"
    with contextlib.closing(sqlite3.connect(again)) as made:
        made.executescript((folder / "data" / "catalogue.sql").read_text(encoding="utf-8"))
    with (
        Catalogue.open(again) as made_again,
        Catalogue.open(sample / "negcat.db", readonly=True) as catalogue,
    ):
        assert made_again.faults() == []
        assert made_again.sheets() == catalogue.sheets()
        assert made_again.scans() == scans
    # A copy of the archive in it is an archive.
    copy_tree(folder / "data" / "archive", tmp_path / "copy")
    run("verify", "-a", tmp_path / "copy")
    # And the records are a record file that makes the same archive again.
    run("export", "records", tmp_path / "records.yaml", "-a", sample)
    packed = folder / "data" / "records" / "records.yaml"
    assert packed.read_bytes() == (tmp_path / "records.yaml").read_bytes()


def test_names_that_not_every_disk_takes(shelf, tmp_path):
    elsewhere = tmp_path / "elsewhere"
    odd = (
        "scans/100%.tif",
        "scans/100%25.tif",
        "scans/line\nbreak.tif",
        "scans/return\r.tif",
        "scans/what?.tif",
        "scans/aux.tif",
        "scans/BW-07. ",
        "~/BW-08.tif",
        "scans/" + unicodedata.normalize("NFD", "Höhe") + ".tif",
        str(elsewhere / "BW-09.tif"),
        str(elsewhere / "scans" / "BW-09.tif"),
    )
    plain = ("scans/BW-01.tif", "scans/kiln & yard, Höhe (2).tif", "BW-02.tif")
    capitals = ("Scans/bw-01.TIF", "scans/bw-02.tif/BW-03.tif", "SCANS/BW-02.TIF")
    ids = {stored: shelf.put(stored) for stored in (*odd, *plain, *capitals)}
    folder = tmp_path / "bag"
    run("export", "bag", folder, "-a", shelf.root)
    validate(folder)
    found = masters(folder)
    for stored, scan in ids.items():
        row = found[scan]
        assert row["status"] == "copied"
        assert row["path"] == stored
        assert (folder / row["bag_path"]).read_bytes() == stored.encode()
        assert (row["bag_path"] == f"data/archive/{stored}") == (stored in (*plain, capitals[1]))
    paths = [row["bag_path"] for row in found.values()]
    assert len({unicodedata.normalize("NFC", path).casefold() for path in paths}) == len(paths)
    assert all(bagging.is_plain(part) for path in paths for part in path.split("/"))
    assert found["T-2"]["bag_path"] == "data/archive/tests/T-2.tif"


def test_a_manifest_encodes_what_rfc_8493_says(tmp_path):
    bag = bagging.Bag(tmp_path)
    for name in ("data/line\nbreak", "data/return\r", "data/%0A"):
        bag.place(name).write_bytes(name.encode())
        bag.add(name)
    bag.close([("Note", "on two\nlines")])
    listed = (tmp_path / "manifest-sha512.txt").read_text(encoding="utf-8").splitlines()
    assert [line.split("  ")[1] for line in listed] == ["data/line%0Abreak", "data/return%0D", "data/%250A"]
    assert "Note: on two lines\n" in (tmp_path / "bag-info.txt").read_text(encoding="utf-8")
    assert not bag.is_free("data/LINE\nBREAK")


def test_what_is_missing_or_changed_is_said_here_and_in_the_bag(shelf, tmp_path):
    whole, gone, changed, twice = (shelf.put(f"scans/BW-0{number}.tif") for number in range(1, 5))
    (shelf.root / "scans" / "BW-02.tif").unlink()
    (shelf.root / "scans" / "BW-03.tif").write_bytes(b"something else")
    # Of this one a copy was seen, which is still what was taken.
    shelf.put("copies/BW-04.tif", b"scans/BW-04.tif")
    (shelf.root / "scans" / "BW-04.tif").write_bytes(b"something else")
    folder = tmp_path / "bag"
    done = run("export", "bag", folder, "-a", shelf.root, status=1)
    validate(folder)
    assert gone in done.stdout
    assert "scans/BW-03.tif" in done.stdout
    assert "2 copied" not in done.stdout
    found = masters(folder)
    assert {scan: found[scan]["status"] for scan in (whole, gone, changed, twice)} == {
        whole: "copied", gone: "missing", changed: "changed", twice: "copied",
    }  # fmt: skip
    assert found[twice]["path"] == "copies/BW-04.tif"
    assert (found[gone]["bag_path"], found[changed]["bag_path"]) == ("", "")
    info = (folder / "bag-info.txt").read_text(encoding="utf-8")
    assert f"Master-Not-In-Bag: missing: negative {gone} of unknown, scans/BW-02.tif\n" in info
    assert f"Master-Not-In-Bag: changed: negative {changed} of unknown, scans/BW-03.tif\n" in info
    packed = [path.name for path in (folder / "data").rglob("*.tif")]
    assert sorted(packed) == ["BW-01.tif", "BW-04.tif", "T-2.tif"]
    told = json.loads(run("export", "bag", tmp_path / "other", "-a", shelf.root, "--json", status=1).stdout)
    assert [one["status"] for one in told["failed"]] == ["missing", "changed"]


def test_without_masters_it_is_whole_when_they_are_fetched(shelf, tmp_path):
    shelf.put("scans/kiln yard, Höhe.tif")
    shelf.put(str(tmp_path / "elsewhere" / "100%.tif"))
    gone = shelf.put("scans/BW-02.tif")
    (shelf.root / "scans" / "BW-02.tif").unlink()
    folder = tmp_path / "bag"
    told = json.loads(
        run("export", "bag", folder, "-a", shelf.root, "--no-masters", "--json", status=1).stdout
    )
    assert told["masters"] == {"left out": 3, "missing": 1}
    assert told["failed"][0]["scan"] == gone
    assert not list((folder / "data").rglob("*.tif"))
    with pytest.raises(bagit.BagValidationError):
        validate(folder)
    bag = bagit.Bag(str(folder))
    bag.validate_fetch()
    for url, size, path in bag.fetch_entries():
        assert urlparse(url).scheme == "file"
        source = Path(unquote(urlparse(url).path))
        assert source.stat().st_size == int(size)
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(source, folder / path)
    validate(folder)


def test_what_can_not_be_made_whole_leaves_nothing(shelf, tmp_path, monkeypatch):
    shelf.put("scans/BW-01.tif")
    folder = tmp_path / "bag"
    filled = tmp_path / "filled"
    filled.mkdir()
    (filled / "mine.txt").write_text("mine", encoding="utf-8")
    assert "holds something already" in run("export", "bag", filled, "-a", shelf.root, status=2).stderr
    usage = namedtuple("usage", "total used free")
    with monkeypatch.context() as full:
        full.setattr(export_bag.shutil, "disk_usage", lambda path: usage(10, 0, 10))
        assert "add --no-masters" in run("export", "bag", folder, "-a", shelf.root, status=2).stderr
    with monkeypatch.context() as broken:

        def fails(*_: object) -> int:
            raise OSError(28, "No space left on device", "bag-info.txt")

        broken.setattr(bagging.Bag, "close", fails)
        assert "No space left" in run("export", "bag", folder, "-a", shelf.root, status=2).stderr
    assert {path.name for path in tmp_path.iterdir()} == {"full", "filled"}


_KILLED = """
import os, signal, sys
from negcat.work import bagging
from negcat.cli import main

def killed(*_):
    os.kill(os.getpid(), signal.SIGKILL)

bagging.Bag.close = killed
main(["export", "bag", sys.argv[1], "-a", sys.argv[2]])
"""


def test_a_killed_one_leaves_no_folder_of_that_name_and_the_next_clears_up(shelf, tmp_path):
    folder = tmp_path / "bag"
    words = [sys.executable, "-c", _KILLED, str(folder), str(shelf.root)]
    assert subprocess.run(words, capture_output=True, env=os.environ).returncode == -signal.SIGKILL
    assert not folder.exists()
    assert len(left_behind(tmp_path)) == 1
    run("export", "bag", folder, "-a", shelf.root)
    assert left_behind(tmp_path) == []
    validate(folder)
