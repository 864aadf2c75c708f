"""How figures, marks and dates are set on a page.

Figures of one column carry the same number of decimals and the proper minus, so that they stand under each
other on the decimal point.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from datetime import datetime

__all__ = [
    "date",
    "deviation",
    "fixed",
    "plain",
    "rounded_to_add_up",
    "shutter_time",
    "stop",
    "stops",
    "whole_sentence",
    "zone_numeral",
]

MINUS = "−"
_NUMERALS = ("0", "I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX", "X")
_BARE_TIME = re.compile(r"[\d./]+")


def fixed(value: float | None, places: int = 2, *, signed: bool = False) -> str:
    """Set a number with a fixed number of decimals; nothing for None.

    Examples
    --------
    >>> fixed(-0.517), fixed(0.333, signed=True), fixed(-0.001), fixed(None)
    ('−0.52', '+0.33', '0.00', '')
    """
    if value is None or not math.isfinite(value):
        return ""
    text = f"{abs(value):.{places}f}"
    if not any(character in "123456789" for character in text):
        return text
    sign = MINUS if value < 0 else "+" if signed else ""
    return sign + text


def deviation(sd: float | None, places: int = 2) -> str:
    """Set one standard deviation, with more decimals than its value where it would else show as nought.

    Examples
    --------
    >>> deviation(0.061), deviation(0.0021), deviation(0.03, 1), deviation(None)
    ('± 0.06', '± 0.002', '± 0.03', '')
    """
    if sd is None or not math.isfinite(sd):
        return ""
    more = next((more for more in range(2) if round(sd, places + more)), 2)
    return f"± {fixed(sd, places + more)}"


def whole_sentence(half: str) -> str:
    """Make a sentence of what an error or a note says; nothing of nothing.

    Examples
    --------
    >>> whole_sentence("no such lens"), whole_sentence("No."), whole_sentence("")
    ('No such lens.', 'No.', '')
    """
    return f"{half[:1].upper()}{half[1:].rstrip('.')}." if half else ""


def plain(value: object) -> str:
    """Set a value as it was written: a number without decimals that say nothing.

    Examples
    --------
    >>> plain(302.0), plain(6.3), plain("clear"), plain([{"name": "arch", "ev": 9.0}])
    ('302', '6.3', 'clear', 'name: arch, ev: 9')
    """
    if isinstance(value, float):
        return fixed(value, 6).rstrip("0").rstrip(".") if value else "0"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dict):
        return ", ".join(f"{name}: {plain(part)}" for name, part in value.items() if part is not None)
    if isinstance(value, list | tuple):
        return "; ".join(plain(part) for part in value)
    return str(value)


def stops(value: float | None, places: int = 2) -> str:
    """Set a difference in stops, always with its sign.

    Examples
    --------
    >>> stops(0.5), stops(-1)
    ('+0.50', '−1.00')
    """
    return fixed(value, places, signed=True)


def rounded_to_add_up(parts: Sequence[float], places: int = 2) -> list[float]:
    """Round parts so that what is printed adds up to the printed sum.

    Each part stays within one unit of the last place of its value: the units lacking or left over after
    ordinary rounding go to the parts that rounding moved most.

    Parameters
    ----------
    parts : the values, unrounded.
    places : decimals printed.

    Returns
    -------
    list of float, as long as `parts`, whose sum is the rounded sum.

    Examples
    --------
    >>> [round(part, 2) for part in rounded_to_add_up([0.333, 0.333, 0.333])]
    [0.34, 0.33, 0.33]
    """
    unit = 10.0**-places
    whole = [round(part / unit) for part in parts]
    lacking = round(sum(parts) / unit) - sum(whole)
    step = 1 if lacking > 0 else -1
    # A part that is exactly nought stays so: a correction that wasn't made shows none.
    able = [index for index, part in enumerate(parts) if part != 0]
    able.sort(key=lambda index: step * (parts[index] / unit - whole[index]), reverse=True)
    for index in able[: abs(lacking)]:
        whole[index] += step
    return [count * unit for count in whole]


def stop(marked: object) -> str:
    """Set a stop as it was marked, after ``f/``.

    Examples
    --------
    >>> stop("22½"), stop("f/6.8"), stop(None)
    ('f/22½', 'f/6.8', '')
    """
    text = "" if marked is None else str(marked).strip()
    return f"f/{text.removeprefix('f/')}" if text else ""


def shutter_time(marked: object) -> str:
    """Set a time as it was marked, with its unit where none was written.

    Examples
    --------
    >>> shutter_time("1/4"), shutter_time("1m30s"), shutter_time("4 s")
    ('1/4 s', '1m30s', '4 s')
    """
    text = "" if marked is None else str(marked).strip()
    return f"{text} s" if _BARE_TIME.fullmatch(text) else text


def date(written: object) -> str:
    """Set a date in words, with the time of day where the record has one; other text stays as written.

    Examples
    --------
    >>> date("2026-03-04"), date("2026-03-04T07:50"), date("spring")
    ('4 March 2026', '4 March 2026, 07:50', 'spring')
    """
    text = "" if written is None else str(written).strip()
    try:
        when = datetime.fromisoformat(text)
    except ValueError:
        return text
    day = f"{when.day} {when:%B %Y}"
    return f"{day}, {when:%H:%M}" if len(text) > len("2026-03-04") else day


def zone_numeral(zone: float | None) -> str:
    """Set a zone in Roman numerals, with decimals where it is not a whole one.

    Examples
    --------
    >>> zone_numeral(4), zone_numeral(3.5), zone_numeral(4.33), zone_numeral(None)
    ('IV', 'III½', '4.33', '')
    """
    if zone is None or not math.isfinite(zone):
        return ""
    whole, part = divmod(round(zone, 2), 1)
    if 0 <= whole <= 10 and part in (0.0, 0.5):
        return (_NUMERALS[int(whole)] if whole or not part else "") + ("½" if part else "")
    return fixed(zone).rstrip("0").rstrip(".")
