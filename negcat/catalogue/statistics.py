"""SQLite's figures about its indexes, by which it chooses one: kept true as an archive grows.

Of its own accord SQLite looks only at tables that were asked for while they were open, and only when they have grown
some 25 times: a season taken into an archive of a few sheets left it believing that there are few, and it then
walked through all of them for every page.
"""

from __future__ import annotations

import sqlite3

__all__ = ["gather"]

_GROWN = 4
_FEW = 50  # rows up to which any index will do
_LOOKED_AT = 1000  # rows of an index: enough for the choice, whatever its size


def gather(connection: sqlite3.Connection) -> None:
    """Gather the figures anew of tables that hold several times as many rows as is believed.

    Parameters
    ----------
    connection : to the open database, outside a transaction.

    Raises
    ------
    sqlite3.Error : somebody else is writing just now.
    """
    connection.execute(f"pragma analysis_limit={_LOOKED_AT}")
    connection.execute("pragma optimize")
    if not connection.execute("select 1 from sqlite_master where name = 'sqlite_stat1'").fetchone():
        return
    believed = connection.execute(
        "select t.name, coalesce(max(cast(s.stat as integer)), 0) from sqlite_master t"
        " left join sqlite_stat1 s on s.tbl = t.name where t.type = 'table' and t.sql not like '%without rowid%'"
        " and t.name in (select tbl_name from sqlite_master where type = 'index') group by t.name"
    ).fetchall()
    for table, rows in believed:
        # Rowids are given out in order, so the highest tells as much as a count and costs one step.
        (highest,) = connection.execute(f'select coalesce(max(rowid), 0) from "{table}"').fetchone()
        if highest > _GROWN * max(rows, _FEW):
            connection.execute(f'analyze "{table}"')
