"""An archive whose every text, in records and in the tags of scans, is written to become something else.

The same archive can be built with plain words in the same places, so that a page of the one can be held
against the page of the other: it must have the same elements with the same attributes.
"""

from __future__ import annotations

import json
import struct
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import tifffile
from imagecodecs import png_encode
from PIL import Image

from negcat.work.archive import Archive
from negcat.work.calibrate import calibrate_scanner
from negcat.work.ingest import ingest_scans
from negcat.work.taking import take_record_files
from tests.web.conftest import TABLET, codes

Texts = Callable[[str], str]

# Names are kept to 200 letters: each takes two of these.
ATTACKS = (
    "<mkx onmk=1>&lt;b&gt;</mkx><script>window.mkran=1</script>",
    "\"><img src='/mkasked' onerror='window.mkran=1'>",
    "' onmouseover='window.mkran=1' mkattr=\"1",
    "javascript:window.mkran=1",
    "{{ 7*7 }}{% raw %}${7*7}<%= 7*7 %>{# mk #}",
    "&#60;mkx&#62; &quot;&amp;lt;&nbsp;",
    "</title></script></style></textarea></svg><mkx>",
    "<svg onload=window.mkran=1><a href='javascript:window.mkran=1'>",
    "\u202eright to left\u202c\u200f\u2067 \u2069<!-- ]]> --> <![CDATA[",
    "http://127.0.0.1:9/mkasked?<mkx>",
    "W" * 110,
    "\u0627\u0644\u0637\u064a\u0646 ' \" ` = < > \\ %3Cmkx%3E +",
)

# Where a cell is nothing but an address, some make a link of it.
ADDRESS = "http://127.0.0.1:9/mkasked?<mkx>\"onmk='1"

# What begins and ends so is HTML to viewers of IIIF manifests.
AS_HTML = "<mkx onmk=1>two-bath</mkx>"


def marked(field: str) -> str:
    """Write a name or short text for a field: its own name, and two of the attacks in turn."""
    one, other = divmod(zlib.crc32(field.encode()), len(ATTACKS))
    return f"{field} {ATTACKS[one % len(ATTACKS)]} {ATTACKS[other]}"[:200].strip()


def bare(field: str) -> str:
    """Write nothing but plain words for a field."""
    return f"{field} in plain words"


def lengthy(text: Texts, field: str) -> str:
    """Write a note for a field: every attack, over several lines."""
    if text is bare:
        return "\n".join(f"{field} {place}" for place in range(len(ATTACKS) + 1))
    return "\n".join([f"{field}\t", *ATTACKS])


def records(text: Texts, changed: str = "") -> dict[str, Any]:
    """Write every list of a record file with its text fields from ``text``.

    Parameters
    ----------
    changed : put behind the texts of the sheets that are no references, so that the history holds both.
    """

    def t(field: str) -> str:
        return text(field)

    def n(field: str) -> str:
        return lengthy(text, field) + changed

    def sheet(name: str, **more: Any) -> dict[str, Any]:
        return {
            "sheet": name,
            "film": t("films.name"),
            "format": "4x5",
            "holder": t("holder"),
            "side": t("side") + changed,
            "exposed_at": "2026-03-04T07:50",
            "place": t("place"),
            "subject": n("subject"),
            "lens": t("lenses.name"),
            "cell": t("cells.rear"),
            "stop": "22½",
            "stop_scale": t("cells.whole"),
            "time": "1/2",
            "bellows_mm": 432,
            "filter": t("filter"),
            "filter_factor": 2,
            "weather": t("weather"),
            "tag": "N+1",
            "print_target": t("print_targets.name"),
            "location": t("location") if text is bare else ADDRESS,
            "notes": n("notes"),
            "readings": [
                {
                    "name": t("reading.shadow"),
                    "role": "shadow",
                    "ev": 10,
                    "zone": "IV",
                    "spot": {"x": 0.3, "y": 0.5},
                },
                {"name": t("reading.highlight"), "role": "highlight", "ev": 13, "spot": {"x": 0.7, "y": 0.5}},
                {"name": t("reading.other"), "role": "other", "ev": 11},
            ],
            **more,
        }

    long_id = "M" * 96 + "-1.x"
    return {
        "films": [
            {
                "name": t("films.name"),
                "box_speed": 100,
                "lot": t("films.lot"),
                "base_fog": 0.12,
                "reciprocity": {"law": "power", "exponent": 1.3, "from_s": 1},
            },
            {"name": t("films.unused"), "box_speed": 50, "reciprocity": {"law": "none"}},
        ],
        "shutters": [{"name": t("shutters.name"), "measured": {"1/2": 0.6}}],
        "lenses": [
            {
                "name": t("lenses.name"),
                "shutter": t("shutters.name"),
                "cells": [
                    {"cell": t("cells.whole"), "focal_mm": 240, "mounted": "whole"},
                    {"cell": t("cells.rear"), "focal_mm": 410, "mounted": "behind", "scale_error_stops": 0.5},
                ],
            }
        ],
        "scanners": [
            {
                "name": t("scanners.name"),
                "make": t("make"),
                "model": t("model"),
                "software": t("software"),
            }
        ],
        "tablets": [{"name": t("tablets.name"), "densities": TABLET}],
        "print_targets": [
            {"name": t("print_targets.name"), "densities": {"I": 0.1, "V": 0.7, "VIII": 1.3, "IX": 1.5}}
        ],
        "sheets": [
            sheet("MK-1"),
            sheet("MK-2", exposed_at="2026-03-05", tag="N"),
            sheet("MK-3.json", exposed_at="2026-03-06"),
            sheet(long_id, exposed_at="2026-03-07", readings=[]),
            sheet("MK-5", exposed_at="2026-03-08"),
        ],
        "developments": [
            {
                "batch": t("developments.batch"),
                "date": "2026-03-10",
                "developer": t("developer") if text is bare else AS_HTML,
                "dilution": t("dilution"),
                "temperature_c": 20,
                "time": "9m",
                "method": t("method"),
                "agitation": t("agitation"),
                "tag": "N+1",
                "notes": n("developments.notes"),
                "sheets": ["MK-1", "MK-2", "MK-3.json", long_id],
            }
        ],
        "holders": [
            {
                "holder": t("holders.holder"),
                "format": t("holders.format"),
                "sides": [{"side": t("holders.side"), "film": t("films.name"), "loaded_at": "2026-03-01"}],
                "notes": n("holders.notes"),
            }
        ],
        "film_tests": [
            {
                "test": t("film_tests.test"),
                "film": t("films.name"),
                "tablet": t("tablets.name"),
                "developer": t("developer") if text is bare else AS_HTML,
                "dilution": t("dilution"),
                "time": "9m",
                "densities": [0.15 + 0.05 * step for step in range(len(TABLET))],
            }
        ],
    }


def _picture(shadow: float, highlight: float) -> np.ndarray:
    picture = np.zeros((420, 520))
    picture[10:410, 10:510] = 0.12
    picture[30:390, 30:260] = 0.12 + shadow
    picture[30:390, 260:490] = 0.12 + highlight
    return picture


def _tablet() -> np.ndarray:
    picture = np.full((160, 40 * len(TABLET) + 80), 3.6)
    for step, density in enumerate(TABLET):
        picture[40:120, 40 + 40 * step : 80 + 40 * step] = density
    return picture


def _wide(text: str) -> bytes:
    return (text + "\0").encode("utf-16-le")


def _xmp(text: Texts) -> bytes:
    def escaped(field: str) -> str:
        return text(field).replace("&", "&amp;").replace("<", "&lt;").replace("\0", "")

    return (
        '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
        '<rdf:Description xmlns:dc="http://purl.org/dc/elements/1.1/">'
        f"<dc:title><rdf:Alt><rdf:li>{escaped('xmp.title')}</rdf:li></rdf:Alt></dc:title>"
        f"<dc:description><rdf:Alt><rdf:li>{escaped('xmp.description')}</rdf:li></rdf:Alt></dc:description>"
        f"<dc:identifier>{escaped('xmp.identifier')}</dc:identifier>"
        "</rdf:Description></rdf:RDF></x:xmpmeta>"
    ).encode()


def write_tiff(path: Path, densities: np.ndarray, text: Texts, seed: int) -> None:
    """Write a TIFF whose every textual tag comes from ``text``; its makers' names are those of the records."""
    said = {270: "ImageDescription", 269: "DocumentName", 285: "PageName", 315: "Artist", 33432: "Copyright"}
    tags: list[tuple[int, str, int | None, Any, bool]] = [
        (code, "s", None, (text(name) + "\x01\x1b[31m\x07").encode() + b"\0", True)
        for code, name in said.items()
    ]
    tags += [
        (code, "s", None, text(name).encode() + b"\0", True)
        for code, name in ((271, "make"), (272, "model"), (305, "software"), (316, "HostComputer"))
    ]
    for code, name in ((40091, "XPTitle"), (40092, "XPComment"), (40095, "XPSubject")):
        wide = _wide(text(name))
        tags.append((code, "B", len(wide), wide, True))
    xmp = _xmp(text)
    tags.append((700, "B", len(xmp), xmp, True))
    tifffile.imwrite(
        path,
        codes(densities, seed),
        resolution=(100, 100),
        resolutionunit=2,
        software=False,
        metadata=None,
        extratags=tags,
    )


def write_png(path: Path, densities: np.ndarray, text: Texts, seed: int) -> None:
    """Write a 16-bit PNG with every keyword of text the standard knows."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    keywords = ("Title", "Author", "Description", "Copyright", "Software", "Disclaimer", "Warning", "Source")
    chunks = b""
    for keyword in (*keywords, "Comment"):
        body = text(f"png.{keyword}").encode()
        chunks += chunk(b"iTXt", keyword.encode() + b"\0\0\0\0\0" + body)
        plain = text(f"png.{keyword}.old").encode("latin-1", "replace")
        chunks += chunk(b"tEXt", keyword.encode() + b"\0" + plain)
    chunks += chunk(b"pHYs", struct.pack(">IIB", 3937, 3937, 1))
    whole = png_encode(codes(densities, seed))
    end_of_header = 8 + 25
    path.write_bytes(whole[:end_of_header] + chunks + whole[end_of_header:])


def write_jpeg(path: Path, densities: np.ndarray, text: Texts, seed: int) -> None:
    """Write a JPEG with a comment, and an Exif block with every text."""
    exif = Image.Exif()
    for code, name in ((270, "jpeg.ImageDescription"), (271, "jpeg.Make"), (272, "jpeg.Model")):
        exif[code] = text(name).encode("ascii", "replace").decode()
    exif[305] = text("jpeg.Software").encode("ascii", "replace").decode()
    exif[315] = text("jpeg.Artist").encode("ascii", "replace").decode()
    exif.get_ifd(0x8769)[0x9286] = b"UNICODE\0" + text("jpeg.UserComment").encode("utf-16-le")
    grey = (codes(densities, seed) >> 8).astype(np.uint8)
    Image.fromarray(grey).save(
        path, quality=92, dpi=(100, 100), exif=exif, comment=text("jpeg.comment").encode()
    )


def build(root: Path, text: Texts = marked) -> Path:
    """Build the archive; returns its folder."""
    masters = root / "masters"
    masters.mkdir(parents=True)
    first, second = root / "first.json", root / "second.json"
    first.write_text(json.dumps(records(text)), encoding="utf-8")
    second.write_text(
        json.dumps({"sheets": records(text, " <mkx>changed" if text is marked else " changed")["sheets"]}),
        encoding="utf-8",
    )
    write_tiff(root / "tablet.tif", _tablet(), text, 1)
    write_tiff(masters / "MK-1.tif", _picture(0.42, 1.30), text, 2)
    # Two scans without any detail: the spots set on one can't be carried over to the other, which is said.
    write_tiff(masters / "MK-5.tif", _picture(0.42, 1.30), text, 3)
    write_tiff(masters / "MK-5_again.tif", _picture(0.42, 1.30), text, 7)
    write_png(masters / "MK-2.png", _picture(0.30, 0.90), text, 4)
    write_jpeg(masters / "MK-3.json.jpg", _picture(0.30, 0.90), text, 5)
    stray = "<mkx onmk=1>'\"&amp; {{ 7*7 }}" if text is marked else "A stray in plain words"
    write_png(masters / f"{stray}.png", _picture(0.2, 0.6), text, 6)
    with Archive.create(root / "brickworks") as archive:
        take_record_files(archive, [first])
        take_record_files(archive, [second])
        calibrate_scanner(
            archive, root / "tablet.tif", scanner=text("scanners.name"), tablet=text("tablets.name")
        )
        for item in ingest_scans(archive, [masters]):
            assert item.status != "refused", item.reason
    return root / "brickworks"
