"""The form for where there is no network: what it holds of the archive, and what a field is held against."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any, Final, get_args, get_type_hints

from negcat import records
from negcat.fieldform import Check, FormData, LensChoice, LoadedSide, laid_out, set_page
from negcat.notation.patterns import FORMS
from negcat.records import fields
from negcat.records.film_formats import FORMAT_PATTERN, FORMATS_UNDERSTOOD
from negcat.work.archive import Archive
from negcat.work.drafting import CARRIED, choices, next_sheet
from negcat.work.holders import holders

__all__ = ["field_checks", "field_form"]

MOST_IDS: Final = 20_000
"""Ids of sheets that the page knows as taken, the newest; more would make it too heavy for a phone."""

_NOTATIONS: Final = (
    (fields.StopField, "stop"),
    (fields.TimeField, "time"),
    (fields.TagField, "tag"),
    (fields.ZoneField, "zone"),
    (fields.Number, "number"),
)
_PATTERNS: Final = (
    (fields.SheetId, "", "write letters A–Z, digits, full stops, dashes and underlines only"),
    (fields.Format, FORMAT_PATTERN, f"write for example {FORMATS_UNDERSTOOD}"),
    (fields.When, fields.WHEN.pattern, "write 2026-05-03 or 2026-05-03 07:40"),
)
"""Kinds of text that are written in one way only; a blank pattern is the schema's own."""


def field_form(archive: Archive, *, made: datetime) -> bytes:
    """Write the form.

    Parameters
    ----------
    archive : the archive, which is only read.
    made : the day and time of day.

    Returns
    -------
    An HTML file, UTF-8, that holds all it needs.
    """
    catalogue = archive.catalogue
    offered = choices(catalogue)
    data = FormData(
        archive=archive.root.name,
        key=hashlib.sha256(str(archive.root).encode("utf-8", "surrogateescape")).hexdigest()[:12],
        films=offered.films,
        lenses=[_lens(lens) for lens in offered.lenses],
        print_targets=offered.print_targets,
        recent=offered.recent,
        loaded=[
            LoadedSide(side.holder, side.side, side.film or "", side.format or "")
            for side in holders(archive)
            if side.state == "loaded"
        ],
        taken=[*catalogue.removed_ids(), *catalogue.sheet_ids()][-MOST_IDS:],
        next_id=str(next_sheet(catalogue, made).record["sheet"]),
        carried=CARRIED,
        checks=field_checks(),
        made=made.date(),
    )
    return set_page(data).encode("utf-8", "xmlcharrefreplace")


def _lens(lens: records.Lens) -> LensChoice:
    return LensChoice(lens.name, [(cell.cell, f"{cell.cell}, {cell.focal_mm:g} mm") for cell in lens.cells])


def field_checks() -> dict[str, Check]:
    """Say of every field of the form what its text is held against, as models and schemas have it.

    Returns
    -------
    The field's name (within a reading ``readings.zone``) → its check.
    """
    schema = records.schema_documents()["sheet.schema.json"]
    decided, reading, groups = laid_out()
    named = [field.name for field in (*decided, *(one for group in groups for one in group.fields))]
    return {
        **{name: _check(schema, schema, records.Sheet, name) for name in named},
        **{
            f"readings.{field.name}": _check(schema, schema["$defs"]["Reading"], records.Reading, field.name)
            for field in reading
        },
    }


def _check(
    schema: Mapping[str, Any], described: Mapping[str, Any], model: type[records.Record], name: str
) -> Check:
    """Say what a field of a model is held against, the model being described in a schema."""
    first, _, rest = name.partition(".")
    hint = get_type_hints(model, include_extras=True)[first]
    if rest:
        inner = next(
            part for part in _parts(hint) if isinstance(part, type) and issubclass(part, records.Record)
        )
        check = _check(schema, schema["$defs"][inner.__name__], inner, rest)
        # What lies inside may be left out as a whole, so nothing of it is required by itself.
        return replace(check, required=False)
    notation = next((word for kind, word in _NOTATIONS if _is(hint, kind)), "")
    written, forms = next(((text, forms) for kind, text, forms in _PATTERNS if _is(hint, kind)), ("", ""))
    limits: dict[str, Any] = {}
    field = described["properties"][first]
    for part in (field, *field.get("anyOf", ())):
        limits |= part
    return Check(
        notation=notation,
        pattern=written or limits.get("pattern", ""),
        forms=FORMS[notation] if notation else forms,
        required=first in described.get("required", ()),
        low=limits.get("minimum"),
        high=limits.get("maximum"),
        longest=limits.get("maxLength"),
    )


def _parts(hint: Any) -> Iterator[Any]:
    yield hint
    for part in get_args(hint):
        yield from _parts(part)


def _is(hint: Any, kind: Any) -> bool:
    """Tell whether a hint is a kind of field, or may be left out and else is, whatever more is said of it."""
    wanted = kind.__metadata__
    return any(
        getattr(part, "__metadata__", ())[: len(wanted)] == wanted and part.__origin__ == kind.__origin__
        for part in _parts(hint)
        if hasattr(part, "__metadata__")
    )
