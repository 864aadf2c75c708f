"""The whole catalogue as SQL text, which any SQLite of any time can read."""

from __future__ import annotations

from collections.abc import Iterator

from negcat.catalogue.connection import APPLICATION_ID, CatalogueFile

__all__ = ["sql_text"]

_HEAD = """\
-- The catalogue of a negative archive as SQL for SQLite (https://www.sqlite.org), in UTF-8.
--     sqlite3 negcat.db < catalogue.sql
-- makes it anew. What each column holds is said in tables/README.txt.
PRAGMA foreign_keys=OFF;
BEGIN TRANSACTION;
"""

_AT_ONCE = 500
_SHADOWS = ("data", "idx", "content", "docsize", "config")


def sql_text(catalogue: CatalogueFile) -> Iterator[str]:
    """Write the whole catalogue as SQL, a statement at a time.

    Tables come first, then what is drawn from them: full text, indexes, triggers and views.

    Parameters
    ----------
    catalogue : the open catalogue, seen at one state throughout.
    """
    made = catalogue.tuples(
        "select type, name, sql from sqlite_master where sql is not null and name not like 'sqlite!_%' escape '!'"
        " order by rowid"
    )
    virtual = {
        name for kind, name, sql in made if kind == "table" and sql.lower().startswith("create virtual")
    }
    shadows = {f"{name}_{shadow}" for name in virtual for shadow in _SHADOWS}
    yield _HEAD
    for kind, name, sql in made:
        if kind == "table" and name not in virtual | shadows:
            yield f"{sql};\n"
            yield from _rows(catalogue, name)
    for kind, name, sql in made:
        if name in virtual:
            yield f'{sql};\nINSERT INTO "{name}"("{name}") VALUES(\'rebuild\');\n'
        elif kind != "table":
            yield f"{sql};\n"
    yield f"PRAGMA application_id={APPLICATION_ID};\nCOMMIT;\n"


def _rows(catalogue: CatalogueFile, table: str) -> Iterator[str]:
    columns = [
        name for (name,) in catalogue.tuples(f"select name from pragma_table_info('{table}') order by cid")
    ]
    values = " || ',' || ".join(f'quote("{column}")' for column in columns)
    for part in catalogue.in_parts(f'select {values} from "{table}" order by rowid', (), _AT_ONCE):
        for (row,) in part:
            yield f'INSERT INTO "{table}" VALUES({row});\n'
