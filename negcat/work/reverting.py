"""Bringing a record back to what it was: a change like any other, kept in the history like any other."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from negcat.catalogue import Catalogue
from negcat.catalogue.rows import kind_named
from negcat.errors import NegcatError, RecordError, UnknownNameError
from negcat.work.archive import Archive
from negcat.work.editing import state_of
from negcat.work.history import history_of, named
from negcat.work.naming import RemovedSheetError
from negcat.work.taking import Outcome, take_record_data

__all__ = ["OutdatedHistoryError", "Reverted", "refuse_outdated", "revert"]


class OutdatedHistoryError(NegcatError):
    """A record was changed since somebody looked at its history."""

    def __init__(self, name: str) -> None:
        super().__init__(
            f"{name} was changed meanwhile, so nothing was written; look at its history and send it again"
        )


@dataclass(frozen=True)
class Reverted:
    """What bringing a record back did.

    Parameters
    ----------
    kind, name : of the record.
    number : the change it stands as after now.
    changed : whether it stood otherwise before.
    outcome : what taking it did.
    """

    kind: str
    name: str
    number: int
    changed: bool
    outcome: Outcome

    def as_json(self) -> dict[str, Any]:
        """Give what ``negcat revert --json`` prints."""
        return {
            "kind": self.kind,
            "name": self.name,
            "to": self.number,
            "changed": self.changed,
            "warnings": list(self.outcome.warnings),
        }


def refuse_outdated(catalogue: Catalogue, kind: str, name: str, seen: str | None) -> None:
    """Refuse what was decided on a state of a record that is no longer.

    Parameters
    ----------
    seen : :func:`negcat.work.editing.state_of` the record when somebody looked at it; None: nobody did.

    Raises
    ------
    OutdatedHistoryError : it stands otherwise now.
    """
    record = catalogue.record(kind, name)
    if seen is not None and (record is None or state_of(record) != seen):
        raise OutdatedHistoryError(name)


def revert(
    archive: Archive, kind: str, name: str, number: int, *, via: str = "revert", seen: str | None = None
) -> Reverted:
    """Bring a record back to what it was after one of the changes in its history.

    All that rests on it is computed anew. Scans stay joined as they are.

    Parameters
    ----------
    archive : the archive, open for writing.
    kind, name : which record, as somebody typed it.
    number : the number of the change.
    via : the way in, kept in the history with the number.
    seen : the mark of the record as somebody looked at it; None: nobody did.

    Raises
    ------
    UnknownNameError : there is no such record, or no change of that number.
    OutdatedHistoryError : the record was changed since it was looked at. Nothing is written.
    NegcatError : what it refers to is there no longer, or it was removed. Nothing is written.
    """
    catalogue = archive.catalogue
    kind, name = named(archive, kind, name)
    if kind == "scan":
        raise NegcatError(f"a scan is joined anew with 'negcat match {name} SHEET'")
    of = kind_named(kind)
    same = False

    def look() -> Mapping[str, Any]:
        nonlocal same
        removed = catalogue.removed_sheet(name) if kind == "sheet" else None
        if removed is not None:
            raise RemovedSheetError(removed["sheet"], removed["removed_at"])
        refuse_outdated(catalogue, of.name, name, seen)
        then = _state_after(archive, kind, name, number)
        current = catalogue.record(of.name, name)
        assert current is not None
        same = current.model_dump(mode="json", exclude_none=True) == then
        return {of.name: [then]}

    try:
        outcome = take_record_data(
            archive, {}, via=f"{via} --to {number}", name=f"change {number} of {name}", look=look
        )
    except RecordError as error:
        said = "; ".join(fault.what for fault in error.faults)
        raise NegcatError(f"{kind} {name} can't be brought back to change {number}: {said}") from error
    return Reverted(kind, name, number, not same, outcome)


def _state_after(archive: Archive, kind: str, name: str, number: int) -> Mapping[str, Any]:
    """Give a record as it was after a change."""
    changes = history_of(archive, kind, name)
    if not 1 <= number <= len(changes):
        count = f"{len(changes)} changes" if len(changes) > 1 else "one change"
        raise UnknownNameError(
            f"the history of {kind} {name} has {count} and no number {number}; list it with "
            f"'{'negcat show ' + name + ' --history' if kind == 'sheet' else 'negcat history'}'"
        )
    last = next(change for change in changes if change.number <= number and change.what != "scan")
    if last.new is None:
        raise NegcatError(
            f"by change {number} {kind} {name} was removed; 'negcat remove {name}' removes it again"
        )
    return last.new
