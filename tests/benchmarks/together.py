"""How much faster two worker processes take compressed scans than one.

    python -m tests.benchmarks.together [--reps 3] [--scans 4] [--dir DIR]

Makes its own scans (each 230 MB of pixels: grey, 16 bits, a negative with grain), LZW and deflate, and takes all of
them into a new archive (checksum, pyramid, margin, base+fog, spots, catalogue, pictures) by one worker, by two, and
once more by one that decodes with two threads. Each worker decodes with one thread otherwise, so that what is
compared is processes. They run in turn and the least of the repetitions counts; the workers have begun before.
Above the table stands what two processes gain at plain counting at the same time: on a machine that has other things
to do it is far from two, and then the table says nothing.
"""

import argparse
import shutil
import tempfile
import time
from concurrent.futures import Future
from dataclasses import replace
from pathlib import Path

import numpy as np

from negcat.work.ingest import ingest_scans
from negcat.work.taking import take_record_files
from negcat.work.workers import executor, results
from tests.benchmarks.ingest import LAYOUTS, RECORDS, SIZES, machine, make_archive, make_scan, without_main

SIZE = SIZES["230 MB"]
LIMIT = 1.7
KINDS = ("LZW strips", "deflate strips", "LZW tiles")


class WithThreads:
    """Workers that decode with so many threads."""

    def __init__(self, workers, threads: int) -> None:
        self._workers = workers
        self._threads = threads
        self.ahead = workers.ahead

    def submit(self, function, task) -> Future:
        return self._workers.submit(function, replace(task, threads=self._threads))


def records_of(count: int) -> str:
    """Write the records of so many sheets like the first: one for each scan."""
    head, first = RECORDS.split("sheets:\n")
    return head + "sheets:\n" + "".join(first.replace("M-01", f"M-{n:02d}") for n in range(1, count + 1))


def counted(number: int) -> int:
    """Keep a core busy."""
    return sum(range(number))


def gained_at_counting() -> float:
    """How much faster two workers count than one."""
    seconds = []
    for workers in (1, 2):
        with executor(workers) as pool:
            list(results(pool, abs, range(4 * workers)))
            begin = time.perf_counter()
            list(results(pool, counted, [50_000_000] * 4))
            seconds.append(time.perf_counter() - begin)
    return seconds[0] / seconds[1]


def taken_in(paths: list[Path], workers: int, threads: int, scratch: Path) -> float:
    """Take scans into a new archive; seconds."""
    folder = Path(tempfile.mkdtemp(dir=scratch))
    with make_archive(folder) as archive, executor(workers) as pool:
        records = folder / "all.yaml"
        records.write_text(records_of(len(paths)))
        take_record_files(archive, [records])
        list(results(pool, abs, range(4 * workers)))
        begin = time.perf_counter()
        run = ingest_scans(archive, paths, workers=WithThreads(pool, threads))
        items = run.finish(list(run))
        seconds = time.perf_counter() - begin
        assert len(items) == len(paths), items
        assert all(item.measured for item in items), items
    shutil.rmtree(folder)
    return seconds


def main() -> None:
    """Make the scans, take them, print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--reps", type=int, default=3, help="repetitions of which the least counts")
    parser.add_argument("--scans", type=int, default=4, help="of each kind")
    parser.add_argument("--dir", type=Path, help="where the scans are made; 1 GB")
    given = parser.parse_args()
    without_main()
    print(machine())
    print(f"Two workers against one at counting: {gained_at_counting():.2f}", end="\n\n")
    print(
        "| scans | one worker, s | two, s | two against one | limit | one worker with two threads, s |\n"
        "|---|---|---|---|---|---|"
    )
    with tempfile.TemporaryDirectory(dir=given.dir) as name:
        scratch = Path(name)
        for kind in KINDS:
            first = scratch / "M-01.tif"
            make_scan(scratch, *SIZE, {first: LAYOUTS[kind][0]})
            paths = [first]
            for number in range(2, given.scans + 1):
                # The same picture under another checksum: what lies behind the picture belongs to nothing.
                paths.append(scratch / f"M-{number:02d}.tif")
                paths[-1].write_bytes(first.read_bytes() + np.int32(number).tobytes())
            times = [
                [taken_in(paths, workers, threads, scratch) for workers, threads in ((1, 1), (2, 1), (1, 2))]
                for _ in range(given.reps)
            ]
            one, two, threaded = (min(column) for column in zip(*times, strict=True))
            print(
                f"| {given.scans} × {kind} | {one:.2f} | {two:.2f} | {one / two:.2f} | {LIMIT} | {threaded:.2f} |",
                flush=True,
            )
            for path in paths:
                path.unlink()


if __name__ == "__main__":
    main()
