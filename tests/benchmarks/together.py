"""How much faster two worker processes take compressed scans than one.

    python -m tests.benchmarks.together [--reps 3] [--scans 4] [--size 9600x12000] [--dir DIR]

Makes its own scans (grey, 16 bits, a negative with grain; 230 MB of pixels each at 9600 × 12000), LZW and deflate, each
the scan of a sheet of its own with two spots, and takes all of them into a new archive: checksum, pyramid, margin,
base+fog, spots, catalogue, pictures. By turns, least wall time of the repetitions, the workers having begun before:

* one: one worker process that does the jobs as it does them beside others: decoding with one thread, and finding all
  that can be found of a scan itself. Against this one the ratio of two is taken, and against nothing that does less.
* two: two such.
* `--jobs 1`: one worker as `negcat ingest --jobs 1` runs it: it decodes with two threads, and the process that writes
  the catalogue looks the scans over beside it. It uses both cores of two, too, and is what somebody would run who wants
  no workers beside each other.

Beside it the CPU seconds of one scan, in the workers and in the process that writes; and what the machine gives at this
moment to two bare processes that read the same files (decode, checksum, pyramid) without any archive. On a machine that
has other things to do that is far from two, and then the ratio says as little.
"""

import argparse
import os
import shutil
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from negcat import scans
from negcat.work.ingest import ingest_scans
from negcat.work.taking import take_record_files
from negcat.work.workers import executor, results
from tests.benchmarks.ingest import LAYOUTS, RECORDS, machine, make_archive, make_scan, without_main
from tests.simulation.lost_workers import workers_of

LIMIT = 1.7
KINDS = ("LZW strips", "deflate strips", "LZW tiles")
DPI_OF_WIDTH = 8
"""Pixels of width to a dot per inch: an 8 × 10 inch film fills the scan."""


class OneOfSeveral:
    """A worker that is given its tasks as those that have others beside them are."""

    def __init__(self, workers) -> None:
        self._workers = workers
        self.ahead = max(3, workers.ahead)

    def submit(self, function, *args) -> Future:
        return self._workers.submit(function, *args)


@dataclass(frozen=True)
class Taken:
    """What it took: wall seconds, and CPU seconds of all workers and of the process that writes."""

    seconds: float
    by_workers: float
    by_writer: float


def records_of(count: int) -> str:
    """Write the records of so many sheets like the first: one for each scan."""
    head, first = RECORDS.split("sheets:\n")
    return head + "sheets:\n" + "".join(first.replace("M-01", f"M-{n:02d}") for n in range(1, count + 1))


def cpu_of_workers() -> float:
    """Add up the CPU seconds of this process's workers so far."""
    ticks = 0
    for worker in workers_of(os.getpid()):
        fields = Path(f"/proc/{worker}/stat").read_text().rpartition(")")[2].split()
        ticks += int(fields[11]) + int(fields[12])
    return ticks / os.sysconf("SC_CLK_TCK")


def timed(work: Callable[[], None]) -> Taken:
    """Do something with workers."""
    begin, workers, writer = time.perf_counter(), cpu_of_workers(), time.process_time()
    work()
    return Taken(time.perf_counter() - begin, cpu_of_workers() - workers, time.process_time() - writer)


def import_what_finds(_: int) -> None:
    """Let a worker import what it computes with, as it does once."""
    import negcat.work.looking_ahead  # noqa: F401


def taken_in(paths: list[Path], workers: int, scratch: Path, *, as_several: bool) -> Taken:
    """Take scans into a new archive."""
    folder = Path(tempfile.mkdtemp(dir=scratch))
    with make_archive(folder) as archive, executor(workers) as pool:
        records = folder / "all.yaml"
        records.write_text(records_of(len(paths)))
        take_record_files(archive, [records])
        list(results(pool, import_what_finds, range(4 * workers)))

        def work() -> None:
            run = ingest_scans(archive, paths, workers=OneOfSeveral(pool) if as_several else pool)
            items = run.finish(list(run))
            assert len(items) == len(paths), items
            assert all(item.measured for item in items), items

        taken = timed(work)
    shutil.rmtree(folder)
    return taken


def read_bare(path: Path) -> None:
    """Read a scan and make its pyramid, with one thread, for nobody."""
    with tempfile.TemporaryDirectory(dir=path.parent) as folder, scans.decoding_threads(1):
        scans.take(path, pyramid=scans.NewPyramid(Path(folder)))


def read_in(paths: list[Path], workers: int) -> Taken:
    """Read scans by bare processes."""
    with executor(workers) as pool:
        list(results(pool, abs, range(4 * workers)))
        return timed(lambda: list(results(pool, read_bare, paths)))


def main() -> None:
    """Make the scans, take them, print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--reps", type=int, default=3, help="repetitions of which the least counts")
    parser.add_argument("--scans", type=int, default=4, help="of each kind")
    parser.add_argument("--size", default="9600x12000", help="width and height of a scan in pixels")
    parser.add_argument("--dir", type=Path, help="where the scans are made; 1 GB")
    given = parser.parse_args()
    width, height = map(int, given.size.split("x"))
    without_main()
    print(machine())
    print(
        f"{given.scans} scans of each kind, {width} × {height}, {width * height * 2 / 1e6:.0f} MB of pixels each; "
        f"least of {given.reps}",
        end="\n\n",
    )
    print(
        "| scans | file, MB | one, s | two, s | **two against one** | limit | bare processes, two against one "
        "| `--jobs 1`, s | two against `--jobs 1` | CPU a scan: worker, s | writer, s | worker of `--jobs 1`, s "
        "| writer, s |\n" + "|---" * 13 + "|"
    )
    with tempfile.TemporaryDirectory(dir=given.dir) as name:
        scratch = Path(name)
        for kind in KINDS:
            first = scratch / "M-01.tif"
            make_scan(scratch, width, height, width // DPI_OF_WIDTH, {first: LAYOUTS[kind][0]})
            paths = [first]
            for number in range(2, given.scans + 1):
                # The same picture under another checksum: what lies behind the picture belongs to nothing.
                paths.append(scratch / f"M-{number:02d}.tif")
                paths[-1].write_bytes(first.read_bytes() + np.int32(number).tobytes())
            ways: list[Callable[[], Taken]] = [
                lambda paths=paths: taken_in(paths, 1, scratch, as_several=True),
                lambda paths=paths: taken_in(paths, 2, scratch, as_several=True),
                lambda paths=paths: taken_in(paths, 1, scratch, as_several=False),
                lambda paths=paths: read_in(paths, 1),
                lambda paths=paths: read_in(paths, 2),
            ]
            turns = [[way() for way in ways] for _ in range(given.reps)]
            one, two, alone, bare, bares = (
                Taken(*(min(getattr(taken, field) for taken in column) for field in Taken.__annotations__))
                for column in zip(*turns, strict=True)
            )
            print(
                f"| {kind} | {first.stat().st_size / 1e6:.0f} | {one.seconds:.2f} | {two.seconds:.2f} "
                f"| **{one.seconds / two.seconds:.2f}** | {LIMIT} | {bare.seconds / bares.seconds:.2f} "
                f"| {alone.seconds:.2f} | {alone.seconds / two.seconds:.2f} "
                f"| {one.by_workers / given.scans:.2f} | {one.by_writer / given.scans:.3f} "
                f"| {alone.by_workers / given.scans:.2f} | {alone.by_writer / given.scans:.3f} |",
                flush=True,
            )
            for path in paths:
                path.unlink()
    print(f"\nLoad after: {' '.join(f'{value:.1f}' for value in os.getloadavg())}.")


if __name__ == "__main__":
    main()
