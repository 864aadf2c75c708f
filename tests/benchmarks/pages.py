"""What the web view costs at a hundred thousand sheets: asked over HTTP of the real server, one client.

    python -m tests.benchmarks.many DIR && python -m tests.benchmarks.pages DIR [--asked 100] [--only wall,tile]

Starts ``negcat serve`` on the archive that tests.benchmarks.many made, as a process of its own, and beside it a
bare Datasette that answers a constant. One client asks on one connection, one request at a time, for everything in
an order drawn at random, so that the other work on a shared machine falls on all alike. A time is from the
request's first byte to the answer's last; beside it stands how long the server was on a core for it, which other
work lengthens less. Prints a table in Markdown: medians, 95th percentiles, the limit, and the ratio to the
constant's median in the same run.
"""

import argparse
import contextlib
import http.client
import os
import platform
import random
import re
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from urllib.parse import quote, urlencode, urlsplit

import numpy as np

from negcat.work.archive import Archive
from tests.benchmarks.many import (
    COMMON,
    DEVELOPERS,
    FILMS,
    HEIGHT,
    LENSES,
    MASTER,
    RARE,
    TAGS,
    TILE,
    WIDTH,
    WORDS,
)

WARMING = 5
"""Of each kind the first so many aren't counted."""

CONSTANT = "a constant, by a bare Datasette"

PLUGIN = """
from datasette import hookimpl
from datasette.utils.asgi import Response

async def constant():
    return Response.text("constant")

@hookimpl
def register_routes():
    return [(r"^/constant$", constant)]
"""

BARE = """
import contextlib, socket, sys
import uvicorn
from datasette.app import Datasette

listener = socket.create_server(("127.0.0.1", 0))
print(f"http://127.0.0.1:{listener.getsockname()[1]}/", flush=True)
site = Datasette([], plugins_dir=sys.argv[1]).app()
with contextlib.suppress(KeyboardInterrupt):
    uvicorn.Server(uvicorn.Config(site, log_level="warning", access_log=False)).run(sockets=[listener])
"""


@contextlib.contextmanager
def started(*command: str) -> Iterator[tuple[str, int]]:
    """Start a server that prints its address in its first line; gives that and the process's number."""
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, text=True, env={**os.environ, "PYTHONUNBUFFERED": "1"}
    ) as process:
        try:
            assert process.stdout is not None
            yield process.stdout.readline().strip(), process.pid
        finally:
            process.send_signal(signal.SIGINT)
            process.wait(30)


def _at_work(process: int) -> float:
    """Tell how long a process has been on a core so far, in milliseconds, all its threads together."""
    at_work = 0
    for thread in Path(f"/proc/{process}/task").iterdir():
        with contextlib.suppress(FileNotFoundError):
            at_work += int((thread / "schedstat").read_text().split()[0])
    return at_work / 1e6


@dataclass(frozen=True)
class Took:
    """What one request took, in milliseconds: by the clock, and of the server on a core."""

    clock: float
    at_work: float
    status: int


class Client:
    """One client of one server, on one connection that stays open."""

    def __init__(self, base: str, process: int) -> None:
        self._connection = http.client.HTTPConnection(urlsplit(base).netloc, timeout=120)
        self._process = process
        self._asked = 0.0

    def ask(self, path: str) -> Took:
        """Ask for a path, and read the whole answer."""
        if time.monotonic() - self._asked > 3:
            # A server closes a connection that nothing has come over for five seconds.
            self._connection.close()
            self._connection.connect()
        before = _at_work(self._process)
        began = time.perf_counter()
        self._connection.request("GET", path)
        answer = self._connection.getresponse()
        body = answer.read()
        clock = 1000 * (time.perf_counter() - began)
        self._asked = time.monotonic()
        refused = answer.status == 400 and b"took too long" in body
        assert answer.status == 200 or refused, f"{path}: {answer.status} {body[:300]!r}"
        return Took(clock, _at_work(self._process) - before, answer.status)


def _wall(**parts: object) -> str:
    return "/?" + urlencode({name: value for name, value in parts.items() if value not in (None, "")})


def kinds(root: Path, chance: random.Random) -> dict[str, tuple[float | None, Callable[[], str]]]:
    """Give each kind of page: its limit in milliseconds and what makes an address of it."""
    with Archive.open(root, readonly=True) as archive:
        catalogue = archive.catalogue
        ids = catalogue.sheet_ids()
        total = len(ids)
        batches = catalogue.names("developments")
        places = [place for (place,) in catalogue.tuples("select place from places")]
        cells = catalogue.tuples("select distinct lens, cell from sheet_counts")
        verdicts = [verdict for (verdict,) in catalogue.tuples("select distinct verdict from sheet_counts")]
        scan = catalogue.value("select scan from scans where sheet = ?", [MASTER])
    real = ids[:40]
    values: dict[str, list[str]] = {
        "cell": sorted({cell for _, cell in cells if cell}),
        "lens": list(LENSES),
        "film": list(FILMS),
        "tag": list(TAGS),
        "developer": list(DEVELOPERS),
        "verdict": verdicts,
        "batch": batches,
        "place": [*places, "kiln", "creek", "qu"],
    }

    def filters(count: int) -> dict[str, str]:
        return {name: chance.choice(values[name]) for name in chance.sample(sorted(values), count)}

    def dates() -> dict[str, str]:
        year = chance.randint(1998, 2025)
        return chance.choice(
            (
                {"since": f"{year}-{chance.randint(1, 12):02d}"},
                {"until": str(year)},
                {"since": str(year), "until": str(min(2026, year + chance.randint(0, 10)))},
            )
        )

    def broad() -> dict[str, str]:
        """Filters that leave tens of thousands of sheets."""
        chosen = {"lens": "Aldwater convertible 195", "film": "Marl 400", "tag": "N", "cell": "whole",
                  "developer": "two-bath", "verdict": "as planned"}  # fmt: skip
        return {name: chosen[name] for name in chance.sample(sorted(chosen), chance.randint(1, 3))}

    def words() -> dict[str, str]:
        return {"text": chance.choice(WORDS[8:])}

    def common() -> dict[str, str]:
        """A word that most sheets hold, alone or with something else."""
        word = chance.choice((COMMON, "k", "cre", f"{COMMON} mouth", "shade"))
        return {"text": word, **chance.choice(({}, {}, broad(), dates()))}

    def later(**chosen: object) -> str:
        return _wall(**chosen, page=chance.randint(2, max(2, int(total * 0.3) // 48)))

    orders = ("oldest", "sheet", "place", "verdict")

    def tile() -> str:
        factor = chance.choice((1, 1, 1, 2, 4))
        step = TILE * factor
        x, y = step * chance.randrange(WIDTH // step), step * chance.randrange(HEIGHT // step)
        return f"/iiif/3/{scan}/{x},{y},{step},{step}/{TILE},{TILE}/0/default.jpg"

    def probe() -> str:
        x, y = chance.uniform(0.1, 0.9), chance.uniform(0.1, 0.9)
        return f"/sheet/{MASTER}/probe.json?scan={scan}&x={x:.5f}&y={y:.5f}&d={chance.choice((0.5, 2, 4))}"

    filtered = 150.0
    made: dict[str, tuple[float | None, Callable[[], str]]] = {
        "wall, first page": (100, lambda: _wall(limit=chance.choice(("", 24, 96)))),
        "wall, later pages": (100, later),
        "wall, other orders": (100, lambda: later(sort=chance.choice(orders))),
        "wall, 200 a page": (None, lambda: _wall(limit=200)),
        "one filter": (filtered, lambda: _wall(**filters(1))),
        "two filters": (filtered, lambda: _wall(**filters(2))),
        "three filters": (filtered, lambda: _wall(**filters(3))),
        "broad filters, one to three": (filtered, lambda: _wall(**broad())),
        "broad filters, later pages, orders": (
            filtered,
            lambda: _wall(**broad(), sort=chance.choice(("", *orders)), page=chance.randint(2, 60)),
        ),
        "dates": (filtered, lambda: _wall(**dates())),
        "dates and a filter": (filtered, lambda: _wall(**dates(), **filters(1))),
        "a word": (filtered, lambda: _wall(**words())),
        "a rare word": (filtered, lambda: _wall(text=RARE)),
        "a common word, also with more": (filtered, lambda: _wall(**common())),
        "common word, later pages, orders": (
            filtered,
            lambda: _wall(text=COMMON, sort=chance.choice(("", *orders)), page=chance.randint(2, 60)),
        ),
        "sheet": (100, lambda: f"/sheet/{chance.choice(ids)}"),
        "sheet with a real scan": (100, lambda: f"/sheet/{chance.choice(real)}"),
        "tile": (30, tile),
        "probe": (60, probe),
        "lens with most sheets": (150, lambda: f"/lens/{quote(next(iter(LENSES)))}"),
        "film with most sheets": (150, lambda: f"/film/{quote(next(iter(FILMS)))}"),
        "batch": (None, lambda: f"/batch/{chance.choice(batches)}"),
        "find as JSON, broad": (None, lambda: _wall(**broad()).replace("/?", "/sheets.json?")),
    }
    name = "/negcat/"
    made |= {
        f"query {query}": (None, lambda query=query: f"{name}{query}.json")
        for query in (
            "masters_unchecked_longest",
            "readings_planned_given_found",
            "cells_at_tags",
            "what_waits",
        )
    }
    return made


def measure(
    site: Client, bare: Client, asking: Mapping[str, tuple[float | None, Callable[[], str]]], asked: int
) -> dict[str, list[Took]]:
    """Ask for everything so many times, in an order drawn at random."""
    took: dict[str, list[Took]] = {name: [] for name in (CONSTANT, *asking)}
    turns = [name for name in took for _ in range(WARMING + asked)]
    random.Random(5).shuffle(turns)
    for name in turns:
        took[name].append(bare.ask("/constant") if name == CONSTANT else site.ask(asking[name][1]()))
    return {name: times[WARMING:] for name, times in took.items()}


def _processor() -> str:
    try:
        found = re.search(r"model name\s*:\s*(.+)", Path("/proc/cpuinfo").read_text())
    except OSError:
        found = None
    return found.group(1) if found else platform.machine()


def table(took: Mapping[str, Sequence[Took]], limits: Mapping[str, float | None]) -> str:
    """Write what was measured, in Markdown."""
    unit = float(np.median([one.clock for one in took[CONSTANT]]))
    lines = [
        "| asked for | median, ms | 95 %, ms | limit, ms | median ÷ constant | on a core: median, ms | 95 %, ms |",
        "|---|--:|--:|--:|--:|--:|--:|",
    ]
    for name, times in took.items():
        limit, median = limits.get(name), float(np.median([one.clock for one in times]))
        late = float(np.percentile([one.clock for one in times], 95))
        core = np.percentile([one.at_work for one in times], (50, 95))
        refused = sum(one.status != 200 for one in times)
        said = f"{name} ({refused} of {len(times)} broken off)" if refused else name
        over = " **over**" if limit is not None and late > limit else ""
        held = "" if limit is None else f"{limit:g}"
        lines.append(
            f"| {said} | {median:.1f} | {late:.1f}{over} | {held} | {median / unit:.1f}"
            f" | {core[0]:.1f} | {core[1]:.1f} |"
        )
    return "\n".join(lines)


def main() -> None:
    """Measure what the command line asks for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, metavar="DIR")
    parser.add_argument("--asked", type=int, default=100)
    parser.add_argument("--only", default="", help="kinds whose name begins with one of these, by commas")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    root = next(options.folder.glob("**/negcat.db")).parent
    chance = random.Random(options.seed)
    asking = kinds(root, chance)
    if options.only:
        wanted = tuple(options.only.split(","))
        asking = {name: kind for name, kind in asking.items() if name.startswith(wanted)}
    negcat = str(Path(sys.executable).with_name("negcat"))
    with tempfile.TemporaryDirectory() as plugins, contextlib.ExitStack() as running:
        (Path(plugins) / "constant.py").write_text(PLUGIN)
        base, number = running.enter_context(started(negcat, "serve", "-a", str(root), "--port", "0"))
        constant, beside = running.enter_context(started(sys.executable, "-c", BARE, plugins))
        took = measure(Client(base, number), Client(constant, beside), asking, options.asked)
        memory = re.search(r"VmHWM:\s*(\d+)", Path(f"/proc/{number}/status").read_text())
    limits = {name: limit for name, (limit, _) in asking.items()}
    with Archive.open(root, readonly=True) as archive:
        count = archive.catalogue.value("select count(*) from sheets")
        scans = archive.catalogue.value("select count(*) from scans")
        combinations = archive.catalogue.value("select count(*) from sheet_counts")
    load = ", ".join(f"{one:.1f}" for one in os.getloadavg())
    print(
        f"{count:,} sheets, {scans:,} scans, {combinations:,} combinations counted, catalogue of "
        f"{(root / 'negcat.db').stat().st_size / 1e6:.0f} MB; {_processor()}, {os.cpu_count()} cores, load {load}; "
        f"Python {platform.python_version()}, SQLite {sqlite3.sqlite_version}, Datasette {version('datasette')}; "
        f"{options.asked} of each, server's peak memory {int(memory.group(1)) // 1024 if memory else 0} MB; "
        f"{datetime.now(UTC):%Y-%m-%d %H:%M}.\n"
    )
    print(table(took, limits))


if __name__ == "__main__":
    main()
