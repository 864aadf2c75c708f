"""Two scans of one sheet side by side: the page, its document, and the probe that measures on both."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from http import HTTPStatus
from typing import Any
from urllib.parse import unquote, urlencode

from datasette.utils import tilde_encode

from negcat.errors import QuantityError
from negcat.web import answering, reading
from negcat.web.answering import View, document, readable
from negcat.web.sheet import letter, scan_labels
from negcat.web.typesetting import date, deviation, fixed
from negcat.web.viewing import asked_point, probe_words
from negcat.work import comparing, viewing
from negcat.work.archive import Archive
from negcat.work.carrying import how_it_lies
from negcat.work.drawing import preview_size

__all__ = ["pages"]


def pages() -> list[tuple[str, View]]:
    """List the addresses with the functions that answer them."""
    return [
        (r"^/sheet/(?P<sheet>[^/]+)/compare$", readable(_page)),
        (r"^/sheet/(?P<sheet>[^/]+)/compare\.json$", readable(_document)),
        (r"^/sheet/(?P<sheet>[^/]+)/compare/probe\.json$", readable(_probe)),
    ]


def _asked(request: Any) -> tuple[str, str, str]:
    """Read the sheet and the two scans that an address names."""
    return unquote(request.url_vars["sheet"]), request.args.get("a") or "", request.args.get("b") or ""


async def _found(request: Any, attached: reading.Attached) -> tuple[comparing.Comparison, Any, list[Any]]:
    """Compare the scans, in a thread of its own: laying two pictures on each other takes a second or two."""

    def look(archive: Archive) -> tuple[comparing.Comparison, Any, list[Any]]:
        comparison = comparing.compare(archive, *_asked(request))
        return (
            comparison,
            comparing.spots(archive, comparison),
            comparing.scans_of(archive, comparison.record.sheet),
        )

    return await answering.read(attached, look)


# The document -----------------------------------------------------------------------------------------------


async def _document(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    del datasette
    try:
        comparison, spots, _ = await _found(request, attached)
    except QuantityError as error:
        return answering.refusal(str(error))
    return document(_written(comparison, spots))


def _written(comparison: comparing.Comparison, spots: list[comparing.Spot]) -> dict[str, Any]:
    laid = comparison.laid
    return {
        "sheet": comparison.record.sheet,
        "a": _scan(comparison.first),
        "b": _scan(comparison.second),
        "placed": comparison.placed,
        "reason": comparison.reason,
        "correlation": laid.correlation if comparison.placed else None,
        # A place (x, y) of a lies at places @ (x, y, 1) of b, both in fractions of width and height.
        "places": [list(row) for row in laid.places],
        "back": [list(row) for row in laid.back().places],
        "lies": asdict(comparison.lies),
        "readings": [
            {
                "name": spot.name,
                "letter": letter(spot.index),
                "a": _measured(spot.compared.first),
                "b": _measured(spot.compared.second),
                "difference": spot.compared.difference,
                "sd": spot.compared.sd,
                "agrees": spot.compared.agrees,
                "reason": spot.compared.reason,
            }
            for spot in spots
        ],
    }


def _scan(sight: viewing.Sight) -> dict[str, Any]:
    row = sight.row
    return {
        "scan": row["scan"],
        "scanner": row["scanner"],
        "taken_at": row["taken_at"],
        "dpi": row["dpi"],
        "width": row["width"],
        "height": row["height"],
        "profile": sight.profile.number if sight.profile else None,
        "reason": sight.reason,
    }


def _measured(probed: viewing.Probed | None) -> dict[str, Any] | None:
    if probed is None:
        return None
    return {
        name: getattr(probed, name) for name in ("x", "y", "diameter_mm", "density", "sd", "bound", "limit")
    }


# The probe --------------------------------------------------------------------------------------------------


async def _probe(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    """Measure at one place of the film, on both masters."""
    del datasette
    sheet, first, second = _asked(request)
    try:
        x, y, diameter = asked_point(request)

        def measure(archive: Archive) -> comparing.Compared:
            comparison = comparing.compare(archive, sheet, first, second)
            on_second = request.args.get("on") == "b"
            return comparing.compare_at(archive, comparison, x, y, diameter, on_second=on_second)

        compared = await answering.read(attached, measure)
    except QuantityError as error:
        return answering.refusal(str(error))
    texts = [_density(probed) for probed in (compared.first, compared.second)]
    return document(
        {
            "a": _measured(compared.first),
            "b": _measured(compared.second),
            "difference": compared.difference,
            "sd": compared.sd,
            "agrees": compared.agrees,
            "reason": compared.reason,
            "a_text": texts[0],
            "b_text": texts[1],
            "difference_text": _difference(compared),
            "verdict_text": _verdict(compared),
            "words": _words(texts, compared),
        }
    )


def _density(probed: viewing.Probed | None) -> str:
    return "" if probed is None else probe_words(probed)["density_text"]


def _difference(compared: comparing.Compared) -> str:
    return f"{fixed(compared.difference, signed=True)} {deviation(compared.sd)}".strip()


def _verdict(compared: comparing.Compared) -> str:
    if compared.difference is None:
        return ""
    if compared.agrees is None:
        return "perhaps another place"
    return "within what is allowed" if compared.agrees else "more than is allowed"


def _words(texts: list[str], compared: comparing.Compared) -> str:
    said = [f"{name} {text}" for name, text in zip(("First scan", "second scan"), texts, strict=True) if text]
    if compared.difference is not None:
        said.append(f"difference {_difference(compared)}, {_verdict(compared)}")
    sentence = ", ".join(said)
    parts = [f"{sentence[:1].upper()}{sentence[1:]}." if sentence else "", compared.reason]
    return " ".join(part for part in parts if part)


# The page ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Picture:
    """One scan as the page shows it.

    Parameters
    ----------
    key : ``a`` or ``b``, as in the address.
    name : first or second scan.
    scan, label : its id, and what it is in words.
    width, height : of its picture, in pixels.
    lies : how the picture is turned to stand as the first does: an SVG matrix; empty where it stands so.
    seen_width, seen_height : of the picture so turned.
    facts : what it is measured by.
    reason : why there are no densities, or no net ones.
    marks : (letter, x, y) of the readings' spots, pixels of the picture as turned.
    """

    key: str
    name: str
    scan: str
    label: str
    width: int
    height: int
    lies: str
    seen_width: int
    seen_height: int
    facts: tuple[tuple[str, str], ...]
    reason: str
    marks: tuple[tuple[str, float, float], ...]


async def _page(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    try:
        comparison, spots, rows = await _found(request, attached)
    except QuantityError as error:
        return await answering.sentence(datasette, request, HTTPStatus.BAD_REQUEST, str(error))
    record = comparison.record
    first, second = (str(sight.row["scan"]) for sight in (comparison.first, comparison.second))
    base = f"/sheet/{record.sheet}/compare"
    query = urlencode({"a": first, "b": second})
    labels = dict(zip((str(row["scan"]) for row in rows), scan_labels(rows), strict=True))
    return await answering.page(
        datasette,
        request,
        attached,
        "compare.html",
        {
            "sheet": record.sheet,
            "table": "sheets",
            "row": tilde_encode(record.sheet),
            "title": ", ".join(part for part in (record.place, record.subject) if part),
            "pictures": [
                _picture(comparison, spots, "a", labels[first]),
                _picture(comparison, spots, "b", labels[second]),
            ],
            "choices": list(labels.items()),
            "reason": comparison.reason,
            "how": _how(comparison),
            "rows": [_spot_rows(spot) for spot in spots],
            "unset": [reading.name for reading in record.readings if reading.spot is None],
            "same_profile": _same_profile(comparison),
            "document": datasette.urls.path(f"{base}.json?{query}"),
            "probe": datasette.urls.path(f"{base}/probe.json?{query}"),
            "twin": datasette.urls.path(f"{base}.json?{query}"),
        },
    )


def _how(comparison: comparing.Comparison) -> str:
    if not comparison.placed:
        return ""
    way = how_it_lies(comparison.laid)
    shown = "" if way == "the same way round" else ", and is shown turned back"
    return (
        f"The second scan lies {way} on the first{shown} "
        f"(correlation of the two pictures {fixed(comparison.laid.correlation)})."
    )


def _same_profile(comparison: comparing.Comparison) -> bool:
    one, other = comparison.first.profile, comparison.second.profile
    return one is not None and other is not None and one.number == other.number


def _picture(comparison: comparing.Comparison, spots: list[comparing.Spot], key: str, label: str) -> _Picture:
    sight = comparison.first if key == "a" else comparison.second
    row = sight.row
    width, height = preview_size(row["width"], row["height"], "page")
    lies = comparison.lies if key == "b" else comparing.Lies()
    x, y = (-1 if lies.flipped_x else 1), (-1 if lies.flipped_y else 1)
    across, down = (width if lies.flipped_x else 0), (height if lies.flipped_y else 0)
    # Where a place of the picture comes to stand: X = a·x + c·y + e, Y = b·x + d·y + f.
    turn = (0, x, y, 0, down, across) if lies.swapped else (x, 0, 0, y, across, down)
    marks = []
    for spot in spots:
        probed = spot.compared.first if key == "a" else spot.compared.second
        if probed is not None:
            at = probed.x * width, probed.y * height
            marks.append(
                (
                    letter(spot.index),
                    round(turn[0] * at[0] + turn[2] * at[1] + turn[4], 1),
                    round(turn[1] * at[0] + turn[3] * at[1] + turn[5], 1),
                )
            )
    seen = (height, width) if lies.swapped else (width, height)
    return _Picture(
        key=key,
        name="First scan" if key == "a" else "Second scan",
        scan=str(row["scan"]),
        label=label,
        width=width,
        height=height,
        lies="" if lies == comparing.Lies() else f"matrix({' '.join(str(part) for part in turn)})",
        seen_width=seen[0],
        seen_height=seen[1],
        facts=_facts(sight),
        reason=sight.reason,
        marks=tuple(marks),
    )


def _facts(sight: viewing.Sight) -> tuple[tuple[str, str], ...]:
    row, profile = sight.row, sight.profile
    lines = (
        ("Scan", str(row["scan"])),
        ("Scanner", str(row["scanner"] or "not known")),
        ("Scanned", date(row["taken_at"]) or "not said by the file"),
        (
            "Size",
            f"{row['width']} × {row['height']} pixels" + (f", {row['dpi']:.0f} dpi" if row["dpi"] else ""),
        ),
        (
            "Profile",
            f"{profile.scanner}, tablet {profile.tablet} scanned {date(profile.scanned_at)}"
            if profile
            else "none",
        ),
    )
    return tuple(line for line in lines if line[1])


def _spot_rows(spot: comparing.Spot) -> Mapping[str, Any]:
    compared = spot.compared

    def row(label: str, probed: viewing.Probed | None) -> tuple[str, str, str]:
        if probed is None or probed.density is None:
            return label, _density(probed), ""
        return label, fixed(probed.density), deviation(probed.sd)

    return {
        "letter": letter(spot.index),
        "name": spot.name,
        "lines": (
            row("first scan", compared.first),
            row("second scan", compared.second),
            ("difference", fixed(compared.difference, signed=True), deviation(compared.sd)),
        ),
        "verdict": _verdict(compared),
        "reason": compared.reason,
    }
