"""Files that appear whole or not at all, and what is left of those that never did.

A file is written beside its place under a name of its own, and gets its real name when it is complete. Whoever
writes it holds it locked meanwhile; the lock ends with the program, however that ends. So what is left of a killed
program is told from what another program is writing just now, and cleared away by the next one that writes there.
"""

from __future__ import annotations

import contextlib
import fcntl
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

__all__ = ["clear_unfinished", "put", "written_whole"]

SUFFIX = ".part"

_SIDES = ("journal", "shm", "wal")
"""What SQLite lays beside a file that it writes."""

# It can't be read without being set, which other threads would see.
_UMASK = os.umask(0o077)
os.umask(_UMASK)


@contextlib.contextmanager
def written_whole(target: Path, *, replacing: bool = True, lasting: bool = False) -> Iterator[Path]:
    """Give a path to write to, whose file gets the name `target` when all went well.

    Parameters
    ----------
    target : where the file goes; its folder is there. Unfinished files of that name are cleared away.
    replacing : a file that is there is replaced at once; else it stays, and that is an error.
    lasting : the file must outlast a power cut, not only a killed program.

    Yields
    ------
    An empty file in the same folder, to be written in place: not renamed, not replaced.

    Raises
    ------
    FileExistsError : `target` is there and may not be replaced.
    OSError : the folder is missing, full, or can't be written.
    """
    clear_unfinished(target.parent, target.name)
    descriptor, unfinished = _begin(target)
    try:
        yield unfinished
        # Readable as an ordinary new file is; a temporary one is only its owner's.
        os.fchmod(descriptor, 0o666 & ~_UMASK)
        if lasting:
            os.fsync(descriptor)
        if replacing:
            unfinished.replace(target)
        else:
            put(unfinished, target)
        if lasting:
            _keep_names(target.parent)
    finally:
        unfinished.unlink(missing_ok=True)
        os.close(descriptor)


def put(made: Path, target: Path) -> None:
    """Give a finished file its name, which nobody else has taken in the meantime.

    Raises
    ------
    FileExistsError : somebody has.
    """
    try:
        # Unlike a rename, a link never replaces what is there.
        os.link(made, target)
    except FileExistsError:
        raise
    except OSError:
        # Some disks know no links.
        if target.exists():
            raise FileExistsError(target) from None
        made.rename(target)


def clear_unfinished(folder: Path, name: str | None = None) -> None:
    """Clear away what killed programs left unfinished in a folder; what can't be removed stays.

    Parameters
    ----------
    folder : where; it may be missing.
    name : only files that would have got this name; None: any.
    """
    start = "." if name is None else f".{name}."
    with contextlib.suppress(OSError):
        left = sorted(path.name for path in folder.iterdir() if path.name.startswith(start))
        for found in left:
            if found.endswith(SUFFIX):
                with contextlib.suppress(OSError):
                    _clear(folder / found)
        for found in left:
            # SQLite's, beside a copy that is gone: of one being written they are in use.
            part, _, side = found.rpartition("-")
            if part.endswith(SUFFIX) and side in _SIDES and not (folder / part).exists():
                with contextlib.suppress(OSError):
                    (folder / found).unlink()


def _begin(target: Path) -> tuple[int, Path]:
    """Make an unfinished file and lock it."""
    while True:
        descriptor, name = tempfile.mkstemp(prefix=f".{target.name}.", suffix=SUFFIX, dir=target.parent)
        with contextlib.suppress(OSError):
            # A disk that knows no locks: then nobody else can lock it either, and it is never cleared away.
            fcntl.flock(descriptor, fcntl.LOCK_EX)
        if os.fstat(descriptor).st_nlink:
            return descriptor, Path(name)
        # Somebody took it for a killed program's in the moment before it was locked.
        os.close(descriptor)


def _clear(unfinished: Path) -> None:
    descriptor = os.open(unfinished, os.O_RDWR | os.O_NOFOLLOW | os.O_NONBLOCK)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        unfinished.unlink()
    finally:
        os.close(descriptor)


def _keep_names(folder: Path) -> None:
    """Make a folder's new names outlast a power cut, on disks that can."""
    with contextlib.suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
