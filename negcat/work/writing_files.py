"""Files and folders that leave the archive: written whole, and never over another."""

from __future__ import annotations

import contextlib
import fcntl
import glob
import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

from negcat.errors import NegcatError
from negcat.whole_files import written_whole

__all__ = [
    "FileThereError",
    "refuse_existing",
    "refuse_filled",
    "working_folder",
    "write_file",
    "written_file",
    "written_folder",
]


_SUFFIX = ".part"


class FileThereError(NegcatError):
    """A file or folder that would be written stands there already."""


def refuse_existing(path: Path, *, overwrite: bool) -> None:
    """Refuse, before any work is done, to write over a file.

    Raises
    ------
    FileThereError : the path is a folder, or a file that may not be overwritten, or its folder is absent.
    """
    if path.is_dir():
        raise FileThereError(f"{path} is a folder; name a file in it")
    _refuse_without_folder(path)
    if (path.exists() or path.is_symlink()) and not overwrite:
        raise FileThereError(f"{path} is there already; name another file, or add --overwrite to replace it")


def refuse_filled(path: Path) -> None:
    """Refuse, before any work is done, to write into a folder that holds something.

    Raises
    ------
    FileThereError : the path is a file, a folder that holds something or that one stands in, or the folder it would
        lie in is absent.
    """
    _refuse_without_folder(path)
    if path.is_dir():
        if next(path.iterdir(), None) is not None:
            raise FileThereError(f"{path} holds something already; name a new folder, or an empty one")
        if path.resolve() == Path.cwd().resolve():
            raise FileThereError(f"{path} is the folder you are in; name a new one")
    elif path.exists() or path.is_symlink():
        raise FileThereError(f"{path} is there already and no folder; name a new folder")


def _refuse_without_folder(path: Path) -> None:
    parent = path.absolute().parent
    if not parent.is_dir():
        raise FileThereError(f"{path} can't be written: there is no folder {parent}; make it first")
    _refuse_closed(parent)


def _refuse_closed(folder: Path) -> None:
    if not os.access(folder, os.W_OK | os.X_OK):
        raise FileThereError(
            f"{folder} can't be written into: its disk is read-only, or you may not; choose another folder"
        )


@contextlib.contextmanager
def written_file(path: Path, *, overwrite: bool) -> Iterator[Path]:
    """Write a file under another name beside its own, which it gets when all went well.

    Parameters
    ----------
    path : where to.
    overwrite : a file that is there may be replaced.

    Yields
    ------
    An empty file, to be written.

    Raises
    ------
    FileThereError : as :func:`refuse_existing`.
    """
    refuse_existing(path, overwrite=overwrite)
    try:
        with written_whole(path.resolve(), replacing=overwrite, lasting=True) as unfinished:
            yield unfinished
    except FileExistsError:
        raise FileThereError(
            f"{path} is there already; name another file, or add --overwrite to replace it"
        ) from None


def write_file(path: Path, content: bytes, *, overwrite: bool) -> None:
    """Write a file whole or not at all.

    Parameters
    ----------
    path : where to.
    content : all of it.
    overwrite : a file that is there may be replaced.

    Raises
    ------
    FileThereError : as :func:`refuse_existing`.
    """
    with written_file(path, overwrite=overwrite) as unfinished:
        unfinished.write_bytes(content)


@contextlib.contextmanager
def written_folder(path: Path) -> Iterator[Path]:
    """Write a folder under another name beside its own, which it gets when all went well.

    Parameters
    ----------
    path : where to: nothing is there, or an empty folder.

    Yields
    ------
    An empty folder, to be filled.

    Raises
    ------
    FileThereError : as :func:`refuse_filled`.
    """
    refuse_filled(path)
    target = path.resolve()
    with working_folder(target.parent, target.name) as around:
        # Its own inside one that is only its owner's, so that it is readable as an ordinary new folder is.
        unfinished = around / target.name
        unfinished.mkdir()
        yield unfinished
        try:
            # An empty folder is replaced; one that was filled meanwhile is not.
            unfinished.rename(target)
        except OSError as error:
            refuse_filled(path)
            raise FileThereError(
                f"{path} can't be replaced ({error.strerror}); name a folder that is not there yet"
            ) from error


@contextlib.contextmanager
def working_folder(parent: Path, name: str) -> Iterator[Path]:
    """Make a folder to work in, which goes at the end.

    It is locked meanwhile, so that what is left of a killed program is told from what another one is at, and cleared
    away by the next.

    Parameters
    ----------
    parent : where.
    name : what it is for, which its own name begins with.

    Raises
    ------
    FileThereError : nothing can be written there.
    """
    _refuse_closed(parent)
    start = f".{name[:60]}."
    for left in parent.glob(f"{glob.escape(start)}*{_SUFFIX}"):
        with contextlib.suppress(OSError), _locked(left):
            shutil.rmtree(left)
    with contextlib.ExitStack() as held:
        while True:
            folder = Path(tempfile.mkdtemp(dir=parent, prefix=start, suffix=_SUFFIX))
            held.callback(shutil.rmtree, folder, ignore_errors=True)
            # A disk that knows no locks: then nobody else can lock it either, and it is never cleared away.
            with contextlib.suppress(OSError):
                held.enter_context(_locked(folder, wait=True))
            # Somebody may have taken it for a killed program's in the moment before it was locked.
            if folder.is_dir():
                break
        yield folder


@contextlib.contextmanager
def _locked(folder: Path, *, wait: bool = False) -> Iterator[None]:
    """Hold a folder locked, which nobody else does."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
        yield
    finally:
        os.close(handle)
