"""Take scans: identify by content, join to the sheet, look over, measure, draw."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import partial
from itertools import groupby
from pathlib import Path
from typing import Any, Literal

from negcat import scans
from negcat.errors import ScanError
from negcat.places import Address, Place
from negcat.scans import Reduced, ScanInfo
from negcat.work import scanned
from negcat.work.archive import Archive
from negcat.work.catching_up import catch_up
from negcat.work.computing import refresh
from negcat.work.in_hand import Foresight, InHand
from negcat.work.joining import Join, SheetIds, side_file_texts
from negcat.work.naming import unknown
from negcat.work.previews import forget_previews, make_previews
from negcat.work.reading_scans import Reading, Scanners, ToRead, read_scan, sentence_on, tags_of
from negcat.work.scanned import Basis
from negcat.work.scanner_tags import ScannerTags
from negcat.work.waiting import claim_elsewhere, decide_row, sheet_ids
from negcat.work.workers import Here, Lost, results

__all__ = ["IMAGE_SUFFIXES", "Ingest", "Item", "ingest_scans", "join_and_measure"]

IMAGE_SUFFIXES = frozenset({".tif", ".tiff", ".png", ".jpg", ".jpeg", ".dng"})
"""Endings that are looked for in a folder; a file named by itself is taken whatever its ending."""

Status = Literal["added", "unchanged", "unmatched", "refused"]


@dataclass(frozen=True)
class Item:
    """What happened to one scan.

    Parameters
    ----------
    path : as the user named it.
    status : ``added``, ``unchanged``, ``unmatched`` or ``refused``.
    sheet : the sheet it is joined to.
    scan : its id; None where it was refused.
    reason : why it waits, is refused or is not measured.
    measured : whether the sheet was measured on it.
    """

    path: str
    status: Status
    sheet: str | None = None
    scan: str | None = None
    reason: str | None = None
    measured: bool = False

    def as_json(self) -> dict[str, Any]:
        """Give what ``negcat ingest --json`` prints of a scan."""
        return {
            "path": self.path,
            "status": self.status,
            "sheet": self.sheet,
            "scan": self.scan,
            "reason": self.reason,
            "measured": self.measured,
        }


def _files(archive: Archive, paths: Sequence[Place]) -> list[Place]:
    """List what to take: files named, and what folders hold, each once, in order; folders that can't be opened too."""
    found: list[Place] = []
    for path in paths:
        # Unlike Path.is_dir, isdir only says no where a folder above may not be entered.
        if isinstance(path, Address):
            found += _at_address(path)
        elif os.path.isdir(path):  # noqa: PTH112
            found += sorted(_in_folder(path, archive.previews.resolve()))
        else:
            found.append(path)
    return list(dict.fromkeys(found))


def _at_address(place: Address) -> list[Address]:
    try:
        found = place.files()
    except (FileNotFoundError, PermissionError):
        return [place]  # who reads it says so
    except OSError as error:
        raise ScanError(
            f"{place}: its store can't be asked ({error.strerror}); see that it can be reached from here, and that "
            "your credentials for it are set"
        ) from error
    return [one for one in found if one == place or one.suffix.lower() in IMAGE_SUFFIXES]


def _in_folder(path: Path, previews: Path) -> list[Path]:
    found: list[Path] = []

    def shut(error: OSError) -> None:
        found.append(Path(error.filename))

    for here, inner, names in os.walk(path, onerror=shut):
        folder = Path(here)
        inner[:] = [
            name for name in inner if not name.startswith(".") and (folder / name).resolve() != previews
        ]
        found += [
            folder / name
            for name in names
            if not name.startswith(".") and Path(name).suffix.lower() in IMAGE_SUFFIXES
        ]
    return found


class Ingest:
    """A run over scans, taken one after the other as it is iterated.

    Parameters
    ----------
    archive : the archive.
    files : the files.
    scanner : the scanner the user names; None to tell it from each scan's tags.
    workers : read the files.
    """

    def __init__(
        self, archive: Archive, files: Sequence[Place], scanner: str | None, workers: Executor
    ) -> None:
        self._archive = archive
        self._files = files
        self._scanner = scanner
        self._workers = workers
        self.length = len(files)
        self._since = archive.catalogue.writes_of_others()

    def __iter__(self) -> Iterator[Item]:
        scans.clear_unfinished(self._archive.previews)
        ids = sheet_ids(self._archive)
        scanners = self._scanners()
        # A file alone is decoded by two threads, and looked over here; several keep the machine busy with one each, and
        # all that is found of them is found where they are read: this process has others to write down meanwhile.
        several = self.length > 1 and getattr(self._workers, "ahead", 0) > 2
        foresight = Foresight(self._archive, ids, self._scanner) if several else None
        for known, files in groupby(self._files, lambda path: self._known(path, ids) is not None):
            if known:
                for path in files:
                    row = self._known(path, ids)
                    assert row is not None
                    yield self._item(path, row["scan"], Join(row["sheet"], None, row["reason"]), ids)
            else:
                tasks = (self._task(path, scanners, foresight) for path in files)
                for task, read in results(self._workers, read_scan, tasks):
                    yield self._take(task.path, read, ids, scanners)

    def _task(self, path: Place, scanners: Scanners, foresight: Foresight | None) -> ToRead:
        if foresight is None:
            return ToRead(path, self._previews_of(path), scanners, threads=2)
        return ToRead(path, self._previews_of(path), scanners, threads=1, foreseen=foresight.of(path))

    def _scanners(self) -> Scanners:
        """Gather what decides how scans are drawn, for those who read them."""
        catalogue = self._archive.catalogue
        known = catalogue.scanners()
        linear = {}
        for name in [scanner.name for scanner in known] if self._scanner is None else [self._scanner]:
            for bits in (8, 16):
                for mode in scanned.CHANNELS:
                    told = scanned.codes_are_linear(catalogue, name, bits, mode)
                    if told is not None:
                        linear[name, bits, mode] = told
        tags = tuple(ScannerTags(entry.name, entry.make, entry.model, entry.software) for entry in known)
        return Scanners(self._scanner, tags, linear)

    def _at_rest(self, path: Place) -> dict[str, Any] | None:
        """Give the scan that was taken from a file, where the file has the same size and time still."""
        archive = self._archive
        try:
            stored, status = archive.stored_path(path), path.stat()
        except (ScanError, OSError, ValueError):
            return None
        row = archive.catalogue.scan_at(stored)
        if row is None or not status.st_mtime_ns:  # a store that tells no time
            return None
        for seen in (row, *archive.catalogue.paths_of(row["scan"])):
            if seen["path"] == stored and (seen["size_bytes"], seen["modified_ns"]) == (
                status.st_size,
                status.st_mtime_ns,
            ):
                return row
        return None

    def _known(self, path: Place, ids: SheetIds) -> dict[str, Any] | None:
        """Give the scan that was taken from a file, where to read it again would change nothing.

        That its size and time are the same is taken as that its content is; `negcat verify` looks at that.
        """
        archive = self._archive
        row = self._at_rest(path)
        if (
            row is None
            or row["rebate"] is None
            or self._scanner not in (None, row["scanner"])
            or not scans.pyramid_path(archive.previews, row["scan"]).is_file()
            or not (row["path"] == str(path) or archive.master_path(row["path"]).is_file())
        ):
            return None
        if row["sheet"] is None:
            join = decide_row(archive, ids, row)
            if join.sheet is not None or join.reason != row["reason"]:
                return None
        return row

    def _previews_of(self, path: Place) -> Path | None:
        """Tell where a file's pyramid goes, None where it is there."""
        previews = self._archive.previews
        row = self._at_rest(path)
        there = row is not None and scans.pyramid_path(previews, row["scan"]).is_file()
        return None if there else previews

    def _take(self, path: Place, read: Reading | str | Lost, ids: SheetIds, scanners: Scanners) -> Item:
        """Take one file that was read."""
        if isinstance(read, Lost):
            return Item(str(path), "refused", reason=sentence_on(path, read))
        if isinstance(read, str):
            return Item(str(path), "refused", reason=read)
        info = read.info
        in_hand = InHand(partial(self._made_small, read, path, scanners), read.found)
        archive, catalogue = self._archive, self._archive.catalogue
        try:
            archive.stored_path(path)
        except ScanError as error:
            return Item(str(path), "refused", reason=str(error))
        fault = read.fault
        if read.pyramid is not None:
            fault = scans.write_pyramid(archive.previews, info.scan, read.pyramid)
        if isinstance(path, Address):
            side_file_texts(path)  # now, not while others wait to write
        with catalogue.writing():
            known = catalogue.scan_by_sha256(info.sha256)
            if known is None:
                catalogue.save_scan({**_columns(archive, info), "scanner": scanners.of(info)})
            else:
                self._seen_again(info, known)
            row = catalogue.scan(info.scan)
            assert row is not None
            join = Join(row["sheet"], row["joined_by"], None)
            if row["sheet"] is None:
                join = decide_row(archive, ids, row)
                catalogue.join_scan(info.scan, join.sheet, joined_by=join.source, reason=join.reason)
            fresh = known is None or known["sheet"] != join.sheet
            renewed = known is not None and self._scanner is not None and known["scanner"] != self._scanner
            if renewed:
                forget_previews(archive, row)
                catalogue.mark_out_of_date([join.sheet] if join.sheet is not None else [])
        # Whoever else writes isn't kept waiting by pixels. Stopped from here on, the next run finds the marks.
        if fresh or renewed or row["rebate"] is None:
            try:
                join_and_measure(archive, info.scan, join.sheet, in_hand, leave_marked=True)
            except ScanError as error:
                fault = fault or str(error)
        item = self._item(path, info.scan, join, ids, added=fresh, known=known is not None)
        if fresh or renewed:
            row = catalogue.scan(info.scan)
            assert row is not None
            try:
                make_previews(archive, row, in_hand)
            except ScanError as error:
                fault = fault or str(error)
            if fault is not None:
                # The scan is taken; its pictures are only derivatives and are made when next asked for.
                item = replace(item, reason=" ".join(filter(None, (item.reason, fault))))
        return item

    def _made_small(self, read: Reading, path: Place, scanners: Scanners) -> Reduced:
        """Give a scan made small; where what was found without it doesn't hold, it is read once more for that."""
        if read.reduced is not None:
            return read.reduced
        task = ToRead(path, None, scanners, threads=1)
        ((_, again),) = results(self._workers, read_scan, [task])
        if not isinstance(again, Reading) or again.reduced is None or again.info != read.info:
            raise ScanError(f"{path}: it has changed since it was read; take it again once it is at rest")
        return again.reduced

    def _seen_again(self, info: ScanInfo, known: dict[str, Any]) -> None:
        """Note where a master known already was seen again, and that it lies there now if it is gone elsewhere."""
        archive, catalogue = self._archive, self._archive.catalogue
        stored = archive.stored_path(info.path)
        if self._scanner is not None:
            catalogue.save_scan({"sha256": info.sha256, "scanner": self._scanner})
        if archive.master_path(known["path"]).is_file():
            catalogue.note_path(info.scan, stored, size_bytes=info.size_bytes, modified_ns=info.modified_ns)
        else:
            catalogue.move_scan(info.scan, stored, size_bytes=info.size_bytes, modified_ns=info.modified_ns)

    def _item(
        self, path: Place, scan: str, join: Join, ids: SheetIds, *, added: bool = False, known: bool = True
    ) -> Item:
        catalogue = self._archive.catalogue
        row = catalogue.scan(scan)
        assert row is not None
        if join.sheet is None:
            return Item(str(path), "unchanged" if known else "unmatched", None, scan, join.reason, False)
        reasons = [
            None if added else claim_elsewhere(self._archive, ids, path, row),
            f"not measured: {row['unmeasured']}" if row["unmeasured"] else None,
        ]
        return Item(
            str(path),
            "added" if added else "unchanged",
            join.sheet,
            scan,
            "; ".join(filter(None, reasons)) or None,
            _measured_on(catalogue.findings(join.sheet), scan),
        )

    def finish(self, items: Sequence[Item]) -> list[Item]:
        """Judge again the sheets whose base+fog may now be had from their batch, and what an earlier run left.

        A scan without a rebate borrows the median of its batch's; which rebates there are is known only
        when the last scan is taken.
        """
        catalogue = self._archive.catalogue
        taken = {item.sheet for item in items if item.sheet is not None and item.status == "added"}
        if not catch_up(self._archive, "ingest", taken, self._since).sheets:
            return list(items)
        return [
            replace(item, measured=_measured_on(catalogue.findings(item.sheet), item.scan))
            if item.sheet is not None
            else item
            for item in items
        ]


def _measured_on(findings: Any, scan: str | None) -> bool:
    return findings is not None and findings.scan == scan


def ingest_scans(
    archive: Archive, paths: Sequence[Place], *, scanner: str | None = None, workers: Executor | None = None
) -> Ingest:
    """Prepare to take scans.

    Parameters
    ----------
    archive : the archive.
    paths : files, and folders with all they hold; addresses of such.
    scanner : the scanner they were made on; None to tell it from each scan's own tags.
    workers : read the files, see :func:`negcat.work.workers.executor`; None: they are read in this process, one
        after the other, which a crash of their decoder doesn't survive.

    Returns
    -------
    The run: iterate it to take the scans, then hand its items to :meth:`Ingest.finish`.

    Raises
    ------
    UnknownNameError : no such scanner.
    ScanError : the store of an address can't be asked.
    """
    if scanner is not None and archive.catalogue.scanner(scanner) is None:
        raise unknown(archive.catalogue, "scanner", scanner)
    if getattr(workers, "elsewhere", False):
        # They stand in other folders.
        paths = [path.absolute() for path in paths]
    return Ingest(archive, _files(archive, paths), scanner, workers or Here())


def join_and_measure(
    archive: Archive, scan: str, sheet: str | None, in_hand: InHand, *, leave_marked: bool = False
) -> None:
    """Look a scan over that is joined, or waits, and measure its sheet."""
    catalogue = archive.catalogue
    if sheet is not None:
        refresh(archive, [sheet], {scan: in_hand}, leave_marked=leave_marked)
    row = catalogue.scan(scan)
    assert row is not None
    if row["rebate"] is None:
        # Nothing measured it: it waits, or a newer scan of the sheet is there. It is looked over all the same.
        place, name = scanned.channel_of("grey", row["mode"]) or (0, "grey")
        profile = scanned.profile_of_scan(catalogue, row, name)
        px_per_mm = scanned.pixels_per_mm(row["dpi"], row["width"], row["height"], None)
        basis = Basis(profile.number if profile else None, place, px_per_mm)
        scanned.look_over(catalogue, row, basis, lambda: in_hand.examined(row, basis, profile))


def _columns(archive: Archive, info: ScanInfo) -> dict[str, Any]:
    """Write a scan as the catalogue keeps it."""
    return {
        "sha256": info.sha256,
        "path": archive.stored_path(info.path),
        "size_bytes": info.size_bytes,
        "modified_ns": info.modified_ns,
        "file_format": info.file_format,
        "width": info.width,
        "height": info.height,
        "bits": info.bits,
        "mode": info.mode,
        "dpi": info.dpi,
        **tags_of(info),
        "description": info.description,
        "taken_at": info.taken_at,
        "orientation": info.orientation,
        "compression": info.compression,
        "lossy": info.lossy,
        "pages": info.pages,
        "notes": info.notes,
    }
