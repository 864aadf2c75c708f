"""YAML → plain data: every scalar the text it was written as, within limits on size, depth and aliases.

The text is read event by event: nothing is ever built from a tag, an alias is counted with all it stands for,
and what stays in memory is the plain data alone.
"""

from collections.abc import Iterator
from typing import Any

import yaml

from negcat.records.positions import Token
from negcat.records.unreadable import MAX_FIELDS, MAX_LETTERS, UnreadableError

__all__ = ["MAX_DEPTH", "MAX_NODES", "parse_yaml", "yaml_tokens"]

MAX_DEPTH = 20
"""Lists and mappings inside each other; a record needs seven."""

MAX_NODES = 4_000_000
"""Scalars, lists and mappings of a file, those behind aliases counted as often as they are used."""

LETTERS_A_NODE = 64
"""Letters behind an alias that count like a value of their own."""

_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_NULLS = frozenset({"", "~", "null", "Null", "NULL"})
_PLAIN_TAGS = frozenset(
    {"!"}
    | {
        f"tag:yaml.org,2002:{kind}"
        for kind in ("str", "int", "float", "bool", "null", "timestamp", "map", "seq")
    }
)


def _events(text: str) -> Iterator[yaml.Event]:
    try:
        yield from yaml.parse(text, Loader=_LOADER)
    except yaml.reader.ReaderError as fault:
        mark = fault.character if isinstance(fault.character, int) else ord(str(fault.character)[:1] or "?")
        raise UnreadableError(f"it holds the unprintable mark U+{mark:04X}; take it out") from None
    except yaml.MarkedYAMLError as fault:
        at = fault.problem_mark or fault.context_mark
        place = f"line {at.line + 1}, column {at.column + 1}" if at is not None else ""
        raise UnreadableError(
            f"this is no valid YAML ({fault.problem or 'unreadable'}); look at the indentation, colons and "
            "quotes here and in the line above",
            place,
        ) from None
    except yaml.YAMLError as fault:
        raise UnreadableError(f"this is no valid YAML ({' '.join(str(fault).split())})") from None


def _line(event: yaml.Event) -> int:
    return event.start_mark.line + 1 if event.start_mark is not None else 0


class _Open:
    """A list or mapping that is being read."""

    __slots__ = ("anchor", "key", "seen", "size", "value")

    def __init__(self, value: list[Any] | dict[str, Any], anchor: str | None) -> None:
        self.value = value
        self.anchor = anchor
        self.key: str | None = None
        self.seen: set[str] = set()
        self.size = 1


def parse_yaml(text: str) -> tuple[Any, bool]:
    """Read one YAML document.

    Parameters
    ----------
    text : the whole document.

    Returns
    -------
    The plain data (mappings, lists, text; blank fields left out), and whether a field stands there twice.

    Raises
    ------
    UnreadableError
        Where it is no valid YAML, or beyond the limits.

    Examples
    --------
    >>> parse_yaml("films: [{name: Kiln, box_speed: 100, lot: 0012, base_fog: }]")
    ({'films': [{'name': 'Kiln', 'box_speed': '100', 'lot': '0012'}]}, False)
    """
    root: Any = None
    twice = False
    documents = 0
    nodes = 0
    stack: list[_Open] = []
    anchors: dict[str, tuple[Any, int] | None] = {}
    for event in _events(text):
        line = _line(event)
        size = 1
        value: Any
        if isinstance(event, yaml.ScalarEvent):
            _refuse_tag(event.tag, line)
            value = None if event.implicit[0] and event.value in _NULLS else event.value
            if len(event.value) > MAX_LETTERS:
                raise UnreadableError(
                    f"a value has {len(event.value):,} letters, and {MAX_LETTERS:,} are read at most; shorten it",
                    f"line {line}",
                )
            if event.anchor:
                # what is long counts for more: each use of it is looked through
                anchors[event.anchor] = (value, 1 + len(event.value) // LETTERS_A_NODE)
        elif isinstance(event, yaml.AliasEvent):
            target = anchors.get(event.anchor or "")
            if target is None:
                raise UnreadableError(
                    f"*{event.anchor} refers to nothing that is written before it; write the fields out",
                    f"line {line}",
                )
            value, size = target
        elif isinstance(event, yaml.CollectionStartEvent):
            _refuse_tag(event.tag, line)
            if len(stack) >= MAX_DEPTH:
                raise UnreadableError(f"more than {MAX_DEPTH} lists lie inside each other", f"line {line}")
            if stack and isinstance(stack[-1].value, dict) and stack[-1].key is None:
                raise UnreadableError(
                    "a field has a list or mapping for its name; write a word", f"line {line}"
                )
            stack.append(_Open([] if isinstance(event, yaml.SequenceStartEvent) else {}, event.anchor))
            if event.anchor:
                anchors[event.anchor] = None
            nodes += 1
            continue
        elif isinstance(event, yaml.CollectionEndEvent):
            done = stack.pop()
            value, size = done.value, done.size
            if done.anchor:
                anchors[done.anchor] = (value, size)
        elif isinstance(event, yaml.DocumentStartEvent):
            documents += 1
            if documents > 1:
                raise UnreadableError(
                    "a second YAML document begins here; put all records under one mapping", f"line {line}"
                )
            continue
        else:
            continue
        nodes += 0 if isinstance(event, yaml.CollectionEndEvent) else size
        if nodes > MAX_NODES:
            raise UnreadableError(
                f"it holds more than {MAX_NODES} values; share the records among several files",
                f"line {line}",
            )
        if not stack:
            root = value
            continue
        parent = stack[-1]
        parent.size += size
        if isinstance(parent.value, list):
            parent.value.append(value)
        elif parent.key is None:
            if isinstance(value, dict | list):
                raise UnreadableError(
                    "a field has a list or mapping for its name; write a word", f"line {line}"
                )
            parent.key = value or ""
            twice = twice or parent.key in parent.seen
            parent.seen.add(parent.key)
            if len(parent.seen) > MAX_FIELDS:
                raise UnreadableError(
                    f"a mapping has more than {MAX_FIELDS:,} fields; begin every record with a dash",
                    f"line {line}",
                )
        else:
            # A field left blank is a field left out.
            if value is not None and value != "":
                parent.value[parent.key] = value
            parent.key = None
    return root, twice


def _refuse_tag(tag: str | None, line: int) -> None:
    if tag is not None and tag not in _PLAIN_TAGS:
        raise UnreadableError(
            f"the YAML tag {tag[:60]} has no place in a record file; write the plain value", f"line {line}"
        )


def yaml_tokens(text: str) -> Iterator[Token]:
    """Give the tokens of a YAML text that has been read before, with their lines."""
    # For every open collection: None for a list, else whether a key is due.
    due: list[bool | None] = []
    for event in _events(text):
        line = _line(event)
        if isinstance(event, yaml.ScalarEvent | yaml.AliasEvent):
            if due and due[-1]:
                due[-1] = False
                yield "key", getattr(event, "value", ""), line
                continue
            yield "value", "", line
        elif isinstance(event, yaml.CollectionStartEvent):
            is_list = isinstance(event, yaml.SequenceStartEvent)
            due.append(None if is_list else True)
            yield "[" if is_list else "{", "", line
            continue
        elif isinstance(event, yaml.CollectionEndEvent):
            yield "]" if due.pop() is None else "}", "", line
        else:
            continue
        if due and due[-1] is False:
            due[-1] = True
