"""The fields of the form for a sheet's record: their names, labels and keyboards, and the way to and fro.

A field's name in the form is its path in the record, joined with full stops: ``readings.0.spot.x``. Blank
fields count as left out, and a reading of which nothing but its role is said as not there.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

__all__ = [
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


@dataclass(frozen=True)
class Described:
    """A field of the form.

    Parameters
    ----------
    name : its name in the form; within a reading without the reading's place.
    label : what stands above it.
    kind : ``text``, ``note``, ``choice``.
    unit : its unit, after the label.
    help : a line below it.
    keyboard : the ``inputmode`` of a phone's keyboard.
    marks : the list of suggestions it offers, by name.
    wanted : what is said where it is blank and may not be.
    wide : how much room it takes: ``narrow``, ``middle`` or ``whole``.
    signed : it may be less than nought, for which the keyboard of figures has no key.
    """

    name: str
    label: str
    kind: str = "text"
    unit: str = ""
    help: str = ""
    keyboard: str = "text"
    marks: str = ""
    wanted: str = ""
    wide: str = "middle"
    signed: bool = False


@dataclass(frozen=True)
class Group:
    """Fields that belong together, with the line that opens them."""

    key: str
    title: str
    fields: tuple[Described, ...]
    help: str = ""


def _figure(name: str, label: str, unit: str = "", **more: Any) -> Described:
    keyboard = "text" if more.get("signed") else "decimal"
    return Described(name, label, unit=unit, keyboard=keyboard, wide="narrow", **more)


def _spot(prefix: str, which: str) -> tuple[Described, ...]:
    wanted = "Write both x and y, or leave the spot blank."
    return (
        _figure(f"{prefix}.x", f"{which}, x", "of the width", wanted=wanted),
        _figure(f"{prefix}.y", f"{which}, y", "of the height", wanted=wanted),
        _figure(f"{prefix}.diameter_mm", "Aperture", "mm", help="2 if left blank"),
        Described(f"{prefix}.scan", "On scan", help="its id; blank: the first one"),
    )


DECIDED: tuple[Described, ...] = (
    Described(
        "sheet", "Sheet", wanted="Give the sheet an id, as in BW-25.", help="letters, digits, full stop, dash"
    ),
    Described("film", "Film", "choice", wanted="Choose the film."),
    Described("lens", "Lens", "choice", wanted="Choose the lens."),
    Described("cell", "Cell", "choice", wanted="Choose the cell that was used."),
    Described(
        "stop", "Stop", unit="f/", marks="stops", wide="narrow", wanted="Write the stop as set, as in 22½."
    ),
    Described(
        "time", "Time", marks="times", wide="narrow", wanted="Write the time as set, as in 1/4, 4 s or 1m30s."
    ),
    Described("tag", "Development", marks="tags", wide="narrow", help="N if left blank"),
)
"""The ordinary decision, which stands open at the top."""

READING: tuple[Described, ...] = (
    Described("name", "Metered", wanted="Name what was metered.", wide="whole"),
    Described("role", "Role", "choice", wide="narrow"),
    _figure("ev", "Reading", "EV", signed=True),
    Described(
        "zone", "Zone", marks="zones", wide="narrow", wanted="Write the zone it was placed on, as in III."
    ),
)
READING_MORE: tuple[Described, ...] = (
    _figure(
        "stops_from_placed", "Brighter than the placed one", "stops", signed=True, help="instead of its EV"
    ),
    Described("placed", "Exposed by this reading", "choice"),
    *_spot("spot", "Spot"),
)

GROUPS: tuple[Group, ...] = (
    Group(
        "where",
        "When, where, in which holder",
        (
            Described(
                "exposed_at", "Date and time", help="2026-05-03 07:40, or the date alone", wide="whole"
            ),
            Described("place", "Place", marks="place", wide="whole"),
            Described("subject", "Subject", "note", wide="whole"),
            Described("format", "Format", marks="format", wide="narrow"),
            Described("holder", "Holder", marks="holder", wide="narrow"),
            Described("side", "Side", marks="side", wide="narrow"),
            Described("weather", "Weather and light", marks="weather", wide="whole"),
        ),
    ),
    Group(
        "light",
        "Bellows, filter, stop scale",
        (
            _figure("bellows_mm", "Lens to film", "mm", help="blank: focused far away"),
            Described("filter", "Filter", marks="filter"),
            _figure("filter_factor", "Filter factor", "×"),
            Described(
                "stop_scale",
                "Stop read from the scale of",
                "choice",
                wanted="Choose the cell whose scale the stop was read from.",
            ),
        ),
    ),
    Group(
        "meter",
        "Meter and film index",
        (
            _figure("exposure_index", "Exposure index", "ISO", help="blank: the film's own"),
            _figure("meter_iso", "Meter stood at", "ISO", help="100 if left blank"),
            Described(
                "indicated.stop",
                "Meter showed, stop",
                unit="f/",
                marks="stops",
                wide="narrow",
                wanted="Write the stop that the meter showed with that time.",
            ),
            Described(
                "indicated.time",
                "Meter showed, time",
                marks="times",
                wide="narrow",
                wanted="Write the time that the meter showed with that stop.",
            ),
        ),
        help="What the meter showed after placing stands instead of the placed reading’s EV.",
    ),
    Group(
        "movements",
        "Movements",
        (
            _figure("movements.front_rise_mm", "Front rise", "mm", signed=True, help="fall: minus"),
            _figure("movements.front_shift_mm", "Front shift", "mm", signed=True, help="left: minus"),
            _figure("movements.front_tilt_deg", "Front tilt", "°", signed=True, help="backward: minus"),
            _figure("movements.front_swing_deg", "Front swing", "°", signed=True, help="left: minus"),
            _figure("movements.rear_tilt_deg", "Rear tilt", "°", signed=True, help="backward: minus"),
            _figure("movements.rear_swing_deg", "Rear swing", "°", signed=True, help="left: minus"),
        ),
    ),
    Group(
        "negative",
        "The negative: where it is kept, notes, print target",
        (
            Described("location", "Kept", marks="location", wide="whole"),
            Described("notes", "Notes", "note", wide="whole"),
            Described("print_target", "Print target", "choice", wide="whole"),
            *_spot("base_fog_spot", "Base+fog"),
        ),
        help="x and y are fractions of the upright scan, from its top left.",
    ),
)
"""What stands in groups that open."""

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
