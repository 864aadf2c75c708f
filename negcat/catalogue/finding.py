"""Sheets that fit a question: pages of them, how many there are, and the counts beside each filter."""

from __future__ import annotations

import base64
import json
from collections import Counter
from dataclasses import dataclass
from typing import Any

from negcat.catalogue.queries import Conditions, Query, Questions
from negcat.catalogue.searching_schema import COUNTED
from negcat.errors import NotationError
from negcat.notation import parse_tag

__all__ = ["Found", "Page"]

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
    rows : the fields of ``negcat find --json``, and stage, stop, time, format, error of exposure and
        found N with their deviations, and scan, width, height of the picture; None for what there isn't.
    after : what to ask for the next page with; None on the last.
    """

    count: int
    rows: list[dict[str, Any]]
    after: str | None = None


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


class Found(Questions):
    """How sheets are found."""

    def find(self, query: Query) -> Page:
        """Find the sheets that fit a question.

        Raises
        ------
        NotationError : a tag, date, order or place in the list that can't be read.
        """
        if query.sort not in _ORDER:
            raise NotationError(f"there is no order {query.sort!r}; sort by {', '.join(_ORDER)}")
        if (query.limit is not None and query.limit < 0) or query.offset < 0:
            raise NotationError(
                "a page can't have fewer than no sheets; give a limit and offset of 0 or more"
            )
        conditions = self.conditions(query)
        sql, parameters = self._page_sql(query, conditions)
        rows = self.rows(sql, parameters)
        after = None
        if query.limit is not None and len(rows) > query.limit:
            rows.pop()
            if rows:
                after = _token(query.sort, [rows[-1][f"by_{name}"] for name in _ORDER[query.sort][0]])
        for row in rows:
            for name in _SHOWN:
                row[name] = row[name] or None
            for name in [name for name in row if name.startswith("by_")]:
                del row[name]
        return Page(self.count(query), rows, after)

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
        """
        conditions = self.conditions(query)
        if conditions.nothing:
            return 0
        counted = (
            "coalesce(sum(sheets), 0) from sheet_counts"
            if conditions.counted
            else "count(*) from sheet_search"
        )
        return int(self.value(f"select {counted}{conditions.where}", conditions.parameters))

    def counts(self, query: Query, most: int = 200) -> dict[str, list[tuple[str, int]]]:
        """Count, for every filter, the sheets of each of its values, given the other filters.

        Parameters
        ----------
        query : the question; its own choice for a filter doesn't narrow that filter's values.
        most : of batches and places at most so many, those with most sheets; of the others all.

        Returns
        -------
        Filter (film, lens, cell, tag, developer, verdict, stage, batch, place) → (value, sheets), in the
        order of the values.

        Raises
        ------
        NotationError : a tag or date that can't be read.
        """
        chosen = query.filters()
        found: dict[str, list[tuple[str, int]]] = {}
        together = self._combinations(query)
        for place, name in enumerate(COUNTED):
            combinations = self._combinations(query.without(name)) if name in chosen else together
            values: Counter[str] = Counter()
            for row in combinations:
                values[row[place]] += row[-1]
            found[name] = sorted(
                ((value, number) for value, number in values.items() if value), key=_tag_order(name)
            )
        for name in ("batch", "place"):
            found[name] = self._most(name, query.without(name), most)
        return found

    def _combinations(self, query: Query) -> list[tuple[Any, ...]]:
        """Count the combinations of what sheets are counted by, among those that fit."""
        conditions = self.conditions(query)
        columns = ", ".join(COUNTED)
        if conditions.counted:
            sql = f"select {columns}, sheets from sheet_counts{conditions.where}"
        else:
            sql = f"select {columns}, count(*) from sheet_search{conditions.where} group by {columns}"
        return self.tuples(sql, conditions.parameters)

    def _most(self, name: str, query: Query, most: int) -> list[tuple[str, int]]:
        conditions = self.conditions(query)
        if name == "place" and not conditions.clauses:
            sql = "select place, sheets from places order by sheets desc, place limit :most"
        else:
            given = f"{conditions.where} and" if conditions.where else " where"
            sql = (
                f"select {name}, count(*) from sheet_search{given} {name} > '' group by {name}"
                f" order by 2 desc, 1 limit :most"
            )
        return sorted(
            ((value, number) for value, number in self.tuples(sql, {**conditions.parameters, "most": most})),
            key=lambda counted: counted[0].casefold(),
        )

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


def _tag_order(name: str) -> Any:
    """Sort tags by how far they go, everything else by name."""
    if name == "tag":
        return lambda counted: parse_tag(counted[0]).n
    return lambda counted: counted[0].casefold()
