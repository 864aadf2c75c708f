"""An archive that any earlier negcat left is brought up to date, whole or not at all, and keeps every record."""

import json
import sqlite3
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from negcat.catalogue import Catalogue, upgrading
from negcat.catalogue.connection import open_database
from negcat.catalogue.migrations import migrations
from negcat.cli import main
from negcat.errors import ArchiveError, OlderArchiveError
from tests.another_negcat import knows
from tests.unit.catalogue.upgrading import make

KEPT = sorted(make.FOLDER.glob("m*.sql"))
NEWEST = make.steps()[-1]


def laid(step_file: Path, root: Path) -> Path:
    """Make the archive that a step has left."""
    with sqlite3.connect(root / "negcat.db") as database:
        database.executescript(step_file.read_text(encoding="utf-8"))
    database.close()
    return root / "negcat.db"


def dump(path: Path) -> list[str]:
    with sqlite3.connect(path) as database:
        lines = [line for line in database.iterdump() if "sqlite_stat" not in line]
    database.close()
    return lines


def rows(connection: sqlite3.Connection, table: str, columns: list[str]) -> list[tuple[object, ...]]:
    names = ", ".join(f'"{name}"' for name in columns)
    return connection.execute(f'select {names} from "{table}" order by rowid').fetchall()


def negcat(root: Path, *args: str) -> Result:
    return CliRunner().invoke(main, [*args, "--archive", str(root)])


def test_every_step_has_left_a_catalogue() -> None:
    missing = [step for step in make.steps() if not make.file_of(step).exists()]
    assert missing == [], f"write what {', '.join(missing)} leaves with: {make.COMMAND}"


@pytest.mark.parametrize("kept", KEPT, ids=lambda path: path.stem)
def test_a_released_step_lays_out_what_it_did(kept: Path, tmp_path: Path) -> None:
    with sqlite3.connect(laid(kept, tmp_path)) as database:
        was = make.schema(database)
        empty = {
            table
            for table in make.ordinary(database)
            if table not in make.drawn(database)
            and not database.execute(f'select 1 from "{table}"').fetchone()
        }
    database.close()
    assert make.schema(make.laid_out(kept.stem).conn) == was
    assert empty == set()


@pytest.mark.parametrize("kept", KEPT, ids=lambda path: path.stem)
def test_is_brought_up_to_date_and_keeps_every_record(kept: Path, tmp_path: Path) -> None:
    path = laid(kept, tmp_path)
    was = dump(path)
    # A command that only reads is the first to meet it.
    found = negcat(tmp_path, "find", "--json")
    assert found.exit_code == 0, found.stderr
    count = json.loads(found.stdout)["count"]
    with Catalogue.open(path, readonly=True) as catalogue:
        assert catalogue.faults() == []
        assert [step.name for step in migrations.applied(catalogue.database)][-1] == NEWEST
    now = sqlite3.connect(path)
    with sqlite3.connect(":memory:") as then:
        then.executescript(kept.read_text(encoding="utf-8"))
        drawn = make.drawn(now)
        for table in make.ordinary(then):
            if table not in drawn and table != "_sqlite_migrations":
                columns = make.columns(then, table)
                assert rows(now, table, columns) == rows(then, table, columns), table
        if "sheets" in make.ordinary(then):
            sheets = [sheet for (sheet,) in then.execute("select sheet from sheets")]
            assert count == len(sheets) > 0
            # Before there were findings, what a sheet's spots are was read from its master, which isn't here.
            for sheet in sheets[-2:] if "findings" in make.ordinary(then) else ():
                assert negcat(tmp_path, "show", sheet, "--json").exit_code == 0
    then.close()
    now.close()
    if kept.stem != NEWEST:
        (copy,) = upgrading.copies_kept(path)
        following = make.steps()[make.steps().index(kept.stem) + 1]
        assert copy.name == f"negcat.db.before-{following.partition('_')[0]}"
        assert dump(copy) == was
    assert {file.name.partition(".before-")[0] for file in tmp_path.iterdir()} == {"negcat.db"}


@pytest.fixture
def older(tmp_path: Path) -> Path:
    return laid(make.FOLDER / "m005_carrying.sql", tmp_path)


def test_only_the_last_copy_is_kept(older: Path) -> None:
    for name in ("negcat.db.before-m002", "negcat.db.before-summer"):
        (older.parent / name).write_bytes(b"of another time")
    Catalogue.open(older).close()
    assert sorted(path.name for path in older.parent.glob("*.before-*")) == [
        "negcat.db.before-m006",
        # Not ours.
        "negcat.db.before-summer",
    ]


def test_a_step_that_fails_leaves_the_old_one(older: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    was = dump(older)

    def m999_later(db: object) -> None:
        raise sqlite3.OperationalError("no such table: kilns")

    step = migrations._Migration("m999_later", m999_later)
    with monkeypatch.context() as newer:
        knows(newer, [*migrations._migrations, step])
        with pytest.raises(ArchiveError, match="kilns"):
            Catalogue.open(older)
    assert dump(older) == was
    with Catalogue.open(older) as catalogue:
        assert catalogue.faults() == []


def test_without_room_for_a_copy_it_stays_as_it_is(older: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    was = dump(older)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as disk:
        disk.setattr(upgrading, "_copy", full)
        with pytest.raises(ArchiveError, match=r"no copy of it.*no space left.*make room"):
            Catalogue.open(older)
    assert dump(older) == was
    assert list(older.parent.iterdir()) == [older]


def test_two_programs_bring_it_up_to_date_at_once(older: Path) -> None:
    database, _ = open_database(older, readonly=False)
    late = Catalogue(database, older)
    assert late.behind()
    Catalogue.open(older).close()
    was = dump(older)
    # It saw that steps are missing, and finds them taken when its turn comes.
    with late.writing() as inside:
        assert upgrading.bring_up_to_date(inside, older) is None
    assert dump(older) == was
    late.close()


def test_read_only_it_is_refused_by_name(older: Path) -> None:
    with pytest.raises(OlderArchiveError, match=r"older negcat.*brings it up to date"):
        Catalogue.open(older, readonly=True)


def test_a_newer_one_is_refused_kindly(tmp_path: Path) -> None:
    path = laid(make.file_of(NEWEST) if make.file_of(NEWEST).exists() else KEPT[-1], tmp_path)
    with sqlite3.connect(path) as database:
        database.execute(
            "insert into _sqlite_migrations (migration_set, name, applied_at) values ('negcat', 'm999_later', '2030')"
        )
    database.close()
    was = dump(path)
    for args in (["find"], ["verify"], ["record", str(make.FOLDER / "README.md")], ["serve"]):
        refused = negcat(tmp_path, *args)
        assert refused.exit_code == 2
        assert "newer negcat" in refused.stderr
        assert "bring this negcat up to date" in refused.stderr
        assert refused.stderr.count("\n") == 1
    assert dump(path) == was
