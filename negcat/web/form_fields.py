"""The fields of the form for a sheet's record, and the way to and fro between form and record.

A field's name in the form is its path in the record, joined with full stops: ``readings.0.spot.x``. Blank
fields count as left out, and a reading of which nothing but its role is said as not there.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from negcat.fieldform.fields import DECIDED, GROUPS, READING, READING_MORE, Described, Group

__all__ = [
    "DECIDED",
    "GROUPS",
    "READING",
    "READING_MORE",
    "Described",
    "Group",
    "Typed",
    "describe",
    "field_names",
    "flattened",
    "label_of",
    "name_of",
    "typed_from",
]

Path = tuple[str | int, ...]

_NAME = re.compile(r"[A-Za-z_]+(?:\.(?:[A-Za-z_]+|[0-9]{1,4}))*", re.ASCII)
_STANDING = frozenset({"role", "placed"})
"""Fields of a reading that are chosen, and so never blank; alone they make no reading."""

_ALONE = {field.name: field for field in (*DECIDED, *(field for group in GROUPS for field in group.fields))}
_OF_READING = {field.name: field for field in (*READING, *READING_MORE)}
_WHOLE_READINGS = Described(
    "readings",
    "Readings",
    wanted="No reading is the one the exposure was placed by: give one the role shadow, or choose “yes” at "
    "“Exposed by this reading”.",
)


def describe(name: str) -> Described | None:
    """Give the field of a name; None where the form has none of it."""
    if name == "readings":
        return _WHOLE_READINGS
    found = re.fullmatch(r"readings\.[0-9]{1,4}\.(.+)", name)
    return _OF_READING.get(found[1]) if found else _ALONE.get(name)


def label_of(name: str) -> str:
    """Name a field in words, with the reading it belongs to.

    Examples
    --------
    >>> label_of("readings.1.zone"), label_of("bellows_mm"), label_of("colour")
    ('Reading 2, zone', 'Lens to film', 'colour')
    """
    field = describe(name)
    label = field.label if field else name
    found = re.match(r"readings\.([0-9]+)(?:\.|$)", name)
    return f"Reading {int(found[1]) + 1}, {label[:1].lower()}{label[1:]}" if found else label


def field_names(readings: int) -> list[str]:
    """List the names of all fields of a form with so many readings, in the order of the page."""
    of_readings = [f"readings.{place}.{name}" for place in range(readings) for name in _OF_READING]
    decided = [field.name for field in DECIDED]
    return [*decided, *of_readings, *(name for name in _ALONE if name not in decided)]


# Form → record ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Typed:
    """What a form sent, as a record in writing.

    Parameters
    ----------
    record : the record as plain data; blank fields are left out.
    rows : for each of its readings, the place it had in the form.
    shown : the record's fields that the form laid out.
    """

    record: Mapping[str, Any]
    rows: Sequence[int]
    shown: frozenset[str]


def typed_from(fields: Mapping[str, Any]) -> Typed:
    """Read what a form sent.

    Parameters
    ----------
    fields : names to values; a value that is no text is taken as it would be written.

    Examples
    --------
    >>> sent = {"stop": "22½", "time": " ", "readings.0.role": "shadow", "readings.2.ev": "9"}
    >>> typed_from(sent).record, typed_from(sent).rows
    ({'stop': '22½', 'readings': [{'ev': '9'}]}, (2,))
    """
    tree: dict[str, Any] = {}
    readings: dict[int, dict[str, Any]] = {}
    shown: set[str] = set()
    for name, value in fields.items():
        if not _NAME.fullmatch(name):
            continue
        first, *steps = name.split(".")
        shown.add(first)
        text = _text(value)
        if first == "readings":
            if len(steps) < 2 or not steps[0].isdigit():
                continue
            inside, steps = readings.setdefault(int(steps[0]), {}), steps[1:]
        else:
            inside, steps = tree, [first, *steps]
        if text:
            _put(inside, steps, text)
    places = tuple(place for place in sorted(readings) if readings[place].keys() - _STANDING)
    if places:
        tree["readings"] = [readings[place] for place in places]
    return Typed(tree, places, frozenset(shown))


def _text(value: Any) -> str:
    if value is None or isinstance(value, dict | list):
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    # A browser sends the lines of a note with CR LF.
    return str(value).replace("\r\n", "\n").replace("\r", "\n").strip()


def _put(inside: dict[str, Any], steps: Sequence[str], text: str) -> None:
    *on_the_way, last = steps
    for step in on_the_way:
        there = inside.setdefault(step, {})
        if not isinstance(there, dict):
            return
        inside = there
    inside.setdefault(last, text)


# Record → form ----------------------------------------------------------------------------------------------


def flattened(record: Mapping[str, Any]) -> dict[str, str]:
    """Lay a record out as the form's fields.

    Parameters
    ----------
    record : written out: text, and mappings and lists of it.

    Examples
    --------
    >>> flattened({"stop": "22½", "readings": [{"name": "soot", "spot": {"x": "0.3"}}]})
    {'stop': '22½', 'readings.0.name': 'soot', 'readings.0.spot.x': '0.3'}
    """
    return dict(_flat(record, ""))


def _flat(value: Any, name: str) -> Iterable[tuple[str, str]]:
    if isinstance(value, Mapping):
        for key, part in value.items():
            yield from _flat(part, f"{name}.{key}" if name else str(key))
    elif isinstance(value, list | tuple):
        for place, part in enumerate(value):
            yield from _flat(part, f"{name}.{place}")
    elif value is not None:
        yield name, str(value)


def name_of(path: Path, rows: Sequence[int] = ()) -> str:
    """Name the form's field that a path in the sheet's record leads to.

    Parameters
    ----------
    path : ``("readings", 0, "zone")``.
    rows : for each reading of the record its place in the form; in order where left out.

    Examples
    --------
    >>> name_of(("readings", 0, "zone"), (2,)), name_of(("indicated", "stop")), name_of(("readings",))
    ('readings.2.zone', 'indicated.stop', 'readings')
    """
    steps = list(path)
    if len(steps) > 1 and steps[0] == "readings" and isinstance(steps[1], int):
        steps[1] = rows[steps[1]] if steps[1] < len(rows) else steps[1]
        if len(steps) == 2:
            steps.append("name")
    name = ".".join(map(str, steps))
    if describe(name) is None:
        # A fault of a group as a whole is said at the first field of it.
        first = next((known for known in (*_ALONE, *_OF_READING) if known.startswith(f"{steps[-1]}.")), None)
        if first is not None:
            name = f"{name}.{first.partition('.')[2]}"
    return name
