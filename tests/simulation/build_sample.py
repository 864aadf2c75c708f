"""Rebuild the sample archive: `python -m tests.simulation.build_sample OUT`.

The same numpy, scipy, tifffile and imagecodecs give the same bytes. README.md of the sample is written by
hand and is left alone.
"""

from __future__ import annotations

import csv
import io
import json
import shutil
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import yaml

from . import fieldbook, late_may
from .fieldbook import ALDWATER, MARL, SORREL, TRESSICK, Entry, Metered
from .scanner import Scanner, tablet_scan, write_tiff
from .season import FILMS, LENSES, MEASURED_SHUTTER, Developed, season

SEED = 2026
SCANNER = Scanner()
TABLET = tuple(round(0.05 + 0.15 * k, 2) for k in range(21))
IN_CSV = MARL
POSITIVE = "BW-11"
COPIED = ("BW-02", "stack for printing.tif")
UNKNOWN = "scan0017.tif"
NAMED = {"BW-12": "2026-05-18_BW-12_scan.tif", "BW-21": "bw-21.tif"}
TURNED = "BW-16"  # lay on the glass on its side; the file says so

#: a sheet nobody wrote down
STRAY = Entry(
    "BW-99", SORREL, "door", ALDWATER, "whole", "N",
    (Metered("shade of the lintel", "shadow", 0.62, 0.30, "III"), Metered("oak in the sun", "highlight", 0.70, 0.60)),
    "2026-04-25T14:00", "", "", "", time="1/30",
)  # fmt: skip


def _yaml(data: Any, indent: int = 0) -> str:
    text = yaml.safe_dump(data, sort_keys=False, allow_unicode=True, width=96, default_flow_style=False)
    return "".join(" " * indent + line + "\n" for line in text.splitlines())


def equipment() -> str:
    """What the photographer works with, as he knows it: not as it is."""
    lenses = []
    for lens in LENSES.values():
        cells = []
        for name, c in lens.cells.items():
            cell: dict[str, Any] = {"cell": name, "focal_mm": c.focal_mm}
            if len(lens.cells) > 1:
                cell |= {"widest_stop": {"whole": 6.8, "front": 12.5, "rear": 14}[name], "mounted": c.mounted}
                if not c.own_scale:
                    cell["own_scale"] = False
                if c.to_stop_mm:
                    cell["cell_to_stop_mm"] = c.to_stop_mm
            else:
                cell |= {"widest_stop": 5.6, "pupil_ratio": lens.pupil_ratio}
            cells.append(cell)
        lenses.append({"name": lens.name, "shutter": _shutter_name(lens.name), "cells": cells})
    films = []
    for film in FILMS.values():
        law = film.law
        films.append(
            {
                "name": film.name,
                "box_speed": int(film.box_speed),
                "lot": {SORREL: "0417-3", MARL: "0388-1"}[film.name],
                "reciprocity": {"law": "power", "exponent": law.exponent, "from_s": 1}
                if law.exponent
                else {"law": "table", "points": [list(q) for q in law.table]},
            }
        )
    marks = {1 / 64: "1/60", 1 / 32: "1/30", 1 / 16: "1/15", 1 / 8: "1/8", 1 / 4: "1/4", 1 / 2: "1/2", 1: "1"}
    shutters = []
    for name in LENSES:
        s: dict[str, Any] = {"name": _shutter_name(name)}
        if name in MEASURED_SHUTTER:
            s["measured"] = {marks[k]: v for k, v in LENSES[name].shutter.items()}
        shutters.append(s)
    return (
        "# What I work with. Stops are as engraved; nothing here has been tested but the small shutter.\n\n"
        "# Both films at box speed until I know better.\n"
        + _yaml({"films": films})
        + "\n# The No. 1 was timed with a photocell in March; the No. 3 never was.\n"
        + _yaml({"shutters": shutters})
        + "\n# The convertible: engraved for the whole lens and for the rear cell alone. The front cell has no\n"
        "# scale; I read it off the whole lens's. Cell to diaphragm measured with a depth gauge.\n"
        + _yaml({"lenses": lenses})
        + "\n"
        + _yaml(
            {
                "scanners": [
                    {
                        "name": "the flat-bed",
                        "make": SCANNER.make,
                        "model": SCANNER.model,
                        "software": SCANNER.software,
                    }
                ]
            }
        )
        + "\n# Twenty-one steps, read twice on the college's densitometer.\n"
        + "tablets:\n- name: step tablet 21\n  densities: ["
        + ", ".join(f"{d:.2f}" for d in TABLET)
        + "]\n"
    )


def _shutter_name(lens: str) -> str:
    return {ALDWATER: "Caddon No. 3", TRESSICK: "Caddon No. 1"}[lens]


def developments() -> str:
    rows = []
    for spec in fieldbook.BATCHES:
        _, tag, film, *_ = spec
        rows.append(_batch(spec, [e.sheet for e in fieldbook.ENTRIES if e.tag == tag and e.film == film]))
    return "# Six batches, three evenings.\n\n" + _yaml({"developments": rows})


def _batch(spec: tuple[str, str, str, str, str, str], sheets: list[str]) -> dict[str, Any]:
    batch, tag, _, time, date, note = spec
    return {
        "batch": batch,
        "date": date,
        "developer": "Ousel",
        "dilution": "1+25",
        "temperature_c": 20,
        "time": time,
        "method": "tray",
        "agitation": "shuffled through once every 30 s",
        "tag": tag,
        "sheets": sheets,
        "notes": note,
    }


_VISITS = (
    (
        "brickworks.yaml",
        "Hollin Brickworks, kiln yard, sheds and engine house",
        tuple(f"BW-{n:02d}" for n in (1, 2, 3, 4, 6, 8, 10, 23, 24)),
    ),
    ("clay_pits.yaml", "Hollin clay pits", tuple(f"BW-{n:02d}" for n in (11, 12, 13, 14, 15))),
    ("creek.yaml", "Sallow Creek", ("BW-17", "BW-21", "BW-22")),
)


def sheets_yaml(title: str, records: list[dict[str, Any]]) -> str:
    out = f"# {title}. Copied from the field book.\n\nsheets:\n"
    for r in records:
        out += "\n" + _yaml([r])
    return out


def sheets_csv(records: list[dict[str, Any]]) -> str:
    columns = [
        "sheet", "film", "format", "holder", "side", "exposed_at", "place", "subject", "lens", "cell", "stop", "time",
        "movements_front_rise_mm", "weather", "tag", "meter_iso",
        "shadow_name", "shadow_ev", "shadow_zone", "shadow_spot_x", "shadow_spot_y",
        "highlight_name", "highlight_ev", "highlight_spot_x", "highlight_spot_y", "location", "notes",
    ]  # fmt: skip
    text = io.StringIO()
    w = csv.DictWriter(text, columns, lineterminator="\n", extrasaction="raise")
    w.writeheader()
    for r in records:
        row = {k: v for k, v in r.items() if k not in ("readings", "movements")}
        for k, v in r.get("movements", {}).items():
            row[f"movements_{k}"] = v
        for q in r["readings"]:
            for k, v in q.items():
                if k == "spot":
                    row |= {f"{q['role']}_spot_x": v["x"], f"{q['role']}_spot_y": v["y"]}
                elif k == "ev":
                    row[f"{q['role']}_ev"] = _in_thirds(v)
                elif k != "role":
                    row[f"{q['role']}_{k}"] = v
        w.writerow(row)
    return text.getvalue()


def _in_thirds(ev: float) -> str:
    """He writes thirds as thirds where they are thirds."""
    whole, part = divmod(round(ev * 3), 3)
    if abs(ev * 3 - round(ev * 3)) > 0.02 or part == 0:
        return f"{ev:g}"
    return f"{whole} {part}/3"


def _as_positive(codes: np.ndarray) -> np.ndarray:
    """The scanner's own idea of a print: turned over, curved, eight bits."""
    t = np.clip((codes.astype(float) - SCANNER.floor) / SCANNER.white, 1e-4, 1.2)
    d = -np.log10(t)
    p = np.clip((d + 0.06) / 1.75, 0, 1)
    return np.round(255 * (0.75 * p + 0.25 * p * p * (3 - 2 * p))).astype(np.uint8)


def _rounded(x: Any) -> Any:
    if isinstance(x, dict):
        return {k: _rounded(v) for k, v in x.items()}
    if isinstance(x, list):
        return [_rounded(v) for v in x]
    return round(float(x), 4) if isinstance(x, float) else x


def truth_of(d: Developed) -> dict[str, Any]:
    return {"sheet": d.entry.sheet, **{k: v for k, v in d.truth.items() if k != "batch_time"}}


def build(out: Path) -> None:
    """Write everything below `out` but its README."""
    for part in ("scans", "records", "tablet", "film_tests"):
        shutil.rmtree(out / part, ignore_errors=True)
        (out / part).mkdir(parents=True)
    made = list(season(SEED, scanner=SCANNER))
    scans = out / "scans"
    for k, d in enumerate(made):
        sheet = d.entry.sheet
        minute = 5 + 4 * k
        name = NAMED.get(sheet, f"{sheet}.tif")
        write_tiff(
            scans / name, d.codes, SCANNER, f"2026:05:18 {19 + minute // 60:02d}:{minute % 60:02d}:{(17 * k) % 60:02d}",
            "film, transmitted, grey 16 bit, linear", orientation=6 if sheet == TURNED else 1,
        )  # fmt: skip
        if sheet == POSITIVE:
            write_tiff(
                scans / f"{sheet}_positive.tif", _as_positive(d.codes), SCANNER, "2026:05:18 21:40:00",
                "film, transmitted, grey 8 bit, negative turned to positive",
            )  # fmt: skip
    shutil.copyfile(scans / f"{COPIED[0]}.tif", scans / COPIED[1])
    (stray,) = _stray()
    write_tiff(
        scans / UNKNOWN, stray.codes, SCANNER, "2026:05:18 21:52:30", "film, transmitted, grey 16 bit, linear"
    )
    rng = np.random.default_rng([SEED, 21])
    write_tiff(
        out / "tablet" / "step_tablet_21.tif", tablet_scan(SCANNER, TABLET, rng), SCANNER, "2026:05:18 18:50:00",
        "film, transmitted, grey 16 bit, linear",
    )  # fmt: skip
    tested = late(out)
    records = {d.entry.sheet: d.record for d in made}
    (out / "records" / "equipment.yaml").write_text(equipment(), encoding="utf-8")
    (out / "records" / "developments.yaml").write_text(developments(), encoding="utf-8")
    for name, title, sheets in _VISITS:
        (out / "records" / name).write_text(
            sheets_yaml(title, [records[s] for s in sheets]), encoding="utf-8"
        )
    (out / "records" / "marl_400.csv").write_text(
        sheets_csv([r for r in records.values() if r["film"] == IN_CSV]), encoding="utf-8"
    )
    (out / "truth.json").write_text(
        json.dumps(_rounded(_truth(made, tested)), indent=1, ensure_ascii=False) + "\n", encoding="utf-8"
    )


def late(out: Path) -> list[late_may.Tested]:
    """Write what came after the scans: sheets that wait, film tests and the scan of one."""
    sheets = list(late_may.records_of_sheets(SEED))
    batch = _batch(late_may.BATCH, [entry.sheet for entry in late_may.DEVELOPED])
    (out / "records" / "late_may.yaml").write_text(
        sheets_yaml("The kiln yard, the pits and the creek again, late in May", sheets)
        + "\n# Developed and not scanned yet; the other five are still in their holders.\n"
        + _yaml({"developments": [batch]}),
        encoding="utf-8",
    )
    tested = list(late_may.film_tests(SEED, TABLET, SCANNER))
    text = (
        "# The tablet exposed on both films in the college's sensitometer, and developed at home with the usual\n"
        "# developer. Read on the college's densitometer, but for T-2: that one I scanned.\n\nfilm_tests:\n"
    )
    for test in tested:
        densities = test.record.get("densities", ())
        text += "\n" + _yaml([{k: v for k, v in test.record.items() if k != "densities"}])
        if densities:
            text += f"  densities: [{', '.join(f'{d:.2f}' for d in densities)}]\n"
        if test.codes is not None:
            write_tiff(
                out / test.record["scan"], test.codes, SCANNER, "2026:05:24 20:15:00",
                "film, transmitted, grey 16 bit, linear",
            )  # fmt: skip
    (out / "records" / "film_tests.yaml").write_text(text, encoding="utf-8")
    return tested


def _stray() -> list[Developed]:
    """One negative that no record knows, exposed and developed like the others."""
    entries = fieldbook.ENTRIES
    try:
        fieldbook.ENTRIES = (replace(STRAY),)
        return list(season(SEED, scanner=SCANNER))
    finally:
        fieldbook.ENTRIES = entries


def _truth(made: list[Developed], tested: list[late_may.Tested]) -> dict[str, Any]:
    return {
        "about": "What is true of each sheet, known because it was simulated (tests/simulation). "
        "exposure_error_stops: the placed reading's exposure by the film's true speed, less the zone it was "
        "placed on. n: development as it was. net_density: mean transmittance of the reading's spot, above base_fog.",
        "seed": SEED,
        "hidden": [
            {
                "what": "the rear cell of the convertible passes less than its scale says",
                "lens": ALDWATER,
                "cell": "rear",
                "stops": LENSES[ALDWATER].cells["rear"].hidden_stops,
            },
            {
                "what": "the film is slower than its box says",
                "film": MARL,
                "stops": float(np.log2(FILMS[MARL].speed / FILMS[MARL].box_speed)),
                "true_speed": FILMS[MARL].speed,
            },
            {
                "what": "N+1 was developed too short a time",
                "n_by_film": {
                    film: next(d.truth["n"] for d in made if d.entry.film == film and d.entry.tag == "N+1")
                    for film in (SORREL, MARL)
                },
                "times_needed_s": {SORREL: 685, MARL: 837},
            },
        ],
        "sheets": [truth_of(d) for d in made],
        "film_tests": [test.truth for test in tested],
    }


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("usage: python -m tests.simulation.build_sample OUT")
    build(Path(sys.argv[1]))
