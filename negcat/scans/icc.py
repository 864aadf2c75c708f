"""What an ICC profile says of itself (ICC.1:2022): its name, and how light follows code."""

import math
import struct

__all__ = ["icc_exponent", "icc_tag", "icc_text"]

MOST_TAGS = 100


def icc_tag(icc: bytes, signature: bytes) -> bytes:
    """Find the element of a tag; empty where the profile hasn't got it or is broken."""
    if len(icc) < 132:
        return b""
    count = min(struct.unpack_from(">I", icc, 128)[0], MOST_TAGS)
    for index in range(count):
        if len(icc) < 144 + 12 * index:
            break
        found, offset, size = struct.unpack_from(">4sII", icc, 132 + 12 * index)
        if found == signature:
            return icc[offset : offset + size]
    return b""


def icc_text(element: bytes) -> bytes | str:
    """Take the text out of a `desc` or `mluc` element; empty where it is neither or broken."""
    try:
        if element[:4] == b"desc":
            length = struct.unpack_from(">I", element, 8)[0]
            return element[12 : 12 + length]
        if element[:4] == b"mluc":
            length, begin = struct.unpack_from(">II", element, 20)
            return element[begin : begin + length].decode("utf-16-be", "replace")
    except struct.error:
        pass
    return b""


def icc_exponent(icc: bytes) -> float | None:
    """Tell by which power light follows code, from the grey or green tone curve at half code.

    Returns
    -------
    1 for codes proportional to light, 2.2 or so for a scan made for the screen. None where the profile has no
    such curve (it may hold tables in its place) or is broken.
    """
    curve = icc_tag(icc, b"kTRC") or icc_tag(icc, b"gTRC")
    try:
        light = _at_half(curve)
    except (struct.error, IndexError, ValueError, OverflowError, ZeroDivisionError):
        return None
    if light is None or not 0 < light < 1:
        return None
    return math.log(light) / math.log(0.5)


def _at_half(curve: bytes) -> float | None:
    """Evaluate a tone curve at half code; 0 to 1."""
    if curve[:4] == b"curv":
        count = struct.unpack_from(">I", curve, 8)[0]
        if count == 0:
            return 0.5
        if count == 1:
            return float(0.5 ** (struct.unpack_from(">H", curve, 12)[0] / 256))
        place = (count - 1) // 2
        low, high = struct.unpack_from(">HH", curve, 12 + 2 * place)
        return float(low if count % 2 else (low + high) / 2) / 65535
    if curve[:4] == b"para":
        kind = struct.unpack_from(">H", curve, 8)[0]
        count = (1, 3, 4, 5, 7)[kind]
        fixed = (*struct.unpack_from(f">{count}i", curve, 12), 0, 0, 0, 0, 0, 0)[:7]
        g, a, b, c, d, e, f = (value / 65536 for value in fixed)
        x = 0.5
        if kind == 0:
            return float(x**g)
        if kind in {1, 2}:
            # here c is what is added on both sides of the break
            return float((a * x + b) ** g if x >= -b / a else 0.0) + (c if kind == 2 else 0.0)
        return float((a * x + b) ** g + e) if x >= d else c * x + f
    return None
