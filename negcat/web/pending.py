"""The pending page: what waits to be developed, scanned, joined and measured."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from negcat.web.typesetting import date

__all__ = ["ToDevelop", "ToJoin", "ToScan", "Waiting", "set_page"]


@dataclass(frozen=True)
class ToDevelop:
    """Sheets that share a film and a tag, and so may share a tank; the times accepted for them, in words."""

    film: str
    tag: str
    sheets: tuple[str, ...]
    advised: tuple[str, ...] = ()


@dataclass(frozen=True)
class ToScan:
    """A developed sheet without a scan: its batch, when it was developed and where it is kept."""

    sheet: str
    batch: str
    date: str
    location: str


@dataclass(frozen=True)
class ToJoin:
    """A scan that belongs to no sheet yet, and why; width and height in pixels."""

    scan: str
    path: str
    reason: str
    width: int
    height: int


@dataclass(frozen=True)
class Waiting:
    """What waits, in the order of the work."""

    develop: tuple[ToDevelop, ...]
    scan: tuple[ToScan, ...]
    join: tuple[ToJoin, ...]
    measure: tuple[tuple[str, str], ...]

    @property
    def sheets_to_develop(self) -> int:
        """How many sheets wait to be developed."""
        return sum(len(group.sheets) for group in self.develop)


def set_page(document: Mapping[str, Any]) -> Waiting:
    """Set what waits for reading.

    Parameters
    ----------
    document : as ``negcat pending --json`` prints it.
    """
    return Waiting(
        develop=tuple(
            ToDevelop(
                str(group["film"]),
                str(group["tag"]),
                tuple(map(str, group["sheets"])),
                tuple(str(time["sentence"]) for time in group.get("advised") or ()),
            )
            for group in _list(document, "develop")
        ),
        scan=tuple(
            ToScan(
                str(row["sheet"]),
                str(row.get("batch") or ""),
                date(row.get("date")),
                str(row.get("location") or ""),
            )
            for row in _list(document, "scan")
        ),
        join=tuple(
            ToJoin(
                str(row["scan"]),
                str(row.get("path") or ""),
                str(row.get("reason") or ""),
                int(row.get("width") or 1),
                int(row.get("height") or 1),
            )
            for row in _list(document, "join")
        ),
        measure=tuple(
            (str(row["sheet"]), str(row.get("reason") or "")) for row in _list(document, "measure")
        ),
    )


def _list(document: Mapping[str, Any], name: str) -> Sequence[Mapping[str, Any]]:
    return document.get(name) or ()
