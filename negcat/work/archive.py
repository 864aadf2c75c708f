"""The archive as a folder: where its catalogue, its previews and its masters are."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Self

from negcat.errors import ArchiveError, ScanError
from negcat.places import Address, Place, is_address, place_of

if TYPE_CHECKING:
    from negcat.catalogue import Catalogue

__all__ = ["CATALOGUE_NAME", "Archive", "catalogue_file", "locate"]

CATALOGUE_NAME = "negcat.db"


def locate(start: Path) -> Path:
    """Find the archive that a folder belongs to.

    Parameters
    ----------
    start : a folder; it and its parents are looked at, the nearest first.

    Returns
    -------
    The nearest folder that holds ``negcat.db``.

    Raises
    ------
    ArchiveError : no parent holds one.
    """
    here = start.resolve()
    for folder in (here, *here.parents):
        if (folder / CATALOGUE_NAME).is_file():
            return folder
    raise ArchiveError(
        f"{start} lies in no archive: no folder from here upwards holds {CATALOGUE_NAME}; "
        "name the archive with --archive DIR or make one with 'negcat init DIR'"
    )


def catalogue_file(root: Path) -> Path:
    """Give the catalogue's file of the archive that a folder is.

    Raises
    ------
    ArchiveError : the folder holds no catalogue.
    """
    root = root.absolute()
    database = root / CATALOGUE_NAME
    if not database.is_file():
        raise ArchiveError(
            f"{root} is no archive: it holds no {CATALOGUE_NAME}; make one with 'negcat init {root}'"
        )
    return database


@dataclass(frozen=True)
class Archive:
    """An open archive.

    Parameters
    ----------
    root : the folder that holds ``negcat.db`` and ``previews/``, absolute.
    catalogue : the open catalogue.
    """

    root: Path
    catalogue: Catalogue

    @classmethod
    def create(cls, root: Path) -> Archive:
        """Make an archive in a folder, which is made where it is absent.

        Raises
        ------
        ArchiveError : the folder is an archive already, or can't be written.
        """
        root = root.absolute()
        database = root / CATALOGUE_NAME
        if database.exists():
            raise ArchiveError(f"{root} is an archive already; it stays as it is")
        try:
            root.mkdir(parents=True, exist_ok=True)
            (root / "previews").mkdir(exist_ok=True)
        except OSError as error:
            raise ArchiveError(
                f"{root} can't be made an archive: {error.strerror}; choose a folder you may write in"
            ) from error
        from negcat.catalogue import Catalogue

        return cls(root, Catalogue.create(database))

    @classmethod
    def open(cls, root: Path, *, readonly: bool = False) -> Archive:
        """Open the archive that a folder is.

        Raises
        ------
        ArchiveError : the folder holds no catalogue, or one that can't be read.
        """
        from negcat.catalogue import Catalogue

        database = catalogue_file(root)
        return cls(database.parent, Catalogue.open(database, readonly=readonly))

    @property
    def previews(self) -> Path:
        """The folder of derivatives, which may be deleted at any time."""
        return self.root / "previews"

    def stored_path(self, path: Place) -> str:
        """Write a master's path as the catalogue keeps it: relative inside the archive, else absolute; or its address.

        Raises
        ------
        ScanError : the path holds bytes that are no UTF-8, which the catalogue can't keep.
        """
        if isinstance(path, Address):
            stored = path.text
        else:
            absolute = Path(os.path.normpath(path.absolute()))
            try:
                stored = absolute.relative_to(self.root).as_posix()
            except ValueError:
                stored = str(absolute)
        try:
            stored.encode()
        except UnicodeEncodeError as error:
            raise ScanError(
                f"{path}: its name, or a folder's, is not written in UTF-8; rename it and take it again"
            ) from error
        return stored

    def master_path(self, stored: str) -> Place:
        """Find the master again from the path that the catalogue keeps."""
        return Address(stored) if is_address(stored) else self.root / stored

    def recorded_path(self, written: str) -> Place:
        """Find the file that a record names.

        Inside the archive a relative path stands for itself, and links that lie there may lead elsewhere: whoever keeps
        the archive laid them. What lies outside is named by its whole path, so that a record moved to another archive
        never reads, by a few dots, what nobody named.

        Raises
        ------
        ScanError : a relative path leads out of the archive; an address with a secret in it.
        """
        if is_address(written):
            return place_of(written)
        if os.pardir in Path(os.path.normpath(written)).parts[:1]:
            raise ScanError(
                f"the path {written} leads out of the archive; record the whole path, from {os.sep} on"
            )
        return self.root / written

    def close(self) -> None:
        """Close the catalogue."""
        self.catalogue.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
