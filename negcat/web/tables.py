"""Datasette's own pages beside the archive's: described, dressed alike, and with a way back."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any

from negcat.web import reading

__all__ = ["links", "metadata", "prepare", "stylesheets"]

INTERNAL = (
    "_sqlite_migrations",
    "out_of_date",
    "places",
    "sheet_changes",
    "sheet_counts",
    "sheet_tallies",
    "sheet_tally_bytes",
)
"""Tables that only keep searches quick and findings true; Datasette shows them when asked to."""

_ABOUT = (
    "Every table of the archive. Records stand as they were written; findings, exposures, found_readings and "
    "results are computed from them and from the scans, and may be computed anew at any time. Names of sheets, "
    "films, lenses and batches lead to their pages."
)

_WAYS: Mapping[str, Mapping[str, Any]] = {
    "sheets": {"label_column": "sheet", "size": 50, "facets": ["film", "lens"]},
    "sheet_search": {
        "sort_desc": "exposed_at",
        "facets": ["film", "lens", "cell", "tag", "developer", "verdict", "stage"],
    },
    "scans": {
        "label_column": "path",
        "sort_desc": "taken_order",
        "size": 50,
        "facets": ["scanner", "profile"],
    },
    "profiles": {"label_column": "made_at", "sort_desc": "id", "facets": ["scanner", "tablet"]},
    "developments": {"label_column": "batch", "sort_desc": "date", "facets": ["developer"]},
    "development_sheets": {"size": 100},
    "films": {"label_column": "name"},
    "lenses": {"label_column": "name", "facets": ["shutter"]},
    "cells": {"label_column": "cell"},
    "film_tests": {"label_column": "test", "facets": ["film", "tablet"]},
    "history": {"sort_desc": "id", "facets": ["kind"]},
    "scan_paths": {"label_column": "path", "size": 100},
    "exposures": {"size": 50},
    "results": {"size": 50},
    "findings": {"size": 50},
    "readings_planned_given_found": {"sort": "sheet"},
}
"""How each table is met: what stands for a row where another refers to it, order, rows a page, and what to
narrow it by, which is always a column that begins an index: a hundred thousand rows are then counted in
hundredths of a second."""

_NOT_SORTED = (
    *(
        "base_fog_more",
        "condition",
        "densities",
        "description",
        "measured",
        "more",
        "movements",
        "new",
        "notes",
    ),
    *("after", "before", "sentence"),
    *("old", "provenance", "rebate", "reciprocity", "registration", "settings", "why"),
)
"""Columns of JSON or prose: to sort by them says nothing."""


@cache
def _described() -> dict[str, dict[str, Any]]:
    """Describe the tables; the same for every archive."""
    tables: dict[str, dict[str, Any]] = {}
    for name, described in reading.described().items():
        left_out = {*_NOT_SORTED, *(("profile",) if name == "profiles" else ())}
        tables[name] = {
            **described,
            "sortable_columns": [column for column in described["columns"] if column not in left_out],
            **_WAYS.get(name, {}),
        }
    for name in INTERNAL:
        tables[name] = {**tables.get(name, {}), "hidden": True}
    return tables


def metadata(datasette: Any) -> dict[str, Any]:
    """Write Datasette's metadata for the catalogue: what each table and column holds, and in what unit."""
    attached = reading.attached(datasette) if hasattr(datasette, "databases") else None
    if attached is None:
        return {}
    # Datasette asks dozens of times a page and writes into what it gets, as deep as this copy goes.
    tables = {
        name: {key: value.copy() if isinstance(value, dict) else value for key, value in table.items()}
        for name, table in _described().items()
    }
    return {"databases": {attached.database: {"description": _ABOUT, "tables": tables}}}


def prepare(datasette: Any) -> None:
    """Turn off that Datasette suggests facets: it reads every column of a table for that.

    On a hundred thousand sheets that takes seconds a page. ``negcat serve`` sets it; plain
    ``datasette negcat.db`` has no place to set it in but here. The tables' own facets are chosen.
    """
    if reading.attached(datasette) is not None:
        datasette._settings["suggest_facets"] = False


def stylesheets(datasette: Any) -> list[str]:
    """Name the style sheets that Datasette's own pages take as well."""
    if reading.attached(datasette) is None:
        return []
    # Datasette puts the base address before it.
    return [f"/-/static-plugins/negcat/{name}.css" for name in ("colours", "tables")]


def links(datasette: Any) -> list[dict[str, str]]:
    """Name the archive's pages for Datasette's menu."""
    if reading.attached(datasette) is None:
        return []
    return [
        {"href": datasette.urls.path("/"), "label": "Sheets"},
        {"href": datasette.urls.path("/review"), "label": "Review"},
        {"href": datasette.urls.path("/pending"), "label": "Pending"},
    ]
