"""The printing side: what a negative asks of the paper, on its own print target and on the others."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import hypot
from typing import Any

from negcat import records, sensitometry
from negcat.catalogue import Findings, Query
from negcat.sensitometry import BUILT_IN_TARGETS, TargetCurve
from negcat.work.archive import Archive
from negcat.work.planning import Equipment

__all__ = ["LONG_SCALE", "SUITS_WITHIN", "printing", "suits_long_scale"]

LONG_SCALE = "long-scale"
"""The built-in print target of platinum, palladium and other long-scale papers."""

SUITS_WITHIN = 7.0 / 6.5
"""Ratio to the range wanted, either way, within which a negative suits a target: half an N of development."""


def printing(equipment: Equipment, record: records.Sheet, findings: Findings) -> dict[str, Any] | None:
    """Say what a sheet's negative asks of the paper, on each print target.

    Parameters
    ----------
    equipment : looks the print targets up.
    record : the sheet's.
    findings : what was found of it.

    Returns
    -------
    ``density_range`` with ``sd``, from ``shadow`` to ``highlight``; ``targets``: for the sheet's own target, which
    comes first, and every other that is built in: ``iso_r`` and its ``iso_r_sd`` (exposure scale 100·log10 that
    prints this negative so), the nearest ``grade`` and its ``word``, ``range`` between zones II and VIII and the
    one the target wants (``range_wanted``), their ``ratio``, and whether it ``suits``. None where the negative has
    no textured shadow and highlight measured.
    """
    need = (findings.result or {}).get("paper")
    if not need:
        return None
    own = equipment.target(record.print_target)
    others = [curve for name, (curve, _) in BUILT_IN_TARGETS.items() if name != own.name]
    sd = _range_sd(findings.readings, need)
    textured = sensitometry.textured_range(float(need["iso_r"]), own)
    relative = None if sd is None else sd / float(need["density_range"])
    return {
        "shadow": need["shadow"],
        "highlight": need["highlight"],
        "density_range": need["density_range"],
        "sd": sd,
        "targets": [_asks(curve, textured, relative) for curve in (own, *others)],
    }


def _range_sd(readings: Sequence[Mapping[str, Any]], need: Mapping[str, Any]) -> float | None:
    """Deviation of the range; base+fog, which is in both, makes it a little too wide."""
    sds = [
        reading.get("sd")
        for name in (need["shadow"], need["highlight"])
        for reading in readings
        if reading.get("name") == name
    ]
    if len(sds) < 2 or any(sd is None for sd in sds):
        return None
    return hypot(*(float(sd) for sd in sds if sd is not None))


def _asks(target: TargetCurve, textured: float, relative: float | None) -> dict[str, Any]:
    iso_r = sensitometry.paper_exposure_scale(textured, target)
    grade = sensitometry.nearest_grade(iso_r)
    wanted = sensitometry.range_wanted(target)
    ratio = textured / wanted
    return {
        "target": target.name,
        "iso_r": iso_r,
        "iso_r_sd": None if relative is None else iso_r * relative,
        "grade": grade.grade,
        "word": grade.word,
        "range": textured,
        "range_wanted": wanted,
        "ratio": ratio,
        "suits": 1.0 / SUITS_WITHIN <= ratio <= SUITS_WITHIN,
    }


def suits_long_scale(archive: Archive) -> list[dict[str, Any]]:
    """List the sheets whose negatives have the range that a long-scale paper wants, the nearest to it first.

    Parameters
    ----------
    archive : the archive, which is only read.

    Returns
    -------
    ``sheet``, ``range``, ``range_wanted`` and ``ratio`` of each.
    """
    catalogue = archive.catalogue
    equipment = Equipment(catalogue)
    suiting = []
    for row in catalogue.sheets_to_review(Query(limit=None)):
        findings, record = catalogue.findings(row["sheet"]), catalogue.sheet(row["sheet"])
        if findings is None or record is None:
            continue
        found = printing(equipment, record, findings)
        asked = next((one for one in (found or {}).get("targets", ()) if one["target"] == LONG_SCALE), None)
        if asked is not None and asked["suits"]:
            suiting.append(
                {"sheet": row["sheet"], **{key: asked[key] for key in ("range", "range_wanted", "ratio")}}
            )
    return sorted(suiting, key=lambda one: abs(one["ratio"] - 1.0))
