"""Taking records: comparing them with what is there, writing what differs, keeping what was.

Taking the same record again changes nothing; a changed one is written over and what it said before is kept
in the history. A season or a collection is compared and written in bulk, in one transaction.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, cast

from negcat.catalogue.accepted import AcceptedKept
from negcat.catalogue.bulk import many_new_sheets
from negcat.catalogue.connection import now
from negcat.catalogue.findings import Findings
from negcat.catalogue.history import HistoryKept
from negcat.catalogue.rows import KINDS, Inner, Kind, Row, as_json, kind_named
from negcat.errors import ArchiveError
from negcat.notation import format_zone
from negcat.records import PrintTarget, Record, Records, Sheet
from negcat.sensitometry import BUILT_IN_TARGETS, DEFAULT_TARGET

__all__ = ["Compute", "RecordsTaken", "Taken", "print_target_densities"]

Compute = Callable[[Sequence[Sheet], str], Iterable[Findings]]
"""Computes new sheets, which have no scan, from their records and the time they are recorded at."""

_AT_ONCE = 2000
"""Records compared at once: memory stays bounded whatever the number taken."""


@dataclass(frozen=True)
class Taken:
    """What taking records did.

    Parameters
    ----------
    added, updated, unchanged : how many records of each list (``films``, ``sheets`` …); lists that had
        none are left out.
    changed_sheets : the sheets whose findings must be computed anew, because they, or what they refer to,
        were added or changed.
    changed : (list, name) of every record added or updated, in the order written.
    """

    added: dict[str, int] = field(default_factory=dict)
    updated: dict[str, int] = field(default_factory=dict)
    unchanged: dict[str, int] = field(default_factory=dict)
    changed_sheets: set[str] = field(default_factory=set)
    changed: list[tuple[str, str]] = field(default_factory=list)


def print_target_densities(zones: Sequence[float], densities: Sequence[float]) -> dict[str, float]:
    """Write a target curve as a print target's record does: zone → density.

    Examples
    --------
    >>> print_target_densities((0.0, 1.0, 4.5), (0.02, 0.1, 0.6))
    {'0': 0.02, 'I': 0.1, 'IV½': 0.6}
    """
    return {format_zone(zone): float(density) for zone, density in zip(zones, densities, strict=True)}


def _built_in_row(kind: Kind, name: str) -> Row:
    """Give the row of a built-in print target's record."""
    curve, _ = BUILT_IN_TARGETS[name]
    densities = print_target_densities(curve.zones, curve.densities)
    return kind.to_row(PrintTarget.model_validate({"name": name, "densities": densities}))


def _parts(
    found: Mapping[str, tuple[Record, str]], names: Sequence[str]
) -> Iterator[dict[str, tuple[Record, str]]]:
    for start in range(0, len(names), _AT_ONCE):
        yield {name: found[name] for name in names[start : start + _AT_ONCE]}


class _Comparison:
    """The records of one kind, told apart: new, changed, as they were."""

    def __init__(self, kind: Kind) -> None:
        self.kind = kind
        self.new: list[tuple[str, Row, list[Row]]] = []
        self.changed: list[tuple[str, Row, list[Row], Row, list[Row]]] = []
        self.same = 0


class RecordsTaken(HistoryKept, AcceptedKept):
    """How records come into the catalogue."""

    def _furnish(self) -> None:
        """Put the built-in print targets in, as records like any other, with their sources said."""
        at = now()
        self.database.table("print_targets").insert_all(
            {
                "name": name,
                "densities": json.dumps(print_target_densities(curve.zones, curve.densities)),
                "source": source,
                "recorded_at": at,
                "recorded_via": "built in",
            }
            for name, (curve, source) in BUILT_IN_TARGETS.items()
        )

    def take(
        self, records: Sequence[Records], via: str | Sequence[str], compute: Compute | None = None
    ) -> Taken:
        """Take records, all or none.

        Parameters
        ----------
        records : the records of any number of files. Where two files have a record of the same name, the
            later one counts.
        via : the way in, kept in the history: ``record notes.yaml``; one for all of them, or one for each.
        compute : computes new sheets, whose findings are then kept along with them; without it, and where it gives
            none for a sheet, they stay marked as out of date.

        Returns
        -------
        What was added, updated, found unchanged, and which sheets must be computed anew.

        Raises
        ------
        ArchiveError : a lens leaves out a cell that sheets refer to, or the catalogue can't be written.
            Nothing is changed then.
        """
        taken = Taken()
        ways = [via] * len(records) if isinstance(via, str) else via
        with self.writing() as database:
            at = now()
            for kind in KINDS:
                found = self._merged(kind, records, ways)
                names = list(found)
                with many_new_sheets(database, len(names) if kind.name == "sheets" else 0) as aside:
                    # What was there is written when all that follows a change is in its place again.
                    later: list[str] | None = [] if aside else None
                    for part in _parts(found, names):
                        self._take_part(kind, part, at, taken, compute, later)
                for part in _parts(found, later or []):
                    self._take_part(kind, part, at, taken)
            self._take_accepted(records, ways, at, taken.added, taken.unchanged, taken.changed_sheets)
            self.mark_out_of_date(taken.changed_sheets)
        return taken

    def _keep_computed(self, computed: Sequence[str], out_of_date: set[str]) -> None:
        """Take new sheets that are computed off those that are out of date."""
        out_of_date.difference_update(computed)
        if self.value("select exists (select 1 from scans where sheet is null)"):
            # As long as one of them is marked, the next run knows that scans may have waited for them.
            out_of_date.update(computed[:1])

    @staticmethod
    def _merged(kind: Kind, records: Sequence[Records], ways: Sequence[str]) -> dict[str, tuple[Record, str]]:
        return {
            getattr(record, kind.key): (record, via)
            for file, via in zip(records, ways, strict=True)
            for record in getattr(file, kind.name)
        }

    def _take_part(
        self,
        kind: Kind,
        records: Mapping[str, tuple[Record, str]],
        at: str,
        taken: Taken,
        compute: Compute | None = None,
        later: list[str] | None = None,
    ) -> None:
        """Take some records of a kind; where `later` is given, those that change are noted there and left."""
        compared = self._compare(kind, {name: record for name, (record, _) in records.items()})
        ways = {name: via for name, (_, via) in records.items()}
        if later is not None:
            later += (name for name, *_ in compared.changed)
            compared.changed.clear()
        if kind.name == "lenses":
            self._refuse_lost_cells(compared)
        touched = self._sheets_touched(compared)
        taken.changed_sheets.update(touched)
        if later is not None:
            # What is inside a record, or found of it, refers to it: SQLite then needn't look for what lacks it.
            self._insert(kind, compared, at, ways)
        # Else the record comes when all that it is searched by is there, and its line is written once.
        if kind.inner is not None:
            self._insert_inner(kind.inner, [(name, inner) for name, _, inner in compared.new])
        if compute is not None and kind.name == "sheets" and compared.new:
            new = cast("list[Sheet]", [records[name][0] for name, *_ in compared.new])
            self._keep_computed(self.add_findings(compute(new, at), at), taken.changed_sheets)
        if later is None:
            self._insert(kind, compared, at, ways)
        self._update(kind, compared, at, ways)
        for counts, number in (
            (taken.added, len(compared.new)),
            (taken.updated, len(compared.changed)),
            (taken.unchanged, compared.same),
        ):
            if number:
                counts[kind.name] = counts.get(kind.name, 0) + number
        taken.changed.extend((kind.name, new[0]) for new in compared.new)
        taken.changed.extend((kind.name, changed[0]) for changed in compared.changed)

    def _compare(self, kind: Kind, records: Mapping[str, Record]) -> _Comparison:
        there, inner_there = self._rows_of(kind, list(records))
        compared = _Comparison(kind)
        for name, record in records.items():
            row = kind.to_row(record)
            inner = kind.inner.to_rows(record) if kind.inner else []
            old = there.get(name)
            if old is None:
                compared.new.append((name, row, inner))
            elif old == row and inner_there.get(name, []) == inner:
                compared.same += 1
            else:
                compared.changed.append((name, row, inner, old, inner_there.get(name, [])))
        return compared

    def _rows_of(self, kind: Kind, names: list[str]) -> tuple[dict[str, Row], dict[str, list[Row]]]:
        """Read the rows of records by name, in bulk."""
        chosen = json.dumps(names)
        rows = self.tuples(
            f"select {', '.join(kind.columns)} from {kind.name}"
            f" where {kind.key} in (select value from json_each(?))",
            [chosen],
        )
        inner_rows: dict[str, list[Row]] = {}
        if kind.inner is not None:
            inner = kind.inner
            for owner, *row in self.tuples(
                f"select {inner.owner}, {', '.join(inner.columns)} from {inner.table}"
                f" where {inner.owner} in (select value from json_each(?)) order by {inner.owner}, position",
                [chosen],
            ):
                inner_rows.setdefault(owner, []).append(tuple(row))
        return {row[0]: row for row in rows}, inner_rows

    def _insert(self, kind: Kind, compared: _Comparison, at: str, ways: Mapping[str, str]) -> None:
        many = self.database.conn.executemany
        columns = (*kind.columns, "recorded_at", "recorded_via")
        many(
            f"insert into {kind.name} ({', '.join(columns)}) values ({', '.join('?' * len(columns))})",
            [(*row, at, ways[name]) for name, row, _ in compared.new],
        )

    def _insert_inner(self, inner: Inner, of: Iterable[tuple[str, list[Row]]]) -> None:
        columns = (inner.owner, "position", *inner.columns)
        self.database.conn.executemany(
            f"insert into {inner.table} ({', '.join(columns)}) values ({', '.join('?' * len(columns))})",
            [(name, place, *row) for name, rows in of for place, row in enumerate(rows)],
        )

    def _update(self, kind: Kind, compared: _Comparison, at: str, ways: Mapping[str, str]) -> None:
        many = self.database.conn.executemany
        self.note_changes(
            (
                kind.name,
                name,
                at,
                ways[name],
                as_json(kind.from_row(old, old_inner)),
                as_json(kind.from_row(row, inner)),
            )
            for name, row, inner, old, old_inner in compared.changed
        )
        if kind.inner is not None:
            inner = kind.inner
            differing = [
                (name, new_rows)
                for name, _, new_rows, _, old_rows in compared.changed
                if new_rows != old_rows
            ]
            many(f"delete from {inner.table} where {inner.owner} = ?", [(name,) for name, _ in differing])
            self._insert_inner(inner, differing)
        changes = ", ".join(f"{column} = ?" for column in kind.columns[1:])
        if kind.name == "print_targets":
            # A target somebody has changed is no longer what its source says, unless it is set back.
            changes += ", source = null"
        many(
            f"update {kind.name} set {changes or f'{kind.key} = {kind.key}'} where {kind.key} = ?",
            [(*row[1:], name) for name, row, *_ in compared.changed],
        )
        if kind.name == "print_targets":
            many(
                "update print_targets set source = ? where name = ?",
                [
                    (BUILT_IN_TARGETS[name][1], name)
                    for name, row, *_ in compared.changed
                    if name in BUILT_IN_TARGETS and row == _built_in_row(kind, name)
                ],
            )

    def _refuse_lost_cells(self, compared: _Comparison) -> None:
        """Refuse a lens that no longer has a cell some sheet was exposed with."""
        for lens, _, new, _, old in compared.changed:
            for cell in [row[0] for row in old if row[0] not in {kept[0] for kept in new}]:
                users = self.tuples(
                    "select sheet from sheets where lens = :lens and (cell = :cell or stop_scale = :cell)"
                    " order by rowid limit 4",
                    {"lens": lens, "cell": cell},
                )
                if users:
                    listed = ", ".join(sheet for (sheet,) in users[:3]) + (" …" if len(users) > 3 else "")
                    raise ArchiveError(
                        f"the lens '{lens}' leaves out its cell '{cell}', which sheets refer to ({listed}); "
                        "keep the cell in its record, or correct the sheets first"
                    )

    def _sheets_touched(self, compared: _Comparison) -> set[str]:
        """Find the sheets whose findings the new and changed records make out of date."""
        kind = compared.kind
        changed = [name for name, *_ in compared.changed]
        if kind.name == "sheets":
            return {name for name, *_ in compared.new} | set(changed)
        if kind.name == "developments":
            new = {row[0] for _, _, inner in compared.new for row in inner}
            return new | {row[0] for _, _, now_, _, then in compared.changed for row in (*now_, *then)}
        condition = {
            "films": "film in (select value from json_each(:names))",
            "lenses": "lens in (select value from json_each(:names))",
            "shutters": "lens in (select name from lenses"
            " where shutter in (select value from json_each(:names)))",
            "tablets": "sheet in (select n.sheet from scans n join profiles p on p.id = n.profile"
            " where p.tablet in (select value from json_each(:names)))",
            "print_targets": "coalesce(print_target, :default) in (select value from json_each(:names))",
        }.get(kind.name)
        if condition is None or not changed:
            return set()
        parameters: dict[str, Any] = {"names": json.dumps(changed)}
        if ":default" in condition:
            parameters["default"] = DEFAULT_TARGET
        return {sheet for (sheet,) in self.tuples(f"select sheet from sheets where {condition}", parameters)}

    # Records back -------------------------------------------------------------------------------------------

    def record(self, kind: str, name: str) -> Record | None:
        """Give a record back as it was taken; None where there is none of that name.

        Parameters
        ----------
        kind : its list, ``films``, or the word for one, ``film``.
        name : its name or id.
        """
        return next(iter(self.records(kind, [name])), None)

    def records(self, kind: str, names: Sequence[str] | None = None) -> list[Record]:
        """Give records back as they were taken.

        Parameters
        ----------
        kind : their list, ``films``, or the word for one, ``film``.
        names : their names or ids, in the order wanted; those that don't exist are left out. None: all,
            in the order they were taken.
        """
        of = kind_named(kind)
        if names is None:
            names = [name for (name,) in self.tuples(f"select {of.key} from {of.name} order by rowid")]
        found: list[Record] = []
        for start in range(0, len(names), _AT_ONCE):
            part = list(names[start : start + _AT_ONCE])
            rows, inner = self._rows_of(of, part)
            found += [of.from_row(rows[name], inner.get(name, ())) for name in part if name in rows]
        return found

    def history(self, kind: str, name: str) -> list[dict[str, Any]]:
        """List what a record was and became, the newest change first.

        Parameters
        ----------
        kind : its list, ``sheets``, or the word for one.
        name : its name or id.

        Returns
        -------
        ``{"at", "via", "old", "new"}`` a change, ``old`` and ``new`` as the record file would say them, None where
        it wasn't there or was removed; the last one is how it came in, its ``old`` None. Empty where there is no
        such record.
        """
        of = kind_named(kind)
        changes = [
            {part: change[part] for part in ("at", "via", "old", "new")}
            for change in self.changes_of(of.name, name)
            if change["kind"] == of.name
        ]
        first = self.first_taken(of.name, name)
        if first is not None:
            if changes:
                earliest = changes[-1]["old"]
            else:
                record = self.record(kind, name)
                earliest = json.loads(as_json(record)) if record is not None else None
            changes.append({**first, "old": None, "new": earliest})
        return changes

    def first_taken(self, kind: str, name: str) -> dict[str, Any] | None:
        """Tell when and by which way a record came in first, as ``{"at", "via"}``; None where there is none."""
        of = kind_named(kind)
        found = self.row(
            f"select recorded_at as at, recorded_via as via from {of.name} where {of.key} = ?", [name]
        )
        if found is None and of.name == "sheets":
            was = "json_extract(rows, '$.tables.sheets[0].recorded_{}')"
            found = self.row(
                f"select {was.format('at')} as at, {was.format('via')} as via from removed_sheets where sheet = ?",
                [name],
            )
        return found
