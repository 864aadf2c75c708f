"""Stops: the marks of the full, half and third scales, and the exact f-numbers behind them."""

import math
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from negcat.notation.numbers import (
    CLOSE,
    DECIMAL,
    UnreadableError,
    clean,
    decimal_of,
    part_of,
    refuse,
    with_part,
)

_STOP_RANGE: Final = (0.5, 1024.0)


@dataclass(frozen=True, slots=True)
class Stop:
    """A stop as marked, and the f-number it stands for.

    Parameters
    ----------
    text : the mark as written, ``22½``.
    f_number : the exact f-number, 26.909 for ``22½``.
    """

    text: str
    f_number: float

    def __str__(self) -> str:
        return self.text


# The full scale as engraved; 181, 362 and 724 are the same three stops rounded instead of simplified.
FULL_MARKS: Final = (
    "0.5 0.7 1 1.4 2 2.8 4 5.6 8 11 16 22 32 45 64 90 128 180 181 256 360 362 512 720 724 1024"
)
_HALF_MARKS: Final = (
    "0.6 0.8 0.84 1.2 1.7 2.4 3.3 3.4 4.8 6.7 9.5 13 19 27 38 54 76 107 108 152 215 304 430 431 609 861"
)
_THIRD_MARKS: Final = (
    "0.56 0.6 0.63 0.8 0.9 1.1 1.2 1.3 1.6 1.8 2.2 2.5 3.2 3.5 4.5 5 6.3 7.1 9 10 13 14 18 20 25 29 36 40 "
    "51 57 72 80 81 102 114 144 161 203 228 287 322 323 406 456 575 645 813 912"
)


def _nearest(mark: float, steps_per_doubling: int) -> float:
    """Return the value of 2^(k/steps_per_doubling) nearest to a mark."""
    return float(2.0 ** (round(math.log2(mark) * steps_per_doubling) / steps_per_doubling))


def _nearest_half(mark: float) -> float:
    return float(2.0 ** ((2 * round(math.log2(mark) * 2 - 0.5) + 1) / 4))


def _exact_stops() -> tuple[dict[float, float], dict[float, float]]:
    """Map marks to exact f-numbers: the full scale, and all three scales together."""
    full = {float(mark): _nearest(float(mark), 2) for mark in FULL_MARKS.split()}
    every: dict[float, float] = {}
    for marks, exact in ((_HALF_MARKS, _nearest_half), (_THIRD_MARKS, lambda mark: _nearest(mark, 6))):
        for text in marks.split():
            mark = float(text)
            candidates = [exact(mark), *([every[mark]] if mark in every else [])]
            # 13 and 1.2 stand on the half and on the third scale: the nearer exact value is meant.
            every[mark] = min(candidates, key=lambda value: abs(math.log2(value / mark)))
    return full, every | full


_FULL_STOPS, _STOPS = _exact_stops()

_STOP: Final = re.compile(
    rf"(?:[fFƒ] ?[/:.]? ?)?(?P<mark>{DECIMAL})"
    r"(?: ?\+ ?(?P<tenths>0?[.,][0-9]+)| ?[+ ] ?(?P<top>[0-9]+) ?/ ?(?P<bottom>[0-9]+))?"
)
STOP_FORMS: Final = "write it as 22, f/22, 6.8, 22½, 22 1/2 or 22+1/3"


def parse_stop(text: str | int | float) -> Stop:
    """Read a stop.

    A mark of the full, half or third scale stands for its exact value; any other number for itself. A
    fraction after a full-scale mark is that part of a stop further closed.

    Parameters
    ----------
    text : ``22``, ``f/22``, ``F22``, ``6.8``, ``22½``, ``22 1/2``, ``22+1/3``, ``22 2/3``, ``22+0.3``;
        or a number.

    Returns
    -------
    Stop with the mark and the exact f-number, 0.5 to 1024.

    Raises
    ------
    NotationError
        Where it can't be read, is out of range, or has a fraction after a stop that is not on the full scale.

    Notes
    -----
    Ray, *Applied Photographic Optics*: the exact values 2^(k/2), 2^(k/2 + 1/4), 2^(k/6). The few marks that
    stand on both the half and the third scale (13, 1.2, 0.8, 0.6) stand for the nearer exact value.

    Examples
    --------
    >>> round(parse_stop("f/22").f_number, 3)
    22.627
    >>> round(parse_stop("22½").f_number, 3), parse_stop("22.5").f_number
    (26.909, 22.5)
    >>> parse_stop("6.8")
    Stop(text='6.8', f_number=6.8)
    """
    marked, plain = clean(text, "a stop")
    return _stop(marked, plain)


@lru_cache(maxsize=4096)
def _stop(marked: str, plain: str) -> Stop:
    match = _STOP.fullmatch(plain)
    if match is None:
        refuse(marked, "a stop", STOP_FORMS)
    try:
        mark = decimal_of(match["mark"])
        beyond = 0.0
        if match["tenths"]:
            beyond = decimal_of(match["tenths"])
        elif match["top"]:
            beyond = part_of(match["top"], match["bottom"])
    except UnreadableError as fault:
        refuse(marked, "a stop", str(fault))
    if match["tenths"] or match["top"]:
        if mark not in _FULL_STOPS:
            refuse(
                marked,
                "a stop",
                "a fraction may follow a stop of the full scale only (… 5.6, 8, 11, 16, 22 …); "
                "write the f-number itself instead",
            )
        value = _FULL_STOPS[mark] * 2.0 ** (beyond / 2)
    else:
        value = _STOPS.get(mark, mark)
    low, high = _STOP_RANGE
    if not low <= value <= high:
        refuse(marked, "a stop", f"f-numbers from {low:g} to {high:g} are understood")
    return Stop(marked, value)


@lru_cache(maxsize=4096)
def format_stop(f_number: float) -> str:
    """Write an f-number as a stop: a full stop and its halves and thirds where it is one, else in figures.

    Parameters
    ----------
    f_number : more than 0.

    Returns
    -------
    Text that :func:`parse_stop` reads back to within 0.005 stop, over its range. (The one exception: a true
    f-number that looks like a mark, 22.0, has no notation of its own.)

    Examples
    --------
    >>> format_stop(2**4.5), format_stop(2**4.75), format_stop(6.8)
    ('f/22', 'f/22½', 'f/6.8')
    """
    stops = 2 * math.log2(f_number)
    if math.floor(stops + CLOSE) >= -2 and (split := with_part(stops + 2, CLOSE)) is not None:
        whole, part = split
        mark = next((mark for mark, exact in _FULL_STOPS.items() if exact == 2.0 ** ((whole - 2) / 2)), None)
        if mark is not None:
            return f"f/{mark:g}{part}"
    for digits in range(3, 7):
        value = float(f"{f_number:.{digits}g}")
        if abs(2 * math.log2(_STOPS.get(value, value) / f_number)) <= CLOSE:
            break
    return f"f/{value:.12g}"
