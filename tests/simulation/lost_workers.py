"""Kill the workers of an ingest at any moment, and see that it goes on, refuses nothing untold, and loses nothing.

``python -m tests.simulation.lost_workers [--runs 50] [--seed S]``

Half of the runs lose a worker now and then, and must end as if nothing had been. In the other half every worker is
killed as soon as it is seen: what is refused must be named with its reason, and taken by the next run.
"""

from __future__ import annotations

import argparse
import importlib
import json
import os
import random
import signal
import sqlite3
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from negcat.cli.program import COMMANDS
from negcat.work.archive import CATALOGUE_NAME
from tests.simulation.killing import Ended, begin, run
from tests.simulation.kills import JOBS, Bench, Job, _with, content, differences, masters, unsound

SIGNALS = (signal.SIGKILL, signal.SIGSEGV, signal.SIGBUS, signal.SIGABRT, signal.SIGTERM)
LEAST_S = 0.01


def children(pid: int) -> list[int]:
    """List the processes that one has begun."""
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                parent = int(
                    (entry / "stat")
                    .read_text(encoding="ascii", errors="replace")
                    .rsplit(")", 1)[1]
                    .split()[1]
                )
            except OSError:
                continue  # gone meanwhile
            if parent == pid:
                found.append(int(entry.name))
    return found


def workers_of(command: int) -> list[int]:
    """List a command's workers: they are forked by a process that it has begun."""
    return [worker for server in children(command) for worker in children(server)]


def joined(root: Path) -> list[tuple[Any, ...]]:
    """List the scans with their sheets, and whether they are looked over and measured."""
    with sqlite3.connect(root / CATALOGUE_NAME) as database:
        rows = database.execute(
            "select n.path, n.scan, n.sheet, n.rebate is null, f.scan is not null from scans n"
            " left join findings f on f.sheet = n.sheet order by n.path"
        ).fetchall()
    database.close()
    return rows


class Workers(Bench):
    """Where workers are killed."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self._joined: dict[str, list[tuple[Any, ...]]] = {}

    def _undisturbed(self, job: Job) -> tuple[dict[str, list[str]], set[str], float]:
        found = super()._undisturbed(job)
        if job.name not in self._joined:
            self._joined[job.name] = joined(self.folder / "archive")
        return found

    def lose(self, job: Job, rng: random.Random, *, every: bool) -> tuple[int, Ended, list[str]]:
        """Run a command and kill workers of it; how many, how it ended, and what is wrong."""
        wanted, _, seconds = self._undisturbed(job)
        root = self._fresh(job)
        before = masters(root)
        known = set(children(os.getpid()))
        finish = begin(_with(job.args, root), self.folder)
        command = (set(children(os.getpid())) - known).pop()
        killed: set[int] = set()
        with ThreadPoolExecutor(1) as thread:
            ended_later = thread.submit(finish)
            while not ended_later.done():
                victims = [pid for pid in workers_of(command) if pid not in killed]
                if victims and (every or rng.random() < 0.2):
                    killed.add(victims[0] if every else rng.choice(victims))
                    for pid in killed & set(victims):
                        os.kill(pid, rng.choice(SIGNALS))
                time.sleep(LEAST_S if every else rng.uniform(LEAST_S, max(LEAST_S, seconds / 4)))
        ended = ended_later.result()
        faults = self._wrong(ended, content(root), wanted)
        faults += [f"before the next run: {fault}" for fault in unsound(root, self.folder)]
        again = run(_with(job.args, root), self.folder)
        if again.status != 0:
            faults.append(f"run again it ended with {again.status}: {again.stderr}")
        faults += [f"run again: {fault}" for fault in unsound(root, self.folder)]
        if joined(root) != self._joined[job.name]:
            faults.append(f"run again: {joined(root)} instead of {self._joined[job.name]}")
        if masters(root) != before:
            faults.append("a master was changed")
        return len(killed), ended, faults

    def _wrong(self, ended: Ended, held: dict[str, list[str]], wanted: dict[str, list[str]]) -> list[str]:
        """Tell what is wrong with how a command ended and what it left in the catalogue."""
        if "Traceback" in ended.stderr:
            return [f"a traceback: {ended.stderr}"]
        if ended.status not in (0, 1, 2):
            return [f"it ended with {ended.status}: {ended.stderr}"]
        try:
            told = json.loads(ended.stdout)
        except ValueError:
            return [f"it said {ended.stdout!r} {ended.stderr!r}"]
        if not told["refused"]:
            return differences(held, wanted) if ended.status == 0 else [f"it ended with {ended.status}"]
        reasons = [item["reason"] for item in told["items"] if item["status"] == "refused"]
        return [
            f"refused without its reason: {reason}" for reason in reasons if "twice; the file" not in reason
        ]


def campaign(folder: Path, runs: int, seed: int, say: Callable[[str], Any] = print) -> dict[str, Any]:
    """Run ingests and kill workers of theirs.

    Returns
    -------
    ``{"runs", "killed", "ended", "refused", "faults"}``: workers killed, how often a run ended with which status,
    scans refused, and what was wrong.
    """
    for module, _ in COMMANDS.values():
        importlib.import_module(module)
    rng = random.Random(seed)
    jobs = [job for job in JOBS if job.name.startswith("ingest")]
    bench = Workers(folder)
    killed = refused = 0
    faults: list[str] = []
    statuses: Counter[int] = Counter()
    for number in range(runs):
        count, ended, wrong = bench.lose(jobs[number % len(jobs)], rng, every=number % 4 < 2)
        killed += count
        statuses[ended.status] += 1
        refused += ended.stdout.count('"refused",')
        faults += wrong
        for fault in wrong:
            say(f"run {number}: {fault}")
    return {"runs": runs, "killed": killed, "ended": dict(statuses), "refused": refused, "faults": faults}


def command() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description="Kill workers and see that nothing is lost.")
    parser.add_argument("--runs", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        told = campaign(
            Path(folder), chosen.runs, chosen.seed, lambda text: print(text, file=sys.stderr, flush=True)
        )
    print(
        f"{told['runs']} runs, {told['killed']} workers killed, {told['refused']} scans refused, "
        f"{len(told['faults'])} faults; they ended with {told['ended']}."
    )
    return 1 if told["faults"] else 0


if __name__ == "__main__":
    sys.exit(command())
