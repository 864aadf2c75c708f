"""Check that what was taken is still there and unchanged, keep a record of it, and find again what was moved."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Literal

from negcat import scans
from negcat.catalogue import Due, Way
from negcat.errors import ScanError
from negcat.places import Address, Place, place_of
from negcat.work.archive import Archive
from negcat.work.workers import Lost, executor, results

__all__ = ["Check", "Status", "Verification"]

PATIENCE_S, SLOWEST = 120.0, 1e6
"""Seconds that a file may take, and bytes a second beyond them."""

ASKED_AT_ONCE = 16
"""Masters at addresses whose size and time are asked for together."""

Status = Literal["unchanged", "missing", "changed", "unreadable", "moved"]


@dataclass(frozen=True)
class Check:
    """One master checked.

    Parameters
    ----------
    scan, sheet, path : whose master it is and where it should be; where it was found, when ``moved``.
    status : ``unchanged``, ``missing``, ``changed``, ``unreadable``, or ``moved`` and found again.
    reason : what was found instead; None when unchanged.
    expected, found : SHA-256; found is None where the file wasn't read whole.
    """

    scan: str
    sheet: str | None
    path: str
    status: Status
    reason: str | None
    expected: str
    found: str | None

    @property
    def sound(self) -> bool:
        """Whether the master is there as it was taken."""
        return self.status in ("unchanged", "moved")

    def as_json(self) -> dict[str, Any]:
        """Give what ``negcat verify --json`` prints of a master."""
        return asdict(self)


@dataclass(frozen=True)
class _Task:
    """What a worker is to look at."""

    master: Due
    path: str
    whole: bool


@dataclass(frozen=True)
class _Seen:
    """What a worker saw of a file; its size and time where it was found to be the master."""

    status: Status
    reason: str | None = None
    found: str | None = None
    modified_ns: int | None = None


def _look(task: _Task) -> _Seen:
    """Look at one file, in a worker process."""
    path = place_of(task.path)
    try:
        seen = path.stat()
    except FileNotFoundError:
        if isinstance(path, Address) or path.parent.is_dir():
            return _Seen("missing", "the file is not there; put it back, or find it with --find FOLDER")
        return _Seen(
            "missing", f"there is no folder {path.parent}; see that its disk or network drive is there"
        )
    except OSError as error:
        return _Seen("unreadable", f"it can't be looked at ({(error.strerror or str(error)).lower()})")
    if not task.whole and (seen.st_size, seen.st_mtime_ns) == (
        task.master.size_bytes,
        task.master.modified_ns,
    ):
        return _Seen("unchanged", modified_ns=seen.st_mtime_ns)
    try:
        found = scans.sha256_of(path)
    except ScanError as error:
        return _Seen("unreadable", str(error).removeprefix(f"{path}: "))
    if found != task.master.sha256:
        return _Seen("changed", "its content is not what was taken; put back a sound copy", found)
    return _Seen("unchanged", None, found, seen.st_mtime_ns)


class Verification:
    """A run over masters, checked as it is iterated, the one checked longest ago first.

    Parameters
    ----------
    archive : the archive; open for reading only, nothing is written down.
    full : read every byte; else only what looks changed by its size or time.
    workers : who reads the files, see :func:`negcat.work.workers.executor`.
    older_than_days : with ``full``, leave out what was found unchanged in the last so many days.
    minutes : with ``full``, stop after so many minutes.
    """

    def __init__(
        self,
        archive: Archive,
        *,
        full: bool = False,
        workers: int | str = 0,
        older_than_days: float | None = None,
        minutes: float | None = None,
    ) -> None:
        self._archive = archive
        self._full = full
        self._workers = workers
        self._minutes = minutes
        self._unchecked_since = None if older_than_days is None else _days_ago(older_than_days)
        self._writes = not archive.catalogue.readonly
        self._run: int | None = None
        self.catalogue_faults: list[str] = archive.catalogue.faults()
        way: Way = "SHA-256" if full else "size and time"
        if self._writes and not self.catalogue_faults:
            interrupted = archive.catalogue.unfinished_run(way) if full else None
            self._run = archive.catalogue.begin_run(way) if interrupted is None else interrupted
        self.earlier = archive.catalogue.count_checked(self._run)[0] if self._run is not None else 0
        """Masters that an interrupted run had checked, which this one goes on with."""
        self.finished = False
        self.length = max(0, archive.catalogue.count_masters() - self.earlier)

    @property
    def recorded(self) -> bool:
        """Whether the checks are written down in the archive."""
        return self._run is not None

    def __iter__(self) -> Iterator[Check]:
        end = None if self._minutes is None else time.monotonic() + 60 * self._minutes
        due = self._archive.catalogue.masters_due(unchecked_since=self._unchecked_since, run=self._run)
        tasks = (_Task(one, str(self._archive.master_path(one.path)), self._full) for one in due)
        masters = unchanged = 0
        # To ask a store takes long and does nothing here: many are asked about at once.
        asking = not self._full and self._archive.catalogue.any_at_addresses()
        with (
            ThreadPoolExecutor(ASKED_AT_ONCE) if asking else executor(self._workers, seconds=_seconds)
        ) as workers:
            ahead = 2 * ASKED_AT_ONCE if asking else None
            for task, seen in results(workers, _look, _until(tasks, end), ahead=ahead):
                check = self._check(task.master, seen)
                masters += 1
                unchanged += check.sound
                yield check
        if end is not None and time.monotonic() >= end:
            return
        self.finished = True
        if self._run is not None:
            if self._full:
                masters, unchanged = self._archive.catalogue.count_checked(self._run)
            self._archive.catalogue.end_run(self._run, masters=masters, unchanged=unchanged)

    def _check(self, one: Due, seen: _Seen | Lost) -> Check:
        """Say how a master was found, and write it down."""
        if isinstance(seen, Lost):
            seen = _Seen("unreadable", f"{seen}; check its disk")
        path = self._archive.master_path(one.path)
        if seen.status == "missing" and (copy := self._copy(one)):
            seen = replace(seen, reason=f"{seen.reason}; a copy that was seen lies at {copy}")
        check = Check(one.scan, one.sheet, str(path), seen.status, seen.reason, one.sha256, seen.found)
        self._write_down(check)
        if self._run is not None and seen.modified_ns not in (None, one.modified_ns):
            # Touched and the same: the next look at size and time needn't read it again.
            self._archive.catalogue.move_scan(
                one.scan, one.path, size_bytes=one.size_bytes, modified_ns=seen.modified_ns
            )
        return check

    def _copy(self, one: Due) -> Place | None:
        """Find where a copy of a master was seen and still is, by its size."""
        for known in self._archive.catalogue.paths_of(one.scan):
            path = self._archive.master_path(known["path"])
            with suppress(OSError):
                if path.stat().st_size == one.size_bytes:
                    return path
        return None

    def _write_down(self, check: Check) -> None:
        if self._run is not None and (check.found is not None or not check.sound):
            self._archive.catalogue.save_check(
                self._run,
                check.scan,
                status=check.status,
                path=check.path,
                found_sha256=check.found,
                reason=check.reason,
            )

    def find_again(self, failed: Sequence[Check], places: Sequence[Place]) -> Iterator[Check]:
        """Look for masters that are gone or changed, by their content, and take where they are for their place.

        Parameters
        ----------
        failed : the checks of masters that are not where they should be.
        places : files, and folders with all they hold, whatever the files are called; addresses of such.

        Yields
        ------
        A check ``moved`` for each master found.

        Raises
        ------
        ScanError : an address can't be looked at.
        """
        catalogue = self._archive.catalogue
        wanted: dict[int, dict[str, Check]] = {}
        for check in failed:
            row = catalogue.scan(check.scan)
            if row is not None:
                wanted.setdefault(int(row["size_bytes"]), {})[check.expected] = check
        for path in _files(places):
            try:
                seen = path.stat()
                alike = wanted.get(seen.st_size)
                found = scans.sha256_of(path) if alike else None
            except (OSError, ScanError):
                continue
            if not alike or found not in alike:
                continue
            check = alike.pop(found)
            here = path if isinstance(path, Address) else Path(os.path.normpath(path.absolute()))
            catalogue.move_scan(
                check.scan,
                self._archive.stored_path(here),
                size_bytes=seen.st_size,
                modified_ns=seen.st_mtime_ns,
            )
            moved = replace(
                check, path=str(here), status="moved", found=found, reason=f"it lay at {check.path} before"
            )
            self._write_down(moved)
            yield moved


def _seconds(task: _Task) -> float:
    """Give how long a file may take: a drive that answers no more ends the wait."""
    return PATIENCE_S + task.master.size_bytes / SLOWEST


def _until(tasks: Iterator[_Task], end: float | None) -> Iterator[_Task]:
    for task in tasks:
        if end is not None and time.monotonic() >= end:
            return
        yield task


def _days_ago(days: float) -> str:
    then = datetime.now(UTC) - timedelta(days=days)
    return then.isoformat(timespec="seconds").replace("+00:00", "Z")


def _files(places: Sequence[Place]) -> Iterator[Place]:
    """List the files in places."""
    for place in places:
        if isinstance(place, Address):
            try:
                yield from place.files()
            except OSError as error:
                raise ScanError(
                    f"{place}: nothing can be looked for there ({error.strerror}); check the address, and your "
                    "credentials for its store"
                ) from error
        elif not place.is_dir():
            yield place
        else:
            for here, folders, names in os.walk(place):
                folders.sort()
                yield from (Path(here, name) for name in sorted(names))
