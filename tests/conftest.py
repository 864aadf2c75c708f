"""What tests of several rooms share."""

from __future__ import annotations

import fcntl
import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner

from negcat.cli import main
from tests.web import markup
from tests.web.twice import build_twice

# Rooms whose files take longest, longest first; all others follow.
LONGEST = ("browser", "web", "simulation", "cli", "properties")

Once = Callable[[str, Callable[[Path], Path]], Path]


def pytest_configure(config: pytest.Config) -> None:
    """Let files be handed to the workers as they are ordered below, not those of most tests first."""
    if hasattr(config.option, "loadscopereorder"):
        config.option.loadscopereorder = False


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """Three workers on two cores: a test that looks at a page waits a third of its time for the browser."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return cores + (cores + 1) // 2


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with what takes longest: small files at the end leave no core waiting for another."""
    here = Path(__file__).parent

    def room(item: pytest.Item) -> int:
        name = item.path.relative_to(here).parts[0] if item.path.is_relative_to(here) else ""
        return LONGEST.index(name) if name in LONGEST else len(LONGEST)

    items.sort(key=room)


@pytest.fixture(scope="session")
def once(tmp_path_factory: pytest.TempPathFactory) -> Once:
    """Give a function that builds an archive once in a run, and every worker a copy of its own.

    It takes a name, and the builder: called with a folder to build in, it gives the archive's folder in there.
    """
    top = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        top = top.parent

    def built(name: str, build: Callable[[Path], Path]) -> Path:
        first, told = top / f"once-{name}", top / f"once-{name}.path"
        with (top / f"once-{name}.lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            if not told.exists():
                # What a worker began that was stopped is nothing to go on with.
                shutil.rmtree(first, ignore_errors=True)
                first.mkdir()
                told.write_text(str(build(first).relative_to(first)), encoding="utf-8")
        own = tmp_path_factory.mktemp(name) / "own"
        shutil.copytree(first, own)
        return own / told.read_text(encoding="utf-8")

    return built


@pytest.fixture(scope="session")
def sample(once: Once) -> Path:
    """The sample archive, built as `negcat demo` builds it; not to be written to."""

    def build(root: Path) -> Path:
        folder = root / "brickworks"
        result = CliRunner().invoke(main, ["demo", str(folder), "--no-serve", "--json"])
        assert result.exit_code == 0, result.stderr
        (folder / "demo.json").write_text(result.stdout, encoding="utf-8")
        return folder

    return once("sample", build)


@pytest.fixture(scope="session")
def scanned_twice(once: Once) -> Path:
    """The archive of sheets that were scanned twice; not to be written to."""
    return once("twice", build_twice)


@pytest.fixture(scope="session")
def full_of_markup(once: Once) -> Path:
    """The archive whose every text is markup; not to be written to."""
    return once("markup", markup.build)
