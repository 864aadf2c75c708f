"""What numbers the changes of sheets, so that who holds sheets in memory knows which to read anew.

``sheet_changes`` has a row for every sheet there is or was: the number of its last change, higher than that of any
change before it. Triggers write it, so that no program can change a sheet without.

This is part of a released migration step: a later change is a step of its own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from negcat.catalogue.searching_schema import FACTS

if TYPE_CHECKING:
    from sqlite_utils import Database

__all__ = ["INSERTED", "create", "note_changes_of", "note_inserted"]

INSERTED = "sheet_changes_inserted"
"""The trigger that is laid aside while many sheets come at once."""

_NEXT = "(select coalesce(max(change), 0) + 1 from sheet_changes)"
_AGAIN = "on conflict (id) do update set change = excluded.change;"


def note_inserted(db: Database, after: int) -> None:
    """Give a number to the sheets that came while the trigger was laid aside: all whose id is above one."""
    db.execute(
        "insert into sheet_changes (id, change) select id, (select coalesce(max(change), 0) from sheet_changes)"
        " + row_number() over (order by id) from sheet_search where id > ?"
        " on conflict (id) do update set change = excluded.change",
        [after],
    )


def note_changes_of(db: Database, column: str) -> None:
    """Give a number also to the sheets of which a column changes that ``sheet_search`` came to have later."""
    db.execute(
        f"create trigger sheet_changes_{column} after update of {column} on sheet_search"
        f" when old.{column} is not new.{column}"
        f" begin insert into sheet_changes (id, change) values (new.id, {_NEXT}) {_AGAIN} end"
    )


def create(db: Database) -> None:
    """Create the table and its triggers, in a catalogue that holds ``sheet_search``.

    Parameters
    ----------
    db : the open database, inside a transaction.
    """
    db.table("sheet_changes").create({"id": int, "change": int}, pk="id", not_null={"id", "change"})
    db.execute("create unique index idx_sheet_changes_change on sheet_changes (change)")
    note_inserted(db, -1)

    def trigger(name: str, event: str, body: str, changed: tuple[str, ...] = ()) -> None:
        when = " or ".join(f"old.{column} is not new.{column}" for column in changed)
        db.execute(f"create trigger {name} after {event} {f'when {when} ' if when else ''}begin {body} end")

    def by_id(row: str) -> str:
        return f"insert into sheet_changes (id, change) values ({row}.id, {_NEXT}) {_AGAIN}"

    def by_sheet(row: str) -> str:
        return (
            f"insert into sheet_changes (id, change) select k.id, {_NEXT} from sheet_search k"
            f" where k.sheet = {row}.sheet {_AGAIN}"
        )

    trigger(INSERTED, "insert on sheet_search", by_id("new"))
    trigger("sheet_changes_deleted", "delete on sheet_search", by_id("old"))
    trigger("sheet_changes_updated", "update on sheet_search", by_id("old") + by_id("new"), ("id", *FACTS))
    for table, columns in (
        ("results", ("sheet", "residual_stops", "found_n", "found_n_density_sd")),
        ("findings", ("sheet", "base_fog", "base_fog_source")),
    ):
        trigger(f"sheet_changes_{table}_inserted", f"insert on {table}", by_sheet("new"))
        trigger(f"sheet_changes_{table}_deleted", f"delete on {table}", by_sheet("old"))
        both = by_sheet("old") + by_sheet("new")
        trigger(f"sheet_changes_{table}_updated", f"update of {', '.join(columns)} on {table}", both, columns)
    columns = ("stop", "f_number", "stop_scale", "exposure_index")
    event = f"update of {', '.join(columns)} on sheets"
    trigger("sheet_changes_sheets_updated", event, by_sheet("new"), columns)
