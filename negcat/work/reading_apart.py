"""A master read by a worker process, where a command asks for that: what its decoder dies of, the command outlives.

The pages, and whoever calls the library, read masters in their own process, as they know them to be sound.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import Executor
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from operator import attrgetter
from typing import Any, TypeVar

from negcat.errors import ScanError
from negcat.places import Place
from negcat.work.reading_scans import seconds_for, sentence_on, telling_scarcity
from negcat.work.workers import Here, Lost, executor, results

__all__ = ["read_apart", "reading_apart"]

T = TypeVar("T")

_workers: ContextVar[Executor | None] = ContextVar("workers", default=None)


@contextmanager
def reading_apart() -> Iterator[None]:
    """Have masters read by a worker process, which starts beside whatever follows."""
    with executor(1, seconds=attrgetter("seconds")) as workers:
        token = _workers.set(workers)
        try:
            yield
        finally:
            _workers.reset(token)


@dataclass(frozen=True)
class _Look:
    """Something to be read of a master."""

    path: Place
    function: Callable[..., Any]
    args: tuple[Any, ...]
    keywords: dict[str, Any]

    @property
    def seconds(self) -> float:
        return seconds_for(self.path)


def _look(task: _Look) -> Any:
    with telling_scarcity():
        return task.function(*task.args, **task.keywords)


def read_apart(path: Place, function: Callable[..., T], *args: Any, **keywords: Any) -> T:
    """Read something of a master, by the worker where there is one.

    Parameters
    ----------
    path : the master.
    function : reads it; importable, and what it is given and gives picklable.
    args, keywords : its arguments.

    Raises
    ------
    ScanError : as the function; and where the worker dies of it, or takes too long.
    """
    task = _Look(path, function, args, keywords)
    ((_, outcome),) = results(_workers.get() or Here(), _look, [task])
    if isinstance(outcome, Lost):
        raise ScanError(sentence_on(path, outcome))
    return outcome  # type: ignore[no-any-return]
