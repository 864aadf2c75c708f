"""Kill commands at any moment, and see that nothing is lost, nothing is doubled, and the next run completes.

``python -m tests.simulation.kills [--kills 200] [--seed S]``

Each command is run once undisturbed on an archive made for it; what comes of that is what must come of it. Then it is
killed again and again, each time on the archive as it was before, and run again.
"""

from __future__ import annotations

import argparse
import hashlib
import importlib
import json
import random
import shutil
import sqlite3
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import tifffile

from negcat.cli.program import COMMANDS
from negcat.sensitometry import DEFAULT_TARGET
from negcat.work.archive import CATALOGUE_NAME, Archive
from negcat.work.planning import Equipment
from tests.simulation.killing import Ended, Stop, run, stop_for
from tests.simulation.scanbench import Bed, Sheet, Tablet, tablet

PX_PER_MM = 2.5
DENSITIES = tablet()
MARGIN_MM = 4.0

EQUIPMENT = f"""\
films: [{{name: Brickdust 100, box_speed: 100}}]
lenses: [{{name: Aldwater, cells: [{{cell: whole, focal_mm: 180}}]}}]
scanners: [{{name: bench scanner, make: Marl, model: Flatbed 4}}]
tablets: [{{name: tablet 21, densities: [{", ".join(f"{value:.2f}" for value in DENSITIES)}]}}]
"""

# At or after the first run each time: what depends on the clock, and the numbers of changes.
VOLATILE = {
    "recorded_at", "computed_at", "added_at", "made_at", "seen_at", "checked_at", "accepted_at", "applied_at", "at",
    "since", "id", "change", "removed_at", "begun_at",
}  # fmt: skip
KEPT = "negcat.db.replaced-"
"""What restoring keeps of the catalogue before, each time that it is run."""

NOT_COMPARED = ("check", "sqlite_", "sheet_changes", "_sqlite_migrations", "sheet_search_fts", "places_fts")


def records_of_sheets() -> str:
    """Write the records of sheets, the last of which shows no rebate and borrows its base+fog from its batch."""
    lines = ["sheets:"]
    for number in range(1, 5):
        lines.append(
            f"  - {{sheet: BW-0{number}, film: Brickdust 100, format: 4x5, lens: Aldwater, cell: whole, stop: 22,"
            f" time: 1/4, exposed_at: 2026-05-0{number}, place: Old kilns, readings: [{{name: soot, role: shadow,"
            " ev: 9.5, zone: III, spot: {x: 0.3, y: 0.4}}, {name: sky, role: highlight, ev: 13.5,"
            " spot: {x: 0.7, y: 0.6}}]}"
        )
    lines.append("developments:")
    lines.append(
        "  - {batch: B1, date: 2026-05-10, developer: Slip, time: 9m, sheets: [BW-01, BW-02, BW-03, BW-04]}"
    )
    return "\n".join(lines) + "\n"


def write_scans(root: Path) -> None:
    """Write a step tablet, four sheets' scans, a second scan of one, and one that names no sheet."""
    (root / "scans").mkdir()
    rng = np.random.default_rng(5)
    write(root / "tablet.tif", Bed().codes(10.0 ** -Tablet(DENSITIES).draw(4.0, rng), rng, 4.0), 4.0)
    for number, name in enumerate(("BW-01", "BW-02", "BW-03", "BW-04", "BW-01 again", "kiln")):
        rng = np.random.default_rng(number)
        density, _ = Sheet(base=0.2, patches=(0.35, 0.7, 1.09)).draw(PX_PER_MM, rng)
        codes = Bed().codes(10.0**-density, rng, PX_PER_MM)
        if name == "BW-02":
            cut = round(4 * MARGIN_MM * PX_PER_MM)
            codes = codes[cut:-cut, cut:-cut]
        write(root / "scans" / f"{name}.tif", codes, PX_PER_MM)


def write(path: Path, codes: np.ndarray, px_per_mm: float) -> None:
    tifffile.imwrite(
        path,
        codes,
        photometric="minisblack",
        compression="zlib",
        predictor=True,
        resolution=(px_per_mm * 25.4, px_per_mm * 25.4),
        resolutionunit="INCH",
        datetime="2026:05:12 10:00:00",
        metadata=None,
        extratags=[(271, "s", 0, "Marl", True), (272, "s", 0, "Flatbed 4", True)],
    )


# Archives to begin with ----------------------------------------------------------------------------------------


def bare(root: Path) -> None:
    """A folder with scans and record files, and no archive yet."""
    root.mkdir()
    write_scans(root)
    (root / "equipment.yaml").write_text(EQUIPMENT, encoding="utf-8")
    (root / "sheets.yaml").write_text(records_of_sheets(), encoding="utf-8")
    (root / "changed.yaml").write_text(records_of_sheets().replace("Old kilns", "Clay pit"), encoding="utf-8")


def after(*commands: list[str]) -> Callable[[Path], None]:
    """Give what builds an archive by commands."""

    def build(root: Path) -> None:
        bare(root)
        for command in [["init"], ["record", "{root}/equipment.yaml"], *commands]:
            ended = run(_with(command, root), root.parent)
            assert ended.status == 0, (command, ended)

    return build


def older(root: Path) -> None:
    """An archive as an older negcat left it."""
    root.mkdir()
    kept = Path(__file__).parents[1] / "unit" / "catalogue" / "upgrading" / "m006_searching.sql"
    with sqlite3.connect(root / CATALOGUE_NAME) as database:
        database.executescript(kept.read_text(encoding="utf-8"))
    database.close()


def advised(root: Path) -> None:
    """An archive whose sheets came out thin, so that a lower index is advised."""
    after()(root)
    sheets = [
        {
            "sheet": f"QU-{number:02d}", "film": "Brickdust 100", "lens": "Aldwater", "cell": "whole", "stop": "22",
            "time": "1/4", "exposed_at": f"2026-05-{number + 1:02d}" if number < 16 else "2030-01-01",
            "readings": [{"name": "soot", "role": "shadow", "ev": 8 + number % 3, "zone": "III"},
                         {"name": "brick", "role": "middle", "ev": 10 + number % 3},
                         {"name": "sky", "role": "highlight", "ev": 12 + number % 2}],
        }
        for number in range(20)
    ]  # fmt: skip
    batch = {
        "batch": "B7",
        "date": "2026-06-01",
        "developer": "Slip",
        "time": "9m",
        "sheets": [s["sheet"] for s in sheets],
    }
    (root / "season.json").write_text(json.dumps({"sheets": sheets, "developments": [batch]}), "utf-8")
    ended = run(_with(["record", "{root}/season.json"], root), root.parent)
    assert ended.status == 0, ended
    with Archive.open(root) as archive:
        target = Equipment(archive.catalogue).target(DEFAULT_TARGET)
        kept = []
        for sheet in archive.catalogue.sheet_ids()[:16]:
            found = archive.catalogue.findings(sheet)
            assert found is not None
            readings = []
            for reading in found.readings:
                net = float(target.density(reading["given_zone"] - 0.8))
                readings.append({**reading, "density": net + 0.2, "net_density": net, "sd": 0.01})
            fog = {"density": 0.2, "sd": 0.01, "source": "rebate"}
            kept.append(replace(found, readings=readings, base_fog=fog))
        archive.catalogue.save_findings(*kept)


@dataclass(frozen=True)
class Job:
    """A command to be killed.

    Parameters
    ----------
    name : what it is called in the report.
    build : makes the archive that it begins with.
    args : the command; ``{root}`` stands for the archive's folder.
    again : statuses of the run afterwards that say it is done: some commands say that they were done already.
    """

    name: str
    build: Callable[[Path], None]
    args: list[str]
    again: tuple[int, ...] = (0,)


RECORD = ["record", "{root}/sheets.yaml"]
CALIBRATE = ["calibrate", "{root}/tablet.tif", "--scanner", "bench scanner", "--tablet", "tablet 21"]
INGEST = ["ingest", "{root}/scans"]
BACKUP = ["backup", "{root}/copy.negcat"]
RECORDED = after(RECORD, CALIBRATE)
MEASURED = after(RECORD, CALIBRATE, INGEST)
JOBS = [
    Job("init", bare, ["init"], (0, 2)),
    Job("record", after(CALIBRATE, INGEST), RECORD),
    Job("ingest", RECORDED, [*INGEST, "--jobs", "1"]),
    Job("ingest --jobs 2", RECORDED, [*INGEST, "--jobs", "2"]),
    Job("measure", MEASURED, ["measure"]),
    Job("measure --spot", MEASURED, ["measure", "BW-03", "--spot", "sky=0.6,0.5"]),
    Job("calibrate", after(RECORD, INGEST), CALIBRATE),
    Job("review --accept", advised, ["review", "--accept", "index-brickdust-100", "--from", "2026-05-10"], (0, 2)),
    Job("restore", after(RECORD, BACKUP, ["record", "{root}/changed.yaml"]), ["restore", "{root}/copy.negcat"]),
    Job("find, of an older archive", older, ["find"]),
    Job("backup", MEASURED, [*BACKUP, "--overwrite"]),
]  # fmt: skip


def _with(args: list[str], root: Path) -> list[str]:
    command = [word.replace("{root}", str(root)) for word in args]
    if command[0] == "init":
        return ["init", str(root), "--json"]
    return [*command, "--archive", str(root), "--json"]


# Looking -------------------------------------------------------------------------------------------------------


def content(root: Path) -> dict[str, list[str]]:
    """Tell what a catalogue holds, table by table, without what the clock and the order of events decide."""
    with sqlite3.connect(root / CATALOGUE_NAME) as database:
        names = [name for (name,) in database.execute("select name from sqlite_master where type = 'table'")]
        held = {}
        for name in names:
            if name.startswith(NOT_COMPARED):
                continue
            cursor = database.execute(f'select * from "{name}"')
            columns = [column[0] for column in cursor.description]
            held[name] = sorted(
                repr([value for column, value in zip(columns, row, strict=True) if column not in VOLATILE])
                for row in cursor
            )
    database.close()
    return held


def files(root: Path) -> set[str]:
    return {str(path.relative_to(root)) for path in root.rglob("*") if path.is_file()}


def masters(root: Path) -> dict[str, str]:
    return {
        str(path.relative_to(root)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(root.rglob("*.tif"))
        if "previews" not in path.parts
    }


def differences(found: dict[str, list[str]], wanted: dict[str, list[str]]) -> list[str]:
    said = []
    for table in sorted({*found, *wanted}):
        surplus = Counter(found.get(table, ())) - Counter(wanted.get(table, ()))
        lacking = Counter(wanted.get(table, ())) - Counter(found.get(table, ()))
        said += [f"{table}: has {row[:300]}" for row in surplus][:2]
        said += [f"{table}: lacks {row[:300]}" for row in lacking][:2]
    return said


def unsound(root: Path, folder: Path) -> list[str]:
    """Tell what is wrong with a catalogue, by SQLite and by negcat itself."""
    with sqlite3.connect(root / CATALOGUE_NAME) as database:
        faults = [line for (line,) in database.execute("pragma integrity_check") if line != "ok"]
        faults += [f"reference: {row}" for row in database.execute("pragma foreign_key_check")]
    database.close()
    told = run(_with(["verify"], root), folder)
    try:
        document = json.loads(told.stdout)
    except ValueError:
        return [*faults, f"verify said {told.stdout!r} {told.stderr!r}"]
    if document["catalogue"] != "sound":
        faults += document["catalogue"]
    faults += [
        f"{item['path']}: {item['status']}" for item in document["items"] if item["status"] != "unchanged"
    ]
    return faults


class Bench:
    """Where commands are killed: an archive for each job, as it was before and as it must be afterwards."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._before: dict[str, Path] = {}
        self._wanted: dict[str, tuple[dict[str, list[str]], set[str], float]] = {}
        # Masters that an archive never had here.
        self._away: dict[str, list[str]] = {}

    def kill(self, job: Job, rng: random.Random) -> tuple[Stop, Ended, list[str]]:
        """Kill a command once, and tell what is wrong afterwards; nothing, where all is well."""
        wanted, names, seconds = self._undisturbed(job)
        root = self._fresh(job)
        before = masters(root)
        stop = stop_for(rng, seconds)
        killed = run(_with(job.args, root), self.folder, stop)
        faults: list[str] = []
        held: dict[str, list[str]] = {}
        if (root / CATALOGUE_NAME).exists():
            faults += [f"after the kill: {fault}" for fault in self._unsound(job, root)]
            held = content(root)
        if self._reported(killed):
            faults += [f"reported, but {fault}" for fault in differences(held, wanted)]
        again = run(_with(job.args, root), self.folder)
        if again.status not in job.again:
            faults.append(f"run again it ended with {again.status}: {again.stderr.strip()}")
        if "Traceback" in again.stderr + killed.stderr or "should not" in again.stderr:
            faults.append(f"a traceback: {again.stderr}{killed.stderr}")
        faults += [f"run again: {fault}" for fault in self._unsound(job, root)]
        faults += [f"run again: {fault}" for fault in differences(content(root), wanted)]
        # Pictures may wait until they are asked for; nothing else may be there than should be.
        faults += [
            f"left behind: {name}" for name in sorted(files(root) - names) if not name.startswith(KEPT)
        ]
        faults += [
            f"gone: {name}"
            for name in sorted(names - files(root))
            if not name.startswith(("previews/", KEPT))
        ]
        if masters(root) != before:
            faults.append("a master was changed")
        return stop, killed, faults

    def _unsound(self, job: Job, root: Path) -> list[str]:
        return [fault for fault in unsound(root, self.folder) if fault not in self._away[job.name]]

    @staticmethod
    def _reported(killed: Ended) -> bool:
        """Tell whether a command said that it was done before it was killed."""
        try:
            json.loads(killed.stdout)
        except ValueError:
            return False
        return True

    def _undisturbed(self, job: Job) -> tuple[dict[str, list[str]], set[str], float]:
        if job.name not in self._wanted:
            root = self._fresh(job)
            ended = run(_with(job.args, root), self.folder)
            assert ended.status == 0, (job.name, ended)
            self._away[job.name] = unsound(root, self.folder)
            assert all(fault.endswith(": missing") for fault in self._away[job.name]), self._away
            self._wanted[job.name] = content(root), files(root), ended.seconds
        return self._wanted[job.name]

    def _fresh(self, job: Job) -> Path:
        """Lay the archive of a job as it was before, always in the same place."""
        root = self.folder / "archive"
        shutil.rmtree(root, ignore_errors=True)
        key = f"{job.build.__qualname__} {id(job.build)}"
        if key not in self._before:
            job.build(root)
            self._before[key] = self.folder / f"before-{len(self._before)}"
            shutil.copytree(root, self._before[key])
        else:
            shutil.copytree(self._before[key], root)
        return root


def campaign(
    folder: Path, jobs: list[Job], kills: int, seed: int, say: Callable[[str], Any] = print
) -> dict[str, Any]:
    """Kill commands, the jobs in turn.

    Returns
    -------
    ``{"kills", "killed", "by", "faults"}``: how many were tried, how many commands were at it still when they were
    stopped, by job and kind, and what was wrong.
    """
    for module, _ in COMMANDS.values():
        importlib.import_module(module)
    rng = random.Random(seed)
    bench = Bench(folder)
    by: Counter[str] = Counter()
    faults: list[str] = []
    for number in range(kills):
        job = jobs[number % len(jobs)]
        stop, ended, wrong = bench.kill(job, rng)
        killed = ended.status < 0
        by[f"{job.name}, {stop.kind}{'' if killed else ' (done before)'}"] += 1
        by["killed"] += killed
        faults += [f"{job.name} at {stop.kind} {stop.value:g}: {fault}" for fault in wrong]
        for fault in wrong:
            say(f"kill {number}, {job.name} at {stop.kind} {stop.value:g}: {fault}")
    return {"kills": kills, "killed": by.pop("killed"), "by": dict(sorted(by.items())), "faults": faults}


def command() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description="Kill commands and see that nothing is lost.")
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", help="jobs whose name begins so")
    parser.add_argument("--json", action="store_true")
    chosen = parser.parse_args()
    jobs = [job for job in JOBS if job.name.startswith(chosen.only or "")]
    with tempfile.TemporaryDirectory() as folder:
        told = campaign(
            Path(folder),
            jobs,
            chosen.kills,
            chosen.seed,
            lambda text: print(text, file=sys.stderr, flush=True),
        )
    if chosen.json:
        print(json.dumps(told))
    else:
        print(f"{told['kills']} tried, {told['killed']} killed at it, {len(told['faults'])} faults.")
        for name, count in told["by"].items():
            print(f"{count:5d}  {name}")
    return 1 if told["faults"] else 0


if __name__ == "__main__":
    sys.exit(command())
