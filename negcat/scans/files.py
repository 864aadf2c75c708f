"""Opening a master safely: what it is, whether it stayed the same while it was read, its checksum."""

import hashlib
import logging
import os
import stat
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from negcat.errors import ScanError
from negcat.places import Address, Place, place_of

__all__ = [
    "CHANGED_MEANWHILE",
    "CHANGED_SINCE",
    "EMPTY",
    "Checksum",
    "Damaged",
    "Master",
    "let_go",
    "opened",
    "sha256_of",
]

EMPTY = "the file is empty; copy or scan it again"
CHANGED_SINCE = "it has changed since it was identified; take it again once it is at rest"
CHANGED_MEANWHILE = "it changed while it was being read; take it again once it is at rest"

# What the libraries have to say of odd tags goes nowhere: every fault that matters is found and told here.
for _name in ("tifffile", "exifread", "PIL"):
    _logger = logging.getLogger(_name)
    _logger.addHandler(logging.NullHandler())
    _logger.propagate = False


class Damaged(Exception):  # noqa: N818 - a reason on its way to becoming a ScanError
    """A reason why the file can't be taken, still without its path; `opened` makes a ScanError of it."""


@dataclass(frozen=True)
class Master:
    """A master open for reading.

    Parameters
    ----------
    path : as given by the user; an address where it was fetched.
    descriptor : of the open file; read it by position only, so that threads don't disturb each other.
    size, modified_ns : as they were when it was opened.
    """

    path: Place
    descriptor: int
    size: int
    modified_ns: int

    def read(self, count: int, offset: int) -> bytes:
        """Read exactly `count` bytes at `offset`; Damaged where the file ends before."""
        pieces = []
        while count > 0:
            piece = os.pread(self.descriptor, count, offset)
            if not piece:
                msg = "it is cut short: the file ends before the picture does; copy or scan it again"
                raise Damaged(msg)
            pieces.append(piece)
            count -= len(piece)
            offset += len(piece)
        return pieces[0] if len(pieces) == 1 else b"".join(pieces)

    def read_into(self, memory: memoryview, offset: int) -> None:
        """Fill memory with what lies at `offset`; Damaged where the file ends before."""
        done = 0
        while done < len(memory):
            got = os.preadv(self.descriptor, [memory[done:]], offset + done)
            if got == 0:
                self.read(1, offset + done)  # says what is wrong
            done += got

    def head(self, count: int) -> bytes:
        """Read the first bytes, at most `count`."""
        return os.pread(self.descriptor, count, 0)

    @contextmanager
    def as_file(self) -> Iterator[BinaryIO]:
        """Give it as a file that stands at its start, for libraries; one at a time."""
        with os.fdopen(os.dup(self.descriptor), "rb") as file:
            # the copy of a descriptor stands where the other one does
            file.seek(0)
            yield file


def _reason(error: OSError, place: Place) -> str:
    if isinstance(place, Address):
        if isinstance(error, FileNotFoundError):
            return "nothing lies there; check the address, and that its bucket is there"
        if isinstance(error, IsADirectoryError):
            return "this is a folder, not a scan; name the image files in it"
        if isinstance(error, PermissionError):
            return f"{error.strerror}; check the address, and your credentials for its store"
        return (
            f"it can't be read ({error.strerror}); see that its store can be reached from here, and try again"
        )
    if isinstance(error, FileNotFoundError):
        return "there is no such file; check the path, or whether the disk it lies on is there"
    if isinstance(error, PermissionError):
        return "it may not be read; give yourself permission to read it"
    return (
        f"it can't be read ({(error.strerror or 'no reason given').lower()}); check the disk or copy it again"
    )


def _stat(path: Path) -> os.stat_result:
    try:
        return path.stat()
    except FileNotFoundError:
        if path.is_symlink():
            msg = f"it is a link to {path.readlink()}, which isn't there; check that its disk is there"
            raise Damaged(msg) from None
        raise
    except ValueError:  # a NUL in the path
        msg = "this can't be the name of a file; check the path"
        raise Damaged(msg) from None


@contextmanager
def opened(
    path: Place,
    *,
    size: int | None = None,
    modified_ns: int | None = None,
    whole: bool = False,
) -> Iterator[Master]:
    """Open a master for reading, and make one readable sentence of whatever goes wrong meanwhile.

    Parameters
    ----------
    path : the file.
    size, modified_ns : as they were when the scan was identified; a file that has changed since is refused.
    whole : whether all of it will be read; what lies at an address is fetched accordingly, see
        :mod:`negcat.scans.fetched`.

    Raises
    ------
    ScanError
        The file is missing, not a file, empty, not readable, damaged, or changed since or meanwhile.
    """
    try:
        if isinstance(path, Address):
            from negcat.scans.fetched import fetched

            with fetched(path, size=size, modified_ns=modified_ns, whole=whole) as master:
                yield master
        else:
            with _on_disk(path, size, modified_ns) as master:
                yield master
    except Damaged as error:
        raise ScanError(f"{path}: {error}.") from None
    except OSError as error:
        raise ScanError(f"{path}: {_reason(error, path)}.") from error


@contextmanager
def _on_disk(path: Path, size: int | None, modified_ns: int | None) -> Iterator[Master]:
    before = _stat(path)
    if stat.S_ISDIR(before.st_mode):
        msg = "this is a folder, not a scan; name the image files in it"
        raise Damaged(msg)
    if not stat.S_ISREG(before.st_mode):
        msg = "this is a device or a pipe, not a scan; save the scan as a file first"
        raise Damaged(msg)
    if before.st_size == 0:
        raise Damaged(EMPTY)
    if size not in (None, before.st_size) or modified_ns not in (None, before.st_mtime_ns):
        raise Damaged(CHANGED_SINCE)
    # without waiting: a pipe that has taken the file's place would have nobody at its other end
    descriptor = os.open(path, os.O_RDONLY | os.O_NONBLOCK | getattr(os, "O_CLOEXEC", 0))
    try:
        there = os.fstat(descriptor)
        if (there.st_dev, there.st_ino) != (before.st_dev, before.st_ino):
            raise Damaged(CHANGED_SINCE)
        yield Master(path, descriptor, before.st_size, before.st_mtime_ns)
        after = path.stat()
        if (after.st_size, after.st_mtime_ns, after.st_ino) != (
            before.st_size,
            before.st_mtime_ns,
            before.st_ino,
        ):
            raise Damaged(CHANGED_MEANWHILE)
    finally:
        os.close(descriptor)


def let_go(path: Place) -> None:
    """Drop what was fetched of a master that lies at an address, as nobody here will read it again."""
    if isinstance(path, Address):
        from negcat.scans import fetched

        fetched.let_go(path)


def _digest(master: Master, buffer_size: int) -> str:
    digest = hashlib.sha256()
    buffer = memoryview(bytearray(buffer_size))
    offset = 0
    while count := os.preadv(master.descriptor, [buffer], offset):
        digest.update(buffer[:count])
        offset += count
    if offset != master.size:
        raise Damaged(CHANGED_MEANWHILE)
    return digest.hexdigest()


class Checksum(threading.Thread):
    """The SHA-256 of a master, computed in a thread of its own beside the decoding.

    Large updates, because at small ones two threads fight over the interpreter's lock.
    """

    def __init__(self, master: Master) -> None:
        super().__init__(name="sha256", daemon=True)
        self._master = master
        self._digest = ""
        self._error: Exception | None = None

    def run(self) -> None:
        """Read the whole file once; keep an error for `result`."""
        try:
            self._digest = _digest(self._master, 8 << 20)
        except (OSError, Damaged) as error:
            self._error = error

    def result(self) -> str:
        """Wait for the 64 hex digits; raises what went wrong in the thread."""
        self.join()
        if self._error is not None:
            raise self._error
        return self._digest


def sha256_of(path: str | Place) -> str:
    """Compute the SHA-256 of a whole file, 64 lower-case hex digits.

    Parameters
    ----------
    path : the file, or its address; read once, in small pieces.

    Raises
    ------
    ScanError
        The file is missing, empty, not readable, or changed while it was read.
    """
    place = place_of(path)
    if isinstance(place, Address):
        from negcat.scans.fetched import digest

        try:
            return digest(place)
        except Damaged as error:
            raise ScanError(f"{place}: {error}.") from None
        except OSError as error:
            raise ScanError(f"{place}: {_reason(error, place)}.") from error
    with opened(place) as master:
        return _digest(master, 128 << 10)
