"""Every scan that is taken has its pyramid, in the tones that its scanner's tablet tells."""

import shutil

import numpy as np
import pytest

from negcat.scans import Pyramid, pyramid_path
from negcat.work.archive import Archive
from negcat.work.previews import preview_path, pyramid_of
from tests.cli.conftest import Bench


def scan_of(bench: Bench, sheet: str = "BW-01") -> str:
    return bench.json("show", sheet)["scans"][0]["scan"]


def test_ingest_makes_the_pyramid_and_what_is_deleted_comes_back_the_same(measured: Bench) -> None:
    scan = scan_of(measured)
    path = pyramid_path(measured.archive / "previews", scan)
    made = path.read_bytes()
    pyramid = Pyramid(path)
    details = measured.json("show", "BW-01")["scans"][0]
    assert (pyramid.width, pyramid.height) == (details["width"], details["height"])
    assert pyramid.sha256 == details["sha256"]
    assert pyramid.linear
    assert "step tablet" in pyramid.reason
    pyramid.close()
    for damage in ("deleted", "cut short"):
        if damage == "deleted":
            shutil.rmtree(measured.archive / "previews")
        else:
            path.write_bytes(made[:200])
        with Archive.open(measured.archive, readonly=True) as archive:
            assert pyramid_of(archive, scan).tile_bytes(0, 0, 0)
        assert path.read_bytes() == made


def test_a_scan_taken_again_keeps_its_pyramid(measured: Bench) -> None:
    path = pyramid_path(measured.archive / "previews", scan_of(measured))
    before = path.stat()
    assert measured.json("ingest", measured.folder / "scans/BW-01.tif")["unchanged"] == 1
    assert path.stat().st_ino == before.st_ino
    path.unlink()
    measured.json("ingest", measured.folder / "scans/BW-01.tif")
    assert path.is_file()


def test_several_at_once_have_theirs_too(archive: Bench) -> None:
    for seed, name in ((1, "BW-01"), (2, "BW-02")):
        archive.scan_sheet(f"scans/{name}.tif", seed=seed)
    items = archive.json("ingest", archive.folder / "scans", "--jobs", 2)["items"]
    assert len(items) == 2
    for item in items:
        assert pyramid_path(archive.archive / "previews", item["scan"]).is_file()


def test_an_unmeasured_scan_is_shown_in_its_own_tones(archive: Bench) -> None:
    """Linear codes, encoded: mid-tones where a screen expects them."""
    codes = np.full((400, 500), round(0.18 * 65535), np.uint16)
    path = archive.write("scans/plain.tif", codes)
    (item,) = archive.json("ingest", path)["items"]
    with Archive.open(archive.archive, readonly=True) as opened:
        tones = pyramid_of(opened, item["scan"]).read(0, 0, 0, 500, 400)
        picture = preview_path(opened, item["scan"], "wall").read_bytes()
    assert abs(float(tones.mean()) - 117.6) < 1  # 0.18 in the curve of IEC 61966-2-1
    assert picture.startswith(b"\xff\xd8")


@pytest.mark.parametrize("calibrated", [False, True])
def test_previews_that_cannot_be_written_are_no_reason_to_refuse(
    request: pytest.FixtureRequest, calibrated: bool
) -> None:
    bench: Bench = request.getfixturevalue("measured" if calibrated else "archive")
    scan, _ = bench.scan_sheet("scans/BW-02.tif", seed=3)
    shutil.rmtree(bench.archive / "previews")
    (bench.archive / "previews").write_text("a file where the folder should be")
    result = bench.json("ingest", scan)
    assert result["added"] == 1
    assert result["items"][0]["reason"].count("can't be written") == 1
