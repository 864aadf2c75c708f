"""The density range that a negative has for printing: kept beside its result, and where sheets are searched.

``results.printing_range`` is the range between zones II and VIII, None where it can't be had. ``sheet_search`` holds it
too, kept true by the same triggers as the verdict.

This is part of a released migration step: a later change is a step of its own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from negcat.catalogue.changes_schema import note_changes_of
from negcat.catalogue.searching_schema import FACTS, FACTS_VIEW, GLANCE_VIEW, write_on_changes
from negcat.catalogue.target_curves import curve_of
from negcat.sensitometry import DEFAULT_TARGET, textured_range

if TYPE_CHECKING:
    from sqlite_utils import Database

__all__ = ["create"]

RANGE = "printing_range"


def create(db: Database) -> None:
    """Add the range to results and to what is searched, in a catalogue that holds both.

    Parameters
    ----------
    db : the open database, inside a transaction.
    """
    for table in ("results", "sheet_search"):
        db.execute(f"alter table {table} add column {RANGE} real")
    for event in ("inserted", "deleted", "updated"):
        db.execute(f"drop trigger results_searched_{event}")
    _fill(db)
    db.execute(f"create index idx_sheet_search_{RANGE} on sheet_search ({RANGE}, exposed_at, id)")
    db.execute("drop view sheet_facts")
    db.execute(_and_range(FACTS_VIEW, "reading_names", f"r.{RANGE}"))
    db.execute("drop view sheets_at_a_glance")
    db.execute(_and_range(GLANCE_VIEW, "stage", f"round(k.{RANGE}, 2)"))
    db.execute("drop trigger sheets_inserted")
    facts = ", ".join((*FACTS, RANGE))
    db.execute(
        "create trigger sheets_inserted after insert on sheets begin"
        f" insert into sheet_search ({facts}) select {facts} from sheet_facts where sheet = new.sheet; end"
    )
    write_on_changes(db, "results", ("sheet", "verdict", RANGE), "sheet = {}.sheet", "verdict", RANGE)
    note_changes_of(db, RANGE)


def _and_range(view: str, last: str, read: str) -> str:
    """Write a view with the range as one more column, behind its last."""
    columns, found, tables = view.rpartition(f" as {last}\n")
    return f"{columns} as {last},\n  {read} as {RANGE}\n{tables}" if found else view


def _fill(db: Database) -> None:
    """Work the range out of the paper that every result asks for, by the print target it was judged by."""
    curves = {row[0]: curve_of(*row) for row in db.execute("select name, densities from print_targets")}
    asked = db.execute(
        "select r.sheet, json_extract(r.more, '$.paper.iso_r'),"
        " coalesce(json_extract(f.provenance, '$.print_target'), s.print_target, ?)"
        " from results r join sheets s on s.sheet = r.sheet left join findings f on f.sheet = r.sheet"
        " where json_extract(r.more, '$.paper.iso_r') is not null",
        [DEFAULT_TARGET],
    ).fetchall()
    db.conn.executemany(
        f"update results set {RANGE} = ? where sheet = ?",
        (
            (textured_range(iso_r, curves[target]), sheet)
            for sheet, iso_r, target in asked
            if target in curves
        ),
    )
    db.execute(
        f"update sheet_search set {RANGE} = r.{RANGE} from results r"
        f" where r.sheet = sheet_search.sheet and r.{RANGE} is not null"
    )
