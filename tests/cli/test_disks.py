"""Disks that are full, read-only, gone or odd: one sentence, the right exit status, the archive as it was."""

import contextlib
import json
import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest

from negcat.scans import reading
from negcat.work import ingest as ingesting
from negcat.work.archive import Archive
from tests.cli.conftest import Bench
from tests.cli.test_faults import content
from tests.simulation.killing import Ended, Stop, run

MANY = "films:\n" + "".join(
    f"  - {{name: 'Film {number:05d} {'of the brickworks ' * 6}', box_speed: 100}}\n"
    for number in range(1500)
)
NO_RIGHTS = Stop("no rights", 0)


def said_once(ended: Ended, *words: str, status: int = 2) -> None:
    assert ended.status == status, ended
    lines = [line for line in ended.stderr.splitlines() if line.startswith("negcat:")]
    assert len(lines) == 1, ended.stderr
    assert "should not" not in lines[0]
    for word in words:
        assert word in lines[0], lines[0]


def negcat(bench: Bench, *args: object, stop: Stop | None = None) -> Ended:
    words = [str(arg) for arg in args]
    with TemporaryDirectory() as elsewhere:
        return run([*words, "--archive", str(bench.archive)], Path(elsewhere), stop)


@pytest.fixture
def outside(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder that is not the archive's."""
    return tmp_path_factory.mktemp("outside")


@pytest.fixture
def small_disk(outside: Path) -> Iterator[Path]:
    """A disk of 3 MB."""
    place = outside / "disk"
    place.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=3m", "none", str(place)], capture_output=True
    )
    if mounted.returncode:
        pytest.skip("no disk can be mounted here")
    yield place
    subprocess.run(["umount", "-l", str(place)], check=True)


def test_a_full_disk(measured: Bench, outside: Path, small_disk: Path) -> None:
    """The real thing, where one can be mounted."""
    shutil.copytree(measured.folder, small_disk / "archive")
    bench = Bench(small_disk / "archive")
    many = outside / "many.yaml"
    many.write_text(MANY, encoding="utf-8")
    filler = small_disk / "filler"
    with filler.open("wb", buffering=0) as file, contextlib.suppress(OSError):
        while True:
            file.write(b"x" * 4096)
    os.truncate(filler, filler.stat().st_size - 300_000)
    before = content(bench)
    said_once(negcat(bench, "record", many), "full", "make room")
    assert content(bench) == before
    os.truncate(filler, 0)
    assert negcat(bench, "record", many).status == 0
    assert negcat(bench, "verify").status == 0


@pytest.mark.parametrize("args", [("record", "many.yaml"), ("ingest", "BW-02.tif")])
def test_a_file_that_can_grow_no_further(measured: Bench, outside: Path, args: tuple[str, ...]) -> None:
    bench = measured
    (outside / "many.yaml").write_text(MANY, encoding="utf-8")
    shutil.move(bench.scan_sheet("BW-02.tif", seed=2)[0], outside)
    before = content(bench)
    words = [outside / arg if "." in arg else arg for arg in args]
    ended = negcat(bench, *words, stop=Stop("no room", 16384))
    said_once(ended, "negcat.db", "has room")
    assert content(bench) == before
    assert not list(bench.folder.rglob("*.part"))
    assert negcat(bench, *words).status == 0
    assert negcat(bench, "verify").status == 0


def test_a_read_only_archive(measured: Bench, outside: Path) -> None:
    folders = [measured.folder, *(path for path in measured.folder.rglob("*") if path.is_dir())]
    before = content(measured)
    shutil.move(measured.scan_sheet("BW-02.tif", seed=2)[0], outside)
    record = measured.records("films: [{name: Clinker 400, box_speed: 400}]")
    (measured.folder / "negcat.db").chmod(0o444)
    for folder in folders:
        folder.chmod(0o555)
    try:
        for args in (("find",), ("show", "BW-01"), ("pending",), ("verify",), ("review",), ("holders",)):
            ended = negcat(measured, *args, stop=NO_RIGHTS)
            assert ended.status == 0, (args, ended)
            assert ended.stdout
        for args in (
            ("record", record),
            ("ingest", outside / "BW-02.tif"),
            ("measure", "BW-01"),
            ("measure", "BW-01", "--spot", "sky=0.4,0.4"),
            (
                "calibrate",
                measured.folder / "tablet.tif",
                "--scanner",
                "bench scanner",
                "--tablet",
                "tablet 21",
            ),
            ("review", "--accept", "index-brickdust-100"),
        ):
            said_once(negcat(measured, *args, stop=NO_RIGHTS), "can't be written to", "copy the archive")
        said_once(negcat(measured, "init", stop=NO_RIGHTS), "archive already")
        made = run(["init", str(measured.folder / "new")], measured.folder.parent, NO_RIGHTS)
        said_once(made, "can't be made", "choose a folder you may write in")
    finally:
        for folder in folders:
            folder.chmod(0o755)
    assert content(measured) == before


def test_masters_whose_disk_is_away(measured: Bench) -> None:
    scans = measured.folder / "scans"
    scans.rename(measured.folder / "away")
    before = content(measured)
    for args in (("find",), ("show", "BW-01"), ("pending",), ("review",)):
        assert negcat(measured, *args).status == 0
    said_once(negcat(measured, "measure", "BW-01"), "BW-01", "put it back")
    assert "no such file" in negcat(measured, "ingest", scans / "BW-01.tif").stdout
    assert content(measured) == before
    assert measured.json("verify", status=2)["items"][0]["status"] == "missing"
    (measured.folder / "away").rename(scans)
    assert negcat(measured, "measure", "BW-01").status == 0


def test_an_archive_that_goes_away_midway(
    measured: Bench, outside: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for number in (2, 3):
        measured.scan_sheet(f"new/BW-0{number}.tif", seed=number)
    new = shutil.move(measured.folder / "new", outside)
    gone, home = outside / "carried off", outside / "home"
    shutil.copytree(measured.folder, home)
    took = ingesting.Ingest._take

    def take_and_go(self: ingesting.Ingest, *args: object) -> object:
        item = took(self, *args)  # type: ignore[arg-type]
        if home.exists():
            home.rename(gone)
        return item

    monkeypatch.setattr(ingesting.Ingest, "_take", take_and_go)
    ended = run(["ingest", str(new), "--archive", str(home)], outside)
    said_once(ended, "not there any more", "nothing was written")
    assert not home.exists()
    monkeypatch.undo()
    with Archive.open(gone) as archive:
        assert archive.catalogue.faults() == []
        assert [row["sheet"] for row in archive.catalogue.scans()] == ["BW-01", "BW-02"]
    ended = run(["ingest", str(new), "--archive", str(gone)], outside)
    assert ended.status == 0
    assert "1 added, 1 unchanged" in ended.stdout


def test_a_master_that_changes_while_it_is_read(archive: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    scan, _ = archive.scan_sheet("scans/BW-01.tif")
    before = content(archive)
    reduce = reading._reduce

    def changing(master: Any, *args: Any) -> Any:
        reduced = reduce(master, *args)
        # Of the same length, as when a scanner writes its file anew.
        scan.write_bytes(bytes(reversed(scan.read_bytes())))
        return reduced

    monkeypatch.setattr(reading, "_reduce", changing)
    with Archive.open(archive.archive) as opened:
        (item,) = ingesting.ingest_scans(opened, [scan])
    assert item.status == "refused"
    assert item.reason is not None
    assert "changed while it was being read" in item.reason
    assert content(archive) == before
    assert not [path for path in (archive.folder / "previews").rglob("*") if path.is_file()]


ODD = {
    "pipe": ["pipe", "save the scan as a file"],
    "device": ["device", "save the scan as a file"],
    "link to nothing": ["a link to", "gone.tif", "isn't there"],
    "link to itself": ["can't be read"],
    "not readable": ["may not be read", "permission"],
}


def test_masters_that_are_none(archive: Bench) -> None:
    folder = archive.folder / "odd"
    folder.mkdir()
    os.mkfifo(folder / "pipe.tif")
    (folder / "device.tif").symlink_to("/dev/zero")
    (folder / "link to nothing.tif").symlink_to("gone.tif")
    (folder / "link to itself.tif").symlink_to("link to itself.tif")
    archive.scan_sheet("odd/not readable.tif")[0].chmod(0)
    (folder / "folder.tif").mkdir()
    before = content(archive)
    ended = negcat(archive, "ingest", folder, "--json", stop=NO_RIGHTS)
    assert ended.status == 2, ended
    items = {Path(item["path"]).stem: item for item in json.loads(ended.stdout)["items"]}
    assert items.keys() == ODD.keys()
    for kind, words in ODD.items():
        assert items[kind]["status"] == "refused"
        for word in words:
            assert word in items[kind]["reason"]
        calibrated = negcat(
            archive,
            "calibrate",
            folder / f"{kind}.tif",
            "--scanner",
            "bench scanner",
            "--tablet",
            "tablet 21",
            stop=NO_RIGHTS,
        )
        said_once(calibrated, *words)
    assert content(archive) == before
