"""A history, and a removed sheet, set for reading."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from negcat.web import particulars
from negcat.web.typesetting import date, plain, shutter_time, stop
from negcat.work.history import Change, way_in

__all__ = ["MOST", "Entry", "Removed", "set_history", "set_removed"]

MOST = 20
"""Changes shown on a sheet's page; a longer history has a page of its own."""


@dataclass(frozen=True)
class Entry:
    """One entry of a history.

    Parameters
    ----------
    number : by which the change is called.
    at : when.
    what : what happened by which way in.
    fields : what changed: its name, what it was, what it became.
    comes_back : whether the record stood otherwise after it than now, and may stand so again.
    """

    number: int
    at: str
    what: str
    fields: tuple[tuple[str, str, str], ...]
    comes_back: bool


def set_history(changes: Sequence[Change]) -> tuple[Entry, ...]:
    """Set a history for reading, the newest change first."""
    # Of a removed record nothing comes back before the whole of it does.
    now = next((change.new for change in changes if change.what != "scan"), None)
    return tuple(
        Entry(
            change.number,
            _when(change.at),
            _what(change),
            tuple((one.field, one.was or "nothing", one.became or "nothing") for one in change.differences),
            now is not None and change.new is not None and change.new != now,
        )
        for change in changes
    )


def _what(change: Change) -> str:
    what = "changed" if change.what == "scan" else change.what
    return f"{what} {way_in(change.via)}".rstrip()


def _when(at: str | None) -> str:
    text = date(at)
    return f"{text} UTC" if text and at and at.endswith("Z") else text


def _reading(reading: Mapping[str, Any]) -> str:
    """Set a reading in short: ``soot, EV 10, on IV``."""
    ev, zone = reading.get("ev"), reading.get("zone")
    parts = (str(reading["name"]), f"EV {plain(ev)}" if ev is not None else "", f"on {zone}" if zone else "")
    return ", ".join(part for part in parts if part)


@dataclass(frozen=True)
class Removed:
    """A removed sheet: when and how it was removed, what its record said, and its scans."""

    sheet: str
    title: str
    at: str
    way: str
    record: tuple[tuple[str, str], ...]
    film: str
    scans: tuple[str, ...]


def set_removed(removed: Mapping[str, Any]) -> Removed:
    """Set a removed sheet for reading, as ``negcat remove --list --json`` tells it."""
    record = removed["record"]
    exposed = (
        ("Exposed", date(record.get("exposed_at"))),
        ("Lens", ", ".join(str(record[name]) for name in ("lens", "cell") if record.get(name))),
        ("Stop and time", f"{stop(record['stop'])} at {shutter_time(record['time'])}"),
        ("Tag", str(record.get("tag") or "")),
        ("Readings", "; ".join(_reading(reading) for reading in record.get("readings") or ())),
    )
    return Removed(
        sheet=str(removed["sheet"]),
        title=", ".join(str(record[name]) for name in ("place", "subject") if record.get(name)),
        at=_when(removed["removed_at"]),
        way=str(removed["way"]),
        record=(*(line for line in exposed if line[1]), *particulars.record_lines(record)),
        film=str(record["film"]),
        scans=tuple(removed["scans"]),
    )
