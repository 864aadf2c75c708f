"""A bag by BagIt 1.0 (RFC 8493): files with checksums, that any library can check in fifty years."""

from __future__ import annotations

import hashlib
import os
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from functools import partial
from pathlib import Path, PurePosixPath
from typing import BinaryIO

from negcat.places import AT_ONCE, Address, Place

__all__ = ["Bag", "encoded", "is_plain", "plain_name"]

_CHUNK = 1 << 20
_DECLARATION = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"

_NO_NAMES = {"con", "prn", "aux", "nul"} | {
    f"{port}{number}" for port in ("com", "lpt") for number in range(10)
}
_NO_MARKS = frozenset('<>:"|?*\\/%')
_LONGEST = 200


class Bag:
    """A bag under way in a folder.

    Parameters
    ----------
    folder : the bag's, empty.
    algorithms : of the checksums; SHA-256 is among them.
    """

    def __init__(self, folder: Path, algorithms: Sequence[str] = ("sha256", "sha512")) -> None:
        self.folder = folder
        self._algorithms = algorithms
        self._manifests: dict[str, list[str]] = {name: [] for name in algorithms}
        self._fetch: list[str] = []
        self._taken: set[str] = set()
        self._folders: set[str] = set()
        self._octets = 0
        self._files = 0
        (folder / "data").mkdir()

    def is_free(self, path: str) -> bool:
        """Tell whether a payload path can be taken, also on disks to which capitals and accents are all one."""
        same = _folded(path)
        return (
            same not in self._taken
            and same not in self._folders
            and not any(str(parent) in self._taken for parent in PurePosixPath(same).parents)
        )

    def place(self, path: str) -> Path:
        """Take a payload path, ``data/…``, and give the file to be written there; :meth:`add` lists it then."""
        self._take(path)
        file = self.folder / path
        file.parent.mkdir(parents=True, exist_ok=True)
        return file

    def copy(self, source: Place, path: str) -> dict[str, str]:
        """Copy a file to a payload path, which :meth:`add` lists then.

        Returns
        -------
        The checksums of what was copied, by their algorithms.

        Raises
        ------
        OSError : it can't be read, or the copy not be written.
        """
        target = self.place(path)
        if isinstance(source, Address):
            return self._copy_fetched(source, target)
        with source.open("rb") as reading, target.open("xb") as writing:
            digests = self._digests(reading, writing)
            status = os.fstat(reading.fileno())
        os.utime(target, ns=(status.st_atime_ns, status.st_mtime_ns))
        return digests

    def _copy_fetched(self, source: Address, target: Path) -> dict[str, str]:
        seen, opened = source.look(), source.open()
        try:
            with target.open("xb") as writing:
                parts = (
                    opened.part(start, min(AT_ONCE, seen.st_size - start))
                    for start in range(0, seen.st_size, AT_ONCE)
                )
                digests = self._digests_of(parts, writing)
        finally:
            opened.close()
        if seen.st_mtime_ns:
            os.utime(target, ns=(seen.st_mtime_ns, seen.st_mtime_ns))
        return digests

    def drop(self, path: str) -> None:
        """Take back what was placed and is not to be in the bag."""
        (self.folder / path).unlink(missing_ok=True)
        self._taken.discard(_folded(path))

    def add(self, path: str, digests: Mapping[str, str] | None = None) -> None:
        """List a file that was written to its place, by its checksums; they are computed where they aren't known."""
        self._list(self._manifests, path, digests)
        self._octets += (self.folder / path).stat().st_size
        self._files += 1

    def add_elsewhere(self, path: str, url: str, size: int, sha256: str) -> None:
        """List a file that is to be fetched from somewhere else before the bag is whole.

        Parameters
        ----------
        path : where it goes.
        url : where it is.
        size, sha256 : its size in bytes and checksum; the bag has no other kind of checksums.
        """
        self._take(path)
        self._manifests["sha256"].append(f"{sha256}  {encoded(path)}\n")
        self._fetch.append(f"{url} {size} {encoded(path)}\n")
        self._octets += size
        self._files += 1

    def _take(self, path: str) -> None:
        same = _folded(path)
        self._taken.add(same)
        self._folders.update(map(str, PurePosixPath(same).parents))

    def close(self, info: Iterable[tuple[str, str]]) -> int:
        """Write what makes a bag of the folder.

        Parameters
        ----------
        info : what bag-info.txt says, label and value, beside the size.

        Returns
        -------
        The bytes of its payload.
        """
        said = [*info, ("Payload-Oxum", f"{self._octets}.{self._files}")]
        # A value stands on one line.
        lines = (f"{label}: {' '.join(value.split())}\n" for label, value in said)
        tags = {"bag-info.txt": "".join(lines), "bagit.txt": _DECLARATION}
        if self._fetch:
            tags["fetch.txt"] = "".join(self._fetch)
        tags |= {f"manifest-{name}.txt": "".join(found) for name, found in self._manifests.items()}
        listed: dict[str, list[str]] = {name: [] for name in self._algorithms}
        for name, text in tags.items():
            (self.folder / name).write_text(text, encoding="utf-8", newline="\n")
            self._list(listed, name)
        for name, found in listed.items():
            (self.folder / f"tagmanifest-{name}.txt").write_text(
                "".join(found), encoding="utf-8", newline="\n"
            )
        return self._octets

    def _list(
        self, manifests: dict[str, list[str]], path: str, digests: Mapping[str, str] | None = None
    ) -> None:
        if digests is None:
            with (self.folder / path).open("rb") as file:
                digests = self._digests(file)
        for name in self._algorithms:
            manifests[name].append(f"{digests[name]}  {encoded(path)}\n")

    def _digests(self, reading: BinaryIO, writing: BinaryIO | None = None) -> dict[str, str]:
        """Read a file to its end, and write what is read."""
        return self._digests_of(iter(partial(reading.read, _CHUNK), b""), writing)

    def _digests_of(self, chunks: Iterable[bytes], writing: BinaryIO | None) -> dict[str, str]:
        found = {name: hashlib.new(name) for name in self._algorithms}
        for chunk in chunks:
            for digest in found.values():
                digest.update(chunk)
            if writing is not None:
                writing.write(chunk)
        return {name: digest.hexdigest() for name, digest in found.items()}


def encoded(path: str) -> str:
    r"""Write a path as manifests do: what would end the line is encoded, and what encodes.

    Examples
    --------
    >>> encoded("data/100 %\n.tif")
    'data/100 %25%0A.tif'
    """
    return path.replace("%", "%25").replace("\n", "%0A").replace("\r", "%0D")


def _folded(path: str) -> str:
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", path).casefold())


def is_plain(name: str) -> bool:
    """Tell whether every disk, program and validator can be trusted with a file's name.

    Examples
    --------
    >>> is_plain("BW-01 é.tif"), is_plain("100%.tif"), is_plain("BW-01."), is_plain("aux.tif"), is_plain("..")
    (True, False, False, False, False)
    """
    return (
        bool(name)
        and len(name.encode()) <= _LONGEST
        and name.isprintable()
        and not _NO_MARKS & set(name)
        and name == name.strip()
        and not name.endswith(".")
        and not name.startswith("~")
        and name.split(".")[0].casefold() not in _NO_NAMES
        and unicodedata.is_normalized("NFC", name)
    )


def plain_name(name: str) -> str:
    """Make a plain name of any.

    Examples
    --------
    >>> plain_name("100%.tif"), plain_name("aux.tif"), plain_name("..."), is_plain(plain_name("x" * 300 + ".tif"))
    ('100_.tif', '_aux.tif', '_', True)
    """
    name = unicodedata.normalize("NFC", name)
    name = "".join("_" if mark in _NO_MARKS or not mark.isprintable() else mark for mark in name)
    stem, dot, ending = name.strip(" .").rpartition(".")
    kept = (
        f"{stem.encode()[: _LONGEST - 40].decode(errors='ignore').strip(' .')}{dot}{ending[:20].strip(' .')}"
    )
    return kept if is_plain(kept) else f"_{kept}"
