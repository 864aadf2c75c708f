"""Tags: the development a sheet is meant for, N and what is added to it."""

import re
from dataclasses import dataclass
from typing import Final

from negcat.notation.numbers import AMOUNT, UnreadableError, amount_of, clean, refuse, with_part

_TAG_RANGE: Final = (-5.0, 4.0)
_SAME: Final = 1e-9
_DECIMALS: Final = 4


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


TAG: Final = re.compile(rf"[nN]?(?: ?(?P<sign>[+-]) ?(?P<amount>{AMOUNT}))?")
TAG_FORMS: Final = "write it as N, N+1, N-2, N+1/2 or N-1½"


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
    marked, plain = clean(text, "a tag")
    match = TAG.fullmatch("N" if plain.lower() == "normal" else plain)
    if match is None:
        refuse(marked, "a tag", TAG_FORMS)
    n = 0.0
    if match["amount"]:
        try:
            n = amount_of(match["amount"]) or 0.0
        except UnreadableError as fault:
            refuse(marked, "a tag", str(fault))
        n = -n if match["sign"] == "-" else n
        if with_part(abs(n), _SAME) is None:
            n = round(n, _DECIMALS)  # so that the canonical text says all of it
    low, high = _TAG_RANGE
    if not low <= n <= high:
        refuse(marked, "a tag", "N-5 to N+4 are understood")
    return Tag(format_tag(n), n + 0.0)


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
    split = with_part(abs(n), _SAME)
    if split is None:
        size = f"{abs(n):.{_DECIMALS}f}".rstrip("0").rstrip(".")
    else:
        whole, part = split
        size = f"{whole}{part}" if whole or not part else part
    return "N" if size == "0" else f"N{'-' if n < 0 else '+'}{size}"
