"""What stands beside a sheet's figures: its record, its development, its scans.

All of it is set as pairs of a name and what was written; a field that is blank isn't shown.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from negcat.web.typesetting import date, deviation, fixed, plain

__all__ = ["development_lines", "record_lines", "scan_lines"]

Dossier = Mapping[str, Any]
Lines = tuple[tuple[str, str], ...]


def _lines(source: Dossier, fields: Sequence[tuple[str, str, str]]) -> Lines:
    """Set the fields that have a value, each with its name and its unit."""
    return tuple(
        (name, f"{plain(source[key])}{unit}")
        for key, name, unit in fields
        if source.get(key) not in (None, "", [], {})
    )


def record_lines(dossier: Dossier) -> Lines:
    """Set the field record."""
    lines = list(
        _lines(
            dossier,
            (
                ("film", "Film", ""),
                ("exposure_index", "Exposure index", ""),
                ("format", "Format", ""),
                ("holder", "Holder", ""),
                ("side", "Side", ""),
                ("stop_scale", "Stop read from", ""),
                ("bellows_mm", "Bellows", " mm"),
                ("filter", "Filter", ""),
                ("filter_factor", "Filter factor", "×"),
                ("weather", "Weather", ""),
                ("location", "Kept", ""),
                ("notes", "Notes", ""),
            ),
        )
    )
    movements = dossier.get("movements") or {}
    moved = [_movement(name, value) for name, value in movements.items() if value is not None]
    if moved:
        lines.insert(-1 if dossier.get("notes") else len(lines), ("Movements", ", ".join(moved)))
    return tuple(lines)


def _movement(name: str, value: object) -> str:
    """Set a movement: ``front rise 12 mm``."""
    words, _, unit = name.rpartition("_")
    return f"{words.replace('_', ' ')} {plain(value)}{'°' if unit == 'deg' else f' {unit}'}"


def development_lines(development: Dossier) -> Lines:
    """Set the development."""
    lines = list(
        _lines(
            development,
            (
                ("developer", "Developer", ""),
                ("dilution", "Dilution", ""),
                ("temperature_c", "Temperature", " °C"),
                ("time", "Time", ""),
                ("method", "Method", ""),
                ("agitation", "Agitation", ""),
                ("date", "Date", ""),
                ("notes", "Notes", ""),
            ),
        )
    )
    if development.get("time_s") is not None and not development.get("time"):
        minutes, seconds = divmod(round(development["time_s"]), 60)
        lines.append(("Time", f"{minutes} min" + (f" {seconds} s" if seconds else "")))
    return tuple((name, date(value) if name == "Date" else value) for name, value in lines)


def scan_lines(scan: Dossier) -> Lines:
    """Set what is known of a scan and of the profile it was measured with."""
    lines = [("File", str(scan.get("path") or ""))]
    if scan.get("width") and scan.get("height"):
        lines.append(("Pixels", f"{scan['width']} × {scan['height']}, {scan.get('bits')} bits"))
    if scan.get("dpi"):
        lines.append(("Resolution", f"{round(float(scan['dpi']))} dpi"))
    lines.append(("Scanner", str(scan.get("scanner") or "not known")))
    if scan.get("taken_at"):
        lines.append(("Scanned", date(scan["taken_at"])))
    profile = scan.get("profile") or {}
    lines.append(("Profile", _profile(scan)))
    if scan.get("measured"):
        lines.append(
            ("Measured", f"in the {profile['channel']} channel" if profile.get("channel") else "yes")
        )
        lines.extend(("Doubt", str(doubt)) for doubt in profile.get("doubts") or ())
    elif scan.get("unmeasured"):
        lines.append(("Not measured", str(scan["unmeasured"])))
    frame = scan.get("frame") or {}
    if frame:
        lines.append(("Margin", str(frame["words"] if frame["found"] else frame["reason"])))
    condition = scan.get("condition") or {}
    lines.extend(
        ("Note", str(note)) for note in (*(scan.get("notes") or ()), *(condition.get("notes") or ()))
    )
    if scan.get("sha256"):
        lines.append(("SHA-256", str(scan["sha256"])))
    return tuple(line for line in lines if line[1])


def _profile(scan: Dossier) -> str:
    if not scan.get("calibrated"):
        return "none: viewable, not measured"
    profile = scan.get("profile") or {}
    reach = profile.get("density_range")
    if not reach:
        return "from the scanner's step tablet"
    text = f"{profile['scanner']}, " if profile.get("scanner") else ""
    text += f"from {profile['tablet']}" if profile.get("tablet") else "from its step tablet"
    text += f" of {date(str(profile['scanned_at'])[:10])}, " if profile.get("scanned_at") else ", "
    text += f"density {fixed(reach[0])} to {fixed(reach[1])}"
    return text + (
        f", {deviation(profile['residual_sd'], 3)}" if profile.get("residual_sd") is not None else ""
    )
