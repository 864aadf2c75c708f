"""Record files → plain data with positions. What the data means is none of this module's business."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path as FilePath
from typing import Any

from negcat.records.base import Path
from negcat.records.csv_text import CsvTable, parse_csv
from negcat.records.json_text import json_tokens, parse_json
from negcat.records.models import Records
from negcat.records.nearest import did_you_mean
from negcat.records.positions import Token, duplicate_keys, lines_of
from negcat.records.unreadable import MAX_FIELDS, MAX_RECORDS, UnreadableError
from negcat.records.yaml_text import parse_yaml, yaml_tokens

__all__ = ["MAX_BYTES", "MAX_YAML_BYTES", "Document", "dotted", "from_data", "read_document"]

MAX_BYTES = 128 * 2**20
"""Largest JSON or CSV file, bytes."""

MAX_YAML_BYTES = 64 * 2**20
"""Largest YAML file, bytes: YAML takes several times as long to read as JSON."""

LONGEST_STEP = 60
"""Letters of a field's name that are shown; none that is known has as many."""

_ENDINGS = ".yaml, .yml, .json or .csv"
_LISTS = ", ".join(Records.MODELS)


@dataclass
class Document:
    """One record file as plain data.

    Parameters
    ----------
    path : the file as the user named it.
    lists : name of each list that is one → its items, each as it was written.
    faults : (path, sentence) of what is wrong with the file's frame: lists and items that are none, fields
        written twice.
    table_faults : (where, sentence) of what is wrong with a table.
    where_of : finds the places of fields, ``line 14`` or ``row 14, column stop``.
    """

    path: str
    lists: dict[str, list[Any]]
    where_of: Callable[[Iterable[Path]], Mapping[Path, str]]
    faults: list[tuple[Path, str]] = field(default_factory=list)
    table_faults: list[tuple[str, str]] = field(default_factory=list)


def dotted(path: Path) -> str:
    """Write a path as people read it.

    Examples
    --------
    >>> dotted(("sheets", 2, "readings", 0, "zone"))
    'sheets[2].readings[0].zone'
    """
    text = ""
    for step in path:
        if isinstance(step, str) and len(step) > LONGEST_STEP:
            step = f"{step[: LONGEST_STEP - 1]}…"
        text += f"[{step}]" if isinstance(step, int) else f".{step}" if text else step
    return text


def read_document(path: str | FilePath) -> Document:
    """Read one record file by its ending: YAML, JSON or CSV.

    Parameters
    ----------
    path : the file.

    Returns
    -------
    Document

    Raises
    ------
    UnreadableError
        Where it is no record file at all: absent, too large, not text, empty, something else than a mapping.
    """
    file = FilePath(path)
    kind = file.suffix.casefold().removeprefix(".")
    text = _read_text(file, kind)
    if kind == "csv":
        return _from_table(str(path), parse_csv(text))
    parse, tokens = (parse_json, json_tokens) if kind == "json" else (parse_yaml, yaml_tokens)
    data, twice = parse(text)
    document = from_data(data, str(path), _by_line(lambda: tokens(text)))
    if twice:
        document.faults += [
            (path, f"'{path[-1]}' is written again in line {again}; keep one of the two")
            for path, _, again in duplicate_keys(tokens(text))
        ]
    return document


def _read_text(file: FilePath, kind: str) -> str:
    if file.is_dir():
        raise UnreadableError("it is a folder; name the record files in it")
    if kind not in ("yaml", "yml", "json", "csv"):
        raise UnreadableError(f"its name doesn't say what it holds; record files end in {_ENDINGS}")
    try:
        if not file.exists():
            raise UnreadableError("there is no such file; look at its name and folder")
        if not file.is_file():
            raise UnreadableError("it is a device or a pipe; save the records as a file first")
        limit = MAX_YAML_BYTES if kind in ("yaml", "yml") else MAX_BYTES
        size = file.stat().st_size
        with file.open("rb") as opened:
            content = opened.read(limit + 1) if size <= limit else b""
        if size > limit or len(content) > limit:
            raise UnreadableError(
                f"it has {size / 2**20:.0f} MiB and at most {limit / 2**20:.0f} are read; share it among "
                "several files"
            )
    except (OSError, ValueError) as fault:
        raise UnreadableError(f"it can't be read ({getattr(fault, 'strerror', None) or fault})") from None
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise UnreadableError("it is written in UTF-16; save it as UTF-8")
    if b"\0" in content:
        raise UnreadableError("it is no text; a record file is YAML, JSON or CSV in UTF-8")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        line = content.count(b"\n", 0, fault.start) + 1
        raise UnreadableError(
            f"it isn't written in UTF-8 (byte {content[fault.start]:02X}); save it as UTF-8", f"line {line}"
        ) from None
    if not text.strip():
        raise UnreadableError(f"it is empty; a record file holds any of the lists {_LISTS}")
    return text


def _by_line(tokens: Callable[[], Iterator[Token]]) -> Callable[[Iterable[Path]], Mapping[Path, str]]:
    def where_of(paths: Iterable[Path]) -> Mapping[Path, str]:
        wanted = list(paths)
        lines = lines_of(tokens(), wanted) if wanted else {}
        return {
            path: f"line {lines[path]}, {dotted(path)}" if path in lines else dotted(path) for path in wanted
        }

    return where_of


def _dotted_only(paths: Iterable[Path]) -> Mapping[Path, str]:
    return {path: dotted(path) for path in paths}


def from_data(
    data: object,
    path: str,
    where_of: Callable[[Iterable[Path]], Mapping[Path, str]] = _dotted_only,
) -> Document:
    """Take plain data, as from a form or a parsed file, as a document.

    Parameters
    ----------
    data : a mapping of lists of mappings.
    path : what to call it in a fault.
    where_of : finds the places of fields.

    Returns
    -------
    Document

    Raises
    ------
    UnreadableError
        Where data is no mapping, or an empty one.
    """
    if not isinstance(data, dict):
        kind = "a list" if isinstance(data, list) else "blank" if data is None else "plain text or a number"
        raise UnreadableError(f"it is {kind} at its top; write a mapping with any of the lists {_LISTS}")
    lists: dict[str, list[Any]] = {}
    faults: list[tuple[Path, str]] = []
    for name, items in data.items():
        if name not in Records.MODELS:
            faults.append(((name,), f"unknown list '{name[:60]}'; {did_you_mean(name, Records.MODELS)}"))
        elif not isinstance(items, list | tuple):
            what = "a single mapping" if isinstance(items, dict) else "plain text"
            faults.append(((name,), f"{name} is {what}; write a list, every record beginning with a dash"))
        else:
            lists[name] = list(items)
            strangers = (place for place, item in enumerate(items) if not isinstance(item, dict))
            faults += [
                ((name, place), "this is no record; write its fields as a mapping, as in name: …")
                for place in islice(strangers, MAX_FIELDS)
            ]
    if (count := sum(map(len, lists.values()))) > MAX_RECORDS:
        raise UnreadableError(
            f"it holds {count:,} records, and {MAX_RECORDS:,} are read at most; share them among several files"
        )
    if not faults and not any(lists.values()):
        raise UnreadableError(f"it holds no records; write any of the lists {_LISTS}")
    return Document(path, lists, where_of, faults)


def _from_table(path: str, table: CsvTable) -> Document:
    def where_of(paths: Iterable[Path]) -> Mapping[Path, str]:
        return {path: table.where(path) for path in paths}

    if not table.sheets and not table.faults:
        raise UnreadableError("it has a header and no rows; write one row a sheet")
    return Document(path, {"sheets": table.sheets}, where_of, table_faults=table.faults)
