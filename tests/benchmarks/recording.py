"""What taking many records costs, beside SQLite alone.

    python -m tests.benchmarks.recording [--sheets 1000 10000 100000]

Writes a CSV record file of invented sheets with two readings each, takes it with ``negcat record`` in a process of its
own, and writes the very same rows with one ``executemany`` a table, in one transaction, into plain tables of the same
columns: those of the records alone, and with those of what was computed of the sheets, which are written along with
them. Prints seconds, their ratios and the peak of memory, for each number of sheets.
"""

import argparse
import csv
import os
import platform
import random
import sqlite3
import subprocess
import sys
import tempfile
import time
from datetime import datetime, timedelta
from pathlib import Path

EQUIPMENT = """\
films:
  - {name: Marl 400, box_speed: 400, exposure_index: 320, reciprocity: {law: power, exponent: 1.3}}
  - {name: Sorrel 100, box_speed: 100}
lenses:
  - name: Aldwater convertible 195
    cells:
      - {cell: whole, focal_mm: 195, mounted: whole, widest_stop: 6.8}
      - {cell: rear, focal_mm: 330, mounted: behind, own_scale: false, cell_to_stop_mm: 12}
"""
PLACES = ("kiln yard", "clay pit", "tidal creek", "drying shed", "tramway", "quay")


def write_csv(path: Path, sheets: int) -> None:
    """Write a season after the other, as somebody's notebooks hold them."""
    chance = random.Random(7)
    first = datetime(1990, 1, 1, 9)  # noqa: DTZ001 - as a notebook says it
    with path.open("w", newline="", encoding="utf-8") as file:
        rows = csv.writer(file)
        rows.writerow(
            ["sheet", "film", "format", "exposed_at", "place", "subject", "lens", "cell", "stop", "time", "tag",
             "notes", "shadow_name", "shadow_ev", "shadow_zone", "highlight_name", "highlight_ev"]
        )  # fmt: skip
        for number in range(sheets):
            shadow = round(chance.uniform(6, 12), 1)
            rows.writerow(
                [
                    f"K-{number:07}",
                    chance.choice(("Marl 400", "Sorrel 100")),
                    "4x5",
                    (first + timedelta(minutes=37 * number)).isoformat(timespec="minutes"),
                    f"Hollin Brickworks, {chance.choice(PLACES)}",
                    f"wall {number % 977} of the works",
                    "Aldwater convertible 195",
                    chance.choice(("whole", "rear")),
                    chance.choice(("16", "22", "22½", "32", "45")),
                    chance.choice(("1/15", "1/4", "1", "4 s", "30 s")),
                    chance.choice(("N", "N", "N+1", "N-1")),
                    "wind from the creek" if number % 5 else "",
                    "kiln mouth",
                    shadow,
                    chance.choice(("III", "III½", "IV")),
                    "sky",
                    round(shadow + chance.uniform(3, 6), 1),
                ]
            )


def negcat(*words: str) -> tuple[float, float]:
    """Run a command; seconds, and the peak of its memory in MB."""
    began = time.perf_counter()
    script = "import sys; from negcat.cli import main; main(sys.argv[1:])"
    child = subprocess.Popen([sys.executable, "-c", script, *words], stdout=subprocess.DEVNULL)
    _, status, used = os.wait4(child.pid, 0)
    if status:
        raise SystemExit(f"negcat {' '.join(words)} ended with {status}")
    return time.perf_counter() - began, used.ru_maxrss / 1024


RECORDS = ("sheets", "readings")
COMPUTED = ("exposures", "found_readings", "results", "findings")


def bare(archive: Path, target: Path, names: tuple[str, ...]) -> float:
    """Write the rows of some of an archive's tables into plain ones; seconds."""
    with sqlite3.connect(archive) as source:
        tables = {
            table: (
                [column[1] for column in source.execute(f"pragma table_info({table})")],
                source.execute(f"select * from {table}").fetchall(),
            )
            for table in names
        }
    source.close()
    seconds = []
    for _ in range(3):
        target.unlink(missing_ok=True)
        into = sqlite3.connect(target, isolation_level=None)
        into.execute("pragma journal_mode=wal")
        into.execute("pragma synchronous=full")
        for table, (columns, _) in tables.items():
            key = "sheet, position" if "position" in columns else "sheet"
            into.execute(f"create table {table} ({', '.join(columns)}, primary key ({key}))")
        began = time.perf_counter()
        into.execute("begin")
        for table, (columns, rows) in tables.items():
            into.executemany(f"insert into {table} values ({', '.join('?' * len(columns))})", rows)
        into.execute("commit")
        seconds.append(time.perf_counter() - began)
        into.close()
    return min(seconds)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--sheets", type=int, nargs="+", default=[1000, 10_000, 100_000])
    numbers = parser.parse_args().sheets
    print(
        f"{platform.processor() or platform.machine()}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}; "
        f"Python {platform.python_version()}, SQLite {sqlite3.sqlite_version}"
    )
    print(
        "| sheets | negcat record, s | again, unchanged, s | bare, records' rows, s | ratio"
        " | bare, with computed rows, s | ratio | peak memory, MB |"
    )
    print("|--:|--:|--:|--:|--:|--:|--:|--:|")
    for number in numbers:
        with tempfile.TemporaryDirectory() as folder:
            root = Path(folder)
            (root / "equipment.yaml").write_text(EQUIPMENT, encoding="utf-8")
            write_csv(root / "sheets.csv", number)
            archive = root / "archive"
            negcat("init", str(archive))
            negcat("record", "-a", str(archive), str(root / "equipment.yaml"))
            seconds, memory = negcat("record", "-a", str(archive), str(root / "sheets.csv"))
            again, _ = negcat("record", "-a", str(archive), str(root / "sheets.csv"))
            least = bare(archive / "negcat.db", root / "bare.db", RECORDS)
            whole = bare(archive / "negcat.db", root / "bare.db", RECORDS + COMPUTED)
            print(
                f"| {number:,} | {seconds:.2f} | {again:.2f} | {least:.3f} | {seconds / least:.1f}"
                f" | {whole:.3f} | {seconds / whole:.1f} | {memory:.0f} |"
            )
            sys.stdout.flush()


if __name__ == "__main__":
    main()
