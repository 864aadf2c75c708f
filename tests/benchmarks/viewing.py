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

from negcat.web.serving import assemble
from negcat.work.archive import Archive
from negcat.work.ingest import ingest_scans
from tests.benchmarks.many import HEIGHT, MASTER, TILE, WIDTH, write_master
from tests.web.conftest import build


def make(folder: Path) -> tuple[Path, str]:
    """Make the archive; returns its folder and the large scan's id."""
    archive = build(folder)
    path = folder / f"{MASTER}.tif"
    write_master(path)
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
        return f"/sheet/{MASTER}/probe.json?scan={scan}&x={x:.5f}&y={y:.5f}&d={diameter}"

    asking: dict[str, Callable[[], str]] = {
        "tile, full size": lambda: tile(1),
        "tile, a quarter": lambda: tile(4),
        "tile at the edge": edge,
        "probe, 0.5 mm": lambda: probe(0.5),
        "probe, 2 mm": lambda: probe(2),
        "probe, 4 mm": lambda: probe(4),
        "the viewer's tables": lambda: f"/sheet/{MASTER}/viewer.json?scan={scan}",
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
