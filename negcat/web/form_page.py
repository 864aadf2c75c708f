"""The form for a sheet's record, set for its template: values, choices, faults, the ledger beside it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from negcat.errors import Fault
from negcat.fieldform.fields import MARKS
from negcat.records import Lens
from negcat.web.form_fields import (
    DECIDED,
    GROUPS,
    READING,
    READING_MORE,
    Described,
    Typed,
    describe,
    label_of,
    name_of,
)
from negcat.web.sheet import LedgerRow, ledger_rows
from negcat.web.typesetting import date, fixed, stops, zone_numeral
from negcat.work.calculating import Calculation
from negcat.work.drafting import Choices
from negcat.work.editing import OutdatedRecordError

__all__ = [
    "MARKS",
    "CalculationShown",
    "FaultShown",
    "FieldShown",
    "FormShown",
    "GroupShown",
    "ReadingShown",
    "outdated_lines",
    "set_calculation",
    "set_faults",
    "set_form",
    "taken_over",
]

ROW = "__ROW__"
"""Stands for a reading's place in the row that the page's script copies."""

_ROLES = ("shadow", "middle", "highlight", "other")
_FIRST_ROLES = ("shadow", "highlight", "middle")
_LEAST_ROWS = 3


@dataclass(frozen=True)
class FieldShown:
    """A field with what stands in it and what is wrong with it."""

    described: Described
    name: str
    value: str
    fault: str = ""
    label: str = ""
    choices: Sequence[tuple[str, Sequence[tuple[str, str]]]] = ()

    @property
    def id(self) -> str:
        """The element's id."""
        return f"f-{self.name.replace('.', '-')}"


@dataclass(frozen=True)
class ReadingShown:
    """One reading: what is always seen of it, and what opens."""

    place: str
    number: str
    fields: Sequence[FieldShown]
    more: Sequence[FieldShown]
    open: bool
    holds: str


@dataclass(frozen=True)
class GroupShown:
    """A group of fields; open where there is something in it to be seen."""

    key: str
    title: str
    help: str
    fields: Sequence[FieldShown]
    open: bool
    holds: str


@dataclass(frozen=True)
class FaultShown:
    """A fault: the field, in words and by its element, and the sentence."""

    name: str
    label: str
    sentence: str
    blank: bool = False

    @property
    def id(self) -> str:
        """The id of the element that is at fault; empty where the form has none for it."""
        if self.name == "readings":
            return "f-readings-0-name"
        return f"f-{self.name.replace('.', '-')}" if describe(self.name) else ""


@dataclass(frozen=True)
class CalculationShown:
    """The ledger and the zones, in figures set for reading."""

    rows: Sequence[LedgerRow] = ()
    total: str = ""
    given: str = ""
    decision: str = ""
    readings: Sequence[tuple[str, str, str, str, str]] = ()
    why: Sequence[str] = ()
    waits: str = ""
    left_out: str = ""


@dataclass(frozen=True)
class FormShown:
    """The whole form."""

    decided: Sequence[FieldShown]
    readings: Sequence[ReadingShown]
    groups: Sequence[GroupShown]
    pattern: ReadingShown
    faults: Sequence[FaultShown]
    calculation: CalculationShown
    marks: Mapping[str, Sequence[str]] = field(default_factory=dict)


def set_form(
    values: Mapping[str, str],
    choices: Choices,
    calculation: Calculation,
    faults: Sequence[FaultShown] = (),
    *,
    rows: int = 0,
    open_groups: Iterable[str] = (),
) -> FormShown:
    """Set the form.

    Parameters
    ----------
    values : the form's fields, the readings counted from 0 without a gap.
    choices : what the archive offers to choose from.
    calculation : what the values amount to.
    faults : what is to be said at the fields.
    rows : how many readings to lay out at least.
    open_groups : groups that stand open whatever is in them.
    """
    said: dict[str, str] = {}
    for fault in faults:
        said[fault.name] = f"{said[fault.name]} {fault.sentence}" if fault.name in said else fault.sentence
    filled = 1 + max((int(name.split(".")[1]) for name in values if name.startswith("readings.")), default=-1)
    rows = max(rows, filled + 1, _LEAST_ROWS)

    # Of two lenses with a cell of the same name, the chosen lens's is meant.
    lenses = sorted(choices.lenses, key=lambda lens: lens.name != values.get("lens"))
    choices = replace(choices, lenses=lenses)

    def show(described: Described, place: str = "") -> FieldShown:
        name = f"readings.{place}.{described.name}" if place else described.name
        value = values.get(name, "")
        if place and described.name == "role" and not value:
            value = _FIRST_ROLES[int(place)] if place in "012" and not filled else "other"
        return FieldShown(
            described,
            name,
            value,
            said.get(name, ""),
            label_of(name) if place.isdigit() else described.label,
            _choices(described.name, value, choices) if described.kind == "choice" else (),
        )

    def reading(place: str) -> ReadingShown:
        more = [show(described, place) for described in READING_MORE]
        return ReadingShown(
            place,
            str(int(place) + 1) if place.isdigit() else "",
            [show(described, place) for described in READING],
            more,
            any(part.fault or (part.value and "spot" not in part.name) for part in more),
            "filled in" if any(part.value for part in more) else "",
        )

    def group(key: str, title: str, note: str, described: Sequence[Described]) -> GroupShown:
        fields = [show(one) for one in described]
        is_open = key in set(open_groups) or any(part.fault for part in fields)
        return GroupShown(key, title, note, fields, is_open, _holds(fields))

    return FormShown(
        decided=[show(described) for described in DECIDED],
        readings=[reading(str(place)) for place in range(rows)],
        groups=[group(one.key, one.title, one.help, one.fields) for one in GROUPS],
        pattern=reading(ROW),
        faults=faults,
        calculation=set_calculation(calculation),
        marks={**MARKS, **choices.recent},
    )


def _holds(fields: Sequence[FieldShown]) -> str:
    """Say what stands in fields that are shut away."""
    return ", ".join(" ".join(part.value.split())[:40] for part in fields if part.value)


def _choices(name: str, value: str, choices: Choices) -> list[tuple[str, list[tuple[str, str]]]]:
    """List the choices of a field in groups: (the group's name, (value, words) of each)."""
    groups: list[tuple[str, list[tuple[str, str]]]]
    if name == "role":
        groups = [("", [(role, role) for role in _ROLES])]
    elif name == "placed":
        groups = [("", [("", "the first shadow is"), ("yes", "yes"), ("no", "no")])]
    elif name in ("cell", "stop_scale"):
        first = "not chosen" if name == "cell" else "its own, or the whole lens"
        groups = [("", [("", first)])]
        groups += [
            (lens.name, [(cell.cell, _cell_words(lens, cell)) for cell in lens.cells])
            for lens in choices.lenses
        ]
    else:
        known = {
            "film": choices.films,
            "lens": [lens.name for lens in choices.lenses],
            "print_target": choices.print_targets,
        }[name]
        none = "silver, diffusion, unless chosen" if name == "print_target" else "not chosen"
        groups = [("", [("", none), *((one, one) for one in known)])]
    if value and not any(value == known for _, group in groups for known, _ in group):
        groups[0][1].append((value, f"{value} (not known)"))
    return groups


def _cell_words(lens: Lens, cell: Any) -> str:
    return f"{cell.cell}, {cell.focal_mm:g} mm" if len(lens.cells) > 1 else f"{cell.cell} ({lens.name})"


# Faults -----------------------------------------------------------------------------------------------------


def set_faults(faults: Sequence[Fault], typed: Typed, values: Mapping[str, str]) -> list[FaultShown]:
    """Set the faults of a record at the form's fields, in the order of the page.

    Parameters
    ----------
    faults : each with its path from the top of the record file.
    typed : what the form sent.
    values : the form's fields, as they were sent.
    """
    shown = []
    for fault in faults:
        name = name_of(fault.path[2:], typed.rows) if len(fault.path) > 2 else ""
        described = describe(name)
        blank = not str(values.get(name) or "").strip()
        sentence = described.wanted if described and blank and described.wanted else _sentence(fault.what)
        shown.append(FaultShown(name, label_of(name) if name else "The record", sentence, blank))
    return list(dict.fromkeys(shown))


def _sentence(half: str) -> str:
    text = half[:1].upper() + half[1:]
    return text if text.endswith((".", "?", "!")) else f"{text}."


def outdated_lines(error: OutdatedRecordError) -> list[FaultShown]:
    """Say what was changed in a record while it was edited."""
    lines = []
    for changed in error.changed:
        name = f"{changed.field}" if describe(changed.field) else name_of((changed.field,))
        was, now = _words(changed.was), _words(changed.now)
        here = "What you typed stands here." if changed.kept else "It is taken over here."
        began = f"was {was} and is {now} now" if changed.was is not None else f"is {now} now"
        lines.append(FaultShown(name, label_of(changed.field), f"{began[:1].upper()}{began[1:]}. {here}"))
    return lines


def _words(value: Any) -> str:
    if value in (None, "", [], {}):
        return "blank"
    if isinstance(value, Mapping):
        return ", ".join(f"{name.replace('_', ' ')} {_words(part)}" for name, part in value.items())
    if isinstance(value, list | tuple):
        return "; ".join(_words(part) for part in value)
    text = " ".join(str(value).split())
    return f"“{text if len(text) <= 80 else text[:77] + '…'}”"


# The ledger -------------------------------------------------------------------------------------------------

_IN_WORDS = {
    "film": "the film",
    "lens": "the lens",
    "cell": "the cell",
    "stop": "the stop",
    "stop_scale": "the scale that the stop was read from",
    "time": "the time",
}


def set_calculation(calculation: Calculation) -> CalculationShown:
    """Set what a record in writing amounts to."""
    rows, total, given = ledger_rows(calculation.ledger)
    left_out = ", ".join(label_of(name_of(path)) for path in calculation.left_out)
    if calculation.exposure is None:
        waits = _listed([_IN_WORDS[name] for name in calculation.wanting])
        return CalculationShown(
            why=tuple(calculation.why),
            waits=f"The ledger waits for {waits}." if waits else "There is no ledger yet.",
            left_out=left_out,
        )
    beyond = calculation.exposure["decision_stops"]
    return CalculationShown(
        rows=rows,
        total=total,
        given=given,
        decision=f"Given beyond plan: {stops(beyond)} stop" if beyond is not None else "",
        readings=[_zones(reading) for reading in calculation.readings],
        why=tuple(calculation.why),
        left_out=left_out,
    )


def _zones(reading: Mapping[str, Any]) -> tuple[str, str, str, str, str]:
    planned = reading["planned_zone"]
    how = str(reading["role"])
    if planned is not None:
        how += f", {'placed' if reading['placed'] else 'falls'} on {zone_numeral(planned)}"
    return (
        str(reading["name"]),
        how,
        fixed(planned),
        fixed(reading["given_zone"]),
        fixed(reading["planned_print_zone"]),
    )


def _listed(words: Sequence[str]) -> str:
    *others, last = words or [""]
    return f"{', '.join(others)} and {last}" if others else last


def taken_over(record: Mapping[str, Any]) -> str:
    """Name, in words, what a suggestion took over: every field of it with what stands there.

    Examples
    --------
    >>> taken_over({"film": "Marl Pan 100", "sheet": "BW-25", "tag": "N+1"})
    'film Marl Pan 100, development N+1'
    """
    parts = []
    for name, value in record.items():
        if name in ("sheet", "exposed_at") or not isinstance(value, str):
            continue
        label = label_of(name)
        parts.append(f"{label[:1].lower()}{label[1:]} {' '.join(value.split())}")
    return ", ".join(parts)


def when(at: str | None) -> str:
    """Set when something happened."""
    return date(at)
