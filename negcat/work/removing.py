"""Removing a sheet, which is a mark, and taking the mark off again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from negcat.catalogue import Catalogue
from negcat.errors import ArchiveError, NegcatError
from negcat.work.archive import Archive
from negcat.work.catching_up import catch_up
from negcat.work.history import way_in
from negcat.work.naming import known_sheet, unknown
from negcat.work.reverting import refuse_outdated
from negcat.work.waiting import join_waiting

__all__ = [
    "BroughtBack",
    "Removed",
    "bring_back",
    "known_removed",
    "remove",
    "removed_json",
    "removed_sheets",
]


@dataclass(frozen=True)
class Removed:
    """A sheet that was removed, and the scans that wait for it to be brought back."""

    sheet: str
    scans: tuple[str, ...]


@dataclass(frozen=True)
class BroughtBack:
    """A sheet that was brought back.

    Parameters
    ----------
    sheet : its id.
    scans : the scans that are its own again.
    warnings : sentences on what could not be as it was.
    """

    sheet: str
    scans: tuple[str, ...]
    warnings: tuple[str, ...]


def remove(archive: Archive, sheet: str, *, via: str = "remove", seen: str | None = None) -> Removed:
    """Remove a sheet, so that nothing but its history and the list of removed sheets knows of it.

    Parameters
    ----------
    archive : the archive, open for writing.
    sheet : its id, case aside.
    via : the way in, kept in the history.
    seen : the mark of its record as somebody looked at it; None: nobody did.

    Raises
    ------
    UnknownNameError : there is no such sheet, or it is removed already.
    OutdatedHistoryError : it was changed since it was looked at. Nothing is written.
    """
    catalogue = archive.catalogue
    with catalogue.writing():
        sheet = known_sheet(catalogue, sheet).sheet
        refuse_outdated(catalogue, "sheets", sheet, seen)
        others = _borrowing(catalogue, sheet)
        scans = catalogue.remove_sheet(sheet, via)
        catalogue.mark_out_of_date(others)
    catch_up(archive, via)
    return Removed(sheet, tuple(scans))


def bring_back(archive: Archive, sheet: str, *, via: str = "remove --undo") -> BroughtBack:
    """Bring a removed sheet back as it was, with its scans and its place in its batches.

    Parameters
    ----------
    archive : the archive, open for writing.
    sheet : its id, case aside.
    via : the way in, kept in the history.

    Raises
    ------
    UnknownNameError : no such sheet was removed.
    ArchiveError : what it refers to is there no longer. Nothing is written.
    """
    catalogue = archive.catalogue
    sheet = known_removed(catalogue, sheet)["sheet"]
    try:
        with catalogue.writing():
            done = catalogue.put_back_sheet(sheet, via)
            catalogue.mark_out_of_date(_borrowing(catalogue, sheet))
    except ArchiveError as error:
        raise ArchiveError(f"sheet {sheet} can't be brought back: {error}") from error
    joined = join_waiting(archive, via)
    away = catch_up(archive, via).away
    warnings = [
        f"Scan {scan} was joined to {other} meanwhile and stays with it; 'negcat match {scan} {sheet}' joins it anew."
        for scan, other in done.elsewhere.items()
    ]
    warnings += [f"Batch {batch}, in which it was, is on record no longer." for batch in done.lost_batches]
    if sheet in away:
        warnings.append("Its master is away, so what is found of it stands as it was before it was removed.")
    scans = [*done.scans, *(scan for one, scan in joined if one == sheet)]
    return BroughtBack(sheet, tuple(scans), tuple(warnings))


def known_removed(catalogue: Catalogue, sheet: str) -> dict[str, Any]:
    """Give a removed sheet by its id, case aside, as :func:`removed_sheets` lists it.

    Raises
    ------
    UnknownNameError : no such sheet was removed.
    """
    found = catalogue.removed_sheet(sheet)
    if found is None:
        there = catalogue.sheet_id(sheet)
        if there is not None:
            raise NegcatError(f"sheet {there} is not removed")
        raise unknown(catalogue, "sheet", sheet)
    return _told(found)


def removed_sheets(archive: Archive) -> list[dict[str, Any]]:
    """List the removed sheets, the last one first.

    Returns
    -------
    ``{"sheet", "removed_at", "removed_via", "way", "record", "scans"}``.
    """
    return [_told(one) for one in archive.catalogue.removed_sheets()]


def removed_json(archive: Archive) -> dict[str, Any]:
    """Give what ``negcat remove --list --json`` prints."""
    sheets = removed_sheets(archive)
    return {"count": len(sheets), "sheets": sheets}


def _told(one: Mapping[str, Any]) -> dict[str, Any]:
    scans = [scan["scan"] for scan in one["scans"]]
    return {**one, "way": way_in(one["removed_via"]), "scans": scans}


def _borrowing(catalogue: Catalogue, sheet: str) -> list[str]:
    """List the other sheets whose base+fog may rest on what this one's scan shows of its batch."""
    return [other for other in catalogue.sheets_borrowing_base_fog([sheet]) if other != sheet]
