"""Where in its scan a film test lies: a column that came later.

This is part of a released migration step: a later change is a step of its own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sqlite_utils import Database

__all__ = ["create"]


def create(db: Database) -> None:
    """Add the region to film tests.

    Parameters
    ----------
    db : the open database, inside a transaction.
    """
    db.execute("alter table film_tests add column region text")
