"""The record of every check that masters are still what was taken.

This is part of a released migration step: a later change is a step of its own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlite_utils.db import ForeignKey

if TYPE_CHECKING:
    from sqlite_utils import Database

__all__ = ["create"]


def create(db: Database) -> None:
    """Create the tables, inside a transaction."""
    db.table("check_runs").create(
        {
            "id": int,
            "began_at": str,
            "ended_at": str,
            "way": str,
            "masters": int,
            "unchanged": int,
        },
        pk="id",
        not_null={"id", "began_at", "way"},
    )
    db.table("checks").create(
        {
            "run": int,
            "scan": str,
            "at": str,
            "status": str,
            "path": str,
            "found_sha256": str,
            "reason": str,
        },
        pk=("run", "scan"),
        not_null={"run", "scan", "at", "status", "path"},
        foreign_keys=[
            ForeignKey("checks", "run", "check_runs", "id", on_delete="CASCADE", on_update="CASCADE"),
            ForeignKey("checks", "scan", "scans", "scan", on_delete="CASCADE", on_update="CASCADE"),
        ],
    ).create_index(["scan", "at"])
