"""How large a picture may be, and how much of it so few bytes can hold.

A file of a few bytes can declare a picture that no memory holds. What is refused here is refused by what the file
declares, before anything is decoded.
"""

from typing import Final

from negcat.scans.files import Damaged

__all__ = [
    "LARGEST_WHOLE",
    "LIMIT_PIXELS",
    "LONGEST_SIDE",
    "SMALLEST_SIDE",
    "check_growth",
    "check_size",
    "check_whole",
]

LIMIT_PIXELS: Final = 4_000_000_000
"""The largest picture taken, in pixels: 20 × 24 inches at 2,880 dpi. What declares more is no scan."""

LONGEST_SIDE: Final = 300_000
"""Pixels along the longer side at most: 24 inches at 12,500 dpi. What is gathered of a picture is as wide as it is."""

SMALLEST_SIDE: Final = 16
"""Pixels along the shorter side, below which there is nothing to measure."""

LARGEST_WHOLE: Final = 4 << 30
"""Bytes that are decoded at once at most: of a PNG, a JPEG or a raw file all of it, of a TIFF one strip or tile."""

MOST_GROWTH: Final = {
    "none": 1,
    "packbits": 64,  # 128 bytes of two
    "deflate": 1032,  # 258 bytes of two bits
    "lzw": 2600,  # the longest string of a full table, 3,837 bytes, of 12 bits
    "jpeg": 2000,  # 64 pixels of a bit, in three channels: 1,536
    "lzma": 10_000,
    "zstd": 33_000,  # a block of 128 kB of four bytes
}
"""Decoded bytes that one stored byte can stand for, by compression."""

DULL_FROM: Final = 256 << 20
"""Decoded bytes from which on a picture must hold more than evenness."""

DULL_GROWTH: Final = 200
"""Decoded bytes for each stored one in a large picture. Film has grain, and even blank glass a lamp's fall-off."""

SLACK: Final = 1 << 20


def check_size(width: int, height: int) -> None:
    """Refuse, as Damaged, a picture too small to measure or larger than any scan."""
    if min(width, height) < SMALLEST_SIDE:
        msg = f"the picture is only {width} × {height} pixels; take the full-size scan"
        raise Damaged(msg)
    if width * height > LIMIT_PIXELS:
        msg = (
            f"it declares {width} × {height} pixels, more than the {LIMIT_PIXELS // 10**9} thousand million "
            "that any scan has; the file is damaged or not a scan"
        )
        raise Damaged(msg)
    if max(width, height) > LONGEST_SIDE:
        msg = (
            f"it declares {width} × {height} pixels, longer than the {LONGEST_SIDE:,} of any scan; the file is "
            "damaged or not a scan"
        )
        raise Damaged(msg)


def check_growth(compression: str, stored: int, decoded: int) -> None:
    """Refuse, as Damaged, so few bytes that they can't hold so large a picture.

    Parameters
    ----------
    compression : as `ScanHeader.compression`.
    stored : bytes of the file that hold the picture.
    decoded : bytes of the picture.
    """
    dull = decoded > DULL_FROM and compression != "none" and decoded > DULL_GROWTH * stored
    if dull or decoded > MOST_GROWTH[compression] * stored + SLACK:
        msg = (
            f"its {_amount(stored)} are far too short for the {_amount(decoded)} that it declares; it is damaged or "
            "not a scan"
        )
        raise Damaged(msg)


def check_whole(size: int, what: str) -> None:
    """Refuse, as Damaged, more bytes than are decoded at once.

    Parameters
    ----------
    size : bytes of it, decoded or stored.
    what : what is decoded, ``a PNG``.
    """
    if size > LARGEST_WHOLE:
        msg = (
            f"{what} is decoded at once, and {_amount(size)} are more than the {_amount(LARGEST_WHOLE)} that is done "
            "with; save it as a TIFF in strips or tiles"
        )
        raise Damaged(msg)


def _amount(size: int) -> str:
    """Write a number of bytes in the unit that fits it.

    Examples
    --------
    >>> _amount(900), _amount(5_200_000), _amount(4 << 30)
    ('900 bytes', '5.2 MB', '4.29 GB')
    """
    for factor, unit in ((10**9, "GB"), (10**6, "MB"), (10**3, "kB")):
        if size >= factor:
            return f"{size / factor:.3g} {unit}"
    return f"{size} bytes"
