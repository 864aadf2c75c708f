"""Taking a collection at once: what is searched is written in one go instead of sheet by sheet.

The triggers that keep the search true cost each new sheet a step in every index and one in the full text.
Where more sheets come than there are, it is far cheaper to write those once, sorted, at the end. Triggers and
indexes are laid aside and put back inside the transaction, so nobody ever sees the catalogue without them.
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


@contextlib.contextmanager
def many_new_sheets(db: Database, new: int) -> Iterator[None]:
    """Write new sheets inside; what they are searched by is written at the end.

    Inside, new sheets may only be inserted, each with all that it is searched by there before it; sheets
    that were there may be changed in any way.

    Parameters
    ----------
    db : the open database, inside a transaction.
    new : how many new sheets are coming, at most; of few, or fewer than there are, nothing is laid aside.
    """
    there = db.execute("select count(*), coalesce(max(id), 0) from sheet_search").fetchone()
    if new < FROM or new < there[0]:
        yield
        return
    laid_aside = db.execute(
        "select type, name, sql from sqlite_master where tbl_name = 'sheet_search' and sql is not null"
        f" and (name in ('sheet_search_inserted', '{INSERTED}')"
        " or type = 'index' and name <> 'idx_sheet_search_sheet')"
    ).fetchall()
    for kind, name, _ in laid_aside:
        db.execute(f"drop {kind} {name}")
    yield
    texts, counted = ", ".join(TEXTS), ", ".join(COUNTED)
    since = [there[1]]
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
    note_inserted(db, there[1])
    for *_, sql in laid_aside:
        db.execute(sql)
