"""The lists of a site: the wall, and the sheets by cell, tag, film … All are written in one pass over the sheets."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from negcat.web.site_places import ListPlace
from negcat.web.wall import Plate

__all__ = ["PLATES", "List", "Part", "Written"]

PLATES = 96
"""Sheets on a page."""


@dataclass(frozen=True)
class Part:
    """One page of a list.

    Parameters
    ----------
    kind, name : what the sheets are listed by, and its value; empty for the wall.
    count : sheets in the whole list.
    number, pages : of this page, from 1, and how many there are.
    first : number of the first sheet on it, from 1.
    """

    kind: str
    name: str
    count: int
    number: int

    @property
    def pages(self) -> int:
        """How many pages there are."""
        return max(1, -(-self.count // PLATES))

    @property
    def first(self) -> int:
        """The number of its first sheet."""
        return (self.number - 1) * PLATES + 1


Written = Callable[[Part, ListPlace, list[Plate]], None]


@dataclass
class List:
    """A list that is being written; holds no more than a page of it.

    Parameters
    ----------
    kind, name, count : as of :class:`Part`.
    place : where its pages lie.
    write : writes a page.
    """

    kind: str
    name: str
    count: int
    place: ListPlace
    write: Written
    _plates: list[Plate] = field(default_factory=list)
    _number: int = 1

    def add(self, plate: Plate) -> None:
        """Add the next sheet."""
        self._plates.append(plate)
        if len(self._plates) == PLATES:
            self._flush()

    def end(self) -> None:
        """Write what is left; the first page also where the list is empty."""
        if self._plates or self._number == 1:
            self._flush()

    def _flush(self) -> None:
        part = Part(self.kind, self.name, self.count, self._number)
        self.write(part, self.place, self._plates)
        self._plates = []
        self._number += 1


def lists_of(row: Mapping[str, object], kinds: tuple[str, ...]) -> list[tuple[str, str]]:
    """Tell in which lists a sheet stands."""
    return [(kind, str(row[kind])) for kind in kinds if row.get(kind)]
