"""What taking a scan costs, beside what libvips needs for a pyramid alone; and a patch read cold.

    python -m tests.benchmarks.ingest [--reps 7] [--small] [--dir DIR]

Makes its own scans (230 MB and, unless --small, 920 MB: grey, 16 bits, linear, a negative with grain in a clear
margin on open glass), takes them into an archive with a scanner profile and a sheet with two spots, and prints
ratios. The scan is read by a worker process, as `negcat ingest` does it; that one begins within the time measured.
Both sides run in turn, and the least of the repetitions counts: machines are shared, and only
a ratio within one run means anything. The limit is held against libvips as anyone would call it; beside it stands
libvips with negcat's own table of tones, the hardest yardstick there is. Peak
memory is that of a process of its own and of its worker together, without the pages of mapped files (the libraries'
code).

pyvips is needed for this and for nothing else: pip install pyvips pyvips-binary
"""

import argparse
import json
import os
import platform
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from importlib.metadata import version
from pathlib import Path

import numpy as np
import tifffile
from scipy import ndimage

from negcat import densitometry, scans
from negcat.scans.levels import TILE
from negcat.scans.making import QUALITY
from negcat.work.archive import Archive
from negcat.work.ingest import ingest_scans
from negcat.work.taking import take_record_files
from negcat.work.workers import executor

SIZES = {"230 MB": (9600, 12000, 1200), "920 MB": (19200, 24000, 2400)}
LAYOUTS = {
    "uncompressed": ({"rowsperstrip": 64}, 1.0),
    "LZW strips": ({"rowsperstrip": 64, "compression": "lzw", "predictor": True}, 0.8),
    "deflate strips": ({"rowsperstrip": 64, "compression": "zlib", "predictor": True}, 0.8),
    "LZW tiles": ({"tile": (256, 256), "compression": "lzw", "predictor": True}, 0.8),
}
PATCH = 64
PATCH_LIMIT_MS = {"uncompressed": 10}
COMPRESSED_PATCH_LIMIT_MS = 50
MEMORY_LIMIT_MB = 250

RECORDS = """\
films: [{name: Marsh 100, box_speed: 100}]
lenses: [{name: Aldwater, cells: [{cell: whole, focal_mm: 300, mounted: whole}]}]
scanners: [{name: bench, make: Marl}]
tablets: [{name: tablet, densities: [0.05, 0.35, 0.65, 0.95, 1.25, 1.55, 1.85, 2.15, 2.45, 2.75, 3.05]}]
sheets:
  - sheet: M-01
    film: Marsh 100
    format: 8x10
    lens: Aldwater
    stop: 22
    time: 1/2
    readings:
      - {name: mud bank, role: shadow, ev: 9, zone: 3, spot: {x: 0.3, y: 0.6}}
      - {name: sky, role: highlight, ev: 13, spot: {x: 0.6, y: 0.3}}
"""
TABLET = np.arange(11) * 0.3 + 0.05


def make_scan(path: Path, width: int, height: int, dpi: int, layouts: dict[Path, dict]) -> None:
    """Write one picture in several layouts."""
    random = np.random.default_rng(11)
    coarse = random.normal(0, 1, (height // 200 + 2, width // 200 + 2)).astype(np.float32)
    grain = random.normal(0, 1, (1024, width)).astype(np.float32)
    codes = np.empty((height, width), np.uint16)
    margin, glass = dpi // 4, dpi // 10
    columns = np.arange(width)
    for y in range(0, height, 1000):
        rows = np.arange(y, min(y + 1000, height))
        at = np.meshgrid(rows / 200, columns / 200, indexing="ij")
        density = np.clip(0.9 + 0.35 * ndimage.map_coordinates(coarse, at, order=1), 0.13, 2.4)
        edge = np.minimum(
            np.minimum(rows, height - 1 - rows)[:, None], np.minimum(columns, width - 1 - columns)
        )
        density[edge < margin] = 0.12
        density += grain[: len(rows)] * 0.03 * np.sqrt(density)
        density[edge < glass] = 0
        codes[rows] = np.clip(60_000 * 10**-density, 0, 65535)
    for target, layout in layouts.items():
        tifffile.imwrite(
            target,
            codes,
            resolution=(dpi, dpi),
            resolutionunit="INCH",
            extratags=[(271, "s", 0, "Marl", True)],
            metadata=None,
            **layout,
        )


def make_archive(folder: Path) -> Archive:
    """Make an archive in which the scan will be measured."""
    archive = Archive.create(folder)
    records = folder / "records.yaml"
    records.write_text(RECORDS)
    take_record_files(archive, [records])
    profile = densitometry.fit_profile(60_000 * 10**-TABLET, TABLET, channel="grey", bits=16, mode="grey")
    archive.catalogue.save_profile(
        {
            "scanner": "bench",
            "tablet": "tablet",
            "channel": "grey",
            "bits": 16,
            "mode": "grey",
            "profile": profile.to_json(),
            "scan_path": None,
            "scan_sha256": None,
        }
    )
    return archive


def negcat_takes(path: Path, scratch: Path) -> tuple[float, dict]:
    """Take a scan into a new archive: everything `negcat ingest` does; seconds, and the worker's memory."""
    folder = Path(tempfile.mkdtemp(dir=scratch))
    with make_archive(folder) as archive:
        begin = time.perf_counter()
        with executor(1) as workers:
            run = ingest_scans(archive, [path], workers=workers)
            items = run.finish(list(run))
            seconds = time.perf_counter() - begin
            memory = workers.submit(memory_of_process).result()
        assert items[0].measured, items
        assert scans.pyramid_path(archive.previews, items[0].scan).is_file()
    shutil.rmtree(folder)
    return seconds, memory


def memory_of_process() -> dict[str, float]:
    """Measure the peak memory of the process that this runs in, MB; without the pages of mapped files, too."""
    lines = dict(line.split(":", 1) for line in Path("/proc/self/status").read_text().splitlines())
    peak, mapped = (int(lines[name].split()[0]) / 1000 for name in ("VmHWM", "RssFile"))
    return {"peak_mb": peak, "beyond_files_mb": peak - mapped}


def libvips_makes_a_pyramid(path: Path, scratch: Path, *, by_table: bool = False) -> float:
    """Make a pyramid with the same tiles, at the same quality; seconds.

    Tones come by libvips's own conversion from 16 bits to grey of 8, as anyone would ask for them, or by the very
    table of tones that negcat uses, which costs libvips half.
    """
    import pyvips

    table = scans.tone_curve(scans.read_header(path)).table
    begin = time.perf_counter()
    image = pyvips.Image.new_from_file(str(path), access="sequential")
    if by_table:
        image = image.maplut(pyvips.Image.new_from_memory(table.tobytes(), table.size, 1, 1, "uchar"))
    else:
        image = image.colourspace("b-w")
    image.tiffsave(
        str(scratch / "libvips.tif"),
        tile=True,
        pyramid=True,
        compression="jpeg",
        Q=QUALITY,
        tile_width=TILE,
        tile_height=TILE,
    )
    return time.perf_counter() - begin


def in_a_process_of_its_own(task: str, path: Path, scratch: Path) -> dict:
    """Run one task of `child` and give what it measured."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.ingest", "--child", task, str(path), "--dir", str(scratch)],
        check=True,
        capture_output=True,
        text=True,
    )
    return json.loads(done.stdout)


def child(task: str, path: Path, scratch: Path) -> dict:
    """Measure what needs a fresh process."""
    if task == "memory":
        _, of_worker = negcat_takes(path, scratch)
        return {name: value + of_worker[name] for name, value in memory_of_process().items()}
    begin = time.perf_counter()
    patch = scans.read_patch(path, 4001, 5003, 4001 + PATCH, 5003 + PATCH)
    seconds = time.perf_counter() - begin
    assert patch.shape == (PATCH, PATCH, 1)
    return {"ms": 1000 * seconds}


def without_main() -> None:
    """Let workers begin as those of `negcat` do, whose start is a few lines: they import what began the program."""
    begun = sys.modules["__main__"]
    begun.__spec__ = None
    del begun.__file__


def machine() -> str:
    """Say what this runs on."""
    cpu = next(
        (
            line.split(":", 1)[1].strip()
            for line in Path("/proc/cpuinfo").read_text().splitlines()
            if line.startswith("model name")
        ),
        platform.processor(),
    )
    names = ("numpy", "tifffile", "imagecodecs", "pyvips", "pyvips-binary")
    versions = ", ".join(f"{name} {version(name)}" for name in names)
    load = " ".join(f"{value:.1f}" for value in os.getloadavg())
    return f"{os.cpu_count()} × {cpu}; Python {platform.python_version()}, {versions}; load before: {load}"


def main() -> None:
    """Make the scans, run both sides, print the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--reps", type=int, default=7, help="repetitions of which the least counts")
    parser.add_argument("--small", action="store_true", help="leave the 920 MB scans out")
    parser.add_argument("--dir", type=Path, help="where the scans are made; 4 GB, 1 GB with --small")
    parser.add_argument("--child", nargs=2, help=argparse.SUPPRESS)
    given = parser.parse_args()
    without_main()
    if given.child:
        print(json.dumps(child(given.child[0], Path(given.child[1]), given.dir)))
        return
    print(machine(), end="\n\n")
    with tempfile.TemporaryDirectory(dir=given.dir) as name:
        scratch = Path(name)
        files: dict[tuple[str, str], Path] = {}
        for size, dimensions in list(SIZES.items())[: 1 if given.small else None]:
            layouts = {layout: scratch / f"M-01 {size} {layout}.tif" for layout in LAYOUTS}
            files |= {(size, layout): path for layout, path in layouts.items()}
            make_scan(scratch, *dimensions, {path: LAYOUTS[layout][0] for layout, path in layouts.items()})

        print(
            "| scan | libvips by its conversion, s | by the table, s | negcat, whole ingest, s | ratio "
            "| to the table's | limit | peak memory, MB | limit |"
        )
        print("|---|---|---|---|---|---|---|---|---|")
        for (size, layout), path in files.items():
            reps = given.reps if size == "230 MB" else min(given.reps, 3)
            runs = [
                (
                    libvips_makes_a_pyramid(path, scratch),
                    libvips_makes_a_pyramid(path, scratch, by_table=True),
                    negcat_takes(path, scratch)[0],
                )
                for _ in range(reps)
            ]
            theirs, by_table, ours = (min(times) for times in zip(*runs, strict=True))
            memory = in_a_process_of_its_own("memory", path, scratch)
            print(
                f"| {size} {layout} | {theirs:.2f} | {by_table:.2f} | {ours:.2f} | {ours / theirs:.2f} "
                f"| {ours / by_table:.2f} | {LAYOUTS[layout][1]:.1f} "
                f"| {memory['beyond_files_mb']:.0f} ({memory['peak_mb']:.0f} with files) | {MEMORY_LIMIT_MB} |",
                flush=True,
            )

        print(
            f"\n| patch of {PATCH} px, cold in the process | least, ms | median, ms | limit |\n|---|---|---|---|"
        )
        for (size, layout), path in files.items():
            times = [in_a_process_of_its_own("patch", path, scratch)["ms"] for _ in range(5)]
            limit = PATCH_LIMIT_MS.get(layout, COMPRESSED_PATCH_LIMIT_MS)
            print(
                f"| {size} {layout} | {min(times):.1f} | {statistics.median(times):.1f} | {limit} |",
                flush=True,
            )

        path = files["230 MB", "uncompressed"]
        new = scans.NewPyramid(scratch / "previews")
        scans.take(path, pyramid=new)
        begin = time.perf_counter()
        pyramid = scans.open_pyramid(new.path)
        opened = time.perf_counter() - begin
        places = [(c, r) for r in range(pyramid.levels[0].down) for c in range(pyramid.levels[0].across)]
        begin = time.perf_counter()
        for column, row in places:
            pyramid.tile_bytes(0, column, row)
        handed = (time.perf_counter() - begin) / len(places)
        begin = time.perf_counter()
        for column, row in places[:100]:
            pyramid.read_tile(0, column, row)
        decoded = (time.perf_counter() - begin) / 100
        print(
            f"\nA pyramid of {new.path.stat().st_size / 1e6:.0f} MB: opened in {1e3 * opened:.1f} ms, a tile handed "
            f"on in {1e3 * handed:.4f} ms, decoded in {1e3 * decoded:.2f} ms."
        )


if __name__ == "__main__":
    main()
