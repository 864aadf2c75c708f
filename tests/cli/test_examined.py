"""What an examiner from outside found wrong once."""

import json
import os
import shutil
import subprocess
import sys
import textwrap
from pathlib import Path

import numpy as np
import pytest

from tests.cli.conftest import DENSITIES, PX_PER_MM, RECORDS, Bench
from tests.simulation.scanbench import Bed, Tablet


def test_a_step_lost_in_8_bits_has_no_code(archive: Bench) -> None:
    rng = np.random.default_rng(5)
    density = Tablet(DENSITIES).draw(PX_PER_MM, rng)
    codes = Bed(bits=8).codes(10.0**-density, rng, PX_PER_MM)
    scan = archive.write("eight.tif", (codes // 257).astype(np.uint8))
    args = ("calibrate", scan, "--scanner", "bench scanner", "--tablet", "tablet 21")
    given = archive.json(*args)
    assert given["missing_steps"]
    for number in given["missing_steps"]:
        assert given["steps"][number - 1]["code"] is None
    assert "nan" not in archive.run(*args).output
    assert json.dumps(given, allow_nan=False)


def test_a_known_scan_under_the_name_of_another_sheet_says_so(archive: Bench) -> None:
    scan, _ = archive.scan_sheet("a/BW-01.tif")
    archive.run("ingest", scan)
    copy = archive.folder / "b" / "BW-02.tif"
    copy.parent.mkdir()
    shutil.copyfile(scan, copy)
    (item,) = archive.json("ingest", copy)["items"]
    assert (item["status"], item["sheet"]) == ("unchanged", "BW-01")
    assert "of BW-02" in item["reason"]
    assert "negcat match" in item["reason"]
    archive.run("match", item["scan"], "BW-02")
    (item,) = archive.json("ingest", copy)["items"]
    assert "of BW-02" not in (item["reason"] or "")


def test_copies_that_name_two_sheets_wait_with_the_reason(archive: Bench) -> None:
    scan, _ = archive.scan_sheet("a/BW-11.tif")
    copy = archive.folder / "b" / "BW-12.tif"
    copy.parent.mkdir()
    shutil.copyfile(scan, copy)
    archive.run("ingest", scan, copy)
    new = RECORDS.replace("BW-01", "BW-11").replace("BW-02", "BW-12").replace("BW-03", "BW-13")
    assert archive.json("record", archive.records(new.replace("batch: B1", "batch: B9")))["joined"] == []
    (waiting,) = archive.json("pending")["join"]
    assert "BW-11" in waiting["reason"]
    assert "BW-12" in waiting["reason"]


@pytest.mark.parametrize("ending", [".TXT", ".YAML", ".tif.XMP"])
def test_a_side_file_counts_in_capitals_too(archive: Bench, ending: str) -> None:
    scan, _ = archive.scan_sheet("first.tif")
    (archive.folder / f"first{ending}").write_text("sheet: BW-03\n")
    (item,) = archive.json("ingest", scan)["items"]
    assert item["sheet"] == "BW-03"


def test_description_tags_that_differ_are_named_in_good_grammar(archive: Bench) -> None:
    scan, _ = archive.scan_sheet("BW-01.tif", description="BW-02, the pit")
    (item,) = archive.json("ingest", scan)["items"]
    assert item["reason"] == "its file name names BW-01, but its description tags name BW-02"


def test_init_takes_the_archive_option_too(tmp_path: Path) -> None:
    bench = Bench(tmp_path / "env")
    bench.run("init", "--archive", tmp_path / "named")
    assert (tmp_path / "named" / "negcat.db").is_file()
    bench.run("init")
    assert (tmp_path / "env" / "negcat.db").is_file()
    bench.run("init", tmp_path / "given")
    assert (tmp_path / "given" / "negcat.db").is_file()
    said = bench.run("init", tmp_path / "one", "-a", tmp_path / "two", status=2).stderr
    assert "DIR" in said
    assert not (tmp_path / "one").exists()
    assert not (tmp_path / "two").exists()


def test_a_verdict_that_does_not_exist_is_no_filter(archive: Bench) -> None:
    said = archive.run("find", "--verdict", "nice", status=2).stderr
    assert "'nice'" in said
    assert "contrasty" in said
    assert archive.json("find", "--verdict", "Not Measured")["count"] == 3
    assert archive.json("find", "--verdict", "thin, contrasty")["count"] == 0


def test_a_name_that_is_no_utf8_is_refused_and_the_others_are_taken(archive: Bench) -> None:
    folder = archive.folder / "card"
    archive.scan_sheet("card/BW-01.tif")
    odd = os.fsencode(folder) + b"/BW-02 \xff.tif"
    shutil.copyfile(folder / "BW-01.tif", odd)
    (folder / "BW-03.tif").symlink_to("gone.tif")
    given = archive.json("ingest", folder, status=1)
    assert (given["added"], given["refused"]) == (1, 2)
    said = {Path(item["path"]).name: item["reason"] or "" for item in given["items"]}
    assert "UTF-8" in said[os.fsdecode(b"BW-02 \xff.tif")]
    assert "isn't there" in said["BW-03.tif"]
    assert "UTF-8" in archive.run("ingest", folder, status=1).stdout
    odd_tablet = os.fsencode(folder) + b"/t\xff.tif"
    shutil.copyfile(archive.scan_tablet(), odd_tablet)
    words = ("calibrate", os.fsdecode(odd_tablet), "--scanner", "bench scanner", "--tablet", "tablet 21")
    assert "UTF-8" in archive.run(*words, status=2).stderr


def test_what_the_terminal_cannot_write_is_written_otherwise(archive: Bench) -> None:
    command = (sys.executable, "-c", "from negcat.cli import main; main()", "-a", str(archive.archive))
    for words in (["show", "BW-01"], ["show", "BW-01", "--json"]):
        done = subprocess.run(
            [*command[:3], words[0], *command[3:], *words[1:]],
            capture_output=True,
            check=False,
            env={**os.environ, "PYTHONIOENCODING": "latin-1", "PYTHONUTF8": "0"},
        )
        assert done.returncode == 0, done.stderr
        done.stdout.decode("latin-1")
    assert json.loads(done.stdout)["stop"] == "22½"


@pytest.mark.skipif(os.name != "posix", reason="permissions are those of POSIX")
def test_what_may_not_be_read_is_named_and_the_rest_is_taken(archive: Bench) -> None:
    archive.scan_sheet("card/BW-01.tif")
    archive.scan_sheet("card/shut/BW-02.tif")
    shut = archive.folder / "card" / "shut"
    program = textwrap.dedent(
        """
        import ctypes, sys
        # Root reads everything; without these two capabilities (DAC_OVERRIDE, DAC_READ_SEARCH) it does not. Taken out
        # of the bounding set (PR_CAPBSET_DROP), they don't come back to the worker processes either.
        libc = ctypes.CDLL(None)
        for capability in (1, 2):
            assert libc.prctl(24, capability, 0, 0, 0) == 0
        header = (ctypes.c_uint32 * 2)(0x20080522, 0)
        data = (ctypes.c_uint32 * 6)()
        assert libc.capset(header, data) == 0
        from negcat.cli import main
        main()
        """
    )

    def ingest(*paths: Path) -> tuple[int, dict]:
        done = subprocess.run(
            [sys.executable, "-c", program, "ingest", *map(str, paths), "--json"],
            capture_output=True,
            check=False,
            text=True,
            env={**os.environ, "NEGCAT_ARCHIVE": str(archive.archive)},
        )
        assert done.stdout, done.stderr
        return done.returncode, json.loads(done.stdout)

    shut.chmod(0)
    try:
        status, given = ingest(archive.folder / "card")
        assert (status, given["added"], given["refused"]) == (1, 1, 1)
        assert given["items"][1]["path"] == str(shut)
        status, given = ingest(archive.folder / "card" / "BW-01.tif", shut, shut / "BW-02.tif")
        assert (status, given["unchanged"], given["refused"]) == (1, 1, 2)
        assert all(
            "permission" in item["reason"].lower() or "may" in item["reason"] for item in given["items"][1:]
        )
    finally:
        shut.chmod(0o755)


@pytest.mark.parametrize("date", ["2026-13", "2026-02-30", "2026-05-03 25:00", "0000"])
def test_a_date_that_does_not_exist_is_no_filter(archive: Bench, date: str) -> None:
    assert f"'{date}'" in archive.run("find", "--since", date, status=2).stderr
    assert archive.json("find", "--since", "2026-05-04", "--until", "2026-06")["count"] == 2


def test_a_limit_past_all_sheets_is_no_failure(archive: Bench) -> None:
    assert len(archive.json("find", "--limit", 10**20)["sheets"]) == 3
