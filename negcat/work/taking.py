"""Take record files: whole or not at all, then bring up to date what they touch."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast

from negcat.catalogue import Taken
from negcat.records import Sheet, collecting_later, load_data, load_files
from negcat.work import scanned
from negcat.work.archive import Archive
from negcat.work.believing import set_back
from negcat.work.catching_up import catch_up
from negcat.work.holders import contradictions
from negcat.work.new_sheets import FindingsOfNew

__all__ = ["Outcome", "take_record_data", "take_record_files"]


@dataclass(frozen=True)
class Outcome:
    """What became of record files.

    Parameters
    ----------
    added, updated, unchanged : list name → how many records.
    joined : (sheet, scan) of scans that waited for one of these sheets.
    warnings : sentences on what the records make doubtful.
    """

    added: Mapping[str, int]
    updated: Mapping[str, int]
    unchanged: Mapping[str, int]
    joined: Sequence[tuple[str, str]]
    warnings: Sequence[str] = ()

    def as_json(self) -> dict[str, Any]:
        """Give what ``negcat record --json`` prints."""
        return {
            "added": dict(self.added),
            "updated": dict(self.updated),
            "unchanged": dict(self.unchanged),
            "joined": [{"sheet": sheet, "scan": scan} for sheet, scan in self.joined],
            "warnings": list(self.warnings),
        }


def take_record_files(archive: Archive, files: Sequence[Path], *, via: str = "record") -> Outcome:
    """Take record files into the archive.

    Parameters
    ----------
    archive : the archive.
    files : YAML, JSON or CSV files; they may refer to each other.
    via : the way in, kept in the history with the file's name.

    Raises
    ------
    RecordError : any file has a fault; every fault of every file is named and nothing is taken.
    """
    catalogue = archive.catalogue
    # A name that is no UTF-8 can't be kept as it is.
    ways = [f"{via} {file.name.encode('utf-8', 'replace').decode()}" for file in files]
    with collecting_later():
        loaded = load_files(files, catalogue.known_names())
        taken = catalogue.take(loaded, via=ways, compute=FindingsOfNew(catalogue))
    del loaded
    return _follow_up(archive, taken, via)


def take_record_data(
    archive: Archive,
    data: Mapping[str, Any],
    *,
    via: str,
    name: str = "record",
    look: Callable[[], Mapping[str, Any] | None] | None = None,
) -> Outcome:
    """Take records in hand into the archive, as :func:`take_record_files` takes those of a file.

    Parameters
    ----------
    archive : the archive.
    data : what a record file would hold: a mapping of lists of mappings.
    via : the way in, kept in the history.
    name : what to call the data in a fault, where a file's path would stand.
    look : called before anything is read or written, with nobody else able to write until all is; it may
        refuse by raising, or give other data to take instead.

    Raises
    ------
    RecordError : the data has a fault; every fault is named and nothing is taken.
    """
    catalogue = archive.catalogue
    with catalogue.writing():
        data = (look() if look else None) or data
        loaded = load_data(data, catalogue.known_names(), name)
        taken = catalogue.take([loaded], via=via, compute=FindingsOfNew(catalogue))
    return _follow_up(archive, taken, via)


def _follow_up(archive: Archive, taken: Taken, via: str) -> Outcome:
    """Join the scans that waited for what was taken, and bring up to date all that it touches."""
    catalogue = archive.catalogue
    done = catch_up(archive, via)
    joined, away = done.joined, done.away
    warnings = _outdated_profiles(archive, [name for kind, name in taken.changed if kind == "tablets"])
    if away:
        warnings.append(
            f"{len(away)} sheets could not be measured again, because their masters are away ({_listed(away)}); "
            "bring them back and run 'negcat measure'."
        )
    warnings += _contradicted_holders(archive, taken)
    warnings += set_back(catalogue, taken.changed)
    return Outcome(taken.added, taken.updated, taken.unchanged, joined, warnings)


def _contradicted_holders(archive: Archive, taken: Taken) -> list[str]:
    """Say which of the sheets just recorded contradict what their holders are loaded with."""
    catalogue = archive.catalogue
    if not catalogue.names("holders"):
        return []
    names = [name for kind, name in taken.changed if kind == "sheets"]
    return contradictions(catalogue, cast("list[Sheet]", catalogue.records("sheets", names)))


def _outdated_profiles(archive: Archive, tablets: Sequence[str]) -> list[str]:
    """Say which profiles in use were made from other densities than tablets now have."""
    if not tablets:
        return []
    catalogue = archive.catalogue
    said = {}
    for row in catalogue.profiles():
        # The newest of each kind counts: calibrating again puts a new one in its place.
        kind = (row["scanner"], row["bits"], row["mode"], row["channel"], row["scanned_at"][:10])
        if kind not in said:
            profile = scanned.profile_from(row)
            said[kind] = scanned.tablet_changed(catalogue, profile) if row["tablet"] in tablets else None
    return list(dict.fromkeys(sentence for sentence in said.values() if sentence))


def _listed(names: Sequence[str]) -> str:
    return ", ".join(names[:3]) + (" …" if len(names) > 3 else "")
