"""The spots of a sheet set for being moved: where they lie as it is written in a form, and what is found with them.

A place is written in per cent of the scan's width and height, a diameter in millimetres on the film.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Any

from negcat.errors import NotationError
from negcat.web.sheet import Spot, base_fog_words, bound_words, letter
from negcat.web.typesetting import deviation, fixed, whole_sentence
from negcat.work.measure import SpotChange
from negcat.work.trying import Lying

__all__ = ["Panel", "Place", "changes_of", "marks", "set_panel"]

FOG_LETTER = "b+f"
"""What stands on the picture beside the spot of base+fog, where the readings have their letters."""

DEFAULT_DIAMETER_MM = 2.0

Written = Mapping[str, str]


@dataclass(frozen=True)
class Place:
    """A spot as the form has it.

    Parameters
    ----------
    key : of its fields in the form: the reading's place among the readings, or ``fog``.
    letter, name : by which picture and tables call it.
    x, y, diameter : as they stand in the fields; x and y in per cent, empty where no spot is set.
    was : the three as they are kept, by which a changed one is told.
    note : why it has no place on this scan though it has one on another, or that it was carried over.
    found : what is found there.
    kept : what is found where it is kept, where that differs; else empty.
    """

    key: str
    letter: str
    name: str
    x: str
    y: str
    diameter: str
    was: str
    note: str
    found: str
    kept: str


@dataclass(frozen=True)
class Panel:
    """The form in which spots are moved.

    Parameters
    ----------
    scan : the one that is looked at.
    state : the mark by which what is kept is known again.
    places : every spot.
    kept_verdict : the verdict as it is kept, where other spots were tried; else empty.
    carried : names of the readings whose spots were carried over onto the scan that is measured.
    confirm : whether the box that says they lie right is ticked.
    fault : a sentence on why what was sent isn't taken; else empty.
    opened : whether the panel stands open.
    """

    scan: str
    state: str
    places: tuple[Place, ...]
    kept_verdict: str
    carried: tuple[str, ...]
    confirm: bool
    fault: str
    opened: bool


def _number_text(number: float) -> str:
    return f"{number:.3f}".rstrip("0").rstrip(".")


def _key(lying: Lying) -> str:
    return "fog" if lying.index is None else str(lying.index)


def _letter(lying: Lying) -> str:
    return FOG_LETTER if lying.index is None else letter(lying.index)


def marks(lying: Sequence[Lying]) -> tuple[Spot, ...]:
    """Give the marks of spots on a picture."""
    return tuple(
        Spot(_letter(one), one.place.spot.x, one.place.spot.y)
        for one in lying
        if one.place is not None and one.place.spot is not None
    )


def set_panel(
    *,
    scan: str,
    state: str,
    lying: Sequence[Lying],
    kept: Mapping[str, Any],
    shown: Mapping[str, Any],
    typed: Written | None = None,
    fault: str = "",
) -> Panel:
    """Set the form in which spots are moved.

    Parameters
    ----------
    scan, state : as in :class:`Panel`.
    lying : every spot as it is kept, on that scan.
    kept : the sheet's dossier as it is kept.
    shown : the dossier that is shown, with the spots that were tried.
    typed : what the form sent, which stays in its fields where it was changed.
    fault : why it isn't taken.
    """
    places = []
    for one in lying:
        key, spot = _key(one), one.place.spot if one.place else None
        stands = (
            (_number_text(100 * spot.x), _number_text(100 * spot.y), _number_text(spot.diameter_mm))
            if spot
            else ("", "", _number_text(DEFAULT_DIAMETER_MM))
        )
        sent = _sent(typed, key) if typed is not None and typed.get(f"name-{key}") == one.name else None
        x, y, diameter = sent or stands
        before, now = _found(kept, one.index), _found(shown, one.index)
        places.append(
            Place(
                key=key,
                letter=_letter(one),
                name=one.name,
                x=x,
                y=y,
                diameter=diameter,
                was=" ".join(stands),
                note=_note(one),
                found=now,
                kept=before if before != now else "",
            )
        )
    carried = [
        *(str(one["name"]) for one in kept.get("readings") or () if one.get("spot_status") == "carried"),
        *(["base+fog"] if (kept.get("base_fog") or {}).get("spot_status") == "carried" else []),
    ]
    return Panel(
        scan=scan,
        state=state,
        places=tuple(places),
        kept_verdict=str((kept.get("result") or {}).get("verdict") or "not measured")
        if shown is not kept
        else "",
        carried=tuple(carried),
        confirm=bool(typed and typed.get("confirm") == "yes"),
        fault=whole_sentence(fault),
        opened=typed is not None,
    )


def _note(lying: Lying) -> str:
    if lying.place is None:
        return "No spot is set." if lying.index is not None else ""
    if lying.place.spot is None:
        return whole_sentence(lying.place.reason)
    return "Carried over from another scan." if lying.place.status == "carried" else ""


def _found(dossier: Mapping[str, Any], index: int | None) -> str:
    """Say what is found at a spot."""
    if index is None:
        words = base_fog_words(dossier.get("base_fog"))
        return f"Density {words}." if words else ""
    reading = dossier["readings"][index]
    net = reading.get("net_density")
    if net is None:
        measured = fixed(reading.get("density"))
        parts = [
            bound_words(reading) or (f"density {measured}" if measured else ""),
            str(reading.get("note") or ""),
        ]
        return " ".join(whole_sentence(part) for part in parts if part)
    said = f"{_with_sd(net, reading.get('sd'))} above base+fog"
    if reading.get("lost"):
        return f"{said}, lost in it."
    if reading.get("print_zone") is None:
        return f"{said}."
    return f"{said}, prints on zone {_with_sd(reading['print_zone'], reading.get('print_zone_sd'))}."


def _with_sd(value: float, sd: float | None) -> str:
    """Set a value with its deviation, on one line."""
    return f"{fixed(value)} {deviation(sd)}".rstrip().replace(" ", "\N{NO-BREAK SPACE}")


def _sent(typed: Written, key: str) -> tuple[str, str, str] | None:
    """Give what was written of a spot, where it was changed."""
    x, y, diameter = (typed.get(f"{name}-{key}", "").strip() for name in ("x", "y", "d"))
    return None if " ".join((x, y, diameter)) == typed.get(f"was-{key}", "") else (x, y, diameter)


def changes_of(typed: Written) -> list[SpotChange]:
    """Read from the form which spots were changed, and where to.

    Parameters
    ----------
    typed : the form's fields: ``scan`` and, of each spot, ``name-KEY``, ``x-KEY``, ``y-KEY``, ``d-KEY`` and, as
        they were kept, ``was-KEY``.

    Raises
    ------
    NotationError : a field that is no number or is blank, a place outside the scan.

    Examples
    --------
    >>> changes_of({"name-0": "soot", "x-0": "31,2", "y-0": "50", "d-0": "2", "was-0": "30 50 2"})
    [SpotChange(name='soot', x=0.312, y=0.5, diameter_mm=2.0, scan=None)]
    """
    changes = []
    for field, name in typed.items():
        key = field.removeprefix("name-")
        new = _sent(typed, key) if key != field else None
        if new is None:
            continue
        x = _number(new[0], f"from the left, of “{name}”")
        y = _number(new[1], f"from the top, of “{name}”")
        diameter = _number(new[2], f"the diameter of “{name}”")
        if not (0 <= x <= 100 and 0 <= y <= 100):
            raise NotationError(
                f"the spot of “{name}” lies outside the scan: write 0 to 100 % from the left and from the top"
            )
        # Of 31.2 % the float nearest to 0.312 is meant.
        changes.append(
            SpotChange(name, round(x / 100, 12), round(y / 100, 12), diameter, typed.get("scan") or None)
        )
    return changes


def _number(text: str, called: str) -> float:
    try:
        number = float(text.replace(",", "."))
    except ValueError:
        number = float("nan")
    if not isfinite(number):
        written = f"“{text}” is no number" if text else "there is no number"
        raise NotationError(f"{written} for {called}: write one such as 42.5")
    return number
