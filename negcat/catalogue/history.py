"""The history: what every record was and became, when, and by which way in; nothing of it is ever dropped.

A record that was removed became nothing, and one that was brought back was nothing before. A scan's part in it
is which sheet it belongs to, by what, and on which scanner it was made.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from negcat.catalogue.connection import CatalogueFile, now
from negcat.catalogue.rows import KINDS

__all__ = ["SCANS", "HistoryKept"]

SCANS = "scans"
"""What the history calls the scans, which are no records."""

_AT_ONCE = 5000
_COLUMNS = "id, kind, name, at, via, old, new"


class HistoryKept(CatalogueFile):
    """How the history is written and read."""

    def note_changes(self, changes: Iterable[tuple[str, str, str, str, str, str]]) -> None:
        """Keep changes of records, as part of whatever is being written.

        Parameters
        ----------
        changes : (list, name, when, way in, before, after), the last two as JSON; ``null`` for a record that
            wasn't there, or is no longer.
        """
        with self.writing() as database:
            database.conn.executemany(
                "insert into history (kind, name, at, via, old, new) values (?, ?, ?, ?, ?, ?)", changes
            )

    def note_scan(self, scan: str, old: Mapping[str, Any], new: Mapping[str, Any], via: str) -> None:
        """Keep that a scan was joined otherwise than before, or is of another scanner.

        Parameters
        ----------
        scan : its id.
        old, new : ``sheet``, ``joined_by``, ``scanner``, as far as they are told; nothing where they are equal.
        via : the way in.
        """
        before, after = (
            {name: one[name] for name in sorted(one) if one[name] is not None} for one in (old, new)
        )
        if before != after:
            was, is_now = (json.dumps(one, ensure_ascii=False) for one in (before, after))
            self.note_changes([(SCANS, scan, now(), via, was, is_now)])

    def changes_of(self, kind: str, name: str) -> list[dict[str, Any]]:
        """List what was changed of a record or a scan, the newest first.

        Parameters
        ----------
        kind : its list, ``films``, or ``scans``. Of a sheet, what was changed of its scans is listed too.
        name : its name or id.

        Returns
        -------
        ``{"id", "kind", "name", "at", "via", "old", "new"}``; ``old`` and ``new`` as a record file would say
        them, None for what wasn't there.
        """
        sql = f"select {_COLUMNS} from history where kind = :kind and name = :name"
        if kind == "sheets":
            # Written so that each part begins at an index.
            was, is_now = "json_extract(old, '$.sheet')", "json_extract(new, '$.sheet')"
            of_scans = f"select {_COLUMNS} from history where kind = 'scans' and"
            sql += f" union all {of_scans} {was} = :name"
            sql += f" union all {of_scans} {is_now} = :name and {was} is not :name"
        return [_read(row) for row in self.rows(f"{sql} order by id desc", {"kind": kind, "name": name})]

    def all_history(self) -> Iterator[dict[str, Any]]:
        """Read the whole history, the oldest change first, a part at a time.

        Returns
        -------
        As :meth:`changes_of`, of every record and scan.
        """
        names = _COLUMNS.split(", ")
        for part in self.in_parts(f"select {_COLUMNS} from history order by id", [], _AT_ONCE):
            for row in part:
                yield _read(dict(zip(names, row, strict=True)))

    def taken_in(self) -> Iterator[tuple[str, str, str, str]]:
        """Read how every record that is there came in first, which no change in the history tells.

        Returns
        -------
        (list, name, when, way in).
        """
        for kind in KINDS:
            sql = f"select {kind.key}, recorded_at, recorded_via from {kind.name} order by rowid"
            for part in self.in_parts(sql, [], _AT_ONCE):
                for name, at, via in part:
                    yield kind.name, name, at, via


def _read(row: dict[str, Any]) -> dict[str, Any]:
    return {**row, "old": json.loads(row["old"]), "new": json.loads(row["new"])}
