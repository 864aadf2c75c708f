"""Work shared out to a few threads, results in order, with few results waiting."""

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

__all__ = ["WORKERS", "shared_out"]

S = TypeVar("S")
T = TypeVar("T")

WORKERS = 2
"""Threads that decode. Two keep a small machine busy; the checksum runs beside them."""


def shared_out(items: Iterable[S], work: Callable[[S], T]) -> Iterator[T]:
    """Yield `work` of each item, in the items' order, done by `WORKERS` threads.

    Only as many items are begun as keep the threads busy, which bounds the memory. The first error ends it.
    """
    pending: deque[Future[T]] = deque()
    with ThreadPoolExecutor(WORKERS) as workers:
        try:
            for item in items:
                pending.append(workers.submit(work, item))
                # One more than the workers have in hand keeps them busy.
                if len(pending) > WORKERS + 1:
                    yield pending.popleft().result()
            while pending:
                yield pending.popleft().result()
        finally:
            for future in pending:
                future.cancel()
