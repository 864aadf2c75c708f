"""The tables of the tallies: of each sheet one byte a column, side by side.

See :mod:`negcat.catalogue.tallying`. This is part of a released migration step: a later change is a step of its own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sqlite_utils import Database

__all__ = ["create"]


def create(db: Database) -> None:
    """Create the tables, inside a transaction; they hold nothing until there are many sheets.

    Parameters
    ----------
    db : the open database.
    """
    db.table("sheet_tallies").create({"name": str, "meaning": str}, pk="name", not_null={"name", "meaning"})
    db.table("sheet_tally_bytes").create(
        {"name": str, "part": int, "bytes": bytes}, pk=("name", "part"), not_null={"name", "part", "bytes"}
    )
