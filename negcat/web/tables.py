"""Datasette's own pages beside the archive's: described, dressed alike, and with a way back."""

from __future__ import annotations

from typing import Any

from negcat.web import reading

__all__ = ["links", "metadata", "stylesheets"]

INTERNAL = ("_sqlite_migrations", "out_of_date", "places", "sheet_counts", "sheet_search")
"""Tables that only keep searches quick and findings true; Datasette shows them when asked to."""


def metadata(datasette: Any) -> dict[str, Any]:
    """Write Datasette's metadata for the catalogue: what each table and column holds, and in what unit."""
    attached = reading.attached(datasette) if hasattr(datasette, "databases") else None
    if attached is None:
        return {}
    tables = {name: {**described} for name, described in reading.described().items()}
    for name in INTERNAL:
        tables[name] = {**tables.get(name, {}), "hidden": True}
    return {"databases": {attached.database: {"tables": tables}}}


def stylesheets(datasette: Any) -> list[str]:
    """Name the style sheet that Datasette's own pages take as well."""
    if reading.attached(datasette) is None:
        return []
    # Datasette puts the base address before it.
    return ["/-/static-plugins/negcat/tables.css"]


def links(datasette: Any) -> list[dict[str, str]]:
    """Name the archive's pages for Datasette's menu."""
    if reading.attached(datasette) is None:
        return []
    return [
        {"href": datasette.urls.path("/"), "label": "Sheets"},
        {"href": datasette.urls.path("/pending"), "label": "Pending"},
    ]
