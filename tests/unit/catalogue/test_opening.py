"""Opening: several processes at once, and every fault one sentence."""

import multiprocessing
import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from negcat.catalogue import Catalogue, connection
from negcat.catalogue.migrations import migrations
from negcat.errors import ArchiveError
from tests.another_negcat import knows
from tests.unit.catalogue.conftest import RECORDS, records, sheet


def test_connection_settings(empty: Catalogue) -> None:
    assert empty.value("pragma journal_mode") == "wal"
    assert empty.value("pragma foreign_keys") == 1
    assert empty.value("pragma busy_timeout") == 30_000
    assert empty.value("pragma application_id") == connection.APPLICATION_ID


def test_never_made_over_what_is_there(tmp_path: Path) -> None:
    path = tmp_path / "negcat.db"
    path.write_text("something else")
    with pytest.raises(ArchiveError, match="exists already"):
        Catalogue.create(path)
    assert path.read_text() == "something else"
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("links", [True, False])
def test_nothing_is_left_beside_a_new_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, links: bool
) -> None:
    if not links:

        def no_link(*_: object) -> None:
            raise PermissionError(1, "Operation not permitted")

        monkeypatch.setattr(os, "link", no_link)
    Catalogue.create(tmp_path / "negcat.db").close()
    assert [path.name for path in tmp_path.iterdir()] == ["negcat.db"]


def test_absent(tmp_path: Path) -> None:
    with pytest.raises(ArchiveError, match="negcat init"):
        Catalogue.open(tmp_path / "negcat.db")
    with pytest.raises(ArchiveError, match="can't be made"):
        Catalogue.create(tmp_path / "nowhere" / "negcat.db")


@pytest.mark.parametrize("readonly", [True, False])
def test_no_catalogue(tmp_path: Path, readonly: bool) -> None:
    path = tmp_path / "negcat.db"
    path.write_text("This is no database, but long enough to look like something." * 100)
    with pytest.raises(ArchiveError, match="not a negcat catalogue"):
        Catalogue.open(path, readonly=readonly)
    path.write_bytes(b"")
    with pytest.raises(ArchiveError, match="not a negcat catalogue"):
        Catalogue.open(path, readonly=readonly)
    path.unlink()
    with sqlite3.connect(path) as other:
        other.execute("create table sheets (sheet)")
    other.close()
    with pytest.raises(ArchiveError, match="not a negcat catalogue"):
        Catalogue.open(path, readonly=readonly)


def test_damaged(catalogue: Catalogue) -> None:
    catalogue.close()
    size = catalogue.path.stat().st_size
    with catalogue.path.open("r+b") as file:
        file.seek(4096)
        file.write(b"\xff" * (size - 4096))
    with pytest.raises(ArchiveError, match="damaged"):
        Catalogue.open(catalogue.path).sheet_ids()


def test_newer_schema(empty: Catalogue) -> None:
    empty.database.execute(
        "insert into _sqlite_migrations (migration_set, name, applied_at) values ('negcat', 'm999_later', 'x')"
    )
    empty.close()
    with pytest.raises(ArchiveError, match=r"newer negcat.*m999_later"):
        Catalogue.open(empty.path)


def test_older_schema_is_brought_up_to_date(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "negcat.db"
    with monkeypatch.context() as older:
        knows(older, migrations._migrations[:-1])
        older.setattr(Catalogue, "close", lambda self: self.database.close())
        Catalogue.create(path).close()
    with pytest.raises(ArchiveError, match=r"older negcat.*reading only"):
        Catalogue.open(path, readonly=True)
    with Catalogue.open(path) as catalogue:
        catalogue.take([records(**RECORDS)], "x")
        assert catalogue.faults() == []


def test_readonly_writes_nothing(catalogue: Catalogue) -> None:
    with Catalogue.open(catalogue.path, readonly=True) as reader:
        assert reader.sheet_ids()[0] == "BW-01"
        with pytest.raises(ArchiveError, match="reading only"):
            reader.take([records(**RECORDS)], "x")


@pytest.mark.skipif(os.geteuid() == 0, reason="root writes anywhere")
def test_readonly_folder(catalogue: Catalogue) -> None:
    catalogue.close()
    folder = catalogue.path.parent
    catalogue.path.chmod(0o444)
    folder.chmod(0o555)
    try:
        with Catalogue.open(catalogue.path, readonly=True) as reader:
            assert reader.sheet_ids()[0] == "BW-01"
        with pytest.raises(ArchiveError, match="can't be"):
            Catalogue.open(catalogue.path).take([records(films=[{"name": "F", "box_speed": "1"}])], "x")
    finally:
        folder.chmod(0o755)


def test_a_read_only_file_says_so(catalogue: Catalogue) -> None:
    catalogue.database.execute("pragma query_only=on")
    with pytest.raises(ArchiveError, match=r"read-only disk.*writable"):
        catalogue.take([records(films=[{"name": "F", "box_speed": "1"}])], "x")


def test_a_full_disk_says_so_and_keeps_what_was(catalogue: Catalogue) -> None:
    before = list(catalogue.database.conn.iterdump())
    catalogue.database.execute(f"pragma max_page_count={catalogue.value('pragma page_count')}")
    films = [{"name": f"Film {number}" * 20, "box_speed": "100"} for number in range(2000)]
    with pytest.raises(ArchiveError, match=r"disk.*full"):
        catalogue.take([records(films=films)], "x")
    assert list(catalogue.database.conn.iterdump()) == before


def test_locked_says_so(catalogue: Catalogue, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connection, "WAIT_S", 0.1)
    with Catalogue.open(catalogue.path) as other, catalogue.writing():
        # A reader isn't kept waiting by a writer.
        assert len(other.sheet_ids()) == 4
        with pytest.raises(ArchiveError, match=r"in use.*again"):
            other.take([records(films=[{"name": "F", "box_speed": "1"}])], "x")


def test_a_write_inside_a_write_is_part_of_it(catalogue: Catalogue) -> None:
    def take_and_fail() -> None:
        with catalogue.writing():
            catalogue.take([records(films=[{"name": "F", "box_speed": "1"}])], "x")
            assert catalogue.film("F") is not None
            raise RuntimeError

    with pytest.raises(RuntimeError):
        take_and_fail()
    assert catalogue.film("F") is None


def _take_films(path: Path, start: int) -> None:
    with Catalogue.open(path) as catalogue:
        for number in range(start, start + 20):
            catalogue.take([records(films=[{"name": f"F{number}", "box_speed": "100"}])], "x")


def test_writers_wait_for_each_other(empty: Catalogue) -> None:
    context = multiprocessing.get_context("spawn")
    writers = [context.Process(target=_take_films, args=(empty.path, start)) for start in (0, 20, 40)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join(60)
    assert [writer.exitcode for writer in writers] == [0, 0, 0]
    assert len(empty.names("films")) == 60


_KILLED = """
import os, signal, sys
from negcat.catalogue import Catalogue
from tests.unit.catalogue.conftest import RECORDS, records, sheet
catalogue = Catalogue.open(sys.argv[1])
with catalogue.writing():
    catalogue.take([records(sheets=[sheet(1, place="Elsewhere")])], "x")
    catalogue.database.execute("pragma cache_spill=on")
    os.kill(os.getpid(), signal.SIGKILL)
"""


def test_killed_in_the_middle_of_a_write(catalogue: Catalogue) -> None:
    before = list(catalogue.database.conn.iterdump())
    killed = subprocess.run([sys.executable, "-c", _KILLED, str(catalogue.path)], check=False)
    assert killed.returncode < 0
    with Catalogue.open(catalogue.path) as after:
        assert list(after.database.conn.iterdump()) == before
        assert after.faults() == []


@pytest.mark.parametrize(
    ("harm", "named"),
    [
        ("update sheet_search set place = 'Elsewhere' where sheet = 'BW-02'", "search index"),
        ("update sheet_counts set sheets = 9 where cell = 'rear'", "sheet_counts"),
        ("delete from places where place = 'Clay pit'", "places"),
        ("insert into sheet_search_fts (rowid, subject) values (99, 'ghost')", "sheet_search_fts"),
        ("update sheets set film = 'None such' where sheet = 'BW-01'", "'films'"),
    ],
)
def test_faults_are_found(catalogue: Catalogue, harm: str, named: str) -> None:
    assert catalogue.faults() == []
    catalogue.database.execute("pragma foreign_keys=off")
    catalogue.database.execute(harm)
    assert any(named in fault for fault in catalogue.faults())


def test_figures_about_indexes_keep_up_with_an_archive_that_grows(empty: Catalogue) -> None:
    empty.take([records(**RECORDS)], "x")
    empty.connection.execute("analyze")
    with Catalogue.open(empty.path) as many:
        many.take([records(sheets=[sheet(1, sheet=f"EW-{number}") for number in range(300)])], "x")
        held = {table: many.value(f"select count(*) from {table}") for table in ("sheets", "readings")}
        held["sheet_search"] = held["sheets"]
    believed = dict(
        empty.tuples("select tbl, max(cast(stat as integer)) from sqlite_stat1 where tbl <> '' group by tbl")
    )
    assert {table for table, rows in held.items() if not rows / 4 <= believed[table] <= rows * 4} == set()
