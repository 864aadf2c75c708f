"""What is often asked of the tables, as Datasette's queries named by their question, and the tables' search."""

from __future__ import annotations

from typing import Any

from datasette.filters import FilterArguments

from negcat.web import reading

__all__ = ["queries", "search"]

_SEARCHED = ("sheets", "sheet_search", "sheets_at_a_glance")
"""What is searched by the same words as the wall."""


def queries(datasette: Any, database: str) -> dict[str, dict[str, Any]]:
    """Name the queries of the catalogue."""
    attached = reading.attached(datasette)
    if attached is None or database != attached.database:
        return {}
    return {
        asked.name: {
            "title": asked.question,
            "description": asked.description,
            "sql": asked.sql.strip(),
            "params": list(asked.parameters),
            "hide_sql": True,
        }
        for asked in reading.often_asked()
    }


def search(datasette: Any, request: Any, database: str, table: str) -> FilterArguments | None:
    """Search a table of sheets by words, as the wall does.

    Datasette's own search goes by the number of a row, which is not that of the sheet in the index of words.
    """
    attached = reading.attached(datasette)
    if attached is None or database != attached.database or table not in _SEARCHED:
        return None
    text = request.args.get("_search") or ""
    shown = {"supports_search": True, "search": text}
    if not text.strip():
        return FilterArguments([], extra_context=shown)
    condition, parameters = reading.searching(text)
    return FilterArguments([condition], parameters, [f'search matches "{text}"'], shown)
