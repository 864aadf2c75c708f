"""Files appear whole or not at all; what a killed program left is told from what another one writes just now."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from negcat.whole_files import clear_unfinished, written_whole

_WRITES = """
import sys
from pathlib import Path
from negcat.whole_files import written_whole
with written_whole(Path(sys.argv[1])) as unfinished:
    unfinished.write_text("half")
    print(flush=True)
    sys.stdin.read()
"""


def test_a_file_is_there_when_it_is_whole(tmp_path: Path) -> None:
    target = tmp_path / "page.html"
    with written_whole(target, lasting=True) as unfinished:
        unfinished.write_text("whole")
        assert not target.exists()
    assert [(path.name, path.read_text()) for path in tmp_path.iterdir()] == [("page.html", "whole")]


def test_what_fails_leaves_what_was_there(tmp_path: Path) -> None:
    target = tmp_path / "page.html"
    target.write_text("earlier")

    def fail() -> None:
        with written_whole(target) as unfinished:
            unfinished.write_text("half")
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail()
    assert [(path.name, path.read_text()) for path in tmp_path.iterdir()] == [("page.html", "earlier")]


def test_what_came_meanwhile_stays(tmp_path: Path) -> None:
    target = tmp_path / "page.html"

    def come_second() -> None:
        with written_whole(target, replacing=False) as unfinished:
            target.write_text("another's")
            unfinished.write_text("ours")

    with pytest.raises(FileExistsError):
        come_second()
    assert [(path.name, path.read_text()) for path in tmp_path.iterdir()] == [("page.html", "another's")]


def test_only_what_nobody_writes_any_more_is_cleared_away(tmp_path: Path) -> None:
    writer = subprocess.Popen(
        [sys.executable, "-c", _WRITES, str(tmp_path / "page.html")],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    )
    assert writer.stdin is not None
    assert writer.stdout is not None
    writer.stdout.readline()
    (tmp_path / "a.part").write_text("the user's own")
    (half,) = tmp_path.glob(".page.html.*")
    clear_unfinished(tmp_path)
    assert half.exists()
    os.kill(writer.pid, signal.SIGKILL)
    writer.wait()
    writer.stdin.close()
    writer.stdout.close()
    clear_unfinished(tmp_path, "another.html")
    assert half.exists()
    clear_unfinished(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["a.part"]


def test_a_folder_that_is_gone_has_nothing_to_clear(tmp_path: Path) -> None:
    clear_unfinished(tmp_path / "gone")


def test_what_sqlite_laid_beside_a_killed_programs_file_is_cleared_too(tmp_path: Path) -> None:
    (tmp_path / ".negcat.db.abc123.part").touch()
    for name in (".negcat.db.abc123.part-journal", ".negcat.db.gone45.part-wal"):
        (tmp_path / name).touch()
    with written_whole(tmp_path / "negcat.db") as living:
        beside = living.with_name(living.name + "-journal")
        beside.touch()
        clear_unfinished(tmp_path)
        # It is in use beside what is being written.
        assert sorted(tmp_path.iterdir()) == [living, beside]
        beside.unlink()
