"""What people write on a field record, and the exact value it stands for.

Stops, times, tags and zones are written in the trade's shorthand: ``22½`` is half a stop past f/22, ``1/15``
is the shutter mark that stands for 1/16 s, ``N-1½`` is a development, ``III½`` a zone. Every ``parse_…``
function keeps the marked text beside the value, because the text is what the photographer will look for
again; every ``format_…`` function writes a value so that it can be read back.

The exact values behind the marks are those of Ray, *Applied Photographic Optics*: full stops 2^(k/2), halves
a further 2^(1/4), thirds a further 2^(1/6), times 2^-k s.

What is refused is refused because it could be read in two ways: ``221/2`` (a space lost, or 110.5?),
``22-1/3`` (a dash, or a third of a stop less?), ``1,000`` (one, or a thousand?).
"""

import math
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, NoReturn

from negcat.errors import NotationError

__all__ = [
    "SHEET_ID",
    "Stop",
    "Tag",
    "Time",
    "Zone",
    "format_stop",
    "format_stops",
    "format_tag",
    "format_time",
    "format_zone",
    "parse_number",
    "parse_stop",
    "parse_tag",
    "parse_time",
    "parse_zone",
]

SHEET_ID: Final = re.compile(r"[A-Za-z0-9._-]+")
"""The id of a sheet; use it with ``fullmatch``."""


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


@dataclass(frozen=True, slots=True)
class Tag:
    """The development a sheet is tagged for.

    Parameters
    ----------
    text : the tag in its one canonical form (``N``, ``N+1``, ``N-1½``), so that equal tags have equal text.
    n : the number after N, −5 to +4.
    """

    text: str
    n: float

    def __str__(self) -> str:
        return self.text


@dataclass(frozen=True, slots=True)
class Zone:
    """A zone as written, and its number.

    Parameters
    ----------
    text : the zone as written, ``III½``.
    value : its number on the scale 0 to 10, 3.5 for ``III½``.
    """

    text: str
    value: float

    def __str__(self) -> str:
        return self.text


# --- The marks and what they stand for -------------------------------------------------------------

_STOP_RANGE: Final = (0.5, 1024.0)
_LONGEST_TIME: Final = 48 * 3600.0
_TAG_RANGE: Final = (-5.0, 4.0)
_ZONE_RANGE: Final = (0.0, 10.0)

# The full scale as engraved; 181, 362 and 724 are the same three stops rounded instead of simplified.
_FULL_MARKS: Final = (
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
    full = {float(mark): _nearest(float(mark), 2) for mark in _FULL_MARKS.split()}
    every: dict[float, float] = {}
    for marks, exact in ((_HALF_MARKS, _nearest_half), (_THIRD_MARKS, lambda mark: _nearest(mark, 6))):
        for text in marks.split():
            mark = float(text)
            candidates = [exact(mark), *([every[mark]] if mark in every else [])]
            # 13 and 1.2 stand on the half and on the third scale: the nearer exact value is meant.
            every[mark] = min(candidates, key=lambda value: abs(math.log2(value / mark)))
    return full, every | full


_FULL_STOPS, _STOPS = _exact_stops()

# The marked series; 1/2 to 1/1000. Any other fraction is a time of its own (1/25 is 0.04 s).
_SERIES: Final = {2: 1, 4: 2, 8: 3, 15: 4, 30: 5, 60: 6, 125: 7, 250: 8, 500: 9, 1000: 10}

# --- Reading: characters, numbers, fractions -------------------------------------------------------

_VULGAR: Final = {
    "½": (1, 2), "⅓": (1, 3), "⅔": (2, 3), "¼": (1, 4), "¾": (3, 4), "⅕": (1, 5), "⅖": (2, 5), "⅗": (3, 5),
    "⅘": (4, 5), "⅙": (1, 6), "⅚": (5, 6), "⅛": (1, 8), "⅜": (3, 8), "⅝": (5, 8), "⅞": (7, 8), "⅒": (1, 10),
}  # fmt: skip
# Spaces on both sides: "22½" is 22 1/2 and never 221/2, and "½5" must not become 1/25.
_CHARACTERS: Final = str.maketrans(
    {sign: f" {top}/{bottom} " for sign, (top, bottom) in _VULGAR.items()}
    | dict.fromkeys("−–—‐‑‒﹣－", "-")
    | {"⁄": "/", "∕": "/", "＋": "+"}
)
_TOO_LONG: Final = 60

_DECIMAL: Final = r"(?:[0-9]+(?:\.[0-9]*|,[0-9]+)?|[.,][0-9]+)"
_FRACTION: Final = r"[0-9]+ ?/ ?[0-9]+"
_AMOUNT: Final = rf"(?:{_DECIMAL} ?[+ ] ?{_FRACTION}|{_FRACTION}|{_DECIMAL})"
_AMOUNT_PARTS: Final = re.compile(
    rf"(?:(?P<whole>{_DECIMAL}) ?[+ ] ?)?(?P<top>[0-9]+) ?/ ?(?P<bottom>[0-9]+)|(?P<decimal>{_DECIMAL})"
)


class _UnreadableError(Exception):
    """Why a piece of text can't be read, as the second half of a sentence."""


def _clean(text: str | int | float, kind: str) -> tuple[str, str]:
    """Return the text as marked (stripped) and in plain characters with single spaces."""
    if isinstance(text, bool) or not isinstance(text, str | int | float):
        raise NotationError(f"{text!r} is not {kind}: a number or a text is wanted.")
    if isinstance(text, int | float):
        marked = f"{text:d}" if isinstance(text, int) else repr(text).removesuffix(".0")
    else:
        marked = text.strip()
    if not marked:
        raise NotationError(f"blank is not {kind}: fill it in, or leave the field out.")
    if len(marked) > _TOO_LONG:
        raise NotationError(f"“{marked[:30]}…” is not {kind}: it is far too long.")
    return marked, " ".join(marked.translate(_CHARACTERS).split())


def _decimal(text: str) -> float:
    whole, comma, part = text.partition(",")
    if comma and len(part) == 3 and whole.strip("0"):
        raise _UnreadableError(
            "with that comma it can be read in two ways; write a decimal point, or no comma"
        )
    return float(text.replace(",", "."))


def _part(top: str, bottom: str) -> float:
    if not float(bottom):
        raise _UnreadableError("a fraction can't be divided by 0")
    if not 0 < float(top) < float(bottom):
        raise _UnreadableError(
            "a fraction must lie between 0 and 1; write a whole number before it with a space (1 1/2)"
        )
    return float(top) / float(bottom)


def _amount(text: str) -> float | None:
    """Read ``1.5``, ``1/2``, ``1 1/2`` or ``1+1/2``; None where it is none of these."""
    match = _AMOUNT_PARTS.fullmatch(text)
    if match is None:
        return None
    if match["decimal"] is not None:
        return _decimal(match["decimal"])
    if match["whole"] is None:
        return _part(match["top"], match["bottom"])
    whole = _decimal(match["whole"])
    if not whole.is_integer():
        raise _UnreadableError("a fraction may follow a whole number only")
    return whole + _part(match["top"], match["bottom"])


def _refuse(marked: str, kind: str, why: str) -> NoReturn:
    raise NotationError(f"“{marked}” is not {kind}: {why}.")


# --- Numbers ---------------------------------------------------------------------------------------

_SIGNED: Final = re.compile(rf"(?P<sign>[+-]?) ?(?P<amount>{_AMOUNT})(?P<power>[eE][+-]?[0-9]{{1,3}})?")
_NUMBER_FORMS: Final = "write it as 12.3, 12 1/3, 12⅓ or -0.5"


def parse_number(text: str | int | float) -> float:
    """Read a number as people write it.

    Parameters
    ----------
    text : ``12.3``, ``12⅓``, ``12 1/3``, ``12+1/3``, ``½``, ``−0.5`` (any minus sign), ``0,5``, ``1e-3``;
        or a number.

    Returns
    -------
    The number, finite.

    Raises
    ------
    NotationError
        Where it is no number, or could be read in two ways.

    Examples
    --------
    >>> parse_number("12⅓") == 12 + 1 / 3
    True
    >>> parse_number("−1 1/2")
    -1.5
    """
    marked, plain = _clean(text, "a number")
    match = _SIGNED.fullmatch(plain)
    if match is None:
        _refuse(marked, "a number", _NUMBER_FORMS)
    try:
        value = _amount(match["amount"])
    except _UnreadableError as fault:
        _refuse(marked, "a number", str(fault))
    if value is not None and match["power"]:
        # The whole text at once, so that 1e-3 is the same number as in the programs that wrote it.
        value = None if "/" in plain else float(match["amount"].replace(",", ".") + match["power"])
    if value is None:
        _refuse(marked, "a number", _NUMBER_FORMS)
    if not math.isfinite(value):
        _refuse(marked, "a number", "it is out of all range")
    return -value if match["sign"] == "-" else value


# --- Stops -----------------------------------------------------------------------------------------

_STOP: Final = re.compile(
    rf"(?:[fFƒ] ?[/:.]? ?)?(?P<mark>{_DECIMAL})"
    r"(?: ?\+ ?(?P<tenths>0?[.,][0-9]+)| ?[+ ] ?(?P<top>[0-9]+) ?/ ?(?P<bottom>[0-9]+))?"
)
_STOP_FORMS: Final = "write it as 22, f/22, 6.8, 22½, 22 1/2 or 22+1/3"


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
    marked, plain = _clean(text, "a stop")
    return _stop(marked, plain)


@lru_cache(maxsize=4096)
def _stop(marked: str, plain: str) -> Stop:
    match = _STOP.fullmatch(plain)
    if match is None:
        _refuse(marked, "a stop", _STOP_FORMS)
    try:
        mark = _decimal(match["mark"])
        beyond = 0.0
        if match["tenths"]:
            beyond = _decimal(match["tenths"])
        elif match["top"]:
            beyond = _part(match["top"], match["bottom"])
    except _UnreadableError as fault:
        _refuse(marked, "a stop", str(fault))
    if match["tenths"] or match["top"]:
        if mark not in _FULL_STOPS:
            _refuse(
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
        _refuse(marked, "a stop", f"f-numbers from {low:g} to {high:g} are understood")
    return Stop(marked, value)


# --- Times -----------------------------------------------------------------------------------------

_UNITS: Final = {
    "h": 3600.0, "hr": 3600.0, "hrs": 3600.0, "hour": 3600.0, "hours": 3600.0,
    "m": 60.0, "min": 60.0, "mins": 60.0, "minute": 60.0, "minutes": 60.0, "'": 60.0,
    "s": 1.0, "sec": 1.0, "secs": 1.0, "second": 1.0, "seconds": 1.0, '"': 1.0,
    "ms": 0.001,
}  # fmt: skip
_TIME_PART: Final = re.compile(
    rf" ?(?P<amount>{_AMOUNT})(?: ?(?P<unit>{'|'.join(sorted(_UNITS, key=len, reverse=True))})\.?(?![a-z]))?"
)
_CLOCK: Final = re.compile(
    r"(?:(?P<h>[0-9]+):(?P<mm>[0-5][0-9])|(?P<m>[0-9]+)):(?P<s>[0-5][0-9](?:\.[0-9]+)?)"
)
_MARKED_TIME: Final = re.compile(r"1 ?/ ?(?P<mark>[0-9]+)")
_PRIMES: Final = str.maketrans({"″": '"', "”": '"', "“": '"', "′": "'", "’": "'", "‘": "'"})
_TIME_FORMS: Final = "write it as 1/15, 0.3, 4 s, 1m30s, 2 min or 1:30 (minutes:seconds)"


def parse_time(text: str | int | float) -> Time:
    """Read an exposure time or a developing time.

    The marked series 1/2, 1/4, 1/8, 1/15 … 1/1000 stands for 2^-k s; every other time, 1/25 and 0.3 and a
    second and longer, for itself. A bare number is seconds. With colons it is minutes:seconds (``1:30`` is
    90 s) or hours:minutes:seconds, the parts after the first in two digits; a fraction is never written so.

    Parameters
    ----------
    text : ``1/15``, ``1/15 s``, ``0.3``, ``½``, ``4 s``, ``4"``, ``1m30s``, ``1 m 30 s``, ``1'30"``, ``2 min``,
        ``1h``, ``1:30``, ``8.3 ms``; or a number of seconds.

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
    marked, plain = _clean(text, "a time")
    return _time(marked, plain)


@lru_cache(maxsize=4096)
def _time(marked: str, plain: str) -> Time:
    plain = plain.lower().translate(_PRIMES).replace("''", '"')
    if plain in ("b", "t", "bulb"):
        _refuse(marked, "a time", "write for how long the shutter was open, 12 s or 2m30s")
    try:
        seconds = _clock_time(plain)
        if seconds is None:
            seconds = _time_in_parts(plain)
    except _UnreadableError as fault:
        _refuse(marked, "a time", str(fault))
    if seconds is None:
        _refuse(marked, "a time", _TIME_FORMS)
    if not seconds > 0:
        _refuse(marked, "a time", "it must be longer than 0 s")
    if not seconds <= _LONGEST_TIME:
        _refuse(marked, "a time", "it is longer than 48 hours")
    return Time(marked, seconds)


def _clock_time(plain: str) -> float | None:
    match = _CLOCK.fullmatch(plain)
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
        match = _TIME_PART.match(plain, at)
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
        value = _amount(amount)
        if value is None or unit >= before or unit < 1:
            return None
        if not last and not value.is_integer():
            raise _UnreadableError("only its last part may have a fraction")
        if place and value >= 60:
            raise _UnreadableError("a part of 60 or more belongs to the next larger unit")
        total += value * unit
        before = unit
    return total


def _one_amount(amount: str, unit: float) -> float | None:
    marked = _MARKED_TIME.fullmatch(amount)
    if unit == 1.0 and marked and float(marked["mark"]) in _SERIES:
        return 2.0 ** -_SERIES[int(marked["mark"])]
    value = _amount(amount)
    return None if value is None else value * unit


# --- Tags ------------------------------------------------------------------------------------------

_TAG: Final = re.compile(rf"[nN]?(?: ?(?P<sign>[+-]) ?(?P<amount>{_AMOUNT}))?")
_TAG_FORMS: Final = "write it as N, N+1, N-2, N+1/2 or N-1½"


def parse_tag(text: str | int | float) -> Tag:
    """Read a development tag.

    Parameters
    ----------
    text : ``N``, ``N+1``, ``N-2``, ``N−1½`` (any minus sign), ``N+1/2``, ``n + 1``, or the signed number
        alone, ``+1``.

    Returns
    -------
    Tag whose text is canonical: equal tags have equal text.

    Raises
    ------
    NotationError
        Where it can't be read or lies outside N−5 to N+4.

    Examples
    --------
    >>> parse_tag("N − 1 1/2")
    Tag(text='N-1½', n=-1.5)
    >>> parse_tag("N+1/2").text
    'N+½'
    """
    marked, plain = _clean(text, "a tag")
    match = _TAG.fullmatch("N" if plain.lower() == "normal" else plain)
    if match is None:
        _refuse(marked, "a tag", _TAG_FORMS)
    n = 0.0
    if match["amount"]:
        try:
            n = _amount(match["amount"]) or 0.0
        except _UnreadableError as fault:
            _refuse(marked, "a tag", str(fault))
        n = -n if match["sign"] == "-" else n
    low, high = _TAG_RANGE
    if not low <= n <= high:
        _refuse(marked, "a tag", "N-5 to N+4 are understood")
    return Tag(format_tag(n), n + 0.0)


# --- Zones -----------------------------------------------------------------------------------------

_ROMAN: Final = ("0", "I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX", "X")
_ROMAN_VALUES: Final = {numeral: float(value) for value, numeral in enumerate(_ROMAN)}
_ROMAN_SIGNS: Final = str.maketrans(dict(zip("ⅠⅡⅢⅣⅤⅥⅦⅧⅨⅩ", _ROMAN[1:], strict=True)))
_ZONE: Final = re.compile(
    r"(?:zone ?|z ?)?(?:(?P<roman>[IVX]+)(?: ?[+ ] ?(?P<top>[0-9]+) ?/ ?(?P<bottom>[0-9]+))?"
    rf"|(?P<amount>{_AMOUNT}))",
    re.IGNORECASE,
)
_ZONE_FORMS: Final = "write it as 4, IV, 3.5, III½ or 3 1/3"


def parse_zone(text: str | int | float) -> Zone:
    """Read a zone.

    Parameters
    ----------
    text : ``4``, ``IV``, ``3.5``, ``III½``, ``III 1/2``, ``3 1/3``, ``Zone IV``; or a number.

    Returns
    -------
    Zone with its number, 0 to 10.

    Raises
    ------
    NotationError
        Where it can't be read or lies outside 0 to 10.

    Examples
    --------
    >>> parse_zone("III½")
    Zone(text='III½', value=3.5)
    """
    marked, plain = _clean(text, "a zone")
    match = _ZONE.fullmatch(plain.translate(_ROMAN_SIGNS))
    if match is None:
        _refuse(marked, "a zone", _ZONE_FORMS)
    try:
        if match["roman"]:
            value = _ROMAN_VALUES.get(match["roman"].upper())
            if value is not None and match["top"]:
                value += _part(match["top"], match["bottom"])
        else:
            value = _amount(match["amount"])
    except _UnreadableError as fault:
        _refuse(marked, "a zone", str(fault))
    if value is None:
        _refuse(marked, "a zone", _ZONE_FORMS)
    low, high = _ZONE_RANGE
    if not low <= value <= high:
        _refuse(marked, "a zone", "zones run from 0 to 10 (X)")
    return Zone(marked, value)


# --- Writing ---------------------------------------------------------------------------------------

_PARTS: Final = ((0.0, ""), (1 / 3, "⅓"), (0.5, "½"), (2 / 3, "⅔"))
_CLOSE: Final = 0.005


def _with_part(size: float, close: float) -> tuple[int, str] | None:
    """Split a size ≥ 0 into a whole number and a half or third, where it is that close to one."""
    for whole in {math.floor(size), math.floor(size + close)}:
        for part, sign in _PARTS:
            if abs(size - whole - part) <= close:
                return whole, sign
    return None


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
    if math.floor(stops + _CLOSE) >= -2 and (split := _with_part(stops + 2, _CLOSE)) is not None:
        whole, part = split
        mark = next((mark for mark, exact in _FULL_STOPS.items() if exact == 2.0 ** ((whole - 2) / 2)), None)
        if mark is not None:
            return f"f/{mark:g}{part}"
    for digits in range(3, 7):
        text = f"{f_number:.{digits}g}"
        value = float(text)
        if abs(2 * math.log2(_STOPS.get(value, value) / f_number)) <= _CLOSE:
            return f"f/{text}"
    return f"f/{f_number:.3g}"


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
        if bottom not in _SERIES and bottom > 4 and abs(seconds * bottom - 1) < 1e-4:
            return f"1/{bottom} s"
        return f"{float(f'{seconds:.3g}'):.12g} s" if seconds >= 1e-4 else f"{seconds * 1000:.3g} ms"
    if round(seconds, 1) < 60:
        return f"{float(f'{seconds:.3g}'):g} s"
    rounded = round(seconds)
    hours, minutes, left = rounded // 3600, rounded // 60 % 60, rounded % 60
    named = ((hours, "h"), (minutes, "m"), (left, "s"))
    return " ".join(f"{value} {unit}" for value, unit in named if value)


def format_tag(n: float) -> str:
    """Write the canonical tag: equal tags, equal text, with a plain minus sign so that it can be typed.

    Parameters
    ----------
    n : the number after N.

    Returns
    -------
    ``N``, ``N+1``, ``N-1½``, ``N+0.4``.

    Examples
    --------
    >>> format_tag(0), format_tag(1), format_tag(-1.5), format_tag(0.4)
    ('N', 'N+1', 'N-1½', 'N+0.4')
    """
    split = _with_part(abs(n), 1e-9)
    if split is None:
        size = f"{abs(n):.6g}"
    else:
        whole, part = split
        size = f"{whole}{part}" if whole or not part else part
    return "N" if size == "0" else f"N{'-' if n < 0 else '+'}{size}"


def format_zone(value: float) -> str:
    """Write a zone for people: Roman with halves and thirds where it is one, else to a tenth.

    Parameters
    ----------
    value : any number; a zone that was given may lie below 0 or above 10.

    Returns
    -------
    ``III½``, ``IV``, ``4.2``, ``−0.8``, ``11.3``.

    Examples
    --------
    >>> format_zone(3.5), format_zone(4), format_zone(4.2), format_zone(-0.8)
    ('III½', 'IV', '4.2', '−0.8')
    """
    if value >= -_CLOSE and (split := _with_part(max(value, 0.0), _CLOSE)) is not None and split[0] <= 10:
        whole, part = split
        if whole < 10 or not part:
            return f"{_ROMAN[whole]}{part}"
    return f"{value:.1f}".replace("-", "−")


def format_stops(x: float, *, decimals: int = 1) -> str:
    """Write a signed number of stops for people.

    Parameters
    ----------
    x : stops, more light positive.
    decimals : figures after the point, for what is no half and no third.

    Returns
    -------
    ``+½``, ``−⅔``, ``+1⅓``, ``+0.4``, ``0``.

    Examples
    --------
    >>> format_stops(0.5), format_stops(-2 / 3), format_stops(0.4), format_stops(0)
    ('+½', '−⅔', '+0.4', '0')
    """
    sign = "−" if x < 0 else "+"
    split = _with_part(abs(x), _CLOSE)
    if split is not None:
        whole, part = split
        size = f"{whole}{part}" if whole or not part else part
    else:
        size = f"{abs(x):.{decimals}f}"
    return "0" if not size.strip("0.") else sign + size
