"""A TIFF's directories looked over before a library opens them: how many there are, and how much they claim to name.

A library reads what a directory names as soon as it meets it, and makes an object of each number. A file of a few
bytes may name the same directory a hundred thousand times, or as many pieces of its picture as memory holds.
"""

import struct
from dataclasses import dataclass
from typing import Final

from negcat.scans.files import Damaged, Master

__all__ = ["MOST_DIRECTORIES", "MOST_PIECES", "check_directories"]

MOST_DIRECTORIES: Final = 64
"""Directories that are looked at, one after the other and below each other."""

MOST_PIECES: Final = 1_000_000
"""Strips or tiles of a picture: the largest one there is, in tiles of 64 pixels."""

PIECES: Final = frozenset({273, 279, 324, 325})
BELOW: Final = 330
MOST_ENTRIES: Final = 4096


def check_directories(master: Master) -> None:
    """Refuse, as Damaged, a TIFF whose directories name more pieces or directories than a scan has.

    What is broken in them otherwise is passed over here and found by who reads them.
    """
    head = master.head(16)
    order = "<" if head[:2] == b"II" else ">"
    if head[2:4] in {b"+\0", b"\0+"}:
        form = _Form(order + "Q", order + "Q", order + "HHQQ", 8)
    else:
        form = _Form(order + "H", order + "I", order + "HHII", 4)
    seen: set[int] = set()
    try:
        waiting = [struct.unpack_from(form.offset, head, form.first)[0]]
        while waiting and len(seen) < MOST_DIRECTORIES:
            at = waiting.pop(0)
            if at not in seen and at != 0:
                seen.add(at)
                waiting += _look_over(master, at, form)
    except (struct.error, OverflowError):
        return


@dataclass(frozen=True)
class _Form:
    """How a directory is written: its count, an offset, an entry; and where the first one's offset lies."""

    count: str
    offset: str
    entry: str
    first: int


def _look_over(master: Master, at: int, form: _Form) -> list[int]:
    """Look over one directory; give the places of the next one and of one below."""
    width, size = struct.calcsize(form.entry), struct.calcsize(form.count)
    (count,) = struct.unpack(form.count, _read(master, size, at))
    if count > MOST_ENTRIES:
        return []
    others = []
    for code, _, items, value in struct.iter_unpack(form.entry, _read(master, count * width, at + size)):
        if code in PIECES and items > MOST_PIECES:
            msg = f"it names {items:,} pieces of its picture, more than any scan has; it is damaged"
            raise Damaged(msg)
        if code == BELOW and items > MOST_DIRECTORIES:
            msg = f"it names {items:,} directories below its own, more than any scan has; it is damaged"
            raise Damaged(msg)
        if code == BELOW and items == 1:
            others.append(value)
    link = _read(master, struct.calcsize(form.offset), at + size + count * width)
    return [struct.unpack(form.offset, link)[0], *others]


def _read(master: Master, count: int, at: int) -> bytes:
    return master.read(count, at) if at + count <= master.size else b""
