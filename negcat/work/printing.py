"""The printing side: what a negative asks of the paper, on its own print target and on the others."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import hypot
from typing import Any

from negcat import sensitometry
from negcat.catalogue import Findings
from negcat.sensitometry import TargetCurve

__all__ = ["printing"]


def printing(
    targets: Mapping[str, TargetCurve], own: str | None, findings: Findings
) -> dict[str, Any] | None:
    """Say what a sheet's negative asks of the paper, on each print target.

    Parameters
    ----------
    targets : every print target on record, by its name.
    own : the name of the sheet's own; None where the record names none.
    findings : what was found of it.

    Returns
    -------
    ``density_range`` with ``sd``, from ``shadow`` to ``highlight``; ``targets``: for the sheet's own target, which
    comes first, and every other on record: ``iso_r`` and its ``iso_r_sd`` (exposure scale 100·log10 that
    prints this negative so), the nearest ``grade`` and its ``word``, ``range`` between zones II and VIII and the
    one the target wants (``range_wanted``), their ``ratio``, and whether it ``suits``. None where the negative has
    no textured shadow and highlight measured.
    """
    result = findings.result or {}
    need, textured = result.get("paper"), result.get("printing_range")
    if not need or textured is None:
        return None
    sd = _range_sd(findings.readings, need)
    relative = None if sd is None else sd / float(need["density_range"])
    first = own or sensitometry.DEFAULT_TARGET
    ordered = sorted(targets.values(), key=lambda curve: curve.name != first)
    return {
        "shadow": need["shadow"],
        "highlight": need["highlight"],
        "density_range": need["density_range"],
        "sd": sd,
        "targets": [_asks(curve, float(textured), relative) for curve in ordered],
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
    least, most = sensitometry.ranges_suiting(target)
    return {
        "target": target.name,
        "iso_r": iso_r,
        "iso_r_sd": None if relative is None else iso_r * relative,
        "grade": grade.grade,
        "word": grade.word,
        "range": textured,
        "range_wanted": wanted,
        "ratio": textured / wanted,
        "suits": least <= textured <= most,
    }
