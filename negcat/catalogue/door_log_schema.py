"""The table of what happened at the door of the pages.

This is part of a released migration step: a later change is a step of its own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sqlite_utils import Database

__all__ = ["create"]


def create(db: Database) -> None:
    """Create the table, inside a transaction."""
    db.table("door_log").create(
        {
            "id": int,
            "at": str,
            "address": str,
            "session": str,
            "what": str,
            "led_to": str,
            "outcome": str,
        },
        pk="id",
        not_null={"id", "at", "address", "what"},
    )
