"""One sheet as text: record, ledger, planned · given · found, result."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from negcat.cli.output import figure, signed, table, wrapped

__all__ = ["sheet_text"]

LABELS = (
    ("exposed_at", "exposed"),
    ("place", "place"),
    ("subject", "subject"),
    ("film", "film"),
    ("exposure_index", "exposure index"),
    ("format", "format"),
    ("holder", "holder"),
    ("side", "side"),
    ("lens", "lens"),
    ("cell", "cell"),
    ("tag", "tag"),
    ("filter", "filter"),
    ("bellows_mm", "bellows, mm"),
    ("weather", "weather"),
    ("location", "kept in"),
    ("notes", "notes"),
)


def sheet_text(sheet: Mapping[str, Any]) -> str:
    """Set a sheet, as ``negcat show --json`` gives it, as text for a terminal."""
    parts = [
        _record(sheet),
        _exposure(sheet),
        _believed_now(sheet),
        _readings(sheet),
        _development(sheet),
        _scans(sheet),
        _result(sheet),
        _printing(sheet),
    ]
    return "\n\n".join(part for part in parts if part)


def _record(sheet: Mapping[str, Any]) -> str:
    lines = [f"Sheet {sheet['sheet']}"]
    for key, label in LABELS:
        value = sheet.get(key)
        if key == "exposed_at" and value:
            value = str(value).replace("T", " ")
        if value not in (None, ""):
            text = (
                figure(value, 0 if float(value).is_integer() else 1)
                if isinstance(value, float)
                else str(value)
            )
            lines.append(f"  {label:<15} {text}")
    return "\n".join(lines)


def _exposure(sheet: Mapping[str, Any]) -> str:
    given = sheet["exposure"]
    lines = [f"Exposure: {_stop(given['marked_stop'])} at {_time(given['marked_time'])}"]
    for entry in sheet.get("ledger") or ():
        if entry["item"] == "decision":
            lines.append("  " + "─" * 9)
        lines.append(f"  {signed(entry['stops']):>9}  {entry['text']}")
    return "\n".join(lines)


def _believed_now(sheet: Mapping[str, Any]) -> str:
    now = sheet.get("believed_now")
    if not now:
        return ""
    beyond = f"{signed(now['decision_stops'])} beyond plan"
    said = f"Believed now, at exposure index {now['exposure_index']:g}: {beyond}; all other figures are those of then."
    lines = [said]
    lines += [
        wrapped(f"Since {one['effective_from'].replace('T', ' ')}: {one['sentence']}")
        for one in now["changes"]
    ]
    return "\n".join(lines)


def _time(text: str) -> str:
    return f"{text} s" if text[-1].isdigit() else text


def _stop(text: str) -> str:
    return text if text.lower().startswith("f") else f"f/{text}"


def _readings(sheet: Mapping[str, Any]) -> str:
    readings = sheet["readings"]
    if not readings:
        return ""
    rows = []
    for r in readings:
        name = f"  {r['name']}{' (placed)' if r['placed'] else ''}"
        rows.append(
            [
                name,
                figure(r["ev"], 1),
                figure(r["planned_zone"], 1),
                figure(r["given_zone"], 1),
                figure(r["planned_print_zone"], 1),
                figure(r["target_density"]),
                figure(r["net_density"]),
                figure(r["sd"], 3),
                figure(r["print_zone"], 1),
                signed(r["error_zones"], 1),
            ]
        )
    head = ["Readings", "EV", "planned", "given", "to print", "target", "found", "± sd", "prints on", "error"]
    return table(head, rows, right=range(1, len(head)))


def _development(sheet: Mapping[str, Any]) -> str:
    development = sheet.get("development")
    if development is None:
        return "Not developed yet."
    said = [development["developer"], development.get("dilution")]
    temperature = development.get("temperature_c")
    said += [f"{figure(temperature, 1)} °C" if temperature is not None else None, development.get("time")]
    return (
        f"Development: batch {development['batch']}, " + ", ".join(str(part) for part in said if part) + "."
    )


def _scans(sheet: Mapping[str, Any]) -> str:
    lines = []
    for scan in sheet["scans"]:
        dpi = f", {scan['dpi']:.0f} dpi" if scan["dpi"] else ""
        lines.append(
            f"Scan {scan['scan']}: {scan['path']}, {scan['width']} × {scan['height']}, {scan['bits']} bits{dpi}, "
            f"{scan['scanner'] or 'scanner unknown'}, {'calibrated' if scan['calibrated'] else 'not calibrated'}"
        )
        lines += [wrapped(sentence) for sentence in _of_scan(scan)]
    base = sheet.get("base_fog")
    if base:
        lines.append(f"Base + fog {figure(base['density'])} ± {figure(base['sd'], 3)}, {base['detail']}.")
    return "\n".join(lines)


def _of_scan(scan: Mapping[str, Any]) -> list[str]:
    """Say why a scan is or isn't measured, with what, and what was seen in it."""
    said = []
    if scan["unmeasured"]:
        said.append(f"Not measured: {scan['unmeasured'].rstrip('.')}.")
    profile = scan.get("profile")
    if profile:
        low, high = profile["density_range"]
        said.append(
            f"Profile of {profile['scanner']}: {profile['tablet']}, scanned {profile['scanned_at'][:10]}, "
            f"{profile['channel']} channel, densities {figure(low)} to {figure(high)}, "
            f"± {figure(profile['residual_sd'], 3)}."
        )
        if scan["measured"]:
            said += profile["doubts"]
    frame = scan.get("frame")
    if frame and frame["found"]:
        said.append(f"{frame['words']}.")
    elif frame:
        said.append(f"No margin found: {frame['reason'].rstrip('.')}.")
    condition = scan.get("condition") or {}
    return said + [str(note) for note in (*scan["notes"], *(condition.get("notes") or ()))]


def _result(sheet: Mapping[str, Any]) -> str:
    result = sheet.get("result")
    if result is None:
        return ""
    lines = [f"Verdict: {result['verdict']}"]
    if result["exposure_error_stops"] is not None:
        lines.append(
            f"  exposure      {signed(result['exposure_error_stops'])} stop from plan, ± "
            f"{figure(result['exposure_error_density_sd'])} by density alone, "
            f"± {figure(result['exposure_error_sd'])} with everything: {result['exposure_verdict']}"
        )
    if result["found_n"] is not None:
        lines.append(
            f"  development   {_tag(result['found_n'])} found, {_tag(result['planned_n'])} planned, ± "
            f"{figure(result['found_n_density_sd'])} by density alone, "
            f"± {figure(result['found_n_sd'])} with everything: {result['development_verdict']}"
        )
    lines += [wrapped(sentence) for sentence in result["why"]]
    return "\n".join(lines)


def _printing(sheet: Mapping[str, Any]) -> str:
    """Say what paper the negative asks for, on its own print target and on the others."""
    asked = sheet.get("printing")
    if not asked:
        return ""
    rows = [
        [
            f"  {one['target']}",
            figure(one["range_wanted"]),
            f"R {figure(one['iso_r'], 0)} ± {figure(one['iso_r_sd'], 0)}",
            f"{one['grade']}, {one['word']}",
            "the range it wants" if one["suits"] else "too short" if one["ratio"] < 1.0 else "too long",
        ]
        for one in asked["targets"]
    ]
    return (
        f"Printing: density range {figure(asked['density_range'])} ± {figure(asked['sd'])} from {asked['shadow']} to "
        f"{asked['highlight']}, {figure(asked['targets'][0]['range'])} between zones II and VIII\n"
        + table(["  print target", "wants", "paper", "grade", "this negative"], rows, right=(1,))
    )


def _tag(n: float) -> str:
    """Write a development as a tag with two places: ``N+0.48``."""
    return f"N{n:+.2f}".replace("-", "−")
