"""Sheets that fit a question: pages of them, how many there are, and the counts beside each filter."""

from __future__ import annotations

import base64
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from negcat.catalogue.columns import CHOICES, SEARCHED, Columns, InMemory, Mask
from negcat.catalogue.queries import Condition, Conditions, Query, Questions
from negcat.errors import NotationError
from negcat.notation import parse_tag

__all__ = ["Found", "Page"]

Choices = dict[str, list[tuple[str, int]]]
"""Filter → its values, each with the number of sheets behind it."""

Suiting = Mapping[str, tuple[float, float]]
"""Print target → the least and the most density range that suits it."""

_ORDER: dict[str, tuple[tuple[str, ...], bool]] = {
    "newest": (("exposed_at", "id"), True),
    "oldest": (("exposed_at", "id"), False),
    "sheet": (("sheet",), False),
    "verdict": (("verdict", "exposed_at", "id"), False),
    "place": (("place", "exposed_at", "id"), False),
}
"""Each order's columns, which begin an index and end in something unique, and whether it goes down."""

_SHOWN = (
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

_DETAILS = """
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


def _shown(row: dict[str, Any], suiting: Suiting) -> dict[str, Any]:
    """Give a row as it is shown: None for empty text, nothing that only ordered it; and which targets it suits."""
    shown = {
        name: (value or None) if name in _SHOWN else value
        for name, value in row.items()
        if not name.startswith("by_")
    }
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
    columns, _ = _ORDER[sort]
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


class Found(Questions, InMemory):
    """How sheets are found."""

    def find(self, query: Query) -> Page:
        """Find the sheets that fit a question.

        Raises
        ------
        NotationError : a tag, date, order or place in the list that can't be read.
        UnknownNameError : a print target that isn't on record.
        """
        self._refuse_unanswerable(query)
        with self.at_once():
            conditions = self.conditions(query)
            rows, after = self._rows(query, conditions)
            return Page(self._count(conditions), rows, after)

    def find_with_choices(self, query: Query, most: int = 200) -> tuple[Page, Choices]:
        """Find the sheets that fit a question, and count what else could be chosen, of one state of the archive.

        Parameters
        ----------
        query, most : as for :meth:`find` and :meth:`counts`.
        """
        self._refuse_unanswerable(query)
        with self.at_once():
            conditions = self.conditions(query)
            columns = self.columns(SEARCHED)
            fitting = self._fitting(columns, conditions)
            together = _all_of(columns, fitting.values())
            choices = _choices(columns, fitting, together, most, self.ranges_suiting())
            if conditions.of and query.after is None and query.limit is not None:
                ids = _page_of(columns, together, query)
                return Page(int(np.count_nonzero(together)), self._rows_of_ids(ids)), choices
            rows, after = self._rows(query, conditions)
            return Page(int(np.count_nonzero(together)), rows, after), choices

    def _refuse_unanswerable(self, query: Query) -> None:
        if query.sort not in _ORDER:
            raise NotationError(f"there is no order {query.sort!r}; sort by {', '.join(_ORDER)}")
        if (query.limit is not None and query.limit < 0) or query.offset < 0:
            raise NotationError(
                "a page can't have fewer than no sheets; give a limit and offset of 0 or more"
            )

    def _rows(self, query: Query, conditions: Conditions) -> tuple[list[dict[str, Any]], str | None]:
        """Read the rows of a page along an index, and what the next one is asked for with."""
        sql, parameters = self._page_sql(query, conditions)
        rows = self.rows(sql, parameters)
        after = None
        if query.limit is not None and len(rows) > query.limit:
            rows.pop()
            if rows:
                after = _token(query.sort, [rows[-1][f"by_{name}"] for name in _ORDER[query.sort][0]])
        suiting = self.ranges_suiting()
        return [_shown(row, suiting) for row in rows], after

    def _rows_of_ids(self, ids: list[int]) -> list[dict[str, Any]]:
        """Read the rows of sheets, in their order."""
        sql = (
            f"with page as materialized (select j.key as by_key, {', '.join(f'k.{name}' for name in _SHOWN)}"
            " from json_each(?) j join sheet_search k on k.id = j.value)"
            f" select {', '.join(f'p.{name} as {name}' for name in _SHOWN)},{_DETAILS} order by p.by_key"
        )
        suiting = self.ranges_suiting()
        return [_shown(row, suiting) for row in self.rows(sql, [json.dumps(ids)])]

    def _page_sql(self, query: Query, conditions: Conditions) -> tuple[str, dict[str, Any]]:
        """Write the statement of a page: choose its sheets along one index, then look up what is shown."""
        columns, down = _ORDER[query.sort]
        clauses = list(conditions.clauses) if not conditions.nothing else ["0"]
        parameters = dict(conditions.parameters)
        if query.after:
            for name, value in zip(columns, _values(query.after, query.sort), strict=True):
                parameters[f"after_{name}"] = value
            marks = ", ".join(f":after_{name}" for name in columns)
            clauses.append(f"({', '.join(columns)}) {'<' if down else '>'} ({marks})")
        direction = " desc" if down else ""
        order = ", ".join(f"{name}{direction}" for name in columns)
        where = f" where {' and '.join(clauses)}" if clauses else ""
        parameters["limit"] = -1 if query.limit is None else query.limit + 1
        parameters["offset"] = query.offset
        wanted = dict.fromkeys((*_SHOWN, *columns))
        sql = (
            f"with page as materialized (select {', '.join(wanted)} from sheet_search{where}"
            f" order by {order} limit :limit offset :offset)"
            f" select {', '.join(f'p.{name} as {name}' for name in _SHOWN)},"
            f" {', '.join(f'p.{name} as by_{name}' for name in columns)},{_DETAILS}"
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
        return self._count(self.conditions(query))

    def _count(self, conditions: Conditions) -> int:
        if conditions.nothing:
            return 0
        counted = (
            "coalesce(sum(sheets), 0) from sheet_counts"
            if conditions.counted
            else "count(*) from sheet_search"
        )
        return int(self.value(f"select {counted}{conditions.where}", conditions.parameters))

    def counts(self, query: Query, most: int = 200) -> Choices:
        """Count, for every filter, the sheets of each of its values, given the other filters.

        Parameters
        ----------
        query : the question; its own choice for a filter doesn't narrow that filter's values.
        most : of batches and places at most so many, those with most sheets; of the others all.

        Returns
        -------
        Filter (film, lens, cell, tag, developer, verdict, stage, batch, place, suits) → (value, sheets), in
        the order of the values.

        Raises
        ------
        NotationError : a tag or date that can't be read.
        UnknownNameError : a print target that isn't on record.
        """
        with self.at_once():
            columns = self.columns(SEARCHED)
            fitting = self._fitting(columns, self.conditions(query))
            together = _all_of(columns, fitting.values())
            return _choices(columns, fitting, together, most, self.ranges_suiting())

    def _fitting(self, columns: Columns, conditions: Conditions) -> dict[str, Mask]:
        """Tell of each filter which of the sheets in columns fit it."""
        return {name: self._fits(columns, name, one) for name, one in conditions.of.items()}

    def _fits(self, columns: Columns, name: str, condition: Condition) -> Mask:
        if condition.values is not None:
            return columns.words[name].among(condition.values)
        if condition.parameters is None:
            return np.zeros(len(columns.ids), bool)
        if name == "suits":
            least, most = condition.parameters.values()
            return _in_range(columns, least, most)
        (asked,) = condition.parameters.values()
        if name == "text":
            # One text of all ids: tens of thousands of rows cost more than finding them does.
            sql = "select group_concat(rowid) from sheet_search_fts where sheet_search_fts match ?"
            ids = self.value(sql, [asked])
            return columns.among(np.fromstring(ids or "", np.int64, sep=","))
        exposed_at, limit = columns.arrays["exposed_at"], np.bytes_(asked.encode())
        if name == "since":
            return np.asarray(exposed_at >= limit)
        return np.asarray((exposed_at > b"") & (exposed_at <= limit))

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
            for name, sign, direction in (("previous", "<", "desc"), ("next", ">", "asc")):
                beside[name] = self.value(
                    f"select sheet from sheet_search where (exposed_at, id) {sign} (:exposed_at, :id)"
                    f" and exposed_at > '' order by exposed_at {direction}, id {direction} limit 1",
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


def _all_of(columns: Columns, masks: Iterable[Mask]) -> Mask:
    """Tell which sheets fit every one of some filters."""
    together = columns.there
    for mask in masks:
        together = together & mask
    return together


def _in_range(columns: Columns, least: float, most: float) -> Mask:
    """Tell which sheets have a density range between two, both included."""
    ranges = columns.arrays["printing_range"]
    return np.asarray((ranges >= least) & (ranges <= most))


def _choices(
    columns: Columns, fitting: Mapping[str, Mask], together: Mask, most: int, suiting: Suiting
) -> Choices:
    """Count the values of every filter, given the others."""

    def given(name: str) -> Mask:
        if name not in fitting:
            return together
        return _all_of(columns, (mask for other, mask in fitting.items() if other != name))

    counted = {
        name: columns.words[name].counts(given(name), most if name in ("batch", "place") else None)
        for name in CHOICES
    }
    others = given("suits")
    suits = {
        target: int(np.count_nonzero(others & _in_range(columns, *ranges)))
        for target, ranges in suiting.items()
    }
    # A sheet may suit several targets, and none: they are no column of words.
    counted["suits"] = [(target, sheets) for target, sheets in suits.items() if sheets]
    return {name: sorted(values, key=_tag_order(name)) for name, values in counted.items()}


def _page_of(columns: Columns, together: Mask, query: Query) -> list[int]:
    """Choose the sheets of a page, in the order asked for."""
    first, down = _ORDER[query.sort][0][0], _ORDER[query.sort][1]
    order = columns.in_order(first)
    places = order[together[order]]
    if down:
        places = places[::-1]
    chosen: list[int] = columns.ids[places[query.offset : query.offset + (query.limit or 0)]].tolist()
    return chosen


def _tag_order(name: str) -> Any:
    """Sort tags by how far they go, everything else by name."""
    if name == "tag":
        return lambda counted: parse_tag(counted[0]).n
    return lambda counted: counted[0].casefold()
