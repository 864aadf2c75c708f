"""An archive that is kept open says what the archive says: written to, replaced, removed, brought up to date."""

from __future__ import annotations

import shutil
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from negcat.catalogue import Query
from negcat.catalogue.migrations import migrations
from negcat.errors import ArchiveError, UnknownNameError
from negcat.records import Records
from negcat.work import keeping
from negcat.work.archive import Archive

EQUIPMENT: dict[str, Any] = {
    "films": [{"name": "Marl 400", "box_speed": "400"}],
    "lenses": [{"name": "Tressick 150", "cells": [{"cell": "whole", "focal_mm": "150"}]}],
}


def sheets(*names: str, place: str = "Clay pit") -> Records:
    made = [
        {"sheet": name, "film": "Marl 400", "lens": "Tressick 150", "stop": "22", "time": "1", "place": place}
        for name in names
    ]
    return Records.model_validate({**EQUIPMENT, "sheets": made})


def make(root: Path, *names: str, place: str = "Clay pit") -> Path:
    with Archive.create(root) as archive:
        archive.catalogue.take([sheets(*names, place=place)], "a test")
    return root


def places(root: Path) -> list[tuple[str, int]]:
    with keeping.reading(root) as archive:
        return archive.catalogue.find_with_choices(Query())[1]["place"]


@pytest.fixture(autouse=True)
def nothing_laid_by() -> Iterator[None]:
    keeping.close_all()
    yield
    keeping.close_all()


@pytest.fixture
def root(tmp_path: Path) -> Path:
    return make(tmp_path / "brickworks", "BW-01", "BW-02")


_TAKE = """
import sys
from pathlib import Path
from negcat.work.archive import Archive
from tests.unit.test_catalogue_kept_open import sheets
with Archive.open(Path(sys.argv[1])) as archive:
    archive.catalogue.take([sheets(*sys.argv[3:], place=sys.argv[2])], "another program")
"""


def test_the_same_one_is_used_again(root: Path) -> None:
    with keeping.reading(root) as first:
        pass
    with keeping.reading(root) as second, keeping.reading(root) as third:
        assert second is first
        assert third is not first


def test_what_another_program_writes_is_seen_next(root: Path) -> None:
    for number in range(3):
        before = places(root)
        place = f"Quay {number}"
        subprocess.run([sys.executable, "-c", _TAKE, str(root), place, f"QU-{number}"], check=True)
        assert places(root) == [*before, (place, 1)]


def test_one_question_sees_one_state(root: Path) -> None:
    with keeping.reading(root) as archive:
        assert archive.catalogue.count(Query()) == 2
        with Archive.open(root) as writing:
            writing.catalogue.take([sheets("BW-03")], "a test")
        assert archive.catalogue.count(Query()) == 2
    with keeping.reading(root) as archive:
        assert archive.catalogue.count(Query()) == 3


def test_another_archive_in_its_place(root: Path, tmp_path: Path) -> None:
    assert places(root) == [("Clay pit", 2)]
    other = make(tmp_path / "other", "BW-01", "BW-02", place="Tramway")
    root.rename(tmp_path / "away")
    other.rename(root)
    assert places(root) == [("Tramway", 2)]
    # And only its file put in the file's place.
    third = make(tmp_path / "third", "BW-01", "BW-02", place="Engine house")
    (third / "negcat.db").rename(root / "negcat.db")
    assert places(root) == [("Engine house", 2)]


def test_an_archive_that_is_gone_and_comes_back(root: Path, tmp_path: Path) -> None:
    assert places(root) == [("Clay pit", 2)]
    root.rename(tmp_path / "away")
    with pytest.raises(ArchiveError, match="is no archive"), keeping.reading(root):
        pass
    shutil.copytree(tmp_path / "away", root)
    assert places(root) == [("Clay pit", 2)]


def test_a_catalogue_that_is_damaged_meanwhile(root: Path) -> None:
    assert places(root) == [("Clay pit", 2)]
    (root / "negcat.db").unlink()
    (root / "negcat.db").write_bytes(b"no catalogue at all, but text" * 200)
    with pytest.raises(ArchiveError, match="is not a negcat catalogue"), keeping.reading(root):
        pass


def test_a_catalogue_brought_up_to_date_by_a_newer_negcat(root: Path) -> None:
    assert places(root) == [("Clay pit", 2)]
    with Archive.open(root) as archive:
        name = "m999_later"
        with archive.catalogue.writing() as database:
            database.execute("create table later (id integer primary key)")
            database.execute(
                "insert into _sqlite_migrations (migration_set, name, applied_at) values ('negcat', ?, '2030')",
                [name],
            )
    with pytest.raises(ArchiveError, match="newer negcat"), keeping.reading(root):
        pass


def test_a_fault_of_the_question_keeps_it_open(root: Path) -> None:
    with pytest.raises(UnknownNameError), keeping.reading(root) as asked:
        raise UnknownNameError("no such sheet")
    with keeping.reading(root) as again:
        assert again is asked
    with pytest.raises(RuntimeError), keeping.reading(root) as asked:
        raise RuntimeError
    with keeping.reading(root) as again:
        assert again is not asked


def test_only_so_many_are_laid_by(tmp_path: Path) -> None:
    roots = [make(tmp_path / f"archive {number}", "BW-01") for number in range(keeping.MOST + 3)]
    for root in roots:
        places(root)
    assert len(keeping.laid_by()) == keeping.MOST
    assert [archive.root for archive in keeping.laid_by()] == roots[3:]


def test_what_is_held_in_memory_is_shared(root: Path) -> None:
    with keeping.reading(root) as one, keeping.reading(root) as other:
        statements: list[str] = []
        assert one.catalogue.counts(Query())["place"] == [("Clay pit", 2)]
        other.catalogue.database.conn.set_trace_callback(statements.append)
        assert other.catalogue.counts(Query())["place"] == [("Clay pit", 2)]
        assert not [sql for sql in statements if "sheet_search" in sql]


def test_many_at_once_while_another_writes(root: Path) -> None:
    """Every answer is of one state: as many sheets on the wall as are counted."""
    faults: list[str] = []
    done = threading.Event()

    def ask() -> None:
        last = 0
        while not done.is_set():
            with keeping.reading(root) as archive:
                page, choices = archive.catalogue.find_with_choices(Query(film="marl 400", limit=1000))
                counts = {page.count, len(page.rows), sum(number for _, number in choices["place"])}
                if len(counts) != 1 or page.count < last:
                    faults.append(f"{counts} after {last}")
                last = page.count

    threads = [threading.Thread(target=ask) for _ in range(4)]
    for thread in threads:
        thread.start()
    with Archive.open(root) as archive:
        for number in range(40):
            archive.catalogue.take(
                [sheets(f"QU-{number}", f"QV-{number}", place=f"Quay {number % 7}")], "a test"
            )
    done.set()
    for thread in threads:
        thread.join()
    assert faults == []
    assert sum(number for _, number in places(root)) == 82


def test_steps_are_known_by_their_names() -> None:
    """The test above stands for a step to come."""
    assert "m999_later" not in {step.name for step in migrations._migrations}
