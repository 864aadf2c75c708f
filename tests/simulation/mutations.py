"""Bad input does no harm: small image and record files, wounded by the thousand, handed to the real readers.

    python -m tests.simulation.mutations --images 10000 --records 10000 [--seed S]

Every file is read in a process that is ended where it takes too long, and begun anew where it dies. What must hold
of each: it is taken, or refused by one of negcat's own errors in readable sentences; it takes no longer than `SECONDS`
and no more than `MEMORY` beyond an idle process; nothing is printed; the file stays as it was. Every `BATCH`th bad file
goes through the commands as well, ten images between two good ones, which must be taken; the catalogue must be sound
after it.
"""

import argparse
import contextlib
import gc
import json
import multiprocessing
import os
import resource
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import numpy as np

from tests.simulation.record_wounds import as_yaml, starting_data, wounded_records
from tests.simulation.small_files import SMALL_FILES, small_file
from tests.simulation.wounds import wounded

SECONDS = 5.0
"""Processor time for one file of at most 100 kB."""

HUNG = 30.0
"""Seconds by the clock after which a process that says nothing is ended."""

MEMORY = 512 << 20
"""Bytes beyond those of an idle process, at the worst moment of one file."""

BATCH = 20
"""Of so many files one goes through the commands too."""

TOGETHER = 10
"""Bad images that are ingested in one run: to begin its processes takes longest."""


@dataclass
class Outcome:
    """What came of one file."""

    kind: str
    number: int
    wounds: str
    taken: bool = False
    seconds: float = 0.0
    memory: int = 0
    faults: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        return f"{self.kind} {self.number} ({self.wounds}): {'; '.join(self.faults)}"


def image_case(seed: int, number: int) -> tuple[bytes, str]:
    """Make the bad image file of a number: its bytes and how it came about."""
    dice = np.random.default_rng([seed, 1, number + 1])
    names = list(SMALL_FILES)
    name, other = (names[int(place)] for place in dice.integers(len(names), size=2))
    raw, how = wounded(dice, small_file(name), small_file(other))
    return raw, f"{name}: {how}"


def record_case(seed: int, number: int) -> tuple[bytes, str, str]:
    """Make the bad record file of a number: its bytes, its ending and how it came about."""
    return wounded_records(np.random.default_rng([seed, 2, number + 1]))


# -- in the process that reads -------------------------------------------------------------------------------


def _memory(key: str) -> int:
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith(key):
            return int(line.split()[1]) << 10
    return 0


class Reader:
    """Reads bad files one after the other in a folder of its own."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.folder, self.seed = folder, seed
        self.noise = folder / "noise"
        self._idle = 0
        self._noise = os.open(self.noise, os.O_RDWR | os.O_CREAT | os.O_TRUNC)
        # what the libraries' own code prints goes past Python
        os.dup2(self._noise, 1)
        os.dup2(self._noise, 2)
        self.bad: list[Path] = []
        self.place = folder / "case"
        self.place.mkdir()
        self.archive = self._archive()
        # what is loaded by now needs no looking through, or that would take longer than all the reading
        self.run("image", -1)
        self.run("record", -1)
        gc.collect()
        gc.freeze()
        self._idle = _memory("VmRSS")
        limit = _memory("VmSize") + 4 * MEMORY
        resource.setrlimit(resource.RLIMIT_AS, (limit, limit))

    def _archive(self) -> Path:
        from negcat.work.archive import Archive
        from negcat.work.taking import take_record_files

        root = self.folder / "archive"
        good = self.folder / "good.yaml"
        good.write_text(as_yaml(starting_data()), "utf-8")
        with Archive.create(root) as archive:
            take_record_files(archive, [good])
        return root

    def run(self, kind: str, number: int) -> Outcome:
        """Read one file every way there is."""
        if kind == "image":
            raw, how = image_case(self.seed, number)
            name = f"case-{number}"
        else:
            raw, ending, how = record_case(self.seed, number)
            name = f"case-{number}.{ending}"
        outcome = Outcome(kind, number, how)
        path = self.place / name
        path.write_bytes(raw)
        before = path.stat()
        gc.collect()
        Path("/proc/self/clear_refs").write_text("5")
        start = time.process_time()
        try:
            (self._image if kind == "image" else self._records)(path, outcome)
            if number % BATCH == 0:
                (self._ingest if kind == "image" else self._record)(path, outcome)
        except Exception as error:  # this is what is looked for
            trace = error.__traceback__
            while trace is not None and trace.tb_next is not None:
                trace = trace.tb_next
            where = f"{Path(trace.tb_frame.f_code.co_filename).name}:{trace.tb_lineno}" if trace else "?"
            outcome.faults.append(f"{type(error).__name__} at {where}: {str(error)[:200]}")
        outcome.seconds = time.process_time() - start
        outcome.memory = max(0, _memory("VmHWM") - self._idle)
        self._judge(path, raw, before, outcome)
        return outcome

    def _judge(self, path: Path, raw: bytes, before: os.stat_result, outcome: Outcome) -> None:
        if outcome.seconds > SECONDS:
            outcome.faults.append(f"took {outcome.seconds:.1f} s")
        if outcome.memory > MEMORY:
            outcome.faults.append(f"took {outcome.memory >> 20} MB")
        size = os.fstat(self._noise).st_size
        if size:
            said = os.pread(self._noise, 200, 0).decode("utf-8", "replace").strip()
            outcome.faults.append(f"printed {said!r}")
            os.ftruncate(self._noise, 0)
            os.lseek(self._noise, 0, os.SEEK_SET)
        after = path.stat()
        if path.read_bytes() != raw or after.st_mtime_ns != before.st_mtime_ns:
            outcome.faults.append("the file was changed")
        if [entry.name for entry in path.parent.iterdir()] != [path.name]:
            outcome.faults.append("something was left beside the file")
        path.unlink()

    def _image(self, path: Path, outcome: Outcome) -> None:
        from negcat import scans
        from negcat.errors import ScanError

        try:
            header = scans.read_header(path)
            json.dumps([str(getattr(header, name)) for name in ("description", "notes", "make", "exponent")])
            scans.read_patches(path, [(2, 3, 14, 15), (0, 0, header.width, 5)])
        except ScanError as error:
            _check_sentence(str(error), path, outcome)
        pyramid = scans.NewPyramid(self.folder / "previews")
        try:
            info, reduced = scans.take(path, 64, pyramid=pyramid)
        except ScanError as error:
            _check_sentence(str(error), path, outcome)
            return
        outcome.taken = True
        if pyramid.path is None:
            outcome.faults.append(f"no pyramid: {pyramid.fault}")
        else:
            pyramid.path.unlink()
        if not np.isfinite(reduced.codes).all() or reduced.codes.shape[2] != info.channels:
            outcome.faults.append("the picture made small is not whole")

    def _records(self, path: Path, outcome: Outcome) -> None:
        from negcat.errors import RecordError
        from negcat.records import load_file

        try:
            load_file(path)
        except RecordError as error:
            for fault in error.faults:
                _check_sentence(str(fault), path, outcome)
            return
        outcome.taken = True

    def _command(self, *words: str) -> tuple[int, str]:
        from click.testing import CliRunner

        from negcat.cli import main

        result = CliRunner().invoke(main, words)
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        return result.exit_code, result.stdout

    def _ingest(self, path: Path, outcome: Outcome) -> None:
        """Put the bad file aside; once ten are together, take them between two good ones."""
        self.bad.append(self.folder / path.name)
        self.bad[-1].write_bytes(path.read_bytes())
        if len(self.bad) < TOGETHER:
            return
        bad, self.bad = self.bad, []
        good = [self.folder / "good.tif", self.folder / "good.png"]
        for place, name in zip(good, ("tiff", "png 8 bits"), strict=True):
            place.write_bytes(small_file(name))
        code, said = self._command(
            "ingest", "-a", str(self.archive), "--json", *map(str, (good[0], *bad, good[1]))
        )
        told = json.loads(said)
        status = [item["status"] for item in told["items"]]
        if code not in {0, 1} or len(status) != len(bad) + 2 or "refused" in (status[0], status[-1]):
            outcome.faults.append(f"ingest: exit {code}, {status}")
        for place in bad:
            place.unlink()
        self._sound(outcome)

    def _record(self, path: Path, outcome: Outcome) -> None:
        """Take the bad records, and see that what is refused leaves the archive as it was."""
        before = (self.archive / "negcat.db").read_bytes()
        code, _ = self._command("record", "-a", str(self.archive), str(path))
        if code not in {0, 2}:
            outcome.faults.append(f"record: exit {code}")
        if code == 2 and (self.archive / "negcat.db").read_bytes() != before:
            outcome.faults.append("records were refused and the catalogue changed")
        self._sound(outcome)

    def _sound(self, outcome: Outcome) -> None:
        import sqlite3

        with contextlib.closing(sqlite3.connect(self.archive / "negcat.db")) as database:
            if database.execute("pragma integrity_check").fetchone() != ("ok",):
                outcome.faults.append("the catalogue is broken")


def _check_sentence(text: str, path: Path, outcome: Outcome) -> None:
    words = ("Traceback", "Error(", "None", "object at", "errno")
    said = text.removeprefix(str(path))
    if not text.startswith(str(path)) or "\n" in text or not text.isprintable():
        outcome.faults.append(f"no readable sentence: {text[:200]!r}")
    elif len(said) > 900 or any(word in said for word in words):
        outcome.faults.append(f"no good sentence: {text[:200]!r}")


def _work(folder: Path, seed: int, pipe: Connection, wanted: Sequence[tuple[str, int]]) -> None:
    reader = Reader(folder, seed)
    for kind, number in wanted:
        pipe.send((kind, number))
        pipe.send(reader.run(kind, number))
    pipe.send(None)


# -- in the process that watches -----------------------------------------------------------------------------


def outcomes(
    wanted: Sequence[tuple[str, int]], seed: int, *, seconds: float = HUNG, folder: Path | None = None
) -> Iterator[Outcome]:
    """Have files read in a process that is watched, and begun anew where it hangs or dies."""
    context = multiprocessing.get_context("fork")
    left = list(wanted)
    while left:
        with tempfile.TemporaryDirectory(dir=folder) as inner:
            mine, theirs = context.Pipe(duplex=False)
            process = context.Process(target=_work, args=(Path(inner), seed, theirs, left))
            process.start()
            theirs.close()
            at: tuple[str, int] | None = None
            done = 0
            fault = ""
            while True:
                if not mine.poll(seconds):
                    fault = f"hung for {seconds:.0f} s"
                    process.kill()
                    break
                try:
                    told: Any = mine.recv()
                except EOFError:
                    process.join()
                    fault = f"the process died with {process.exitcode}"
                    break
                if told is None:
                    break
                if isinstance(told, Outcome):
                    done, at = done + 1, None
                    yield told
                else:
                    at = told
            process.join()
            if fault:
                said = ""
                with contextlib.suppress(OSError):
                    said = (Path(inner) / "noise").read_text("utf-8", "replace")[-2000:]
                if at is None:
                    raise RuntimeError(f"{fault} outside any file: {said}")
                yield Outcome(*at, "?", faults=[f"{fault} {said}".strip()])
                done += 1
            left = left[done:]


@dataclass
class Tally:
    """What a campaign came to."""

    taken: int = 0
    refused: int = 0
    seconds: float = 0.0
    longest: float = 0.0
    memory: int = 0
    faulty: list[Outcome] = field(default_factory=list)

    def add(self, outcome: Outcome) -> None:
        self.taken += outcome.taken
        self.refused += not outcome.taken
        self.seconds += outcome.seconds
        self.longest = max(self.longest, outcome.seconds)
        self.memory = max(self.memory, outcome.memory)
        if outcome.faults:
            self.faulty.append(outcome)


def main() -> int:
    """Run the campaign and print what came of it."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--images", type=int, default=0, help="bad image files to make")
    asked.add_argument("--records", type=int, default=0, help="bad record files to make")
    asked.add_argument("--first", type=int, default=0, help="number of the first")
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--show", type=int, default=40, help="faults that are listed")
    asked.add_argument("--keep", type=Path, help="folder into which the files that make faults are written")
    words = asked.parse_args()
    for kind, count in (("image", words.images), ("record", words.records)):
        if not count:
            continue
        tally = Tally()
        numbers = range(words.first, words.first + count)
        for outcome in outcomes([(kind, number) for number in numbers], words.seed):
            tally.add(outcome)
            if (tally.taken + tally.refused) % 1000 == 0:
                print(
                    f"{outcome.kind} {outcome.number}: {len(tally.faulty)} with faults",
                    file=sys.stderr,
                    flush=True,
                )
            if outcome.faults and words.keep:
                words.keep.mkdir(parents=True, exist_ok=True)
                if kind == "image":
                    raw, ending = image_case(words.seed, outcome.number)[0], "img"
                else:
                    raw, ending, _ = record_case(words.seed, outcome.number)
                (words.keep / f"{kind}-{words.seed}-{outcome.number}.{ending}").write_bytes(raw)
        print(
            f"{kind}s {numbers.start} to {numbers.stop - 1}, seed {words.seed}: {tally.taken} taken, "
            f"{tally.refused} refused, {len(tally.faulty)} with faults; longest {tally.longest:.2f} s, most "
            f"memory {tally.memory >> 20} MB, together {tally.seconds:.0f} s"
        )
        kinds = Counter(fault.split("(")[0][:90] for outcome in tally.faulty for fault in outcome.faults)
        for text, times in kinds.most_common(words.show):
            print(f"  {times} × {text}")
        for outcome in tally.faulty[: words.show]:
            print(f"    {outcome}"[:400])
        if tally.faulty:
            return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
