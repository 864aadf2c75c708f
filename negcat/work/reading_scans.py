"""Reading a scan whole, as a worker process does it.

A decoder that meets a damaged file may crash, hang, or ask for all memory there is. So this imports no more than
it needs, knows no catalogue, and gives back what can be sent to the process that does.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from socket import gethostname
from typing import TYPE_CHECKING

from negcat import scans
from negcat.errors import ScanError
from negcat.places import Address, Place
from negcat.scans import Reduced, ScanHeader, ScanInfo
from negcat.work.processes import Lost
from negcat.work.scanner_tags import ScannerTags, matching_scanner

if TYPE_CHECKING:
    from negcat.work.looking_ahead import Foreseen, Found

__all__ = [
    "PREVIEW_SIDE",
    "Reading",
    "Scanners",
    "ToRead",
    "read_scan",
    "seconds_for",
    "sentence_on",
    "tags_of",
    "telling_scarcity",
]

PREVIEW_SIDE = 1600
"""Longest side, in pixels, of a scan made small: enough for the page's picture and for finding the margin."""

MOST_SENT = 64 << 20
"""Bytes of a pyramid that is sent to who asked; a larger one is made there when it is asked for."""

LEAST_SECONDS = 120.0
"""That any file may take."""

SECONDS_PER_MB = 1.0
"""That a file may take beyond it: a hundred times what decoding takes, ten times what a slow network does."""


@dataclass(frozen=True)
class Scanners:
    """What the catalogue knows of scanners, as far as it decides how a scan's tones are drawn.

    Parameters
    ----------
    named : the scanner that the user names; None to tell it from a scan's tags.
    tags : those of the scanners on record.
    linear : scanner, bits and mode → whether its codes are proportional to light; without those of which no step
        tablet tells.
    """

    named: str | None
    tags: tuple[ScannerTags, ...]
    linear: Mapping[tuple[str, int, str], bool]

    def of(self, header: ScanHeader) -> str | None:
        """Tell the scanner of a scan."""
        return self.named or matching_scanner(self.tags, tags_of(header))

    def says_linear(self, header: ScanHeader) -> bool | None:
        """Tell what the scanner's tablet says of a scan's codes; None where there is none."""
        scanner = self.of(header)
        return self.linear.get((scanner, header.bits, header.mode)) if scanner is not None else None


@dataclass(frozen=True)
class ToRead:
    """A file to be read.

    Parameters
    ----------
    path : the file, or its address.
    previews : the folder that its pyramid goes into; None where it is there.
    scanners : see :class:`Scanners`.
    threads : that decode it.
    foreseen : what is expected of it, where all that can be found of it at once is wanted; None: it is only read.
    """

    path: Place
    previews: Path | None
    scanners: Scanners
    threads: int
    foreseen: Foreseen | None = None

    @property
    def seconds(self) -> float:
        """How long it may take."""
        return seconds_for(self.path)


@dataclass(frozen=True)
class Reading:
    """One file read whole.

    Parameters
    ----------
    info : what it is.
    reduced : itself made small; None where all that it is needed for was found.
    fault : why its pyramid couldn't be written; None where it was, or is sent.
    pyramid : the pyramid's file, where the folder that it goes into can't be seen from where the master was read.
    found : what was found of it; None where that wasn't wanted, or can't be.
    """

    info: ScanInfo
    reduced: Reduced | None
    fault: str | None
    pyramid: bytes | None = None
    found: Found | None = None


def tags_of(header: ScanHeader) -> dict[str, str | None]:
    """Give the tags that a scanner is told by."""
    return {"make": header.make, "model": header.model, "software": header.software}


def seconds_for(path: Place) -> float:
    """Give how long a file may be read: two minutes, and a second more for each megabyte."""
    try:
        return LEAST_SECONDS + SECONDS_PER_MB * path.stat().st_size / 1e6
    except (OSError, ValueError):
        return LEAST_SECONDS  # it will be refused


def read_scan(task: ToRead) -> Reading | str:
    """Read one file whole and make its pyramid; the reason where it can't be taken.

    Raises
    ------
    MemoryError : to decode it takes more memory than there is for this process.
    """
    try:
        return _read_scan(task)
    finally:
        scans.let_go(task.path)


def _read_scan(task: ToRead) -> Reading | str:
    path = task.path
    pyramid = None
    try:
        if not isinstance(path, Address) and os.path.isdir(path):  # noqa: PTH112
            return f"{path}: the folder can't be opened; give yourself permission to read it"
        with telling_scarcity():
            if task.previews is not None:
                linear = task.scanners.says_linear(scans.read_header(path))
                # On another machine, to make the folder would put pictures where nobody looks for them.
                seen = task.previews.parent.is_dir()
                pyramid = scans.NewPyramid(task.previews if seen else None, linear=linear)
            with scans.decoding_threads(task.threads):
                info, reduced = scans.take(path, max_side=PREVIEW_SIDE, pyramid=pyramid)
    except ScanError as error:
        return str(error)
    except OSError as error:
        return f"{path}: {error.strerror or error}; see that you may read it and its folder"
    found = _look_ahead(task, info, reduced, pyramid.path if pyramid is not None else None)
    needed = None if found is not None and found.sure else reduced
    if pyramid is None:
        return Reading(info, needed, None, None, found)
    if pyramid.data is not None and len(pyramid.data) > MOST_SENT:
        fault = (
            f"{task.previews}: the worker on {gethostname()} doesn't see this folder, and the pyramid is too large to "
            "be sent, so it is made when it is first asked for."
        )
        return Reading(info, needed, fault, None, found)
    return Reading(info, needed, pyramid.fault, pyramid.data, found)


def _look_ahead(task: ToRead, info: ScanInfo, reduced: Reduced, pyramid: Path | None) -> Found | None:
    """Find what can be foreseen; None where nothing is, or the master or its pyramid can't be read again."""
    if task.foreseen is None:
        return None
    # What it computes with takes longer to import than a worker that only reads takes to begin.
    from negcat.work.looking_ahead import look_ahead

    try:
        with telling_scarcity():
            return look_ahead(info, reduced, pyramid, task.scanners.of(info), task.foreseen)
    except ScanError:
        return None  # whoever asked meets it, too


@contextmanager
def telling_scarcity() -> Iterator[None]:
    """Tell a want of memory from damage, for which decoders take it.

    Raises
    ------
    MemoryError : there was too little.
    """
    try:
        yield
    except ScanError as error:
        if _for_want_of_memory(error):
            raise MemoryError from error
        raise


def _for_want_of_memory(error: BaseException | None) -> bool:
    """Tell whether memory was short, whatever became of the error on its way."""
    while error is not None:
        if isinstance(error, MemoryError):
            return True
        error = error.__cause__ or error.__context__
    return False


def sentence_on(path: Place, lost: Lost) -> str:
    """Say why a file is refused whose worker was lost."""
    if lost.late:
        return (
            f"{path}: reading it {lost.how}; the file is damaged, or lies on a disk that hardly answers: copy it to "
            "another, or scan it again"
        )
    if lost.scarce:
        return (
            f"{path}: to decode it takes more memory than this machine has for it; save it as a TIFF in strips, which "
            "is never decoded whole"
        )
    return (
        f"{path}: the process that read it {lost.how}, twice; the file is damaged in a way that its decoder doesn't "
        "survive, or needs more memory than there is: copy or scan it again"
    )
