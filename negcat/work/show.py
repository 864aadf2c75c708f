"""One sheet whole: its record, what was planned, given and found, and what it came from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from negcat import records
from negcat.catalogue import Findings
from negcat.work import scanned
from negcat.work.archive import Archive
from negcat.work.believing import believed_now
from negcat.work.drawing import preview_size
from negcat.work.history import history_of_sheet
from negcat.work.planning import Equipment
from negcat.work.printing import printing
from negcat.work.trying import standing

__all__ = ["dossier", "dossier_of", "frame_words"]

INTERNAL = ("measured",)
"""What findings keep for computing again and nobody needs to read."""


def dossier(archive: Archive, sheet: str) -> dict[str, Any]:
    """Gather all that is known of a sheet.

    Parameters
    ----------
    archive : the archive.
    sheet : the sheet's id, case aside.

    Returns
    -------
    What ``negcat show --json`` prints.

    Raises
    ------
    UnknownNameError : no such sheet.
    """
    now = standing(archive, sheet)
    return dossier_of(archive, now.record, now.findings)


def dossier_of(archive: Archive, record: records.Sheet, findings: Findings) -> dict[str, Any]:
    """Gather all that is known of a sheet, with what is, or would be, found of it.

    Parameters
    ----------
    archive : the archive.
    record : the sheet's.
    findings : the sheet's.

    Returns
    -------
    As :func:`dossier`.
    """
    catalogue = archive.catalogue
    equipment = Equipment(catalogue)
    exposure = dict(findings.exposure or {})
    ledger = exposure.pop("ledger", [])
    near = catalogue.neighbours(record.sheet)
    return {
        **_record(record, equipment),
        "exposure": exposure,
        "ledger": ledger,
        "believed_now": believed_now(archive, record),
        "development": _development(catalogue.development_of(record.sheet)),
        "scans": [_scan(archive, row, findings.scan) for row in catalogue.scans_of(record.sheet)],
        "base_fog": _without(findings.base_fog),
        "readings": [_without(reading) for reading in findings.readings],
        "result": findings.result,
        "printing": printing(catalogue.target_curves(), record.print_target, findings),
        "provenance": findings.provenance,
        "previous": near["previous"],
        "next": near["next"],
        "batch_sheets": near["batch_sheets"],
        "history": [change.as_json() for change in history_of_sheet(catalogue, record.sheet)],
    }


def _without(values: Mapping[str, Any] | None) -> dict[str, Any] | None:
    if values is None:
        return None
    return {name: value for name, value in values.items() if name not in INTERNAL}


def _record(record: records.Sheet, equipment: Equipment) -> dict[str, Any]:
    """Write the field record: every field, as it was marked, with what its defaults stand for."""
    written = record.model_dump(mode="json", exclude={"readings"})
    return {
        **written,
        "exposure_index": equipment.exposure_index(record),
        "cell": equipment.cell_of(record),
        "print_target": equipment.target(record.print_target).name,
    }


def _development(record: records.Development | None) -> dict[str, Any] | None:
    if record is None:
        return None
    written = record.model_dump(mode="json")
    return {**written, "time_s": record.time.seconds}


def _scan(archive: Archive, row: Mapping[str, Any], measured: str | None) -> dict[str, Any]:
    profile = archive.catalogue.profile(row["profile"]) if row["profile"] is not None else None
    width, height = preview_size(row["width"], row["height"], "page")
    return {
        "scan": row["scan"],
        "path": row["path"],
        "sha256": row["sha256"],
        "width": row["width"],
        "height": row["height"],
        "bits": row["bits"],
        "dpi": row["dpi"],
        "scanner": row["scanner"],
        "calibrated": bool(row["calibrated"]),
        "mode": row["mode"],
        "file_format": row["file_format"],
        "compression": row["compression"],
        "lossy": row["lossy"],
        "taken_at": row["taken_at"],
        "added_at": row["added_at"],
        "joined_by": row["joined_by"],
        "measured": row["scan"] == measured,
        "unmeasured": _unmeasured(row, measured),
        "notes": row["notes"] or [],
        "condition": row["condition"],
        "rebate": row["rebate"],
        "frame": _frame(row["rebate"]),
        "preview_width": width,
        "preview_height": height,
        "profile": _profile(archive, row, profile) if profile else None,
    }


def _unmeasured(row: Mapping[str, Any], measured: str | None) -> str | None:
    """Say why a scan isn't the one that was measured; None where it is."""
    if row["scan"] == measured:
        return None
    if row["unmeasured"]:
        return str(row["unmeasured"])
    return f"scan {measured}, taken in later, is measured instead" if measured else None


def _frame(rebate: Mapping[str, Any] | None) -> dict[str, Any] | None:
    """Write the frame found in a scan, or why none was; None where none was looked for."""
    if rebate is None:
        return None
    if not rebate["found"]:
        return {"found": False, "reason": rebate["reason"]}
    return {
        "found": True,
        "picture": rebate["picture_frame"],
        "film": rebate["film_edge"],
        "rebate": rebate["boxes"],
        "edges": rebate["edges"],
        "surround": rebate["surround"],
        "tilt_deg": rebate["tilt_deg"],
        "words": frame_words(rebate["edges"], rebate["tilt_deg"]),
    }


def frame_words(edges: Sequence[str], tilt_deg: float) -> str:
    """Say where the film's clear margin was found, and how the film lies.

    Parameters
    ----------
    edges : the film's edges with a margin.
    tilt_deg : how far it lies askew, clockwise positive.

    Examples
    --------
    >>> frame_words(["left", "top"], -0.62), frame_words(["left"], 0.02)
    ('Clear margin left and top; the film lies 0.6° askew, anticlockwise', 'Clear margin left; the film lies straight')
    """
    *others, last = edges or ["found"]
    where = f"{', '.join(others)} and {last}" if others else last
    if abs(tilt_deg) < 0.05:
        return f"Clear margin {where}; the film lies straight"
    way = "clockwise" if tilt_deg > 0 else "anticlockwise"
    return f"Clear margin {where}; the film lies {abs(tilt_deg):.1f}° askew, {way}"


def _profile(archive: Archive, row: Mapping[str, Any], profile: Mapping[str, Any]) -> dict[str, Any]:
    """Write the profile that a scan is measured with."""
    whole = scanned.profile_from(profile)
    return {
        "number": whole.number,
        "scanner": whole.scanner,
        "tablet": whole.tablet,
        "scanned_at": whole.scanned_at,
        "made_at": whole.made_at,
        "channel": whole.fitted.channel,
        "residual_sd": whole.fitted.residual_sd,
        "density_range": list(whole.fitted.density_range),
        "settings": dict(whole.settings),
        "doubts": scanned.profile_doubts(archive.catalogue, row, whole),
    }
