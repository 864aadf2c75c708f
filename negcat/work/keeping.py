"""Archives kept open for reading, from one question to the next.

Opening a catalogue costs some milliseconds, and what is held of it in memory would be lost with it. So what has
answered is laid by for whoever asks next. Before it is used again, it is seen to be still the archive at that
place, and of the layout it was opened with; else it is opened anew. What others write is seen by the next question.
"""

from __future__ import annotations

import atexit
import contextlib
import threading
from collections.abc import Iterator
from pathlib import Path
from weakref import WeakValueDictionary

from negcat.catalogue import Memory
from negcat.errors import ArchiveError, NegcatError
from negcat.work.archive import Archive

__all__ = ["MOST", "close_all", "laid_by", "reading"]

MOST = 6
"""Catalogues laid by at most, of all archives together; as many as questions are asked at once."""

_laid_by: list[Archive] = []
"""The one used last at the end."""

_memories: WeakValueDictionary[tuple[int, ...], Memory] = WeakValueDictionary()
"""What is held in memory of a catalogue, for all who have it open."""

_lock = threading.Lock()


@contextlib.contextmanager
def reading(root: Path) -> Iterator[Archive]:
    """Lend an archive open for reading; everything read meanwhile is of one state of it.

    Parameters
    ----------
    root : the archive's folder.

    Raises
    ------
    ArchiveError : the folder holds no catalogue, or one that can't be read.
    """
    archive = _take(root.absolute())
    good = False
    try:
        with archive.catalogue.at_once():
            yield archive
        good = True
    except ArchiveError:
        raise
    except NegcatError:
        # What was asked for is at fault, not the catalogue.
        good = True
        raise
    finally:
        if not (good and _lay_by(archive)):
            archive.close()


def _take(root: Path) -> Archive:
    """Take up what was laid by of an archive, or open it."""
    while True:
        with _lock:
            place = next((n for n in reversed(range(len(_laid_by))) if _laid_by[n].root == root), None)
            archive = _laid_by.pop(place) if place is not None else None
        if archive is None:
            return _opened(root)
        if archive.catalogue.still_good():
            return archive
        archive.close()


def _opened(root: Path) -> Archive:
    archive = Archive.open(root, readonly=True)
    state = archive.catalogue.state
    if state is not None:
        with _lock:
            archive.catalogue.remember_in(_memories.setdefault(state, Memory()))
    return archive


def _lay_by(archive: Archive) -> bool:
    """Lay an archive by; tell whether it was."""
    if not archive.catalogue.still_good():
        return False
    with _lock:
        _laid_by.append(archive)
        too_many = [_laid_by.pop(0) for _ in range(len(_laid_by) - MOST)]
    for old in too_many:
        old.close()
    return True


def laid_by() -> list[Archive]:
    """List what is laid by, the one used last at the end."""
    with _lock:
        return list(_laid_by)


@atexit.register
def close_all() -> None:
    """Close what is laid by; what is lent is laid by again afterwards."""
    with _lock:
        archives = list(_laid_by)
        _laid_by.clear()
    for archive in archives:
        archive.close()
