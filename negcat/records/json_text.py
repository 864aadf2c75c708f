"""JSON → plain data: every number the text it was written as."""

import json
import re
from collections.abc import Iterator
from typing import Any

from negcat.records.fields import shown
from negcat.records.positions import Token
from negcat.records.unreadable import MAX_FIELDS, UnreadableError

__all__ = ["MAX_MARKS", "json_tokens", "parse_json"]

MAX_MARKS = 12_000_000
"""Commas and opening brackets of a file: a value costs memory, however few bytes it takes."""


def parse_json(text: str) -> tuple[Any, bool]:
    """Read one JSON document.

    Parameters
    ----------
    text : the whole document.

    Returns
    -------
    The plain data (mappings, lists, text, truth values; blank fields left out), and whether a field stands
    there twice.

    Raises
    ------
    UnreadableError
        Where it is no valid JSON, or beyond the limits.

    Examples
    --------
    >>> parse_json('{"sheets": [{"sheet": "BW-01", "stop": 22.50, "notes": null}]}')
    ({'sheets': [{'sheet': 'BW-01', 'stop': '22.50'}]}, False)
    """
    twice = False
    if sum(map(text.count, ",[{")) > MAX_MARKS:
        raise UnreadableError(
            f"it holds more than {MAX_MARKS:,} values; share the records among several files"
        )

    def mapping(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        nonlocal twice
        if len(pairs) > MAX_FIELDS:
            raise UnreadableError(
                f"the mapping from {shown(pairs[0][0])} on has {len(pairs):,} fields, more than {MAX_FIELDS:,}; write "
                "a list of records"
            )
        fields = dict(pairs)
        twice = twice or len(fields) != len(pairs)
        values = fields.values()
        if None in values or "" in values:
            fields = {name: value for name, value in pairs if value is not None and value != ""}
        return fields

    try:
        data = json.loads(text, object_pairs_hook=mapping, parse_int=str, parse_float=str, parse_constant=str)
    except json.JSONDecodeError as fault:
        raise UnreadableError(
            f"this is no valid JSON ({fault.msg[:1].lower()}{fault.msg[1:]}); look at the commas, quotes and "
            "brackets here and just before",
            f"line {fault.lineno}, column {fault.colno}",
        ) from None
    except RecursionError:
        raise UnreadableError("too many lists lie inside each other; a record needs seven") from None
    return data, twice


_TOKEN = re.compile(r'"(?:[^"\\]|\\.)*"|[{}\[\],:]|[^\s{}\[\],:"]+', re.DOTALL)


def json_tokens(text: str) -> Iterator[Token]:
    """Give the tokens of a JSON text that has been read before, with their lines."""
    due: list[bool | None] = []
    line, at = 1, 0
    for match in _TOKEN.finditer(text):
        line += text.count("\n", at, match.start())
        at = match.start()
        token = match.group()
        if token in "{[":
            due.append(None if token == "[" else True)
            yield token, "", line
        elif token in "}]":
            due.pop()
            yield token, "", line
        elif token == ",":
            if due and due[-1] is False:
                due[-1] = True
        elif token == ":":
            continue
        elif due and due[-1]:
            due[-1] = False
            yield "key", json.loads(token), line
        else:
            yield "value", "", line
