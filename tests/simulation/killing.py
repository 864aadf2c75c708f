"""Commands run in a process group of their own, and stopped dead: at a moment, after so many bytes, at a step.

negcat knows nothing of this. A command runs in a fork of this process, which has everything imported, and what is
to stop it is set up around it before it begins.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import random
import resource
import signal
import sqlite3
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing import forkserver, resource_tracker
from pathlib import Path
from types import ModuleType
from typing import Any

from negcat.cli import main

__all__ = ["Ended", "Stop", "begin", "run", "stop_for"]


@dataclass(frozen=True)
class Stop:
    """What stops a command.

    Parameters
    ----------
    kind : ``moment`` (seconds from its start), ``bytes`` (a file of it grows beyond so many), ``statement`` (before
        its nth statement of SQL), ``commit`` (right before its nth commit), ``committed`` (right after), ``step``
        (before the nth time that it renames, links or removes a file, or waits for the disk). And what only
        hinders it: ``no room`` (no file can grow beyond so many bytes), ``no rights`` (root minds permissions too).
    value : that number.
    """

    kind: str
    value: float


@dataclass(frozen=True)
class Ended:
    """How a command ended: its exit status, negative where it was killed, what it said, and how long it took."""

    status: int
    stdout: str
    stderr: str
    seconds: float


PR_CAPBSET_DROP = 24

KINDS = ("moment", "moment", "bytes", "statement", "commit", "committed", "step")
MOST = {"statement": 160, "commit": 14, "committed": 14, "step": 30}


def stop_for(rng: random.Random, seconds: float) -> Stop:
    """Choose what stops a command that takes so long undisturbed."""
    kind = rng.choice(KINDS)
    if kind == "moment":
        return Stop(kind, rng.uniform(0, 1.1 * seconds))
    if kind == "bytes":
        # From a page of the log to a whole picture.
        return Stop(kind, int(2 ** rng.uniform(11, 21)))
    return Stop(kind, int(MOST[kind] ** rng.random()))


def run(args: list[str], folder: Path, stop: Stop | None = None) -> Ended:
    """Run a command to its end, or until it is stopped, with all that it has started."""
    return begin(args, folder, stop)()


def begin(args: list[str], folder: Path, stop: Stop | None = None, name: str = "std") -> Callable[[], Ended]:
    """Begin a command, and give what waits for its end."""
    out, err = folder / f"{name}out", folder / f"{name}err"
    for earlier in (out, err):
        earlier.unlink(missing_ok=True)
    begun = time.monotonic()
    sys.stdout.flush()
    child = os.fork()
    if child == 0:
        _be(args, out, err, stop)
    return lambda: _finish(child, begun, out, err, stop)


def _finish(child: int, begun: float, out: Path, err: Path, stop: Stop | None) -> Ended:
    if stop is not None and stop.kind == "moment":
        # Not waited for to the end: what is still at it then is killed.
        while (
            time.monotonic() < begun + stop.value
            and os.waitid(os.P_PID, child, os.WEXITED | os.WNOHANG | os.WNOWAIT) is None
        ):
            time.sleep(0.001)
        with contextlib.suppress(ProcessLookupError):
            os.kill(child, signal.SIGKILL)
    os.waitid(os.P_PID, child, os.WEXITED | os.WNOWAIT)
    # While it isn't reaped, its group is nobody else's: whatever it has started goes with it.
    with contextlib.suppress(ProcessLookupError):
        os.killpg(child, signal.SIGKILL)
    status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    return Ended(
        status,
        out.read_text(encoding="utf-8", errors="replace") if out.exists() else "",
        err.read_text(encoding="utf-8", errors="replace") if err.exists() else "",
        time.monotonic() - begun,
    )


def _be(args: list[str], out: Path, err: Path, stop: Stop | None) -> None:
    """Be the command, in the child."""
    status = 70
    try:
        os.setpgid(0, 0)
        # The worker processes of whoever forked this one are none of its own.
        for others in (forkserver._forkserver, resource_tracker._resource_tracker):
            others.__init__()  # type: ignore[misc]
        # Nor has a worker of this one to import the tests.
        sys.modules["__main__"] = ModuleType("__main__")
        for place, target in ((1, out), (2, err)):
            descriptor = os.open(target, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
            os.dup2(descriptor, place)
        sys.stdout = os.fdopen(1, "w", encoding="utf-8", closefd=False)
        sys.stderr = os.fdopen(2, "w", encoding="utf-8", closefd=False)
        if stop is not None:
            _arm(stop)
        main(args)
    except SystemExit as exit_:
        status = exit_.code if isinstance(exit_.code, int) else int(exit_.code is not None)
    finally:
        with contextlib.suppress(Exception):
            sys.stdout.flush()
            sys.stderr.flush()
        os._exit(status)


def _die() -> None:
    os.killpg(0, signal.SIGKILL)


def _arm(stop: Stop) -> None:
    """Set up what stops this process."""
    if stop.kind == "bytes":
        # The kernel ends it in the midst of a write, some of which is done.
        signal.signal(signal.SIGXFSZ, signal.SIG_DFL)
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        resource.setrlimit(resource.RLIMIT_FSIZE, (int(stop.value), int(stop.value)))
    elif stop.kind == "no room":
        resource.setrlimit(resource.RLIMIT_FSIZE, (int(stop.value), int(stop.value)))
    elif stop.kind == "no rights":
        _give_up_rights()
    elif stop.kind == "step":
        left = [int(stop.value)]
        for name in ("replace", "rename", "link", "unlink", "fsync"):
            setattr(os, name, _counted(getattr(os, name), left))
    elif stop.kind in ("statement", "commit", "committed"):
        _arm_statements(stop)


def _give_up_rights() -> None:
    """Give up what lets root read and write whatever its permissions say (capabilities(7), 1 to 3)."""
    libc = ctypes.CDLL(None, use_errno=True)
    header = (ctypes.c_uint32 * 2)(0x20080522, 0)
    sets = (ctypes.c_uint32 * 6)()
    if os.geteuid() == 0:
        assert libc.capget(header, sets) == 0
        for right in (1, 2, 3):
            # For the programs that it starts, too.
            assert libc.prctl(PR_CAPBSET_DROP, right, 0, 0, 0) == 0
        for place in range(3):
            sets[place] &= ~0b1110
        assert libc.capset(header, sets) == 0


def _counted(function: Any, left: list[int]) -> Any:
    def counted(*args: Any, **kwargs: Any) -> Any:
        left[0] -= 1
        if left[0] <= 0:
            _die()
        return function(*args, **kwargs)

    return counted


def _arm_statements(stop: Stop) -> None:
    """Count what goes to SQLite, through every connection that is opened from now on."""
    left = [int(stop.value)]

    class Counted(sqlite3.Connection):
        def execute(self, sql: str, *args: Any) -> sqlite3.Cursor:
            commits = sql.strip().lower() == "commit"
            counts = commits if stop.kind in ("commit", "committed") else True
            if counts:
                left[0] -= 1
            if counts and left[0] <= 0 and stop.kind != "committed":
                _die()
            done = super().execute(sql, *args)
            if counts and left[0] <= 0:
                _die()
            return done

        def executemany(self, sql: str, *args: Any) -> sqlite3.Cursor:
            left[0] -= stop.kind == "statement"
            if stop.kind == "statement" and left[0] <= 0:
                # With some of its rows written.
                self.set_progress_handler(_die, 500)
            return super().executemany(sql, *args)

    connect = sqlite3.connect

    def counting(*args: Any, **kwargs: Any) -> sqlite3.Connection:
        kwargs.setdefault("factory", Counted)
        return connect(*args, **kwargs)

    sqlite3.connect = counting
