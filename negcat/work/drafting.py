"""A new sheet's record before it is taken: what is taken over from the last one, and its id."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from negcat import records
from negcat.catalogue import Catalogue, Query
from negcat.errors import Fault
from negcat.records import Sheet
from negcat.work.naming import known_sheet
from negcat.work.writing_out import written_out

__all__ = [
    "CARRIED",
    "Choices",
    "Suggestion",
    "choices",
    "next_free",
    "next_holder",
    "next_id",
    "next_sheet",
    "taken_id",
]

CARRIED = (
    "film",
    "exposure_index",
    "format",
    "place",
    "lens",
    "cell",
    "stop_scale",
    "filter",
    "filter_factor",
    "weather",
    "tag",
    "meter_iso",
    "print_target",
)
"""What stays from one sheet to the next: the outfit, the place, the intention.

Stop, time, extension, movements and readings don't: they are decided anew for every sheet, and a figure left
standing from the one before looks like a decision that was made.
"""

_OWN = ("sheet", "holder", "side", "exposed_at", "base_fog_spot", "location", "notes")
"""What a second sheet of the same subject has of its own."""

_SIDES = (("A", "B"), ("1", "2"), ("left", "right"), ("l", "r"), ("front", "back"))
_LAST_FIGURES = re.compile(r"(.*?)([0-9]+)([^0-9]*)", re.DOTALL)
_MOST_TRIES = 20_000
_LONGEST_ID = 100


@dataclass(frozen=True)
class Suggestion:
    """What a new sheet's record begins with.

    Parameters
    ----------
    record : the fields, each as it would be written.
    after : the sheet that they were taken from; None where there is none yet.
    again : whether it is to be the same subject once more.
    """

    record: Mapping[str, Any]
    after: str | None = None
    again: bool = False


def next_sheet(catalogue: Catalogue, now: datetime, again: str | None = None) -> Suggestion:
    """Suggest the record of the next sheet.

    Parameters
    ----------
    catalogue : the open catalogue.
    now : the date and time of day where the sheet is exposed.
    again : the sheet whose subject is taken a second time, with the same readings, stop and time; else the
        outfit of the last one exposed is taken over.

    Raises
    ------
    UnknownNameError : there is no such sheet.
    """
    last = known_sheet(catalogue, again) if again else _last_exposed(catalogue)
    if last is None:
        first = {"sheet": next_id(catalogue, None), "exposed_at": _minute(now)}
        return Suggestion({**first, "tag": "N", "meter_iso": "100"})
    said = written_out(last)
    if again:
        record = {name: value for name, value in said.items() if name not in _OWN}
        # Spots lie on the scan of that sheet; where they'll lie on this one's nobody knows yet.
        record["readings"] = [
            {name: value for name, value in reading.items() if name != "spot"}
            for reading in said.get("readings", ())
        ]
    else:
        record = {name: said[name] for name in CARRIED if name in said}
    newest = last if not again else _last_exposed(catalogue) or last
    record |= next_holder(newest)
    record |= {"sheet": next_id(catalogue, newest.sheet), "exposed_at": _minute(now)}
    return Suggestion(record, last.sheet, bool(again))


def _minute(now: datetime) -> str:
    return f"{now:%Y-%m-%d %H:%M}"


def _last_exposed(catalogue: Catalogue) -> Sheet | None:
    rows = catalogue.find(Query(sort="newest", limit=1)).rows
    return catalogue.sheet(rows[0]["sheet"]) if rows else None


def next_holder(last: Sheet) -> dict[str, str]:
    """Name the holder's other side, where the last sheet was in its first.

    After the second side comes another holder, and which one nobody knows.

    Returns
    -------
    ``holder`` and ``side``, or nothing.
    """
    if last.holder is None or last.side is None:
        return {}
    for first, second in _SIDES:
        if last.side.casefold() == first.casefold():
            if last.side.isupper():
                second = second.upper()
            elif last.side.istitle():
                second = second.title()
            elif last.side.islower():
                second = second.lower()
            return {"holder": last.holder, "side": second}
    return {}


def next_id(catalogue: Catalogue, last: str | None) -> str:
    """Propose the next free id of a sheet after the pattern of the last one.

    Parameters
    ----------
    catalogue : the open catalogue.
    last : the last sheet's id: ``BW-24``, ``2026-07b``; its last figures are counted on, their width kept.

    Returns
    -------
    An id that no sheet has, capitals aside; empty where none was found that is short enough.
    """
    return next_free(last, catalogue.has_sheet)


def next_free(last: str | None, taken: Callable[[str], bool]) -> str:
    """Count an id on to the next one that is free.

    Parameters
    ----------
    last : the last id; its last figures are counted on, their width kept.
    taken : tells whether an id is in use.

    Returns
    -------
    A free id; empty where none was found that is short enough.

    Examples
    --------
    >>> next_free("D-09", {"D-10"}.__contains__), next_free("2026-07b", {}.__contains__)
    ('D-11', '2026-08b')
    """
    match = _LAST_FIGURES.fullmatch(last or "")
    if last is None:
        before, number, width, after = "", 0, 1, ""
    elif match is None:
        before, number, width, after = f"{last}-", 1, 1, ""
    else:
        before, figures, after = match.groups()
        number, width = int(figures), len(figures)
    for candidate in range(number + 1, number + 1 + _MOST_TRIES):
        proposed = f"{before}{candidate:0{width}d}{after}"
        if len(proposed) > _LONGEST_ID:
            break
        if not taken(proposed):
            return proposed
    return ""


def taken_id(catalogue: Catalogue, written: object) -> Fault | None:
    """Say that an id is another sheet's already, capitals aside, and which one is free; None where it isn't."""
    sheet = written.strip() if isinstance(written, str) else ""
    if not sheet or not catalogue.has_sheet(sheet):
        return None
    free = next_id(catalogue, sheet)
    removed = catalogue.removed_sheet(sheet) if catalogue.sheet_id(sheet) is None else None
    there = f"was removed, and 'negcat remove --undo {removed['sheet']}' brings it back" if removed else ""
    what = f"sheet '{sheet}' {there or 'is in the archive already'}; " + (
        f"the next free id is {free}" if free else "give this one another id"
    )
    return Fault("the form", "sheet", what, ("sheets", 0, "sheet"))


@dataclass(frozen=True)
class Choices:
    """What the archive offers to choose from.

    Parameters
    ----------
    films, print_targets : names.
    lenses : the lenses, each with its cells.
    recent : text field → what the last sheets had there, the newest first.
    """

    films: Sequence[str]
    lenses: Sequence[records.Lens]
    print_targets: Sequence[str]
    recent: Mapping[str, Sequence[str]]


RECENT = ("format", "holder", "side", "place", "filter", "weather", "location")
"""Text fields in which the same few values come again."""


def choices(catalogue: Catalogue) -> Choices:
    """List what the archive offers to choose from."""
    lenses = (catalogue.lens(name) for name in catalogue.names("lenses"))
    return Choices(
        films=catalogue.names("films"),
        lenses=[lens for lens in lenses if lens is not None],
        print_targets=catalogue.names("print_targets"),
        recent={name: catalogue.recent(name) for name in RECENT},
    )
