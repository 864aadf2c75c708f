"""Work on many files at once: by worker processes of this machine, by those of a cluster, or here.

Whoever does it, it is asked for in one way::

    with executor(2) as workers:
        for path, found in results(workers, sha256_of, paths):
            ...

What is done must be importable and picklable, and what it gives too. The process that asks stays the only one that
writes the catalogue.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Executor, Future, wait
from contextlib import contextmanager
from typing import Any, TypeVar

from negcat.work.processes import LEAST_MEMORY, MEMORY_SHARE, Lost, Processes, memory_of_machine

__all__ = ["Here", "Lost", "executor", "results", "usual_workers"]

A = TypeVar("A")
T = TypeVar("T")

MOST_WORKERS = 8
"""Beyond it, scans come off a disk no faster."""


def usual_workers() -> int:
    """Give how many workers this machine keeps busy: one for each core it has for us, at most eight."""
    return min(MOST_WORKERS, len(os.sched_getaffinity(0)))


class Here(Executor):
    """An executor that does each task at once, in this process: for files that are known to be sound."""

    ahead = 0

    def submit(self, fn: Callable[..., T], /, *args: Any, **kwargs: Any) -> Future[T]:
        """Do a task."""
        future: Future[T] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as error:
            future.set_exception(error)
        return future


@contextmanager
def executor(
    workers: int, *, seconds: Callable[..., float] | None = None, memory: int | None = None
) -> Iterator[Executor]:
    """Give an executor; at the end its workers are ended, whatever they are at.

    Parameters
    ----------
    workers : how many worker processes; 0: none, all is done in this one. They start beside whatever follows.
    seconds : tells from a task's arguments how many seconds it may take; a worker that takes longer is ended.
        None: no limit.
    memory : bytes that each worker process may ask for; None: its share of three quarters of the machine's memory,
        and no less than 1 GiB.
    """
    if workers == 0:
        yield Here()
        return
    if memory is None:
        memory = max(LEAST_MEMORY, int(memory_of_machine() * MEMORY_SHARE / workers))
    processes = Processes(workers, seconds=seconds, memory=memory)
    try:
        yield processes
    finally:
        processes.end()


def results(
    workers: Executor, function: Callable[[A], T], arguments: Iterable[A], *, ahead: int | None = None
) -> Iterator[tuple[A, T | Lost]]:
    """Have a function done for each argument, and give what comes of it in the arguments' order.

    Where a worker dies, its task is done once more, alone: what else was being done may have been why, as where
    memory ran out. Where it dies again, or took too long, the task is given up, and the others go on.

    Parameters
    ----------
    workers : see :func:`executor`.
    function : of one argument.
    arguments : taken only as far as there is work for them.
    ahead : tasks under way and results that wait for an earlier one; None: two for each worker. Each holds memory.

    Yields
    ------
    Each argument with the function's result, or with :class:`Lost`, whose text says what became of the worker.

    Raises
    ------
    Exception : whatever the function raises.
    """
    waiting: deque[tuple[A, Future[T]]] = deque()
    most: int = getattr(workers, "ahead", 1) if ahead is None else ahead

    def settled() -> tuple[A, T | Lost]:
        argument, future = waiting.popleft()
        try:
            return argument, future.result()
        except Lost as lost:
            if lost.late:
                return argument, lost
        wait([other for _, other in waiting])
        try:
            return argument, workers.submit(function, argument).result()
        except Lost as lost:
            return argument, lost

    try:
        for argument in arguments:
            waiting.append((argument, workers.submit(function, argument)))
            if len(waiting) > most:
                yield settled()
        while waiting:
            yield settled()
    finally:
        for _, future in waiting:
            future.cancel()
