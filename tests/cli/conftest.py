"""A small archive of known truth: three sheets, their scans, a step tablet, all made here."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import tifffile
from click.testing import CliRunner, Result

from negcat.cli import main
from tests.simulation.scanbench import Bed, Sheet, Tablet, tablet

PX_PER_MM = 5.0
BASE = 0.2
# Net densities at zones III, V and VII of the default print target, and half a stop under them.
AS_PLANNED = (0.35, 0.70, 1.09)
DENSITIES = tablet()

RECORDS = f"""\
films:
  - {{name: Brickdust 100, box_speed: 100, reciprocity: {{law: power, exponent: 1.3}}}}
shutters:
  - {{name: long shutter, measured: {{1/15: 0.08}}}}
lenses:
  - name: Aldwater
    shutter: long shutter
    cells:
      - {{cell: whole, focal_mm: 180, mounted: whole, widest_stop: 6.8}}
      - {{cell: rear, focal_mm: 300, mounted: behind, own_scale: false}}
scanners:
  - {{name: bench scanner, make: Marl, model: Flatbed 4}}
tablets:
  - name: tablet 21
    densities: [{", ".join(f"{value:.2f}" for value in DENSITIES)}]
sheets:
  - sheet: BW-01
    film: Brickdust 100
    format: 4x5
    lens: Aldwater
    cell: whole
    stop: 22½
    time: 1/4
    exposed_at: 2026-05-03 07:40
    place: Old kilns
    subject: Kiln mouth
    readings: &readings
      - {{name: kiln mouth, role: shadow, ev: 9.5, zone: III}}
      - {{name: wall, role: middle, ev: 11.5}}
      - {{name: sky, role: highlight, ev: 13.5}}
  - sheet: BW-02
    film: Brickdust 100
    format: 4x5
    lens: Aldwater
    cell: rear
    stop: 22
    time: 1/4
    tag: N+1
    exposed_at: 2026-05-04
    place: Clay pit
    readings:
      - {{name: pit wall, role: shadow, ev: 9, zone: III}}
  - sheet: BW-03
    film: Brickdust 100
    format: 4x5
    lens: Aldwater
    cell: whole
    stop: 16
    time: 4 s
    tag: N-1
    exposed_at: 2026-06-01
    place: Tidal creek
developments:
  - batch: B1
    date: 2026-05-10
    developer: Slip
    dilution: 1+49
    temperature_c: 20
    time: 9m30s
    sheets: [BW-01]
"""


@dataclass
class Bench:
    """An archive's folder, the command line standing in it, and a scanner that writes into it."""

    folder: Path

    @property
    def archive(self) -> Path:
        return self.folder

    def run(self, *args: object, status: int = 0) -> Result:
        words = [str(arg) for arg in args]
        result = CliRunner().invoke(main, words, env={"NEGCAT_ARCHIVE": str(self.archive)})
        assert result.exit_code == status, f"{words}: {result.exit_code}\n{result.output}\n{result.stderr}"
        assert "Traceback" not in result.output
        return result

    def json(self, *args: object, status: int = 0) -> dict:
        return json.loads(self.run(*args, "--json", status=status).stdout)

    def records(self, text: str, name: str = "records.yaml") -> Path:
        path = self.folder / name
        path.write_text(text, encoding="utf-8")
        return path

    def scan_tablet(self, name: str = "tablet.tif", **tags: object) -> Path:
        rng = np.random.default_rng(5)
        density = Tablet(DENSITIES).draw(PX_PER_MM, rng)
        return self.write(name, Bed().codes(10.0**-density, rng, PX_PER_MM), **tags)

    def scan_sheet(
        self, name: str, net: tuple[float, ...] = AS_PLANNED, *, seed: int = 1, **tags: object
    ) -> tuple[Path, list[tuple[float, float]]]:
        """Scan a sheet whose spots have these net densities; where they are, as fractions."""
        rng = np.random.default_rng(seed)
        density, truth = Sheet(base=BASE, patches=net).draw(PX_PER_MM, rng)
        codes = Bed().codes(10.0**-density, rng, PX_PER_MM)
        h, w = codes.shape
        return self.write(name, codes, **tags), [(x / w, y / h) for x, y in truth["centres"]]

    def write(
        self,
        name: str,
        codes: np.ndarray,
        *,
        description: str | None = None,
        known: bool = True,
        fine: float = 1,
        taken_at: str | None = None,
    ) -> Path:
        path = self.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        tags = [(271, "s", 0, "Marl", True), (272, "s", 0, "Flatbed 4", True)] if known else []
        tifffile.imwrite(
            path,
            codes,
            photometric="minisblack",
            compression="zlib",
            predictor=True,
            resolution=(PX_PER_MM * 25.4 * fine, PX_PER_MM * 25.4 * fine),
            datetime=taken_at,
            resolutionunit="INCH",
            description=description,
            metadata=None,
            extratags=tags,
        )
        return path


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


@pytest.fixture
def archive(bench: Bench) -> Bench:
    """An archive with its records."""
    bench.run("init", bench.archive)
    bench.run("record", bench.records(RECORDS))
    return bench


@pytest.fixture(scope="session")
def _calibrated(tmp_path_factory: pytest.TempPathFactory) -> Path:
    bench = Bench(tmp_path_factory.mktemp("calibrated"))
    bench.run("init", bench.archive)
    bench.run("record", bench.records(RECORDS))
    bench.run("calibrate", bench.scan_tablet(), "--scanner", "bench scanner", "--tablet", "tablet 21")
    scan, spots = bench.scan_sheet("scans/BW-01.tif")
    bench.run("ingest", scan)
    names = ("kiln mouth", "wall", "sky")
    bench.run(
        "measure",
        "BW-01",
        *[
            word
            for name, (x, y) in zip(names, spots, strict=True)
            for word in ("--spot", f"{name}={x:.5f},{y:.5f}")
        ],
    )
    return bench.folder


@pytest.fixture
def measured(_calibrated: Path, tmp_path: Path, copy_tree: Callable[[Path, Path], None]) -> Bench:
    """A copy of an archive with a calibrated scanner and BW-01 measured as planned."""
    copy_tree(_calibrated, tmp_path)
    return Bench(tmp_path)


@pytest.fixture
def copy_tree() -> Callable[[Path, Path], None]:
    import shutil

    def copy(source: Path, target: Path) -> None:
        shutil.copytree(source, target, dirs_exist_ok=True)

    return copy
