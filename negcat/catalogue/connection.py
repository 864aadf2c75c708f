"""Opening the catalogue file: what the connection promises, and its faults in plain words.

Several processes may use one catalogue at once. Readers never wait (write-ahead log); writers wait for
each other up to :data:`WAIT_S` seconds and then say so. Every write is one transaction, begun at once as a
writer's (``BEGIN IMMEDIATE``), because one begun as a reader's can't wait for its turn later on.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self
from urllib.parse import quote

from negcat.catalogue import statistics
from negcat.catalogue.steps import STEPS
from negcat.catalogue.tallying import keep_up
from negcat.errors import ArchiveError, OlderArchiveError
from negcat.whole_files import clear_unfinished, written_whole

if TYPE_CHECKING:
    from sqlite_utils import Database

__all__ = ["APPLICATION_ID", "WAIT_S", "CatalogueFile", "explained", "now", "open_database", "sentence_of"]

APPLICATION_ID = 0x6E676361
"""The mark in the header of the file by which a catalogue is told from any other SQLite file."""

WAIT_S = 30.0
"""Seconds that a writer waits for another one."""

_Parameters = Sequence[Any] | Mapping[str, Any]


def now() -> str:
    """Tell the time as the catalogue writes it: UTC, to the second."""
    return datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


def _unwritable(path: Path) -> str:
    return (
        f"{path} can't be written to: it lies on a read-only disk, or you may not write there; "
        "make the file and its folder writable, or copy the archive to where you may write"
    )


def sentence_of(error: sqlite3.Error, path: Path) -> str:
    """Say what SQLite's error means for whoever uses the archive, and how to mend it."""
    code = getattr(error, "sqlite_errorcode", None)
    primary = code & 0xFF if code is not None else None
    match primary:
        case sqlite3.SQLITE_BUSY | sqlite3.SQLITE_LOCKED:
            return (
                f"{path} is in use: another program has been writing to it for more than {WAIT_S:.0f} "
                "seconds; wait until that is done and run the command again"
            )
        case sqlite3.SQLITE_READONLY | sqlite3.SQLITE_PERM | sqlite3.SQLITE_AUTH:
            return _unwritable(path)
        case sqlite3.SQLITE_FULL:
            return (
                f"the disk that holds {path} is full, and nothing was changed; make room and run the command "
                "again"
            )
        case sqlite3.SQLITE_CONSTRAINT:
            return (
                f"the catalogue {path} can't take that: it contradicts what is there already ({error}); nothing "
                "was changed, compare it with what 'negcat show' says"
            )
        case sqlite3.SQLITE_CORRUPT:
            return f"{path} is damaged ({error}); put back a copy that is sound"
        case sqlite3.SQLITE_NOTADB:
            return f"{path} is not a negcat catalogue: it is no SQLite file, or its beginning is damaged"
        case sqlite3.SQLITE_CANTOPEN:
            return f"{path} can't be opened; see that its folder exists and that you may read and write there"
        case sqlite3.SQLITE_IOERR:
            return (
                f"{path} can't be read or written ({error}); see that its disk or network drive is still "
                "there, and has room"
            )
        case _:
            return f"the catalogue {path} refused: {error}; run 'negcat verify' to see whether it is sound"


@contextlib.contextmanager
def explained(path: Path) -> Iterator[None]:
    """Turn an error of SQLite's into one readable sentence.

    Parameters
    ----------
    path : the catalogue's file, named in the sentence.

    Raises
    ------
    ArchiveError : in place of any error of SQLite's.
    """
    try:
        yield
    except sqlite3.Error as error:
        raise ArchiveError(sentence_of(error, path)) from error


def _connect(path: Path, mode: str) -> sqlite3.Connection:
    """Open a file that exists already (``rw``, ``ro`` or ``ro`` on a disk that nobody can write)."""
    uri = f"file:{quote(str(path.absolute()))}?{mode}"
    connection = sqlite3.connect(
        # What only reads may be kept open, and is then used by one thread after the other.
        uri,
        uri=True,
        timeout=WAIT_S,
        isolation_level=None,
        check_same_thread=mode == "mode=rw",
    )
    try:
        # The first statement that reads the file: here it shows whether it can be used.
        connection.execute("select count(*) from sqlite_master").fetchone()
        connection.execute("pragma foreign_keys=on")
        connection.execute("pragma recursive_triggers=on")
        connection.execute("pragma temp_store=memory")
        connection.execute("pragma cache_size=-65536")
        if mode == "mode=rw":
            # A report of what was taken must outlast a power cut, not only a killed process.
            connection.execute("pragma synchronous=full")
    except BaseException:
        connection.close()
        raise
    return connection


def open_database(path: Path, *, readonly: bool) -> tuple[sqlite3.Connection, bool]:
    """Open the file, also from a disk on which SQLite can't lay its side files.

    Returns
    -------
    The connection, and whether it will see what others write.
    """
    if not readonly:
        return _connect(path, "mode=rw"), True
    try:
        return _connect(path, "mode=ro"), True
    except sqlite3.OperationalError:
        log = path.with_name(path.name + "-wal")
        if os.access(path.parent, os.W_OK) or (log.exists() and log.stat().st_size):
            raise
        # Nobody can be writing here and nothing waits in the log, so the file alone is the whole truth.
        return _connect(path, "mode=ro&immutable=1"), False


def _identity(path: Path) -> tuple[int, int] | None:
    """Tell a file from another one that is put in its place; None where there is none."""
    try:
        state = path.stat()
    except OSError:
        return None
    return state.st_dev, state.st_ino


class CatalogueFile:
    """The open file: reading, and writing in whole transactions.

    Parameters
    ----------
    connection : to the open database.
    path : its file.
    readonly : whether it was opened for reading only.
    """

    def __init__(self, connection: sqlite3.Connection, path: Path, *, readonly: bool = False) -> None:
        self.connection = connection
        self.path = path
        self.readonly = readonly
        self._state: tuple[int, ...] | None = None
        self._opened: tuple[int, int] | None = None
        self._only_reading = False

    @cached_property
    def database(self) -> Database:
        """The same connection in the hands of sqlite-utils, which whoever only asks needn't wait for."""
        from sqlite_utils import Database

        return Database(self.connection, execute_plugins=False)

    @classmethod
    def create(cls, path: str | os.PathLike[str]) -> Self:
        """Make a catalogue that holds nothing but the built-in print targets, and open it.

        The file appears whole or not at all, also when two programs make it at once.

        Raises
        ------
        ArchiveError : there is a file of that name already, or the folder can't be written.
        """
        target = Path(path)
        clear_unfinished(target.parent, target.name)
        if target.exists():
            raise ArchiveError(f"{target} exists already; it stays as it is")
        try:
            with explained(target):
                content = cls._new()
            with written_whole(target, replacing=False, lasting=True) as making:
                making.write_bytes(content)
        except FileExistsError as error:
            raise ArchiveError(f"{target} exists already; it stays as it is") from error
        except OSError as error:
            raise ArchiveError(
                f"{target} can't be made: {error.strerror}; choose a folder you may write in"
            ) from error
        return cls.open(target)

    @classmethod
    def _new(cls) -> bytes:
        """Make the content of a new catalogue's file, in memory."""
        from negcat.catalogue.migrations import migrations

        connection = sqlite3.connect(":memory:", isolation_level=None)
        with contextlib.closing(connection):
            connection.execute(f"pragma application_id={APPLICATION_ID}")
            made = cls(connection, Path(":memory:"))
            with made.writing() as database:
                migrations.apply(database)
                made._furnish()
            return connection.serialize()

    @classmethod
    def open(cls, path: str | os.PathLike[str], readonly: bool = False) -> Self:
        """Open a catalogue, bringing one that an older negcat made up to date.

        Parameters
        ----------
        path : the file.
        readonly : open it so that nothing can be written.

        Raises
        ------
        ArchiveError : the file is absent, damaged, no catalogue, made by a newer negcat, or can't be
            written though it must be.
        """
        file = Path(path)
        if not file.is_file():
            raise ArchiveError(f"there is no catalogue at {file}; make an archive with 'negcat init DIR'")
        if not readonly:
            # SQLite would open it for reading only without a word, and refuse when all the work is done.
            if not (os.access(file, os.W_OK) and os.access(file.parent, os.W_OK)):
                raise ArchiveError(_unwritable(file))
            clear_unfinished(file.parent, file.name)
        with explained(file):
            identity = _identity(file)
            connection, sees_changes = open_database(file, readonly=readonly)
            try:
                opened = cls(connection, file, readonly=readonly)
                opened._opened = identity
                opened._check()
                if not readonly:
                    connection.execute("pragma journal_mode=wal")
                if sees_changes and identity == _identity(file):
                    opened._state = opened._state_now(identity)
            except BaseException:
                connection.close()
                raise
        return opened

    def _check(self) -> None:
        """See that this is a catalogue, of a schema this negcat knows; bring an older one up to date."""
        if self.behind():
            if self.readonly:
                raise OlderArchiveError(
                    f"{self.path} was made by an older negcat and is open for reading only; "
                    "run any negcat command once where it may be written, which brings it up to date"
                )
            from negcat.catalogue.upgrading import bring_up_to_date, keep_only

            kept = None
            try:
                with self.writing() as database:
                    kept = bring_up_to_date(database, self.path)
            except OSError as error:
                raise ArchiveError(
                    f"{self.path} was made by an older negcat and can't be brought up to date, because no copy "
                    f"of it can be kept beside it ({(error.strerror or str(error)).lower()}); it stays as it is: "
                    "make room on its disk, and see that its folder may be written"
                ) from error
            if kept is not None:
                keep_only(kept, self.path)

    def behind(self) -> bool:
        """Tell whether an older negcat laid it out.

        Raises
        ------
        ArchiveError : it is no catalogue, or a newer negcat laid it out.
        """
        marked = self.value("pragma application_id") == APPLICATION_ID
        noted = self.value("select 1 from sqlite_master where name = '_sqlite_migrations'") is not None
        applied = (
            {
                name
                for (name,) in self.tuples(
                    "select name from _sqlite_migrations where migration_set = 'negcat'"
                )
            }
            if noted
            else set()
        )
        if not marked or not applied:
            raise ArchiveError(
                f"{self.path} is not a negcat catalogue; name the folder of an archive, or make one with "
                "'negcat init DIR'"
            )
        known = set(STEPS)
        if applied - known:
            raise ArchiveError(
                f"{self.path} was made or brought up to date by a newer negcat than this one "
                f"(step {max(applied - known)!r}); bring this negcat up to date to open it"
            )
        return bool(known - applied)

    def _furnish(self) -> None:
        """Put into a new catalogue what it holds from the start."""

    @contextlib.contextmanager
    def writing(self) -> Iterator[Database]:
        """Hold one transaction: everything written inside is kept whole, or not at all.

        Used inside another, it becomes part of that one, so that a job may join several writes.

        Raises
        ------
        ArchiveError : the catalogue is locked for longer than :data:`WAIT_S`, can't be written, is
            damaged, or the disk is full. Nothing is changed then.
        """
        database = self.database
        if self.readonly:
            raise ArchiveError(
                f"{self.path} is open for reading only; open it for writing to change anything in it"
            )
        if self._only_reading:
            raise RuntimeError("nothing can be written while one state is being read")
        if database.conn.in_transaction:
            with database.atomic():
                yield database
            return
        with explained(self.path):
            self._refuse_another_file()
            database.conn.execute("begin immediate")
            try:
                # What refers to something may be written before it; all is checked at the end.
                database.conn.execute("pragma defer_foreign_keys=on")
                yield database
                # So that a large archive is searched quickly whatever is written.
                keep_up(database.conn)
                # SQLite would go on writing into a file that is deleted, or carried off to another place.
                self._refuse_another_file()
                try:
                    database.conn.execute("commit")
                except sqlite3.IntegrityError:
                    # Found at the very end, when the statement to blame is long done: look which it was.
                    if lost := self._lost_reference():
                        raise ArchiveError(lost) from None
                    raise
            except BaseException:
                database.rollback()
                raise

    def _refuse_another_file(self) -> None:
        """Refuse to write where the file that was opened is no longer the one at its path."""
        if self._opened is not None and _identity(self.path) != self._opened:
            raise ArchiveError(
                f"{self.path} is not there any more, or another file lies in its place, so nothing was written; see "
                "that its disk and folder are where they were, and run the command again"
            )

    @contextlib.contextmanager
    def at_once(self) -> Iterator[None]:
        """See one state of the catalogue throughout, whatever others write meanwhile.

        Used inside another, or inside :meth:`writing`, it sees what that one sees.
        """
        connection = self.connection
        if connection.in_transaction:
            yield
            return
        with explained(self.path):
            connection.execute("begin")
        self._only_reading = True
        try:
            yield
        finally:
            self._only_reading = False
            connection.rollback()

    @property
    def is_writing(self) -> bool:
        """Whether something is being written, which may yet be taken back."""
        return self.connection.in_transaction and not self._only_reading

    def writes_of_others(self) -> int:
        """Give a number that is another one as soon as anybody else has written (SQLite's data_version)."""
        return int(self.value("pragma data_version"))

    @property
    def state(self) -> tuple[int, ...] | None:
        """The file that was opened and how it was laid out then; None where it can't be seen to stay so."""
        return self._state

    def still_good(self) -> bool:
        """Tell whether this is still the file at its path, and laid out as when it was opened.

        An archive may be put in another's place, or be brought up to date by a newer negcat.
        """
        try:
            return self._state is not None and self._state == self._state_now(_identity(self.path))
        except ArchiveError:
            return False

    def _state_now(self, identity: tuple[int, int] | None) -> tuple[int, ...] | None:
        return None if identity is None else (*identity, int(self.value("pragma schema_version")))

    def _lost_reference(self) -> str | None:
        """Say which row refers to something that isn't there."""
        execute = self.connection.execute
        lost = execute("pragma foreign_key_check").fetchone()
        if lost is None:
            return None
        table, rowid, parent, number = lost
        columns = [row[3] for row in execute(f"pragma foreign_key_list({table})") if row[0] == number]
        name, *values = execute(
            f"select {table}.*, {', '.join(columns)} from {table} where rowid = ?", [rowid]
        ).fetchone()
        wanted = " / ".join(str(value) for value in values[-len(columns) :])
        return (
            f"{name} (in {table}) refers to '{wanted}', and the archive's {parent} don't hold it; "
            "record it first, or correct the name"
        )

    def rows(self, sql: str, parameters: _Parameters = ()) -> list[dict[str, Any]]:
        """Read rows as dictionaries.

        Raises
        ------
        ArchiveError : the catalogue can't be read.
        """
        with explained(self.path):
            cursor = self.connection.execute(sql, parameters)
            names = [column[0] for column in cursor.description]
            return [dict(zip(names, row, strict=True)) for row in cursor]

    def tuples(self, sql: str, parameters: _Parameters = ()) -> list[tuple[Any, ...]]:
        """Read rows as they come."""
        with explained(self.path):
            return self.connection.execute(sql, parameters).fetchall()

    def in_parts(self, sql: str, parameters: _Parameters, size: int) -> Iterator[list[tuple[Any, ...]]]:
        """Read rows as they come, so many at a time, so that memory stays bounded whatever their number."""
        with explained(self.path):
            cursor = self.connection.execute(sql, parameters)
            while part := cursor.fetchmany(size):
                yield part

    def row(self, sql: str, parameters: _Parameters = ()) -> dict[str, Any] | None:
        """Read the first row, or None."""
        found = self.rows(sql, parameters)
        return found[0] if found else None

    def value(self, sql: str, parameters: _Parameters = ()) -> Any:
        """Read the first column of the first row, or None."""
        with explained(self.path):
            found = self.connection.execute(sql, parameters).fetchone()
        return found[0] if found else None

    def close(self) -> None:
        """Close the file; what was written stays."""
        if not self.readonly:
            # Fresh figures about the indexes keep searches on the right one as the archive grows. Failing
            # to gather them (somebody else is writing just now) costs nothing but time.
            with contextlib.suppress(sqlite3.Error):
                self.connection.execute("pragma busy_timeout=0")
                statistics.gather(self.connection)
        self.connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
