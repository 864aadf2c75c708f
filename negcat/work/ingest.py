"""Take scans: identify by content, join to the sheet, look over, measure, draw."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

from negcat import records, scans
from negcat.errors import ScanError
from negcat.scans import Reduced, ScanHeader, ScanInfo
from negcat.work import scanned
from negcat.work.archive import Archive
from negcat.work.computing import refresh
from negcat.work.joining import Join, SheetIds
from negcat.work.masters import PREVIEW_SIDE
from negcat.work.naming import unknown
from negcat.work.previews import make_previews
from negcat.work.waiting import claim_elsewhere, decide_row, sheet_ids

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


def _files(archive: Archive, paths: Sequence[Path]) -> list[Path]:
    """List what to take: files named, and what folders hold, each once, in order; folders that can't be opened too."""
    found: list[Path] = []
    for path in paths:
        # Unlike Path.is_dir, this only says no where a folder above may not be entered.
        if os.path.isdir(path):  # noqa: PTH112
            found += sorted(_in_folder(path, archive.previews.resolve()))
        else:
            found.append(path)
    return list(dict.fromkeys(found))


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


@dataclass(frozen=True)
class Reading:
    """One file read whole, and why its pyramid couldn't be written."""

    info: ScanInfo
    reduced: Reduced
    fault: str | None


def _read(path: Path, previews: Path | None, linear: bool | None) -> Reading | str:
    """Read one file whole; the reason where it can't be taken. Runs in a process of its own when asked to.

    Parameters
    ----------
    path : the file.
    previews : where its pyramid goes; None where it is there already.
    linear : see `scans.tone_curve`.
    """
    pyramid = scans.NewPyramid(previews, linear=linear) if previews is not None else None
    try:
        if os.path.isdir(path):  # noqa: PTH112
            return f"{path}: the folder can't be opened; give yourself permission to read it"
        info, reduced = scans.take(path, max_side=PREVIEW_SIDE, pyramid=pyramid)
    except ScanError as error:
        return str(error)
    except OSError as error:
        return f"{path}: {error.strerror or error}; see that you may read it and its folder"
    return Reading(info, reduced, pyramid.fault if pyramid is not None else None)


class Ingest:
    """A run over scans, taken one after the other as it is iterated.

    Parameters
    ----------
    archive : the archive.
    files : the files.
    scanner : the scanner the user names; None to tell it from each scan's tags.
    jobs : files that are read at once.
    """

    def __init__(self, archive: Archive, files: Sequence[Path], scanner: str | None, jobs: int) -> None:
        self._archive = archive
        self._files = files
        self._scanner = scanner
        self._jobs = jobs
        self.length = len(files)

    def __iter__(self) -> Iterator[Item]:
        ids = sheet_ids(self._archive)
        scanners = self._archive.catalogue.scanners()
        if self._jobs > 1 and self.length > 1:
            with ProcessPoolExecutor(max_workers=self._jobs) as pool:
                # One file ahead of each worker is enough; more would only fill memory with pictures.
                waiting = []
                for index, path in enumerate(self._files):
                    waiting.append((path, pool.submit(_read, path, *self._pyramid(path, scanners))))
                    if index + 1 >= 2 * self._jobs:
                        path, reading = waiting.pop(0)
                        yield self._take(path, reading.result(), ids, scanners)
                for path, reading in waiting:
                    yield self._take(path, reading.result(), ids, scanners)
        else:
            for path in self._files:
                yield self._take(path, _read(path, *self._pyramid(path, scanners)), ids, scanners)

    def _pyramid(self, path: Path, scanners: Sequence[records.Scanner]) -> tuple[Path | None, bool | None]:
        """Tell where a file's pyramid goes, None where it is there, and what its scanner's tablet says of it."""
        archive, catalogue = self._archive, self._archive.catalogue
        try:
            header = scans.read_header(path)
            known = catalogue.scan_at(archive.stored_path(path))
        except (ScanError, OSError):
            return None, None  # it will be refused
        if (
            known is not None
            and (known["size_bytes"], known["modified_ns"]) == (header.size_bytes, header.modified_ns)
            and scans.pyramid_path(archive.previews, known["scan"]).is_file()
        ):
            return None, None
        scanner = self._scanner or scanned.matching_scanner(scanners, _tags(header))
        return archive.previews, scanned.codes_are_linear(catalogue, scanner, header.bits, header.mode)

    def _take(
        self,
        path: Path,
        read: Reading | str,
        ids: SheetIds,
        scanners: Sequence[records.Scanner],
    ) -> Item:
        """Take one file that was read."""
        if isinstance(read, str):
            return Item(str(path), "refused", reason=read)
        info, reduced = read.info, read.reduced
        archive, catalogue = self._archive, self._archive.catalogue
        try:
            archive.stored_path(path)
        except ScanError as error:
            return Item(str(path), "refused", reason=str(error))
        known = catalogue.scan_by_sha256(info.sha256)
        with catalogue.writing():
            if known is None:
                catalogue.save_scan(
                    {
                        **_columns(archive, info),
                        "scanner": self._scanner or scanned.matching_scanner(scanners, _tags(info)),
                    }
                )
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
            if fresh or renewed:
                join_and_measure(archive, info.scan, join.sheet, reduced)
        item = self._item(path, info, join, known is not None, fresh)
        if item.status == "unchanged" and item.sheet is not None:
            elsewhere = claim_elsewhere(archive, ids, path, row)
            item = replace(item, reason="; ".join(filter(None, (elsewhere, item.reason))) or None)
        if fresh or renewed:
            row = catalogue.scan(info.scan)
            assert row is not None
            fault = read.fault
            try:
                make_previews(archive, row, reduced)
            except ScanError as error:
                fault = fault or str(error)
            if fault is not None:
                # The scan is taken; its pictures are only derivatives and are made when next asked for.
                item = replace(item, reason=" ".join(filter(None, (item.reason, fault))))
        return item

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

    def _item(self, path: Path, info: ScanInfo, join: Join, known: bool, fresh: bool) -> Item:
        row = self._archive.catalogue.scan(info.scan)
        assert row is not None
        if join.sheet is None:
            status: Status = "unchanged" if known else "unmatched"
            return Item(str(path), status, None, info.scan, join.reason, False)
        findings = self._archive.catalogue.findings(join.sheet)
        measured = findings is not None and findings.scan == info.scan
        return Item(
            str(path),
            "added" if fresh else "unchanged",
            join.sheet,
            info.scan,
            f"not measured: {row['unmeasured']}" if row["unmeasured"] else None,
            measured,
        )

    def finish(self, items: Sequence[Item]) -> list[Item]:
        """Judge again the sheets whose base+fog may now be had from their batch.

        A scan without a rebate borrows the median of its batch's; which rebates there are is known only
        when the last scan is taken.
        """
        catalogue = self._archive.catalogue
        taken = {item.sheet for item in items if item.sheet is not None and item.status == "added"}
        if not taken:
            return list(items)
        borrowing = catalogue.sheets_borrowing_base_fog(taken)
        refresh(self._archive, borrowing)
        return [
            replace(item, measured=_measured_on(catalogue.findings(item.sheet), item.scan))
            if item.sheet is not None
            else item
            for item in items
        ]


def _measured_on(findings: Any, scan: str | None) -> bool:
    return findings is not None and findings.scan == scan


def ingest_scans(
    archive: Archive, paths: Sequence[Path], *, scanner: str | None = None, jobs: int = 1
) -> Ingest:
    """Prepare to take scans.

    Parameters
    ----------
    archive : the archive.
    paths : files, and folders with all they hold.
    scanner : the scanner they were made on; None to tell it from each scan's own tags.
    jobs : files that are read at once, each in a process of its own.

    Returns
    -------
    The run: iterate it to take the scans, then hand its items to :meth:`Ingest.finish`.

    Raises
    ------
    UnknownNameError : no such scanner.
    """
    if scanner is not None and archive.catalogue.scanner(scanner) is None:
        raise unknown(archive.catalogue, "scanner", scanner)
    return Ingest(archive, _files(archive, paths), scanner, jobs)


def join_and_measure(archive: Archive, scan: str, sheet: str | None, reduced: Reduced) -> None:
    """Look a scan over that is joined, or waits, and measure its sheet."""
    catalogue = archive.catalogue
    if sheet is not None:
        refresh(archive, [sheet], {scan: reduced})
    row = catalogue.scan(scan)
    assert row is not None
    if row["rebate"] is None:
        # Nothing measured it: it waits, or a newer scan of the sheet is there. It is looked over all the same.
        place, name = scanned.channel_of("grey", row["mode"]) or (0, "grey")
        scanned.look_over(
            catalogue,
            row,
            lambda: reduced,
            channel=place,
            px_per_mm=scanned.pixels_per_mm(row["dpi"], row["width"], row["height"], None),
            profile=scanned.profile_of_scan(catalogue, row, name),
        )


def _tags(info: ScanHeader) -> dict[str, str | None]:
    return {"make": info.make, "model": info.model, "software": info.software}


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
        **_tags(info),
        "description": info.description,
        "taken_at": info.taken_at,
        "orientation": info.orientation,
        "compression": info.compression,
        "lossy": info.lossy,
        "pages": info.pages,
        "notes": info.notes,
    }
