"""What waits for the photographer: to be developed, scanned, joined, measured."""

from __future__ import annotations

import json
from typing import Any

from negcat.catalogue.connection import CatalogueFile
from negcat.notation import parse_tag

__all__ = ["Waiting"]


class Waiting(CatalogueFile):
    """How what waits is listed."""

    def to_develop(self) -> list[dict[str, Any]]:
        """List the sheets exposed and neither developed nor scanned, by film and tag.

        Returns
        -------
        ``{"film", "tag", "count", "sheets": [ids in the order they were taken]}``, by film, then tag.
        """
        groups: dict[tuple[str, str], list[str]] = {}
        for film, tag, sheet in self.tuples(
            "select film, tag, sheet from sheet_search where stage = 'to develop' order by id"
        ):
            groups.setdefault((film, tag), []).append(sheet)
        return [
            {"film": film, "tag": tag, "count": len(sheets), "sheets": sheets}
            for (film, tag), sheets in sorted(
                groups.items(), key=lambda group: (group[0][0].casefold(), parse_tag(group[0][1]).n)
            )
        ]

    def to_scan(self) -> list[dict[str, Any]]:
        """List the sheets developed and not scanned.

        Returns
        -------
        ``{"sheet", "film", "tag", "batch", "developer", "date", "location"}``, the batch longest
        developed first.
        """
        return self.rows(
            "select k.sheet as sheet, k.film as film, k.tag as tag, k.batch as batch,"
            " k.developer as developer, d.date as date, s.location as location from sheet_search k"
            " join developments d on d.batch = k.batch join sheets s on s.sheet = k.sheet"
            " where k.stage = 'to scan' order by d.date is null, d.date, d.rowid, k.id"
        )

    def to_join(self) -> list[dict[str, Any]]:
        """List the scans that belong to no sheet yet, without those of step tablets and removed sheets.

        Returns
        -------
        ``{"scan", "path", "reason", "added_at", "width", "height"}``, in the order they came in.
        """
        return self.rows(
            "select scan, path, reason, added_at, width, height from scans where sheet is null"
            " and scan not in (select scan from removed_sheet_scans)"
            " and sha256 not in (select scan_sha256 from profiles where scan_sha256 is not null)"
            " order by taken_order"
        )

    def film_test_scans(self) -> list[str]:
        """List the paths of film tests' scans, as they were recorded."""
        return [scan for (scan,) in self.tuples("select scan from film_tests where scan is not null")]

    def to_measure(self) -> list[dict[str, Any]]:
        """List the sheets that are scanned and have no density, with the reason.

        Returns
        -------
        ``{"sheet", "scan", "path", "reason"}``, in the order they were taken; ``reason`` is what measuring
        said of the scan, else what the sheet lacks.
        """
        waiting = self.rows(
            "select k.sheet as sheet, n.scan as scan, n.path as path, n.unmeasured as unmeasured,"
            " r.why as why,"
            " (select count(*) from readings g where g.sheet = k.sheet) as readings,"
            " (select count(*) from readings g where g.sheet = k.sheet and g.spot_x is not null) as spots,"
            " (select count(*) from profiles p where p.scanner = n.scanner) as profiles, n.scanner as scanner"
            " from sheet_search k left join findings f on f.sheet = k.sheet"
            " join scans n on n.scan = coalesce(f.scan, (select m.scan from scans m where m.sheet = k.sheet"
            " order by m.taken_order desc limit 1))"
            " left join results r on r.sheet = k.sheet where k.stage = 'to measure' order by k.id"
        )
        return [
            {"sheet": row["sheet"], "scan": row["scan"], "path": row["path"], "reason": _reason(row)}
            for row in waiting
        ]

    def pending(self) -> dict[str, list[dict[str, Any]]]:
        """List all that waits: ``develop``, ``scan``, ``join``, ``measure``."""
        return {
            "develop": self.to_develop(),
            "scan": self.to_scan(),
            "join": self.to_join(),
            "measure": self.to_measure(),
        }


def _reason(row: dict[str, Any]) -> str:
    """Say why a scanned sheet has no density."""
    if row["unmeasured"]:
        return str(row["unmeasured"])
    if not row["readings"]:
        return "its record has no readings"
    if not row["spots"]:
        return "no reading has a spot yet"
    if row["scanner"] is None:
        return "its scanner isn't known"
    if not row["profiles"]:
        return f"the scanner '{row['scanner']}' isn't calibrated"
    why = json.loads(row["why"]) if row["why"] else []
    return str(why[0]) if why else "it hasn't been measured yet"
