"""Where removed sheets are kept, and how what was changed of a sheet's scans is found.

``removed_sheets`` keeps everything of a sheet whose rows have left all other tables, so that nothing that asks for
sheets need leave removed ones out. ``removed_sheet_scans`` names the scans it had.

This is a released migration step: a later change is a step of its own. A step that renames or drops a column which
``rows`` speaks of has to look to what is kept there, too.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlite_utils.db import ForeignKey

if TYPE_CHECKING:
    from sqlite_utils import Database

__all__ = ["create"]


def create(db: Database) -> None:
    """Create the tables and indexes.

    Parameters
    ----------
    db : the open database, inside a transaction.
    """
    kept = {"sheet": str, "removed_at": str, "removed_via": str, "record": str, "scans": str, "rows": str}
    db.table("removed_sheets").create({**kept, "state": str}, pk="sheet", not_null={*kept, "state"})
    db.execute('create index "idx_removed_sheets_nocase" on "removed_sheets" ("sheet" collate nocase)')
    db.table("removed_sheet_scans").create(
        {"sheet": str, "scan": str},
        pk=("sheet", "scan"),
        not_null={"sheet", "scan"},
        foreign_keys=[
            ForeignKey(
                "removed_sheet_scans",
                "sheet",
                "removed_sheets",
                "sheet",
                on_delete="CASCADE",
                on_update="CASCADE",
            ),
            ForeignKey(
                "removed_sheet_scans", "scan", "scans", "scan", on_delete="CASCADE", on_update="CASCADE"
            ),
        ],
    ).create_index(["scan"])
    for name, column in (("from", "old"), ("to", "new")):
        db.execute(
            f"create index idx_history_scan_{name} on history (json_extract({column}, '$.sheet'))"
            " where kind = 'scans'"
        )
