"""Records → the text of a record file that reads back to the same records."""

from typing import Any

import yaml

from negcat.records.models import Records

__all__ = ["dump_yaml"]

_DUMPER = getattr(yaml, "CSafeDumper", yaml.SafeDumper)


def dump_yaml(records: Records) -> str:
    """Write records as a YAML record file.

    Parameters
    ----------
    records : the records; stops, times, tags and zones are written as they were marked.

    Returns
    -------
    Text that :func:`~negcat.records.load_files` reads back to equal records; empty where there are none.

    Examples
    --------
    >>> from negcat.records import Film
    >>> print(dump_yaml(Records(films=(Film(name="Kiln 100", box_speed="100"),))), end="")
    films:
    - name: Kiln 100
      box_speed: 100
      channel: grey
    """
    lists = {
        name: [_plain(record.model_dump(mode="json", exclude_none=True)) for record in found]
        for name in Records.MODELS
        if (found := getattr(records, name))
    }
    if not lists:
        return ""
    text = yaml.dump(lists, Dumper=_DUMPER, allow_unicode=True, sort_keys=False, width=100)
    return str(text)


def _plain(value: Any) -> Any:
    """Write whole numbers without a point, leave out what is empty."""
    if isinstance(value, dict):
        return {key: plain for key, part in value.items() if (plain := _plain(part)) not in ({}, [])}
    if isinstance(value, list):
        return [_plain(part) for part in value]
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return int(value)
    return value
