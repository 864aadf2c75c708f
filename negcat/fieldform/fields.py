"""The fields of the form for a sheet's record: their names, labels and keyboards.

The form on the archive's pages and the one that is carried into the field are laid out from the same list. A field's
name is its path in the record, joined with full stops: ``bellows_mm``, ``movements.front_rise_mm``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from negcat.notation import format_stop, format_tag, format_zone

__all__ = ["DECIDED", "GROUPS", "MARKS", "READING", "READING_MORE", "Described", "Group"]

MARKS: Mapping[str, Sequence[str]] = {
    "stops": [format_stop(2 ** (half / 4)).removeprefix("f/") for half in range(10, 29)],
    "times": [
        *(f"1/{mark}" for mark in (500, 250, 125, 60, 30, 15, 8, 4, 2)),
        *("1", "2 s", "4 s", "8 s", "15 s", "30 s", "1m", "2m", "4m"),
    ],
    "tags": [format_tag(n / 2) for n in range(-4, 5)],
    "zones": [format_zone(zone) for zone in range(11)],
}
"""What is most often written of each notation; anything else may be written too."""


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
