"""Records → the text of a record file that reads back to the same records."""

import json
from typing import Any

import yaml

from negcat.records.base import Record
from negcat.records.models import Records
from negcat.records.reading import MAX_BYTES, MAX_YAML_BYTES
from negcat.records.yaml_text import MAX_NODES

__all__ = ["RecordText", "as_written", "dump_yaml"]

_ROOM = 0.9
"""How full a file gets, of what is read of one."""


class _Dumper(getattr(yaml, "CSafeDumper", yaml.SafeDumper)):  # type: ignore[misc]
    """Writes text of several lines as such lines."""

    def ignore_aliases(self, data: Any) -> bool:
        return True


def _text(dumper: Any, text: str) -> Any:
    return dumper.represent_scalar("tag:yaml.org,2002:str", text, style="|" if "\n" in text else None)


_Dumper.add_representer(str, _text)


def as_written(record: Record) -> dict[str, Any]:
    """Give a record as a record file says it, with whole numbers without a point, and without what is empty.

    Examples
    --------
    >>> from negcat.records import Film
    >>> as_written(Film(name="Kiln 100", box_speed="100"))
    {'name': 'Kiln 100', 'box_speed': 100, 'channel': 'grey'}
    """
    plain = _plain(record.model_dump(mode="json", exclude_none=True))
    assert isinstance(plain, dict)
    return plain


class RecordText:
    """The text of a record file, written record by record.

    Stops, times, tags and zones are written as they were marked, so that :func:`~negcat.records.load_files` reads it
    back to equal records.

    Parameters
    ----------
    ending : what the file's name ends in: ``yaml``, ``yml`` or ``json``.
    head : text before the first record; comment lines, which JSON has none of.
    """

    def __init__(self, ending: str, head: str = "") -> None:
        self._json = ending == "json"
        self._head = "" if self._json else head
        self._list: str | None = None
        self._bytes = len(self._head.encode())
        self._values = 1

    def add(self, name: str, record: Record) -> str:
        """Give the text by which a record joins those before it.

        Parameters
        ----------
        name : its list; records of one list come one after the other.
        record : the record.
        """
        written = as_written(record)
        text = self._between(name)
        if self._json:
            text += "  " + json.dumps(written, ensure_ascii=False)
        else:
            text += str(yaml.dump([written], Dumper=_Dumper, allow_unicode=True, sort_keys=False, width=100))
        self._list = name
        self._bytes += len(text.encode())
        self._values += _values_in(written)
        return text

    def _between(self, name: str) -> str:
        if name == self._list:
            return ",\n" if self._json else ""
        if not self._json:
            return f"{'' if self._list else self._head}{name}:\n"
        return ("\n],\n" if self._list else "{\n") + f"{json.dumps(name)}: [\n"

    def end(self) -> str:
        """Give the text after the last record."""
        if not self._json:
            return "" if self._list else self._head
        return "\n]\n}\n" if self._list else "{}\n"

    @property
    def is_full(self) -> bool:
        """Whether it is nearly as much as is read of one file; further records go into another one."""
        limit = MAX_BYTES if self._json else MAX_YAML_BYTES
        return self._bytes > _ROOM * limit or (not self._json and self._values > _ROOM * MAX_NODES)


def dump_yaml(records: Records) -> str:
    """Write records as the text of a YAML record file; empty where there are none.

    Examples
    --------
    >>> from negcat.records import Film
    >>> print(dump_yaml(Records(films=(Film(name="Kiln 100", box_speed="100"),))), end="")
    films:
    - name: Kiln 100
      box_speed: 100
      channel: grey
    """
    text = RecordText("yaml")
    return (
        "".join(text.add(name, record) for name in Records.MODELS for record in getattr(records, name))
        + text.end()
    )


def _values_in(written: Any) -> int:
    """Count scalars, lists and mappings, which a YAML file may hold only so many of."""
    if isinstance(written, dict):
        return 1 + sum(1 + _values_in(part) for part in written.values())
    if isinstance(written, list):
        return 1 + sum(map(_values_in, written))
    return 1


def _plain(value: Any) -> Any:
    """Write whole numbers without a point, leave out what is empty."""
    if isinstance(value, dict):
        return {key: plain for key, part in value.items() if (plain := _plain(part)) not in ({}, [])}
    if isinstance(value, list):
        return [_plain(part) for part in value]
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return int(value)
    return value
