"""Work shared out to a few threads, results in order, with few results waiting."""

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TypeVar

__all__ = ["decoding_threads", "shared_out"]

S = TypeVar("S")
T = TypeVar("T")

# Two keep a small machine busy; the checksum runs beside them.
_threads: ContextVar[int] = ContextVar("threads", default=2)


@contextmanager
def decoding_threads(count: int) -> Iterator[None]:
    """Decode with so many threads, two otherwise; with one where each core has a whole scan of its own to decode."""
    token = _threads.set(count)
    try:
        yield
    finally:
        _threads.reset(token)


def shared_out(items: Iterable[S], work: Callable[[S], T]) -> Iterator[T]:
    """Yield `work` of each item, in the items' order, done by a few threads; see `decoding_threads`.

    Only as many items are begun as keep the threads busy, which bounds the memory. The first error ends it.
    """
    threads = _threads.get()
    if threads == 1:
        yield from map(work, items)
        return
    pending: deque[Future[T]] = deque()
    with ThreadPoolExecutor(threads) as workers:
        try:
            for item in items:
                pending.append(workers.submit(work, item))
                # One more than the workers have in hand keeps them busy.
                if len(pending) > threads + 1:
                    yield pending.popleft().result()
            while pending:
                yield pending.popleft().result()
        finally:
            for future in pending:
                future.cancel()
