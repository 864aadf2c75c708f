"""How near the truth a season's estimates come, and whether their intervals hold it as often as they say.

    python -m tests.simulation.study [--seasons N] [--only SCENARIO]…

makes N seasons (200) of every scenario, learns from each as from any archive, and writes STUDY.md beside
this file. What was counted is kept in a scratch file, so that a study that was broken off goes on where it
was; it is forgotten when the method's version or the simulation changes.
"""

from __future__ import annotations

import argparse
import ast
import hashlib
import json
import tempfile
from collections import defaultdict
from pathlib import Path
from time import perf_counter
from typing import Any

import numpy as np

import negcat.learning
from negcat.learning import learn

from . import film, seasons
from .seasons import SCENARIOS, Kind, made

HERE = Path(__file__).parent
TABLE = HERE / "STUDY.md"

KINDS = {
    "exposure index": "stops",
    "cell": "stops",
    "shutter time": "stops",
    "exponent": "",
    "development n": "N",
    "time for N+1": "share",
    "time for another tag": "share",
}
"""Kind of estimate → what its error is counted in."""


def judged(kind: Kind, seed: int) -> dict[str, Any]:
    """Learn from one season; return, for every kind of estimate, [error, sd, covered, advised, wrong advice]."""
    season, truth = made(kind, seed)
    before = perf_counter()
    learned = learn(season)
    seconds = perf_counter() - before
    found: dict[str, Any] = defaultdict(list)

    def note(
        what: str,
        estimate: float,
        true: float,
        interval: tuple[float, float],
        sd: float,
        action: float | None,
    ):
        """action: the true change to make, where the estimate was advised: 0 or the other way is wrong advice."""
        low, high = interval
        said = None if action is None else (estimate - (true - action), action)
        wrong = said is not None and said[0] * said[1] <= 0.0
        found[what].append([estimate - true, sd, low <= true <= high, action is not None, wrong])

    for index in learned.exposure_index:
        true = truth.film[index.film]
        stops = [float(np.log2(value / index.used)) for value in (index.indicated, index.low, index.high)]
        note(
            "exposure index",
            stops[0],
            true,
            (stops[1], stops[2]),
            index.sd_stops,
            true if index.advised else None,
        )
    for factor in learned.factors:
        if factor.factor in ("cell", "shutter_time") and not factor.is_reference:
            of = truth.cell if factor.factor == "cell" else truth.time
            true = of[factor.names[1]]
            what = factor.factor.replace("_", " ")
            note(
                what,
                factor.error_stops,
                true,
                (factor.low, factor.high),
                factor.sd,
                true if factor.advised else None,
            )
    for law in learned.reciprocity:
        true = truth.exponent[law.film]
        used = law.exponent_used or 1.0
        action = true - used if law.advised else None
        note("exponent", law.exponent_indicated, true, (law.low, law.high), law.sd, action)
    for tag in learned.development:
        key = (tag.film, tag.planned_n)
        note("development n", tag.found_n, truth.n[key], (tag.low_n, tag.high_n), tag.sd, None)
        true_time, used_time = truth.time_for[key], tag.time_s
        what = "time for N+1" if tag.planned_n == 1.0 else "time for another tag"
        if used_time is None or not np.isfinite(true_time):
            continue
        if tag.advised_time_s is None or tag.advised_low_s is None or tag.advised_high_s is None:
            found["no time"].append(1)
            continue
        logs = [
            float(np.log(t / used_time)) for t in (tag.advised_time_s, tag.advised_low_s, tag.advised_high_s)
        ]
        true = float(np.log(true_time / used_time))
        note(
            what, logs[0], true, (logs[1], logs[2]), (logs[2] - logs[1]) / 3.29, true if tag.advised else None
        )
    named = {spoiled.sheet: spoiled.looks_like for spoiled in learned.spoiled}
    right = sum(1 for sheet, accident in truth.spoiled.items() if named.get(sheet) == accident)
    hit = sum(1 for sheet in truth.spoiled if sheet in named)
    found["accidents"] = [len(truth.spoiled), hit, right, len(named) - hit, len(season.sheets)]
    found["entangled"] = _entangled(learned)
    found["seconds"] = seconds
    return dict(found)


def _entangled(learned: negcat.learning.Learned) -> list[int]:
    """[front cell told as entangled with N-1, and N-1 with it, other cells or films told as entangled with a tag]."""
    by = {f"{factor.factor}: {factor.level}": factor for factor in learned.factors}
    cells = [
        key for key, factor in by.items() if factor.factor == "cell" and factor.names[1] == seasons.FRONT
    ]
    tags = [key for key, factor in by.items() if factor.factor == "tag" and factor.names[2] == "N-1"]
    one = bool(cells) and any(tag in by[cells[0]].entangled_with for tag in tags)
    back = bool(cells) and any(cells[0] in by[tag].entangled_with for tag in tags)
    others = sum(
        1
        for key, factor in by.items()
        if factor.factor in ("cell", "film")
        and any(name.startswith("tag") for name in factor.entangled_with)
        and key not in cells
    )
    return [int(one), int(back), others]


def summed(results: list[dict[str, Any]]) -> dict[str, dict[str, float]]:
    """Sum seasons up, for every kind of estimate."""
    found = {}
    for what in KINDS:
        rows = [row for result in results for row in result.get(what, [])]
        if not rows:
            continue
        error, sd, covered, advised, wrong = np.array(rows, float).T
        found[what] = {
            "count": len(rows),
            "error": float(np.abs(error).mean()),
            "bias": float(error.mean()),
            "sd": float(sd.mean()),
            "covered": float(covered.mean()),
            "advised": float(advised.mean()),
            "wrong": float(wrong.sum() / max(advised.sum(), 1)),
        }
    return found


_ABOUT = """\
Written by `python -m tests.simulation.study`; don't edit it. Every scenario is made {count} times with its own seeds:
two films, a convertible lens with three cells, 60 to 80 sheets of two or three readings unless said otherwise,
metering noise of 0.1 stop a reading, densities good to 0.008 to 0.02, and each season its own noise of sheets (0.05 to
0.18 stop) and batches (0 to 0.08). Films are off by 0.4 stop (one deviation), cells by 0.3, shutter times by 0.15,
exponents by 0.1, developments by 0.4 N.

`error` is the mean absolute error, `bias` the mean error, `sd` the deviation that is told, `covered` how often the 90 %
interval holds the truth, `advised` how often there is advice, `wrong` how often of that it leads away from the truth.
Times are counted as shares: 0.03 is 3 %."""


def table(results: dict[str, list[dict[str, Any]]]) -> str:
    """Write the study down."""
    count = min(len(rows) for rows in results.values())
    lines = [f"# A season's estimates against known truth\n\n{_ABOUT.format(count=count)}\n"]
    for name, rows in results.items():
        lines += [f"## {name[0].upper()}{name[1:]}", ""]
        lines += [
            "| estimate | n | error | bias | sd | covered | advised | wrong |",
            "|---|---|---|---|---|---|---|---|",
        ]
        for what, of in summed(rows).items():
            unit = f", {KINDS[what]}" if KINDS[what] else ""
            lines.append(
                f"| {what}{unit} | {of['count']} | {of['error']:.3f} | {of['bias']:+.3f} | {of['sd']:.3f} | "
                f"{100 * of['covered']:.1f} % | {100 * of['advised']:.0f} % | {100 * of['wrong']:.1f} % |"
                if what != "development n"
                else f"| {what}{unit} | {of['count']} | {of['error']:.3f} | {of['bias']:+.3f} | {of['sd']:.3f} | "
                f"{100 * of['covered']:.1f} % | | |"
            )
        spoiled, hit, right, false, sheets = np.array([row["accidents"] for row in rows]).sum(axis=0)
        entangled = np.array([row["entangled"] for row in rows])
        said = []
        if spoiled:
            said.append(
                f"Of {spoiled} spoiled sheets {hit} were named ({100 * hit / spoiled:.0f} %), "
                f"{right} of them as what they were."
            )
        said.append(
            f"Named though sound: {false} of {sheets - spoiled} sheets ({100 * false / (sheets - spoiled):.2f} %)."
        )
        said.append(
            f"The front cell was told as entangled with N-1 in {100 * entangled[:, 0].mean():.0f} % of the seasons, "
            f"N-1 with it in {100 * entangled[:, 1].mean():.0f} %."
        )
        missing = sum(len(row.get("no time", [])) for row in rows)
        if missing:
            said.append(f"For {missing} tags no time or no limits could be given.")
        lines += ["", " ".join(said), ""]
    return "\n".join(lines)


def _fingerprint() -> str:
    """What results depend on: the code of the room and of the simulation, without its docstrings."""
    digest = hashlib.sha256()
    room = Path(negcat.learning.__file__).parent
    for path in (*sorted(room.glob("*.py")), Path(seasons.__file__), Path(film.__file__)):
        if path.name != "decisions.py":
            digest.update(_code_of(path.read_text(encoding="utf-8")).encode())
    return digest.hexdigest()[:16]


def _code_of(source: str) -> str:
    tree = ast.parse(source)
    for node in ast.walk(tree):
        body = getattr(node, "body", None)
        if isinstance(body, list):
            node.body = [  # type: ignore[attr-defined]
                line
                for line in body
                if not (isinstance(line, ast.Expr) and isinstance(line.value, ast.Constant))
            ]
    return ast.dump(tree)


def study(count: int, names: list[str]) -> dict[str, list[dict[str, Any]]]:
    """Run it, going on where an earlier run of the same code was broken off."""
    kept = Path(tempfile.gettempdir()) / f"negcat-study-{_fingerprint()}.jsonl"
    done: dict[tuple[str, int], dict[str, Any]] = {}
    if kept.exists():
        for line in kept.read_text(encoding="utf-8").splitlines():
            entry = json.loads(line)
            done[entry["scenario"], entry["seed"]] = entry["result"]
    results: dict[str, list[dict[str, Any]]] = {}
    with kept.open("a", encoding="utf-8") as keep:
        for name in names:
            results[name] = []
            for seed in range(count):
                if (name, seed) not in done:
                    done[name, seed] = judged(SCENARIOS[name], seed)
                    keep.write(
                        json.dumps(
                            {"scenario": name, "seed": seed, "result": done[name, seed]}, default=float
                        )
                        + "\n"
                    )
                results[name].append(done[name, seed])
            seconds = [row["seconds"] for row in results[name]]
            print(f"{name}: {count} seasons, {np.median(seconds):.2f} s each", flush=True)
            for what, of in summed(results[name]).items():
                print(
                    f"    {what:22s} {of['count']:5d}  error {of['error']:.3f}  bias {of['bias']:+.3f}  "
                    f"sd {of['sd']:.3f}  covered {of['covered']:.3f}  advised {of['advised']:.2f}  "
                    f"wrong {of['wrong']:.3f}"
                )
            rows = results[name]
            print("    accidents", np.array([row["accidents"] for row in rows]).sum(axis=0).tolist(),
                  "entangled", np.array([row["entangled"] for row in rows]).sum(axis=0).tolist(),
                  "no time", sum(len(row.get("no time", [])) for row in rows), flush=True)  # fmt: skip
    return results


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--seasons", type=int, default=200, metavar="N", help="seasons of every scenario")
    parser.add_argument(
        "--only", action="append", choices=list(SCENARIOS), help="only this scenario; writes no table"
    )
    asked = parser.parse_args()
    results = study(asked.seasons, asked.only or list(SCENARIOS))
    if not asked.only:
        TABLE.write_text(table(results), encoding="utf-8")
        print(f"written: {TABLE}")


if __name__ == "__main__":
    main()
