"""An archive of a hundred thousand sheets to measure on, made in a minute or two.

    python -m tests.benchmarks.many DIR [--sheets 100000] [--without-master]

Writes DIR/brickworks: invented records through the catalogue's own bulk way, as skewed as a working life leaves
them (one lens and one film with most of the sheets, a few words on most, most words on few), results for most sheets,
spread as those of real ones. The newest sheets have real scans, with previews and pyramids, measured by negcat; and
sheet BW-04 a grey 16-bit master of 9600 × 12000 in tiles, 230 MB, for tiles and the probe. Of the other sheets'
scans only what the catalogue knows of them is there.

The same DIR is never written twice: delete it to make it anew.
"""

import argparse
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import tifffile
from scipy import ndimage

from negcat.catalogue import Findings
from negcat.records import Records
from negcat.work.archive import Archive
from negcat.work.ingest import ingest_scans
from negcat.work.taking import take_record_data
from tests.web.conftest import build, codes, write_sheet

MASTER = "BW-04"
"""The sheet whose scan is large."""

WIDTH, HEIGHT, TILE = 9600, 12000, 512

REAL = 24
"""Of the newest sheets, so many have real scans."""

FILMS = {f"{name} {speed}": share for name, speed, share in (
    ("Marl", 400, 0.714), ("Sorrel", 100, 0.12), ("Marl", 100, 0.06), ("Sedge", 50, 0.04), ("Clinker", 200, 0.03),
    ("Sorrel", 25, 0.02), ("Warp", 64, 0.01), ("Sluice", 320, 0.006),
)}  # fmt: skip
LENSES: dict[str, tuple[float, tuple[str, ...]]] = {
    "Aldwater convertible 195": (0.756, ("whole", "front", "rear")),
    "Tressick 150": (0.10, ("whole",)),
    "Haldane 240 convertible": (0.06, ("whole", "rear")),
    "Corrin 90": (0.03, ("whole",)),
    "Corrin 300": (0.02, ("whole",)),
    "Brinmoor 121": (0.012, ("whole", "front")),
    **{f"Ovenby {focal}": (0.022 / 8, ("whole",)) for focal in range(100, 500, 50)},
}
CELLS_USED = {1: (1.0,), 2: (0.7, 0.3), 3: (0.6, 0.1, 0.3)}
TAGS = {
    "N": 0.55,
    "N+1": 0.16,
    "N-1": 0.14,
    "N+2": 0.05,
    "N-2": 0.04,
    "N+1/2": 0.03,
    "N-1/2": 0.02,
    "N+3": 0.01,
}
DEVELOPERS = {"two-bath": 0.5, "pyrocatechin": 0.25, "Metol": 0.15, "Amidol": 0.07, "glycin": 0.03}
STOPS = {"22": 0.35, "32": 0.25, "16": 0.15, "45": 0.1, "22½": 0.08, "11": 0.05, "64": 0.02}
TIMES = {
    "1/2": 0.2,
    "1": 0.2,
    "1/4": 0.15,
    "2": 0.1,
    "4 s": 0.08,
    "1/15": 0.08,
    "1/30": 0.07,
    "8 s": 0.06,
    "30 s": 0.06,
}
_VOCABULARY = (
    "kiln mouth brick clay pit creek tidal drying shed chimney tramway siding quay lighter barge stack "
    "flue arch firehole soot mortar wall weir sluice saltmarsh sedge reed heron post jetty mud channel "
    "ebb lamp shovel barrow hoist winch pug mill mould pallet hack row engine house boiler gauge belt "
    "pulley gable slate gutter ivy bramble nettle puddle rail sleeper points signal buffer wagon crane "
    "chain hook anchor rope rust door hinge lock window"
)
WORDS = _VOCABULARY.split()
COMMON = "kiln"
"""The word that most sheets hold."""
RARE = "kingfisher"
"""The word that one sheet in ten thousand holds."""
SITES = (
    "North kiln",
    "South kiln",
    "Tidal creek",
    "Clay pit",
    "Drying sheds",
    "Tramway",
    "Quay",
    "Engine house",
)
A_BATCH = 12
"""Sheets a batch in the mean."""

EXPOSURE_VERDICTS = {"as planned": 0.55, "unsure": 0.2, "thin": 0.15, "dense": 0.1}
DEVELOPMENT_VERDICTS = {"as planned": 0.6, "unsure": 0.2, "flat": 0.08, "contrasty": 0.12}


def _drawn(random: np.random.Generator, shares: dict[str, float], count: int) -> list[str]:
    given = np.array(list(shares.values()))
    return [str(name) for name in random.choice(list(shares), count, p=given / given.sum())]


def equipment() -> dict[str, Any]:
    """Give the records that the sheets refer to."""
    return {
        "films": [
            {"name": name, "box_speed": name.split()[1], "base_fog": "0.11",
             "reciprocity": {"law": "power", "exponent": "1.3", "from_s": "1"}}
            for name in FILMS
        ],
        "lenses": [
            {"name": lens,
             "cells": [
                 {"cell": cell, "focal_mm": str(150 + 60 * place),
                  **({"mounted": cell if cell == "whole" else "behind"} if len(cells) > 1 else {})}
                 for place, cell in enumerate(cells)
             ]}
            for lens, (_, cells) in LENSES.items()
        ],
    }  # fmt: skip


def sheets(count: int, seed: int = 1) -> Iterator[dict[str, Any]]:
    """Make field records, in the order in which they were exposed."""
    random = np.random.default_rng(seed)
    films, stops, times = (_drawn(random, shares, count) for shares in (FILMS, STOPS, TIMES))
    lenses = _drawn(random, {lens: share for lens, (share, _) in LENSES.items()}, count)
    tags = _drawn(random, TAGS, count)
    places = 1 + random.zipf(1.3, count) % 900
    words = np.minimum(random.zipf(1.25, (count, 6)), len(WORDS)) - 1
    of = random.random((count, 8))
    begun = datetime(1998, 3, 1, 7)  # noqa: DTZ001 a field record has the clock on the spot
    for number in range(count):
        chance = of[number]
        lens, drawn = lenses[number], words[number]
        cells = LENSES[lens][1]
        share = np.cumsum(CELLS_USED[len(cells)])
        at = begun + timedelta(minutes=int(number * 14_700_000 / count))
        place = int(places[number])
        subject = f"{WORDS[drawn[0]]} {WORDS[drawn[1]]}, {WORDS[drawn[2]]}"
        if chance[0] < 1e-4:
            subject += f" and {RARE}"
        record: dict[str, Any] = {
            "sheet": f"CW-{number:06d}",
            "film": films[number],
            "format": "4x5",
            "holder": str(1 + number % 40),
            "side": "ab"[number % 2],
            "place": f"{SITES[place % len(SITES)]} {place}",
            "subject": subject,
            "lens": lens,
            "stop": stops[number],
            "time": times[number],
            "tag": tags[number],
            "readings": [
                {"name": f"{WORDS[drawn[3]]} in shade", "role": "shadow", "ev": f"{8 + 3 * chance[1]:.1f}",
                 "zone": "IV", "spot": {"x": "0.3", "y": "0.5"}},
                {"name": WORDS[drawn[4]], "role": "highlight", "ev": f"{12 + 2 * chance[2]:.1f}",
                 "spot": {"x": "0.7", "y": "0.5"}},
            ],
        }  # fmt: skip
        if len(cells) > 1:
            record["cell"] = cells[
                int(np.searchsorted(share, chance[3], side="right").clip(0, len(cells) - 1))
            ]
        if chance[4] > 0.02:
            record["exposed_at"] = f"{at:%Y-%m-%dT%H:%M}" if chance[4] > 0.2 else f"{at:%Y-%m-%d}"
        if chance[5] < 0.3:
            record["notes"] = f"{WORDS[drawn[5]]} {WORDS[drawn[2]]} {WORDS[drawn[0]]}, wind from the creek"
        if chance[6] < 0.2:
            record |= {"filter": "yellow", "filter_factor": "2"}
        if chance[7] < 0.15:
            record["bellows_mm"] = f"{220 + 200 * chance[6]:.0f}"
        yield record


def developments(made: list[dict[str, Any]], seed: int = 2) -> list[dict[str, Any]]:
    """Develop all but the newest sheets and some that were forgotten, batch by batch, tag by tag."""
    random = np.random.default_rng(seed)
    waiting: dict[str, list[str]] = {}
    size: dict[str, int] = {}
    batches: list[dict[str, Any]] = []
    forgotten = random.random(len(made)) < 0.04
    for number, record in enumerate(made):
        tag = record["tag"]
        if forgotten[number]:
            continue
        waiting.setdefault(tag, []).append(record["sheet"])
        if len(waiting[tag]) >= size.setdefault(tag, int(random.integers(6, 2 * A_BATCH - 5))):
            size.pop(tag)
            batches.append(
                {
                    "batch": f"D-{len(batches):05d}",
                    "date": record.get("exposed_at", "1998-04-01")[:10],
                    "developer": _drawn(random, DEVELOPERS, 1)[0],
                    "dilution": "1+4",
                    "temperature_c": "20",
                    "time": ("8m", "9m", "11m", "13m30s")[int(random.integers(4))],
                    "tag": tag,
                    "sheets": waiting.pop(tag),
                }
            )
    return batches


def scans_of(developed: list[str], seed: int = 3) -> dict[str, dict[str, Any]]:
    """Make what the catalogue knows of the scans of most sheets that are developed."""
    random = np.random.default_rng(seed)
    scanned = random.random(len(developed)) < 0.94
    return {
        sheet: {
            "sha256": random.bytes(32).hex(),
            "path": f"masters/{sheet[:5]}/{sheet}.tif",
            "size_bytes": 230_400_000,
            "modified_ns": 1_600_000_000_000_000_000 + number,
            "upright": bool(random.random() < 0.25),
        }
        for number, sheet in enumerate(developed)
        if scanned[number]
    }


def results(
    sheets: list[str], scan_of: dict[str, str], like: list[Findings], planned: dict[str, float]
) -> Iterator[Findings]:
    """Make findings of sheets, spread about those of real ones: a result for most that are scanned.

    Parameters
    ----------
    sheets : their ids.
    scan_of : the scan of those that have one.
    like : findings of measured sheets, and of one that isn't last.
    planned : the N that each was meant for.
    """
    random = np.random.default_rng(4)
    exposure, development = (
        _drawn(random, shares, len(sheets)) for shares in (EXPOSURE_VERDICTS, DEVELOPMENT_VERDICTS)
    )
    for number, sheet in enumerate(sheets):
        if sheet not in scan_of or random.random() < 0.03:
            yield replace(like[-1], sheet=sheet)
            continue
        model = like[number % (len(like) - 1)]
        off = {"thin": -0.6, "dense": 0.6}.get(exposure[number], 0.0) + 0.12 * random.standard_normal()
        words = [
            word for word in (exposure[number], development[number]) if word not in ("as planned", "unsure")
        ]
        unsure = "unsure" in (exposure[number], development[number])
        planned_n = planned[sheet]
        yield replace(
            model,
            sheet=sheet,
            scan=scan_of[sheet],
            base_fog={**(model.base_fog or {}), "density": round(0.12 + 0.01 * random.standard_normal(), 4)},
            result={
                **(model.result or {}),
                "exposure_error_stops": off,
                "residual_stops": off + 0.05 * random.standard_normal(),
                "found_n": planned_n + 0.3 * random.standard_normal(),
                "found_n_density_sd": 0.1 + 0.4 * random.random(),
                "planned_n": planned_n,
                "exposure_verdict": exposure[number],
                "development_verdict": development[number],
                "verdict": ", ".join(words) or ("unsure" if unsure else "as planned"),
            },
        )


def write_master(path: Path) -> None:
    """Write the large scan: grain on an even tone in a clear margin, on open glass."""
    random = np.random.default_rng(1)
    density = np.full((HEIGHT, WIDTH), 0.9, np.float32)
    density[:300], density[-300:], density[:, :300], density[:, -300:] = 0.12, 0.12, 0.12, 0.12
    # Grain that a scanner has smeared over its neighbours: what the probe has to see through.
    density += ndimage.gaussian_filter(random.normal(0, 0.2, density.shape).astype(np.float32), 1.5)
    density[:200], density[:, :200] = 0.0, 0.0
    tifffile.imwrite(
        path, codes(density), tile=(TILE, TILE), resolution=(2400, 2400), software="Bedlight 2", metadata=None
    )


def make(folder: Path, count: int = 100_000, *, master: bool = True) -> Path:
    """Make the archive; returns its folder.

    Parameters
    ----------
    folder : where; it must not be there yet, or be empty.
    count : made sheets.
    master : whether the large scan is made.
    """
    root = build(folder)
    made = list(sheets(count))
    real = made[-REAL - 1 :]
    for record in real:
        record["exposed_at"] = record.get("exposed_at", "2026-02-20T09:00")
    with Archive.open(root) as archive:
        catalogue = archive.catalogue
        take_record_data(archive, {**equipment(), "sheets": real}, via="many")
        masters = folder / "real"
        masters.mkdir()
        for number, record in enumerate(real[1:]):
            shadow, highlight = 0.3 + 0.01 * number, 1.0 + 0.02 * number
            write_sheet(
                masters / f"{record['sheet']}.tif", shadow, highlight, seed=number, upright=number % 4 == 0
            )
        if master:
            write_master(masters / f"{MASTER}.tif")
        for item in ingest_scans(archive, [masters]):
            assert item.scan is not None, item.reason
        like = [found for record in (*real[1:], real[0]) if (found := catalogue.findings(record["sheet"]))]
        assert len(like) == len(real)
        _take_many(archive, made[: -len(real)], like)
    return root


def _take_many(archive: Archive, made: list[dict[str, Any]], like: list[Findings]) -> None:
    """Take sheets and all that came of them, in one transaction."""
    catalogue = archive.catalogue
    batches = developments(made)
    scans = scans_of([sheet for batch in batches for sheet in batch["sheets"]])
    scan_of = {sheet: scan["sha256"][:12] for sheet, scan in scans.items()}
    records = Records.model_validate({"sheets": made, "developments": batches})
    # Pages that are written and don’t fit into the cache are looked for one by one, at every page.
    catalogue.database.execute("pragma cache_size=-2000000")
    with catalogue.writing() as database:
        many = database.conn.executemany
        order = catalogue.value("select max(taken_order) from scans")
        profile = catalogue.row("select scanner, profile, calibrated from scans where profile is not null")
        assert profile is not None
        # All that a sheet is searched by goes before it, so that it is written into the search once.
        many(
            "insert into scans (scan, taken_order, sha256, path, size_bytes, modified_ns, file_format, width, height,"
            " bits, mode, dpi, scanner, sheet, joined_by, calibrated, profile, lossy, channel, added_at)"
            " values (?, ?, ?, ?, ?, ?, 'TIFF', ?, ?, 16, 'grey', 2400, ?, ?, 'its file name', 1, ?, 0, 'grey', ?)",
            (
                (
                    scan["sha256"][:12], order + place, scan["sha256"], scan["path"], scan["size_bytes"],
                    scan["modified_ns"], *((9600, 12000) if scan["upright"] else (12000, 9600)),
                    profile["scanner"], sheet, profile["profile"], "2026-03-01T10:00:00Z",
                )
                for place, (sheet, scan) in enumerate(scans.items(), 1)
            ),
        )  # fmt: skip
        many(
            "insert into scan_paths (path, scan, size_bytes, modified_ns, seen_at) values (?, ?, ?, ?, ?)",
            (
                (
                    scan["path"],
                    scan["sha256"][:12],
                    scan["size_bytes"],
                    scan["modified_ns"],
                    "2026-03-01T10:00:00Z",
                )
                for scan in scans.values()
            ),
        )
        planned = {sheet.sheet: sheet.tag.n for sheet in records.sheets}
        catalogue.save_findings(*results(list(planned), scan_of, like, planned))
        catalogue.take([records], "many")
        # Their results stand as made: nothing of them is to be computed anew.
        database.execute("delete from out_of_date")


def main() -> None:
    """Make the archive that the command line asks for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, metavar="DIR")
    parser.add_argument("--sheets", type=int, default=100_000)
    parser.add_argument("--without-master", action="store_true")
    options = parser.parse_args()
    if options.folder.exists() and any(options.folder.iterdir()):
        sys.exit(f"{options.folder} holds something already; name a new folder, or delete it first")
    began = time.perf_counter()
    root = make(options.folder, options.sheets, master=not options.without_master)
    print(f"{root}: made in {time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()
