"""A record as it would be written by hand: every field as text, blank ones left out."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from negcat import notation
from negcat.records import Record

__all__ = ["written", "written_out"]

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
    fields = {name: written(getattr(record, name)) for name in type(record).model_fields}
    return {name: value for name, value in fields.items() if value not in (None, {}, [])}


def written(value: Any) -> Any:
    """Write out a value of a record as :func:`written_out` does.

    Examples
    --------
    >>> written(302.0), written(True), written("22½")
    ('302', 'yes', '22½')
    """
    if isinstance(value, Record):
        return written_out(value)
    if isinstance(value, list | tuple):
        return [written(item) for item in value]
    if isinstance(value, notation.Stop | notation.Time | notation.Tag | notation.Zone):
        return value.text
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        plain = format(Decimal(repr(value)), "f").removesuffix(".0")
        return plain if len(plain) <= _LONGEST_PLAIN else repr(value)
    return value
