"""An archive of a hundred thousand sheets to measure on, made in a minute or two; of a million, in some twenty.

    python -m tests.benchmarks.many DIR [--sheets 1000000] [--without-master]

Writes DIR/brickworks: invented records through the catalogue's own bulk way, as skewed as a working life leaves
them (one lens and one film with most of the sheets, a few words on most, most words on few), five readings a sheet
in the mean, results for most sheets, spread as those of real ones. The newest sheets have real scans, with previews
and pyramids, measured by negcat; and sheet BW-04 a grey 16-bit master of 9600 × 12000 in tiles, 230 MB, for tiles
and the probe. Of the other sheets' scans only what the catalogue knows of them is there.

The same DIR is never written twice: delete it to make it anew.
"""

import argparse
import sys
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np
import tifffile
from scipy import ndimage

from negcat.catalogue import Findings
from negcat.catalogue.bulk import many_new_sheets
from negcat.notation import parse_tag
from negcat.records import Records
from negcat.sensitometry import BUILT_IN_TARGETS, DEFAULT_TARGET
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
READINGS = {"3": 0.15, "4": 0.2, "5": 0.3, "6": 0.2, "7": 0.15}
"""How many readings a sheet has: five in the mean."""
_PART = 4000
"""Sheets made and written together: fewer than from which on the catalogue lays its indexes aside by itself."""

AT = "2026-03-01T10:00:00Z"
TARGET, _ = BUILT_IN_TARGETS[DEFAULT_TARGET]

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
    places = 1 + random.zipf(1.3, count) % max(900, count // 200)
    words = np.minimum(random.zipf(1.25, (count, 6)), len(WORDS)) - 1
    read = _drawn(random, READINGS, count)
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
                *(
                    {"name": WORDS[(drawn[4] + more) % len(WORDS)],
                     **({"role": "highlight"} if more == 0 else {}),
                     "ev": f"{12 + 2 * chance[2] - more / 2:.1f}",
                     "spot": {"x": "0.7", "y": f"{0.5 + 0.05 * (more % 2 * 2 - 1) * ((more + 1) // 2):.2f}"}}
                    for more in range(int(read[number]) - 1)
                ),
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


def developments(made: Iterable[Mapping[str, Any]], seed: int = 2) -> Iterator[dict[str, Any]]:
    """Develop all but the newest sheets and some that were forgotten, batch by batch, tag by tag."""
    random = np.random.default_rng(seed)
    waiting: dict[str, list[str]] = {}
    size: dict[str, int] = {}
    batches = 0
    for record in made:
        tag = record["tag"]
        if random.random() < 0.04:
            continue
        waiting.setdefault(tag, []).append(record["sheet"])
        if len(waiting[tag]) >= size.setdefault(tag, int(random.integers(6, 2 * A_BATCH - 5))):
            size.pop(tag)
            yield {
                "batch": f"D-{batches:05d}",
                "date": record.get("exposed_at", "1998-04-01")[:10],
                "developer": _drawn(random, DEVELOPERS, 1)[0],
                "dilution": "1+4",
                "temperature_c": "20",
                "time": ("8m", "9m", "11m", "13m30s")[int(random.integers(4))],
                "tag": tag,
                "sheets": waiting.pop(tag),
            }
            batches += 1


def scans_of(developed: Iterable[str], seed: int = 3) -> Iterator[dict[str, Any]]:
    """Make what the catalogue knows of the scans of most sheets that are developed."""
    random = np.random.default_rng(seed)
    for number, sheet in enumerate(developed):
        scanned, sha256, upright = random.random() < 0.94, random.bytes(32).hex(), random.random() < 0.25
        if scanned:
            yield {
                "sheet": sheet,
                "scan": sha256[:12],
                "sha256": sha256,
                "path": f"masters/{sheet[:5]}/{sheet}.tif",
                "modified_ns": 1_600_000_000_000_000_000 + number,
                "width": 9600 if upright else 12000,
                "height": 12000 if upright else 9600,
            }


def results(
    made: Iterable[Mapping[str, Any]], scan_of: Mapping[str, str], like: Sequence[Findings], seed: int
) -> Iterator[Findings]:
    """Make findings of sheets, spread about those of real ones: a result for most that are scanned.

    Parameters
    ----------
    made : their records.
    scan_of : the scan of those that have one.
    like : findings of measured sheets, and of one that isn't last.
    seed : of what is drawn.
    """
    random = np.random.default_rng(seed)
    for number, record in enumerate(made):
        sheet = record["sheet"]
        readings: list[dict[str, Any]] = [
            {**one, "placed": place == 0} for place, one in enumerate(record["readings"])
        ]
        for one in readings:
            one["ev"] = float(one["ev"])
            del one["spot"]
            one["planned_zone"] = 4 + one["ev"] - readings[0]["ev"]
        readings[0].pop("zone")
        if sheet not in scan_of or random.random() < 0.03:
            yield replace(like[-1], sheet=sheet, readings=readings)
            continue
        exposure, development = (
            _drawn(random, shares, 1)[0] for shares in (EXPOSURE_VERDICTS, DEVELOPMENT_VERDICTS)
        )
        model = like[number % (len(like) - 1)]
        off = {"thin": -0.6, "dense": 0.6}.get(exposure, 0.0) + 0.12 * random.standard_normal()
        words = [word for word in (exposure, development) if word not in ("as planned", "unsure")]
        unsure = "unsure" in (exposure, development)
        planned_n = parse_tag(record["tag"]).n
        contrast = 7 / (7 - planned_n)
        zones = np.array([one["planned_zone"] for one in readings])
        print_zones = 1 + contrast * (zones + off + 0.1 * random.standard_normal(len(zones)) - 1)
        for one, zone in zip(readings, print_zones, strict=True):
            net = float(TARGET.density(np.clip(zone, 0.5, 9.5)))
            one |= {"given_zone": one["planned_zone"], "net_density": net, "density": net + 0.12, "sd": 0.012}
            one |= {"print_zone": float(zone), "print_zone_sd": 0.06}
        yield replace(
            model,
            sheet=sheet,
            scan=scan_of[sheet],
            readings=readings,
            base_fog={**(model.base_fog or {}), "density": round(0.12 + 0.01 * random.standard_normal(), 4)},
            result={
                **(model.result or {}),
                "exposure_error_stops": off,
                "residual_stops": off + 0.05 * random.standard_normal(),
                "found_n": planned_n + 0.3 * random.standard_normal(),
                "found_n_density_sd": 0.1 + 0.4 * random.random(),
                "planned_n": planned_n,
                "printing_range": float(np.clip(random.normal(1.05, 0.25), 0.2, 2.4)),
                "exposure_verdict": exposure,
                "development_verdict": development,
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
    real = list(islice(sheets(count), count - REAL - 1, None))
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
        # It is for nobody else to see yet, and made anew if it fails: written once instead of twice.
        for pragma in ("journal_mode=off", "synchronous=off", "cache_size=-3000000"):
            catalogue.database.execute(f"pragma {pragma}")
        _take_many(archive, count - len(real), count, like)
        catalogue.database.execute("pragma journal_mode=wal")
    return root


def _take_many(archive: Archive, new: int, count: int, like: Sequence[Findings]) -> None:
    """Take sheets and all that came of them, part by part, in one transaction."""
    catalogue = archive.catalogue
    scan_of: dict[str, str] = {}
    with catalogue.writing() as database, many_new_sheets(database, new):
        many = database.conn.executemany
        order = catalogue.value("select max(taken_order) from scans")
        profile = catalogue.row("select scanner, profile from scans where profile is not null")
        assert profile is not None
        # All that a sheet is searched by goes before it, so that it is written into the search once.
        developed: list[str] = []
        for batches in _parts(developments(islice(sheets(count), new))):
            catalogue.take([Records.model_validate({"developments": batches})], "many")
            developed += (sheet for batch in batches for sheet in batch["sheets"])
        for part in _parts(scans_of(developed)):
            many(
                "insert into scans (scan, taken_order, sha256, path, size_bytes, modified_ns, file_format, width,"
                " height, bits, mode, dpi, scanner, sheet, joined_by, calibrated, profile, lossy, channel, added_at)"
                " values (:scan, :order, :sha256, :path, 230400000, :modified_ns, 'TIFF', :width, :height, 16, 'grey',"
                f" 2400, :scanner, :sheet, 'its file name', 1, :profile, 0, 'grey', '{AT}')",
                ({**scan, **profile, "order": order + place} for place, scan in enumerate(part, 1)),
            )
            many(
                "insert into scan_paths (path, scan, size_bytes, modified_ns, seen_at)"
                f" values (:path, :scan, 230400000, :modified_ns, '{AT}')",
                part,
            )
            order += len(part)
            scan_of |= {scan["sheet"]: scan["scan"] for scan in part}
        for number, made in enumerate(_parts(islice(sheets(count), new))):
            catalogue.save_findings(*results(made, scan_of, like, seed=1000 + number))
            catalogue.take([Records.model_validate({"sheets": made})], "many")
            # Their results stand as made: nothing of them is to be computed anew.
            database.execute("delete from out_of_date")


def _parts(whole: Iterable[Any]) -> Iterator[list[Any]]:
    left = iter(whole)
    while part := list(islice(left, _PART)):
        yield part


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
