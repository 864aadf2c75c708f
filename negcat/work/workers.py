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
from functools import partial
from typing import TYPE_CHECKING, Any, TypeVar

from negcat.work.processes import LEAST_MEMORY, MEMORY_SHARE, Lost, Processes, alone, memory_of_machine

if TYPE_CHECKING:
    from negcat.work.cluster import Cluster

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
    workers: int | str, *, seconds: Callable[..., float] | None = None, memory: int | None = None
) -> Iterator[Executor]:
    """Give an executor; at the end its workers are ended, whatever they are at, or a cluster is left.

    Parameters
    ----------
    workers : how many worker processes, which start beside whatever follows; 0: none, all is done in this one;
        or ``dask://HOST:PORT``, where a Dask cluster's scheduler is.
    seconds : tells from a task's arguments how many seconds it may take; a worker that takes longer is ended.
        None: no limit.
    memory : bytes that each worker process may ask for; None: its share of three quarters of the machine's memory,
        and no less than 1 GiB. A cluster's workers have the limits that they were started with.

    Raises
    ------
    NegcatError : there is no such cluster.
    """
    if workers == 0:
        yield Here()
        return
    pool: Processes | Cluster
    if isinstance(workers, str):
        from negcat.work.cluster import Cluster

        pool = Cluster(workers, seconds=seconds)
    else:
        share = max(LEAST_MEMORY, int(memory_of_machine() * MEMORY_SHARE / workers))
        pool = Processes(workers, seconds=seconds, memory=memory or share)
    try:
        yield pool
    finally:
        pool.end()


def results(
    workers: Executor, function: Callable[[A], T], arguments: Iterable[A], *, ahead: int | None = None
) -> Iterator[tuple[A, T | Lost]]:
    """Have a function done for each argument, and give what comes of it in the arguments' order.

    Where a worker dies or meets a MemoryError, its task is done once more, alone and with all the memory that there is
    for workers: what else was being done may have been why. Where that happens again, or a task takes too long, it is
    given up, and the others go on.

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
    Exception : whatever else the function raises.
    """
    waiting: deque[tuple[A, Future[T]]] = deque()
    most: int = getattr(workers, "ahead", 1) if ahead is None else ahead
    lost_by: tuple[type[Exception], ...] = getattr(workers, "lost_by", ())

    def outcome(future: Future[T]) -> T | Lost:
        try:
            return future.result()
        except Lost as lost:
            return lost
        except MemoryError:
            return Lost("ran out of memory", scarce=True)
        except lost_by:
            return Lost("died")

    def settled() -> tuple[A, T | Lost]:
        argument, future = waiting.popleft()
        found = outcome(future)
        if isinstance(found, Lost) and not found.late:
            wait([other for _, other in waiting])
            found = outcome(workers.submit(partial(alone, function), argument))
        return argument, found

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
