"""The wall: every sheet made, and the search that narrows it.

The address is the search: the form sends the same names as the options of ``negcat find``, and an address
without empty parts is what one is left with.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date as calendar_date
from typing import Any
from urllib.parse import urlencode

from negcat.web.typesetting import date, shutter_time, stop

__all__ = ["FILTERS", "VERDICT_PLACES", "Plate", "Search", "Shown", "plates", "read_search", "shown"]

FILTERS: Mapping[str, str] = {
    "text": "Words",
    "cell": "Cell",
    "tag": "Tag",
    "verdict": "Verdict",
    "lens": "Lens",
    "film": "Film",
    "developer": "Developer",
    "batch": "Batch",
    "place": "Place",
    "suits": "Suits print target",
    "since": "From",
    "until": "Until",
}
"""Every filter by its name in the address, with its name on the page."""

SORTS: Mapping[str, str] = {
    "newest": "newest first",
    "oldest": "oldest first",
    "sheet": "by sheet",
    "place": "by place",
    "verdict": "by verdict",
}
_IN_TABLES = {"text": "_search", "place": "place__contains", "since": "exposed_at__gte"}
"""What of the filters isn't the same as in the table."""
PAGE_SIZES = (24, 48, 96, 200)
_DEFAULT_SORT, _DEFAULT_SIZE = "newest", 48

VERDICT_PLACES: Mapping[str, tuple[int, int]] = {
    "thin": (-1, 0),
    "dense": (1, 0),
    "flat": (0, 1),
    "contrasty": (0, -1),
}
"""Where a departure stands in the little figure: across from thin to dense, up from flat to contrasty."""


@dataclass(frozen=True)
class Search:
    """What an address asks for.

    Parameters
    ----------
    chosen : filter → value, only those that are set.
    sort, size, page : order, sheets a page and number of the page, from 1.
    faults : sentences about parts of the address that can't be understood.
    untidy : whether the address holds empty parts.
    """

    chosen: Mapping[str, str] = field(default_factory=dict)
    sort: str = _DEFAULT_SORT
    size: int = _DEFAULT_SIZE
    page: int = 1
    faults: tuple[str, ...] = ()
    untidy: bool = False

    @property
    def offset(self) -> int:
        """How many sheets come before this page."""
        return (self.page - 1) * self.size

    def address(self, **changes: Any) -> str:
        """Write the query string of this search, or of one that differs in a few parts.

        Examples
        --------
        >>> Search(chosen={"cell": "rear", "tag": "N+1"}).address(page=2)
        'cell=rear&tag=N%2B1&page=2'
        """
        other = replace(self, **changes)
        parts = {name: other.chosen[name] for name in FILTERS if name in other.chosen}
        if other.sort != _DEFAULT_SORT:
            parts["sort"] = other.sort
        if other.size != _DEFAULT_SIZE:
            parts["limit"] = str(other.size)
        if other.page > 1:
            parts["page"] = str(other.page)
        return urlencode(parts)

    def is_day(self, name: str) -> bool:
        """Tell whether a filter holds a whole day or nothing, as a browser's field for dates can show it.

        Examples
        --------
        >>> search = Search(chosen={"since": "2026-05", "until": "2026-05-03"})
        >>> search.is_day("since"), search.is_day("until")
        (False, True)
        """
        value = self.chosen.get(name, "")
        if not value:
            return True
        try:
            return len(value) == 10 and bool(calendar_date.fromisoformat(value))
        except ValueError:
            return False

    def with_fault(self, sentence: str) -> Search:
        """Give this search with one more sentence about what can't be understood."""
        return replace(self, faults=(*self.faults, sentence))

    def in_tables(self, suiting: tuple[float, float] | None = None) -> str:
        """Write the query string that asks Datasette's table ``sheet_search`` for the same sheets.

        Parameters
        ----------
        suiting : the least and the most density range that the print target asked for stands for.

        Examples
        --------
        >>> Search(chosen={"text": "kiln", "tag": "N+1", "until": "2026-05"}).in_tables()
        '_search=kiln&tag__exact=N%2B1&exposed_at__lte=2026-05T99'
        """
        asked = {}
        for name in FILTERS:
            value = self.chosen.get(name)
            if not value:
                continue
            if name == "until":
                # Everything that begins with the date comes before this.
                asked["exposed_at__lte"] = f"{value}T99"
            elif name == "suits":
                if suiting is not None:
                    asked["printing_range__gte"], asked["printing_range__lte"] = map(repr, suiting)
            else:
                asked[_IN_TABLES.get(name, f"{name}__exact")] = value
        return urlencode(asked)

    def without(self, name: str) -> str:
        """Write the query string of this search with one filter taken away."""
        return self.address(chosen={key: value for key, value in self.chosen.items() if key != name}, page=1)


def read_search(pairs: Iterable[tuple[str, str]]) -> Search:
    """Read the parts of an address.

    Parameters
    ----------
    pairs : names and values as they stand in the address; of a name given twice the last counts.

    Returns
    -------
    Search; what can't be understood is left out and named in its ``faults``.

    Examples
    --------
    >>> read_search([("cell", "rear"), ("film", ""), ("sort", "size")]).faults
    ('There is no order “size”: choose one of newest, oldest, sheet, place, verdict.',)
    """
    chosen: dict[str, str] = {}
    faults: list[str] = []
    numbers = {"page": 1, "limit": _DEFAULT_SIZE}
    sort, untidy = _DEFAULT_SORT, False
    for name, raw in pairs:
        value = raw.strip()
        if not value:
            untidy = True
        elif name in FILTERS:
            chosen[name] = value
        elif name == "sort":
            if value in SORTS:
                sort = value
            else:
                faults.append(f"There is no order “{value}”: choose one of {', '.join(SORTS)}.")
        elif name in numbers:
            if value.isascii() and value.isdigit() and 0 < int(value[:9]) <= 10_000_000:
                numbers[name] = int(value[:9])
            else:
                faults.append(f"The address asks for {name} “{value}”: that must be a whole number from 1.")
    size = min(max(numbers["limit"], 1), PAGE_SIZES[-1])
    return Search(chosen, sort, size, numbers["page"], tuple(faults), untidy)


@dataclass(frozen=True)
class Plate:
    """One sheet as it hangs on the wall.

    Parameters
    ----------
    sheet : its id.
    setting : cell, stop, time and tag, those that are known.
    place : place and subject.
    made : the date, in words.
    verdict : in words.
    figure : the place of the filled dot among nine, from −1 to 1 across and down; None without a verdict.
    scan : the scan whose preview is shown; None while there is none.
    width, height : of the picture, in pixels of the scan; what the layout needs is their ratio.
    """

    sheet: str
    setting: tuple[str, ...]
    place: str
    made: str
    verdict: str
    figure: tuple[int, int] | None
    scan: str | None
    width: int
    height: int

    @property
    def upright(self) -> bool:
        """Whether the picture is higher than wide."""
        return self.height > self.width


def plates(rows: Iterable[Mapping[str, Any]]) -> list[Plate]:
    """Set the rows of a search as plates."""
    return [_plate(row) for row in rows]


def _plate(row: Mapping[str, Any]) -> Plate:
    scan = row.get("scan")
    known = bool(scan and row.get("width") and row.get("height"))
    setting = (
        str(row.get("cell") or row.get("lens") or ""),
        stop(row.get("stop")),
        shutter_time(row.get("time")),
        str(row.get("tag") or ""),
    )
    verdict = str(row.get("verdict") or "not measured")
    stage = str(row.get("stage") or "")
    waits = stage.startswith("to ") and verdict == "not measured"
    return Plate(
        sheet=str(row["sheet"]),
        setting=tuple(part for part in setting if part),
        place=", ".join(str(row[name]) for name in ("place", "subject") if row.get(name)),
        made=date(row.get("exposed_at")),
        verdict=verdict + (f", {stage}" if waits else ""),
        figure=figure(verdict),
        scan=str(scan) if scan else None,
        width=int(row["width"]) if known else 5,
        height=int(row["height"]) if known else 4,
    )


def figure(verdict: str) -> tuple[int, int] | None:
    """Place a verdict among nine dots; None where there is nothing to place.

    Examples
    --------
    >>> figure("thin, contrasty"), figure("as planned"), figure("not measured")
    ((-1, -1), (0, 0), None)
    """
    if verdict in ("not measured", "unsure"):
        return None
    across = down = 0
    for word in verdict.split(", "):
        step = VERDICT_PLACES.get(word, (0, 0))
        across, down = across + step[0], down + step[1]
    return across, down


@dataclass(frozen=True)
class Shown:
    """Which sheets a page shows and where its neighbours are.

    Parameters
    ----------
    first, last : numbers of the first and last sheet shown, from 1; 0 and 0 where none is.
    count : of all that fit.
    page, pages : number of this page and how many there are.
    """

    first: int
    last: int
    count: int
    page: int
    pages: int


def shown(search: Search, count: int, rows: Sequence[Any]) -> Shown:
    """Count which sheets a page shows."""
    first = search.offset + 1 if rows else 0
    return Shown(first, search.offset + len(rows), count, search.page, max(1, -(-count // search.size)))
