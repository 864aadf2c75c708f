"""How what is asked of an archive grows with its sheets: from a thousand to a million, in one run.

    python -m tests.benchmarks.growth DIR [--sizes 1000,10000,100000,1000000]

Makes DIR/1000 and so on as tests.benchmarks.many does, five readings a sheet, where they aren't there yet (a million
takes a quarter of an hour and 5 GB of disk). Writes tests/benchmarks/GROWTH.md, the table, and growth.svg, the plot.

Everything is asked in a process of its own for each size, in an order drawn at random; values are drawn from what
the archive holds. Two times stand beside each other: by the clock, and of the process on a core, which other work on
the machine lengthens less. Limits are held against the 95th percentile by the clock at the largest size.
"""

import argparse
import json
import os
import platform
import random
import re
import resource
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np

from negcat.catalogue import Query
from negcat.catalogue.finding import Found
from negcat.work.archive import Archive
from tests.benchmarks import pages
from tests.benchmarks.many import COMMON, RARE, WORDS, make

HERE = Path(__file__).parent
SORTS: tuple[Any, ...] = ("newest", "oldest", "sheet", "verdict", "place")
WALLS = ("wall, first page", "broad filters, one to three", "a common word, also with more")
REVIEWED = 10_000

LIMITS: dict[str, float | None] = {
    "one filter, five orders": 50,
    "two filters": 50,
    "later pages": 50,
    "a word": 100,
    "the commonest word": 100,
    "the wall, in the process": 200,
    **{f"{wall}, over HTTP": 200 for wall in WALLS},
    "`negcat find` from the shell": None,
    "… on a core": None,
    "first page after a start": None,
    f"`negcat review`, {REVIEWED:,} sheets at most": 10_000,
}
"""What is measured, and its limit in milliseconds. That of the shell is told by the run itself."""


def values(catalogue: Found) -> dict[str, list[str]]:
    """Give what can be asked for, by filter."""
    chance = random.Random(7)

    def of(sql: str) -> list[str]:
        return [value for (value,) in catalogue.tuples(sql)]

    found = {
        name: of(f"select distinct {name} from sheet_counts where {name} <> ''")
        for name in ("cell", "lens", "film", "tag", "developer", "verdict", "stage")
    }
    days = [f"{year}-{month:02d}" for year in range(1998, 2026) for month in (2, 7)]
    places = of("select place from places order by sheets desc")
    return found | {
        "batch": chance.sample(batches := of("select batch from developments"), min(200, len(batches))),
        "place": [*places[:10], *chance.sample(places, min(20, len(places))), "kiln", "creek 1", "qu"],
        "since": days,
        "until": days,
        "suits": of("select name from print_targets"),
        "text": [COMMON, RARE, *WORDS[:40:3], f"{COMMON} mouth", "convertible", "k"],
    }


def _asked(catalogue: Found, chance: random.Random) -> dict[str, list[Query]]:
    """Draw the questions of each kind."""
    by_name = values(catalogue)

    def query(*names: str, sort: Any = "newest") -> Query:
        return Query(**{name: chance.choice(by_name[name]) for name in names}, limit=50, sort=sort)

    filters = [name for name in by_name if name != "text"]
    pairs = list(combinations(by_name, 2))
    kinds = {
        "one filter, five orders": [
            query(name, sort=sort) for name in filters for sort in SORTS for _ in range(4)
        ],
        "two filters": [query(*pair) for pair in pairs for _ in range(4)],
        "a word": [query("text", sort=sort) for sort in SORTS for _ in range(20)],
        "the commonest word": [Query(text=COMMON, limit=50, sort=sort) for sort in SORTS for _ in range(10)],
    }
    later = [query(*pair, sort=chance.choice(SORTS)) for pair in pairs for _ in range(4)]
    kinds["later pages"] = [
        replace(one, after=after) for one in later if (after := catalogue.find(one).after) is not None
    ]
    kinds["the wall, in the process"] = [
        replace(one, limit=48)
        for one in (*kinds["two filters"][::4], *kinds["one filter, five orders"][::5], *[Query()] * 20)
    ]
    return kinds


def _timed(ask: Callable[[], Any]) -> tuple[float, float]:
    core, clock = time.process_time(), time.perf_counter()
    ask()
    return 1000 * (time.perf_counter() - clock), 1000 * (time.process_time() - core)


def _held(process: int) -> float:
    """Tell how much memory a process holds, in MB."""
    held = re.search(r"VmRSS:\s*(\d+)", Path(f"/proc/{process}/status").read_text())
    return int(held.group(1)) / 1024 if held else 0.0


def _summed(times: Sequence[tuple[float, float]]) -> dict[str, float]:
    (median, _), (late, core) = np.percentile(times, (50, 95), axis=0)
    return {"median": float(median), "95 %": float(late), "95 % on a core": float(core)}


def asked_in_process(root: Path) -> dict[str, dict[str, float]]:
    """Ask an archive everything that needs no other process."""
    with Archive.open(root, readonly=True) as archive:
        catalogue = archive.catalogue
        first = _timed(lambda: catalogue.find_with_choices(Query(limit=48)))
        memory = _held(os.getpid())
        asked = _asked(catalogue, random.Random(5))
        turns = [(kind, query) for kind, queries in asked.items() for query in queries]
        random.Random(6).shuffle(turns)
        took: dict[str, list[tuple[float, float]]] = {kind: [] for kind in asked}
        for kind, query in turns:
            ask = catalogue.find_with_choices if kind == "the wall, in the process" else catalogue.find
            took[kind].append(_timed(lambda ask=ask, query=query: ask(query)))  # type: ignore[misc]
        bytes_kept = catalogue.value("select sum(length(bytes)) from sheet_tally_bytes") or 0
        sheets = catalogue.value("select count(*) from sheets")
        readings = catalogue.value("select count(*) from readings")
    found = {kind: _summed(times) for kind, times in took.items()}
    found["first page after a start"] = _summed([first])
    found["sizes"] = {
        "sheets": sheets,
        "readings": readings,
        "bytes": (root / "negcat.db").stat().st_size,
        "tallies": bytes_kept,
        "memory": memory,
    }
    return found


def _over_http(root: Path, asked: int) -> dict[str, dict[str, float]]:
    """Ask the served archive for its wall."""
    kinds = pages.kinds(root, random.Random(1))
    with pages.started(str(Path(sys.executable).with_name("negcat")), "serve", "-a", str(root), "--port", "0") as (
        base,
        process,
    ):  # fmt: skip
        client = pages.Client(base, process)
        client.ask("/")
        found = {}
        for wall in WALLS:
            took = [client.ask(kinds[wall][1]()) for _ in range(pages.WARMING + asked)][pages.WARMING :]
            found[f"{wall}, over HTTP"] = _summed([(one.clock, one.at_work) for one in took])
        found["served"] = {"memory": _held(process)}
    return found


def _run(*command: str) -> tuple[float, float]:
    """Run a command to its end; gives milliseconds by the clock and on a core."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    began = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    clock = time.perf_counter() - began
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    core = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return 1000 * clock, 1000 * core


def _from_shell(root: Path) -> dict[str, dict[str, float]]:
    """Run ``negcat find`` and ``negcat review`` as anyone does, and the yardstick beside them."""
    negcat = str(Path(sys.executable).with_name("negcat"))
    questions = (
        ["--cell", "rear", "--tag", "N+1"],
        [COMMON],
        [COMMON, "--film", "Sorrel 100"],
        ["--place", "kiln", "--since", "2010"],
        ["--since", "2001", "--verdict", "thin"],
        ["--suits", "long-scale", "--developer", "two-bath"],
        ["--film", "Marl 400", "--json"],
    )
    yardstick, found = [], []
    for _ in range(8):
        yardstick.append(_run(sys.executable, "-c", "import click, sqlite3"))
        found += [_run(negcat, "find", *words, "-a", str(root)) for words in questions]
    with Archive.open(root, readonly=True) as archive:
        since = archive.catalogue.value(
            "select exposed_at from sheet_search where exposed_at > '' order by exposed_at desc limit 1 offset ?",
            [REVIEWED],
        )
    chosen = ["--since", since[:16]] if since else []
    review = _run(negcat, "review", *chosen, "-a", str(root))
    clock, core = np.median(yardstick, axis=0)
    shell = _summed(found)
    return {
        "yardstick": {"clock": float(clock), "core": float(core)},
        "`negcat find` from the shell": shell,
        "… on a core": {
            "median": float(np.median([one for _, one in found])),
            "95 %": shell["95 % on a core"],
        },
        f"`negcat review`, {REVIEWED:,} sheets at most": _summed([review]),
    }


def measured(root: Path, asked: int) -> dict[str, dict[str, float]]:
    """Measure one archive, each part in a process that has done nothing before."""
    words = [sys.executable, "-m", "tests.benchmarks.growth", "--in-process", str(root)]
    done = subprocess.run(words, check=True, capture_output=True, text=True)
    found: dict[str, dict[str, float]] = json.loads(done.stdout)
    return {**found, **_over_http(root, asked), **_from_shell(root)}


def table(of: Mapping[int, Mapping[str, Mapping[str, float]]]) -> str:
    """Write what was measured, in Markdown."""
    largest = of[max(of)]
    yardstick = largest["yardstick"]
    limits = {
        **LIMITS,
        "`negcat find` from the shell": 2 * yardstick["clock"] + 150,
        "… on a core": 2 * yardstick["core"] + 150,
    }
    head = [f"{size:,}" for size in of]
    lines = [
        f"| 95 of a hundred take at most, ms | {' | '.join(head)} | limit | on a core, {head[-1]} |",
        f"|---|{'--:|' * (len(of) + 2)}",
    ]
    for kind, limit in limits.items():
        cells = [f"{found[kind]['95 %']:,.1f}" for found in of.values()]
        if limit is not None and largest[kind]["95 %"] > limit:
            cells[-1] += " **over**"
        core = largest[kind].get("95 % on a core")
        lines.append(
            f"| {kind} | {' | '.join(cells)} | {'' if limit is None else f'{limit:,.0f}'}"
            f" | {'' if core is None else f'{core:,.1f}'} |"
        )
    sizes = {
        "readings": lambda found: f"{found['sizes']['readings']:,.0f}",
        "catalogue, MB": lambda found: f"{found['sizes']['bytes'] / 1e6:,.0f}",
        "catalogue, bytes a sheet": lambda found: (
            f"{found['sizes']['bytes'] / found['sizes']['sheets']:,.0f}"
        ),
        "of these tallies": lambda found: f"{found['sizes']['tallies'] / found['sizes']['sheets']:,.0f}",
        "memory of the process after its first page, MB": lambda found: f"{found['sizes']['memory']:,.0f}",
        "memory of the server after its walls, MB": lambda found: f"{found['served']['memory']:,.0f}",
    }
    lines += [
        f"| {name} | {' | '.join(written(found) for found in of.values())} | | |"
        for name, written in sizes.items()
    ]
    return "\n".join(lines)


def plot(of: Mapping[int, Mapping[str, Mapping[str, float]]]) -> str:
    """Draw how each kind grows, as SVG: time against sheets, both in decades."""
    import altair as alt
    import vl_convert

    shown = (
        "two filters",
        "later pages",
        "the commonest word",
        "the wall, in the process",
        "broad filters, one to three, over HTTP",
        "`negcat find` from the shell",
        f"`negcat review`, {REVIEWED:,} sheets at most",
        "first page after a start",
    )
    names = {kind: kind.replace("`", "") for kind in shown}
    rows = [
        {"sheets": size, "ms": max(found[kind]["95 %"], 0.1), "asked for": names[kind]}
        for size, found in of.items()
        for kind in shown
    ]
    order = sorted(shown, key=lambda kind: -of[max(of)][kind]["95 %"])
    x = alt.X(
        "sheets:Q",
        scale=alt.Scale(type="log"),
        axis=alt.Axis(values=sorted(of), format=",", grid=True),
        title="sheets in the archive",
    )
    y = alt.Y(
        "ms:Q",
        scale=alt.Scale(type="log"),
        axis=alt.Axis(values=[1, 10, 100, 1000, 10_000, 100_000], format=","),
        title="milliseconds, 95 of a hundred take at most",
    )
    sort = [names[kind] for kind in order]
    colour = alt.Color(
        "asked for:N",
        sort=sort,
        scale=alt.Scale(scheme="category10"),
        legend=alt.Legend(title=None, labelLimit=320),
    )
    shape = alt.Shape("asked for:N", sort=sort, legend=None)
    base = alt.Chart(alt.Data(values=rows)).encode(x=x, y=y, color=colour)
    chart = alt.layer(
        base.mark_line(strokeWidth=1.6), base.mark_point(size=46, filled=True).encode(shape=shape)
    )
    chart = chart.properties(
        width=520, height=440, title="What is asked for, as an archive grows", background="white"
    ).configure(font="sans-serif", axis=alt.AxisConfig(labelFontSize=12, titleFontSize=12, gridColor="#ddd"))
    drawn: str = vl_convert.vegalite_to_svg(chart.to_dict())
    return drawn


def main() -> None:
    """Measure what the command line asks for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, metavar="DIR")
    parser.add_argument("--sizes", default="1000,10000,100000,1000000")
    parser.add_argument("--asked", type=int, default=40)
    parser.add_argument("--in-process", action="store_true", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.in_process:
        print(json.dumps(asked_in_process(options.folder)))
        return
    found = {}
    for size in map(int, options.sizes.split(",")):
        folder = options.folder / str(size)
        if not folder.exists():
            # Where it fails, nothing half made is left that a second run would measure.
            with tempfile.TemporaryDirectory(dir=options.folder) as making:
                make(Path(making) / "made", size, master=False)
                (Path(making) / "made").rename(folder)
        found[size] = measured(folder / "brickworks", options.asked)
        print(f"{size:,} sheets: measured", file=sys.stderr)
    said = (
        f"{pages._processor()}, {os.cpu_count()} cores, "
        f"{os.sysconf('SC_PAGE_SIZE') * os.sysconf('SC_PHYS_PAGES') / 2**30:.0f} GB, load "
        f"{os.getloadavg()[1]:.1f}; {platform.system()} {platform.release()}, Python {platform.python_version()}, "
        f"SQLite {sqlite3.sqlite_version}; {datetime.now(UTC):%Y-%m-%d %H:%M}."
    )
    (HERE / "growth.svg").write_text(plot(found), encoding="utf-8")
    (HERE / "GROWTH.md").write_text(
        "# How an archive's answers grow with its sheets\n\n"
        "Written by `python -m tests.benchmarks.growth DIR`. Every sheet has five readings in the mean; pages of 50, "
        "counts included.\nTimes are by the clock; beside the largest archive's stands what the process itself was on "
        f"a core.\n\n{said}\n\n{table(found)}\n\n"
        "The limit of `negcat find` is twice what `python -c 'import click, sqlite3'` takes in the same run, and "
        "150 ms.\n\n"
        "![Time against sheets, both in decades](growth.svg)\n",
        encoding="utf-8",
    )


if __name__ == "__main__":
    main()
