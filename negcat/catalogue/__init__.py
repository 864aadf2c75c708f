"""SQLite: what the archive holds, how it comes in and how it is found again.

What is named here is loaded when it is first used: whoever only looks something up doesn't wait for what writes
and computes.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from negcat.catalogue.checks import Due, Way
    from negcat.catalogue.columns import Memory
    from negcat.catalogue.copying import (
        beside,
        brought_up_to_date,
        copy_catalogue,
        is_catalogue,
        is_whole,
        put_into,
    )
    from negcat.catalogue.describing import describe
    from negcat.catalogue.dumping import sql_text
    from negcat.catalogue.finding import Page
    from negcat.catalogue.findings import EXPOSURE, Findings
    from negcat.catalogue.gathering import Outcomes
    from negcat.catalogue.leaving import Master, masters_leaving, most_readings, records_leaving
    from negcat.catalogue.often_asked import OFTEN_ASKED, Asked, prepare, searching
    from negcat.catalogue.queries import Query
    from negcat.catalogue.reviewing import AdvisedTime, DatedChange
    from negcat.catalogue.store import Catalogue
    from negcat.catalogue.tables import Column, Table, rows_leaving, tables_leaving
    from negcat.catalogue.taking import Taken

__all__ = [
    "EXPOSURE",
    "OFTEN_ASKED",
    "AdvisedTime",
    "Asked",
    "Catalogue",
    "Column",
    "DatedChange",
    "Due",
    "Findings",
    "Master",
    "Memory",
    "Outcomes",
    "Page",
    "Query",
    "Table",
    "Taken",
    "Way",
    "beside",
    "brought_up_to_date",
    "copy_catalogue",
    "describe",
    "is_catalogue",
    "is_whole",
    "masters_leaving",
    "most_readings",
    "prepare",
    "put_into",
    "records_leaving",
    "rows_leaving",
    "searching",
    "sql_text",
    "tables_leaving",
]

_WHERE = {
    "checks": ("Due", "Way"),
    "columns": ("Memory",),
    "copying": ("beside", "brought_up_to_date", "copy_catalogue", "is_catalogue", "is_whole", "put_into"),
    "describing": ("describe",),
    "dumping": ("sql_text",),
    "finding": ("Page",),
    "findings": ("EXPOSURE", "Findings"),
    "gathering": ("Outcomes",),
    "leaving": ("Master", "masters_leaving", "most_readings", "records_leaving"),
    "often_asked": ("OFTEN_ASKED", "Asked", "prepare", "searching"),
    "queries": ("Query",),
    "reviewing": ("AdvisedTime", "DatedChange"),
    "store": ("Catalogue",),
    "tables": ("Column", "Table", "rows_leaving", "tables_leaving"),
    "taking": ("Taken",),
}
_MODULES = {name: module for module, names in _WHERE.items() for name in names}


def __getattr__(name: str) -> Any:
    """Load what is asked for (PEP 562)."""
    if name not in _MODULES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    found = getattr(import_module(f"{__name__}.{_MODULES[name]}"), name)
    globals()[name] = found
    return found
