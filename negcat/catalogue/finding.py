"""Sheets that fit a question, asked of SQLite: pages of them, and how many there are.

Whoever only finds needs no more of the house than this, which is loaded in a moment.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from negcat.catalogue.queries import Conditions, Query
from negcat.catalogue.tallied import Marked, Tallied
from negcat.catalogue.tallying import RANGES
from negcat.errors import NotationError

__all__ = ["DETAILS", "ORDER", "SHOWN", "Found", "Page", "Suiting", "shown_row"]

Suiting = Mapping[str, tuple[float, float]]
"""Print target → the least and the most density range that suits it."""

ORDER: dict[str, tuple[tuple[str, ...], bool]] = {
    "newest": (("exposed_at", "id"), True),
    "oldest": (("exposed_at", "id"), False),
    "sheet": (("sheet",), False),
    "verdict": (("verdict", "exposed_at", "id"), False),
    "place": (("place", "exposed_at", "id"), False),
}
"""Each order's columns, which begin an index and end in something unique, and whether it goes down."""

SHOWN = (
    "sheet",
    "film",
    "lens",
    "cell",
    "tag",
    "developer",
    "batch",
    "exposed_at",
    "place",
    "subject",
    "verdict",
    "stage",
)

DETAILS = """
  s.stop as stop, s.time as time, s.format as format, r.exposure_error_stops as exposure_error_stops,
  r.exposure_error_sd as exposure_error_sd, r.found_n as found_n, r.found_n_sd as found_n_sd,
  r.printing_range as printing_range,
  n.scan as scan, n.width as width, n.height as height
from page p
join sheets s on s.sheet = p.sheet
left join results r on r.sheet = p.sheet
left join findings f on f.sheet = p.sheet
left join scans n on n.scan = coalesce(
  f.scan, (select m.scan from scans m where m.sheet = p.sheet order by m.taken_order desc limit 1)
)
"""


_LOOKED_UP = 4000
"""Sheets that fit, of which all are looked up and sorted; of more, only those that may come first."""


@dataclass(frozen=True)
class Page:
    """Some of the sheets that fit a question.

    Parameters
    ----------
    count : all that fit, whatever the limit.
    rows : the fields of ``negcat find --json``, with ``printing_range``, the density range between zones II and
        VIII, and ``suits``, the print targets it suits; and stage, stop, time, format, error of exposure and
        found N with their deviations, and scan, width, height of the picture; None for what there isn't.
    after : what to ask for the next page with; None on the last.
    """

    count: int
    rows: list[dict[str, Any]]
    after: str | None = None


def shown_row(row: dict[str, Any], suiting: Suiting | None) -> dict[str, Any]:
    """Give a row as it is shown: None for empty text, nothing that only ordered it; and which targets it suits."""
    shown = {
        name: (value or None) if name in SHOWN else value
        for name, value in row.items()
        if not name.startswith("by_")
    }
    if suiting is None:
        return shown
    range_ = row["printing_range"]
    suits = [
        name for name, (least, most) in suiting.items() if range_ is not None and least <= range_ <= most
    ]
    return {**shown, "suits": suits}


def _token(sort: str, values: list[Any]) -> str:
    written = json.dumps([sort, *values], ensure_ascii=False, separators=(",", ":"))
    return base64.urlsafe_b64encode(written.encode()).decode().rstrip("=")


def _values(token: str, sort: str) -> list[Any]:
    try:
        written = json.loads(base64.urlsafe_b64decode(token + "=" * (-len(token) % 4)))
    except ValueError:
        written = None
    columns, _ = ORDER[sort]
    if (
        not isinstance(written, list)
        or len(written) != len(columns) + 1
        or written[0] != sort
        or not all(isinstance(value, str | int) for value in written)
    ):
        raise NotationError(
            f"{token[:40]!r} marks no place in this list sorted by {sort}; begin again from its first page"
        )
    return written[1:]


def _behind(query: Query) -> tuple[str, dict[str, Any]]:
    """Write the condition that a page lies behind another, and its values; empty for the first page."""
    if not query.after:
        return "", {}
    columns, down = ORDER[query.sort]
    values = {
        f"after_{name}": value for name, value in zip(columns, _values(query.after, query.sort), strict=True)
    }
    names, marks = (
        ", ".join(f"{before}{name}" for name in columns) for before in ("sheet_search.", ":after_")
    )
    return f"({names}) {'<' if down else '>'} ({marks})", values


def _straight(query: Query, conditions: Conditions) -> bool:
    """Tell whether an index has the sheets that fit in the order asked for, so that a page is a walk along it."""
    if query.sort in ("newest", "oldest"):
        one = len(conditions.of) == 1 and all(
            len(condition.values or ()) == 1 or name in ("since", "until")
            for name, condition in conditions.of.items()
        )
        return not conditions.of or one
    return not conditions.of


class Found(Tallied):
    """How sheets are found."""

    def find(self, query: Query, *, with_suits: bool = True) -> Page:
        """Find the sheets that fit a question.

        Parameters
        ----------
        query : the question.
        with_suits : tell of each row which print targets it suits; the curves that this takes are long to load.

        Raises
        ------
        NotationError : a tag, date, order or place in the list that can't be read.
        UnknownNameError : a print target that isn't on record.
        """
        self._refuse_unanswerable(query)
        with self.at_once():
            conditions = self.conditions(query)
            suiting = self.ranges_suiting() if with_suits else None
            straight = _straight(query, conditions)
            marked = None if straight and conditions.counted else self.marked(conditions)
            rows, after = self._rows(query, conditions, suiting, None if straight else marked)
            return Page(self._count(conditions, marked), rows, after)

    def _refuse_unanswerable(self, query: Query) -> None:
        if query.sort not in ORDER:
            raise NotationError(f"there is no order {query.sort!r}; sort by {', '.join(ORDER)}")
        if (query.limit is not None and query.limit < 0) or query.offset < 0:
            raise NotationError(
                "a page can't have fewer than no sheets; give a limit and offset of 0 or more"
            )

    def _rows(
        self, query: Query, conditions: Conditions, suiting: Suiting | None, marked: Marked | None = None
    ) -> tuple[list[dict[str, Any]], str | None]:
        """Read the rows of a page, and what the next one is asked for with: along an index, or of marked sheets."""
        ids = None if marked is None else self._first(query, marked)
        sql, parameters = self._page_sql(query, conditions, ids)
        rows = self.rows(sql, parameters)
        after = None
        if query.limit is not None and len(rows) > query.limit:
            rows.pop()
            if rows:
                after = _token(query.sort, [rows[-1][f"by_{name}"] for name in ORDER[query.sort][0]])
        return [shown_row(row, suiting) for row in rows], after

    def _first(self, query: Query, marked: Marked) -> list[int]:
        """Choose, of marked sheets, those among which the page is."""
        (first, *_), down = ORDER[query.sort]
        if query.limit is None or marked.count <= _LOOKED_UP:
            return marked.ids()
        most = query.offset + query.limit + 1
        behind = _values(query.after, query.sort) if query.after else None
        if first in RANGES:
            return self.first_of(marked, first, most, down=down, behind=behind and behind[0])
        ids = self.first_by_word(marked, first, most, behind)
        return self._along(query, marked, most) if ids is None else ids

    def _along(self, query: Query, marked: Marked, most: int) -> list[int]:
        """Walk along the index of an order until so many of the marked sheets are found."""
        columns, _ = ORDER[query.sort]
        clause, parameters = _behind(query)
        found: list[int] = []
        order = ", ".join(columns)
        sql = f"select id from sheet_search where {clause or '1'} order by {order}"
        for part in self.in_parts(sql, parameters, 1000):
            found += marked.fitting(number for (number,) in part)
            if len(found) >= most:
                break
        return found

    def _page_sql(
        self, query: Query, conditions: Conditions, ids: list[int] | None = None
    ) -> tuple[str, dict[str, Any]]:
        """Write the statement of a page: choose its sheets along one index, then look up what is shown.

        With ids they are chosen from those sheets, which fit all conditions.
        """
        columns, down = ORDER[query.sort]
        source = "sheet_search"
        if ids is not None:
            clauses = []
            parameters: dict[str, Any] = {"ids": json.dumps(ids)}
            source = "json_each(:ids) j cross join sheet_search on sheet_search.id = j.value"
        else:
            clauses = list(conditions.clauses) if not conditions.nothing else ["0"]
            parameters = dict(conditions.parameters)
        clause, values = _behind(query)
        if clause:
            clauses.append(clause)
            parameters |= values
        direction = " desc" if down else ""
        order = ", ".join(f"sheet_search.{name}{direction}" for name in columns)
        where = f" where {' and '.join(clauses)}" if clauses else ""
        parameters["limit"] = -1 if query.limit is None else query.limit + 1
        parameters["offset"] = query.offset
        wanted = ", ".join(f"sheet_search.{name}" for name in dict.fromkeys((*SHOWN, *columns)))
        sql = (
            f"with page as materialized (select {wanted} from {source}{where}"
            f" order by {order} limit :limit offset :offset)"
            f" select {', '.join(f'p.{name} as {name}' for name in SHOWN)},"
            f" {', '.join(f'p.{name} as by_{name}' for name in columns)},{DETAILS}"
            f" order by {', '.join(f'p.{name}{direction}' for name in columns)}"
        )
        return sql, parameters

    def count(self, query: Query) -> int:
        """Count all the sheets that fit a question, whatever its limit.

        Raises
        ------
        NotationError : a tag or date that can't be read.
        UnknownNameError : a print target that isn't on record.
        """
        with self.at_once():
            conditions = self.conditions(query)
            return self._count(conditions, None if conditions.counted else self.marked(conditions))

    def _count(self, conditions: Conditions, marked: Marked | None) -> int:
        if marked is not None:
            return marked.count
        if conditions.nothing:
            return 0
        counted = (
            "coalesce(sum(sheets), 0) from sheet_counts"
            if conditions.counted
            else "count(*) from sheet_search"
        )
        return int(self.value(f"select {counted}{conditions.where}", conditions.parameters))

    def neighbours(self, sheet: str) -> dict[str, Any]:
        """Find what lies beside a sheet.

        Returns
        -------
        ``previous`` and ``next`` in time, None at the ends and for a sheet without a date; ``batch_sheets``,
        the others of its batch in the batch's order.
        """
        at = self.row("select exposed_at, id, batch from sheet_search where sheet = ?", [sheet])
        beside: dict[str, Any] = {"previous": None, "next": None, "batch_sheets": []}
        if at is None:
            return beside
        if at["exposed_at"]:
            # Of two lower bounds SQLite may begin at the one that is further away: later sheets have a date anyway.
            for name, condition, direction in (
                ("previous", "(exposed_at, id) < (:exposed_at, :id) and exposed_at > ''", "desc"),
                ("next", "(exposed_at, id) > (:exposed_at, :id)", "asc"),
            ):
                beside[name] = self.value(
                    f"select sheet from sheet_search where {condition}"
                    f" order by exposed_at {direction}, id {direction} limit 1",
                    at,
                )
        beside["batch_sheets"] = [
            mate
            for (mate,) in self.tuples(
                "select sheet from development_sheets where batch = ? and sheet <> ? order by position",
                [at["batch"], sheet],
            )
        ]
        return beside
