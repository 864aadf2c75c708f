"""What worker processes are given to do in tests: among it what no process survives."""

import os
import signal
import time
from pathlib import Path

import numpy as np

from negcat.work.reading_scans import Reading, ToRead, read_scan


def doubled(number: int) -> int:
    return 2 * number


def process(_: int) -> int:
    return os.getpid()


def picture(side: int) -> np.ndarray:
    return np.arange(side * side, dtype=np.float32).reshape(side, side)


def refused(number: int) -> int:
    raise ValueError(f"no {number}")


def doubled_if_odd(number: int) -> int:
    """Crash as a decoder does that writes beyond its memory."""
    if number % 2 == 0:
        os.kill(os.getpid(), signal.SIGSEGV)
    return 2 * number


def crashing_once(mark: str) -> str:
    """Die at the first try of each file, and leave a mark."""
    path = Path(mark)
    if not path.exists():
        path.touch()
        os._exit(7)
    return path.name


def hanging_at_two(number: int) -> int:
    if number == 2:
        signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGTERM})
        time.sleep(3600)
    return 2 * number


def needing(megabytes: int) -> int:
    return len(bytearray(megabytes << 20)) >> 20


def given_up_without(megabytes: int) -> str:
    try:
        return str(needing(megabytes))
    except MemoryError:
        return "too much"


# Scans whose names say what becomes of who reads them; for `read_scan` in its place ------------------------------


def read_scan_or_not(task: ToRead) -> Reading | str:
    """Read a scan, but crash or hang where its name says so; the first time only where it says `once`."""
    if not isinstance(task.path, Path):
        return read_scan(task)
    name = task.path.stem
    mark = task.path.with_suffix(".tried")
    if "once" not in name or not mark.exists():
        mark.touch()
        if "crashes" in name:
            os.kill(os.getpid(), signal.SIGSEGV)
        if "hangs" in name:
            time.sleep(3600)
    return read_scan(task)


def not_read(task: ToRead) -> str:
    return f"{task.path}: nobody was to read this"


def read_by_nobody(*_: object, **__: object) -> None:
    os.kill(os.getpid(), signal.SIGSEGV)
