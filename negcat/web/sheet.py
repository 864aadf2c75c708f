"""The sheet page: what was planned, what was given, what came out.

Takes the dossier of a sheet, the same document that ``negcat show --json`` prints, and sets it for reading:
which figures stand in which column, in what order, with how many decimals. Nothing is computed here but the
differences that the columns show.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import cos, radians, sin
from string import ascii_lowercase
from typing import Any

from negcat.errors import UnknownNameError
from negcat.web import particulars
from negcat.web.curve import Chart, draw
from negcat.web.reading import Target
from negcat.web.review_beliefs import Believed, believed
from negcat.web.typesetting import (
    date,
    deviation,
    fixed,
    rounded_to_add_up,
    shutter_time,
    stop,
    stops,
    zone_numeral,
)
from negcat.web.wall import figure

__all__ = [
    "Figures",
    "LedgerRow",
    "Page",
    "ReadingRows",
    "Spot",
    "base_fog_words",
    "bound_words",
    "ledger_rows",
    "letter",
    "scan_labels",
    "scan_looked_at",
    "set_page",
]

Dossier = Mapping[str, Any]

LEDGER_NAMES: Mapping[str, str] = {
    "setting": "Stop and time",
    "filter": "Filter",
    "bellows": "Bellows",
    "cell": "Cell",
    "cell_scale": "Cell, its scale",
    "cell_pupil": "Cell, its pupil",
    "shutter": "Shutter",
    "reciprocity": "Reciprocity",
    "decision": "Given beyond plan",
}


@dataclass(frozen=True)
class LedgerRow:
    """One line of the ledger: what it is, what was done, stops won (+) or lost (−)."""

    item: str
    text: str
    stops: str


@dataclass(frozen=True)
class Figures:
    """One row of a reading: planned, given, found or the difference. Empty where there is no figure."""

    label: str
    exposure_zone: str = ""
    print_zone: str = ""
    print_zone_sd: str = ""
    density: str = ""
    density_sd: str = ""


@dataclass(frozen=True)
class ReadingRows:
    """One reading with its rows.

    Parameters
    ----------
    letter : by which picture, table and chart call it.
    name : what was metered.
    how : role, EV and placement in words.
    rows : planned, given, found, difference.
    note : what the figures can't say.
    """

    letter: str
    name: str
    how: str
    rows: tuple[Figures, ...]
    note: str


@dataclass(frozen=True)
class Spot:
    """A spot on the picture, in fractions of its width and height."""

    letter: str
    x: float
    y: float


@dataclass(frozen=True)
class Page:
    """All that the template writes down."""

    sheet: str
    title: str
    made: str
    setting: tuple[str, ...]
    verdict: str
    figure: tuple[int, int] | None
    exposure_verdict: str
    exposure_found: tuple[tuple[str, str], ...]
    development_verdict: str
    development_found: tuple[tuple[str, str], ...]
    paper: str
    suits: tuple[str, ...]
    why: tuple[str, ...]
    readings: tuple[ReadingRows, ...]
    base_fog: str
    ledger: tuple[LedgerRow, ...]
    ledger_sum: str
    ledger_given: str
    believed: Believed | None
    chart: Chart | None
    chart_rows: tuple[tuple[str, str], ...]
    target: str
    spots: tuple[Spot, ...]
    outline: str
    frame: str
    carried: bool
    scan: str | None
    scan_measured: bool
    scan_unmeasured: str
    width: int
    height: int
    record: tuple[tuple[str, str], ...]
    development: tuple[tuple[str, str], ...]
    scans: tuple[tuple[tuple[str, str], ...], ...]
    scan_choices: tuple[tuple[str, str, bool], ...]
    previous: str | None
    next: str | None
    lens: str
    film: str
    batch: str
    batch_sheets: tuple[str, ...]


def scan_looked_at(dossier: Dossier, scan: str = "") -> Dossier:
    """Choose the scan of a sheet that is looked at.

    Parameters
    ----------
    dossier : the sheet's.
    scan : id of the one that is wanted; else the one that was measured, or the newest.

    Returns
    -------
    The scan as the dossier has it; nothing where there is none.

    Raises
    ------
    UnknownNameError : the sheet has no such scan.
    """
    scans: Sequence[Dossier] = dossier.get("scans") or ()
    if not scan:
        return next((one for one in scans if one.get("measured")), scans[0] if scans else {})
    named = next((one for one in scans if one["scan"] == scan), None)
    if named is None:
        raise UnknownNameError(f"Sheet {dossier['sheet']} has no scan “{scan}”.")
    return named


def set_page(dossier: Dossier, target: Target, scan: str = "", spots: Sequence[Spot] = ()) -> Page:
    """Set a sheet's dossier for reading.

    Parameters
    ----------
    dossier : as ``negcat show --json`` prints it.
    target : the print target it is held against, drawn out.
    scan : the scan to look at; else the one that was measured.
    spots : the marks on it.

    Returns
    -------
    Page

    Raises
    ------
    UnknownNameError : the sheet has no such scan.
    """
    exposure = dossier.get("exposure") or {}
    development = dossier.get("development") or {}
    scans: Sequence[Dossier] = dossier.get("scans") or ()
    first = scan_looked_at(dossier, scan)
    result = dossier.get("result") or {}
    readings = [
        {**reading, "letter": letter(index)} for index, reading in enumerate(dossier.get("readings") or ())
    ]
    rows, total, given = ledger_rows(dossier.get("ledger") or ())
    verdict = str(result.get("verdict") or "not measured")
    return Page(
        sheet=str(dossier["sheet"]),
        title=", ".join(str(dossier[name]) for name in ("place", "subject") if dossier.get(name)),
        made=date(dossier.get("exposed_at")),
        setting=tuple(
            part
            for part in (
                _lens(dossier),
                stop(exposure.get("marked_stop")),
                shutter_time(exposure.get("marked_time")),
                str(dossier.get("tag") or ""),
            )
            if part
        ),
        verdict=verdict,
        figure=figure(verdict),
        exposure_verdict=str(result.get("exposure_verdict") or ""),
        exposure_found=_exposure_found(result, exposure),
        development_verdict=str(result.get("development_verdict") or ""),
        development_found=_development_found(result),
        paper=_paper(result.get("paper")),
        suits=tuple(
            str(one["target"]) for one in (dossier.get("printing") or {}).get("targets", ()) if one["suits"]
        ),
        why=tuple(str(sentence) for sentence in result.get("why") or dossier.get("why") or ()),
        readings=tuple(_reading(reading) for reading in readings),
        base_fog=base_fog_words(dossier.get("base_fog")),
        ledger=rows,
        ledger_sum=total,
        ledger_given=given,
        believed=believed(dossier),
        chart=draw(
            target.zones,
            target.densities,
            readings,
            target=target.name,
        ),
        chart_rows=_chart_rows(target.zones, target.densities),
        target=target.name,
        spots=tuple(spots),
        outline=_outline(first),
        frame=_frame(first),
        carried=any(reading.get("spot_status") == "carried" for reading in readings),
        scan=str(first["scan"]) if first.get("scan") else None,
        scan_measured=bool(first.get("measured")),
        scan_unmeasured=str(first.get("unmeasured") or "").rstrip("."),
        width=int(first.get("preview_width") or 5),
        height=int(first.get("preview_height") or 4),
        record=particulars.record_lines(dossier),
        development=particulars.development_lines(development),
        scans=tuple(particulars.scan_lines(one) for one in scans),
        scan_choices=tuple(
            (str(one["scan"]), label, one is first)
            for one, label in zip(scans, scan_labels(scans), strict=True)
        ),
        previous=dossier.get("previous"),
        next=dossier.get("next"),
        lens=str(dossier.get("lens") or ""),
        film=str(dossier.get("film") or ""),
        batch=str(development.get("batch") or ""),
        batch_sheets=tuple(
            str(other) for other in dossier.get("batch_sheets") or () if other != dossier["sheet"]
        ),
    )


def _scan_label(scan: Dossier) -> str:
    """Name a scan by its scanner, day and resolution."""
    dpi = scan.get("dpi")
    parts = (
        str(scan.get("scanner") or "scanner not known"),
        date(scan.get("taken_at")) or f"taken in {date(scan.get('added_at'))}",
        f"{dpi:.0f} dpi" if dpi else "",
    )
    return ", ".join(part for part in parts if part)


def scan_labels(scans: Sequence[Dossier]) -> list[str]:
    """Name the scans of a sheet so that each is told from the others: with its id where they'd be named alike.

    Examples
    --------
    >>> scan_labels([{"scan": "0f3a", "scanner": "flatbed", "taken_at": "2026-03-12"}] * 2)[0]
    'flatbed, 12 March 2026, scan 0f3a'
    """
    labels = [_scan_label(scan) for scan in scans]
    return [
        f"{label}, scan {scan['scan']}" if labels.count(label) > 1 else label
        for scan, label in zip(scans, labels, strict=True)
    ]


def letter(index: int) -> str:
    """Name a reading: a to z, then aa, ab and on."""
    more, own = divmod(index, len(ascii_lowercase))
    return (letter(more - 1) if more else "") + ascii_lowercase[own]


def _lens(dossier: Dossier) -> str:
    lens, cell = str(dossier.get("lens") or ""), str(dossier.get("cell") or "")
    return f"{lens}, {cell}" if lens and cell else lens or cell


def _with_sd(value: float | None, sd: float | None, places: int, *, signed: bool = False) -> str:
    text = fixed(value, places, signed=signed)
    return f"{text} {deviation(sd, places)}".rstrip() if text else ""


def _tag_found(n: float | None, sd: float | None) -> str:
    """Set a found N, finer where it is better known: ``N+1.4 ± 0.2``, ``N+1.38 ± 0.05``."""
    if n is None:
        return ""
    places = 1 if sd is None or sd >= 0.095 else 2
    text = fixed(n, places, signed=True)
    if sd is None:
        text = text.removesuffix(".0")
    return " ".join(
        part for part in ("N" if not text.strip("0.") else f"N{text}", deviation(sd, places)) if part
    )


def _exposure_found(result: Dossier, exposure: Dossier) -> tuple[tuple[str, str], ...]:
    if result.get("exposure_error_stops") is None:
        return ()
    lines = (
        (
            "from plan",
            _unit(
                _with_sd(
                    result.get("exposure_error_stops"),
                    result.get("exposure_error_density_sd"),
                    2,
                    signed=True,
                ),
                "stop",
            ),
        ),
        ("by the decision", _unit(stops(exposure.get("decision_stops")), "stop")),
        ("by all that came after", _unit(stops(result.get("residual_stops")), "stop")),
        ("with the metering’s error", _unit(deviation(result.get("exposure_error_sd")), "stop")),
    )
    return tuple(line for line in lines if line[1])


def _development_found(result: Dossier) -> tuple[tuple[str, str], ...]:
    if result.get("found_n") is None:
        return ()
    lines = (
        ("planned", _tag_found(result.get("planned_n"), None)),
        ("found", _tag_found(result.get("found_n"), result.get("found_n_density_sd"))),
        ("with the metering’s error", deviation(result.get("found_n_sd"), 1)),
    )
    return tuple(line for line in lines if line[1])


def _paper(need: Dossier | None) -> str:
    """Say what paper the negative asks for."""
    if not need:
        return ""
    return (
        f"From {need['shadow']} to {need['highlight']} a density range of {fixed(need['density_range'])}: "
        f"paper of ISO R {fixed(need['iso_r'], 0)}, nearest grade {need['grade']}, {need['word']}."
    )


def _unit(text: str, unit: str) -> str:
    return f"{text} {unit}" if text else ""


def ledger_rows(lines: Sequence[Dossier]) -> tuple[tuple[LedgerRow, ...], str, str]:
    """Set the ledger so that its printed lines add up to its printed sum.

    Returns
    -------
    The lines; their sum, which is what was given beyond plan; and that in words.
    """
    parts = [line for line in lines if line["item"] != "decision"]
    known = [line for line in parts if line.get("stops") is not None]
    rounded = dict(
        zip(
            (id(line) for line in known),
            rounded_to_add_up([float(line["stops"]) for line in known]),
            strict=True,
        )
    )
    rows = tuple(
        LedgerRow(
            item=LEDGER_NAMES.get(str(line["item"]), str(line["item"])),
            text=str(line.get("text") or ""),
            stops=stops(rounded.get(id(line))) or "unknown",
        )
        for line in parts
    )
    decision: Dossier = next((line for line in lines if line["item"] == "decision"), {})
    return rows, stops(decision.get("stops")) or "unknown", str(decision.get("text") or "")


def _difference(after: float | None, before: float | None) -> float | None:
    return None if after is None or before is None else after - before


def _reading(reading: Dossier) -> ReadingRows:
    planned, given = reading.get("planned_zone"), reading.get("given_zone")
    found_density = fixed(reading.get("net_density")) or bound_words(reading)
    rows = (
        Figures(
            "planned",
            exposure_zone=fixed(planned),
            print_zone=fixed(reading.get("planned_print_zone")),
            density=fixed(reading.get("target_density")),
        ),
        Figures("given", exposure_zone=fixed(given)),
        Figures(
            "found",
            print_zone="lost" if reading.get("lost") else fixed(reading.get("print_zone")),
            print_zone_sd=""
            if reading.get("lost")
            else _sd(reading.get("print_zone"), reading.get("print_zone_sd")),
            density=found_density,
            density_sd=_sd(reading.get("net_density"), reading.get("sd")),
        ),
        Figures(
            "difference",
            exposure_zone=fixed(_difference(given, planned), signed=True),
            print_zone=fixed(reading.get("error_zones"), signed=True),
            density=fixed(reading.get("error_density"), signed=True),
        ),
    )
    return ReadingRows(
        letter=str(reading["letter"]),
        name=str(reading.get("name") or ""),
        how=_how(reading),
        rows=rows,
        note=str(reading.get("note") or ""),
    )


def _sd(value: float | None, sd: float | None) -> str:
    return "" if value is None else deviation(sd)


def bound_words(reading: Dossier) -> str:
    """Say on which side of the profile's range a density lies."""
    bound, limit = reading.get("bound"), reading.get("limit")
    if bound not in ("denser", "clearer"):
        return ""
    return f"{bound} than {fixed(limit)}" if limit is not None else f"{bound} than the profile reaches"


def _how(reading: Dossier) -> str:
    parts = [str(reading.get("role") or "")]
    if reading.get("ev") is not None:
        parts.append(f"EV {fixed(reading['ev'], 1)}")
    if reading.get("spot_status") == "carried":
        parts.append("spot carried over, check it")
    if reading.get("placed") and reading.get("planned_zone") is not None:
        parts.append(f"placed on {zone_numeral(reading['planned_zone'])}")
    elif reading.get("planned_zone") is not None:
        parts.append(f"falls on {zone_numeral(reading['planned_zone'])}")
    return ", ".join(part for part in parts if part)


def base_fog_words(base_fog: Dossier | None) -> str:
    """Say how dense base+fog is, and by what that is known; nothing where it isn't."""
    if not base_fog or base_fog.get("density") is None:
        return ""
    sources = {
        "rebate": "measured on this sheet's clear rebate",
        "spot": "measured at the spot the record names",
        "batch": "of the batch",
        "film": "of the film's record",
    }
    source = str(base_fog.get("source") or "")
    return f"{_with_sd(base_fog['density'], base_fog.get('sd'), 2)}, {sources.get(source, source)}"


def _chart_rows(zones: Sequence[float], densities: Sequence[float]) -> tuple[tuple[str, str], ...]:
    """Set the target at the whole zones: the chart's figures."""
    return tuple(
        (zone_numeral(zone), fixed(density))
        for zone, density in zip(zones, densities, strict=True)
        if zone == round(zone)
    )


def _outline(scan: Dossier) -> str:
    """Draw the picture's frame as found in a scan: a polygon's points in pixels of its picture."""
    frame = scan.get("frame") or {}
    box = frame.get("picture")
    if not box:
        return ""
    width, height = float(scan["preview_width"]), float(scan["preview_height"])
    x0, y0, x1, y1 = box[0] * width, box[1] * height, box[2] * width, box[3] * height
    middle_x, middle_y = (x0 + x1) / 2, (y0 + y1) / 2
    tilt = radians(frame.get("tilt_deg") or 0.0)
    turned = (
        (
            middle_x + (x - middle_x) * cos(tilt) - (y - middle_y) * sin(tilt),
            middle_y + (x - middle_x) * sin(tilt) + (y - middle_y) * cos(tilt),
        )
        for x, y in ((x0, y0), (x1, y0), (x1, y1), (x0, y1))
    )
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in turned)


def _frame(scan: Dossier) -> str:
    """Say what was found of the film's margin."""
    frame = scan.get("frame")
    if not frame:
        return ""
    return str(frame["words"]) if frame["found"] else f"No margin found: {str(frame['reason']).rstrip('.')}"
