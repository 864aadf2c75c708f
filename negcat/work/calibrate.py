"""Fit a scanner's profile from a scan of its step tablet, and measure again what was scanned on it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from negcat import densitometry, scans
from negcat.densitometry import FoundSteps, ScannerProfile, StepFit
from negcat.errors import CalibrationError, ScanError
from negcat.work.archive import Archive
from negcat.work.masters import reduced_of
from negcat.work.measure import refresh
from negcat.work.naming import unknown
from negcat.work.previews import make_previews

__all__ = ["Calibration", "calibrate_scanner", "code_seen"]

TABLET_SIDE = 3000
"""Longest side, in pixels, to which a tablet's scan is made small: some 20 pixels a step on a long scan."""

CHANNELS = {"grey": ("grey",), "rgb": ("red", "green", "blue")}


@dataclass(frozen=True)
class Calibration:
    """A scanner calibrated.

    Parameters
    ----------
    scanner, tablet : their names.
    profile : of the grey, or the green, channel.
    channels : every channel's profile.
    found : where the steps were found.
    notes : sentences on what the fit shows.
    measured : how many sheets were measured again.
    """

    scanner: str
    tablet: str
    profile: ScannerProfile
    channels: dict[str, ScannerProfile]
    found: FoundSteps
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
    names = CHANNELS[info.mode]
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
    with catalogue.writing():
        for name, profile in fitted.items():
            catalogue.save_profile(
                {
                    "scanner": scanner,
                    "tablet": tablet,
                    "channel": name,
                    "bits": info.bits,
                    "mode": info.mode,
                    "profile": profile.to_json(),
                    "scan_path": archive.stored_path(scan),
                    "scan_sha256": info.sha256,
                }
            )
    touched = [
        row
        for row in catalogue.scans()
        if row["scanner"] == scanner and row["bits"] == info.bits and row["mode"] == info.mode
    ]
    sheets = list(dict.fromkeys(row["sheet"] for row in touched if row["sheet"]))
    measured = _measure_again(archive, sheets)
    profile = fitted[names[leading]]
    notes = tuple(note for note in (found.note, *profile.notes) if note)
    return Calibration(scanner, tablet, profile, fitted, found, notes, measured)


def _measure_again(archive: Archive, sheets: list[str]) -> int:
    """Measure sheets with the new profile; one whose master is away stays marked and is done when it is back."""
    catalogue = archive.catalogue
    catalogue.mark_out_of_date(sheets)
    done = 0
    for sheet in sheets:
        try:
            refresh(archive, [sheet])
        except ScanError:
            continue
        done += 1
        for row in catalogue.scans_of(sheet):
            _draw_again(archive, row)
    return done


def _draw_again(archive: Archive, row: dict[str, Any]) -> None:
    """Draw a scan's pictures anew; where the master is away, the old ones stay."""
    try:
        make_previews(archive, row, reduced_of(archive, row))
    except ScanError:
        return
