"""Exif: the few tags that tell of a scan, in a JPEG, a PNG or a TIFF (Exif 2.32; TIFF 6.0, section 2).

Only those tags are looked up, each once and none beyond a few kilobytes, and only in the two directories where they
belong: whatever else a block holds, or claims to hold, costs nothing.
"""

import struct
from collections.abc import Callable
from typing import Final

__all__ = ["EXIF_DIRECTORY", "exif_directory", "exif_values"]

EXIF_DIRECTORY: Final = 34665
_BELOW: Final = "Exif directory"

IMAGE_TAGS: Final = {
    269: "DocumentName",
    270: "ImageDescription",
    271: "Make",
    272: "Model",
    274: "Orientation",
    282: "XResolution",
    283: "YResolution",
    285: "PageName",
    296: "ResolutionUnit",
    305: "Software",
    306: "DateTime",
    40091: "XPTitle",
    40092: "XPComment",
    40095: "XPSubject",
    EXIF_DIRECTORY: _BELOW,
}

EXIF_TAGS: Final = {
    36867: "DateTimeOriginal",
    36868: "DateTimeDigitized",
    36880: "OffsetTime",
    36881: "OffsetTimeOriginal",
    36882: "OffsetTimeDigitized",
    37510: "UserComment",
    40961: "ColorSpace",
}

MOST_ENTRIES: Final = 1000
"""Entries of a directory that are looked at."""

LONGEST: Final = 16_384
"""Bytes of a value that are read."""

_NUMBERS: Final = {3: "H", 4: "I", 8: "h", 9: "i", 13: "I"}
_RATIOS: Final = {5: "II", 10: "ii"}
_BYTES: Final = frozenset({1, 2, 7})

Read = Callable[[int, int], bytes]
"""Gives so many bytes from a place on; raises where they lie outside."""


def exif_values(block: bytes, notes: list[str]) -> dict[str, object]:
    """Read an Exif block (a TIFF in memory): tag names to values.

    Parameters
    ----------
    block : from its byte order mark on.
    notes : a sentence is added where the block is damaged; nothing is taken of it then.

    Returns
    -------
    Texts as bytes, a number as int, a ratio as (over, under).
    """

    def read(count: int, at: int) -> bytes:
        if at + count > len(block):
            msg = "it lies outside"
            raise ValueError(msg)
        return block[at : at + count]

    try:
        order = {b"II*\0": "<", b"MM\0*": ">"}[block[:4]]
        (start,) = struct.unpack_from(order + "I", block, 4)
        values = _directory(read, order, start, IMAGE_TAGS)
        below = values.pop(_BELOW, None)
        if isinstance(below, int):
            values |= _directory(read, order, below, EXIF_TAGS)
    except (KeyError, ValueError, struct.error):
        # a scan isn't refused for its tags
        notes.append("its Exif data are damaged; not used")
        return {}
    return values


def exif_directory(read: Read, order: str, start: int, *, big: bool) -> dict[str, object]:
    """Read the Exif directory of a TIFF; raises what `read` raises, and struct.error.

    Parameters
    ----------
    read : of the file.
    order : ``<`` or ``>``.
    start : where the directory begins.
    big : whether it is written as in a BigTIFF.
    """
    return _directory(read, order, start, EXIF_TAGS, big=big)


def _directory(
    read: Read, order: str, start: int, wanted: dict[int, str], *, big: bool = False
) -> dict[str, object]:
    """Read the wanted values of a directory, the first of each."""
    values: dict[str, object] = {}
    head, form = (order + "Q", order + "HHQ8s") if big else (order + "H", order + "HHI4s")
    (count,) = struct.unpack(head, read(struct.calcsize(head), start))
    width = struct.calcsize(form)
    start += struct.calcsize(head)
    for entry in range(min(count, MOST_ENTRIES)):
        code, kind, items, field = struct.unpack(form, read(width, start + entry * width))
        name = wanted.get(code)
        if name is not None and name not in values and items:
            values[name] = _value(read, order, kind, items, field)
    return values


def _value(read: Read, order: str, kind: int, items: int, field: bytes) -> object:
    """Read one value; None where it is of a kind that none of these tags has."""
    if kind in _NUMBERS and items == 1:
        return struct.unpack_from(order + _NUMBERS[kind], field)[0]
    size = 8 if kind in _RATIOS else min(items, LONGEST) if kind in _BYTES else 0
    if not size:
        return None
    if max(size, items) <= len(field):
        raw = field[:size]
    else:
        raw = read(size, struct.unpack(order + ("Q" if len(field) == 8 else "I"), field)[0])
    return struct.unpack(order + _RATIOS[kind], raw) if kind in _RATIOS else raw
