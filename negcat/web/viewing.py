"""The sheet under the glass: what its viewer draws by, and the probe.

Everything is worked out here and sent as tables and words; the script in the page only lays tiles, looks up
tones in the tables and shows the words.
"""

from __future__ import annotations

import asyncio
from dataclasses import asdict
from functools import cache
from http import HTTPStatus
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import numpy as np
from datasette.utils.asgi import Response

from negcat.errors import NegcatError, QuantityError
from negcat.web import answering, reading
from negcat.web.answering import View, names_tag, readable
from negcat.web.security import OWN_POLICY
from negcat.web.sheet import letter
from negcat.web.typesetting import deviation, fixed, zone_numeral
from negcat.web.zonescale import ZONE_WORDS, zone_colours
from negcat.work import tiles, viewing
from negcat.work.archive import Archive
from negcat.work.drawing import zone_tones

__all__ = ["asked_point", "pages", "probe_words"]

_HEADERS = {"content-security-policy": OWN_POLICY, "cache-control": "no-cache"}
_LIBRARY = {"leaflet.js": "text/javascript; charset=utf-8", "leaflet.css": "text/css; charset=utf-8"}
DEFAULT_APERTURE_MM = 2.0


def pages() -> list[tuple[str, View]]:
    """List the addresses with the functions that answer them."""
    return [
        (r"^/sheet/(?P<sheet>[^/]+)/viewer\.json$", readable(_viewer)),
        (r"^/sheet/(?P<sheet>[^/]+)/probe\.json$", readable(_probe)),
        (r"^/-/leaflet/(?P<file>leaflet\.(?:js|css))$", readable(_library)),
    ]


async def _viewer(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    """Tell the viewer of a scan: where its tiles are, how tones are drawn, what is marked on it."""
    sheet, scan = unquote(request.url_vars["sheet"]), request.args.get("scan") or ""

    def gather(archive: Archive) -> dict[str, Any]:
        sight = viewing.look(archive, sheet, scan)
        pyramid = tiles.opened(attached.root, sight.row["scan"])
        return _document(sight, pyramid)

    document = await answering.read(attached, gather)
    document["image"] = datasette.urls.path(f"/iiif/3/{document['scan']}")
    return answering.document(document)


def _document(sight: viewing.Sight, pyramid: Any) -> dict[str, Any]:
    tables = viewing.tables(sight, pyramid)
    return {
        "sheet": sight.sheet,
        "scan": sight.row["scan"],
        "stamp": tiles.stamp_of(pyramid),
        "width": pyramid.width,
        "height": pyramid.height,
        "tile": pyramid.tile,
        "levels": [[level.width, level.height] for level in pyramid.levels],
        "px_per_mm": sight.px_per_mm,
        "tables": {
            "channel": tables.channel,
            "printed": list(tables.printed),
            "zones": list(tables.zones),
        }
        if tables
        else None,
        "measurable": sight.measurable,
        "reason": sight.reason,
        "legend": [
            {"zone": zone_numeral(zone), "word": word, "colour": colour, "grey": int(grey)}
            for zone, (word, colour, grey) in enumerate(
                zip(ZONE_WORDS, zone_colours(), zone_tones(np.arange(11.0)), strict=True)
            )
        ],
        "spots": [
            {"letter": letter(index), "x": x, "y": y, "diameter_mm": diameter}
            for index, x, y, diameter in sight.spots
        ],
        "frame": sight.frame,
    }


async def _probe(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    """Measure at a point, on the master."""
    del datasette
    sheet, scan = unquote(request.url_vars["sheet"]), request.args.get("scan") or ""
    try:
        x, y, diameter = asked_point(request)

        def measure(archive: Archive) -> viewing.Probed:
            return viewing.measure_at(archive, viewing.look(archive, sheet, scan), x, y, diameter)

        probed = await answering.read(attached, measure)
    except QuantityError as error:
        return answering.refusal(str(error))
    zone = probed.print_zone
    nearest = 0 if probed.lost else None if zone is None else min(max(round(zone), 0), 10)
    return answering.document({**asdict(probed), "nearest_zone": nearest, **probe_words(probed)})


def asked_point(request: Any) -> tuple[float, float, float]:
    """Read where an address asks to measure: x and y in fractions of the scan, the aperture in mm.

    Raises
    ------
    QuantityError : one of them is wanting or no number.
    """
    try:
        x, y = float(request.args.get("x") or "none"), float(request.args.get("y") or "none")
        return x, y, float(request.args.get("d") or DEFAULT_APERTURE_MM)
    except ValueError as error:
        raise QuantityError(
            "The probe asks for x and y, fractions of width and height, and for d in mm."
        ) from error


def probe_words(probed: viewing.Probed) -> dict[str, str]:
    """Set what the probe found for reading and for saying.

    Returns
    -------
    ``density_text``, ``net_text``, ``zone_text`` for the columns, and ``words``, one sentence of it all.

    Examples
    --------
    >>> from negcat.work.viewing import Probed
    >>> probe_words(Probed(0.5, 0.5, 2.0, bound="denser", limit=2.9))["words"]
    'Denser than 2.90, where the profile ends.'
    """
    if probed.density is None:
        if probed.bound and probed.limit is not None:
            text = f"{probed.bound} than {fixed(probed.limit)}"
            return {
                "density_text": text,
                "net_text": "",
                "zone_text": "",
                "words": f"{text.capitalize()}, where the profile ends.",
            }
        reason = probed.reason.rstrip(".")
        return {
            "density_text": "",
            "net_text": "",
            "zone_text": "",
            "words": f"{reason[:1].upper()}{reason[1:]}." if reason else "Not measured.",
        }
    density = f"{fixed(probed.density)} {deviation(probed.sd)}".rstrip()
    if probed.net_density is None:
        return {
            "density_text": density,
            "net_text": "",
            "zone_text": "",
            "words": f"Density {density}. {probed.reason}".strip(),
        }
    net = f"{fixed(probed.net_density)} {deviation(probed.net_sd)}".rstrip()
    if probed.print_zone is None:
        zone = "lost in base+fog"
        said = f"{zone}, {ZONE_WORDS[0]}"
    else:
        nearest = min(max(round(probed.print_zone), 0), 10)
        beyond = "beyond X" if probed.print_zone > 10.5 else f"{fixed(probed.print_zone, 1)}"
        zone = f"{beyond}, {ZONE_WORDS[nearest]}"
        said = f"prints on zone {zone}"
    return {
        "density_text": density,
        "net_text": net,
        "zone_text": zone,
        "words": f"Density {density}, {net} above base+fog, {said}.",
    }


@cache
def _library_file(name: str) -> Path:
    """Find a file of the library that draws maps; from its package's own list, without importing it."""
    try:
        files = distribution("XStatic-Leaflet").files or []
    except PackageNotFoundError as error:
        raise NegcatError("The package XStatic-Leaflet is missing; install it with pip.") from error
    for file in files:
        if file.name == name:
            return Path(str(file.locate()))
    raise NegcatError(f"The package XStatic-Leaflet holds no {name}; install it again.")


async def _library(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    del datasette, attached
    name = request.url_vars["file"]

    def fetch() -> tuple[str, bytes | None]:
        path = _library_file(name)
        state = path.stat()
        tag = f'"{state.st_mtime_ns:x}-{state.st_size:x}"'
        return tag, None if names_tag(request.headers.get("if-none-match", ""), tag) else path.read_bytes()

    tag, body = await asyncio.to_thread(fetch)
    headers = {"etag": tag, "cache-control": "max-age=86400", "content-security-policy": OWN_POLICY}
    if body is None:
        return Response(b"", status=HTTPStatus.NOT_MODIFIED, headers=headers, content_type=_LIBRARY[name])
    return Response(body, headers=headers, content_type=_LIBRARY[name])
