"""Checks of the masters: which are due, how each came out, and what an interrupted run left to do."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from negcat.catalogue.connection import CatalogueFile, now

__all__ = ["ChecksKept", "Due", "Way"]

Way = Literal["size and time", "SHA-256"]
"""How a run looks at masters: at what the disk says of the file, or at every byte."""

_AT_ONCE = 1000


@dataclass(frozen=True)
class Due:
    """A master that is to be checked.

    Parameters
    ----------
    scan, sheet, path, size_bytes, modified_ns, sha256 : as in the table ``scans``.
    """

    scan: str
    sheet: str | None
    path: str
    size_bytes: int
    modified_ns: int
    sha256: str


class ChecksKept(CatalogueFile):
    """The record of what was checked."""

    def masters_due(self, *, unchecked_since: str | None = None, run: int | None = None) -> Iterator[Due]:
        """List masters, the one found unchanged longest ago first; one never checked counts from when it was taken.

        Parameters
        ----------
        unchecked_since : leave out what was read whole and found unchanged at this time or later, UTC.
        run : leave out what this run has checked already.
        """
        due = [
            scan
            for (scan,) in self.tuples(
                "select scan from scans where (:since is null or coalesce(checked_at, added_at) < :since)"
                " and (:run is null or scan not in (select scan from checks where run = :run))"
                " order by coalesce(checked_at, added_at), taken_order",
                {"since": unchecked_since, "run": run},
            )
        ]
        # Only the ids are held: meanwhile each check is written, and a statement left open would hold that up.
        for scan in due:
            row = self.row(
                "select scan, sheet, path, size_bytes, modified_ns, sha256 from scans where scan = ?", [scan]
            )
            if row is not None:
                yield Due(**row)

    def count_masters(self) -> int:
        """Count the masters."""
        return int(self.value("select count(*) from scans"))

    def any_at_addresses(self) -> bool:
        """Tell whether any master lies at an address, not at a path."""
        return self.value("select 1 from scans where path like '%://%' limit 1") is not None

    def unfinished_run(self, way: Way) -> int | None:
        """Give the newest run of a way where it was interrupted; None where it came to its end."""
        newest = self.row("select id, ended_at from check_runs where way = ? order by id desc limit 1", [way])
        return int(newest["id"]) if newest is not None and newest["ended_at"] is None else None

    def begin_run(self, way: Way) -> int:
        """Begin a run, and give its number."""
        with self.writing() as database:
            return int(
                database.conn.execute(
                    "insert into check_runs (began_at, way) values (?, ?) returning id", [now(), way]
                ).fetchone()[0]
            )

    def save_check(
        self, run: int, scan: str, *, status: str, path: str, found_sha256: str | None, reason: str | None
    ) -> None:
        """Keep how one master was found; one read whole and unchanged is marked as checked now.

        Parameters
        ----------
        run : its number.
        scan : the scan's id.
        status : ``unchanged``, ``missing`` …
        path : where it was looked for.
        found_sha256 : what was read; None where it wasn't read whole.
        reason : what was found instead of the master.
        """
        with self.writing() as database:
            at = now()
            database.conn.execute(
                "insert into checks (run, scan, at, status, path, found_sha256, reason) values (?, ?, ?, ?, ?, ?, ?)"
                " on conflict (run, scan) do update set at = excluded.at, status = excluded.status,"
                " path = excluded.path, found_sha256 = excluded.found_sha256, reason = excluded.reason",
                [run, scan, at, status, path, found_sha256, reason],
            )
            if found_sha256 is not None and status == "unchanged":
                database.conn.execute(
                    "update scans set checked_at = ? where scan = ? and sha256 = ?", [at, scan, found_sha256]
                )

    def end_run(self, run: int, *, masters: int, unchanged: int) -> None:
        """Note that a run came to its end, and what it found."""
        with self.writing() as database:
            database.conn.execute(
                "update check_runs set ended_at = ?, masters = ?, unchanged = ? where id = ?",
                [now(), masters, unchanged, run],
            )

    def count_checked(self, run: int) -> tuple[int, int]:
        """Count what a run has read whole or found wrong so far, and how much of it unchanged."""
        masters, unchanged = self.tuples(
            "select count(*), coalesce(sum(status = 'unchanged'), 0) from checks where run = ?", [run]
        )[0]
        return int(masters), int(unchanged)
