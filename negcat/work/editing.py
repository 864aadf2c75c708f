"""A sheet's record taken from a form: a new one never over another, a changed one never over a change unseen."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from negcat.catalogue import Catalogue
from negcat.errors import Fault, NegcatError, RecordError
from negcat.records import Record, Sheet, load_data
from negcat.work.archive import Archive
from negcat.work.calculating import names_for_a_sheet
from negcat.work.drafting import taken_id
from negcat.work.naming import known_sheet
from negcat.work.taking import Outcome, take_record_data
from negcat.work.writing_out import written_out

__all__ = ["Changed", "OutdatedRecordError", "enter_changed", "enter_new", "state_of"]

_NAME = "the form"


@dataclass(frozen=True)
class Changed:
    """A field that somebody else changed while it was being edited.

    Parameters
    ----------
    field : the field of the sheet's record.
    was, now : what it said when editing began, and says now; None for blank.
    kept : whether what was typed differs from both and stands.
    """

    field: str
    was: Any
    now: Any
    kept: bool


class OutdatedRecordError(NegcatError):
    """The record was changed since it was laid out for editing.

    Parameters
    ----------
    sheet : its id.
    at, via : when and by which way in it was changed last.
    changed : what was.
    record : the record as it is now, with what was typed in it.
    state : the mark of the record as it is now.
    """

    def __init__(
        self,
        sheet: str,
        at: str | None,
        via: str | None,
        changed: Sequence[Changed],
        record: Mapping[str, Any],
        state: str,
    ) -> None:
        super().__init__(
            f"sheet {sheet} was changed meanwhile, so nothing was written; look at what was changed and save again"
        )
        self.sheet, self.at, self.via = sheet, at, via
        self.changed, self.record, self.state = tuple(changed), record, state


def state_of(record: Record) -> str:
    """Give a mark by which this very state of a record is known again."""
    return _mark(record.model_dump(mode="json", exclude_none=True))


def _mark(document: Mapping[str, Any]) -> str:
    plain = json.dumps(document, sort_keys=True, ensure_ascii=False)
    return hashlib.sha256(plain.encode("utf-8", "surrogatepass")).hexdigest()[:24]


def enter_new(archive: Archive, written: Mapping[str, Any], *, via: str) -> tuple[str, Outcome]:
    """Take the record of a new sheet.

    Parameters
    ----------
    archive : the archive, open for writing.
    written : the record as plain data.
    via : the way in, kept in the history.

    Returns
    -------
    The sheet's id, and what became of it. The very same record once more, as from a button pressed twice,
    changes nothing.

    Raises
    ------
    RecordError : the record has faults, or its id is another sheet's.
    """
    data = {"sheets": [written]}

    def look() -> None:
        taken = taken_id(archive.catalogue, written.get("sheet"))
        if taken is None:
            return
        faults: Sequence[Fault] = ()
        try:
            record = load_data(data, names_for_a_sheet(archive.catalogue), _NAME).sheets[0]
        except RecordError as error:
            record, faults = None, error.faults
        if record is None or record != archive.catalogue.sheet(record.sheet):
            raise RecordError([taken, *faults])

    outcome = take_record_data(archive, data, via=via, name=_NAME, look=look)
    return str(written["sheet"]).strip(), outcome


def enter_changed(
    archive: Archive,
    sheet: str,
    written: Mapping[str, Any],
    *,
    shown: Collection[str],
    state: str,
    via: str,
) -> tuple[str, Outcome]:
    """Take the record of a sheet that was laid out for editing.

    Parameters
    ----------
    archive : the archive, open for writing.
    sheet : the sheet's id, case aside.
    written : the record as it was typed.
    shown : the fields that were laid out; a field that wasn't stays as it is, and one that was and is blank
        now is taken out of the record.
    state : :func:`state_of` the record as it was laid out.
    via : the way in, kept in the history.

    Raises
    ------
    OutdatedRecordError : the record was changed since, and not to what was typed. Nothing is written.
    RecordError : what was typed has faults.
    UnknownNameError : there is no such sheet.
    """
    catalogue = archive.catalogue
    sheet = known_sheet(catalogue, sheet).sheet

    def look() -> Mapping[str, Any]:
        current = known_sheet(catalogue, sheet)
        now = state_of(current)
        base = current if now == state else _earlier(catalogue, sheet, state)
        changed, typed = _compare(base, current, written, shown)
        if now != state and any(value != written_out(current).get(name) for name, value in typed.items()):
            last = catalogue.history("sheets", sheet)[0]
            laid_out = {**written_out(current), **typed}
            raise OutdatedRecordError(sheet, last["at"], last["via"], changed, laid_out, now)
        # What wasn't touched goes back exactly as it is, whatever its text leaves unsaid.
        record = {**current.model_dump(mode="json", exclude_none=True), **typed}
        return {"sheets": [{name: value for name, value in record.items() if value is not None}]}

    return sheet, take_record_data(archive, {}, via=via, name=_NAME, look=look)


def _earlier(catalogue: Catalogue, sheet: str, state: str) -> Sheet | None:
    """Find an earlier state of a record in its history."""
    for change in catalogue.history("sheets", sheet):
        for document in (change["old"], change["new"]):
            if document is not None and _mark(document) == state:
                try:
                    return Sheet.model_validate(document)
                except ValidationError:  # an older negcat took what this one wouldn't
                    return None
    return None


def _compare(
    base: Sheet | None, current: Sheet, written: Mapping[str, Any], shown: Collection[str]
) -> tuple[list[Changed], dict[str, Any]]:
    """Compare a record as it was laid out, as it is now and as it was typed.

    Returns
    -------
    What was changed meanwhile, and the fields that were typed otherwise than they were laid out; None for one
    that was emptied.
    """
    now = written_out(current)
    was = written_out(base) if base else now
    # What no record knows is handed on, to be refused by its name.
    typed = {name: value for name, value in written.items() if name not in Sheet.model_fields}
    changed = []
    for name in Sheet.model_fields:
        touched = name != "sheet" and name in shown and written.get(name) != was.get(name)
        if touched:
            typed[name] = written.get(name)
        differs = touched if base is None else now.get(name) != was.get(name)
        if differs:
            kept = touched and written.get(name) != now.get(name)
            changed.append(Changed(name, was.get(name) if base else None, now.get(name), kept))
    return changed, typed
