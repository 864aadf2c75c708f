"""Plain data → records, all faults of all files at once."""

import copy
import gc
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path as FilePath
from typing import Any

from pydantic import ValidationError

from negcat.errors import Fault, RecordError
from negcat.records.alike import ReadingsAlike
from negcat.records.base import Path, Record
from negcat.records.faults import FaultList
from negcat.records.known import KnownNames
from negcat.records.models import Records
from negcat.records.reading import Document, from_data, read_document
from negcat.records.references import Entry, check_references
from negcat.records.sentences import explain, field_at
from negcat.records.sheet import Sheet
from negcat.records.unreadable import UnreadableError

__all__ = ["collecting_later", "load_data", "load_file", "load_files"]

_ROUNDS = 4

MAX_EXPLAINED = 10_000
"""Faults that are looked into; beyond them every faulty record counts as one: finding all its faults takes time."""


def load_files(paths: Sequence[str | FilePath], known: KnownNames | None = None) -> list[Records]:
    """Read record files together; a name may refer to anything known or in any of them.

    Parameters
    ----------
    paths : YAML, JSON or CSV files.
    known : what the archive holds; nothing if left out.

    Returns
    -------
    The records of every file, in the order of the files.

    Raises
    ------
    RecordError
        With every fault of every file: what, where, how to mend it. At most 200 are listed, then their count.
    """
    documents: list[Document | None] = []
    faults = FaultList()
    with collecting_later():
        for path in paths:
            try:
                documents.append(read_document(path))
            except UnreadableError as fault:
                documents.append(None)
                faults.add_file(len(documents) - 1, Fault(str(path), fault.where, fault.what))
        return _check(documents, known or KnownNames(), faults)


@contextmanager
def collecting_later() -> Iterator[None]:
    """Put off the collection of cyclic garbage: it would look through every record read so far, over and over.

    Records hold no cycles, and 100,000 sheets are read in a third of the time.
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def load_file(path: str | FilePath, known: KnownNames | None = None) -> Records:
    """Read one record file, as :func:`load_files` does.

    Raises
    ------
    RecordError
        With every fault of the file.
    """
    return load_files([path], known)[0]


def load_data(data: object, known: KnownNames | None = None, name: str = "record") -> Records:
    """Take records from plain data, as a form sends them.

    Parameters
    ----------
    data : what a record file would hold: a mapping of lists of mappings. Blank fields (None or "") count as
        left out.
    known : what the archive holds.
    name : what to call the data in a fault, where a file's path would stand.

    Returns
    -------
    Records

    Raises
    ------
    RecordError
        With every fault.

    Examples
    --------
    >>> load_data({"films": [{"name": "Kiln 100", "box_speed": "100"}]}).films[0].box_speed
    100.0
    """
    faults = FaultList()
    try:
        document = from_data(_without_blanks(data), name)
    except UnreadableError as fault:
        raise RecordError([Fault(name, fault.where, fault.what)]) from None
    except RecursionError:
        raise RecordError(
            [Fault(name, "", "too many lists lie inside each other; a record needs seven")]
        ) from None
    return _check([document], known or KnownNames(), faults)[0]


def _without_blanks(data: Any) -> Any:
    if isinstance(data, Mapping):
        return {
            key: _without_blanks(value) for key, value in data.items() if value is not None and value != ""
        }
    if isinstance(data, list | tuple):
        return [_without_blanks(item) for item in data]
    return data


def _check(documents: Sequence[Document | None], known: KnownNames, faults: FaultList) -> list[Records]:
    entries: list[Entry] = []
    for number, document in enumerate(documents):
        if document is not None:
            faults.add_document(number, document)
            entries += _read_entries(number, document, faults)
    check_references(entries, known, faults)
    if faults:
        raise RecordError(faults.listed())
    return _gather(len(documents), entries)


def _read_alike(alike: ReadingsAlike, item: dict[str, Any]) -> Record | None:
    """Read a sheet whose readings are known; None where it must be read whole, as its faults are found then."""
    known = alike.put_in(item)
    try:
        return None if known is None else Sheet.model_validate(known)
    except ValidationError:
        return None


def _read_entries(number: int, document: Document, faults: FaultList) -> Iterable[Entry]:
    alike = ReadingsAlike()
    for name, items in document.lists.items():
        model = Records.MODELS[name]
        for place, item in enumerate(items):
            if not isinstance(item, dict):
                continue
            record: Record | None
            if model is Sheet and (record := _read_alike(alike, item)) is not None:
                yield Entry(number, name, place, record, item)
                continue
            try:
                record = model.model_validate(item)
            except ValidationError as error:
                if len(faults) >= MAX_EXPLAINED:
                    faults.add(number, (name, place), "this record has faults too")
                    yield Entry(number, name, place, None, item, frozenset())
                    continue
                record, found, wrong = _read_faulty(error, model, item)
                for path, sentence in found:
                    faults.add(number, (name, place, *path), sentence)
                yield Entry(number, name, place, record, item, wrong)
            else:
                yield Entry(number, name, place, record, item)


def _read_faulty(
    error: ValidationError, model: type[Record], item: dict[str, Any]
) -> tuple[Record | None, list[tuple[Path, str]], frozenset[Path]]:
    """Find all faults of a record, also those that show only once others are mended.

    Fields that are wrong are left out, or given a stand-in where they can't be, and the rest is read again:
    whether readings go together can be said although the stop is misspelt. What is said about a field that
    was wrong anyway, or about what it stands in, is not passed on.

    Returns
    -------
    The record with stand-ins (None if it can't be had), all its faults, and the fields that are wrong.
    """
    found: list[tuple[Path, str]] = []
    wrong: list[Path] = []

    def wrong_fields() -> frozenset[Path]:
        return frozenset(path[:1] for path in wrong)

    try:
        item = copy.deepcopy(item)
    except RecursionError:  # lists in lists without end: what was found first has to do
        return None, [fault for fault in explain(error, model) if fault[1]], frozenset()
    for _ in range(_ROUNDS):
        new = list(explain(error, model))
        found += [
            (path, what) for path, what in new if what and not any(_touches(path, other) for other in wrong)
        ]
        wrong += [path for path, _ in new]
        for path, _ in new:
            _mend(item, model, path)
        try:
            return model.model_validate(item), found, wrong_fields()
        except ValidationError as next_error:
            error = next_error
    return None, found, wrong_fields()


def _touches(path: Path, other: Path) -> bool:
    length = min(len(path), len(other))
    return path[:length] == other[:length]


def _mend(item: dict[str, Any], model: type[Record], path: Path) -> None:
    info, _, at = field_at(model, path)
    if info is None:
        at = path  # an unknown field
    inside: Any = item
    for step in at[:-1]:
        try:
            inside = inside[step]
        except (KeyError, IndexError, TypeError):
            return
    if not at or not isinstance(inside, dict):
        return
    if info is not None and info.is_required() and info.examples:
        inside[at[-1]] = copy.deepcopy(info.examples[0])
    else:
        inside.pop(at[-1], None)


def _gather(count: int, entries: Iterable[Entry]) -> list[Records]:
    lists: list[dict[str, list[Record]]] = [{name: [] for name in Records.MODELS} for _ in range(count)]
    for entry in entries:
        if entry.record is not None:
            lists[entry.document][entry.kind].append(entry.record)
    # The records are valid one by one already; building the mapping anew would check them twice.
    fields: list[dict[str, Any]] = [{name: tuple(found) for name, found in kinds.items()} for kinds in lists]
    return [Records.model_construct(None, **found) for found in fields]
