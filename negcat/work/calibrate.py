"""Fit a scanner's profile from a scan of its step tablet, and measure again what was scanned on it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from negcat import densitometry, scans
from negcat.densitometry import FoundSteps, ScannerProfile, StepFit
from negcat.errors import CalibrationError, ScanError
from negcat.scans import ScanInfo
from negcat.work import scanned
from negcat.work.archive import Archive
from negcat.work.masters import reduced_of
from negcat.work.measure import refresh
from negcat.work.naming import unknown
from negcat.work.planning import Equipment
from negcat.work.previews import make_previews

__all__ = ["Calibration", "calibrate_scanner", "code_seen"]

TABLET_SIDE = 3000
"""Longest side, in pixels, to which a tablet's scan is made small: some 20 pixels a step on a long scan."""


@dataclass(frozen=True)
class Calibration:
    """A scanner calibrated.

    Parameters
    ----------
    scanner, tablet : their names.
    profile : of the grey, or the green, channel.
    channels : every channel's profile.
    found : where the steps were found.
    scanned_at : when the tablet was scanned, ISO 8601.
    notes : sentences on what the fit shows.
    measured : how many sheets were measured again.
    """

    scanner: str
    tablet: str
    profile: ScannerProfile
    channels: dict[str, ScannerProfile]
    found: FoundSteps
    scanned_at: str
    notes: tuple[str, ...]
    measured: int

    def as_json(self) -> dict[str, Any]:
        """Give what ``negcat calibrate --json`` prints."""
        return {
            "scanner": self.scanner,
            "tablet": self.tablet,
            **_profile_json(self.profile),
            "bits": self.profile.bits,
            "mode": self.profile.mode,
            "scanned_at": self.scanned_at,
            "missing_steps": [number + 1 for number in self.found.missing],
            "channels": {name: _profile_json(profile) for name, profile in self.channels.items()},
            "notes": list(self.notes),
            "measured_again": self.measured,
        }


def code_seen(step: StepFit) -> float | None:
    """Give a step's mean code, None where the step was not seen in the scan.

    Parameters
    ----------
    step : of a profile.

    Returns
    -------
    The mean 16-bit code value, 0 to 65535.
    """
    return None if math.isnan(step.code) else step.code


def _profile_json(profile: ScannerProfile) -> dict[str, Any]:
    return {
        "steps": [
            {"density": step.density, "code": code_seen(step), "residual": step.residual}
            for step in profile.steps
        ],
        "residual_sd": profile.residual_sd,
        "density_range": list(profile.density_range),
    }


def calibrate_scanner(
    archive: Archive,
    scan: Path,
    *,
    scanner: str,
    tablet: str,
    region: tuple[float, float, float, float] | None = None,
) -> Calibration:
    """Fit a scanner's profile and keep it.

    Parameters
    ----------
    archive : the archive.
    scan : the scan of the step tablet.
    scanner, tablet : as their records name them.
    region : where the tablet lies (fractions x0, y0, x1, y1), where the steps aren't found without.

    Raises
    ------
    UnknownNameError : no such scanner or tablet.
    ScanError : the scan can't be taken.
    CalibrationError : no tablet is found in it, or its steps can't be fitted.
    """
    catalogue = archive.catalogue
    if catalogue.scanner(scanner) is None:
        raise unknown(catalogue, "scanner", scanner)
    record = catalogue.tablet(tablet)
    if record is None:
        raise unknown(catalogue, "tablet", tablet)
    info, reduced = scans.take(scan, max_side=TABLET_SIDE)
    if info.lossy:
        raise CalibrationError(
            f"{scan} is a JPEG, whose compression moves the codes of the steps; scan the tablet to a 16-bit TIFF"
        )
    names = scanned.CHANNELS[info.mode]
    images = [np.ascontiguousarray(reduced.codes[:, :, place]) for place in range(len(names))]
    leading = names.index("green") if "green" in names else 0
    try:
        found = densitometry.find_steps(images[leading], record.densities, region=region)
        fitted = {}
        for place, name in enumerate(names):
            codes, clipped = (
                (found.codes, found.clipped)
                if place == leading
                else densitometry.step_codes(images[place], found.boxes)
            )
            fitted[name] = densitometry.fit_profile(
                codes, record.densities, channel=name, bits=info.bits, mode=info.mode, clipped=clipped or None
            )
    except CalibrationError as error:
        raise CalibrationError(f"{scan}: {error}") from error
    scanned_at, source = scanned.scan_date(info.taken_at, info.modified_ns)
    numbers: dict[str, int] = {}
    with catalogue.writing():
        for name, profile in fitted.items():
            numbers[name] = catalogue.save_profile(
                {
                    "scanner": scanner,
                    "tablet": tablet,
                    "channel": name,
                    "bits": info.bits,
                    "mode": info.mode,
                    "profile": profile.to_json(),
                    "scanned_at": scanned_at,
                    "scanned_at_source": source,
                    "densities_sha256": scanned.densities_sha256(record.densities),
                    "settings": _settings(info),
                    "scan": info.scan,
                    "scan_path": archive.stored_path(scan),
                    "scan_sha256": info.sha256,
                }
            )
    sheets, others = _touched(archive, scanner, info, numbers)
    measured = _measure_again(archive, sheets)
    profile = fitted[names[leading]]
    notes = [note for note in (found.note, *profile.notes) if note]
    if others:
        notes.append(
            f"{others} scans of {scanner} keep another profile, whose tablet was scanned nearer before them; this "
            f"one holds for scans from {scanned_at[:10]} on."
        )
    return Calibration(scanner, tablet, profile, fitted, found, scanned_at, tuple(notes), measured)


def _settings(info: ScanInfo) -> dict[str, Any]:
    """Keep what a tablet's scan says of how it was made."""
    return {
        "bits": info.bits,
        "mode": info.mode,
        "dpi": info.dpi,
        "make": info.make,
        "model": info.model,
        "software": info.software,
        "file_format": info.file_format,
        "compression": info.compression,
    }


def _touched(
    archive: Archive, scanner: str, info: ScanInfo, numbers: Mapping[str, int]
) -> tuple[list[str], int]:
    """List the sheets with a scan that a new profile now holds for and wasn't measured with.

    Parameters
    ----------
    archive : the archive.
    scanner : the scanner.
    info : the tablet's scan.
    numbers : channel → the new profile's number.

    Returns
    -------
    The sheets, and how many of the scanner's other scans of that kind keep another profile.
    """
    catalogue = archive.catalogue
    equipment = Equipment(catalogue)
    sheets: dict[str, None] = {}
    others = 0
    for row in catalogue.scans():
        if (row["scanner"], row["bits"], row["mode"]) != (scanner, info.bits, info.mode) or not row["sheet"]:
            continue
        record = catalogue.sheet(row["sheet"])
        assert record is not None
        channel = scanned.channel_of(equipment.film(record.film).channel, row["mode"])
        profile = scanned.profile_of_scan(catalogue, row, channel[1]) if channel else None
        if profile is None or channel is None:
            continue
        if profile.number != numbers[channel[1]]:
            others += 1
        elif row["profile"] != profile.number:
            sheets[row["sheet"]] = None
    return list(sheets), others


def _measure_again(archive: Archive, sheets: list[str]) -> int:
    """Measure sheets with the new profile; one whose master is away stays marked and is done when it is back."""
    catalogue = archive.catalogue
    catalogue.mark_out_of_date(sheets)
    away = set(refresh(archive, sheets))
    # A sheet without a rebate borrows its base+fog from the batch's, which may have changed.
    refresh(archive, catalogue.sheets_borrowing_base_fog(sheets))
    for sheet in sheets:
        if sheet not in away:
            for row in catalogue.scans_of(sheet):
                _draw_again(archive, row)
    return len(sheets) - len(away)


def _draw_again(archive: Archive, row: dict[str, Any]) -> None:
    """Draw a scan's pictures anew; where the master is away, the old ones stay."""
    try:
        make_previews(archive, row, reduced_of(archive, row))
    except ScanError:
        return
