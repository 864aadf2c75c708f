"""XMP side files written for the scans that are joined to sheets, into a folder or beside the masters."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Literal

from negcat.errors import NegcatError
from negcat.places import Address
from negcat.whole_files import written_whole
from negcat.work.archive import Archive
from negcat.work.export_xmp_packet import is_own, packet
from negcat.work.planning import Equipment
from negcat.work.show import dossier
from negcat.work.writing_files import written_folder

__all__ = ["SideFile", "export_xmp"]

ENDING = ".xmp"

_LONGEST_NAME = 200
"""Bytes; with the names of unfinished files, most disks take 255."""

_LARGEST = 16_000_000
"""Bytes of a side file that is there already which are looked at; ours are far smaller."""


@dataclass(frozen=True)
class SideFile:
    """What became of one side file.

    Parameters
    ----------
    scan, sheet : whose it is.
    master : the scan's file, as the archive names it.
    file : the side file.
    status : ``written``, ``unchanged`` where it stood there just so, or ``refused``.
    reason : why it was refused, a sentence.
    """

    scan: str
    sheet: str
    master: str
    file: str
    status: Literal["written", "unchanged", "refused"]
    reason: str | None = None

    def as_json(self) -> dict[str, Any]:
        """Give what ``negcat export xmp --json`` prints of it."""
        return asdict(self)


class _RefusedError(Exception):
    """A side file that can't be written, with the reason."""


def export_xmp(archive: Archive, folder: Path | None) -> Iterator[SideFile]:
    """Write a side file for each scan that is joined to a sheet, as the archive is at one moment.

    Parameters
    ----------
    archive : the archive, which is only read.
    folder : where to: nothing is there, or an empty folder. It is there when all are written. None: beside each
        master, where only what negcat wrote, and nobody changed since, is replaced.

    Yields
    ------
    What became of each, as it is done, sheet by sheet.

    Raises
    ------
    FileThereError : there is something in the folder, or it can't be made.
    NegcatError : no scan is joined to a sheet.
    """
    if folder is None:
        with archive.catalogue.at_once():
            yield from _written(archive, lambda scan, content: _beside(archive, scan, content))
        return
    with written_folder(folder) as unfinished, archive.catalogue.at_once():
        used: set[str] = set()

        def write(scan: Mapping[str, Any], content: bytes) -> tuple[Path, Literal["written"]]:
            name = _free_name(used, scan)
            (unfinished / name).write_bytes(content)
            return folder / name, "written"

        yield from _written(archive, write)


def _written(
    archive: Archive,
    write: Callable[[Mapping[str, Any], bytes], tuple[Path, Literal["written", "unchanged"]]],
) -> Iterator[SideFile]:
    equipment = Equipment(archive.catalogue)
    any_joined = False
    for sheet in archive.catalogue.sheet_ids():
        rows = archive.catalogue.scans_of(sheet)
        if not rows:
            continue
        any_joined = True
        of_sheet = dossier(archive, sheet)
        focal_mm = equipment.optics(of_sheet["lens"]).cells[of_sheet["cell"]].focal_mm
        for row, scan in zip(rows, of_sheet["scans"], strict=True):
            told = {**scan, "file_name": Path(row["path"]).name}
            content = packet({**of_sheet, "focal_mm": focal_mm, "scan": told})
            try:
                file, status = write(row, content)
            except _RefusedError as refused:
                where = f"{archive.master_path(row['path'])}{ENDING}"
                yield SideFile(row["scan"], sheet, row["path"], where, "refused", str(refused))
            else:
                yield SideFile(row["scan"], sheet, row["path"], str(file), status)
    if not any_joined:
        raise NegcatError(
            "no scan is joined to a sheet, so that there is nothing to write; take scans with 'negcat ingest'"
        )


def _free_name(used: set[str], scan: Mapping[str, Any]) -> str:
    """Name a side file after the master: with the scan's id where two are named alike, or the name is too long."""
    name = Path(scan["path"]).name
    if len(name.encode()) > _LONGEST_NAME:
        name = scan["scan"]
    elif name.casefold() in used:
        name = f"{name}.{scan['scan']}"
    used.add(name.casefold())
    return name + ENDING


def _beside(
    archive: Archive, scan: Mapping[str, Any], content: bytes
) -> tuple[Path, Literal["written", "unchanged"]]:
    """Write a side file beside a master, which must be there."""
    master = archive.master_path(scan["path"])
    if isinstance(master, Address):
        raise _RefusedError(f"nothing is ever written to where {master} lies; name a folder to write into")
    file = master.with_name(master.name + ENDING)
    try:
        if not master.parent.is_dir():
            raise _RefusedError(f"there is no folder {master.parent}; see that its disk is there")
        if not master.is_file() or master.stat().st_size != scan["size_bytes"]:
            raise _RefusedError(
                f"{master} is not there as it was taken; 'negcat verify' tells more, and finds it where it was moved to"
            )
        there = file.is_symlink() or file.exists()
        if there:
            found = _content_of(file)
            if found == content:
                return file, "unchanged"
            if not is_own(found):
                raise _RefusedError(
                    f"{file} is there already, and negcat didn't write it, or it was changed since; "
                    "move it away, or name a folder to write into"
                )
        with written_whole(file, replacing=there) as unfinished:
            unfinished.write_bytes(content)
    except FileExistsError:
        raise _RefusedError(f"{file} came to be meanwhile; run it again") from None
    except OSError as error:
        raise _RefusedError(
            f"{file} can't be written ({(error.strerror or str(error)).lower()}); "
            f"let {master.parent} be written to, or name a folder to write into"
        ) from None
    return file, "written"


def _content_of(file: Path) -> bytes:
    """Read a side file that is there; nothing of a link, a folder or what is far too large to be ours."""
    if file.is_symlink() or not file.is_file() or file.stat().st_size > _LARGEST:
        return b""
    return file.read_bytes()
