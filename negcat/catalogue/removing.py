"""Sheets that were removed, and how they are brought back exactly as they were.

Removing a sheet is a mark that can be undone, though no question asked of the sheets has to know of it: all its rows
leave their tables, whatever tables those are, and are kept as a whole in ``removed_sheets``. Its scans wait.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from negcat.catalogue.connection import now
from negcat.catalogue.masters import MastersKept
from negcat.catalogue.rows import as_json
from negcat.catalogue.taking import RecordsTaken
from negcat.errors import ArchiveError, UnknownNameError

__all__ = ["PutBack", "RemovedKept", "removed_reason"]

_ROWID = "rowid"
_NOTHING = "null"
_LISTED = "sheet, removed_at, removed_via, record, scans"

Rows = dict[str, list[dict[str, Any]]]


@dataclass(frozen=True)
class PutBack:
    """What bringing a sheet back did.

    Parameters
    ----------
    scans : the scans that are its own again.
    elsewhere : scan → the sheet that it was joined to meanwhile, and stays with.
    lost_batches : batches it was in which are no longer on record.
    unchanged : whether nothing was changed meanwhile, so that what was found of it still holds.
    """

    scans: tuple[str, ...]
    elsewhere: Mapping[str, str]
    lost_batches: tuple[str, ...]
    unchanged: bool


def removed_reason(sheet: str) -> str:
    """Say why a scan of a removed sheet waits."""
    return f"its sheet {sheet} was removed"


class RemovedKept(RecordsTaken, MastersKept):
    """How sheets are removed and brought back."""

    def remove_sheet(self, sheet: str, via: str) -> list[str]:
        """Take a sheet out of all tables, and keep it whole.

        Parameters
        ----------
        sheet : its id.
        via : the way in, kept in the history.

        Returns
        -------
        The scans that are parted from it, and wait.

        Raises
        ------
        UnknownNameError : there is no such sheet.
        """
        with self.writing() as database:
            record = self.record("sheets", sheet)
            if record is None:
                raise UnknownNameError(f"the archive holds no sheet {sheet!r}")
            rows = self._rows_hanging_on(sheet)
            joined = self.rows(
                "select scan, joined_by, reason from scans where sheet = ? order by taken_order", [sheet]
            )
            scans = [str(row["scan"]) for row in joined]
            place = self.value("select id from sheet_search where sheet = ?", [sheet])
            batches = self._batches(rows)
            for scan in scans:
                self.join_scan(scan, None, joined_by=None, reason=removed_reason(sheet), via=via)
            database.execute("delete from sheets where sheet = ?", [sheet])
            at = now()
            self.note_changes([("sheets", sheet, at, via, as_json(record), _NOTHING)])
            self._note_batches(batches, at, via)
            database.table("removed_sheets").insert(
                {
                    "sheet": sheet,
                    "removed_at": at,
                    "removed_via": via,
                    "record": as_json(record),
                    "scans": json.dumps(joined, ensure_ascii=False),
                    "rows": json.dumps({"place": place, "tables": rows}, ensure_ascii=False),
                    "state": self._state_of_all_else(),
                }
            )
            database.conn.executemany(
                "insert into removed_sheet_scans (sheet, scan) values (?, ?)",
                [(sheet, scan) for scan in scans],
            )
        return scans

    def put_back_sheet(self, sheet: str, via: str) -> PutBack:
        """Bring a removed sheet back as it was.

        Parameters
        ----------
        sheet : its id.
        via : the way in, kept in the history.

        Returns
        -------
        What came of it. Where something was changed meanwhile, the sheet is marked as out of date.

        Raises
        ------
        UnknownNameError : no such sheet was removed.
        ArchiveError : what its record refers to is there no longer. Nothing is changed then.
        """
        with self.writing() as database:
            kept = self.row("select * from removed_sheets where sheet = ?", [sheet])
            if kept is None:
                raise UnknownNameError(f"no sheet {sheet!r} was removed")
            if self.value("select 1 from sheets where sheet = ?", [sheet]) is not None:
                raise ArchiveError(f"there is another sheet {sheet} by now; give that one another id first")
            unchanged = kept["state"] == self._state_of_all_else()
            rows = json.loads(kept["rows"])
            tables: Rows = rows["tables"]
            batches = self._batches(tables)
            lost = [batch for batch, record in batches.items() if record is None]
            of_batches = [row for row in tables.pop("development_sheets", []) if row["batch"] not in lost]
            # The sheet itself comes last: all that it is searched by is there by then.
            itself = tables.pop("sheets")
            for table, waiting in tables.items():
                self._insert_rows(table, waiting)
            self._insert_rows("sheets", itself)
            self._into_batches(of_batches)
            at = now()
            self.note_changes([("sheets", sheet, at, via, _NOTHING, kept["record"])])
            self._note_batches({batch: record for batch, record in batches.items() if record}, at, via)
            own, elsewhere = [], {}
            for scan in json.loads(kept["scans"]):
                other = self.row("select sheet from scans where scan = ?", [scan["scan"]])
                if other is not None and other["sheet"] is None:
                    self.join_scan(scan["scan"], sheet, joined_by=scan["joined_by"], via=via)
                    own.append(scan["scan"])
                elif other is not None:
                    elsewhere[scan["scan"]] = other["sheet"]
            self._place_in_search(sheet, rows["place"])
            database.execute("delete from removed_sheets where sheet = ?", [sheet])
            if not unchanged:
                self.mark_out_of_date([sheet])
            elif not tables.get("out_of_date"):
                database.execute("delete from out_of_date where sheet = ?", [sheet])
        return PutBack(tuple(own), elsewhere, tuple(lost), unchanged)

    def removed_sheets(self) -> list[dict[str, Any]]:
        """List the sheets that were removed, the last one first.

        Returns
        -------
        ``{"sheet", "removed_at", "removed_via", "record", "scans"}``: the record as its file would say it, the
        scans as ``{"scan", "joined_by", "reason"}``.
        """
        sql = f"select {_LISTED} from removed_sheets order by removed_at desc, rowid desc"
        return [_listed(row) for row in self.rows(sql)]

    def removed_sheet(self, written: str) -> dict[str, Any] | None:
        """Give a removed sheet as :meth:`removed_sheets` lists it, case aside where that leaves one; else None."""
        sql = (
            f"select {_LISTED} from removed_sheets where sheet = ? collate nocase order by sheet <> ? limit 2"
        )
        found = self.rows(sql, [written, written])
        return _listed(found[0]) if found and (len(found) == 1 or found[0]["sheet"] == written) else None

    def removed_ids(self) -> list[str]:
        """List the ids of the sheets that were removed."""
        return [sheet for (sheet,) in self.tuples("select sheet from removed_sheets order by rowid")]

    def removed_whole(self) -> Iterator[dict[str, Any]]:
        """Read the removed sheets with everything that is kept of them, in the order they were removed.

        Returns
        -------
        As :meth:`removed_sheets`, with ``tables``: table → its rows, each column → value, and ``rowid``.
        """
        for sheet in self.removed_ids():
            row = self.row(f"select {_LISTED}, rows from removed_sheets where sheet = ?", [sheet])
            if row is not None:
                yield {**_listed(row), "tables": json.loads(row["rows"])["tables"]}

    def removed_sheet_of(self, scan: str) -> str | None:
        """Name the removed sheet that a scan was of, the one removed last; None where there is none."""
        found = self.value(
            "select m.sheet from removed_sheet_scans m join removed_sheets r on r.sheet = m.sheet"
            " where m.scan = ? order by r.removed_at desc, r.rowid desc limit 1",
            [scan],
        )
        return None if found is None else str(found)

    # Rows ---------------------------------------------------------------------------------------------------

    def _rows_hanging_on(self, sheet: str) -> Rows:
        """Read the rows that go with a sheet when it goes: its own, and all that are deleted along with them."""
        children = self._deleted_along()
        found: Rows = {}
        waiting = [
            ("sheets", row)
            for row in self.rows(f"select {_ROWID} as {_ROWID}, * from sheets where sheet = ?", [sheet])
        ]
        while waiting:
            table, row = waiting.pop()
            if row in found.setdefault(table, []):
                continue
            found[table].append(row)
            for child, columns in children.get(table, ()):
                condition = " and ".join(f"{own} = ?" for own, _ in columns)
                values = [row[of] for _, of in columns]
                sql = f"select {_ROWID} as {_ROWID}, * from {child} where {condition} order by {_ROWID}"
                waiting += [(child, one) for one in self.rows(sql, values)]
        return {table: sorted(rows, key=lambda row: row[_ROWID]) for table, rows in found.items()}

    def _deleted_along(self) -> dict[str, list[tuple[str, list[tuple[str, str]]]]]:
        """Tell which tables' rows are deleted along with a row of each table, and by which columns."""
        found: dict[str, list[tuple[str, list[tuple[str, str]]]]] = {}
        references: dict[tuple[str, str, int], list[tuple[str, str]]] = {}
        for table, parent, number, own, of in self.tuples(
            'select t.name, f."table", f.id, f."from", f."to" from sqlite_master t'
            " join pragma_foreign_key_list(t.name) f where t.type = 'table' and f.on_delete = 'CASCADE'"
            " order by t.name, f.id, f.seq"
        ):
            references.setdefault((table, parent, number), []).append((own, of))
        for (table, parent, _), columns in references.items():
            found.setdefault(parent, []).append((table, columns))
        return found

    def _insert_rows(self, table: str, rows: list[dict[str, Any]]) -> None:
        """Put rows back, each at its old place where that is still free."""
        numbered = self.value(
            "select 1 from pragma_table_info(?) where pk = 1 and upper(type) = 'INTEGER'", [table]
        )
        for row in rows:
            values = dict(row)
            if numbered or self.value(f"select 1 from {table} where {_ROWID} = ?", [row[_ROWID]]):
                del values[_ROWID]
            self.database.conn.execute(
                f"insert into {table} ({', '.join(values)}) values ({', '.join('?' * len(values))})",
                list(values.values()),
            )

    def _into_batches(self, rows: list[dict[str, Any]]) -> None:
        """Put a sheet back among the sheets of its batches, at its old place."""
        for row in rows:
            at = [row["batch"], row["position"]]
            if self.value("select 1 from development_sheets where batch = ? and position = ?", at):
                # The batch's record was written anew meanwhile, and its sheets have moved up.
                self.database.execute(
                    "update development_sheets set position = position + 1 where batch = ? and position >= ?",
                    at,
                )
        self._insert_rows("development_sheets", rows)

    def _place_in_search(self, sheet: str, place: int) -> None:
        """Give a sheet its old place in the order of sheets, where that is still free."""
        row = self.row("select * from sheet_search where sheet = ?", [sheet])
        assert row is not None  # a trigger wrote it
        if row["id"] == place or self.value("select 1 from sheet_search where id = ?", [place]):
            return
        self.database.execute("delete from sheet_search where sheet = ?", [sheet])
        self.database.table("sheet_search").insert({**row, "id": place})

    def _batches(self, tables: Rows) -> dict[str, str | None]:
        """Give the records of the batches that rows speak of, as they stand; None for one that is gone."""
        found: dict[str, str | None] = {}
        for row in tables.get("development_sheets", ()):
            record = self.record("developments", row["batch"])
            found[row["batch"]] = as_json(record) if record is not None else None
        return found

    def _note_batches(self, before: Mapping[str, str | None], at: str, via: str) -> None:
        for batch, old in before.items():
            record = self.record("developments", batch)
            assert record is not None
            assert old is not None
            self.note_changes([("developments", batch, at, via, old, as_json(record))])

    def _state_of_all_else(self) -> str:
        """Give a mark that changes with anything that what is found of a sheet may rest on."""
        return json.dumps(
            [
                self.value(f"select max({column}) from {table}")
                for table, column in (
                    ("history", "id"),
                    ("profiles", "id"),
                    ("dated_changes", "id"),
                    ("scans", "taken_order"),
                )
            ]
        )


def _listed(row: Mapping[str, Any]) -> dict[str, Any]:
    listed = {name: row[name] for name in ("sheet", "removed_at", "removed_via")}
    return {**listed, "record": json.loads(row["record"]), "scans": json.loads(row["scans"])}
