"""The tables' cells: ways to the pages, and figures with as many places as they are good for.

The name of a sheet, film, lens or batch opens its page. In a table's own first column Datasette leads to the
row; everywhere else, and on the row's own page, the name leads to the page. A table of things that have a page
says so in a further column, since the first is not ours to write.

Figures of one column have the same number of decimal places, so that their points stand under each other. JSON
and CSV give them whole.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from typing import Any
from urllib.parse import quote, urlencode

from datasette.utils import is_url
from markupsafe import Markup, escape

from negcat.web import reading

__all__ = ["render"]

_PAGES = {"sheet": "sheet", "film": "film", "lens": "lens", "batch": "batch"}
"""Column → kind of page."""

_OWN_PAGE = {
    "sheets": ("subject", "sheet", "sheet"),
    "films": ("box_speed", "name", "film"),
    "lenses": ("shutter", "name", "lens"),
    "developments": ("date", "batch", "batch"),
}
"""Table → the column that also leads to the page, the column of the name, the kind of page."""

_PLACES = {"stops": 2, "N": 2, "zone": 2, "EV": 2, "transmission density": 3}
"""Unit → decimal places shown."""

_PLACES_BY_NAME = (("density", 3), ("_stops", 2), ("_n", 2), ("_zone", 2))
"""What a column of an answer to a query is called → decimal places shown."""

_DEVIATIONS = ("_sd", "_se")

_OWN_NAMES = {("films", "name"): "film", ("lenses", "name"): "lens"}
_KINDS = {"sheets": "sheet", "films": "film", "lenses": "lens", "developments": "batch"}
"""What the history calls a kind of record → kind of page."""

_WALL = ("lens", "cell", "tag", "film", "developer", "batch")
_COUNTED_BY = (*_WALL, "place", "verdict", "stage")
"""What a number of sheets may be of; the wall can be asked for the first exactly, the table for all."""


def render(datasette: Any, row: Any, value: Any, column: str, table: str | None) -> Markup | None:
    """Write a cell that leads to a page; None leaves the cell to Datasette.

    Parameters
    ----------
    row : the row as Datasette reads it: column → value, or → value and label of what it refers to.
    value : of the cell.
    table : the table's or view's name; None for an answer to a query.
    """
    attached = reading.attached(datasette)
    if attached is None:
        return None

    def of(name: str) -> str:
        return _text(row[name]) if name in row.keys() else ""  # noqa: SIM118 a row tests for values otherwise

    path: Callable[[str], str] = datasette.urls.path
    text = _text(value)
    if table in _OWN_PAGE and column == _OWN_PAGE[table][0]:
        _, named, kind = _OWN_PAGE[table]
        name = of(named)
        return _own(text, path(f"/{kind}/{quote(name, safe='')}"), name) if name else None
    if table == "scans" and column == "path":
        sheet, scan = of("sheet"), of("scan")
        return _own(text, path(f"/sheet/{quote(sheet, safe='')}?scan={scan}"), sheet) if sheet else None
    if not text:
        return None
    if isinstance(value, float):
        return _figure(value, _places(table, column))
    kind = _PAGES.get(column) or _OWN_NAMES.get((table or "", column)) or ""
    if table == "history" and column == "name":
        kind = _KINDS.get(of("kind"), "")
    if kind:
        return _link(path(f"/{kind}/{quote(text, safe='')}"), text)
    if table is None and column == "scan" and of("sheet"):
        return _link(path(f"/sheet/{quote(of('sheet'), safe='')}?scan={quote(text, safe='')}"), text)
    if table is None and column == "sheets" and isinstance(value, int):
        chosen = {name: of(name) for name in _COUNTED_BY if name in row.keys()}  # noqa: SIM118
        text_or_link = _counted(datasette, attached, chosen, text)
        return Markup('<span class="figure">{}</span>').format(text_or_link)
    if isinstance(value, str) and is_url(text.strip()):
        # What somebody wrote is shown, not gone by.
        return escape(text)
    if table is None and isinstance(value, int):
        return Markup('<span class="figure">{}</span>').format(text)
    return None


@cache
def _places(table: str | None, column: str) -> int | None:
    """Tell how many decimal places a column's figures are shown with; None: as many as they need."""
    if table is not None:
        units = reading.described().get(table, {}).get("column_units", {})
        return _PLACES.get(units.get(column, ""))
    for ending in _DEVIATIONS:
        column = column.removesuffix(ending)
    return next((places for ending, places in _PLACES_BY_NAME if column.endswith(ending)), None)


def _figure(value: float, places: int | None) -> Markup:
    text = f"{value:.7g}" if places is None else f"{value:.{places}f}"
    return Markup('<span class="figure">{}</span>').format(text)


def _text(value: Any) -> str:
    """Read a cell's own value, without the label of what it refers to."""
    if isinstance(value, Mapping):
        value = value["value"]
    return "" if value is None else str(value)


def _link(address: str, text: str) -> Markup:
    return Markup('<a href="{}">{}</a>').format(str(address), text)


def _own(text: str, address: str, name: str) -> Markup:
    before = Markup("{} ").format(text) if text else Markup("")
    return before + Markup('<a class="own-page" href="{}">page of {}</a>').format(str(address), name)


def _counted(
    datasette: Any, attached: reading.Attached, chosen: Mapping[str, str], text: str
) -> Markup | str:
    """Lead from a number of sheets to the sheets."""
    if not chosen or not all(chosen.values()):
        return text
    if set(chosen) <= set(_WALL):
        return _link(datasette.urls.path(f"/?{urlencode(chosen)}"), text)
    table = datasette.urls.table(attached.database, "sheet_search")
    exactly = urlencode({f"{name}__exact": value for name, value in chosen.items()})
    return _link(f"{table}?{exactly}", text)
