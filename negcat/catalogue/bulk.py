"""Taking a collection at once: what is searched is written in one go instead of sheet by sheet.

The triggers that keep the search true cost each new sheet a step for each of its rows, in every index and in the
full text. Where many come, it is far cheaper to write their lines at the end, all at once; where more come than there
are, the indexes too. Triggers and indexes are laid aside and put back inside the transaction, so nobody ever sees the
catalogue without them.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from typing import TYPE_CHECKING

from negcat.catalogue.changes_schema import INSERTED, note_inserted
from negcat.catalogue.searching_schema import COUNTED, TEXTS

if TYPE_CHECKING:
    from sqlite_utils import Database

__all__ = ["FROM", "many_new_sheets"]

FROM = 5000
"""New sheets from which on it pays."""

_OF_NEW = (
    "sheets_inserted",
    "readings_searched_inserted",
    "results_searched_inserted",
    "findings_searched_inserted",
    "sheet_changes_results_inserted",
    "sheet_changes_findings_inserted",
    "sheet_search_inserted",
    INSERTED,
)
"""The triggers that a new sheet with its readings and findings sets off."""


@contextlib.contextmanager
def many_new_sheets(db: Database, new: int) -> Iterator[bool]:
    """Write new sheets inside, with what they consist of; what they are searched by is written at the end.

    Parameters
    ----------
    db : the open database, inside a transaction.
    new : how many new sheets are coming, at most; of few nothing is laid aside.

    Yields
    ------
    Whether anything is laid aside. If so, sheets may only be inserted inside, with their readings and findings before
    or after them; what was there may not be touched.
    """
    laid_aside = _triggers(db) if new >= FROM else []
    if not laid_aside:
        yield False
        return
    sheets, search = (
        db.execute(f"select coalesce(max(rowid), 0) from {table}").fetchone()[0]
        for table in ("sheets", "sheet_search")
    )
    if new >= db.execute("select count(*) from sheet_search").fetchone()[0]:
        laid_aside += db.execute(
            "select type, name, sql from sqlite_master where tbl_name = 'sheet_search' and type = 'index'"
            " and sql is not null and name <> 'idx_sheet_search_sheet'"
        ).fetchall()
    for kind, name, _ in laid_aside:
        db.execute(f"drop {kind} {name}")
    yield True
    _write_searched(db, sheets, search)
    for *_, sql in laid_aside:
        db.execute(sql)


def _triggers(db: Database) -> list[tuple[str, str, str]]:
    """Find the triggers to lay aside; none where they are laid aside already."""
    named = ", ".join("?" * len(_OF_NEW))
    return db.execute(
        f"select type, name, sql from sqlite_master where type = 'trigger' and name in ({named})", _OF_NEW
    ).fetchall()


def _write_searched(db: Database, sheets: int, search: int) -> None:
    """Write all that new sheets are searched and counted by.

    Parameters
    ----------
    db : the open database.
    sheets, search : the highest rowid of ``sheets`` and of ``sheet_search`` from before they came.
    """
    facts = [row[1] for row in db.execute("pragma table_info(sheet_search)") if row[1] != "id"]
    db.execute(
        f"insert into sheet_search ({', '.join(facts)}) select {', '.join(f'f.{fact}' for fact in facts)}"
        " from sheets n join sheet_facts f on f.sheet = n.sheet where n.rowid > ? order by n.rowid",
        [sheets],
    )
    texts, counted = ", ".join(TEXTS), ", ".join(COUNTED)
    since = [search]
    db.execute(
        f"insert into sheet_search_fts (rowid, {texts}) select id, {texts} from sheet_search where id > ?",
        since,
    )
    db.execute(
        f"insert into sheet_counts ({counted}, sheets) select {counted}, count(*) from sheet_search where id > ?"
        f" group by {counted} on conflict ({counted}) do update set sheets = sheets + excluded.sheets",
        since,
    )
    db.execute(
        "insert into places (place, sheets) select place, count(*) from sheet_search where id > ? and place <> ''"
        " group by place on conflict (place) do update set sheets = sheets + excluded.sheets",
        since,
    )
    note_inserted(db, search)
