"""The text of an XMP side file: RDF/XML by ISO 16684-1, with a mark by which negcat knows its own files again."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from fractions import Fraction
from hashlib import sha256
from math import ceil
from typing import Any
from xml.etree import ElementTree
from xml.etree.ElementTree import Element, SubElement

from negcat import __version__
from negcat.work.export_xmp_fields import NAMESPACES, OWN_FIELDS, STANDARD_FIELDS, Field

__all__ = ["is_own", "packet"]

_NO_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_MARK = re.compile(rb"<!-- written by negcat; SHA-256 of all above: ([0-9a-f]{64}) -->\n\Z")
_MARK_LENGTH = 200

_LARGEST = 2**32 - 1
"""Exif keeps both parts of a rational in 32 bits."""

_FINEST = 1_000_000


def packet(document: Mapping[str, Any]) -> bytes:
    """Write a side file.

    Parameters
    ----------
    document : a sheet as ``negcat show --json`` prints it, with ``scan``, the one that the file stands beside, and
        ``focal_mm``.

    Returns
    -------
    A whole XML document in UTF-8; the same for the same document.
    """
    about = Element("rdf:Description", {"rdf:about": ""})
    for field in (*STANDARD_FIELDS, *OWN_FIELDS):
        _put(about, field, document)
    used = {element.tag.partition(":")[0] for element in about.iter()}
    for prefix, uri in NAMESPACES.items():
        if prefix in used and prefix != "rdf":
            about.set(f"xmlns:{prefix}", uri)
    root = Element("x:xmpmeta", {"xmlns:x": "adobe:ns:meta/", "x:xmptk": f"negcat {__version__}"})
    SubElement(root, "rdf:RDF", {"xmlns:rdf": NAMESPACES["rdf"]}).append(about)
    ElementTree.indent(root, " ")
    text = f"<?xml version='1.0' encoding='UTF-8'?>\n{ElementTree.tostring(root, encoding='unicode')}\n"
    content = text.encode("utf-8")
    return content + f"<!-- written by negcat; SHA-256 of all above: {_digest(content)} -->\n".encode()


def is_own(content: bytes) -> bool:
    """Tell whether negcat wrote a side file and nobody has changed it since.

    Examples
    --------
    >>> own = packet({"sheet": "BW-01"})
    >>> is_own(own), is_own(own.replace(b"BW-01", b"BW-02")), is_own(b"")
    (True, False, False)
    """
    mark = _MARK.search(content, max(0, len(content) - _MARK_LENGTH))
    return mark is not None and mark[1].decode() == _digest(content[: mark.start()])


def _digest(content: bytes) -> str:
    return sha256(content).hexdigest()


def _put(into: Element, field: Field, values: Any) -> None:
    """Write a property; nothing where its value isn't known."""
    value = _at(values, field.path)
    if value is None or value == []:
        return
    match field.kind:
        case "parts":
            _put_parts(into, field.name, field.parts, value)
        case "list of parts" | "bag of parts":
            items = value if field.kind == "list of parts" else [value]
            _put_list(
                into,
                field.name,
                "Seq" if field.kind == "list of parts" else "Bag",
                (_with_parts(Element("rdf:li"), field.parts, item) for item in items),
            )
        case "texts" | "words" | "whole numbers":
            written = [_written(field, item) for item in (value if field.kind == "texts" else [value])]
            if None not in written:
                _put_list(into, field.name, "Bag" if field.kind == "words" else "Seq", map(_item, written))
        case "in a language":
            item = _item(str(value))
            item.set("xml:lang", "x-default")
            _put_list(into, field.name, "Alt", [item])
        case _:
            text = _written(field, value)
            if text is not None:
                SubElement(into, field.name).text = _clean(text)


def _put_parts(into: Element, name: str, parts: tuple[Field, ...], values: Any) -> None:
    element = _with_parts(Element(name), parts, values)
    if len(element):
        into.append(element)


def _with_parts(element: Element, parts: tuple[Field, ...], values: Any) -> Element:
    element.set("rdf:parseType", "Resource")
    for part in parts:
        _put(element, part, values)
    return element


def _put_list(into: Element, name: str, kind: str, items: Iterator[Element] | list[Element]) -> None:
    SubElement(SubElement(into, name), f"rdf:{kind}").extend(items)


def _item(text: str | None) -> Element:
    item = Element("rdf:li")
    item.text = _clean(text or "")
    return item


def _at(values: Any, path: tuple[str, ...]) -> Any:
    for step in path:
        values = (values or {}).get(step)
    return values


def _written(field: Field, value: Any) -> str | None:
    """Write a simple value; None where the property can't hold it."""
    match field.kind:
        case "yes or no":
            return "True" if value else "False"
        case "number":
            return repr(value)
        case "rational":
            return _rational(float(value))
        case "whole number" | "whole numbers":
            return str(int(value)) if int(value) == value else None
        case _:
            return str(value)


def _rational(value: float) -> str | None:
    """Write a positive number as two whole ones, exactly where they aren't too large.

    >>> _rational(0.0625), _rational(195.0), _rational(22.627416997969522)
    ('1/16', '195/1', '22391051/989554')
    """
    if not 0 < value < _LARGEST:
        return None
    fraction = Fraction(value).limit_denominator(min(_FINEST, _LARGEST // ceil(value)))
    return f"{fraction.numerator}/{fraction.denominator}"


def _clean(text: str) -> str:
    """Put a mark in the place of each character that XML can't hold; line ends are those of XML."""
    return _NO_XML.sub("\ufffd", text.replace("\r\n", "\n").replace("\r", "\n"))
