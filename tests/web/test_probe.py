"""The sheet under the glass: its tables of tones, and the probe that measures on the master."""

import itertools
import time
from pathlib import Path

import numpy as np
import pytest
import tifffile
from datasette.app import Datasette

from negcat.scans import open_pyramid, pyramid_path
from negcat.web.serving import assemble
from negcat.web.viewing import probe_words
from negcat.web.zonescale import ZONE_WORDS, zone_colours
from negcat.work.archive import Archive
from negcat.work.ingest import ingest_scans
from negcat.work.viewing import Probed

# What tests.web.conftest puts into BW-01's scan: net densities left and right, base+fog 0.12 around.
SHADOW, HIGHLIGHT, BASE_FOG = 0.42, 1.30, 0.12


@pytest.fixture
def asked(archive: Path):
    """Ask for a document of a sheet's viewer."""
    site = assemble(archive)

    async def ask(sheet: str, document: str, **query: object):
        found = await site.client.get(
            f"/sheet/{sheet}/{document}.json", params={"scan": scan_of(archive, sheet), **query}
        )
        return found.status_code, found.json()

    return ask


def scan_of(archive: Path, sheet: str) -> str:
    with Archive.open(archive, readonly=True) as opened:
        return next(row["scan"] for row in opened.catalogue.scans() if f"{sheet}." in row["path"])


@pytest.mark.asyncio
@pytest.mark.parametrize(("x", "net", "word"), [(0.3, SHADOW, "shadow"), (0.7, HIGHLIGHT, "texture")])
async def test_the_density_at_a_point(asked, x, net, word):
    status, found = await asked("BW-01", "probe", x=x, y=0.5, d=2)
    assert status == 200
    assert found["density"] == pytest.approx(net + BASE_FOG, abs=0.01)
    assert found["net_density"] == pytest.approx(net, abs=0.01)
    assert 0 < found["sd"] < 0.03
    assert 0 < found["net_sd"] < 0.03
    assert f"{found['net_density']:.2f} ± " in found["net_text"]
    assert word in found["zone_text"]
    assert found["zone_text"] in found["words"]
    assert ZONE_WORDS[found["nearest_zone"]] in found["words"]


@pytest.mark.asyncio
async def test_the_probe_and_the_readings_agree(asked, archive):
    site = assemble(archive)
    sheet = (await site.client.get("/sheet/BW-01.json")).json()
    for reading in sheet["readings"]:
        spot = reading["spot"]
        _, found = await asked("BW-01", "probe", x=spot["x"], y=spot["y"], d=spot["diameter_mm"])
        for name in ("density", "net_density", "print_zone", "print_zone_sd"):
            assert found[name] == pytest.approx(reading[name], abs=1e-9), name
        assert found["net_sd"] == pytest.approx(reading["sd"], abs=1e-9)


@pytest.mark.asyncio
async def test_outside_the_profiles_range_it_says_so_in_words(asked):
    # Open glass beside the film is clearer than the tablet's first step.
    status, found = await asked("BW-01", "probe", x=0.005, y=0.5, d=0.5)
    assert (status, found["density"], found["bound"]) == (200, None, "clearer")
    assert found["words"].startswith("Clearer than 0.")
    assert found["nearest_zone"] is None


@pytest.mark.asyncio
async def test_the_clear_rebate_is_lost(asked):
    _, found = await asked("BW-01", "probe", x=0.5, y=0.045, d=1)
    assert (found["lost"], found["print_zone"], found["nearest_zone"]) == (True, None, 0)
    assert "lost in base+fog" in found["words"]


@pytest.mark.asyncio
@pytest.mark.parametrize(
    "query",
    [
        {},
        {"x": 0.5},
        {"x": "here", "y": 0.5},
        {"x": "nan", "y": 0.5},
        {"x": "inf", "y": 0.5},
        {"x": -0.01, "y": 0.5},
        {"x": 0.5, "y": 1.01},
        {"x": 0.5, "y": 0.5, "d": 0},
        {"x": 0.5, "y": 0.5, "d": "nan"},
        {"x": 0.5, "y": 0.5, "d": 1000},
    ],
)
async def test_a_question_that_cant_be_read_is_answered_in_a_sentence(asked, query):
    status, found = await asked("BW-01", "probe", **query)
    assert status == 400
    assert found["error"].endswith(".")


@pytest.mark.asyncio
async def test_a_scan_of_another_sheet_and_what_is_not_there(archive):
    site = assemble(archive)
    for path in (
        f"/sheet/BW-01/probe.json?scan={scan_of(archive, 'BW-02')}&x=.5&y=.5",
        "/sheet/BW-01/probe.json?x=.5&y=.5",
        "/sheet/none/probe.json?scan=0123456789ab&x=.5&y=.5",
        f"/sheet/BW-04/viewer.json?scan={scan_of(archive, 'BW-01')}",
    ):
        answer = await site.client.get(path)
        assert (answer.status_code, answer.json()["status"]) == (404, 404), path


@pytest.mark.asyncio
async def test_who_may_not_read_may_not_probe(archive):
    site = assemble(archive, sign_in=True)
    answer = await site.client.get(f"/sheet/BW-01/probe.json?scan={scan_of(archive, 'BW-01')}&x=.5&y=.5")
    assert answer.status_code == 403
    assert "density" not in answer.text


@pytest.mark.asyncio
async def test_tables_turn_a_tiles_tones_into_the_measured_zones(asked, archive):
    """A tone drawn by the tables is in the zone that the probe measures on the master."""
    _, document = await asked("BW-01", "viewer")
    tables = document["tables"]
    pyramid = open_pyramid(pyramid_path(archive / "previews", document["scan"]))
    tones = pyramid.read(0, 0, 0, pyramid.width, pyramid.height)[..., 0]
    for x in (0.3, 0.7):
        _, found = await asked("BW-01", "probe", x=x, y=0.5, d=2)
        patch = tones[int(0.48 * pyramid.height) : int(0.52 * pyramid.height), int(x * pyramid.width)]
        assert tables["zones"][int(np.median(patch))] == found["nearest_zone"]
    known = [zone for zone in tables["zones"] if zone is not None]
    assert known == sorted(known, reverse=True)
    assert tables["zones"][255] is None  # open glass
    printed = tables["printed"]
    assert len(printed) == len(tables["zones"]) == 256
    assert printed == sorted(printed, reverse=True)
    assert printed[0] > 200 > 60 > printed[255]


@pytest.mark.asyncio
async def test_the_viewer_is_told_where_everything_is(asked, archive):
    _, document = await asked("BW-01", "viewer")
    assert (document["width"], document["height"]) == (1040, 840)
    assert [(spot["letter"], spot["x"], spot["y"]) for spot in document["spots"]] == [
        ("a", 0.3, 0.5),
        ("b", 0.7, 0.5),
    ]
    assert document["frame"] == pytest.approx([60 / 1040, 60 / 840, 980 / 1040, 780 / 840], abs=0.006)
    assert [entry["zone"] for entry in document["legend"]][:3] == ["0", "I", "II"]
    site = assemble(archive)
    tile = await site.client.get(f"{document['image']}/full/max/0/default.jpg?v={document['stamp']}")
    assert tile.headers["cache-control"] == "max-age=31536000, immutable"
    old = await site.client.get(f"{document['image']}/full/max/0/default.jpg?v=other")
    assert old.headers["cache-control"] == "max-age=3600"


@pytest.mark.asyncio
async def test_a_scan_that_is_not_measured_says_why(tmp_path, archive):
    # As tests.web.conftest's, but from a scanner nobody has on record.
    from tests.web.conftest import build

    root = build(tmp_path)
    tifffile.imwrite(
        tmp_path / "BW-04.tif",
        np.full((500, 600), 20000, np.uint16),
        resolution=(200, 200),
        software="Something else",
        metadata=None,
    )
    with Archive.open(root) as opened:
        (item,) = ingest_scans(opened, [tmp_path / "BW-04.tif"])
    assert item.sheet == "BW-04", item.reason
    site = assemble(root)
    scan = scan_of(root, "BW-04")
    document = (await site.client.get(f"/sheet/BW-04/viewer.json?scan={scan}")).json()
    assert (document["tables"], document["measurable"]) == (None, False)
    assert "scanner isn't known" in document["reason"]
    found = (await site.client.get(f"/sheet/BW-04/probe.json?scan={scan}&x=.5&y=.5")).json()
    assert (found["density"], found["words"]) == (None, document["reason"])


@pytest.mark.asyncio
async def test_a_master_that_is_away_is_a_sentence(tmp_path):
    from tests.web.conftest import build

    root = build(tmp_path)
    (tmp_path / "masters" / "BW-01.tif").unlink()
    answer = await assemble(root).client.get(
        f"/sheet/BW-01/probe.json?scan={scan_of(root, 'BW-01')}&x=.5&y=.5"
    )
    assert answer.status_code == 500
    assert "is not at" in answer.json()["error"]


@pytest.mark.asyncio
async def test_the_library_comes_from_its_package(archive):
    site = Datasette([str(archive / "negcat.db")])
    script = await site.client.get("/-/leaflet/leaflet.js")
    assert script.headers["content-type"] == "text/javascript; charset=utf-8"
    assert "Leaflet 1.9" in script.text[:200]
    again = await site.client.get("/-/leaflet/leaflet.js", headers={"if-none-match": script.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    assert (await site.client.get("/-/leaflet/../viewing.py")).status_code == 404


def test_words_for_every_case():
    nothing = Probed(0.5, 0.5, 2.0)
    for probed, words in (
        (Probed(0.5, 0.5, 2.0, 1.3, 0.02), "Density 1.30 ± 0.02."),
        (nothing, "Not measured."),
        (Probed(0.5, 0.5, 2.0, 1.9, 0.02, 1.8, 0.03, 11.2, 0.2), "beyond X, paper white."),
        (Probed(0.5, 0.5, 2.0, 0.9, 0.02, 0.8, 0.03, 5.51, 0.2), "prints on zone 5.5, light middle."),
    ):
        assert probe_words(probed)["words"].endswith(words)


def _lab(colour: str, sight: np.ndarray) -> np.ndarray:
    """CIE L*a*b* (D65) of a colour as somebody with such sight sees it."""
    encoded = np.array([int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)])
    linear = np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    ratio = to_xyz @ np.clip(sight @ linear, 0, 1) / [0.95047, 1, 1.08883]
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


# Machado, Oliveira and Fernandes 2009, severity 1.0, for linear RGB.
SIGHTS = {
    "all colours": np.eye(3),
    "without red": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "without green": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "without blue": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}


@pytest.mark.parametrize("sight", SIGHTS)
def test_zones_stay_in_order_and_apart_for_every_sight(sight):
    seen = [_lab(colour, SIGHTS[sight]) for colour in zone_colours()]
    for (number, dark), light in zip(enumerate(seen), seen[1:], strict=False):
        assert light[0] - dark[0] > 5.5, (number, sight)
        assert np.linalg.norm(light - dark) > 8, (number, sight)
    for one, other in itertools.combinations(range(11), 2):
        if other - one > 1:
            assert np.linalg.norm(seen[other] - seen[one]) > 11


def test_zones_rise_evenly_in_lightness():
    steps = np.diff([_lab(colour, np.eye(3))[0] for colour in zone_colours()])
    assert steps.max() - steps.min() < 0.6


@pytest.mark.asyncio
async def test_the_probe_does_not_dawdle(asked):
    """On a small scan; what a large master costs is measured in tests/benchmarks."""
    await asked("BW-01", "probe", x=0.3, y=0.5)
    began = time.perf_counter()
    for place in range(10):
        await asked("BW-01", "probe", x=0.2 + place / 50, y=0.5)
    assert (time.perf_counter() - began) / 10 < 0.3
