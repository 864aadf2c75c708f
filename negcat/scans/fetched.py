"""Masters at addresses: what is asked for of them is fetched, into a file without a name that is gone with the program.

A header and a spot need a few parts; a whole reading fetches it all first, because decoders go to and fro. What was
fetched is kept a while, within bounds: who looked at a master is likely to look at it again.
"""

from __future__ import annotations

import errno
import hashlib
import io
import os
import tempfile
import threading
from collections import OrderedDict
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import BinaryIO, cast

from negcat.places import AT_ONCE, Address, Opened, Seen
from negcat.scans.files import CHANGED_MEANWHILE, CHANGED_SINCE, EMPTY, Damaged, Master

__all__ = ["FetchedMaster", "digest", "fetched", "let_go"]

PART = 1 << 20
"""Bytes that are fetched for the smallest look."""

MOST_KEPT, KEPT_BYTES = 4, 1 << 30
"""Masters of which what was fetched is kept, and bytes of all of them."""


class _Copy:
    """As much of a master as was fetched, lying where it lies in the master; safe between threads."""

    def __init__(self, address: Address, seen: Seen) -> None:
        self.size = seen.st_size
        self.fault: OSError | None = None
        self.users = 0
        self.fetched = 0
        self._address = address
        self._opened: Opened | None = None
        self._there: set[int] = set()
        self._lock = threading.Lock()
        self._file = cast(BinaryIO, tempfile.TemporaryFile(buffering=0))  # noqa: SIM115
        self.descriptor = self._file.fileno()

    def need(self, offset: int, count: int) -> None:
        """Fetch what isn't there yet of a part; OSError where that can't be done."""
        end = min(offset + count, self.size)
        wanted = range(offset // PART, -(-end // PART))
        if self._there.issuperset(wanted):
            return
        with self._lock:
            missing = [part for part in wanted if part not in self._there]
            while missing:
                # Parts that follow each other are asked for together.
                run = next((n for n, part in enumerate(missing) if part != missing[0] + n), len(missing))
                run = min(run, AT_ONCE // PART)
                try:
                    self._fetch(missing[0] * PART, min((missing[0] + run) * PART, self.size))
                except OSError as error:
                    self.fault = error
                    raise
                self._there.update(missing[:run])
                missing = missing[run:]

    def need_all(self) -> None:
        """Fetch all that isn't there yet."""
        room = os.fstatvfs(self.descriptor)
        if (room.f_bavail * room.f_frsize) < self.size - self.fetched:
            self.fault = _no_room()
            raise self.fault
        self.need(0, self.size)

    def _fetch(self, start: int, end: int) -> None:
        if self._opened is None:
            self._opened = self._address.open()
        data = self._opened.part(start, end - start)
        if len(data) < end - start:
            raise OSError(errno.EIO, "it ended before it should")
        try:
            done = 0
            while done < len(data):
                done += os.pwrite(self.descriptor, data[done:], start + done)
        except OSError as error:
            raise (_no_room() if error.errno == errno.ENOSPC else error) from error
        self.fetched += len(data)

    def close(self) -> None:
        self._file.close()
        if self._opened is not None:
            self._opened.close()


def _no_room() -> OSError:
    return OSError(
        errno.ENOSPC, f"{tempfile.gettempdir()} has no room for it: make some, or name another in TMPDIR"
    )


@dataclass(frozen=True)
class FetchedMaster(Master):
    """A master at an address, of which whatever is read is fetched before."""

    copy: _Copy

    def read(self, count: int, offset: int) -> bytes:
        """Read exactly `count` bytes at `offset`; Damaged where the file ends before."""
        self.copy.need(offset, count)
        return super().read(count, offset)

    def read_into(self, memory: memoryview, offset: int) -> None:
        """Fill memory with what lies at `offset`; Damaged where the file ends before."""
        self.copy.need(offset, len(memory))
        super().read_into(memory, offset)

    def head(self, count: int) -> bytes:
        """Read the first bytes, at most `count`."""
        self.copy.need(0, count)
        return super().head(count)

    @contextmanager
    def as_file(self) -> Iterator[BinaryIO]:
        """Give it as a file that stands at its start."""
        with io.BufferedReader(_Raw(self.copy), 1 << 16) as file:
            yield cast(BinaryIO, file)


class _Raw(io.RawIOBase):
    """A copy as a file for libraries."""

    def __init__(self, copy: _Copy) -> None:
        self._copy = copy
        self._at = 0

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        begin = {io.SEEK_SET: 0, io.SEEK_CUR: self._at, io.SEEK_END: self._copy.size}[whence]
        self._at = max(0, begin + offset)
        return self._at

    def tell(self) -> int:
        return self._at

    def readinto(self, buffer: memoryview) -> int:  # type: ignore[override]
        self._copy.need(self._at, len(buffer))
        count = os.preadv(
            self._copy.descriptor, [memoryview(buffer)[: max(0, self._copy.size - self._at)]], self._at
        )
        self._at += count
        return count


_kept: OrderedDict[tuple[str, Seen], _Copy] = OrderedDict()
_lock = threading.Lock()


@contextmanager
def fetched(
    address: Address, *, size: int | None, modified_ns: int | None, whole: bool
) -> Iterator[FetchedMaster]:
    """Give a master at an address, open for reading.

    Parameters
    ----------
    address : where it lies.
    size, modified_ns : as they were when the scan was identified; a file that has changed since is refused.
    whole : fetch all of it before.

    Raises
    ------
    Damaged : it is empty, or has changed since or meanwhile.
    OSError : its store, or the disk that it is fetched to.
    """
    seen = address.look()
    if seen.st_size == 0:
        raise Damaged(EMPTY)
    if size not in (None, seen.st_size) or modified_ns not in (None, seen.st_mtime_ns):
        raise Damaged(CHANGED_SINCE)
    here = Address(address.text, seen)
    copy = _borrowed(here)
    before = copy.fetched
    try:
        if whole:
            copy.need_all()
        yield FetchedMaster(here, copy.descriptor, seen.st_size, seen.st_mtime_ns, copy)
    except Exception:
        if copy.fault is None:
            raise
        # Decoders take what they can't read for damage.
        _refuse_changed(address, seen)
        raise copy.fault from None
    else:
        if copy.fault is not None:
            raise copy.fault
        if copy.fetched != before:
            _refuse_changed(address, seen)
    finally:
        _given_back((address.text, seen), copy)


def _refuse_changed(address: Address, seen: Seen) -> None:
    try:
        now = address.look()
    except OSError:
        return
    if now != seen:
        raise Damaged(CHANGED_MEANWHILE)


def _borrowed(address: Address) -> _Copy:
    assert address.listed is not None
    key = (address.text, address.listed)
    with _lock:
        copy = _kept.get(key)
        if copy is None:
            copy = _kept[key] = _Copy(address, address.listed)
        _kept.move_to_end(key)
        copy.users += 1
    return copy


def _given_back(key: tuple[str, Seen], copy: _Copy) -> None:
    with _lock:
        copy.users -= 1
        if copy.fault is not None and _kept.get(key) is copy:
            del _kept[key]
        if copy.users == 0 and _kept.get(key) is not copy:
            copy.close()
        for other, old in list(_kept.items()):
            if len(_kept) <= MOST_KEPT and sum(one.fetched for one in _kept.values()) <= KEPT_BYTES:
                break
            _drop(other, old)


def let_go(address: Address) -> None:
    """Drop what was fetched of a master, as nobody here will read it again."""
    with _lock:
        for key, copy in list(_kept.items()):
            if key[0] == address.text:
                _drop(key, copy)


def _drop(key: tuple[str, Seen], copy: _Copy) -> None:
    if not copy.users:
        del _kept[key]
        copy.close()


def digest(address: Address) -> str:
    """Compute the SHA-256 of a file at an address as it comes, nothing of which is put on a disk.

    Raises
    ------
    Damaged : it is empty, or changed meanwhile.
    OSError : its store.
    """
    seen = address.look()
    if seen.st_size == 0:
        raise Damaged(EMPTY)
    found, done = hashlib.sha256(), 0
    opened = address.open()
    try:
        while done < seen.st_size and (data := opened.part(done, min(AT_ONCE, seen.st_size - done))):
            found.update(data)
            done += len(data)
    except OSError:
        _refuse_changed(address, seen)
        raise
    finally:
        opened.close()
    if done < seen.st_size or address.look() != seen:
        raise Damaged(CHANGED_MEANWHILE)
    return found.hexdigest()
