"""The catalogue backed up and put back: while others use it, over whatever is there, stopped in the midst."""

from __future__ import annotations

import contextlib
import shutil
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from negcat.catalogue import Catalogue, Query, connection
from negcat.catalogue.migrations import migrations
from negcat.cli import main
from negcat.work import keeping
from tests.another_negcat import knows

EQUIPMENT = """\
films: [{name: Marl 400, box_speed: 400}]
lenses: [{name: Tressick 150, cells: [{cell: whole, focal_mm: 150}]}]
"""


def run(*words: object, status: int = 0) -> Result:
    result = CliRunner().invoke(main, [str(word) for word in words])
    assert result.exit_code == status, f"{words}: {result.exit_code}\n{result.output}\n{result.stderr}"
    return result


def record(root: Path, *sheets: str) -> None:
    lines = [f"- {{sheet: {one}, film: Marl 400, lens: Tressick 150, stop: 22, time: 1}}" for one in sheets]
    file = root / "records.yaml"
    file.write_text(EQUIPMENT + "sheets:\n" + "\n".join(lines) + "\n", encoding="utf-8")
    run("record", file, "-a", root)


def contents(file: Path) -> list[str]:
    """Say all that a catalogue holds, as SQL."""
    with contextlib.closing(sqlite3.connect(f"file:{file}?mode=ro", uri=True)) as opened:
        return list(opened.iterdump())


def names(folder: Path) -> set[str]:
    """List a folder, without what SQLite lays beside a catalogue that somebody reads."""
    return {path.name for path in folder.iterdir() if not path.name.endswith(("-wal", "-shm"))}


def sheets(root: Path) -> list[str]:
    with Catalogue.open(root / "negcat.db", readonly=True) as catalogue:
        return catalogue.sheet_ids()


@pytest.fixture(autouse=True)
def nothing_laid_by() -> Iterator[None]:
    yield
    keeping.close_all()


@pytest.fixture
def root(tmp_path: Path) -> Path:
    root = tmp_path / "brickworks"
    run("init", root)
    record(root, "BW-01")
    return root


@pytest.fixture
def saved(root: Path, tmp_path: Path) -> Path:
    """A backup with one sheet, of an archive that has two by now."""
    file = tmp_path / "saved.db"
    run("backup", file, "-a", root)
    record(root, "BW-01", "BW-02")
    return file


def test_there_and_back(root, tmp_path):
    file = tmp_path / "saved.db"
    before = contents(root / "negcat.db")
    told = run("backup", file, "-a", root, "--json").stdout
    assert f'"bytes": {file.stat().st_size}' in told
    assert '"sheets": 1' in told
    assert contents(file) == before
    # Alone, and no log is needed to read it.
    assert names(tmp_path) == {"brickworks", "saved.db"}
    assert file.read_bytes()[18:20] == b"\1\1"

    record(root, "BW-01", "BW-02")
    changed = contents(root / "negcat.db")
    told = run("restore", file, "-a", root).stdout
    assert contents(root / "negcat.db") == before
    (kept,) = root.glob("negcat.db.replaced-*")
    assert str(kept) in told
    assert contents(kept) == changed
    assert names(root) == {"negcat.db", "previews", "records.yaml", kept.name}
    # And back again, from what was kept.
    run("restore", kept, "-a", root)
    assert contents(root / "negcat.db") == changed
    assert len(list(root.glob("negcat.db.replaced-*"))) == 2
    run("verify", "-a", root)


def test_a_backup_made_while_another_writes_holds_what_was_kept_by_then(root, tmp_path):
    file = tmp_path / "saved.db"
    with Catalogue.open(root / "negcat.db") as other, other.writing() as database:
        database.execute("insert into films (name, box_speed, channel) values ('Sorrel', 100, 'grey')")
        run("backup", file, "-a", root)
    with Catalogue.open(file, readonly=True) as copy:
        assert copy.names("films") == ["Marl 400"]
    with Catalogue.open(root / "negcat.db", readonly=True) as there:
        assert there.names("films") == ["Marl 400", "Sorrel"]


def test_only_an_earlier_backup_is_replaced(root, saved, tmp_path):
    assert "is there already" in run("backup", saved, "-a", root, status=2).stderr
    run("backup", saved, "-a", root, "--overwrite")
    with Catalogue.open(saved, readonly=True) as copy:
        assert copy.sheet_ids() == ["BW-01", "BW-02"]
    picture = tmp_path / "BW-01.tif"
    picture.write_bytes(b"II*\0" + bytes(100))
    other = tmp_path / "other"
    run("init", other)
    for wrong, why in (
        (picture, "is no backup"),
        (other / "negcat.db", "in use"),
        (root / "negcat.db", "in use"),
        (tmp_path, "is a folder"),
        (tmp_path / "nowhere" / "saved.db", "there is no folder"),
    ):
        before = wrong.read_bytes() if wrong.is_file() else None
        assert why in run("backup", wrong, "-a", root, "--overwrite", status=2).stderr
        assert before is None or wrong.read_bytes() == before
    assert names(tmp_path) == {"brickworks", "other", "saved.db", "BW-01.tif"}


def test_what_is_not_sound_is_neither_backed_up_nor_restored(root, saved, tmp_path):
    before = contents(root / "negcat.db")
    damaged = tmp_path / "damaged.db"
    content = bytearray(saved.read_bytes())
    for page in range(3, len(content) // 4096 - 2, 3):
        content[page * 4096 : page * 4096 + 40] = b"\xff" * 40
    damaged.write_bytes(content)
    cut = tmp_path / "cut.db"
    cut.write_bytes(saved.read_bytes()[:50_000])
    newer = tmp_path / "newer.db"
    shutil.copy(saved, newer)
    with contextlib.closing(sqlite3.connect(newer)) as ahead, ahead:
        ahead.execute("update _sqlite_migrations set name = 'm999_later' where name = 'm009_holders'")
    foreign = tmp_path / "foreign.db"
    with contextlib.closing(sqlite3.connect(foreign)) as strange, strange:
        strange.execute("create table films (name)")
    (tmp_path / "notes.txt").write_text("no catalogue", encoding="utf-8")
    for wrong, why in (
        (damaged, "damaged"),
        (cut, "damaged"),
        (newer, "newer negcat"),
        (foreign, "is not a negcat catalogue"),
        (tmp_path / "notes.txt", "is not a negcat catalogue"),
        (tmp_path / "absent.db", "there is no file"),
        (root / "negcat.db", "is the archive's own catalogue"),
    ):
        assert why in run("restore", wrong, "-a", root, status=2).stderr
    assert contents(root / "negcat.db") == before
    assert names(root) == {"negcat.db", "previews", "records.yaml"}

    shutil.copy(damaged, root / "negcat.db")
    assert "damaged" in run("backup", tmp_path / "again.db", "-a", root, status=2).stderr
    assert not (tmp_path / "again.db").exists()


def test_those_who_read_see_the_restored_one_next(root, saved):
    with keeping.reading(root) as archive:
        counted = archive.catalogue.find_with_choices(Query())[1]["tag"]
        assert counted == [("N", 2)]
        run("restore", saved, "-a", root)
        # One question sees one state.
        assert archive.catalogue.count(Query()) == 2
    with keeping.reading(root) as archive:
        assert archive.catalogue.find_with_choices(Query())[1]["tag"] == [("N", 1)]
    # So does whoever has the file open by other means, like the tables' own pages.
    with contextlib.closing(sqlite3.connect(root / "negcat.db")) as plain:
        assert plain.execute("select count(*) from sheets").fetchone() == (1,)
        run("restore", next(root.glob("negcat.db.replaced-*")), "-a", root)
        assert plain.execute("select count(*) from sheets").fetchone() == (2,)


def test_what_waits_to_be_written_is_written_to_the_restored_one(root, saved):
    with Catalogue.open(root / "negcat.db") as other:
        assert other.sheet_ids() == ["BW-01", "BW-02"]
        run("restore", saved, "-a", root)
        with other.writing() as database:
            database.execute("update sheets set place = 'Clay pit'")
    with Catalogue.open(root / "negcat.db", readonly=True) as catalogue:
        assert [(sheet.sheet, sheet.place) for sheet in catalogue.sheets()] == [("BW-01", "Clay pit")]
    run("verify", "-a", root)


def test_nothing_is_put_over_what_another_is_writing(root, saved, monkeypatch):
    monkeypatch.setattr(connection, "WAIT_S", 0.05)
    with Catalogue.open(root / "negcat.db") as other, other.writing() as database:
        database.execute("update sheets set place = 'Clay pit'")
        assert "is in use" in run("restore", saved, "-a", root, status=2).stderr
    with Catalogue.open(root / "negcat.db", readonly=True) as catalogue:
        assert [sheet.place for sheet in catalogue.sheets()] == ["Clay pit", "Clay pit"]
    assert names(root) == {"negcat.db", "previews", "records.yaml"}


def test_into_a_folder_without_a_catalogue(root, saved, tmp_path):
    moved = tmp_path / "moved"
    assert "there is no folder" in run("restore", saved, "-a", moved, status=2).stderr
    moved.mkdir()
    run("restore", saved, "-a", moved)
    assert sheets(moved) == ["BW-01"]
    assert names(moved) == {"negcat.db"}

    # A log that was left by a catalogue that is gone would be taken for the new one's.
    with Catalogue.open(root / "negcat.db") as other:
        with other.writing() as database:
            database.execute("update sheets set place = 'Clay pit'")
        log = (root / "negcat.db-wal").read_bytes()
    assert log
    (root / "negcat.db").unlink()
    (root / "negcat.db-wal").write_bytes(log)
    run("restore", saved, "-a", root)
    assert sheets(root) == ["BW-01"]
    with Catalogue.open(root / "negcat.db") as catalogue:
        assert [(sheet.sheet, sheet.place) for sheet in catalogue.sheets()] == [("BW-01", None)]
    (kept,) = root.glob("negcat.db.replaced-*-wal")
    assert kept.read_bytes() == log


@pytest.mark.parametrize("spoilt", ["no catalogue", "cut", "empty"])
def test_over_a_spoilt_catalogue_which_is_kept(root, saved, spoilt):
    present = root / "negcat.db"
    content = {"no catalogue": b"no catalogue", "cut": present.read_bytes()[:50_000], "empty": b""}[spoilt]
    present.write_bytes(content)
    run("restore", saved, "-a", root)
    assert sheets(root) == ["BW-01"]
    run("verify", "-a", root)
    (kept,) = root.glob("negcat.db.replaced-*")
    assert kept.read_bytes() == content


def test_one_made_by_an_older_negcat_is_brought_up_to_date(tmp_path, monkeypatch):
    older = tmp_path / "older"
    with monkeypatch.context() as then:
        knows(then, migrations._migrations[:-1])
        then.setattr(Catalogue, "close", lambda self: self.database.close())
        run("init", older)
    # It can be backed up before it is brought up to date.
    run("backup", tmp_path / "older.db", "-a", older)
    new = tmp_path / "new"
    run("init", new)
    assert "older negcat" in run("restore", tmp_path / "older.db", "-a", new).stdout
    run("verify", "-a", new)


def test_pages_of_another_size_are_taken(root, saved):
    with contextlib.closing(sqlite3.connect(saved, isolation_level=None)) as other:
        other.execute("pragma page_size=8192")
        other.execute("vacuum")
    run("restore", saved, "-a", root)
    assert sheets(root) == ["BW-01"]
    run("verify", "-a", root)


_KILLED = """
import os, signal, sys
from negcat.catalogue import copying
from negcat.cli import backing_up, main
from negcat.work import backing_up

event, function, times, file, root = sys.argv[1:]
copying._STEP = 8
left = int(times)

def look(frame, now, arg):
    global left
    if now == event and frame.f_code.co_name == function:
        left -= 1
        if not left:
            os.kill(os.getpid(), signal.SIGKILL)

sys.setprofile(look)
main(["restore", file, "-a", root])
"""


@pytest.mark.parametrize(
    ("event", "function", "times"),
    [
        pytest.param("return", "put", 1, id="former kept"),
        pytest.param("call", "step", 5, id="half way"),
    ],
)
def test_killed_in_the_midst_it_leaves_the_old_one(root, saved, event, function, times):
    before = contents(root / "negcat.db")
    words = [event, function, str(times), str(saved), str(root)]
    killed = subprocess.run([sys.executable, "-c", _KILLED, *words], capture_output=True)
    assert killed.returncode == -signal.SIGKILL, killed.stderr
    assert contents(root / "negcat.db") == before
    run("verify", "-a", root)
    for kept in root.glob("negcat.db.replaced-*"):
        assert contents(kept) == before
    # What was left unfinished is cleared away by the next one.
    run("restore", saved, "-a", root)
    assert sheets(root) == ["BW-01"]
    assert not [path for path in root.iterdir() if path.name.endswith(".part")]
