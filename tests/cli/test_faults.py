"""Bad input: one readable sentence, the right exit status, the archive as it was."""

import hashlib
import sqlite3
from pathlib import Path

import numpy as np
import pytest

from negcat.cli.program import COMMANDS
from tests.cli.conftest import PX_PER_MM, RECORDS, Bench
from tests.simulation.scanbench import Bed, Tablet


def content(bench: Bench) -> str:
    """Everything the catalogue holds, as text: two archives that are the same say the same."""
    with sqlite3.connect(bench.archive / "negcat.db") as database:
        # What SQLite notes down of its own indexes isn't content.
        lines = (line for line in database.iterdump() if "sqlite_stat" not in line)
        return hashlib.sha256("\n".join(lines).encode()).hexdigest()


def refused(bench: Bench, *args: object, says: str, status: int = 2) -> str:
    before = content(bench)
    result = bench.run(*args, status=status)
    assert content(bench) == before
    assert says in result.stderr, result.stderr
    assert result.stdout == "" or status == 1
    return result.stderr


def test_a_second_init_is_refused(archive: Bench) -> None:
    refused(archive, "init", archive.archive, says="archive already")


def test_every_fault_of_a_record_file_is_named_with_its_line(archive: Bench) -> None:
    text = (
        RECORDS.replace("stop: 22½", "stop: 22½½")
        .replace("time: 4 s", "time: four")
        .replace("place: Clay pit", "plaec: Clay pit")
    )
    said = refused(archive, "record", archive.records(text, "wrong.yaml"), says="wrong.yaml")
    lines = text.splitlines()
    for wrong in ("22½½", "four", "plaec"):
        number = next(i for i, line in enumerate(lines, 1) if wrong in line)
        assert any(wrong in line and f"line {number}" in line for line in said.splitlines()), (wrong, said)
    assert "place" in said


def test_a_record_of_an_unknown_lens_names_the_nearest(archive: Bench) -> None:
    sheet = "sheets: [{sheet: X-1, film: Brickdust 100, lens: Aldwatr, cell: whole, stop: 16, time: 1}]"
    said = refused(archive, "record", archive.records(sheet, "x.yaml"), says="Aldwatr")
    assert "'Aldwater'" in said


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (("show", "BW-99"), "BW-99"),
        (("match", "0123456789ab", "BW-01"), "0123456789ab"),
        (("measure", "BW-99"), "BW-99"),
        (("measure", "BW-01", "--spot", "chimney=0.5,0.5"), "chimney"),
        (("measure", "BW-01", "--spot", "wall=0.5"), "wall=0.5"),
        (("measure", "BW-01", "--spot", "wall=0.5,1.5"), "outside"),
        (("measure", "--spot", "wall=0.5,0.5"), "exactly one SHEET"),
        (("find", "--tag", "N+9"), "N+9"),
        (("find", "--since", "yesterday"), "yesterday"),
        (("ingest", "--scanner", "bench scaner", "."), "bench scanner"),
        (("calibrate", "x.tif", "--scanner", "none", "--tablet", "tablet 21"), "none"),
        (("record", "absent.yaml"), "absent.yaml"),
    ],
)
def test_an_unknown_name_or_a_wrong_word_is_one_sentence(
    archive: Bench, args: tuple[str, ...], says: str
) -> None:
    said = refused(archive, *args, says=says)
    assert len([line for line in said.splitlines() if line.startswith("negcat:") or "Error" in line]) == 1


def test_a_folder_outside_any_archive_is_said_so(bench: Bench) -> None:
    result = bench.run("show", "BW-01", status=2)
    assert "no archive" in result.stderr


def test_corrupt_and_truncated_scans_are_refused_and_the_rest_is_taken(archive: Bench) -> None:
    good, _ = archive.scan_sheet("scans/BW-01.tif")
    whole = good.read_bytes()
    (archive.folder / "scans" / "BW-02.tif").write_bytes(whole[: len(whole) // 2])
    (archive.folder / "scans" / "BW-03.tif").write_bytes(b"no picture at all")
    outcome = archive.json("ingest", archive.folder / "scans", archive.folder / "gone.tif", status=1)
    assert (outcome["added"], outcome["refused"]) == (1, 3)
    for item in outcome["items"]:
        assert (item["reason"] is not None) or item["status"] == "added"
        if item["status"] == "refused":
            assert Path(item["path"]).name in item["reason"]
            assert "\n" not in item["reason"]
    assert archive.json("ingest", archive.folder / "gone.tif", status=2)["refused"] == 1


def test_a_picture_without_a_tablet_is_no_calibration(archive: Bench) -> None:
    scan, _ = archive.scan_sheet("picture.tif")
    said = refused(
        archive, "calibrate", scan, "--scanner", "bench scanner", "--tablet", "tablet 21", says="picture.tif"
    )
    assert "tablet" in said
    noise = archive.write(
        "noise.tif", np.random.default_rng(1).integers(0, 65535, (400, 500)).astype(np.uint16)
    )
    refused(
        archive, "calibrate", noise, "--scanner", "bench scanner", "--tablet", "tablet 21", says="noise.tif"
    )


def test_a_lost_and_a_changed_master_are_told_apart(measured: Bench) -> None:
    path = measured.folder / "scans" / "BW-01.tif"
    data = bytearray(path.read_bytes())
    data[-1] ^= 1
    path.write_bytes(bytes(data))
    assert measured.json("verify", status=2)["items"][0]["status"] == "changed"
    path.unlink()
    checks = measured.json("verify", status=2)
    assert checks["items"][0]["status"] == "missing"
    assert checks["catalogue"] == "sound"


def test_every_command_has_help_with_an_example(bench: Bench) -> None:
    for name in COMMANDS:
        text = bench.run(name, "--help").stdout
        assert "Example" in text, name
        assert f"negcat {name}" in text, name


def test_every_command_that_prints_data_takes_json(bench: Bench) -> None:
    # Those that write files of their own, and a server, print no data.
    for name in set(COMMANDS) - {"serve", "print", "export"}:
        assert "--json" in bench.run(name, "--help").stdout, name


def test_another_tablet_is_not_taken_for_the_recorded_one(archive: Bench) -> None:
    """Eleven steps 0.30 apart fit the first eleven of 0.15 apart perfectly, and would halve every density."""
    rng = np.random.default_rng(3)
    density = Tablet(0.05 + 0.3 * np.arange(11)).draw(PX_PER_MM, rng)
    scan = archive.write("coarse.tif", Bed().codes(10.0**-density, rng, PX_PER_MM))
    said = refused(
        archive, "calibrate", scan, "--scanner", "bench scanner", "--tablet", "tablet 21", says="coarse.tif"
    )
    assert "another tablet" in said
