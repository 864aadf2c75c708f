"""An archive whose findings are set, so that every figure of its lens, film and batches can be worked out by hand."""

import json
from pathlib import Path

from negcat.catalogue import Findings
from negcat.work.archive import Archive
from negcat.work.taking import take_record_files

LENS = 'Corrin ½ / 30 % "long" <b>&amp;</b> \'?#+'
FILM = "Löß 50/2 <i>pan</i> %2F & Co"
BATCH = '№ 7/8 "two-bath" <u>%</u> ..?x=1#y'
ENDS_ALIKE = "Haldane.json"

# sheet: (cell, stop, scale it was read from, tag, batch, verdict, residual, found N, its deviation by densities)
SHEETS = {
    "S-01": ("whole", "22", None, "N", BATCH, "thin", -0.62, -0.10, 0.10),
    "S-02": ("whole", "f/22", None, "N", BATCH, "thin", -0.58, 0.12, 0.10),
    "S-03": ("whole", "22", None, "N", BATCH, "thin", -0.70, 0.05, 0.12),
    "S-04": ("whole", "22.627417", None, "N", BATCH, "thin, contrasty", 1.40, 0.20, 0.10),
    "S-05": ("whole", "32", None, "N", BATCH, "thin", -0.55, 0.00, 0.49),
    "S-06": ("rear", "22", "whole", "N+1", "B-2", "as planned", 0.20, 0.60, 0.10),
    "S-07": ("rear", "22", None, "N+1", "B-2", "unsure", 0.10, 0.40, 0.10),
    "S-08": ("front", "16", None, "N+1", "B-3", "as planned", 0.25, 1.10, 0.10),
    "S-09": ("front", "16", None, "N-2", None, "not measured", None, None, None),
    "S-11": ("rear", "22", None, "N-1", None, "unsure", -0.05, None, None),
    "S-10": ("front", "16", None, "N-2", "B-0", "not measured", None, None, None),
}
RECORDS = {
    "films": [
        {
            "name": FILM,
            "box_speed": 50,
            "exposure_index": 32,
            "base_fog": 0.11,
            "reciprocity": {"law": "power", "exponent": 1.3},
        },
        {"name": "Marl Pan 100", "box_speed": 100},
        {"name": "Marl Ortho 25", "box_speed": 25, "reciprocity": {"law": "none"}},
    ],
    "shutters": [{"name": "leaf <3>", "measured": {"1/15": 0.08, "1/2": 0.5}}],
    "tablets": [{"name": "T5", "densities": [0.05, 0.5, 1.0, 1.5, 2.0]}],
    "lenses": [
        {
            "name": LENS,
            "shutter": "leaf <3>",
            "cells": [
                {"cell": "whole", "focal_mm": 240, "mounted": "whole"},
                {"cell": "rear", "focal_mm": 410, "mounted": "behind", "scale_error_stops": -0.5},
                {"cell": "front", "focal_mm": 380, "mounted": "front", "cell_to_stop_mm": 12},
            ],
        },
        {"name": ENDS_ALIKE, "cells": [{"cell": "whole", "focal_mm": 150}]},
        {"name": "Haldane", "cells": [{"cell": "whole", "focal_mm": 180}]},
    ],
    "sheets": [
        {
            "sheet": sheet,
            "film": FILM,
            "lens": LENS,
            "cell": cell,
            "stop": stop,
            **({"stop_scale": scale} if scale else {}),
            "time": "1/4",
            "tag": tag,
            "exposed_at": "2026-05-01",
            **({"exposure_index": 64} if sheet == "S-09" else {}),
        }
        for sheet, (cell, stop, scale, tag, *_) in SHEETS.items()
    ],
    "developments": [
        {
            "batch": BATCH,
            "date": "2026-05-03",
            "developer": "Ousel <s>",
            "dilution": "1+25",
            "temperature_c": 20,
            "time": "9m",
            "tag": "N",
            "base_fog": 0.115,
            "notes": "warm & <b>fresh</b>",
            "sheets": ["S-01", "S-02", "S-03", "S-04", "S-05"],
        },
        {"batch": "B-2", "date": "2026-05-04", "developer": "Ousel <s>", "time": "10m30s", "sheets": ["S-06", "S-07"]},
        {"batch": "B-3", "date": "2026-05-04", "developer": "Ousel <s>", "time": "11m", "sheets": ["S-08"]},
        {"batch": "B-0", "developer": "Ousel <s>", "time": "12m", "sheets": ["S-10"]},
    ],
    "film_tests": [
        {
            "test": "T <1>",
            "film": FILM,
            "tablet": "T5",
            "developer": "Ousel <s>",
            "time": "9m",
            "densities": [1.4, 1.0, 0.6, 0.3, 0.15],
        }
    ],
}  # fmt: skip
# Measured on the sheet itself; S-04 and S-05 have only what is on record.
FOG = {"S-01": 0.12, "S-02": 0.13, "S-03": 0.125, "S-07": 0.14}


def _fog(sheet):
    if sheet in FOG:
        return {"density": FOG[sheet], "sd": 0.004, "source": "rebate"}
    return {"density": 0.11, "sd": 0.02, "source": {"S-04": "film", "S-05": "batch"}.get(sheet, "film")}


def build(root: Path) -> Path:
    """Build an archive whose findings are set, so that every figure of the pages can be worked out by hand."""
    root.mkdir(parents=True, exist_ok=True)
    records = root / "records.json"
    records.write_text(json.dumps(RECORDS), encoding="utf-8")
    with Archive.create(root / "set") as archive:
        take_record_files(archive, [records])
        archive.catalogue.save_findings(
            *(
                Findings(
                    sheet=sheet,
                    exposure=None,
                    base_fog=_fog(sheet),
                    readings=[],
                    result={
                        "verdict": verdict,
                        "why": [],
                        "residual_stops": residual,
                        "exposure_error_sd": None if residual is None else 0.15,
                        "found_n": found,
                        "found_n_sd": sd,
                        "found_n_density_sd": sd,
                        "planned_n": {"N": 0.0, "N+1": 1.0, "N-1": -1.0, "N-2": -2.0}[tag],
                    },
                    scan=None,
                    provenance={},
                )
                for sheet, (_, _, _, tag, _, verdict, residual, found, sd) in SHEETS.items()
            )
        )
    return root / "set"
