"""The catalogue backed up, and put back.

Nothing is ever lost: a backup gets its name when it was seen to be sound, and what a restored catalogue takes the
place of is kept beside it.
"""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from negcat.catalogue import (
    beside,
    brought_up_to_date,
    copy_catalogue,
    is_catalogue,
    is_whole,
    put_into,
)
from negcat.errors import ArchiveError
from negcat.whole_files import clear_unfinished, written_whole
from negcat.work.archive import CATALOGUE_NAME
from negcat.work.writing_files import FileThereError, refuse_existing, working_folder, written_file

__all__ = ["BackedUp", "Restored", "back_up", "restore"]


@dataclass(frozen=True)
class BackedUp:
    """A backup made.

    Parameters
    ----------
    file : it.
    size_bytes : its size.
    sheets, scans : how many it knows of.
    """

    file: Path
    size_bytes: int
    sheets: int
    scans: int

    def as_json(self) -> dict[str, Any]:
        """Give what ``negcat backup --json`` prints."""
        return {"file": str(self.file), "bytes": self.size_bytes, "sheets": self.sheets, "scans": self.scans}


@dataclass(frozen=True)
class Restored:
    """A catalogue put back.

    Parameters
    ----------
    archive : the archive's folder.
    file : the file it was put back from.
    replaced : where what was there before is kept; None where there was nothing.
    brought_up_to_date : whether an older negcat had made it.
    sheets, scans : how many it knows of.
    """

    archive: Path
    file: Path
    replaced: Path | None
    brought_up_to_date: bool
    sheets: int
    scans: int

    def as_json(self) -> dict[str, Any]:
        """Give what ``negcat restore --json`` prints."""
        return {
            "archive": str(self.archive),
            "file": str(self.file),
            "replaced": str(self.replaced) if self.replaced else None,
            "brought_up_to_date": self.brought_up_to_date,
            "sheets": self.sheets,
            "scans": self.scans,
        }


def back_up(root: Path, file: Path, *, overwrite: bool) -> BackedUp:
    """Copy an archive's catalogue to a file, also while other programs write to it.

    Parameters
    ----------
    root : the archive's folder.
    file : where to.
    overwrite : an earlier backup that is there may be replaced.

    Raises
    ------
    FileThereError : the file is there already, or is something else than an earlier backup.
    ArchiveError : the catalogue is absent or not sound, or the copy can't be written.
    """
    catalogue = root.absolute() / CATALOGUE_NAME
    if not catalogue.is_file():
        raise ArchiveError(f"{root} is no archive: it holds no {CATALOGUE_NAME}")
    refuse_existing(file, overwrite=overwrite)
    if file.exists():
        _refuse_other_than_backup(file)
    with written_file(file, overwrite=overwrite) as unfinished:
        sheets, scans = copy_catalogue(catalogue, unfinished)
        size = unfinished.stat().st_size
    return BackedUp(file, size, sheets, scans)


def _refuse_other_than_backup(file: Path) -> None:
    """Refuse to replace what nobody would want replaced: a picture, a catalogue in use."""
    if not is_catalogue(file):
        raise FileThereError(f"{file} is no backup of a catalogue, so it is not replaced; name another file")
    if file.name == CATALOGUE_NAME or beside(file):
        raise FileThereError(f"{file} is a catalogue in use, so it is not replaced; name another file")


def restore(root: Path, file: Path) -> Restored:
    """Put a backed-up catalogue into an archive, in one step; what was there is kept beside it.

    Programs that have the catalogue open see the new one with their next question. Whoever is stopped in the midst
    leaves the old one as it was.

    Parameters
    ----------
    root : the archive's folder; it need not hold a catalogue.
    file : the backup, of this or an older negcat.

    Raises
    ------
    ArchiveError : the file is no sound catalogue that this negcat knows, or the folder can't be written.
    """
    root = root.absolute()
    present = root / CATALOGUE_NAME
    if not root.is_dir():
        raise ArchiveError(f"there is no folder {root} to restore an archive in; make it first")
    if not file.is_file():
        raise ArchiveError(f"there is no file {file}; name a backup made by 'negcat backup'")
    if present.exists() and present.samefile(file):
        raise ArchiveError(f"{file} is the archive's own catalogue; name a backup of it")
    with working_folder(root, CATALOGUE_NAME) as folder:
        staged = folder / CATALOGUE_NAME
        staged.touch()
        sheets, scans = copy_catalogue(file, staged)
        behind = brought_up_to_date(staged)
        former = _name_of_former(present)
        if is_catalogue(present) and is_whole(present):
            put_into(present, staged, former)
        else:
            _put_anew(present, staged, former)
    return Restored(root, file, former if former.exists() or beside(former) else None, behind, sheets, scans)


def _name_of_former(present: Path) -> Path:
    """Find the name under which what is replaced now is kept; clear away what killed programs left of others."""
    for left in present.parent.glob(f".{CATALOGUE_NAME}.replaced-*.part"):
        clear_unfinished(present.parent, left.name[1:].rsplit(".", 2)[0])
    stem = f"{CATALOGUE_NAME}.replaced-{datetime.now(UTC):%Y-%m-%dT%H%MZ}"
    names = (present.with_name(stem if n == 1 else f"{stem}-{n}") for n in range(1, 10_000))
    return next(name for name in names if not name.exists())


def _put_anew(present: Path, staged: Path, former: Path) -> None:
    """Put a catalogue where there is none, or something that is none, or that SQLite can't read.

    A log that lies beside would spoil the new one. Stopped in the midst, this leaves what was there; it and its log
    are kept by then.
    """
    for old in (present, *beside(present)):
        # What is shared between programs says nothing by itself.
        if old.exists() and not old.name.endswith("-shm") and (old == present or old.stat().st_size):
            kept = former.with_name(former.name + old.name.removeprefix(present.name))
            with written_whole(kept, replacing=False, lasting=True) as unfinished:
                shutil.copyfile(old, unfinished)
    for side in beside(present):
        side.unlink()
    with written_whole(present, lasting=True) as unfinished:
        shutil.copyfile(staged, unfinished)
