"""Zones: Roman or Arabic, whole, in parts or in decimals."""

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from negcat.notation.numbers import (
    AMOUNT,
    CLOSE,
    UnreadableError,
    amount_of,
    clean,
    part_of,
    refuse,
    with_part,
)

_ZONE_RANGE: Final = (0.0, 10.0)


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


_ROMAN: Final = ("0", "I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX", "X")
_ROMAN_VALUES: Final = {numeral: float(value) for value, numeral in enumerate(_ROMAN)}
ROMAN_SIGNS: Final = str.maketrans(dict(zip("ⅠⅡⅢⅣⅤⅥⅦⅧⅨⅩ", _ROMAN[1:], strict=True)))
ZONE: Final = re.compile(
    r"(?:zone ?|z ?)?(?:(?P<roman>[IVX]+)(?: ?[+ ] ?(?P<top>[0-9]+) ?/ ?(?P<bottom>[0-9]+))?"
    rf"|(?P<amount>{AMOUNT}))",
    re.IGNORECASE,
)
ZONE_FORMS: Final = "write it as 4, IV, 3.5, III½ or 3 1/3"


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
    marked, plain = clean(text, "a zone")
    match = ZONE.fullmatch(plain.translate(ROMAN_SIGNS))
    if match is None:
        refuse(marked, "a zone", ZONE_FORMS)
    try:
        if match["roman"]:
            value = _ROMAN_VALUES.get(match["roman"].upper())
            if value is not None and match["top"]:
                value += part_of(match["top"], match["bottom"])
        else:
            value = amount_of(match["amount"])
    except UnreadableError as fault:
        refuse(marked, "a zone", str(fault))
    if value is None:
        refuse(marked, "a zone", ZONE_FORMS)
    low, high = _ZONE_RANGE
    if not low <= value <= high:
        refuse(marked, "a zone", "zones run from 0 to 10 (X)")
    return Zone(marked, value)


@lru_cache(maxsize=4096)
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
    if value >= -CLOSE and (split := with_part(max(value, 0.0), CLOSE)) is not None and split[0] <= 10:
        whole, part = split
        if whole < 10 or not part:
            return f"{_ROMAN[whole]}{part}"
    return f"{value:.1f}".replace("-", "−")
