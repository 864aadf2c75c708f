"""Fit a scanner's profile from a scan of its step tablet, and measure again what was scanned on it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from negcat import densitometry, scans
from negcat.densitometry import FoundSteps, ScannerProfile, StepFit
from negcat.errors import CalibrationError, ScanError
from negcat.places import Place
from negcat.scans import ScanInfo
from negcat.work import scanned
from negcat.work.archive import Archive
from negcat.work.catching_up import catch_up
from negcat.work.fit_chart import draw_fit, write_plot
from negcat.work.masters import find_master
from negcat.work.naming import unknown
from negcat.work.planning import Equipment
from negcat.work.previews import forget_previews, make_previews
from negcat.work.reading_apart import read_apart

__all__ = ["Calibration", "calibrate_scanner", "code_seen", "lost_steps", "plot_fit"]

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
    number : the profile's, in the catalogue.
    plot : where the plot of the fit was written; None where none was.
    """

    scanner: str
    tablet: str
    profile: ScannerProfile
    channels: dict[str, ScannerProfile]
    found: FoundSteps
    scanned_at: str
    notes: tuple[str, ...]
    measured: int

    number: int = 0
    plot: str | None = None

    @property
    def lost(self) -> str:
        """Which steps the fit does without, by their numbers; empty where it has them all."""
        return lost_steps(self.profile, self.found.missing)

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
            "lost_steps": self.lost,
            "plot": self.plot,
            "channels": {name: _profile_json(profile) for name, profile in self.channels.items()},
            "notes": list(self.notes),
            "measured_again": self.measured,
        }


def lost_steps(profile: ScannerProfile, missing: Sequence[int]) -> str:
    """Name the steps that a fit does without.

    Parameters
    ----------
    profile : the fit.
    missing : indices of the steps that the scan doesn't show.

    Returns
    -------
    ``steps 1–3 not seen, 21 lost at the dark end``; empty where none is lost.
    """
    used = [index for index, step in enumerate(profile.steps) if step.used]
    groups: dict[str, list[int]] = {"not seen": list(missing)}
    for index, step in enumerate(profile.steps):
        if not step.used and index not in missing:
            where = (
                "lost at the bright end"
                if index < used[0]
                else "lost at the dark end"
                if index > used[-1]
                else "left out"
            )
            groups.setdefault(where, []).append(index)
    said = [f"{_numbers(indices)} {what}" for what, indices in groups.items() if indices]
    several = sum(len(indices) for indices in groups.values()) > 1
    return f"step{'s' if several else ''} {', '.join(said)}" if said else ""


def _numbers(indices: Sequence[int]) -> str:
    """Write indices as numbers from 1, runs of them in short.

    Examples
    --------
    >>> _numbers([0, 1, 2, 6, 8, 9])
    '1–3, 7, 9–10'
    """
    runs: list[list[int]] = []
    for index in indices:
        if runs and index == runs[-1][1] + 1:
            runs[-1][1] = index
        else:
            runs.append([index, index])
    return ", ".join(f"{a + 1}" if a == b else f"{a + 1}–{b + 1}" for a, b in runs)


def plot_fit(archive: Archive, calibration: Calibration, path: Path | None) -> Calibration:
    """Write the plot of a fit.

    Parameters
    ----------
    archive : the archive.
    calibration : what was fitted.
    path : where to, ``.svg`` or ``.png``; None: into the archive's ``previews/``.

    Returns
    -------
    The calibration, with the plot's place.

    Raises
    ------
    CalibrationError : another ending, or the file can't be written.
    """
    profile = calibration.profile
    place = path or archive.previews / f"profile-{calibration.number}.svg"
    used = sum(step.used for step in profile.steps)
    chart = draw_fit(
        calibration.channels,
        title=f"{calibration.scanner}, {profile.bits} bits {profile.mode}",
        subtitle=f"Fitted to {used} of {len(profile.steps)} steps of {calibration.tablet}, scanned "
        f"{calibration.scanned_at[:10]}; standard deviation {profile.residual_sd:.3f}.",
    )
    write_plot(chart, place)
    return replace(calibration, plot=str(place))


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
    scan: Place,
    *,
    scanner: str,
    tablet: str,
    region: tuple[float, float, float, float] | None = None,
) -> Calibration:
    """Fit a scanner's profile and keep it.

    Parameters
    ----------
    archive : the archive.
    scan : the scan of the step tablet, or its address.
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
    info, reduced = read_apart(scan, scans.take, scan, max_side=TABLET_SIDE)
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
    return Calibration(
        scanner,
        tablet,
        profile,
        fitted,
        found,
        scanned_at,
        tuple(notes),
        measured,
        numbers[names[leading]],
    )


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
    scans.clear_unfinished(archive.previews)
    for sheet in sheets:
        for row in catalogue.scans_of(sheet):
            _forget_pictures(archive, row)
    catalogue.mark_out_of_date(sheets)
    done = catch_up(archive, "calibrate")
    measured = set(sheets) - set(done.away)
    for sheet in sheets:
        if sheet in measured:
            for row in catalogue.scans_of(sheet):
                _draw_again(archive, row)
    return len(measured)


def _forget_pictures(archive: Archive, row: dict[str, Any]) -> None:
    """Let go of a scan's pictures, which are drawn anew in any case; where the master is away, they stay."""
    try:
        find_master(archive, row)
    except ScanError:
        return
    forget_previews(archive, row)


def _draw_again(archive: Archive, row: dict[str, Any]) -> None:
    """Draw a scan's pictures anew; where the master is away, the old ones stay."""
    try:
        make_previews(archive, row)
    except ScanError:
        return
