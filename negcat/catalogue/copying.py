"""Whole catalogues copied, and put in each other's place, while other programs use them.

Both go by SQLite's online backup (https://www.sqlite.org/backup.html), page by page inside one transaction. A copy
holds one state, whatever others write meanwhile. A catalogue that another one is put into keeps its file: programs
that have it open see the new content with their next question, and whoever is stopped in the midst leaves the old.
"""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from negcat.catalogue.connection import APPLICATION_ID, WAIT_S, explained, open_database, sentence_of
from negcat.catalogue.soundness import Sound
from negcat.catalogue.store import Catalogue
from negcat.errors import ArchiveError
from negcat.whole_files import written_whole

__all__ = ["beside", "brought_up_to_date", "copy_catalogue", "is_catalogue", "is_whole", "put_into"]

_STEP = 4096
"""Pages copied between two looks at whether to go on."""

_OF_WRITING = (sqlite3.SQLITE_FULL, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_IOERR)
"""What SQLite may have against a file that is written, not against the one that is read."""

_SIDE_FILES = ("-wal", "-shm", "-journal")


def is_catalogue(path: Path) -> bool:
    """Tell by its first bytes whether a file is a catalogue; nothing is opened, and no side file left."""
    try:
        with path.open("rb") as file:
            head = file.read(72)
    except OSError:
        return False
    return head[:16] == b"SQLite format 3\0" and int.from_bytes(head[68:72]) == APPLICATION_ID


def beside(path: Path) -> list[Path]:
    """List the side files that SQLite has laid beside a database."""
    return [side for ending in _SIDE_FILES if (side := path.with_name(path.name + ending)).exists()]


def is_whole(path: Path) -> bool:
    """Tell whether SQLite can read a file from end to end, whatever its tables hold."""
    try:
        with _as_it_is(path) as catalogue:
            return bool(catalogue.connection.execute("pragma quick_check(1)").fetchone()[0] == "ok")
    except sqlite3.DatabaseError as error:
        if getattr(error, "sqlite_errorcode", 0) & 0xFF in (sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CORRUPT):
            return False
        # In use, or not to be reached, is another matter.
        raise ArchiveError(sentence_of(error, path)) from error


def copy_catalogue(source: Path, target: Path) -> tuple[int, int]:
    """Copy a catalogue, as it is at one moment, into a new file.

    Parameters
    ----------
    source : a catalogue of this or an older negcat, which may be in use.
    target : an empty file, which becomes the copy: by itself, without side files.

    Returns
    -------
    How many sheets and how many scans it knows of.

    Raises
    ------
    ArchiveError : the source is no catalogue, or a newer negcat's, or damaged; or the copy can't be written.
    """
    with explained(source), _as_it_is(source) as catalogue, catalogue.at_once():
        catalogue.behind()
        _copy(catalogue.connection, target)
    with explained(target), _as_it_is(target) as copied:
        if faults := copied.damage():
            more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
            raise ArchiveError(f"{source} is not sound, {faults[0]}{more}; take a copy that is sound")
        sheets, scans = (copied.value(f"select count(*) from {table}") for table in ("sheets", "scans"))
    return int(sheets), int(scans)


@contextlib.contextmanager
def _as_it_is(path: Path) -> Iterator[Sound]:
    """Open a catalogue for reading, of an older negcat too."""
    connection, _ = open_database(path, readonly=True)
    try:
        yield Sound(connection, path, readonly=True)
    finally:
        connection.close()


def _copy(source: sqlite3.Connection, target: Path) -> None:
    """Copy what a connection sees into an empty file."""
    try:
        with contextlib.closing(sqlite3.connect(target, isolation_level=None)) as copy:
            # Whole or nothing already: it needs no journal, which a killed program would leave.
            copy.execute("pragma journal_mode=off")
            copy.execute("pragma synchronous=full")
            source.backup(copy, pages=_STEP, sleep=0)
            # By itself: no log beside it that could be left behind when it is carried away.
            copy.execute("pragma journal_mode=delete")
    except sqlite3.Error as error:
        if getattr(error, "sqlite_errorcode", 0) & 0xFF in _OF_WRITING:
            raise ArchiveError(sentence_of(error, target)) from error
        raise


def brought_up_to_date(path: Path) -> bool:
    """Bring a copied catalogue to this negcat's layout; tell whether it was behind."""
    with explained(path), _as_it_is(path) as catalogue:
        behind = catalogue.behind()
    if behind:
        Catalogue.open(path).close()
    return behind


def put_into(present: Path, copied: Path, aside: Path) -> None:
    """Put a copied catalogue into the file of another one, whose content is kept aside.

    Parameters
    ----------
    present : the catalogue in use, which SQLite can open, damaged inside or not.
    copied : the copy.
    aside : where what `present` holds is kept, from before anything of it is changed.

    Raises
    ------
    ArchiveError : the present catalogue is in use for longer than :data:`WAIT_S`, or can't be written. It is as it
        was then.
    FileExistsError : there is something at `aside`.
    """
    kept = False
    with explained(present):
        into, _ = open_database(present, readonly=False)
        try:
            # With a log, others go on reading what was there while this is written.
            into.execute("pragma journal_mode=wal")
            _with_pages_of(into, copied)
            with (
                contextlib.closing(sqlite3.connect(copied)) as new,
                contextlib.closing(open_database(present, readonly=True)[0]) as old,
            ):

                def step(status: int, remaining: int, total: int) -> None:
                    if status in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
                        raise ArchiveError(
                            f"{present} is in use: another program has been writing to it for more than {WAIT_S:.0f} "
                            "seconds; wait until that is done and run the command again"
                        )
                    # From the first step on nobody else can write, and what was there is still there to be read.
                    nonlocal kept
                    if not kept:
                        with written_whole(aside, replacing=False, lasting=True) as former:
                            _copy(old, former)
                        kept = True

                # Never all in one step, after which it would be done already.
                pages = new.execute("pragma page_count").fetchone()[0]
                new.backup(into, pages=max(1, min(_STEP, pages - 1)), progress=step)
            with contextlib.suppress(sqlite3.Error):
                into.execute("pragma busy_timeout=0")
                into.execute("pragma wal_checkpoint(truncate)")
        finally:
            into.close()


def _with_pages_of(present: sqlite3.Connection, copied: Path) -> None:
    """Give a copy the page size of the catalogue it is put into, which alone can be taken page by page."""
    wanted = present.execute("pragma page_size").fetchone()[0]
    with contextlib.closing(sqlite3.connect(copied, isolation_level=None)) as copy:
        copy.execute("pragma journal_mode=delete")
        if copy.execute("pragma page_size").fetchone()[0] != wanted:
            copy.execute(f"pragma page_size={wanted}")
            copy.execute("vacuum")
