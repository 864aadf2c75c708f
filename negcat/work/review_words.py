"""How a review says what it found: in the trade's steps, and in words where a sign could be read both ways."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from math import log2

__all__ = [
    "FACTORS",
    "cell_words",
    "counted_sheets",
    "in_words",
    "index_step",
    "key_of",
    "level_words",
    "listed",
    "minutes",
    "more_or_less",
    "number_words",
    "step_of",
]

FACTORS = {
    "film": "film",
    "lens": "lens",
    "cell": "cell",
    "shutter_time": "shutter time",
    "tag": "tag",
    "batch": "batch",
}
"""What the factors of a review are called."""

_PARTS = {0.0: "", 1 / 3: "a third", 1 / 2: "half", 2 / 3: "two thirds"}

_SPEEDS = (
    "1 1.2 1.6 2 2.5 3 4 5 6 8 10 12 16 20 25 32 40 50 64 80 100 125 160 200 250 320 400 500 640 800 1000 1250 "
    "1600 2000 2500 3200 4000 5000 6400 8000 10000 12500"
)
_INDEXES = [float(speed) for speed in _SPEEDS.split()]
"""The steps of film speeds, a third of a stop apart (ISO 6, table of speeds)."""


def step_of(stops: float) -> float:
    """Give the nearest step that is marked or set by eye between marks: thirds and halves of a stop.

    Examples
    --------
    >>> step_of(-0.47), round(step_of(0.7), 3), step_of(0.05)
    (-0.5, 0.667, 0.0)
    """
    size = abs(stops)
    steps = [whole + part for whole in range(int(size) + 2) for part in _PARTS]
    nearest = min(steps, key=lambda step: abs(step - size))
    return nearest if stops >= 0 or not nearest else -nearest


def in_words(step: float) -> str:
    """Write a step's size in words.

    Examples
    --------
    >>> in_words(-0.5), in_words(1 / 3), in_words(1 + 2 / 3), in_words(2)
    ('half a stop', 'a third of a stop', 'one and two thirds of a stop', 'two stops')
    """
    whole, rest = divmod(abs(step) + 1e-9, 1.0)
    part = _PARTS[min(_PARTS, key=lambda known: abs(known - rest))]
    if not whole:
        return "half a stop" if part == "half" else f"{part} of a stop" if part else "nothing"
    count = {1: "one", 2: "two", 3: "three", 4: "four"}.get(int(whole), str(int(whole)))
    if not part:
        return f"{count} stop" if whole == 1 else f"{count} stops"
    if part == "half":
        return f"{count} and a half stops"
    return f"{count} and {part} of a stop"


def number_words(stops: float) -> str:
    """Write a number of stops by its size.

    Examples
    --------
    >>> number_words(-0.517)
    '0.52 stop'
    """
    return f"{abs(stops):.2f} stop"


def more_or_less(low: float, high: float) -> str:
    """Write an interval that leaves nought out by its sizes, the smaller first.

    Examples
    --------
    >>> more_or_less(-0.62, -0.38)
    '0.38 to 0.62'
    """
    return f"{min(abs(low), abs(high)):.2f} to {max(abs(low), abs(high)):.2f}"


def index_step(indicated: float, low: float, high: float, used: float) -> float:
    """Choose the index to set: the nearest third on the dial where that says it, else the figure itself.

    Parameters
    ----------
    indicated, low, high : the index found, and its interval.
    used : the index in use.

    Examples
    --------
    >>> index_step(247.0, 210.0, 290.0, 400.0), index_step(108.0, 104.0, 112.0, 100.0)
    (250.0, 108.0)
    """
    nearest = min(_INDEXES, key=lambda speed: abs(log2(speed / indicated)))
    if low <= nearest <= high and abs(log2(nearest / used)) > 0.1:
        return nearest
    return round(indicated, 1 if indicated < 20 else 0)


def minutes(seconds: float) -> str:
    """Write a developing time as a clock shows it, to five seconds from three minutes up.

    Examples
    --------
    >>> minutes(684.0), minutes(540.0), minutes(47.2)
    ('11 min 25 s', '9 min', '47 s')
    """
    whole = round(seconds / 5) * 5 if seconds >= 180 else round(seconds)
    full, rest = divmod(int(whole), 60)
    if not full:
        return f"{rest} s"
    return f"{full} min {rest} s" if rest else f"{full} min"


def counted_sheets(count: int) -> str:
    """Write how many sheets.

    Examples
    --------
    >>> counted_sheets(1), counted_sheets(1200)
    ('1 sheet', '1,200 sheets')
    """
    return f"{count:,} {'sheet' if count == 1 else 'sheets'}"


def listed(names: Sequence[str], word: str = "and") -> str:
    """Write names one after the other.

    Examples
    --------
    >>> listed(["the film", "the tag", "the batch"])
    'the film, the tag and the batch'
    """
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} {word} {names[-1]}"


_LEVEL = {
    "film": "the speed of {0}",
    "lens": "the lens {0} as a whole",
    "shutter_time": "{1} of {0}",
    "batch": "batch {0}",
    "reciprocity": "the reciprocity of {0}",
}


def cell_words(lens: str, cell: str, whole: Mapping[str, str | None]) -> str:
    """Name a cell as one would say it.

    Parameters
    ----------
    lens, cell : its names.
    whole : lens → the cell that is the whole lens; an ordinary lens's only one.

    Examples
    --------
    >>> whole = {"Aldwater 180": "whole", "Tressick 150": "150"}
    >>> cell_words("Aldwater 180", "rear", whole), cell_words("Tressick 150", "150", whole)
    ('the rear cell of Aldwater 180', 'the whole Tressick 150')
    """
    return f"the whole {lens}" if whole.get(lens) == cell else f"the {cell} cell of {lens}"


def level_words(factor: str, names: Sequence[str], whole: Mapping[str, str | None] | None = None) -> str:
    """Name a level of a factor as one would say it.

    Parameters
    ----------
    factor : ``film``, ``cell`` …, ``reciprocity`` or ``development``.
    names : its parts.
    whole : as for :func:`cell_words`.

    Examples
    --------
    >>> level_words("cell", ("Aldwater 180", "rear")), level_words("tag", ("Kiln 100", "Slip", "1+49", "N+1"))
    ('the rear cell of Aldwater 180', 'N+1 of Kiln 100')
    """
    if factor == "tag":
        return f"{names[-1]} of {names[0]}"
    if factor == "development":
        return f"the development of {names[0]} for {names[-1]}"
    if factor == "cell" and len(names) == 2:
        return cell_words(names[0], names[1], whole or {})
    said = _LEVEL.get(factor)
    if said is None or (factor == "shutter_time" and len(names) < 2):
        return f"{factor}: {' / '.join(names)}"
    return said.format(*names)


def key_of(about: str, *names: str | None) -> str:
    """Make the key of an advice: short, typed without quoting, the same whenever it is asked for.

    Examples
    --------
    >>> key_of("scale", "Aldwater convertible 195", "rear"), key_of("time", "Sorrel 100", "N+1", None)
    ('scale-aldwater-convertible-195-rear', 'time-sorrel-100-n+1')
    """
    words = []
    for name in names:
        if name:
            # No letter outside ASCII, so that any keyboard types it; what has none is left with its figures.
            plain = unicodedata.normalize("NFKD", name.replace("−", "-")).encode("ascii", "ignore").decode()
            words.append(re.sub(r"[^a-z0-9+]+", "-", plain.casefold()).strip("-"))
    return "-".join([about, *(word for word in words if word)])
