"""Workers on other machines: those of a Dask cluster that somebody has started.

Dask brings the tasks to them and, where one dies, to another. Every worker must see the masters under the same path, or
reach them at the same address with credentials of its own; negcat must be installed there, in the same version. Who
doesn't see the archive's folder sends the pyramid back.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from importlib import import_module
from socket import create_connection
from typing import Any

from negcat.errors import NegcatError
from negcat.work.processes import Lost

__all__ = ["SCHEME", "Cluster"]

SCHEME = "dask://"

ANSWER_S = 10
"""A scheduler that is there answers within so many seconds."""


class Cluster(Executor):
    """An executor over the workers of a Dask cluster.

    Parameters
    ----------
    address : ``dask://HOST:PORT`` of its scheduler.
    seconds : tells from a task's arguments how long it may take; None: as long as it likes.

    Raises
    ------
    NegcatError : distributed isn't installed, no scheduler answers, or it has no workers.
    """

    elsewhere = True

    def __init__(self, address: str, *, seconds: Callable[..., float] | None = None) -> None:
        try:
            distributed: Any = import_module("distributed")
        except ImportError:
            raise NegcatError(
                "a cluster needs further libraries; install them with pip install 'negcat[cluster]'"
            ) from None
        where = address.removeprefix(SCHEME)
        try:
            host, _, port = where.rpartition(":")
            # The client would try for as long as it may, also where it is refused.
            create_connection((host.strip("[]"), int(port)), ANSWER_S).close()
            self._client = distributed.Client(f"tcp://{where}", timeout=ANSWER_S, set_as_default=False)
        except (OSError, ValueError) as error:
            raise NegcatError(
                f"no scheduler answers at {address}; start one with 'dask scheduler', workers with 'dask worker', "
                "and name HOST:PORT as it prints them"
            ) from error
        threads = sum(self._client.nthreads().values())
        if not threads:
            self._client.close()
            raise NegcatError(
                f"the cluster at {address} has no workers; start some with 'dask worker {where}'"
            )
        # Of workers that it loses the client's log says more than its user can do anything about.
        logging.getLogger("distributed").setLevel(logging.CRITICAL)
        self.ahead = 2 * threads
        self.lost_by = (distributed.scheduler.KilledWorker,)
        self._seconds = seconds
        self._executor = self._client.get_executor(pure=False)

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Have a task done by one of the workers; what is handed over must be picklable."""
        seconds = self._seconds(*args, **kwargs) if self._seconds else None
        future: Future[Any] = self._executor.submit(_within, seconds, fn, args, kwargs)
        return future

    def end(self) -> None:
        """Leave the cluster; what it was asked to do is called off."""
        self._executor.shutdown(wait=False)
        self._client.close()


def _within(
    seconds: float | None, fn: Callable[..., Any], args: tuple[Any, ...], kwargs: dict[str, Any]
) -> Any:
    """Do a task on the cluster's worker; Lost where it isn't done in time.

    Its thread can't be ended, and goes on until the worker is: but nobody waits for it any more.
    """
    thread = ThreadPoolExecutor(1)
    try:
        task = thread.submit(fn, *args, **kwargs)
        try:
            return task.result(seconds)
        except TimeoutError:
            if task.done():
                raise
            raise Lost(f"was not done after {seconds:g} s and was left alone", late=True) from None
    finally:
        thread.shutdown(wait=False)
