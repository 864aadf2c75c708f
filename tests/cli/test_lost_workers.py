"""Scans are read by processes that may die; the run, the archive and the other scans outlive them."""

from dataclasses import replace
from pathlib import Path

import imagecodecs
import numpy as np
import pytest
import tifffile

from negcat import scans
from negcat.scans import Reduced
from negcat.work import ingest, workers
from negcat.work.archive import Archive
from negcat.work.looking_ahead import Foreseen
from negcat.work.reading_scans import Reading, Scanners, ToRead, read_scan
from tests.cli.conftest import Bench
from tests.simulation.kills import content, differences
from tests.unit import tasks

NOBODYS = Scanners(None, (), {})


@pytest.fixture
def by_name(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let a scan's name say what becomes of who reads it, and give it little time."""
    monkeypatch.setattr(ingest, "read_scan", tasks.read_scan_or_not)
    monkeypatch.setattr(ToRead, "seconds", property(lambda task: 0.5 if "hangs" in task.path.name else 600.0))


@pytest.mark.usefixtures("by_name")
def test_one_that_crashes_or_hangs_is_refused_and_the_others_are_taken(archive: Bench) -> None:
    for seed, name in enumerate(("BW-01 crashes", "BW-02", "BW-03 crashes once", "BW-03 hangs")):
        archive.scan_sheet(f"scans/{name}.tif", seed=seed)
    told = archive.json("ingest", archive.folder / "scans", "--jobs", 1, status=1)
    assert [(item["status"], item["sheet"]) for item in told["items"]] == [
        ("refused", None),
        ("added", "BW-02"),
        ("added", "BW-03"),
        ("refused", None),
    ]
    crashed, hung = (item["reason"] for item in told["items"] if item["status"] == "refused")
    assert crashed.startswith(
        f"{archive.folder / 'scans/BW-01 crashes.tif'}: the process that read it crashed"
    )
    assert "(SIGSEGV), twice" in crashed
    assert hung.startswith(f"{archive.folder / 'scans/BW-03 hangs.tif'}: reading it was not done after 0.5 s")
    for sentence in (crashed, hung):
        assert "scan it again" in sentence
        assert "\n" not in sentence


SPOTTED = """\
- sheet: {sheet}
  film: {film}
  format: 4x5
  lens: Aldwater
  cell: whole
  stop: 16
  time: 1
  print_target: silver contact
  readings:
  - {{name: post, role: shadow, ev: 9, zone: III, spot: {{x: 0.4, y: 0.4}}}}
  - {{name: far bank, role: highlight, ev: 12, spot: {{x: 0.6, y: 0.6, diameter_mm: 3}}}}
"""


def scans_of_all_kinds(bench: Bench) -> None:
    spotted = SPOTTED.format(sheet="BW-04", film="Brickdust 100")
    spotted += "  base_fog_spot: {x: 0.075, y: 0.5, diameter_mm: 0.8}\n"
    spotted += SPOTTED.format(sheet="BW-05", film="Stained 50")  # a grey scan can't measure it
    spotted += SPOTTED.format(sheet="BW-06", film="Clear 80")  # its scan will be cropped
    films = "films: [{name: Stained 50, box_speed: 50, channel: blue}, {name: Clear 80, box_speed: 80, base_fog: 0.2}]"
    bench.run("record", bench.records(f"{films}\nsheets:\n{spotted}", "spotted.yaml"))
    for seed, name in enumerate(("BW-04", "BW-05", "nobody's"), 2):
        bench.scan_sheet(f"scans/{name}.tif", seed=seed)
    bench.scan_sheet("scans/IMG_1.tif", seed=8, description="Sheet BW-03, evening")
    whole, _ = bench.scan_sheet("whole.tif", seed=9)
    codes = tifffile.imread(whole)
    bench.write("scans/BW-06.tif", codes[100:-100, 100:-100])
    bench.write("scans/positive.tif", 65535 - codes)
    (bench.folder / "scans/damaged.tif").write_bytes(b"II*\0 no scan")


@pytest.mark.parametrize("foreseen", ["rightly", "wrongly"])
def test_who_reads_them_makes_no_difference(
    measured: Bench, copy_tree, tmp_path_factory, monkeypatch: pytest.MonkeyPatch, foreseen: str
) -> None:
    """Workers find what they can of what is foreseen; what was foreseen wrongly is found again, to the last digit."""
    scans_of_all_kinds(measured)
    rightly, small = ingest.Foresight.of, ingest.Ingest._made_small
    found_again: list[str] = []

    def wrongly(self: ingest.Foresight, path: Path) -> Foreseen:
        right = rightly(self, path)
        return replace(right, joined=True, film_mm=(90, 120), film_channel="blue", profiles=())

    def noted(self: ingest.Ingest, read: Reading, path: Path, scanners: Scanners) -> Reduced:
        found_again.append(path.stem)
        return small(self, read, path, scanners)

    if foreseen == "wrongly":
        monkeypatch.setattr(ingest.Foresight, "of", wrongly)
    found = []
    for count in (0, 2):
        copy = tmp_path_factory.mktemp("jobs")
        copy_tree(measured.folder, copy)
        monkeypatch.setattr(ingest.Ingest, "_made_small", noted if count else small)
        with Archive.open(copy) as opened, workers.executor(count) as pool:
            run = ingest.ingest_scans(opened, [copy / "scans"], workers=pool)
            items = {Path(item.path).stem: item for item in run.finish(list(run))}
        statuses = {name: item.status for name, item in items.items()}
        unmatched = dict.fromkeys(("nobody's", "positive"), "unmatched")
        added = dict.fromkeys(("BW-04", "BW-05", "BW-06", "IMG_1"), "added")
        assert statuses == {**added, **unmatched, "BW-01": "unchanged", "damaged": "refused"}
        assert [name for name in added if not items[name].measured] == ["BW-05"]
        pictures = {path.name: path.read_bytes() for path in copy.glob("previews/*/*")}
        assert len(pictures) == 3 * 7  # of each a pyramid and two pictures
        found.append((content(copy), pictures))
    assert differences(found[0][0], found[1][0]) == []
    assert found[0][1] == found[1][1]
    # Of one the base+fog is its film's; of one it makes no difference what was foreseen.
    assert found_again == (
        ["BW-06"] if foreseen == "rightly" else ["BW-04", "BW-06", "IMG_1", "nobody's", "positive"]
    )


def test_a_run_stopped_goes_on_where_it_was(archive: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    for seed, sheet in enumerate(("BW-01", "BW-02", "BW-03")):
        archive.scan_sheet(f"scans/{sheet}.tif", seed=seed)
    take = ingest.Ingest._take

    def until_the_third(self: ingest.Ingest, path: Path, *args: object) -> ingest.Item:
        if path.stem == "BW-03":
            raise KeyboardInterrupt
        return take(self, path, *args)

    with monkeypatch.context() as patched:
        patched.setattr(ingest.Ingest, "_take", until_the_third)
        stopped = archive.run("ingest", archive.folder / "scans", "--jobs", 2, status=130)
    assert "2 added" in stopped.stdout
    assert "stopped after 2 of 3 scans, which are kept" in stopped.stderr
    again = archive.json("ingest", archive.folder / "scans")
    assert [item["status"] for item in again["items"]] == ["unchanged", "unchanged", "added"]


def test_what_was_taken_is_not_read_again_but_what_has_changed_is(
    archive: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    for seed, name in enumerate(("BW-01", "nobody's")):
        archive.scan_sheet(f"scans/{name}.tif", seed=seed)
    folder = archive.folder / "scans"
    first = archive.json("ingest", folder)["items"]
    monkeypatch.setattr(ingest, "read_scan", tasks.not_read)
    again = archive.json("ingest", folder)["items"]
    assert again == [{**item, "status": "unchanged"} for item in first]
    (folder / "BW-01.tif").touch()
    told = archive.json("ingest", folder, status=1)["items"]
    assert [item["status"] for item in told] == ["refused", "unchanged"]
    # Its pyramid is missing, its scanner is another, or there is a side file now: it is read for that.
    (folder / "nobody's.txt").write_text("BW-02")
    assert archive.json("ingest", folder / "nobody's.tif", status=2)["refused"] == 1


def test_no_memory_is_no_damage(archive: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    path = archive.folder / "BW-01.png"
    path.write_bytes(imagecodecs.png_encode(np.zeros((64, 64), np.uint16)))

    def none_left(*_: object, **__: object) -> None:
        raise MemoryError

    monkeypatch.setattr(imagecodecs, "png_decode", none_left)
    with Archive.open(archive.archive) as opened:
        (item,) = ingest.ingest_scans(opened, [path])
    assert item.reason is not None
    assert item.reason.startswith(f"{path}: to decode it takes more memory than this machine has for it")


@pytest.mark.parametrize("command", ["calibrate", "match", "measure"])
def test_what_kills_its_decoder_is_told_in_a_sentence_by_every_command(
    measured: Bench, monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    scan, (spot, *_) = measured.scan_sheet("scans/BW-01.tif")
    words = {
        "calibrate": [
            "calibrate",
            measured.scan_tablet(),
            "--scanner",
            "bench scanner",
            "--tablet",
            "tablet 21",
        ],
        "match": ["match", scan, "BW-02"],
        "measure": ["measure", "BW-01", "--spot", f"kiln mouth={spot[0] + 0.01},{spot[1]}"],
    }[command]
    before = content(measured.archive)
    for module, name in ((scans, "take"), (scans, "read_reduced"), (scans, "read_patch")):
        monkeypatch.setattr(module, name, tasks.read_by_nobody)
    told = measured.run(*words, status=2)
    assert "the process that read it crashed (SIGSEGV), twice" in told.stderr
    assert differences(content(measured.archive), before) == []


def test_a_worker_that_sees_no_archive_sends_the_pyramid(
    archive: Bench, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    path, _ = archive.scan_sheet("BW-01.tif")
    here = read_scan(ToRead(path, archive.folder / "previews", NOBODYS, 1))
    found = read_scan(ToRead(path, tmp_path / "away/previews", NOBODYS, 1))
    assert not (tmp_path / "away").exists()
    made = scans.pyramid_path(archive.folder / "previews", found.info.scan)
    assert (here.pyramid, found.pyramid, found.fault) == (None, made.read_bytes(), None)
    monkeypatch.setattr("negcat.work.reading_scans.MOST_SENT", 1000)
    found = read_scan(ToRead(path, tmp_path / "away/previews", NOBODYS, 1))
    assert found.pyramid is None
    assert "doesn't see this folder, and the pyramid is too large" in found.fault
    # What is sent is put in its place, and nothing is read once more for it.
    made.unlink()
    monkeypatch.undo()
    taken, take = [], scans.take
    monkeypatch.setattr(scans, "take", lambda *args, **words: taken.append(args) or take(*args, **words))
    monkeypatch.setattr(ingest.Ingest, "_previews_of", lambda *_: tmp_path / "away/previews")
    with Archive.open(archive.archive) as opened:
        list(ingest.ingest_scans(opened, [path]))
    assert made.is_file()
    assert len(taken) == 1


def test_no_cluster_is_told(archive: Bench) -> None:
    path, _ = archive.scan_sheet("scans/BW-01.tif")
    for words, sentence in (
        (["--workers", "desk:8786"], "names a cluster as dask://HOST:PORT"),
        (["--workers", "dask://desk:8786", "--jobs", 2], "goes without --jobs"),
        (["--workers", "dask://127.0.0.1:9"], "no scheduler answers at dask://127.0.0.1:9"),
    ):
        assert sentence in archive.run("ingest", path, *words, status=2).stderr
