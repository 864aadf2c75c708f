"""What was changed of a record, when, by which way in, and field by field what it was and became."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import count
from typing import Any, Literal

from negcat.catalogue import Catalogue
from negcat.catalogue.history import SCANS
from negcat.catalogue.rows import kind_named
from negcat.errors import NotationError, UnknownNameError
from negcat.work.archive import Archive
from negcat.work.naming import RemovedSheetError, known_name, known_scan, known_sheet
from negcat.work.writing_out import written

__all__ = [
    "KINDS",
    "Change",
    "Difference",
    "differences",
    "history_json",
    "history_of",
    "history_of_sheet",
    "named",
    "way_in",
]

KINDS = (
    "sheet",
    "film",
    "lens",
    "shutter",
    "holder",
    "batch",
    "film test",
    "print target",
    "scanner",
    "tablet",
    "scan",
)
"""What has a history: every kind of record, and scans for what they were joined to."""

What = Literal["taken in", "changed", "removed", "brought back", "scan"]

_WEB = {
    "": "on the pages",
    "form": "on the pages, in the form",
    "spots": "on the pages, by moving spots",
    "pending": "on the pages, under Pending",
    "review": "on the pages, by accepting an advice",
    "holders": "on the pages, under Holders",
    "history": "on the pages, in the history",
    "match": "on the pages, by joining a scan",
}
_NAMES = ("name", "cell", "side")
"""What the items of a list inside a record go by, one of them each."""


@dataclass(frozen=True)
class Difference:
    """One field of a record before and after; None where it wasn't there."""

    field: str
    was: str | None
    became: str | None


@dataclass(frozen=True)
class Change:
    """One entry of a history.

    Parameters
    ----------
    number : its place, counted from 1; a change keeps its number for good.
    at : when, UTC, ISO 8601.
    via : the way in as it is kept; :func:`way_in` says it in words.
    what : what happened. ``scan``: a scan came to it, went, or is of another scanner.
    differences : field by field.
    old, new : the record before and after, as its file would say it; None where it wasn't there, and of a scan.
    """

    number: int
    at: str
    via: str
    what: What
    differences: tuple[Difference, ...]
    old: Mapping[str, Any] | None
    new: Mapping[str, Any] | None

    def as_json(self) -> dict[str, Any]:
        """Give what ``--json`` prints of it."""
        return {
            "number": self.number,
            "at": self.at,
            "via": self.via,
            "way": way_in(self.via),
            "what": self.what,
            "fields": [
                {"field": one.field, "was": one.was, "became": one.became} for one in self.differences
            ],
            "old": self.old,
            "new": self.new,
        }


def way_in(via: str) -> str:
    """Say a way in.

    Examples
    --------
    >>> way_in("record may.yaml"), way_in("web spots"), way_in("built in")
    ('by negcat record may.yaml', 'on the pages, by moving spots', 'built in')
    """
    first, _, rest = via.partition(" ")
    if first == "web":
        does, _, number = rest.partition(" --to ")
        return _WEB.get(does, "on the pages") + (f", back to change {number}" if number else "")
    # Once an advice was kept as accepted on the command line, and no more was said.
    return via if via in ("", "built in") else f"by negcat {'review --accept' if via == 'cli' else via}"


# Looking up -------------------------------------------------------------------------------------------------


def named(archive: Archive, kind: str, name: str) -> tuple[str, str]:
    """Find a record, or a scan, as somebody typed it.

    Parameters
    ----------
    archive : the archive.
    kind : the word for one of :data:`KINDS`, with a space, a hyphen or an underscore.
    name : its name or id; of a sheet a removed one's too.

    Returns
    -------
    The word for its kind, and its name.

    Raises
    ------
    NotationError : there is no such kind.
    UnknownNameError : there is none of that name.
    """
    one = kind.strip().casefold().replace("-", " ").replace("_", " ")
    if one not in KINDS:
        raise NotationError(f"'{kind}' has no history; write one of {', '.join(KINDS)}")
    if one == "sheet":
        try:
            return one, known_sheet(archive.catalogue, unicodedata.normalize("NFC", name)).sheet
        except RemovedSheetError as error:
            return one, error.sheet
    if one == "scan":
        return one, str(known_scan(archive, name)["scan"])
    return one, known_name(archive.catalogue, one, name)


def history_of(archive: Archive, kind: str, name: str) -> tuple[Change, ...]:
    """List what was changed of a record, the newest first.

    Parameters
    ----------
    archive : the archive.
    kind, name : as :func:`named` gives them.
    """
    catalogue = archive.catalogue
    if kind == "scan":
        return _numbered(_of_scan(catalogue, name))
    return _numbered(_of_record(catalogue, kind_named(kind).name, name))


def history_of_sheet(catalogue: Catalogue, sheet: str) -> tuple[Change, ...]:
    """List what was changed of a sheet and of which scans it has, the newest first; it may be a removed one."""
    return _numbered(_of_record(catalogue, "sheets", sheet))


def history_json(kind: str, name: str, changes: Sequence[Change]) -> dict[str, Any]:
    """Give what ``negcat history --json`` prints."""
    return {"kind": kind, "name": name, "changes": [change.as_json() for change in changes]}


def _numbered(changes: Iterator[dict[str, Any]]) -> tuple[Change, ...]:
    """Give changes that come oldest first their numbers, and turn them round."""
    return tuple(Change(number, **change) for number, change in zip(count(1), changes, strict=False))[::-1]


def _of_record(catalogue: Catalogue, kind: str, name: str) -> Iterator[dict[str, Any]]:
    of_scans = {row["id"]: row for row in catalogue.changes_of(kind, name)}
    first, *later = catalogue.history(kind, name)[::-1] or (None,)
    if first is None:
        raise UnknownNameError(f"the archive's {kind} hold no '{name}'")
    yield {**first, "what": "taken in", "differences": ()}
    records = iter(later)
    for row in reversed(of_scans.values()):
        if row["kind"] == SCANS:
            yield {
                "at": row["at"],
                "via": row["via"],
                "what": "scan",
                "differences": (_of_a_scan(row, name),),
                "old": None,
                "new": None,
            }
            continue
        change = next(records)
        old, new = change["old"], change["new"]
        what: What = "removed" if new is None else "brought back" if old is None else "changed"
        told = tuple(differences(old, new)) if old is not None and new is not None else ()
        yield {**change, "what": what, "differences": told}


def _of_a_scan(row: Mapping[str, Any], sheet: str) -> Difference:
    """Say what a change of a scan was to a sheet."""
    name = f"scan {row['name']}"
    old, new = row["old"], row["new"]
    if "scanner" in new or "scanner" in old:
        return Difference(f"{name}, scanner", old.get("scanner"), new.get("scanner"))

    def joined(one: Mapping[str, Any]) -> str | None:
        if one.get("sheet") is None:
            return None
        by = f" by {one['joined_by'].removeprefix('by ')}" if one.get("joined_by") else ""
        return f"joined to {'this sheet' if one['sheet'] == sheet else 'sheet ' + one['sheet']}{by}"

    return Difference(name, joined(old), joined(new))


def _of_scan(catalogue: Catalogue, scan: str) -> Iterator[dict[str, Any]]:
    row = catalogue.scan(scan)
    assert row is not None
    # Which way a scan came in is always the same; it is joined, or waits, from then on.
    yield {
        "at": row["added_at"],
        "via": "ingest",
        "what": "taken in",
        "differences": (),
        "old": None,
        "new": None,
    }
    for change in reversed(catalogue.changes_of(SCANS, scan)):
        told = tuple(differences(change["old"], change["new"]))
        yield {
            "at": change["at"],
            "via": change["via"],
            "what": "scan",
            "differences": told,
            "old": None,
            "new": None,
        }


# Field by field ---------------------------------------------------------------------------------------------


def differences(old: Mapping[str, Any], new: Mapping[str, Any]) -> Iterator[Difference]:
    """Tell two states of a record apart, field by field.

    Parameters
    ----------
    old, new : the record before and after, as its file would say it.

    Examples
    --------
    >>> old = {"stop": "22", "readings": [{"name": "soot", "ev": 9.0}]}
    >>> new = {"stop": "22½", "readings": [{"name": "soot", "ev": 9.5}, {"name": "sky", "ev": 14.0}]}
    >>> for one in differences(old, new):
    ...     print(f"{one.field}: {one.was} → {one.became}")
    stop: 22 → 22½
    soot, ev: 9 → 9.5
    sky: None → ev 14
    """
    yield from _differences((), old, new)


def _differences(
    path: tuple[str, ...], old: Mapping[str, Any], new: Mapping[str, Any]
) -> Iterator[Difference]:
    for name in dict.fromkeys((*old, *new)):
        was, is_now = old.get(name), new.get(name)
        if was == is_now:
            continue
        here = (*path, name.replace("_", " "))
        items_was, items_now = _items(was), _items(is_now)
        if items_was is not None or items_now is not None:
            yield from _of_items(here, items_was or {}, items_now or {})
        elif _is_plain(was) and _is_plain(is_now) and name not in ("spot", "base_fog_spot"):
            yield from _differences(here, was or {}, is_now or {})
        else:
            yield Difference(", ".join(here), _text(was), _text(is_now))


def _of_items(
    path: tuple[str, ...], old: Mapping[str, Mapping[str, Any]], new: Mapping[str, Mapping[str, Any]]
) -> Iterator[Difference]:
    """Tell lists of named items apart, item by item."""
    for name in dict.fromkeys((*old, *new)):
        if name in old and name in new:
            yield from _differences((name,), old[name], new[name])
        else:
            was, is_now = (_text(_unnamed(one[name])) if name in one else None for one in (old, new))
            yield Difference(name, was, is_now)
    stayed = [[name for name in one if name in old and name in new] for one in (old, new)]
    if stayed[0] != stayed[1]:
        yield Difference(f"order of the {path[-1]}", *(", ".join(names) for names in stayed))


def _is_plain(value: Any) -> bool:
    return value is None or isinstance(value, Mapping)


def _items(value: Any) -> dict[str, Mapping[str, Any]] | None:
    """Give the items of a list by their names; None where it is no list of named items."""
    if not isinstance(value, list) or not value or not all(isinstance(item, Mapping) for item in value):
        return None
    found: dict[str, Mapping[str, Any]] = {}
    for item in value:
        name = next((str(item[name]) for name in _NAMES if name in item), None)
        if name is None:
            return None
        again = next(
            again for again in count(1) if (name if again == 1 else f"{name} ({again})") not in found
        )
        found[name if again == 1 else f"{name} ({again})"] = item
    return found


def _unnamed(item: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in item.items() if name not in _NAMES}


def _text(value: Any) -> str | None:
    """Write a value as it was written."""
    if value in (None, "", [], {}):
        return None
    if isinstance(value, Mapping):
        if {"x", "y"} <= set(value):
            return _spot_text(value)
        return ", ".join(f"{name.replace('_', ' ')} {_text(one)}" for name, one in value.items()) or None
    if isinstance(value, list):
        within = any(isinstance(one, list | Mapping) for one in value)
        return ("; " if within else ", ").join(str(_text(one)) for one in value)
    return str(written(value))


def _spot_text(spot: Mapping[str, Any]) -> str:
    """Write a spot as ``measure --spot`` takes it."""
    places = [written(spot[name]) for name in ("x", "y", "diameter_mm") if spot.get(name) is not None]
    on = f" on scan {spot['scan']}" if spot.get("scan") else ""
    return ",".join(map(str, places)) + on
