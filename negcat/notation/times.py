"""Times: the shutter's marked series, seconds, minutes and hours."""

import math
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from negcat.notation.numbers import AMOUNT, UnreadableError, amount_of, clean, refuse

_LONGEST_TIME: Final = 48 * 3600.0


@dataclass(frozen=True, slots=True)
class Time:
    """A time as marked, and the seconds it stands for.

    Parameters
    ----------
    text : the time as written, ``1/15``.
    seconds : the exact time in seconds, 0.0625 for ``1/15``.
    """

    text: str
    seconds: float

    def __str__(self) -> str:
        return self.text


# The marked series; 1/2 to 1/1000. Any other fraction is a time of its own (1/25 is 0.04 s).
_SERIES: Final = {2: 1, 4: 2, 8: 3, 15: 4, 30: 5, 60: 6, 125: 7, 250: 8, 500: 9, 1000: 10}

_UNITS: Final = {
    "h": 3600.0, "hr": 3600.0, "hrs": 3600.0, "hour": 3600.0, "hours": 3600.0,
    "m": 60.0, "min": 60.0, "mins": 60.0, "minute": 60.0, "minutes": 60.0, "'": 60.0,
    "s": 1.0, "sec": 1.0, "secs": 1.0, "second": 1.0, "seconds": 1.0, '"': 1.0,
    "ms": 0.001,
}  # fmt: skip
TIME_PART: Final = re.compile(
    rf" ?(?P<amount>{AMOUNT})(?: ?(?P<unit>{'|'.join(sorted(_UNITS, key=len, reverse=True))})\.?(?![a-z]))?"
)
CLOCK: Final = re.compile(
    r"(?:(?P<h>[0-9]+):(?P<mm>[0-5][0-9])|(?P<m>[0-9]+)):(?P<s>[0-5][0-9](?:\.[0-9]+)?)"
)
_MARKED_TIME: Final = re.compile(r"1 ?/ ?(?P<mark>[0-9]+)")
PRIMES: Final = str.maketrans({"″": '"', "”": '"', "“": '"', "′": "'", "’": "'", "‘": "'"})
TIME_FORMS: Final = "write it as 1/15, 0.3, 4 s, 1m30s, 2 min or 1:30 (minutes:seconds)"


def parse_time(text: str | int | float) -> Time:
    """Read an exposure time or a developing time.

    The marked series 1/2, 1/4, 1/8, 1/15 … 1/1000 stands for 2^-k s; every other time, 1/25 and 0.3 and a
    second and longer, for itself. A bare number is seconds. With colons it is minutes:seconds (``1:30`` is
    90 s) or hours:minutes:seconds, the parts after the first in two digits; a fraction is never written so.

    Parameters
    ----------
    text : ``1/15``, ``1/15 s``, ``0.3``, ``½``, ``4 s``, ``4"``, ``1m30s``, ``1 m 30 s``, ``1'30"``,
        ``2 min``, ``1h``, ``1:30``, ``8.3 ms``; or a number of seconds.

    Returns
    -------
    Time with the mark and the exact seconds, more than 0 and at most 48 hours.

    Raises
    ------
    NotationError
        Where it can't be read, could be read in two ways, or is out of range.

    Notes
    -----
    Ray, *Applied Photographic Optics*, for the exact times behind the marked series.

    Examples
    --------
    >>> parse_time("1/15")
    Time(text='1/15', seconds=0.0625)
    >>> parse_time("1/25").seconds, parse_time("1m30s").seconds, parse_time("1:30").seconds
    (0.04, 90.0, 90.0)
    """
    marked, plain = clean(text, "a time")
    return _time(marked, plain)


@lru_cache(maxsize=4096)
def _time(marked: str, plain: str) -> Time:
    plain = plain.lower().translate(PRIMES).replace("''", '"')
    if plain in ("b", "t", "bulb"):
        refuse(marked, "a time", "write for how long the shutter was open, 12 s or 2m30s")
    try:
        seconds = _clock_time(plain)
        if seconds is None:
            seconds = _time_in_parts(plain)
    except UnreadableError as fault:
        refuse(marked, "a time", str(fault))
    if seconds is None:
        refuse(marked, "a time", TIME_FORMS)
    if not seconds > 0:
        refuse(marked, "a time", "it must be longer than 0 s")
    if not seconds <= _LONGEST_TIME:
        refuse(marked, "a time", "it is longer than 48 hours")
    return Time(marked, seconds)


def format_clock(seconds: float) -> str:
    """Write a developing time as a timer shows it, minutes and seconds.

    Examples
    --------
    >>> format_clock(660), format_clock(683.6), format_clock(59.7), format_clock(47)
    ('11:00', '11:24', '1:00', '0:47')
    """
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes}:{rest:02}"


def _clock_time(plain: str) -> float | None:
    match = CLOCK.fullmatch(plain)
    if match is None:
        return None
    if match["h"] is not None:
        return float(match["h"]) * 3600 + float(match["mm"]) * 60 + float(match["s"])
    return float(match["m"]) * 60 + float(match["s"])


def _time_in_parts(plain: str) -> float | None:
    """Read one amount, or hours, minutes and seconds one after the other, each with its unit."""
    parts: list[tuple[str, float | None]] = []
    at = 0
    while at < len(plain):
        match = TIME_PART.match(plain, at)
        if match is None:
            return None
        parts.append((match["amount"], _UNITS[match["unit"]] if match["unit"] else None))
        at = match.end()
    if len(parts) == 1:
        amount, unit = parts[0]
        return _one_amount(amount, 1.0 if unit is None else unit)
    total, before = 0.0, math.inf
    for place, (amount, unit) in enumerate(parts):
        last = place == len(parts) - 1
        if unit is None:
            # "1m30" and "1h30": the unit left out can only be the next smaller one.
            if not last or before not in (3600.0, 60.0) or "/" in amount:
                return None
            unit = before / 60
        value = amount_of(amount)
        if value is None or unit >= before or unit < 1:
            return None
        if not last and not value.is_integer():
            raise UnreadableError("only its last part may have a fraction")
        if place and value >= 60:
            raise UnreadableError("a part of 60 or more belongs to the next larger unit")
        total += value * unit
        before = unit
    return total


def _one_amount(amount: str, unit: float) -> float | None:
    marked = _MARKED_TIME.fullmatch(amount)
    if unit == 1.0 and marked and float(marked["mark"]) in _SERIES:
        return 2.0 ** -_SERIES[int(marked["mark"])]
    value = amount_of(amount)
    return None if value is None else value * unit


@lru_cache(maxsize=4096)
def format_time(seconds: float) -> str:
    """Write a time: the shutter mark where it is one, else seconds, minutes, hours.

    Parameters
    ----------
    seconds : more than 0.

    Returns
    -------
    Text that :func:`parse_time` reads back to within 0.5 %.

    Examples
    --------
    >>> format_time(0.0625), format_time(0.04), format_time(0.3), format_time(90), format_time(5400)
    ('1/15 s', '1/25 s', '0.3 s', '1 m 30 s', '1 h 30 m')
    """
    if seconds < 1:
        for mark, power in _SERIES.items():
            if abs(seconds * 2**power - 1) < 1e-4:
                return f"1/{mark} s"
        bottom = round(1 / seconds)
        if bottom not in _SERIES and bottom > 4 and abs(seconds * bottom - 1) < 0.004:
            return f"1/{bottom} s"
        return f"{float(f'{seconds:.3g}'):.12g} s" if seconds >= 1e-4 else f"{seconds * 1000:.3g} ms"
    if round(seconds, 1) < 60:
        return f"{float(f'{seconds:.3g}'):g} s"
    rounded = round(seconds)
    hours, minutes, left = rounded // 3600, rounded // 60 % 60, rounded % 60
    named = ((hours, "h"), (minutes, "m"), (left, "s"))
    return " ".join(f"{value} {unit}" for value, unit in named if value)
