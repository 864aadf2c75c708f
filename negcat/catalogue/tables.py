"""The catalogue's tables as they leave it: which, what each column holds, and their rows bit by bit."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from negcat.catalogue.accepted import BLANK
from negcat.catalogue.describing import describe
from negcat.catalogue.store import Catalogue

__all__ = ["LEFT_OUT", "Column", "Table", "rows_leaving", "tables_leaving"]

LEFT_OUT = {
    "sheet_search": "what sheets are found by, drawn from the other tables",
    "sheet_facts": "what sheet_search is drawn from",
    "sheet_counts": "counts of sheets, drawn from sheet_search",
    "places": "counts of places, drawn from the sheets",
    "sheet_changes": "a number for whoever holds sheets in memory",
    "sheet_tallies": "what the bytes of sheet_tally_bytes mean",
    "sheet_tally_bytes": "what sheets are found by, drawn from sheet_search",
    "out_of_date": "a note for the next command",
    "door_log": "who signed in to the pages: nobody's business elsewhere",
}
"""Tables and views that don't leave, and why."""

_AT_ONCE = 1000


@dataclass(frozen=True)
class Column:
    """A column.

    Parameters
    ----------
    name : its name.
    description : what it holds, in a sentence that ends in its unit.
    unit : its unit; empty where it has none.
    kind : ``text``, ``json``, ``moment`` (UTC), ``integer`` or ``number``.
    required : whether no row leaves it blank.
    """

    name: str
    description: str
    unit: str
    kind: str
    required: bool


@dataclass(frozen=True)
class Table:
    """A table or view.

    Parameters
    ----------
    name : its name.
    description : what one row is.
    columns : its columns.
    key : the columns that tell one row from the others; empty where nothing does.
    references : column → (table, column) that it names a row of.
    """

    name: str
    description: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]
    references: dict[str, tuple[str, str]]


def tables_leaving(catalogue: Catalogue) -> list[Table]:
    """List what leaves: every table and view that is described, but those of :data:`LEFT_OUT`."""
    there = {
        name for (name,) in catalogue.tuples("select name from sqlite_master where type in ('table', 'view')")
    }
    described = describe()
    leaving = [name for name in described if name in there and name not in LEFT_OUT]
    return [_table(catalogue, name, described[name], leaving) for name in leaving]


def _table(catalogue: Catalogue, name: str, described: dict[str, Any], leaving: list[str]) -> Table:
    shape = catalogue.rows(
        f"select name, type, \"notnull\", pk from pragma_table_info('{name}') order by cid"
    )
    units = described["column_units"]
    columns = []
    for row in shape:
        said = described["columns"].get(row["name"], "")
        # What a view computes has no type of its own; figures have units.
        untyped = "number" if row["name"] in units else "text"
        kind = {"TEXT": "text", "INTEGER": "integer", "": untyped}.get(row["type"], "number")
        if kind == "text":
            kind = "json" if "JSON" in said else "moment" if ", UTC" in said else "text"
        required = bool(row["notnull"] or row["pk"]) and row["name"] not in BLANK
        columns.append(Column(row["name"], said, units.get(row["name"], ""), kind, required))
    key = tuple(row["name"] for row in sorted(shape, key=lambda row: int(row["pk"])) if row["pk"])
    # There is no way of saying this of what may be blank, or of several columns that name a row together.
    foreign = catalogue.rows(
        'select min("table") as parent, min("from") as field, min("to") as named'
        f" from pragma_foreign_key_list('{name}') group by id having count(*) = 1"
    )
    filled = {column.name for column in columns if column.required}
    references = {
        row["field"]: (row["parent"], row["named"])
        for row in foreign
        if row["parent"] in leaving and row["named"] and row["field"] in filled
    }
    return Table(name, described["description"], tuple(columns), key, references)


def rows_leaving(catalogue: Catalogue, table: Table) -> Iterator[tuple[Any, ...]]:
    """Give a table's rows, in the order they were written."""
    columns = ", ".join(f'"{column.name}"' for column in table.columns)
    order = " order by rowid" if table.key else ""
    for part in catalogue.in_parts(f'select {columns} from "{table.name}"{order}', (), _AT_ONCE):
        yield from part
