"""Scans and scanner profiles as the catalogue keeps them: which master, where it lies, whose sheet it is."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from negcat.catalogue.connection import now
from negcat.catalogue.findings import FindingsKept
from negcat.catalogue.history import HistoryKept
from negcat.errors import ArchiveError, UnknownNameError

__all__ = ["MastersKept"]

_DIGITS = re.compile("[0-9a-f]{6,64}")
_JSON_OF_SCAN = ("description", "notes", "rebate", "condition")
_FLAGS_OF_SCAN = ("lossy", "calibrated")


def _kept(row: Mapping[str, Any]) -> dict[str, Any]:
    """Write what SQLite has no type for: lists and mappings as JSON, yes and no as 1 and 0."""
    return {
        name: json.dumps(value, ensure_ascii=False)
        if isinstance(value, Mapping | list | tuple)
        else int(value)
        if isinstance(value, bool)
        else value
        for name, value in row.items()
    }


def _scan(row: Mapping[str, Any]) -> dict[str, Any]:
    """Read a scan's row back."""
    scan = dict(row)
    for name in _JSON_OF_SCAN:
        scan[name] = json.loads(scan[name]) if scan[name] is not None else None
    for name in _FLAGS_OF_SCAN:
        scan[name] = bool(scan[name]) if scan[name] is not None else None
    return scan


_DAY = "substr(scanned_at, 1, 10)"


def _profile(row: Mapping[str, Any]) -> dict[str, Any]:
    """Read a profile's row back."""
    settings = row["settings"]
    return {
        **row,
        "profile": json.loads(row["profile"]),
        "settings": json.loads(settings) if settings is not None else {},
    }


class MastersKept(HistoryKept, FindingsKept):
    """What the catalogue knows of scans and profiles."""

    def save_scan(self, scan: Mapping[str, Any], via: str = "ingest") -> bool:
        """Keep a scan, or bring what is known of it up to date.

        Parameters
        ----------
        scan : columns of the table ``scans`` by name; ``sha256``, ``path``, ``size_bytes``,
            ``modified_ns``, ``width``, ``height`` and ``bits`` are needed for a new one; ``scan`` is the
            first 12 hex digits of ``sha256``. Lists and mappings are kept as JSON. A column left out
            stays as it is.
        via : the way in, kept in the history where the scanner is another one than before.

        Returns
        -------
        Whether it is new to the catalogue. A copy of a master already known is not new: its path is
        noted beside the first one's.

        Raises
        ------
        ArchiveError : another master has the same first 12 digits, or the catalogue can't be written.
        UnknownNameError : a column the table doesn't have.
        """
        row = dict(scan)
        row["scan"] = row["sha256"][:12]
        unknown = set(row) - {column.name for column in self.database["scans"].columns}
        if unknown:
            raise UnknownNameError(f"a scan has no {', '.join(sorted(unknown))}; see the table 'scans'")
        with self.writing() as database:
            known = self.row("select sha256, path, sheet, scanner from scans where scan = ?", [row["scan"]])
            if known is not None and known["sha256"] != row["sha256"]:
                raise ArchiveError(
                    f"{row.get('path')} and {known['path']} differ, but their SHA-256 begin with the same "
                    f"twelve digits {row['scan']}; save the scan anew (any change of its tags will do) and "
                    "take it again"
                )
            if known is None:
                row.setdefault("added_at", now())
                row["taken_order"] = self.value("select coalesce(max(taken_order), 0) + 1 from scans")
                database.table("scans").insert(_kept(row))
            else:
                changes = {
                    name: value for name, value in row.items() if name not in ("scan", "sha256", "path")
                }
                # The path on record stays while nobody says that the master has moved.
                if changes:
                    database.table("scans").update(row["scan"], _kept(changes))
                if "scanner" in changes:
                    was, is_now = (
                        {"sheet": known["sheet"], "scanner": one["scanner"]} for one in (known, changes)
                    )
                    self.note_scan(row["scan"], was, is_now, via)
            if {"path", "size_bytes", "modified_ns"} <= set(row):
                self.note_path(
                    row["scan"], row["path"], size_bytes=row["size_bytes"], modified_ns=row["modified_ns"]
                )
        return known is None

    def note_path(self, scan: str, path: str, *, size_bytes: int, modified_ns: int) -> None:
        """Note that a master, or a copy of it, was seen somewhere.

        Parameters
        ----------
        scan : the scan's id.
        path : the place as the catalogue keeps paths: relative inside the archive, else absolute.
        size_bytes, modified_ns : of the file there.
        """
        with self.writing() as database:
            database.execute(
                "insert into scan_paths (path, scan, size_bytes, modified_ns, seen_at) values (?, ?, ?, ?, ?)"
                " on conflict (path) do update set scan = excluded.scan, size_bytes = excluded.size_bytes,"
                " modified_ns = excluded.modified_ns, seen_at = excluded.seen_at",
                [path, self._known_scan(scan), size_bytes, modified_ns, now()],
            )

    def move_scan(self, scan: str, path: str, *, size_bytes: int, modified_ns: int) -> None:
        """Say where a master lies now.

        Parameters
        ----------
        scan : the scan's id.
        path : its path as the catalogue keeps paths: relative inside the archive, else absolute.
        size_bytes, modified_ns : of the file there.
        """
        with self.writing() as database:
            place = {"path": path, "size_bytes": size_bytes, "modified_ns": modified_ns}
            database.table("scans").update(self._known_scan(scan), place)
            self.note_path(scan, path, size_bytes=size_bytes, modified_ns=modified_ns)

    def join_scan(
        self,
        scan: str,
        sheet: str | None,
        *,
        joined_by: str | None,
        reason: str | None = None,
        via: str = "ingest",
    ) -> None:
        """Join a scan to its sheet, or part it from any.

        Parameters
        ----------
        scan : the scan's id.
        sheet : the sheet's id; None parts the scan from its sheet.
        joined_by : what says so: ``its file name``, ``by hand``.
        reason : why it belongs to no sheet, where ``sheet`` is None.
        via : the way in, kept in the history with what it was joined to before.

        Raises
        ------
        UnknownNameError : no such scan or sheet.
        """
        with self.writing() as database:
            if sheet is not None and self.value("select 1 from sheets where sheet = ?", [sheet]) is None:
                raise UnknownNameError(f"the archive holds no sheet {sheet!r}")
            was = self.row("select sheet, joined_by from scans where scan = ?", [self._known_scan(scan)])
            assert was is not None
            before = was["sheet"]
            database.table("scans").update(scan, {"sheet": sheet, "joined_by": joined_by, "reason": reason})
            self.note_scan(scan, was, {"sheet": sheet, "joined_by": joined_by}, via)
            self.mark_out_of_date(name for name in {before, sheet} if name is not None and before != sheet)

    def _known_scan(self, scan: str) -> str:
        if self.value("select 1 from scans where scan = ?", [scan]) is None:
            raise UnknownNameError(
                f"the archive holds no scan {scan!r}; 'negcat pending' lists those that wait"
            )
        return scan

    def scan(self, scan: str) -> dict[str, Any] | None:
        """Give all that is known of a scan; None where there is none.

        Parameters
        ----------
        scan : its id, its whole SHA-256, or the beginning of its id (six digits or more) where no other
            scan's id begins so.
        """
        digits = scan.strip().lower()
        if not _DIGITS.fullmatch(digits):
            return None
        rows = self.rows(
            "select * from scans where scan = :id or scan >= :start and scan < :start || 'g' limit 2",
            {"id": digits[:12], "start": digits[:12]},
        )
        return _scan(rows[0]) if len(rows) == 1 and rows[0]["sha256"].startswith(digits) else None

    def scan_by_sha256(self, sha256: str) -> dict[str, Any] | None:
        """Give all that is known of the master with this SHA-256; None where there is none."""
        row = self.row("select * from scans where sha256 = ?", [sha256])
        return _scan(row) if row else None

    def scan_at(self, path: str) -> dict[str, Any] | None:
        """Give the scan last seen at a path, as the catalogue keeps paths; None where there is none."""
        row = self.row(
            "select * from scans where scan = (select scan from scan_paths where path = ?)", [path]
        ) or self.row("select * from scans where path = ?", [path])
        return _scan(row) if row else None

    def scans_of(self, sheet: str) -> list[dict[str, Any]]:
        """List the scans joined to a sheet: the one it was measured on first, then the newest."""
        return [
            _scan(row)
            for row in self.rows(
                "select n.* from scans n left join findings f on f.sheet = n.sheet where n.sheet = ?"
                " order by n.scan is not f.scan, n.taken_order desc",
                [sheet],
            )
        ]

    def scans(self) -> list[dict[str, Any]]:
        """List every scan, in the order they were taken in."""
        return [_scan(row) for row in self.rows("select * from scans order by taken_order")]

    def unmatched_scans(self) -> list[dict[str, Any]]:
        """List the scans that belong to no sheet yet, without those of step tablets and of removed sheets."""
        return [
            _scan(row)
            for row in self.rows(
                "select * from scans where sheet is null"
                " and scan not in (select scan from removed_sheet_scans)"
                " and sha256 not in (select scan_sha256 from profiles where scan_sha256 is not null)"
                " order by taken_order"
            )
        ]

    def paths_of(self, scan: str) -> list[dict[str, Any]]:
        """List every place where a master or a copy of it was seen."""
        return self.rows("select * from scan_paths where scan = ? order by rowid", [scan])

    # Spots from one scan to another --------------------------------------------------------------------------

    def spot_scan(self, sheet: str) -> str | None:
        """Give the scan that a sheet's spots are places on where they don't say; None while none is known."""
        known = self.value(
            "select k.scan from spot_scans k join scans n on n.scan = k.scan and n.sheet = k.sheet"
            " where k.sheet = ?",
            [sheet],
        )
        return None if known is None else str(known)

    def save_spot_scan(self, sheet: str, scan: str) -> None:
        """Keep which scan a sheet's spots are places on where they don't say."""
        with self.writing() as database:
            database.execute(
                "insert into spot_scans (sheet, scan) values (?, ?)"
                " on conflict (sheet) do update set scan = excluded.scan",
                [sheet, self._known_scan(scan)],
            )

    def registration(self, scan: str, from_scan: str) -> dict[str, Any] | None:
        """Give how a scan lies on another one, as :meth:`save_registration` kept it; None where it wasn't."""
        known = self.value(
            "select registration from registrations where scan = ? and from_scan = ?", [scan, from_scan]
        )
        return None if known is None else dict(json.loads(known))

    def save_registration(self, scan: str, from_scan: str, registration: Mapping[str, Any]) -> None:
        """Keep how a scan lies on another one.

        Parameters
        ----------
        scan : the scan that places are wanted on.
        from_scan : the scan that places are known on.
        registration : the whole of it; ``correlation`` gets a column of its own.
        """
        with self.writing() as database:
            database.table("registrations").upsert(
                {
                    "scan": self._known_scan(scan),
                    "from_scan": self._known_scan(from_scan),
                    "correlation": registration.get("correlation"),
                    "registration": json.dumps(dict(registration), ensure_ascii=False),
                    "made_at": now(),
                },
                pk=("scan", "from_scan"),
            )

    # Scanner profiles ---------------------------------------------------------------------------------------

    def save_profile(self, profile: Mapping[str, Any]) -> int:
        """Keep a scanner profile.

        Parameters
        ----------
        profile : columns of the table ``profiles`` by name; ``profile`` is the profile itself as a
            mapping, ``scanned_at`` when its tablet was scanned (default: now). Earlier profiles are kept:
            they hold for the scans of their time, and findings refer to them.

        Returns
        -------
        Its number; that of the newest one of the same day where it says nothing else than that one.
        """
        made_at = profile.get("made_at") or now()
        fitted = profile["profile"]
        low, high = fitted.get("density_range") or (None, None)
        row = _kept(
            {
                "scanned_at": made_at,
                "residual_sd": fitted.get("residual_sd"),
                "density_min": low,
                "density_max": high,
                **profile,
                "made_at": made_at,
            }
        )
        with self.writing() as database:
            same = self.row(
                "select * from profiles where scanner = ? and bits = ? and mode = ? and channel = ?"
                f" and {_DAY} = substr(?, 1, 10) order by id desc limit 1",
                [row["scanner"], row["bits"], row["mode"], row["channel"], row["scanned_at"]],
            )
            if same and all(
                same[name] == row.get(name) for name in ("profile", "tablet", "densities_sha256", "settings")
            ):
                return int(same["id"])
            database.table("profiles").insert(row)
            return int(self.value("select max(id) from profiles"))

    def profile_for(
        self, scanner: str, bits: int, mode: str, channel: str, *, on: str | None = None
    ) -> dict[str, Any] | None:
        """Give the profile of a scanner that holds for a bit depth, mode and channel, on a day.

        Parameters
        ----------
        scanner : its name.
        bits, mode, channel : of the scan to be measured.
        on : when that scan was made, ISO 8601; None: whenever.

        Returns
        -------
        The newest whose tablet was scanned by that day, else the oldest after it; of several of one day the
        one made last. None where there is none at all.
        """
        row = self.row(
            "select * from profiles where scanner = :scanner and bits = :bits and mode = :mode"
            f" and channel = :channel order by {_DAY} > :day,"
            f" case when {_DAY} <= :day then {_DAY} end desc, {_DAY}, id desc limit 1",
            {
                "scanner": scanner,
                "bits": bits,
                "mode": mode,
                "channel": channel,
                "day": (on or "9999")[:10],
            },
        )
        return _profile(row) if row else None

    def profile(self, number: int) -> dict[str, Any] | None:
        """Give a profile by its number; None where there is none."""
        row = self.row("select * from profiles where id = ?", [number])
        return _profile(row) if row else None

    def profiles(self) -> list[dict[str, Any]]:
        """List every profile, the newest first."""
        return [_profile(row) for row in self.rows("select * from profiles order by id desc")]

    def batch_base_fog(
        self,
        batch: str,
        *,
        film: str | None = None,
        without: str | None = None,
        channel: str | None = None,
    ) -> dict[str, Any] | None:
        """Give the median of the rebates measured in a batch's scans.

        Parameters
        ----------
        batch : the batch.
        film : count sheets of this film only: another film has another base.
        without : a sheet to leave out.
        channel : count rebates read in this channel only: a stained film has another base+fog in each.

        Returns
        -------
        ``{"density", "sd", "sheets"}``: the median, one standard deviation of it (the rebates' spread by
        their median deviation, at least the median of their own deviations), and how many sheets it
        rests on; None where no rebate was measured.
        """
        measured = self.tuples(
            "select avg(n.rebate_density), avg(n.rebate_sd) from development_sheets d"
            " join sheets s on s.sheet = d.sheet join scans n on n.sheet = d.sheet"
            " where d.batch = :batch and n.rebate_density is not null and (:film is null or s.film = :film)"
            " and (:without is null or d.sheet <> :without)"
            " and (:channel is null or n.channel = :channel) group by d.sheet",
            {"batch": batch, "film": film, "without": without, "channel": channel},
        )
        if not measured:
            return None
        density = _median([value for value, _ in measured])
        own = _median([sd or 0.0 for _, sd in measured])
        # 1.4826 makes the median absolute deviation the standard deviation of a normal spread (Hampel 1974);
        # the median of n values is 1.2533/√n times as uncertain as one value.
        spread = 1.4826 * _median([abs(value - density) for value, _ in measured])
        return {
            "density": density,
            "sd": max(own, 1.2533 * spread / len(measured) ** 0.5),
            "sheets": len(measured),
        }

    def sheets_borrowing_base_fog(self, sheets: Iterable[str]) -> list[str]:
        """List the scanned sheets whose base+fog may come from the rebates of a batch with some sheets in it.

        Parameters
        ----------
        sheets : sheets whose rebates have just become known.

        Returns
        -------
        Every sheet of their batches that has no base+fog of its own (spot or rebate), where none is
        recorded for the batch.
        """
        return [
            sheet
            for (sheet,) in self.tuples(
                "select m.sheet from sheet_search m join developments b on b.batch = m.batch and b.base_fog is null"
                " join findings f on f.sheet = m.sheet and coalesce(f.base_fog_source, '') not in ('spot', 'rebate')"
                " where m.batch in (select batch from sheet_search where batch > ''"
                " and sheet in (select value from json_each(?)))"
                " and exists (select 1 from scans n where n.sheet = m.sheet) order by m.id",
                [json.dumps(list(sheets))],
            )
        ]


def _median(values: Sequence[float]) -> float:
    """Give the median of at least one value.

    Examples
    --------
    >>> _median([3.0, 1.0, 2.0]), _median([1.0, 2.0])
    (2.0, 1.5)
    """
    ordered = sorted(values)
    middle = len(ordered) // 2
    return ordered[middle] if len(ordered) % 2 else (ordered[middle - 1] + ordered[middle]) / 2
