"""Where a file lies: a path of this machine, or an address that fsspec reaches, as ``s3://bucket/scans/BW-01.tif``.

What lies at an address is looked at and read, and never written to. fsspec is loaded only where that is done. Who may
read there, and by which endpoint, says fsspec's own configuration; an address with a secret in it is refused, so that
none is ever kept.
"""

from __future__ import annotations

import errno
import os
import re
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from hashlib import sha256
from pathlib import Path, PurePosixPath
from typing import Any, NamedTuple, TypeAlias, TypeVar, cast
from urllib.parse import quote

from negcat.errors import NegcatError, ScanError

__all__ = ["AT_ONCE", "Address", "Opened", "Place", "Seen", "is_address", "place_of"]

T = TypeVar("T")

_WRITTEN = re.compile(r"([A-Za-z][A-Za-z0-9+.-]+)://([^/]*)(.*)", re.DOTALL)

_TIMES = ("LastModified", "last_modified", "Last-Modified", "mtime", "modified", "updated", "created")
_TAGS = ("ETag", "etag", "md5Hash", "content_hash")
"""What stores call the time of the last change, and the mark that another content has another of."""

AT_ONCE = 16 << 20
"""Bytes asked for in one request."""

LATELY_S = 30.0
"""What was lately seen beside a file is believed for so many seconds."""


class Seen(NamedTuple):
    """What a store says of a file, named as a disk's answer is.

    Parameters
    ----------
    st_size : bytes.
    st_mtime_ns : the time of its last change, ns since 1970, to the second as stores tell it. What is below a second is
        made of the store's mark of the content (ETag), so that another file put there within the same second is told
        from it. 0 where the store tells neither.
    """

    st_size: int
    st_mtime_ns: int


@dataclass(frozen=True)
class Address:
    """A file, or a folder, somewhere that fsspec reaches; it answers to what is asked of a `Path`.

    Parameters
    ----------
    text : the address as it is written and kept: ``s3://bucket/scans/BW-01.tif``.
    listed : what its store said of it when it was listed; None where it wasn't.
    """

    text: str
    listed: Seen | None = field(default=None, compare=False)

    def __str__(self) -> str:
        return self.text

    # Its name ---------------------------------------------------------------------------------------------------

    @property
    def name(self) -> str:
        """What stands behind the last slash."""
        return self.text.rstrip("/").rpartition("/")[2]

    @property
    def stem(self) -> str:
        """The name without its ending."""
        return PurePosixPath(self.name).stem

    @property
    def suffix(self) -> str:
        """The name's ending, with its dot."""
        return PurePosixPath(self.name).suffix

    @property
    def folder(self) -> str:
        """All before the name."""
        return self.text.rstrip("/").rpartition("/")[0]

    def with_name(self, name: str) -> Address:
        """Give the address of another file beside it."""
        return Address(f"{self.folder}/{name}")

    def with_suffix(self, suffix: str) -> Address:
        """Give the address of a file beside it that is named alike but for its ending."""
        return self.with_name(self.stem + suffix)

    def absolute(self) -> Address:
        """Give itself: it doesn't hang on where somebody stands."""
        return self

    def as_uri(self) -> str:
        """Write it with what no URI holds encoded."""
        return quote(
            self.text, safe="/:@!$&'()*+,;=~%" if self.text.startswith("http") else "/:@!$&'()*+,;=~"
        )

    # What its store says of it ----------------------------------------------------------------------------------

    def stat(self) -> Seen:
        """Give size and time, as they were listed; asked for where it wasn't listed.

        Raises
        ------
        OSError : see :meth:`look`.
        """
        return self.listed or self.look()

    def look(self) -> Seen:
        """Ask its store for size and time.

        Raises
        ------
        FileNotFoundError : nothing lies there.
        PermissionError : it may not be read.
        IsADirectoryError : it is a folder.
        OSError : its store can't be asked; ``strerror`` says why.
        NegcatError : the library that reads such addresses isn't installed.
        """
        found = self._info()
        if found.get("type") == "directory":
            raise IsADirectoryError(errno.EISDIR, "it is a folder", self.text)
        return _seen(found)

    def is_file(self) -> bool:
        """Tell whether a file can be seen to lie there."""
        try:
            self.look()
        except OSError:
            return False
        return True

    def files(self) -> list[Address]:
        """List the files below a folder, in order, without those hidden behind a dot; of a file only itself.

        Raises
        ------
        OSError, NegcatError : see :meth:`look`.
        """
        found = self._info()
        if found.get("type") != "directory":
            return [Address(self.text, _seen(found))]
        with _told(self):
            store, path = self._store()
            below = store.find(path, detail=True)
        top, start = self.text.rstrip("/"), len(path.rstrip("/"))
        return sorted(
            (
                Address(top + name[start:], _seen(info))
                for name, info in below.items()
                if info.get("type") == "file"
                and not name.endswith("/")
                and not any(part.startswith(".") for part in name[start:].split("/"))
            ),
            key=str,
        )

    def beside(self) -> frozenset[str]:
        """Name the files that lie in the same folder, as lately seen; none where that can't be listed."""

        def listed() -> frozenset[str]:
            try:
                with _told(self):
                    store, path = Address(self.folder)._store()
                    return frozenset(
                        str(one).rstrip("/").rpartition("/")[2] for one in store.ls(path, detail=False)
                    )
            except OSError:
                return frozenset()

        return _lately(f"{self.folder}/", listed)

    # What it holds ----------------------------------------------------------------------------------------------

    def beginning(self, count: int) -> bytes:
        """Give the first bytes, at most `count`, as lately seen; none where they can't be read."""

        def read() -> bytes:
            try:
                with _told(self):
                    store, path = self._store()
                    return bytes(store.cat_file(path, start=0, end=count))
            except OSError:
                return b""

        return _lately(self.text, read)

    def open(self) -> Opened:
        """Open it for reading.

        Raises
        ------
        OSError, NegcatError : see :meth:`look`.
        """
        with _told(self):
            store, path = self._store()
            return Opened(self, store.open(path, "rb", block_size=AT_ONCE, cache_type="none"))

    def _info(self) -> dict[str, Any]:
        with _told(self):
            store, path = self._store()
            store.invalidate_cache()
            found: dict[str, Any] = store.info(path)
            return found

    def _store(self) -> tuple[Any, str]:
        """Give fsspec's view of its store, and its path there."""
        try:
            import fsspec
        except ImportError:
            raise NegcatError(
                f"{self}: addresses need further libraries; install them with pip install 'negcat[cloud]'"
            ) from None
        scheme, host, _ = _parts(self.text)
        key = (os.getpid(), scheme, host)
        with _lock:
            store = _stores.get(key)
        try:
            if store is None:
                store, _ = fsspec.url_to_fs(self.text)
                if store.async_impl:  # any thread may use it
                    with _lock:
                        store = _stores.setdefault(key, store)
            return store, fsspec.core.strip_protocol(self.text)
        except ImportError as error:
            raise NegcatError(f"{self}: {scheme}:// needs a further library ({_short(error)})") from None
        except ValueError as error:
            raise NegcatError(f"{self}: no library here reads {scheme}:// ({_short(error)})") from None


class Opened:
    """A file at an address, open for reading by parts; one thread at a time."""

    def __init__(self, address: Address, file: Any) -> None:
        self._address = address
        self._file = file

    def part(self, offset: int, count: int) -> bytes:
        """Give so many bytes from a place on, fewer where the file ends before; each call asks its store.

        Raises
        ------
        OSError : it couldn't be read.
        """
        pieces = []
        with _told(self._address):
            if self._file.tell() != offset:
                self._file.seek(offset)
            while count > 0 and (piece := self._file.read(count)):
                pieces.append(piece)
                count -= len(piece)
        return b"".join(pieces)

    def close(self) -> None:
        """Have done with it."""
        with suppress(Exception):
            self._file.close()


Place: TypeAlias = Path | Address
"""Where a file lies."""

_lock = threading.Lock()
_stores: dict[tuple[int, str, str], Any] = {}
_recent: dict[str, tuple[float, Any]] = {}


def is_address(written: str) -> bool:
    """Tell whether what is written is an address, not a path.

    Examples
    --------
    >>> is_address("s3://kilns/BW-01.tif"), is_address("/net/scans/BW-01.tif"), is_address("scans/a:b.tif")
    (True, False, False)
    """
    found = _WRITTEN.fullmatch(written)
    return found is not None and found[1].lower() != "file"


def place_of(written: str | Place) -> Place:
    """Read a path or an address.

    Raises
    ------
    ScanError : an address that holds a secret, or more than one address.

    Examples
    --------
    >>> str(place_of("S3://kilns/BW-01.tif")), str(place_of("file:///net/BW-01.tif")), str(place_of("a//b"))
    ('s3://kilns/BW-01.tif', '/net/BW-01.tif', 'a/b')
    """
    if not isinstance(written, str):
        return written
    found = _WRITTEN.fullmatch(written)
    if found is None:
        return Path(written)
    scheme, host, rest = _parts(written)
    if scheme == "file":
        return Path(rest)
    where = f"{scheme}://{host.rpartition('@')[2]}"
    if ":" in host.rpartition("@")[0] or (scheme in ("http", "https") and "?" in written):
        raise ScanError(
            f"an address at {where} holds a password or a signature, which the catalogue would keep; leave it out, and "
            "set it in the environment or in fsspec's configuration"
        )
    if "::" in written:
        raise ScanError(f"{written}: two colons in a row mean two addresses to fsspec; name one")
    return Address(f"{scheme}://{host}{rest}")


def _parts(written: str) -> tuple[str, str, str]:
    found = _WRITTEN.fullmatch(written)
    assert found is not None
    return found[1].lower(), found[2], found[3]


def _lately(key: str, ask: Callable[[], T]) -> T:
    """Give what was lately found under a key, asked for where it is too long ago."""
    now = time.monotonic()
    at, found = _recent.get(key, (-LATELY_S, None))
    if now - at < LATELY_S:
        return cast(T, found)
    asked = ask()
    for old in [one for one, (at, _) in list(_recent.items()) if now - at >= LATELY_S]:
        _recent.pop(old, None)
    _recent[key] = (time.monotonic(), asked)
    return asked


@contextmanager
def _told(address: Address) -> Iterator[None]:
    """Make an OSError that says why of whatever a store's library meets."""
    try:
        yield
    except NegcatError:
        raise
    except FileNotFoundError as error:
        raise FileNotFoundError(errno.ENOENT, "nothing lies there", address.text) from error
    except PermissionError as error:
        raise PermissionError(errno.EACCES, f"it may not be read: {_short(error)}", address.text) from error
    except IsADirectoryError:
        raise
    except Exception as error:
        # Each library has errors of its own.
        raise OSError(errno.EIO, _short(error), address.text) from error


def _short(error: Exception) -> str:
    """Say an error in a part of a line."""
    said = str(getattr(error, "strerror", None) or error).strip() or type(error).__name__
    return said.splitlines()[0][:200].rstrip(".")


def _seen(info: dict[str, Any]) -> Seen:
    size = info.get("size")
    if size is None:
        raise OSError(errno.EIO, "its store doesn't say how long it is")
    at = next((_seconds(info[name]) for name in _TIMES if info.get(name)), 0)
    mark = next((str(info[name]).strip('"') for name in _TAGS if info.get(name)), "")
    below = int.from_bytes(sha256(mark.encode()).digest()[:8], "big") % 1_000_000_000 if mark else 0
    return Seen(int(size), at * 1_000_000_000 + below)


def _seconds(when: Any) -> int:
    """Give a time in whole seconds: one answer of a store tells parts of them, another doesn't."""
    if isinstance(when, str):
        try:
            when = parsedate_to_datetime(when)
        except ValueError:
            try:
                when = datetime.fromisoformat(when)
            except ValueError:
                return 0
    if isinstance(when, datetime):
        when = (when if when.tzinfo else when.replace(tzinfo=UTC)).timestamp()
    return int(when)
