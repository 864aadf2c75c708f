"""What looking at a large scan costs the server: tiles, the probe, the viewer's tables.

    python -m tests.benchmarks.viewing [--asked 100] [--dir DIR]

Makes a grey 16-bit negative of 230 MB in tiles, takes it into an archive with a scanner profile, and asks the
application for each thing at places drawn at random; no network is between. Prints the median and the 95th
percentile in milliseconds.
"""

import argparse
import asyncio
import shutil
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import tifffile
from scipy import ndimage

from negcat.web.serving import assemble
from negcat.work.archive import Archive
from negcat.work.ingest import ingest_scans
from tests.web.conftest import build, codes

WIDTH, HEIGHT, TILE = 9600, 12000, 512


def make(folder: Path) -> tuple[Path, str]:
    """Make the archive; returns its folder and the large scan's id."""
    archive = build(folder)
    random = np.random.default_rng(1)
    density = np.full((HEIGHT, WIDTH), 0.9, np.float32)
    density[:300], density[-300:], density[:, :300], density[:, -300:] = 0.12, 0.12, 0.12, 0.12
    # Grain that a scanner has smeared over its neighbours: what the probe has to see through.
    density += ndimage.gaussian_filter(random.normal(0, 0.2, density.shape).astype(np.float32), 1.5)
    density[:200], density[:, :200] = 0.0, 0.0
    path = folder / "BW-04.tif"
    tifffile.imwrite(
        path, codes(density), tile=(TILE, TILE), resolution=(2400, 2400), software="Bedlight 2", metadata=None
    )
    with Archive.open(archive) as opened:
        (item,) = ingest_scans(opened, [path])
    assert item.scan is not None, item.reason
    return archive, item.scan


async def measure(archive: Path, scan: str, asked: int) -> None:
    site, random = assemble(archive), np.random.default_rng(2)

    def tile(factor: int) -> str:
        step = TILE * factor
        x, y = step * random.integers(0, WIDTH // step), step * random.integers(0, HEIGHT // step)
        return f"/iiif/3/{scan}/{x},{y},{step},{step}/{TILE},{TILE}/0/default.jpg"

    def edge() -> str:
        left = WIDTH // TILE * TILE
        y = TILE * random.integers(0, HEIGHT // TILE)
        return f"/iiif/3/{scan}/{left},{y},{WIDTH - left},{TILE}/{WIDTH - left},{TILE}/0/default.jpg"

    def probe(diameter: float) -> str:
        x, y = random.uniform(0.1, 0.9, 2)
        return f"/sheet/BW-04/probe.json?scan={scan}&x={x:.5f}&y={y:.5f}&d={diameter}"

    asking: dict[str, Callable[[], str]] = {
        "tile, full size": lambda: tile(1),
        "tile, a quarter": lambda: tile(4),
        "tile at the edge": edge,
        "probe, 0.5 mm": lambda: probe(0.5),
        "probe, 2 mm": lambda: probe(2),
        "probe, 4 mm": lambda: probe(4),
        "the viewer's tables": lambda: f"/sheet/BW-04/viewer.json?scan={scan}",
    }
    for name, address in asking.items():
        took = []
        for _ in range(asked):
            path = address()
            began = time.perf_counter()
            answer = await site.client.get(path)
            took.append(1000 * (time.perf_counter() - began))
            assert answer.status_code == 200, answer.text
        print(f"{name:22} median {np.median(took):6.1f} ms   95 % {np.percentile(took, 95):6.1f} ms")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--asked", type=int, default=100)
    parser.add_argument(
        "--dir", type=Path, default=None, help="where the files are made, and taken away again"
    )
    options = parser.parse_args()
    folder = Path(tempfile.mkdtemp(dir=options.dir))
    try:
        asyncio.run(measure(*make(folder), options.asked))
    finally:
        shutil.rmtree(folder)
