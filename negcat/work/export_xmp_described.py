"""What XMP side files hold: ``python -m negcat.work.export_xmp_described`` writes it from the table they go by.

For people a page in Markdown, for programs an RDF vocabulary (RDF Schema 1.1, W3C 2014).
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from xml.etree import ElementTree
from xml.etree.ElementTree import Element, SubElement

from negcat.work.export_xmp_fields import NAMESPACES, OWN, OWN_FIELDS, STANDARD_FIELDS, Field, Kind

__all__ = ["documents"]

_HEAD = """\
# XMP side files

`negcat export xmp` writes one for each scan that is joined to a sheet: `NAME.tif.xmp` for `NAME.tif`, RDF/XML by ISO
16684-1. This page lists what it may hold; `xmp.rdf` says the same of the fields of negcat's own for programs. What
isn't known is left out. Both are made from the table that the files are written by.

A side file describes the scan beside it, and a scan of a negative is of two makings: the negative was exposed, and
later it was scanned. The fields of Exif say when and how **the negative was exposed**; they are the camera's, not the
scanner's. Only `exif:DateTimeDigitized` and `xmp:CreateDate` are about the scan. What the scanner wrote into the scan
stays there, and isn't repeated. `exif:ExposureTime` and `exif:FNumber` are what the film got, with the cell in use and
the shutter as it was measured; what was marked stands in `negcat:stop` and `negcat:time`.

The densities in `negcat:readings` were measured on one scan of the sheet; `negcat:scan` says whether on this one.

The last line is a comment with the SHA-256 of all above it. By it negcat knows a file that it wrote and nobody changed
since: no other is ever replaced.

| prefix | namespace |
|---|---|
"""

_KINDS: dict[Kind, str] = {
    "text": "Text",
    "in a language": "Language alternative",
    "texts": "Seq of Text",
    "words": "Bag of Text",
    "date": "Date",
    "number": "Real",
    "rational": "Rational",
    "whole number": "Integer",
    "whole numbers": "Seq of Integer",
    "yes or no": "Boolean",
    "parts": "Structure",
    "list of parts": "Seq of Structure",
    "bag of parts": "Bag of Structure",
}
"""The value types as ISO 16684-1 names them."""

_RANGES: dict[Kind, str] = {
    "text": "http://www.w3.org/2001/XMLSchema#string",
    "date": "http://www.w3.org/2001/XMLSchema#string",
    "number": "http://www.w3.org/2001/XMLSchema#double",
    "whole number": "http://www.w3.org/2001/XMLSchema#integer",
    "yes or no": "http://www.w3.org/2001/XMLSchema#string",
    "texts": NAMESPACES["rdf"] + "Seq",
    "list of parts": NAMESPACES["rdf"] + "Seq",
}


def documents() -> dict[str, str]:
    """Describe the side files.

    Returns
    -------
    File name → its text: ``xmp.md`` and ``xmp.rdf``.
    """
    return {"xmp.md": _page(), "xmp.rdf": _vocabulary()}


def _page() -> str:
    used = {field.name.partition(":")[0] for field, _ in _every((*STANDARD_FIELDS, *OWN_FIELDS))}
    lines = [f"| `{prefix}` | `{uri}` |" for prefix, uri in NAMESPACES.items() if prefix in used]
    lines += ["", "## Fields of standards", "", *_rows(STANDARD_FIELDS)]
    lines += ["", "## Fields of negcat's own", "", *_rows(OWN_FIELDS)]
    return _HEAD + "\n".join(lines) + "\n"


def _rows(fields: Iterable[Field]) -> Iterator[str]:
    yield "| field | type | unit | what it says | in `negcat show --json` |"
    yield "|---|---|---|---|---|"
    for field, way in _every(fields):
        # A list's parts stand in each of its items.
        path = ".".join(step for one in way for step in one.path)
        name = "/".join(one.name for one in way)
        yield f"| `{name}` | {_KINDS[field.kind]} | {field.unit} | {field.said} | `{path}` |"


def _every(
    fields: Iterable[Field], above: tuple[Field, ...] = ()
) -> Iterator[tuple[Field, tuple[Field, ...]]]:
    """Give each field and, behind it, its parts, with the way to it."""
    for field in fields:
        way = (*above, field)
        yield field, way
        yield from _every(field.parts, way)


def _vocabulary() -> str:
    root = Element(
        "rdf:RDF",
        {
            "xmlns:rdf": NAMESPACES["rdf"],
            "xmlns:rdfs": "http://www.w3.org/2000/01/rdf-schema#",
            "xml:base": OWN,
        },
    )
    meanings: dict[str, list[tuple[str, Field]]] = {}
    for field, way in _every(OWN_FIELDS):
        where = way[-2].name if len(way) > 1 else ""
        meanings.setdefault(field.name, []).append((where, field))
    for name, uses in meanings.items():
        about = SubElement(root, "rdf:Property", {"rdf:about": OWN + name.partition(":")[2]})
        for where, field in uses:
            # One name may stand in several structures, and says there what it says there.
            unit = f" ({field.unit})" if field.unit else ""
            within = f"In {where}: " if where else ""
            SubElement(about, "rdfs:comment", {"xml:lang": "en"}).text = f"{within}{field.said}{unit}"
        ranges = {_RANGES.get(field.kind) for _, field in uses}
        if len(ranges) == 1 and (only := ranges.pop()):
            SubElement(about, "rdfs:range", {"rdf:resource": only})
    ElementTree.indent(root, "  ")
    return f"<?xml version='1.0' encoding='UTF-8'?>\n{ElementTree.tostring(root, encoding='unicode')}\n"


def main(folder: Path) -> None:
    """Write the descriptions into a folder."""
    for name, text in documents().items():
        (folder / name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1] if len(sys.argv) > 1 else "schemas"))
