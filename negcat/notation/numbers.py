"""Plain numbers and fractions: the ground that stops, times, tags and zones stand on."""

import math
import re
from decimal import Decimal
from typing import Final, NoReturn

from negcat.errors import NotationError

_VULGAR: Final = {
    "½": (1, 2), "⅓": (1, 3), "⅔": (2, 3), "¼": (1, 4), "¾": (3, 4), "⅕": (1, 5), "⅖": (2, 5), "⅗": (3, 5),
    "⅘": (4, 5), "⅙": (1, 6), "⅚": (5, 6), "⅛": (1, 8), "⅜": (3, 8), "⅝": (5, 8), "⅞": (7, 8), "⅒": (1, 10),
}  # fmt: skip
# Spaces on both sides: "22½" is 22 1/2 and never 221/2, and "½5" must not become 1/25.
CHARACTERS: Final = str.maketrans(
    {sign: f" {top}/{bottom} " for sign, (top, bottom) in _VULGAR.items()}
    | dict.fromkeys("−–—‐‑‒﹣－", "-")
    | {"⁄": "/", "∕": "/", "＋": "+"}
)
TOO_LONG: Final = 60

DECIMAL: Final = r"(?:[0-9]+(?:\.[0-9]*|,[0-9]+)?|[.,][0-9]+)"
_FRACTION: Final = r"[0-9]+ ?/ ?[0-9]+"
AMOUNT: Final = rf"(?:{DECIMAL} ?[+ ] ?{_FRACTION}|{_FRACTION}|{DECIMAL})"
_AMOUNT_PARTS: Final = re.compile(
    rf"(?:(?P<whole>{DECIMAL}) ?[+ ] ?)?(?P<top>[0-9]+) ?/ ?(?P<bottom>[0-9]+)|(?P<decimal>{DECIMAL})"
)


class UnreadableError(Exception):
    """Why a piece of text can't be read, as the second half of a sentence."""


def _shown(marked: str) -> str:
    """Return a text fit for one line of a message, whatever a file held."""
    return "".join(sign if sign.isprintable() else " " for sign in marked)


def clean(text: str | int | float, kind: str) -> tuple[str, str]:
    """Return the text as marked (stripped) and in plain characters with single spaces."""
    if isinstance(text, bool) or not isinstance(text, str | int | float):
        raise NotationError(f"{text!r} is not {kind}: a number or a text is wanted.")
    if not isinstance(text, str):
        # A number is taken as the shortest text that stands for it, 0.00005 and not 5e-05.
        number = Decimal(text) if isinstance(text, int) else Decimal(repr(float(text)))
        text = format(number, "f").removesuffix(".0")
    marked = text.strip()
    if not marked:
        raise NotationError(f"blank is not {kind}: fill it in, or leave the field out.")
    if len(marked) > TOO_LONG:
        raise NotationError(f"“{_shown(marked[:30])}…” is not {kind}: it is far too long.")
    return marked, " ".join(marked.translate(CHARACTERS).split())


def decimal_of(text: str) -> float:
    """Read plain figures, with a decimal point or an unmistakable decimal comma."""
    whole, comma, part = text.partition(",")
    if comma and len(part) == 3 and whole.strip("0"):
        raise UnreadableError(
            "with that comma it can be read in two ways; write a decimal point, or no comma"
        )
    return float(text.replace(",", "."))


def part_of(top: str, bottom: str) -> float:
    """Divide a proper fraction."""
    if not float(bottom):
        raise UnreadableError("a fraction can't be divided by 0")
    if not 0 < float(top) < float(bottom):
        raise UnreadableError(
            "a fraction must lie between 0 and 1; write a whole number before it with a space (1 1/2)"
        )
    return float(top) / float(bottom)


def amount_of(text: str) -> float | None:
    """Read ``1.5``, ``1/2``, ``1 1/2`` or ``1+1/2``; None where it is none of these."""
    match = _AMOUNT_PARTS.fullmatch(text)
    if match is None:
        return None
    if match["decimal"] is not None:
        return decimal_of(match["decimal"])
    if match["whole"] is None:
        return part_of(match["top"], match["bottom"])
    whole = decimal_of(match["whole"])
    if not whole.is_integer():
        raise UnreadableError("a fraction may follow a whole number only")
    return whole + part_of(match["top"], match["bottom"])


def refuse(marked: str, kind: str, why: str) -> NoReturn:
    """Raise the one sentence that says what can't be read and how to mend it."""
    raise NotationError(f"“{_shown(marked)}” is not {kind}: {why}.")


SIGNED: Final = re.compile(rf"(?P<sign>[+-]?) ?(?P<amount>{AMOUNT})(?P<power>[eE][+-]?[0-9]{{1,3}})?")
NUMBER_FORMS: Final = "write it as 12.3, 12 1/3, 12⅓ or -0.5"


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
    marked, plain = clean(text, "a number")
    match = SIGNED.fullmatch(plain)
    if match is None:
        refuse(marked, "a number", NUMBER_FORMS)
    try:
        value = amount_of(match["amount"])
    except UnreadableError as fault:
        refuse(marked, "a number", str(fault))
    if value is not None and match["power"]:
        # The whole text at once, so that 1e-3 is the same number as in the programs that wrote it.
        value = None if "/" in plain else float(match["amount"].replace(",", ".") + match["power"])
    if value is None:
        refuse(marked, "a number", NUMBER_FORMS)
    if not math.isfinite(value):
        refuse(marked, "a number", "it is out of all range")
    return -value if match["sign"] == "-" else value


_PARTS: Final = ((0.0, ""), (1 / 3, "⅓"), (0.5, "½"), (2 / 3, "⅔"))
CLOSE: Final = 0.005


def with_part(size: float, close: float) -> tuple[int, str] | None:
    """Split a size ≥ 0 into a whole number and a half or third, where it is that close to one."""
    for whole in {math.floor(size), math.floor(size + close)}:
        for part, sign in _PARTS:
            if abs(size - whole - part) <= close:
                return whole, sign
    return None


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
    split = with_part(abs(x), CLOSE)
    if split is not None:
        whole, part = split
        size = f"{whole}{part}" if whole or not part else part
    else:
        size = f"{abs(x):.{decimals}f}"
    return "0" if not size.strip("0.") else sign + size
