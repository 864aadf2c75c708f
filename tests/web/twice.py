"""An archive of sheets scanned twice: turned, mirrored, at another resolution, unlike, and without a profile."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import tifffile
from scipy.ndimage import gaussian_filter

from negcat.work.archive import Archive
from negcat.work.calibrate import calibrate_scanner
from negcat.work.ingest import ingest_scans
from negcat.work.taking import take_record_files
from tests.web.conftest import TABLET, codes, write_tablet

# Where the readings' spots lie on the first scan, and the density there.
SPOTS = {"soot": (0.3, 0.4, 0.50), "sky": (0.7, 0.6, 1.20)}
# What the second scan of TW-01 shows more of at "sky": a mark that came onto the film, or a light that drifts.
DRIFT = 0.15

SHEET = """  - sheet: {sheet}
    film: Marl Pan 100
    format: 4x5
    exposed_at: 2026-03-04T07:50
    place: North kiln
    subject: fire holes
    lens: Corrin 150
    stop: 22
    time: 1/2
    readings:
      - {{name: soot, role: shadow, ev: 10, zone: III, spot: {{x: 0.3, y: 0.4}}}}
      - {{name: sky, role: highlight, ev: 13, spot: {{x: 0.7, y: 0.6}}}}
"""

RECORDS = f"""
films:
  - {{name: Marl Pan 100, box_speed: 100, base_fog: 0.12}}
lenses:
  - name: Corrin 150
    cells: [{{cell: whole, focal_mm: 150}}]
scanners:
  - {{name: flatbed, software: Bedlight 2}}
tablets:
  - {{name: T21, densities: [{", ".join(f"{d:.2f}" for d in TABLET)}]}}
sheets:
{"".join(SHEET.format(sheet=f"TW-0{number}") for number in range(1, 5))}"""


def negative(seed: int, *, drift: float = 0.0) -> np.ndarray:
    """Draw a 4x5 sheet with a picture full of detail, in density at 200 dpi: open glass, clear rebate, picture."""
    rng = np.random.default_rng(seed)
    picture = np.zeros((840, 1040))
    picture[20:820, 20:1020] = 0.12
    detail = sum(
        weight * gaussian_filter(rng.normal(0, 1, (720, 920)), size) * size
        for size, weight in ((3, 0.1), (9, 0.3), (30, 0.6))
    )
    picture[60:780, 60:980] = np.clip(0.8 + 0.35 * detail, 0.25, 2.0)
    down, across = np.mgrid[0:840, 0:1040]
    for name, (x, y, density) in SPOTS.items():
        within = np.hypot(across - x * 1040, down - y * 840) < 24
        picture[within] = density + (drift if name == "sky" else 0.0)
    return picture


def write(
    path: Path, density: np.ndarray, *, dpi: int = 200, seed: int = 1, software: str = "Bedlight 2"
) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    noise = np.random.default_rng(seed).normal(0, 0.004, density.shape) * (density > 0)
    tifffile.imwrite(
        path,
        codes(density + noise, seed),
        resolution=(dpi, dpi),
        resolutionunit=2,
        software=software,
        metadata=None,
    )


def build_twice(root: Path) -> Path:
    """Build the archive; returns its folder.

    TW-01's second scan is mirrored and on its side, and denser at one spot; TW-02's shows another picture; TW-03's
    is of a scanner without a profile and twice as fine; TW-04 has three: moved, and upside down.
    """
    masters, again, third = root / "masters", root / "again", root / "third"
    records = root / "records.yaml"
    root.mkdir(parents=True, exist_ok=True)
    records.write_text(RECORDS, encoding="utf-8")
    write_tablet(root / "tablet.tif")
    for number in range(1, 5):
        write(masters / f"TW-0{number}.tif", negative(number), seed=number)
    write(again / "TW-01.tif", np.rot90(negative(1, drift=DRIFT)[:, ::-1], -1), seed=11)
    write(again / "TW-02.tif", negative(99), seed=12)
    fine = np.kron(negative(3), np.ones((2, 2)))
    write(again / "TW-03.tif", fine, dpi=400, seed=13, software="Daylight table")
    write(again / "TW-04.tif", negative(4)[6:, 10:], seed=14)
    write(third / "TW-04.tif", negative(4)[::-1, ::-1], seed=15)
    with Archive.create(root / "twice") as archive:
        take_record_files(archive, [records])
        calibrate_scanner(archive, root / "tablet.tif", scanner="flatbed", tablet="T21")
        for folder in (masters, again, third):
            for item in ingest_scans(archive, [folder]):
                assert item.status == "added", item.reason
    return root / "twice"
