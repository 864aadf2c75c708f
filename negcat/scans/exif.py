"""Exif: the tags that tell of a scan, in a JPEG, a PNG or a TIFF (Exif 2.32; TIFF 6.0, section 2).

ExifRead reads the block of a JPEG or PNG. It does whatever a directory asks of it, so the directories are looked over
before: a block that names more than any scanner writes is left aside. What lies in a camera's own notes is never read.
"""

import io
import struct
from collections.abc import Callable
from typing import Final

import exifread

__all__ = ["EXIF_DIRECTORY", "exif_directory", "exif_values"]

EXIF_DIRECTORY: Final = 34665
EXIF_TAGS: Final = {
    36867: "DateTimeOriginal",
    36868: "DateTimeDigitized",
    36880: "OffsetTime",
    36881: "OffsetTimeOriginal",
    36882: "OffsetTimeDigitized",
    37510: "UserComment",
    40961: "ColorSpace",
}

MOST_DIRECTORIES: Final = 16
"""Directories of a block, one after the other and below each other."""

MOST_ENTRIES: Final = 1000
"""Entries of a directory that are looked at, and of all directories of a block."""

MOST_NUMBERS: Final = 500_000
"""Numbers and letters that all values of a block may have together."""

LONGEST: Final = 16_384
"""Bytes of a value that are read."""

_POINTERS: Final = frozenset({EXIF_DIRECTORY, 34853, 40965, 330})
"""Tags that name a directory below: Exif, place, interoperability, further pictures."""

_COMMENT: Final = 37510
_TEXT: Final = 2
_LISTED: Final = 1000
"""Numbers of a value from which on ExifRead makes no list of it."""

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
    Values as ExifRead gives them, a list of one as that one; the comment as bytes.
    """
    values: dict[str, object] = {}
    try:
        comment = _look_over(block)
        # Without details: no camera's notes, and no thumbnail.
        tags = exifread.process_file(
            io.BytesIO(block), details=False, extract_thumbnail=False, truncate_tags=False
        )
    except Exception:
        # ExifRead raises whatever a broken directory leads it to; a scan isn't refused for its tags
        notes.append("its Exif data are damaged; not used")
        return {}
    for name, tag in tags.items():
        group, _, key = name.partition(" ")
        if group in {"Image", "EXIF"}:
            found = getattr(tag, "values", None)
            if isinstance(found, list) and len(found) == 1:
                found = found[0]
            values.setdefault(key, found[:LONGEST] if isinstance(found, (str, bytes, list)) else found)
    return values | comment


def _look_over(block: bytes) -> dict[str, object]:
    """Raise ValueError or struct.error where a block asks for more than any scanner writes; give its comment."""
    order = {b"II*\0": "<", b"MM\0*": ">"}.get(block[:4])
    if order is None:
        msg = "it is no Exif block"
        raise ValueError(msg)
    comment: dict[str, object] = {}
    waiting, seen, entries, numbers = [struct.unpack_from(order + "I", block, 4)[0]], set[int](), 0, 0
    while waiting:
        at = waiting.pop()
        if at in seen or at == 0:
            continue
        seen.add(at)
        (count,) = struct.unpack_from(order + "H", block, at)
        entries += count
        for place in range(at + 2, at + 2 + 12 * count, 12):
            if len(seen) > MOST_DIRECTORIES or entries > MOST_ENTRIES or numbers > MOST_NUMBERS:
                msg = "it names more than a scan has"
                raise ValueError(msg)
            code, kind, items = struct.unpack_from(order + "HHI", block, place)
            field = block[place + 8 : place + 12]
            numbers += min(items, len(block)) if kind == _TEXT or items < _LISTED else 0
            if code in _POINTERS:
                if items != 1:
                    msg = "one directory below another is named many times"
                    raise ValueError(msg)
                waiting.append(struct.unpack(order + "I", field)[0])
            elif code == _COMMENT and not comment:
                comment = {"UserComment": _value(_reader(block), order, kind, items, field)}
        following = block[at + 2 + 12 * count :][:4]
        if len(following) == 4:
            waiting.append(struct.unpack(order + "I", following)[0])
    return comment


def _reader(block: bytes) -> Read:
    """Give what reads a part of a block in memory."""

    def read(count: int, at: int) -> bytes:
        if at + count > len(block):
            msg = "it lies outside"
            raise ValueError(msg)
        return block[at : at + count]

    return read


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
