"""A small archive, built by the same work functions as the command line's, on scans of known density."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
import pytest_asyncio
import tifffile
from datasette.app import Datasette

from negcat.work.archive import Archive
from negcat.work.calibrate import calibrate_scanner
from negcat.work.ingest import ingest_scans
from negcat.work.taking import take_record_files

TABLET = [0.05 + 0.15 * step for step in range(21)]
MARKUP = "arch <b>&amp; door</b> \"'><script>alert(1)</script>"

RECORDS = f"""
films:
  - {{name: Marl Pan 100, box_speed: 100, base_fog: 0.12}}
shutters:
  - name: leaf no. 3
    measured: {{1/15: 0.08}}
lenses:
  - name: Haldane 240
    shutter: leaf no. 3
    cells:
      - {{cell: whole, focal_mm: 240, mounted: whole}}
      - {{cell: rear, focal_mm: 410, mounted: behind, scale_error_stops: -0.5}}
  - name: Corrin 150
    cells: [{{cell: whole, focal_mm: 150}}]
scanners:
  - {{name: flatbed, software: Bedlight 2}}
tablets:
  - {{name: T21, densities: [{", ".join(f"{d:.2f}" for d in TABLET)}]}}
sheets:
  - sheet: BW-01
    film: Marl Pan 100
    format: 4x5
    exposed_at: 2026-03-04T07:50
    place: North kiln
    subject: fire holes
    lens: Haldane 240
    cell: rear
    stop: 22½
    time: 1/2
    tag: N+1
    bellows_mm: 432
    filter: yellow
    filter_factor: 2
    movements: {{front_rise_mm: 12, rear_tilt_deg: 3.5}}
    readings:
      - {{name: soot, role: shadow, ev: 10, zone: IV, spot: {{x: 0.3, y: 0.5}}}}
      - {{name: sky, role: highlight, ev: 13, spot: {{x: 0.7, y: 0.5}}}}
  - sheet: BW-02
    film: Marl Pan 100
    format: 4x5
    exposed_at: 2026-03-04T08:20
    place: North kiln
    subject: {json.dumps(MARKUP)}
    notes: {json.dumps(MARKUP)}
    lens: Haldane 240
    cell: rear
    stop: 22
    time: 1/4
    tag: N
    readings:
      - {{name: {json.dumps(MARKUP)}, role: shadow, ev: 10, zone: III}}
  - sheet: BW-03.json
    film: Marl Pan 100
    format: 4x5
    exposed_at: 2026-03-05
    place: Tidal creek
    lens: Corrin 150
    stop: 32
    time: 1/15
    tag: N-1
  - sheet: BW-04
    film: Marl Pan 100
    format: 4x5
    exposed_at: 2026-03-06
    place: Clay pit
    lens: Haldane 240
    cell: whole
    stop: 16
    time: 1
    tag: N+1
developments:
  - batch: B1
    date: 2026-03-10
    developer: two-bath
    time: 9m
    temperature_c: 20
    tag: N+1
    sheets: [BW-01, BW-02, BW-03.json]
"""


def codes(densities: np.ndarray, seed: int = 1) -> np.ndarray:
    """Scan a picture given in densities: linear, 16 bits, a little noise."""
    light = 0.88 * 10.0**-densities
    noisy = light + np.random.default_rng(seed).normal(0, 4e-5, light.shape)
    return np.clip(np.rint(65535 * noisy), 1, 65534).astype(np.uint16)


def write_tablet(path: Path) -> None:
    """Write the scan of a step tablet lying on black: an inch and a half by a quarter, at 200 dpi."""
    picture = np.full((160, 40 * len(TABLET) + 80), 3.6)
    for step, density in enumerate(TABLET):
        picture[40:120, 40 + 40 * step : 80 + 40 * step] = density
    tifffile.imwrite(
        path, codes(picture), resolution=(200, 200), resolutionunit=2, software="Bedlight 2", metadata=None
    )


def write_sheet(path: Path, shadow: float, highlight: float, *, seed: int = 1, upright: bool = False) -> None:
    """Write the scan of a 4x5 sheet at 200 dpi: open glass, clear rebate, a dark and a light half."""
    picture = np.zeros((840, 1040))
    picture[20:820, 20:1020] = 0.12
    picture[60:780, 60:520] = 0.12 + shadow
    picture[60:780, 520:980] = 0.12 + highlight
    picture += np.random.default_rng(seed).normal(0, 0.004, picture.shape) * (picture > 0)
    if upright:
        picture = picture.T
    tifffile.imwrite(
        path,
        codes(picture, seed),
        resolution=(200, 200),
        resolutionunit=2,
        software="Bedlight 2",
        metadata=None,
    )


def build(root: Path) -> Path:
    """Build the archive; returns its folder."""
    masters = root / "masters"
    masters.mkdir(parents=True)
    records = root / "records.yaml"
    records.write_text(RECORDS, encoding="utf-8")
    tablet = root / "tablet.tif"
    write_tablet(tablet)
    write_sheet(masters / "BW-01.tif", 0.42, 1.30)
    write_sheet(masters / "BW-02.tif", 0.30, 0.90, seed=2, upright=True)
    write_sheet(masters / "stray.tif", 0.20, 0.60, seed=3)
    with Archive.create(root / "brickworks") as archive:
        take_record_files(archive, [records])
        calibrate_scanner(archive, tablet, scanner="flatbed", tablet="T21")
        for item in ingest_scans(archive, [masters]):
            assert item.status != "refused", item.reason
    return root / "brickworks"


class _Token(HTMLParser):
    found = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if given.get("name") == "csrftoken":
            self.found = given["value"] or ""


def form_token(html: str) -> str:
    """Find the token that a page's form sends; empty where it holds none."""
    parser = _Token()
    parser.feed(html)
    return parser.found


@pytest.fixture(scope="session")
def archive(once: Callable[[str, Callable[[Path], Path]], Path]) -> Path:
    """The folder of the archive; tests only read it."""
    return once("small", build)


@pytest.fixture
def own(archive: Path, tmp_path: Path) -> Path:
    """A copy of the archive that may be written to."""
    shutil.copytree(archive.parent, tmp_path / "copy")
    return tmp_path / "copy" / archive.name


@pytest_asyncio.fixture
async def site(archive: Path) -> Datasette:
    """Datasette on the archive, as ``datasette negcat.db`` would start it."""
    datasette = Datasette([str(archive / "negcat.db")])
    await datasette.invoke_startup()
    return datasette
