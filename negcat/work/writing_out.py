"""A record as it would be written by hand: every field as text, blank ones left out."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from negcat import notation
from negcat.records import Record

__all__ = ["written_out"]

_LONGEST_PLAIN = 24


def written_out(record: Record) -> dict[str, Any]:
    """Write out a record.

    Parameters
    ----------
    record : any record.

    Returns
    -------
    Its fields as text that reads back to the same values: stops, times, tags and zones as they were marked,
    numbers without figures that say nothing, records inside it as mappings, lists as lists. Blank fields and
    empty lists are left out.

    Examples
    --------
    >>> from negcat.records import Reading
    >>> written_out(Reading(name="soot", ev=10.0, zone="III½", placed=True))
    {'name': 'soot', 'role': 'other', 'ev': '10', 'zone': 'III½', 'placed': 'yes'}
    """
    fields = {name: _text(getattr(record, name)) for name in type(record).model_fields}
    return {name: value for name, value in fields.items() if value not in (None, {}, [])}


def _text(value: Any) -> Any:
    if isinstance(value, Record):
        return written_out(value)
    if isinstance(value, list | tuple):
        return [_text(item) for item in value]
    if isinstance(value, notation.Stop | notation.Time | notation.Tag | notation.Zone):
        return value.text
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        plain = format(Decimal(repr(value)), "f").removesuffix(".0")
        return plain if len(plain) <= _LONGEST_PLAIN else repr(value)
    return value
