"""The faults found so far, kept light: most are never shown."""

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from negcat.errors import Fault
from negcat.records.base import Path
from negcat.records.fields import shown
from negcat.records.models import KEYS
from negcat.records.reading import Document, dotted

__all__ = ["MAX_LISTED", "FaultList"]

MAX_LISTED = 200
"""Faults that are listed one by one; the rest are counted."""

_SINGULAR = {
    "films": "film",
    "shutters": "shutter",
    "lenses": "lens",
    "holders": "holder",
    "scanners": "scanner",
    "tablets": "tablet",
    "print_targets": "print target",
    "sheets": "sheet",
    "developments": "batch",
    "film_tests": "film test",
}

_Sentence = str | Callable[[], str]


class FaultList:
    """Faults of several documents, put in the order of their places when they are listed."""

    def __init__(self) -> None:
        self._documents: dict[int, Document] = {}
        self._found: list[tuple[tuple[int, int, int, int], int, Path, _Sentence | Fault]] = []

    def __bool__(self) -> bool:
        return bool(self._found)

    def __len__(self) -> int:
        return len(self._found)

    def add_file(self, document: int, fault: Fault) -> None:
        """Add the one fault of a file that can't be read."""
        fault = replace(fault, where=_printable(fault.where), what=_shortened(_printable(fault.what)))
        self._found.append(((document, -1, -1, len(self._found)), document, (), fault))

    def add_document(self, number: int, document: Document) -> None:
        """Make a document known, and add the faults of its frame."""
        self._documents[number] = document
        for where, what in document.table_faults:
            self.add_file(number, Fault(document.path, where, what))
        for path, what in document.faults:
            self.add(number, path, what)

    def add(self, document: int, path: Path, sentence: _Sentence) -> None:
        """Add a fault.

        Parameters
        ----------
        document : number of the document.
        path : from the top of the document, ``("sheets", 2, "stop")``.
        sentence : what is wrong and how to mend it, or what makes that sentence if it is ever to be shown.
        """
        lists = list(self._documents[document].lists)
        at = lists.index(str(path[0])) if path and path[0] in lists else -1
        place = path[1] if len(path) > 1 and isinstance(path[1], int) else -1
        self._found.append(((document, at, place, len(self._found)), document, path, sentence))

    def listed(self) -> list[Fault]:
        """Give the faults in the order of the files and their records; past the first 200 their count."""
        ordered = sorted(self._found, key=lambda found: found[0])
        first = ordered[:MAX_LISTED]
        where: dict[int, Any] = {}
        for number, document in self._documents.items():
            paths = [
                path for _, other, path, what in first if other == number and not isinstance(what, Fault)
            ]
            where[number] = document.where_of(paths) if paths else {}
        listed: list[Fault] = []
        for _, number, path, what in first:
            if isinstance(what, Fault):
                listed.append(what)
                continue
            document = self._documents[number]
            place = (where[number].get(path) or dotted(path)) + _label(document, path)
            sentence = what if isinstance(what, str) else what()
            listed.append(Fault(document.path, _printable(place), _shortened(_printable(sentence)), path))
        if more := len(ordered) - len(first):
            rest = ordered[MAX_LISTED]
            file = rest[3].file if isinstance(rest[3], Fault) else self._documents[rest[1]].path
            listed.append(Fault(file, "", f"and {more} more faults from here on; mend these first"))
        return listed


def _printable(text: str) -> str:
    """Replace what a terminal can't show: a stop may have been written with any mark there is."""
    return text if text.isprintable() else "".join(mark if mark.isprintable() else "�" for mark in text)


_QUOTED_AT_LENGTH = re.compile(r"'([^']{197})[^']{4,}'")


def _shortened(sentence: str) -> str:
    """Cut what is quoted to the length that a name may have: where one is wrong, it may have any."""
    return _QUOTED_AT_LENGTH.sub(r"'\1…'", sentence)


def _label(document: Document, path: Path) -> str:
    """Name the record a path leads into, `` (sheet BW-03)``."""
    if len(path) < 2 or not isinstance(path[1], int):
        return ""
    items = document.lists.get(str(path[0]), [])
    item = items[path[1]] if path[1] < len(items) else None
    name = item.get(KEYS.get(str(path[0]))) if isinstance(item, dict) else None
    return f" ({_SINGULAR[str(path[0])]} {shown(name)[1:-1]})" if isinstance(name, str) and name else ""
