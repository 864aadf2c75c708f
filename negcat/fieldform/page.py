"""The page itself: one HTML file that holds the archive's names, the form and its script, and asks for nothing."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date
from html import escape
from importlib.resources import files
from string import Template
from typing import Any, Final

from negcat.fieldform.fields import DECIDED, GROUPS, MARKS, READING, READING_MORE, Described, Group
from negcat.notation.patterns import FORMS, LONGEST, PATTERNS, SIGNS

__all__ = ["Check", "FormData", "LensChoice", "LoadedSide", "laid_out", "set_page"]

_ROW: Final = "__ROW__"
"""Stands for a reading's place in the pattern that the script copies."""

_ROLES: Final = ("shadow", "highlight", "middle", "other")
_OPEN: Final = frozenset({"where"})
"""Groups that stand open: what is nearly always written in the field."""


@dataclass(frozen=True)
class Check:
    """What a field's text is held against.

    Parameters
    ----------
    notation : one of :data:`~negcat.notation.patterns.PATTERNS`; blank for text.
    pattern : of the whole text, where it is no notation; blank for any.
    forms : how it is written, for the sentence that asks for it.
    required : it may not be blank.
    low, high : limits of a plain decimal; None where there is none.
    longest : letters at most; None where there is no limit.
    """

    notation: str = ""
    pattern: str = ""
    forms: str = ""
    required: bool = False
    low: float | None = None
    high: float | None = None
    longest: int | None = None


@dataclass(frozen=True)
class LensChoice:
    """A lens and its cells: (name, in words)."""

    name: str
    cells: Sequence[tuple[str, str]]


@dataclass(frozen=True)
class LoadedSide:
    """A side of a holder that is loaded and not exposed."""

    holder: str
    side: str
    film: str
    format: str = ""


@dataclass(frozen=True)
class FormData:
    """What the page holds of the archive.

    Parameters
    ----------
    archive : its name.
    key : tells what is typed for this archive from what is typed for another.
    films, print_targets : names; lenses : with their cells.
    recent : field → what the last sheets had there, offered while one types.
    loaded : sides that are loaded and not exposed.
    taken : ids of the archive's sheets.
    next_id : the id the next sheet would get; blank where none can be said.
    carried : fields that stay from one sheet to the next.
    checks : field → what its text is held against; those of a reading under ``readings.``.
    made : the day.
    """

    archive: str
    key: str
    films: Sequence[str]
    lenses: Sequence[LensChoice]
    print_targets: Sequence[str]
    recent: Mapping[str, Sequence[str]]
    loaded: Sequence[LoadedSide]
    taken: Sequence[str]
    next_id: str
    carried: Sequence[str]
    checks: Mapping[str, Check]
    made: date


def laid_out() -> tuple[tuple[Described, ...], tuple[Described, ...], tuple[Group, ...]]:
    """List the fields of the page: those decided, those of a reading, those in groups.

    A spot lies on a scan, which nobody has in the field; those fields are left out.
    """

    def kept(fields: Iterable[Described]) -> tuple[Described, ...]:
        return tuple(field for field in fields if "spot." not in field.name)

    groups = []
    for group in GROUPS:
        inside = kept(group.fields)
        # What helps with the whole group may be about what is left out.
        groups.append(replace(group, fields=inside, help=group.help if inside == group.fields else ""))
    return DECIDED, (*READING, *kept(READING_MORE)), tuple(groups)


def read(name: str) -> str:
    """Read a file of this room."""
    return files("negcat.fieldform").joinpath(name).read_text(encoding="utf-8")


def set_page(data: FormData) -> str:
    """Write the page.

    Parameters
    ----------
    data : what it holds of the archive; every text in it stays text.

    Returns
    -------
    HTML that runs its own script and style and no others, and asks no network.
    """
    script, style = read("form.js"), read("form.css")
    policy = "; ".join(
        (
            "default-src 'none'",
            f"script-src {_hash(script)}",
            f"style-src {_hash(style)}",
            "base-uri 'none'",
            "form-action 'none'",
        )
    )
    decided, reading, groups = laid_out()
    return Template(read("form.html")).substitute(
        archive=escape(data.archive),
        decided="".join(_field(field, data) for field in decided),
        groups="".join(_group(group, data) for group in groups),
        known=_as_data(_known(data)),
        loaded=_loaded(data.loaded),
        made=f"{data.made.day} {data.made:%B %Y}",
        marks="".join(_marks(name, values) for name, values in {**MARKS, **data.recent}.items()),
        policy=escape(policy),
        reading=_reading(reading, data),
        script=script,
        style=style,
        title=escape(f"Field form · {data.archive}"),
    )


def _hash(inline: str) -> str:
    digest = base64.b64encode(hashlib.sha256(inline.encode()).digest()).decode()
    return f"'sha256-{digest}'"


def _as_data(value: Any) -> str:
    """Write data as JSON that no text in it can end: HTML reads no escapes inside a script."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")


def _known(data: FormData) -> dict[str, Any]:
    return {
        "key": data.key,
        "taken": list(data.taken),
        "nextId": data.next_id,
        "carried": list(data.carried),
        "cells": {lens.name: [name for name, _ in lens.cells] for lens in data.lenses},
        "loaded": [asdict(side) for side in data.loaded],
        "checks": {
            name: {key: value for key, value in asdict(check).items() if value not in ("", None, False)}
            for name, check in data.checks.items()
        },
        "patterns": dict(PATTERNS),
        "forms": dict(FORMS),
        "signs": list(SIGNS.items()),
        "longest": LONGEST,
        "roles": list(_ROLES[:3]),
        "wanted": _wanted(),
    }


def _wanted() -> dict[str, str]:
    """List what is said at a blank field that may not be."""
    decided, reading, groups = laid_out()
    alone = {
        field.name: field.wanted for field in (*decided, *(one for group in groups for one in group.fields))
    }
    of_reading = {f"readings.{field.name}": field.wanted for field in reading}
    return {name: wanted for name, wanted in {**alone, **of_reading}.items() if wanted}


def _field(field: Described, data: FormData, prefix: str = "") -> str:
    name = prefix + field.name
    at = f"f-{name.replace('.', '-')}"
    unit = f' <span class="soft">{escape(field.unit)}</span>' if field.unit else ""
    described = f"{at}-fault" + (f" {at}-help" if field.help else "")
    common = f'id="{at}" name="{name}" aria-describedby="{described}"'
    if field.kind == "choice":
        control = f"<select {common}>{_choices(field.name, data)}</select>"
    elif field.kind == "note":
        control = f'<textarea {common} rows="2"></textarea>'
    else:
        marks = f' list="marks-{field.marks}"' if field.marks else ""
        capitals = "characters" if field.name in ("sheet", "side", "tag") else "off"
        signed = " data-signed" if field.signed else ""
        control = (
            f'<input {common} type="text" inputmode="{field.keyboard}"{marks}{signed} autocomplete="off" '
            f'autocapitalize="{capitals}" spellcheck="false" enterkeyhint="done">'
        )
    if field.name == "exposed_at":
        control = (
            f'<span class="beside">{control}<button type="button" id="now" class="plain">Now</button></span>'
        )
    help_line = f'<p class="soft help" id="{at}-help">{escape(field.help)}</p>' if field.help else ""
    return (
        f'<div class="field {field.wide}" data-field="{name}"><label for="{at}">{escape(field.label)}{unit}</label>'
        f'{control}<p class="fault" id="{at}-fault" hidden></p>{help_line}</div>\n'
    )


def _choices(name: str, data: FormData) -> str:
    if name == "role":
        return "".join(_option(role, role) for role in _ROLES)
    if name == "placed":
        return _option("", "the first shadow is") + _option("yes", "yes") + _option("no", "no")
    if name in ("cell", "stop_scale"):
        first = "not chosen" if name == "cell" else "its own, or the whole lens"
        groups = (
            f'<optgroup label="{escape(lens.name)}">{"".join(_option(*cell) for cell in lens.cells)}</optgroup>'
            for lens in data.lenses
        )
        return _option("", first) + "".join(groups)
    known = {
        "film": data.films,
        "lens": [lens.name for lens in data.lenses],
        "print_target": data.print_targets,
    }[name]
    first = "silver, diffusion, unless chosen" if name == "print_target" else "not chosen"
    return _option("", first) + "".join(_option(one, one) for one in known)


def _option(value: str, words: str) -> str:
    return f'<option value="{escape(value)}">{escape(words)}</option>'


def _reading(fields: Sequence[Described], data: FormData) -> str:
    inside = "".join(_field(field, data, f"readings.{_ROW}.") for field in fields[: len(READING)])
    more = "".join(_field(field, data, f"readings.{_ROW}.") for field in fields[len(READING) :])
    return (
        f'<fieldset class="reading" data-place="{_ROW}"><legend>Reading</legend><div class="grid">{inside}</div>'
        f'<details><summary>Distance, placing</summary><div class="grid">{more}</div></details>'
        '<button type="button" class="plain without">Remove reading</button></fieldset>'
    )


def _group(group: Group, data: FormData) -> str:
    opened = " open" if group.key in _OPEN else ""
    fields = "".join(_field(field, data) for field in group.fields)
    help_line = f'<p class="soft help">{escape(group.help)}</p>' if group.help else ""
    return (
        f'<details class="group"{opened}><summary>{escape(group.title)}</summary>{help_line}'
        f'<div class="grid">{fields}</div></details>\n'
    )


def _loaded(loaded: Sequence[LoadedSide]) -> str:
    """Offer the loaded sides; choosing one fills in holder, side, film and format."""
    if not loaded:
        return ""
    options = "".join(
        _option(str(place), f"{side.holder} {side.side}: {side.film}") for place, side in enumerate(loaded)
    )
    return (
        '<div class="field whole"><label for="loaded">Holder from those loaded</label>'
        f'<select id="loaded">{_option("", "not chosen")}{options}</select></div>'
    )


def _marks(name: str, values: Sequence[str]) -> str:
    options = "".join(f'<option value="{escape(value)}"></option>' for value in values)
    return f'<datalist id="marks-{escape(name)}">{options}</datalist>\n'
