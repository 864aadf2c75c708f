"""The whole archive packed into a bag (BagIt, RFC 8493): catalogue, records, tables, and the masters as they are.

The catalogue is copied first, and everything else is written from that copy, so that all of it is of one moment.
"""

from __future__ import annotations

import contextlib
import csv
import shutil
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, field, fields
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import Any, Literal

from negcat import __version__, scans
from negcat.catalogue import Catalogue, Master, copy_catalogue, masters_leaving, sql_text
from negcat.errors import NegcatError, ScanError
from negcat.places import Address, Place, is_address
from negcat.work.archive import CATALOGUE_NAME, Archive
from negcat.work.bagging import Bag, is_plain, plain_name
from negcat.work.export_records import export_records
from negcat.work.export_tables import write_tables
from negcat.work.writing_files import refuse_filled, written_folder

__all__ = ["BagLeft", "PackedMaster", "export_bag"]

_ARCHIVE = "data/archive"
_ELSEWHERE = "data/masters_from_elsewhere"
_MASTERS = "data/masters.csv"

_READ_ME = """\
A negative archive, packed into a bag (BagIt 1.0, RFC 8493)

Any BagIt program tells whether everything is still as it was packed; so does 'sha256sum -c manifest-sha256.txt' in
this folder. Nothing in here needs the program that made it:

  records/   what the photographer wrote, as text (YAML)
  tables/    records, and all that was found and computed, as tables (CSV); README.txt there describes each column
  catalogue.sql   the whole catalogue as SQL text
  archive/   an archive's folder: negcat.db, the catalogue as an SQLite file, and the masters as they lay in it
  masters_from_elsewhere/   masters that lay outside of the archive's folder, or had names that not every disk takes
  masters.csv   every master: what it shows, its SHA-256, where it was, where it is in here, and whether it is

Work on a copy: whoever changes anything in here breaks the bag's seal. A copy of the folder archive/ is a working
archive for negcat ('negcat serve --archive FOLDER'); masters from elsewhere are found again by
'negcat ingest masters_from_elsewhere --archive FOLDER'.
"""

Watch = Callable[[Iterator["PackedMaster"], int], contextlib.AbstractContextManager[Any]]


@dataclass(frozen=True)
class PackedMaster:
    """What became of a master.

    Parameters
    ----------
    what, scan, shows : as :class:`~negcat.catalogue.Master`.
    status : ``copied``; ``left out``: to be fetched; ``missing``, ``changed`` or ``unreadable``: not in the bag.
    path : where it lies.
    bag_path : where it is, or goes, in the bag; None where it isn't.
    sha256 : of what was taken; None where it isn't known.
    reason : what was found instead; None where all is well.
    """

    what: str
    scan: str | None
    shows: str | None
    status: Literal["copied", "left out", "missing", "changed", "unreadable"]
    path: str
    bag_path: str | None
    sha256: str | None
    reason: str | None = None

    @property
    def failed(self) -> bool:
        """Whether it is not in the bag though it should be."""
        return self.bag_path is None


@dataclass
class BagLeft:
    """A bag made.

    Parameters
    ----------
    folder : it.
    size_bytes : of its payload.
    counts : status → how many masters.
    failed : those that are not in it.
    """

    folder: Path
    size_bytes: int = 0
    counts: dict[str, int] = field(default_factory=dict)
    failed: list[PackedMaster] = field(default_factory=list)

    def as_json(self) -> dict[str, Any]:
        """Give what ``negcat export bag --json`` prints."""
        return {
            "folder": str(self.folder),
            "bytes": self.size_bytes,
            "masters": self.counts,
            "failed": [asdict(master) for master in self.failed],
        }


def export_bag(archive: Archive, folder: Path, *, masters: bool, watch: Watch | None = None) -> BagLeft:
    """Pack an archive into a bag.

    Parameters
    ----------
    archive : the archive, which is only read.
    folder : where to: nothing is there, or an empty folder.
    masters : whether masters are copied. Where not, the bag lists them as to be fetched from where they are.
    watch : called with the masters as they are packed, and their number; shows how far it has come.

    Returns
    -------
    BagLeft : masters that are missing or changed are named there, and in the bag.

    Raises
    ------
    FileThereError : there is something in the folder, or it can't be made.
    NegcatError : there is no room, or the catalogue is not sound.
    """
    refuse_filled(folder)
    if masters:
        _refuse_without_room(archive, folder)
    left = BagLeft(folder)
    with written_folder(folder) as unfinished:
        bag = Bag(unfinished, ("sha256", "sha512") if masters else ("sha256",))
        copy = bag.place(f"{_ARCHIVE}/{CATALOGUE_NAME}")
        copy.touch()
        copy_catalogue(archive.catalogue.path, copy)
        bag.add(f"{_ARCHIVE}/{CATALOGUE_NAME}")
        with Catalogue.open(copy, readonly=True) as catalogue:
            of_one_moment = Archive(archive.root, catalogue)
            _pack_text(bag, of_one_moment)
            _pack_masters(bag, of_one_moment, left, masters=masters, watch=watch)
        left.size_bytes = bag.close(_info(left))
    return left


def _refuse_without_room(archive: Archive, folder: Path) -> None:
    needed = archive.catalogue.path.stat().st_size * 4 + sum(
        master.size_bytes or 0 for master in masters_leaving(archive.catalogue)
    )
    free = shutil.disk_usage(folder.absolute().parent).free
    if needed > free:
        raise NegcatError(
            f"{folder} would take {needed / 1e9:.1f} GB, and its disk has {free / 1e9:.1f} GB; choose another one, "
            "or add --no-masters"
        )


def _pack_text(bag: Bag, archive: Archive) -> None:
    """Pack what is written from the catalogue."""
    bag.place("data/README.txt").write_text(_READ_ME, encoding="utf-8", newline="\n")
    bag.add("data/README.txt")
    with bag.place("data/catalogue.sql").open("w", encoding="utf-8", newline="\n") as file:
        file.writelines(sql_text(archive.catalogue))
    bag.add("data/catalogue.sql")
    records = bag.place("data/records/records.yaml")
    for file_left in export_records(archive, records).files:
        bag.add(f"data/records/{file_left.name}")
    tables = bag.folder / "data" / "tables"
    tables.mkdir()
    write_tables(archive, tables)
    for table in sorted(tables.iterdir()):
        bag.add(f"data/tables/{table.name}")


def _pack_masters(bag: Bag, archive: Archive, left: BagLeft, *, masters: bool, watch: Watch | None) -> None:
    pack = _copy if masters else _leave

    def packed() -> Iterator[PackedMaster]:
        for master in masters_leaving(archive.catalogue):
            yield pack(bag, archive, master)

    number = sum(1 for _ in masters_leaving(archive.catalogue))
    columns = [one.name for one in fields(PackedMaster)]
    with (
        bag.place(_MASTERS).open("w", encoding="utf-8", newline="") as file,
        watch(packed(), number) if watch else contextlib.nullcontext(packed()) as items,
    ):
        writer = csv.writer(file)
        writer.writerow(columns)
        for item in items:
            writer.writerow([getattr(item, name) for name in columns])
            left.counts[item.status] = left.counts.get(item.status, 0) + 1
            if item.failed:
                left.failed.append(item)
    bag.add(_MASTERS)


def _copy(bag: Bag, archive: Archive, master: Master) -> PackedMaster:
    """Copy a master from the first place where it is found as it was taken."""
    status: Literal["missing", "changed", "unreadable"] = "missing"
    reason = "the file is not there"
    for stored in master.paths:
        source = archive.master_path(stored)
        if isinstance(source, Address):
            try:
                source.look()
            except OSError as error:
                if not isinstance(error, FileNotFoundError):
                    status, reason = "unreadable", f"it can't be looked at ({error.strerror})"
                continue
        elif not source.is_file():
            continue
        path = _bag_path(bag, master, stored)
        try:
            digests = bag.copy(source, path)
        except OSError as error:
            bag.drop(path)
            if _its_own_disk(source, error):
                # The bag's own disk is at fault, or all is: nothing good can come of going on.
                raise
            status, reason = "unreadable", f"it can't be read ({error.strerror})"
            continue
        if master.sha256 in (None, digests["sha256"]):
            bag.add(path, digests)
            return _packed(master, "copied", stored, path, sha256=digests["sha256"])
        bag.drop(path)
        status, reason = "changed", f"its content is not what was taken (SHA-256 {digests['sha256']})"
    return _packed(master, status, master.paths[0], None, reason=reason)


def _its_own_disk(source: Place, error: OSError) -> bool:
    """Tell whether what went wrong is no fault of the master."""
    if isinstance(source, Address):
        return bool(error.filename != source.text)
    if not source.is_file():
        return True
    try:
        scans.sha256_of(source)
    except ScanError:
        return False
    return True


def _leave(bag: Bag, archive: Archive, master: Master) -> PackedMaster:
    """List a master as to be fetched, from the first place where a file of its size is."""
    reason = "the file is not there, or of another size"
    for stored in master.paths:
        source = archive.master_path(stored)
        try:
            if not isinstance(source, Address) and not source.is_file():
                continue
            size = source.stat().st_size
        except OSError as error:
            if not isinstance(error, FileNotFoundError):
                reason = f"it can't be looked at ({error.strerror})"
            continue
        if master.size_bytes not in (None, size):
            continue
        try:
            # What isn't on record has to be read.
            sha256 = master.sha256 or scans.sha256_of(source)
        except ScanError as error:
            reason = str(error)
            continue
        path = _bag_path(bag, master, stored)
        bag.add_elsewhere(path, source.as_uri(), size, sha256)
        return _packed(master, "left out", stored, path, sha256=sha256)
    return _packed(master, "missing", master.paths[0], None, reason=reason)


def _packed(
    master: Master,
    status: Literal["copied", "left out", "missing", "changed", "unreadable"],
    stored: str,
    bag_path: str | None,
    *,
    sha256: str | None = None,
    reason: str | None = None,
) -> PackedMaster:
    return PackedMaster(
        master.what, master.scan, master.shows, status, stored, bag_path, sha256 or master.sha256, reason
    )


def _bag_path(bag: Bag, master: Master, stored: str) -> str:
    """Choose where a master goes: where it lies in the archive, unless not every disk can have it so."""
    parts = PurePosixPath(stored).parts
    inside = f"{_ARCHIVE}/{stored}"
    if (
        not stored.startswith("/")
        and not is_address(stored)
        and all(map(is_plain, parts))
        and len(inside) < 200
        and bag.is_free(inside)
    ):
        return inside
    name, start = plain_name(parts[-1]), master.scan or plain_name(f"{master.what} {master.shows}")
    paths = (f"{_ELSEWHERE}/{start}{more}/{name}" for more in ("", *(f"-{n}" for n in range(2, 10_000))))
    return next(path for path in paths if bag.is_free(path))


def _info(left: BagLeft) -> list[tuple[str, str]]:
    counts = ", ".join(f"{number} {status}" for status, number in sorted(left.counts.items())) or "none"
    return [
        ("Bag-Software-Agent", f"negcat {__version__}"),
        ("Bagging-Date", datetime.now(UTC).date().isoformat()),
        (
            "External-Description",
            "A photographer's negative archive: field records, findings, catalogue and masters.",
        ),
        ("Masters", counts),
        *(
            (
                "Master-Not-In-Bag",
                f"{one.status}: {one.what} {one.scan or ''} of {one.shows or 'unknown'}, {one.path}",
            )
            for one in left.failed
        ),
    ]
