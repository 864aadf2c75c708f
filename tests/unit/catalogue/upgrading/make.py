"""Write what the steps of the schema have left: a small catalogue for every step that has none yet.

``python -m tests.unit.catalogue.upgrading.make``

Each is the schema as the steps up to that one lay it out, with rows from an archive built by today's commands, as far
as their tables and columns were there. A file that is there is never written again: archives on somebody's disk
don't change either.
"""

from __future__ import annotations

import json
import re
import sqlite3
import sys
import tempfile
from pathlib import Path

from click.testing import CliRunner
from sqlite_utils import Database

from negcat.catalogue.connection import APPLICATION_ID
from negcat.catalogue.migrations import migrations

FOLDER = Path(__file__).parent
COMMAND = "python -m tests.unit.catalogue.upgrading.make"

MORE = {
    "shutters": [{"name": "No. 3", "measured": {"1/15": 0.071, "1": 1.1}}],
    "print_targets": [{"name": "salt", "densities": {"I": 0.15, "V": 1.0, "VIII½": 2.0}}],
    "holders": [{"holder": "A7", "format": "4x5", "sides": [{"side": "1", "film": "Brickdust 100"}]}],
    "lenses": [
        {
            "name": "Tressick",
            "shutter": "No. 3",
            "cells": [
                {"cell": "whole", "focal_mm": 150, "widest_stop": 6.8, "mounted": "whole"},
                {"cell": "rear", "focal_mm": 290, "mounted": "behind", "scale_error_stops": -0.5},
            ],
        }
    ],
    "sheets": [
        {
            "sheet": "OT-01",
            "film": "Brickdust 100",
            "lens": "Tressick",
            "cell": "rear",
            "stop": "22½",
            "stop_scale": "whole",
            "time": "1/15",
            "tag": "N+1",
            "place": "Östra tegelbruket, ugn 3",
            "subject": "Kiln mouth",
            "notes": "mist lifting; 'soot' everywhere",
            "print_target": "salt",
            "holder": "A7",
            "side": "1",
        }
    ],
    "film_tests": [
        {
            "test": "T-01",
            "film": "Brickdust 100",
            "tablet": "T5",
            "developer": "Slip",
            "time": "9m",
            "densities": [1.8, 1.2, 0.9, 0.4, 0.2],
        }
    ],
    "tablets": [{"name": "T5", "densities": [0.05, 0.5, 1.0, 1.5, 2.0]}],
}
CHANGED = {**MORE["sheets"][0], "notes": "mist gone"}


def steps() -> list[str]:
    """List the steps, in the order in which they are taken."""
    return [step.name for step in migrations._migrations]


def file_of(step: str) -> Path:
    return FOLDER / f"{step}.sql"


def laid_out(step: str) -> Database:
    """Lay out an empty catalogue, in memory, as the steps up to one do."""
    database = Database(memory=True)
    later = steps()[steps().index(step) + 1 :]
    migrations.apply(database, stop_before=later[:1] or None)
    return database


def schema(connection: sqlite3.Connection) -> dict[str, str]:
    """Give what a catalogue is laid out as: name → statement, without what SQLite lays out by itself."""
    kinds = {name: kind for _, name, kind, *_ in connection.execute("pragma table_list")}
    return {
        name: sql
        for name, sql in connection.execute(
            "select name, sql from sqlite_master where sql is not null order by rowid"
        )
        if not name.startswith("sqlite_") and kinds.get(name) != "shadow"
    }


def ordinary(connection: sqlite3.Connection) -> list[str]:
    """List the tables that hold rows of their own."""
    return [
        name
        for _, name, kind, *_ in connection.execute("pragma table_list")
        if kind == "table" and not name.startswith("sqlite_")
    ]


def drawn(connection: sqlite3.Connection) -> set[str]:
    """Name the tables that triggers write: what they hold is drawn from the others."""
    written = "insert(?: or [a-z]+)? into|update(?: or [a-z]+)?|delete from"
    return {
        table
        for (sql,) in connection.execute("select lower(sql) from sqlite_master where type = 'trigger'")
        for table in re.findall(rf'(?:{written}) "?([a-z_]+)"?', sql.partition("begin")[2])
    }


def columns(connection: sqlite3.Connection, table: str) -> list[str]:
    """List a table's columns, without those that are computed."""
    return [row[1] for row in connection.execute(f'pragma table_xinfo("{table}")') if row[6] == 0]


def rich(root: Path) -> Path:
    """Build an archive that has something in every table, by today's commands as far as there are any."""
    from negcat.catalogue import AdvisedTime, DatedChange
    from negcat.cli import main
    from negcat.work.archive import Archive
    from tests.simulation import kills

    kills.bare(root)
    for scan in (root / "scans").iterdir():
        # Few, because what is found of a scan is long.
        if scan.stem not in ("BW-01", "BW-03"):
            scan.unlink()
    (root / "more.json").write_text(json.dumps(MORE), encoding="utf-8")
    (root / "changed.json").write_text(json.dumps({"sheets": [CHANGED]}), encoding="utf-8")
    for command in (
        ["init"],
        ["record", "{root}/equipment.yaml"],
        kills.RECORD,
        ["record", "{root}/more.json"],
        ["record", "{root}/changed.json"],
        kills.CALIBRATE,
        kills.INGEST,
        ["remove", "BW-03"],
    ):
        done = CliRunner().invoke(main, kills._with(command, root))
        assert done.exit_code == 0, done.output
    accepted = {"effective_from": "2026-05-20", "advice": "a", "sentence": "Made up for a test."}
    with Archive.open(root) as archive:
        archive.catalogue.keep_change(
            DatedChange(film="Brickdust 100", field="exposure_index", before=None, after=80.0, **accepted),
            "a test",
        )
        archive.catalogue.keep_advised_time(
            AdvisedTime(
                film="Brickdust 100",
                developer="Slip",
                dilution=None,
                temperature_c=None,
                tag="N",
                tag_n=0.0,
                time_s=600.0,
                low_s=540.0,
                high_s=660.0,
                sheets=9,
                **accepted,
            ),
            "a test",
        )
    return root / "negcat.db"


def fill(connection: sqlite3.Connection) -> None:
    """Put a row into every table that has none: no command has, and no step may lose it."""
    for _ in range(3):
        for table in ordinary(connection):
            if table in drawn(connection) or connection.execute(f'select 1 from "{table}"').fetchone():
                continue
            row = {}
            parents = {
                ours: (parent, theirs)
                for _, _, parent, ours, theirs, *_ in connection.execute(
                    f'pragma foreign_key_list("{table}")'
                )
            }
            for _, name, kind, *_ in connection.execute(f'pragma table_info("{table}")'):
                if name in parents:
                    parent, theirs = parents[name]
                    found = connection.execute(f'select "{theirs or "rowid"}" from "{parent}"').fetchone()
                    row[name] = found[0] if found else None
                else:
                    row[name] = {"INTEGER": 1, "REAL": 0.5, "FLOAT": 0.5}.get(kind.upper(), "2026-05-03")
            names = ", ".join(f'"{name}"' for name in row)
            try:
                connection.execute(
                    f'insert into "{table}" ({names}) values ({", ".join("?" * len(row))})',
                    list(row.values()),
                )
            except sqlite3.IntegrityError as error:
                print(f"{table} stays empty ({error}): fill it in {Path(__file__).name}", file=sys.stderr)


def written(step: str, source: sqlite3.Connection) -> str:
    """Write the catalogue that a step has left, as SQL."""
    database = laid_out(step).conn
    from_triggers = drawn(database)
    database.execute("pragma foreign_keys=off")
    for table in ordinary(database):
        if table in from_triggers or table == "_sqlite_migrations":
            continue
        there = set(columns(source, table)) if table in ordinary(source) else set()
        names = ", ".join(f'"{name}"' for name in columns(database, table) if name in there)
        if names:
            rows = source.execute(f'select {names} from "{table}" order by rowid').fetchall()
            marks = ", ".join("?" * (names.count(",") + 1))
            database.executemany(f'insert or ignore into "{table}" ({names}) values ({marks})', rows)
    fill(database)
    database.execute("update _sqlite_migrations set applied_at = '2026-05-03 07:40:00+00:00'")
    assert database.execute("pragma foreign_key_check").fetchall() == []
    return "\n".join(statements(database)) + "\n"


def statements(database: sqlite3.Connection) -> list[str]:
    """Write a catalogue as statements that make it: tables, their rows, then what watches over them."""
    parts = [f"pragma application_id = {APPLICATION_ID};", "begin;"]
    layout = schema(database)
    kinds = dict(database.execute("select name, type from sqlite_master"))
    parts += [f"{sql};" for name, sql in layout.items() if kinds[name] == "table"]
    for table in ordinary(database):
        quoted = " || ', ' || ".join(f'quote("{name}")' for name in columns(database, table))
        names = ", ".join(f'"{name}"' for name in columns(database, table))
        parts += [
            f'insert into "{table}" ({names}) values ({values});'
            for (values,) in database.execute(f'select {quoted} from "{table}" order by rowid')
        ]
    parts += [
        f"insert into {name} ({name}) values ('rebuild');"
        for name, sql in layout.items()
        if sql.lower().startswith("create virtual table") and "content=" in sql
    ]
    parts += [f"{sql};" for name, sql in layout.items() if kinds[name] != "table"]
    return [*parts, "commit;"]


def make() -> list[Path]:
    """Write the files that are missing."""
    missing = [step for step in steps() if not file_of(step).exists()]
    if not missing:
        return []
    with tempfile.TemporaryDirectory() as folder:
        source = sqlite3.connect(rich(Path(folder) / "archive"))
        for step in missing:
            file_of(step).write_text(written(step, source), encoding="utf-8")
        source.close()
    return [file_of(step) for step in missing]


if __name__ == "__main__":
    for made in make():
        print(made)
