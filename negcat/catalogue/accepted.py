"""What was accepted of a review, carried from archive to archive: taken from record files, and given back as such."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import fields
from typing import Any

from negcat.catalogue.findings import FindingsKept
from negcat.catalogue.reviewing import AdvisedTime, DatedChange
from negcat.notation import Tag
from negcat.records import AcceptedChange, AcceptedTime, Record, Records

__all__ = ["BLANK", "AcceptedKept"]

_LISTS: Mapping[str, tuple[type[Record], tuple[str, ...]]] = {
    "dated_changes": (AcceptedChange, tuple(field.name for field in fields(DatedChange))),
    "advised_times": (AcceptedTime, tuple(field.name for field in fields(AdvisedTime))),
}
"""The list of a record file, which is also the table: its model and its columns."""

_JSON = ("before", "after")
BLANK = ("advice", "sentence", "accepted_at", "accepted_via")
"""Columns that hold empty text where nothing is known."""


class AcceptedKept(FindingsKept):
    """How what was accepted comes in by record files, and goes out by them."""

    def accepted(self, name: str) -> list[Record]:
        """Give what was accepted as a record file says it, the earliest first.

        Parameters
        ----------
        name : its list: ``dated_changes`` or ``advised_times``.
        """
        model, columns = _LISTS[name]
        return [
            model.model_validate(_as_recorded(row))
            for row in self.rows(f"select {', '.join(columns)} from {name} order by id")
        ]

    def _take_accepted(
        self,
        records: Sequence[Records],
        ways: Sequence[str],
        at: str,
        added: dict[str, int],
        unchanged: dict[str, int],
        changed_sheets: set[str],
    ) -> None:
        """Keep what was accepted and isn't kept yet; count it, and note which sheets must be computed anew."""
        for name in _LISTS:
            found = [
                (record, via)
                for file, via in zip(records, ways, strict=True)
                for record in getattr(file, name)
            ]
            known = self.accepted(name) if found else []
            for record, via in found:
                whole = record.model_copy(
                    update={
                        "accepted_at": getattr(record, "accepted_at", None) or at,
                        "accepted_via": getattr(record, "accepted_via", None) or via,
                    }
                )
                if whole in known:
                    unchanged[name] = unchanged.get(name, 0) + 1
                    continue
                known.append(whole)
                self.database.table(name).insert(_as_kept(whole))
                added[name] = added.get(name, 0) + 1
                if isinstance(whole, AcceptedChange):
                    changed_sheets.update(self._concerned(whole))

    def _concerned(self, change: AcceptedChange) -> list[str]:
        return [
            sheet
            for (sheet,) in self.tuples(
                "select sheet from sheets where film = :film or lens = :lens and coalesce(cell, :cell) = :cell"
                " or lens in (select name from lenses where shutter = :shutter)",
                {"film": change.film, "lens": change.lens, "cell": change.cell, "shutter": change.shutter},
            )
        ]


def _as_recorded(row: Mapping[str, Any]) -> dict[str, Any]:
    fields: dict[str, Any] = {}
    for name, value in row.items():
        if value is None or value == "":
            continue
        if name in _JSON:
            value = json.loads(value)
        elif name == "tag":
            value = Tag(value, row["tag_n"])
        if name != "tag_n":
            fields[name] = value
    return fields


def _as_kept(record: Record) -> dict[str, Any]:
    row = record.model_dump(mode="json")
    for name in _JSON:
        if row.get(name) is not None:
            row[name] = json.dumps(row[name], ensure_ascii=False)
    if isinstance(record, AcceptedTime):
        row |= {"tag": record.tag.text, "tag_n": record.tag.n}
    return {name: "" if value is None and name in BLANK else value for name, value in row.items()}
