"""Formats of sheet film and plates: ``4x5``, ``13x18cm``, ``whole plate`` → width and height in mm."""

import re
from functools import lru_cache

__all__ = ["FORMATS_UNDERSTOOD", "FORMAT_PATTERN", "film_size_mm"]

MM_PER_INCH = 25.4

FORMATS_UNDERSTOOD = (
    "4x5, 5x7, 8x10 (inches), 9x12, 13x18cm, 100x125mm, whole plate, half plate or quarter plate"
)

# The plate sizes that go by a name, in inches, upright.
_NAMED_INCHES = {
    "whole plate": (6.5, 8.5),
    "full plate": (6.5, 8.5),
    "half plate": (4.75, 6.5),
    "quarter plate": (3.25, 4.25),
}

# Bare pairs of numbers: the trade knows without a unit which are inches and which are centimetres. A pair in
# neither list needs its unit written, because 10x12 might be either.
_BARE_INCHES = {
    (2.25, 3.25), (3.25, 4.25), (4, 5), (4.75, 6.5), (4, 10), (5, 7), (5, 8), (5, 12), (6.5, 8.5), (7, 11),
    (7, 17), (8, 10), (8, 20), (11, 14), (12, 20), (14, 17), (16, 20), (20, 24),
}  # fmt: skip
_BARE_CENTIMETRES = {
    (4.5, 6), (6, 6), (6, 7), (6, 8), (6, 9), (6.5, 9), (6, 12), (6, 17), (6, 24), (9, 12), (10, 15),
    (12, 16.5), (13, 18), (18, 24), (24, 30), (30, 40), (40, 50),
}  # fmt: skip

_NUMBER = r"(\d{1,4}(?:\.\d{1,3})?)\s*([¼½¾]|[13]/4|1/2)?"
_UNIT = r"""(mm|cm|in|inch|inches|"|″)?"""
_PAIR = re.compile(rf"{_NUMBER}\s*{_UNIT}\s*[x×*]\s*{_NUMBER}\s*{_UNIT}")
FORMAT_PATTERN = (
    rf"{_PAIR.pattern}|(?:{'|'.join(named.replace(' ', '[ -]') for named in _NAMED_INCHES)})(?: size)?"
)
"""What a format looks like, capitals aside; whether its unit is known is told by :func:`film_size_mm`."""

_QUARTERS = {"¼": 0.25, "1/4": 0.25, "½": 0.5, "1/2": 0.5, "¾": 0.75, "3/4": 0.75}
_SMALLEST_MM, _LARGEST_MM = 10.0, 1500.0


@lru_cache(maxsize=1024)
def film_size_mm(text: str) -> tuple[float, float] | None:
    """Nominal width and height of a format.

    Parameters
    ----------
    text : a format as a photographer writes it. A pair without a unit is in inches where the trade knows it
        as an inch format (``4x5``), in centimetres where it knows it as a metric one (``13x18``).

    Returns
    -------
    (width, height) in mm in the order written, or None where the text is no format or its unit is open.

    Examples
    --------
    >>> film_size_mm("4x5")
    (101.6, 127.0)
    >>> film_size_mm("13x18cm")
    (130.0, 180.0)
    >>> film_size_mm("whole plate")
    (165.1, 215.9)
    >>> film_size_mm("10x12") is None
    True
    """
    plain = " ".join(text.casefold().split())
    if named := _NAMED_INCHES.get(plain.replace("-", " ").removesuffix(" size")):
        return _in_mm(named, MM_PER_INCH)
    match = _PAIR.fullmatch(plain)
    if match is None:
        return None
    number_1, part_1, unit_1, number_2, part_2, unit_2 = match.groups()
    pair = (
        float(number_1) + _QUARTERS.get(part_1 or "", 0.0),
        float(number_2) + _QUARTERS.get(part_2 or "", 0.0),
    )
    units = {_mm_of(unit) for unit in (unit_1, unit_2) if unit}
    if len(units) > 1:
        return None
    if units:
        size = _in_mm(pair, units.pop())
    elif _upright(pair) in _BARE_INCHES:
        size = _in_mm(pair, MM_PER_INCH)
    elif _upright(pair) in _BARE_CENTIMETRES:
        size = _in_mm(pair, 10.0)
    else:
        return None
    return size if all(_SMALLEST_MM <= side <= _LARGEST_MM for side in size) else None


def _mm_of(unit: str) -> float:
    return {"mm": 1.0, "cm": 10.0}.get(unit, MM_PER_INCH)


def _upright(pair: tuple[float, float]) -> tuple[float, float]:
    return (min(pair), max(pair))


def _in_mm(pair: tuple[float, float], mm: float) -> tuple[float, float]:
    return (round(pair[0] * mm, 3), round(pair[1] * mm, 3))
