"""A small archive of invented brickworks sheets, and a catalogue that holds it."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from negcat.catalogue import Catalogue
from negcat.records import Records

RECORDS: dict[str, Any] = {
    "films": [
        {"name": "Kiln 100", "box_speed": "100", "exposure_index": "64", "base_fog": "0.12"},
        {
            "name": "Clinker 400",
            "box_speed": "400",
            "channel": "blue",
            "reciprocity": {"law": "table", "points": [["1", "1.2"], ["10", "20"], ["100", "350"]]},
        },
    ],
    "shutters": [{"name": "No. 3", "measured": {"1/15": "0.071", "1": "1.1"}}],
    "lenses": [
        {
            "name": "Aldwater 180",
            "shutter": "No. 3",
            "cells": [
                {"cell": "whole", "focal_mm": "180", "mounted": "whole", "widest_stop": "6.8"},
                {"cell": "rear", "focal_mm": "310", "mounted": "front", "scale_error_stops": "-½"},
                {"cell": "front", "focal_mm": "360", "mounted": "behind", "own_scale": "no"},
            ],
        },
        {"name": "Brinmoor 90", "cells": [{"cell": "whole", "focal_mm": "90"}]},
    ],
    "scanners": [{"name": "the flatbed", "make": "Ovenby"}],
    "tablets": [{"name": "tablet 21", "densities": ["0.05", "0.2", "0.35", "0.5", "0.65"]}],
    "print_targets": [{"name": "salt", "densities": {"I": "0.15", "V": "1.0", "VIII½": "2.0"}}],
    "sheets": [
        {
            "sheet": "BW-01",
            "film": "Kiln 100",
            "lens": "Aldwater 180",
            "cell": "rear",
            "stop": "22½",
            "stop_scale": "whole",
            "time": "1/4",
            "tag": "N+1",
            "exposed_at": "2026-05-03 07:40",
            "place": "Östra tegelbruket, ugn 3",
            "subject": "Kiln mouth",
            "notes": "mist lifting",
            "format": "4x5",
            "movements": {"front_rise_mm": "5"},
            "base_fog_spot": {"x": "0.01", "y": "0.5"},
            "indicated": {"stop": "22", "time": "1/8"},
            "readings": [
                {
                    "name": "soot",
                    "role": "shadow",
                    "ev": "7.5",
                    "zone": "III½",
                    "spot": {"x": "0.4", "y": "0.5"},
                },
                {"name": "sky", "role": "highlight", "ev": "12"},
            ],
        },
        {
            "sheet": "BW-02",
            "film": "Kiln 100",
            "lens": "Aldwater 180",
            "cell": "whole",
            "stop": "32",
            "time": "1",
            "exposed_at": "2026-05-03 08:10",
            "place": "Östra tegelbruket",
            "subject": "Drying shed",
        },
        {
            "sheet": "BW-03",
            "film": "Clinker 400",
            "lens": "Brinmoor 90",
            "stop": "16",
            "time": "2m",
            "tag": "N-1½",
            "exposed_at": "2026-06-11",
            "place": "The tidal creek",
            "print_target": "salt",
        },
        {
            "sheet": "BW-04",
            "film": "Clinker 400",
            "lens": "Aldwater 180",
            "cell": "rear",
            "stop": "22",
            "time": "1",
            "tag": "N+1",
            "place": "Clay pit",
        },
    ],
    "developments": [
        {
            "batch": "D-01",
            "date": "2026-05-10",
            "developer": "pyrocatechin",
            "time": "11m",
            "temperature_c": "20",
            "sheets": ["BW-02", "BW-01"],
        },
        {"batch": "D-02", "developer": "Metol", "time": "7m30s", "tag": "N-1½", "sheets": ["BW-03"]},
    ],
    "film_tests": [
        {
            "test": "T-01",
            "film": "Kiln 100",
            "tablet": "tablet 21",
            "developer": "pyrocatechin",
            "time": "11m",
            "densities": ["1.8", "1.2", "0.9", "0.4", "0.2"],
        }
    ],
}


def records(**lists: Any) -> Records:
    return Records.model_validate(lists)


def sheet(number: int, **fields: Any) -> dict[str, Any]:
    """Give one of the sheets with some fields changed; None leaves a field out."""
    changed = {**RECORDS["sheets"][number - 1], **fields}
    return {name: value for name, value in changed.items() if value is not None}


def scan(digit: str, **columns: Any) -> dict[str, Any]:
    """Describe a scan whose SHA-256 is one digit, 64 times."""
    return {
        "sha256": digit * 64,
        "path": f"scans/{digit}.tif",
        "size_bytes": 100,
        "modified_ns": 1,
        "width": 1200,
        "height": 1500,
        "bits": 16,
        "mode": "grey",
        **columns,
    }


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[Catalogue]:
    with Catalogue.create(tmp_path / "negcat.db") as catalogue:
        yield catalogue


@pytest.fixture
def catalogue(empty: Catalogue) -> Catalogue:
    empty.take([records(**RECORDS)], "a test")
    return empty
