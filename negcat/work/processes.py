"""Worker processes of this machine: each does one task at a time, and one that dies takes nothing else along."""

from __future__ import annotations

import multiprocessing
import os
import pickle
import resource
import signal
import sys
import threading
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from negcat.errors import NegcatError

__all__ = ["LEAST_MEMORY", "MEMORY_SHARE", "Lost", "Processes", "alone", "memory_of_machine"]

PRELOADED = ["negcat.scans"]
"""Imported once, by the process that workers are forked from: with it a worker is there in milliseconds."""

MEMORY_SHARE = 0.75
"""The part of the machine's memory that all workers together may take."""

LEAST_MEMORY = 1 << 30
"""Bytes that a worker may always take."""

GRACE_S = 2.0
"""A worker that is asked to end has so long to put away what it was writing."""


class Lost(NegcatError):  # noqa: N818 - a task's outcome, handed on where another exception would be raised
    """A task that its worker couldn't do: it died, was ended because it took too long, or ran out of memory.

    Parameters
    ----------
    how : what became of the worker, in words that end a sentence.
    late : it took too long, so that there is no use in trying again.
    scarce : it ran out of memory.
    """

    def __init__(self, how: str, *, late: bool = False, scarce: bool = False) -> None:
        super().__init__(how)
        self.how = how
        self.late = late
        self.scarce = scarce


def memory_of_machine() -> int:
    """Give the bytes of memory that this process may count on: the machine's, or less in a container."""
    pages = os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
    with suppress(OSError, ValueError):
        return min(pages, int(Path("/sys/fs/cgroup/memory.max").read_text(encoding="ascii")))
    return pages


class _Worker:
    """One process, and the line to it."""

    def __init__(self, memory: int) -> None:
        context = multiprocessing.get_context("forkserver")
        context.set_forkserver_preload(PRELOADED)
        self._line, theirs = context.Pipe()
        self._process = context.Process(target=_serve, args=(theirs, memory), daemon=True)
        self._process.start()
        theirs.close()

    def do(self, task: tuple[Any, ...], seconds: float | None) -> Any:
        """Have a task done; Lost where the process is gone afterwards."""
        try:
            self._line.send(task)
            if not self._line.poll(seconds):
                self.end(signal.SIGKILL)
                raise Lost(f"was not done after {seconds:g} s and was ended", late=True)
            done, error = _receive(self._line)
        except (EOFError, OSError):
            self._process.join()
            raise Lost(_ending(self._process.exitcode)) from None
        if error is not None:
            raise error
        return done

    def end(self, by: signal.Signals = signal.SIGTERM) -> None:
        """End the process, whatever it is at."""
        if self._process.pid is not None and self._process.is_alive():
            with suppress(ProcessLookupError):
                os.kill(self._process.pid, by)
            self._process.join(GRACE_S)
            self._process.kill()
            self._process.join()


def _ending(status: int | None) -> str:
    """Say how a process ended."""
    if status is not None and status < 0:
        if -status == signal.SIGKILL:
            return "was killed from outside, as a machine does that runs out of memory"
        with suppress(ValueError):
            return f"crashed ({signal.Signals(-status).name})"
    return f"ended with status {status}"


class Processes(ThreadPoolExecutor):
    """An executor over worker processes: a thread for each, which hands it its tasks and sees it die.

    Each worker has a process of its own and one task in it, so that what is lost with it is known, and only that.
    They are forked from a process without threads that has imported nothing but what reads scans.

    Parameters
    ----------
    count : workers.
    seconds : tells from a task's arguments how long it may take; None: as long as it likes.
    memory : bytes of memory that each worker may ask for; beyond it its task meets a MemoryError. What is done by
        :func:`alone` may ask for `MEMORY_SHARE` of the machine's.
    """

    def __init__(self, count: int, *, seconds: Callable[..., float] | None = None, memory: int) -> None:
        super().__init__(count, thread_name_prefix="worker")
        self.ahead = 2 * count
        self._seconds = seconds
        self._memory = memory
        self._ended = False
        self._of_thread = threading.local()
        self._workers: list[_Worker] = []
        # In its thread: whoever makes the executor has better things to do than to wait for it.
        super().submit(self._worker)

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Have a task done by the next idle worker; what is handed over must be picklable."""
        return super().submit(self._do, fn, args, kwargs)

    def _worker(self) -> _Worker:
        """Give this thread's worker, begun where there is none."""
        worker: _Worker | None = getattr(self._of_thread, "worker", None)
        if worker is None:
            if self._ended:
                raise Lost("was ended")
            worker = self._of_thread.worker = _Worker(self._memory)
            self._workers.append(worker)
        return worker

    def _do(self, fn: Callable[..., Any], args: tuple[Any, ...], kwargs: dict[str, Any]) -> Any:
        worker = self._worker()
        try:
            return worker.do((fn, args, kwargs), self._seconds(*args, **kwargs) if self._seconds else None)
        except Lost:
            self._workers.remove(worker)
            self._of_thread.worker = None
            raise

    def end(self) -> None:
        """End every worker, whatever it is at; nothing that was begun is waited for."""
        self._ended = True
        for worker in list(self._workers):
            worker.end()
        self.shutdown(cancel_futures=True)
        for worker in self._workers:  # begun meanwhile
            worker.end()


# In the worker ----------------------------------------------------------------------------------------------


def _serve(line: Connection, memory: int) -> None:
    """Do one task after the other until the line is closed."""
    # The interrupt key reaches every process of the terminal; what to do about it is decided in one.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))
    resource.setrlimit(resource.RLIMIT_CORE, (0, resource.getrlimit(resource.RLIMIT_CORE)[1]))
    given = resource.getrlimit(resource.RLIMIT_DATA)[1]
    most = max(memory, int(memory_of_machine() * MEMORY_SHARE))
    most = most if given == resource.RLIM_INFINITY else min(most, given)
    resource.setrlimit(resource.RLIMIT_DATA, (min(memory, most), most))
    if not os.environ.get("NEGCAT_TRACEBACK"):
        # What a decoder prints as it dies belongs neither into a JSON document nor before the user.
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
        os.dup2(nowhere, 2)
    while True:
        try:
            fn, args, kwargs = line.recv()
        except EOFError:
            return
        try:
            answer = _written((fn(*args, **kwargs), None))
        except Exception as error:
            answer = _written((None, error))
        _send(line, *answer)


def alone(function: Callable[..., Any], *args: Any) -> Any:
    """Do a task, in a worker, with all the memory that workers together may take."""
    share, most = resource.getrlimit(resource.RLIMIT_DATA)
    resource.setrlimit(resource.RLIMIT_DATA, (most, most))
    try:
        return function(*args)
    finally:
        resource.setrlimit(resource.RLIMIT_DATA, (share, most))


# Pictures on their way --------------------------------------------------------------------------------------
#
# Arrays go as they lie in memory into memory made ready for them: in a pickle they would take ten times as long.


def _written(answer: Any) -> tuple[bytes, list[memoryview]]:
    arrays: list[pickle.PickleBuffer] = []
    return pickle.dumps(answer, protocol=5, buffer_callback=arrays.append), [array.raw() for array in arrays]


def _send(line: Connection, written: bytes, views: list[memoryview]) -> None:
    line.send((written, [len(view) for view in views]))
    for view in views:
        rest = view
        while rest:
            rest = rest[os.write(line.fileno(), rest) :]


def _receive(line: Connection) -> Any:
    written, sizes = line.recv()
    arrays = [bytearray(size) for size in sizes]
    for array in arrays:
        rest = memoryview(array)
        while rest:
            count = os.readv(line.fileno(), [rest])
            if not count:
                raise EOFError
            rest = rest[count:]
    return pickle.loads(written, buffers=arrays)
