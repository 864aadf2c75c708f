"""The notations as patterns, for a page that has no Python at hand.

A pattern only says whether a text can be such a thing at all; what it stands for, and whether that lies in range, is
worked out by the ``parse_…`` functions. Every text that they take fits its pattern; a few that fit are refused by
them all the same, as a fraction of nought is.
"""

import re
from collections.abc import Mapping
from typing import Final

from negcat.notation.numbers import CHARACTERS, DECIMAL, NUMBER_FORMS, SIGNED, TOO_LONG
from negcat.notation.stops import FULL_MARKS, STOP_FORMS
from negcat.notation.tags import TAG, TAG_FORMS
from negcat.notation.times import CLOCK, PRIMES, TIME_FORMS, TIME_PART
from negcat.notation.zones import ROMAN_SIGNS, ZONE, ZONE_FORMS

__all__ = ["FORMS", "LONGEST", "PATTERNS", "SIGNS", "fits"]

LONGEST: Final = TOO_LONG
"""Letters that a text in a notation has at most."""


def _plain(pattern: str | re.Pattern[str]) -> str:
    """Take the names off the groups of a pattern, whose spelling differs from language to language."""
    text = pattern.pattern if isinstance(pattern, re.Pattern) else pattern
    return re.sub(r"\(\?P<\w+>", "(?:", text)


def _full_mark(mark: str) -> str:
    """Write a mark of the full scale as it may be written: ``5.6``, ``5,6``, ``05.60``."""
    whole, _, part = mark.partition(".")
    whole = "" if whole == "0" else whole
    return rf"0*{whole}[.,]{part}0*" if part else rf"0*{whole}(?:\.0*|,0+)?"


_F: Final = r"(?:[fFƒ] ?[/:.]? ?)?"
_PART_OF_A_STOP: Final = r"(?: ?\+ ?0?[.,][0-9]+| ?[+ ] ?[0-9]+ ?/ ?[0-9]+)"

PATTERNS: Final[Mapping[str, str]] = {
    "number": _plain(SIGNED),
    "stop": rf"{_F}(?:(?:{'|'.join(map(_full_mark, FULL_MARKS.split()))}){_PART_OF_A_STOP}|{DECIMAL})",
    "time": rf"(?:{_plain(CLOCK)}|(?:{_plain(TIME_PART)})+)",
    "tag": rf"(?:normal|{_plain(TAG)})",
    "zone": _plain(ZONE),
}
"""Notation → pattern of the whole text, capitals aside, after :data:`SIGNS` are replaced and every run of spaces is one
space. They are written in what Python's and ECMAScript's (flags ``iu``) regular expressions have in common."""

SIGNS: Final[Mapping[str, str]] = {
    **{chr(sign): word for table in (CHARACTERS, PRIMES, ROMAN_SIGNS) for sign, word in table.items()},
    "''": '"',
}
"""What stands for a sign before a text is held against a pattern, replaced in this order."""

FORMS: Final[Mapping[str, str]] = {
    "number": NUMBER_FORMS,
    "stop": STOP_FORMS,
    "time": TIME_FORMS,
    "tag": TAG_FORMS,
    "zone": ZONE_FORMS,
}
"""Notation → half a sentence that asks for it as it is written."""


def fits(text: str, notation: str) -> bool:
    """Tell whether a text fits the pattern of a notation: what the page does with the same tables.

    Examples
    --------
    >>> fits("f/22½", "stop"), fits("13½", "stop"), fits("1m30s", "time"), fits("Ⅲ½", "zone"), fits("soon", "time")
    (True, False, True, True, False)
    """
    for sign, word in SIGNS.items():
        text = text.replace(sign, word)
    text = " ".join(text.split())
    return len(text) <= LONGEST and re.fullmatch(PATTERNS[notation], text, re.IGNORECASE) is not None
