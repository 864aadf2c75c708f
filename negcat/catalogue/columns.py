"""What sheets are counted and summed up by, held in memory as columns of numbers.

A page of the wall counts the sheets of every value of every filter, given all the other filters; a film's page sums
up what came of all its sheets. With words and dates among the filters that is no sum over ``sheet_counts``, and
SQLite would look up or sort tens of thousands of rows several times over. As columns, a hundred thousand sheets are
counted in a few milliseconds.

The columns are never older than the catalogue: ``sheet_changes`` numbers every change of a sheet, whichever
program made it, and the sheets changed since are read anew before anything is counted.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from negcat.catalogue.connection import CatalogueFile
from negcat.catalogue.searching_schema import COUNTED

__all__ = ["CHOICES", "OUTCOMES", "SEARCHED", "Column", "Columns", "InMemory", "Layout", "Mask", "Memory"]

CHOICES = (*COUNTED, "batch", "place")
"""What the wall's sheets can be chosen and counted by."""

_AT_ONCE = 10_000
_FEW = 4
"""Where less than one sheet in so many has changed, only the changed ones are read anew."""

_Ids = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Layout:
    """Which columns are held together.

    Parameters
    ----------
    words : name → where it is read; of these the same few come again and again, or None.
    texts : name → where it is read; kept as UTF-8 bytes, which sort as SQLite sorts them.
    figures : name → where it is read; NaN for what there isn't.
    source : the tables they are read from, beginning with ``sheet_search k``.
    """

    words: Mapping[str, str]
    texts: Mapping[str, str]
    figures: Mapping[str, str]
    source: str

    def sql(self, chosen: str = "") -> str:
        """Write the statement that reads the columns, in the order of the sheets' ids."""
        read = ", ".join(["k.id", *self.words.values(), *self.texts.values(), *self.figures.values()])
        return f"select {read} from {self.source} {chosen} order by k.id"


SEARCHED = Layout(
    words={name: f"k.{name}" for name in CHOICES},
    texts={"exposed_at": "k.exposed_at", "sheet": "k.sheet"},
    figures={"printing_range": "k.printing_range"},
    source="sheet_search k",
)
"""What the wall chooses, counts and sorts by."""

OUTCOMES = Layout(
    words={
        **{name: f"k.{name}" for name in ("film", "lens", "cell", "tag", "batch")},
        **{name: f"s.{name}" for name in ("stop", "stop_scale")},
    },
    texts={},
    figures={
        **{name: f"s.{name}" for name in ("f_number", "exposure_index")},
        **{name: f"r.{name}" for name in ("residual_stops", "found_n", "found_n_density_sd")},
        "own_base_fog": "case when f.base_fog_source in ('rebate', 'spot') then f.base_fog end",
    },
    source="sheet_search k join sheets s on s.sheet = k.sheet left join results r on r.sheet = k.sheet"
    " left join findings f on f.sheet = k.sheet",
)
"""What the pages of lenses and films sum up."""


class _Words(dict[Any, int]):
    """Numbers for words, in the order in which they are met."""

    def __missing__(self, word: Any) -> int:
        number = self[word] = len(self)
        return number


@dataclass(frozen=True)
class Column:
    """A column of words: for each sheet the number of its word.

    Parameters
    ----------
    known : word → number.
    numbers : int32, one a sheet.
    """

    known: Mapping[Any, int]
    numbers: npt.NDArray[np.int32]

    @property
    def words(self) -> list[Any]:
        """The words, each at the place that its number says."""
        return list(self.known)

    def among(self, words: Iterable[Any]) -> Mask:
        """Tell which sheets have one of the words."""
        numbers = [self.known[word] for word in words if word in self.known]
        if len(numbers) == 1:
            return np.asarray(self.numbers == numbers[0])
        one_of = np.zeros(len(self.known) + 1, bool)
        one_of[numbers] = True
        return np.asarray(one_of[self.numbers])

    def counts(self, mask: Mask | None = None, most: int | None = None) -> list[tuple[Any, int]]:
        """Count the sheets of each word, among those of a mask.

        Parameters
        ----------
        mask : of the sheets; None for all.
        most : give so many words at most, those with most sheets; of equal ones the first in order.

        Returns
        -------
        Words with their sheets; a word without any, and the empty one, are left out.
        """
        words = self.words
        counted = np.bincount(self.numbers if mask is None else self.numbers[mask], minlength=len(words))
        if "" in self.known:
            counted[self.known[""]] = 0
        numbers = np.flatnonzero(counted)
        if most is None or len(numbers) <= most:
            return [(words[number], int(counted[number])) for number in numbers]
        least = np.partition(counted[numbers], len(numbers) - most)[len(numbers) - most] if most else None
        kept = [
            (words[number], int(counted[number]))
            for number in numbers
            if least is not None and counted[number] >= least
        ]
        return sorted(kept, key=lambda one: (-one[1], one[0]))[:most]

    def ranks(self) -> npt.NDArray[np.int32]:
        """Give for each sheet the rank of its word among all the words in order."""
        ranks = np.empty(len(self.known), np.int32)
        words = self.words
        ranks[sorted(range(len(words)), key=words.__getitem__)] = np.arange(len(words), dtype=np.int32)
        return np.asarray(ranks[self.numbers])


@dataclass(frozen=True)
class Columns:
    """Sheets in columns, as they stood after some change.

    Parameters
    ----------
    change : the number of the last change that is in them.
    ids : of the sheets in ``sheet_search``, rising.
    there : False for a sheet that was removed.
    words : by name.
    arrays : texts and figures by name, one value a sheet.
    """

    change: int
    ids: _Ids
    there: Mask
    words: Mapping[str, Column]
    arrays: Mapping[str, npt.NDArray[Any]]

    def among(self, ids: _Ids) -> Mask:
        """Tell which sheets have one of the ids; ids of sheets that aren't held are left out."""
        return np.isin(self.ids, ids)

    @cached_property
    def _by_date(self) -> npt.NDArray[np.intp]:
        return np.lexsort((self.ids, self.arrays["exposed_at"]))

    @cached_property
    def _by_sheet(self) -> npt.NDArray[np.intp]:
        return np.argsort(self.arrays["sheet"], kind="stable")

    def in_order(self, first: str) -> npt.NDArray[np.intp]:
        """Give the places of all sheets in an order.

        Parameters
        ----------
        first : ``exposed_at``, and among equals by id; ``sheet``; or a column of words, and among equals
            by date and id.
        """
        if first in ("exposed_at", "sheet"):
            return self._by_date if first == "exposed_at" else self._by_sheet
        ranks = self.words[first].ranks()[self._by_date]
        return np.asarray(self._by_date[np.argsort(ranks, kind="stable")])

    def renewed(self, changed: _Ids, fresh: Columns) -> Columns | None:
        """Give these columns with some sheets as they stand now.

        Parameters
        ----------
        changed : the ids of all sheets that were added, changed or removed.
        fresh : those of them that are there, of the same words.

        Returns
        -------
        The columns; None where new sheets don't come after all others, so that all must be read.
        """
        last = int(self.ids[-1]) if len(self.ids) else -1
        added = ~np.isin(fresh.ids, self.ids)
        if np.any(fresh.ids[added] <= last):
            return None
        places = np.searchsorted(self.ids, fresh.ids[~added])
        there = self.there & ~self.among(changed)
        there[places] = True

        def joined(kept: npt.NDArray[Any], new: npt.NDArray[Any]) -> npt.NDArray[Any]:
            whole = np.concatenate([kept, new[added]])  # as wide as the wider
            whole[places] = new[~added]
            return whole

        return Columns(
            fresh.change,
            np.concatenate([self.ids, fresh.ids[added]]),
            np.concatenate([there, np.ones(int(added.sum()), bool)]),
            {
                name: Column(column.known, joined(column.numbers, fresh.words[name].numbers))
                for name, column in self.words.items()
            },
            {name: joined(array, fresh.arrays[name]) for name, array in self.arrays.items()},
        )


class Memory:
    """The columns of one catalogue; all connections to it may share them."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.columns: dict[int, Columns] = {}


class InMemory(CatalogueFile):
    """How columns are held, and kept as true as the catalogue."""

    _memory: Memory | None = None

    def remember_in(self, memory: Memory) -> None:
        """Share what is held with other connections to the same file."""
        self._memory = memory

    def columns(self, layout: Layout) -> Columns:
        """Give columns as the catalogue says now.

        Raises
        ------
        ArchiveError : the catalogue can't be read.
        """
        if self.is_writing:
            # It is for nobody else to see.
            return self._read(layout, 0, None)
        if self._memory is None:
            self._memory = Memory()
        with self._memory.lock, self.at_once():
            kept = self._memory.columns.get(id(layout))
            now = int(self.value("select coalesce(max(change), 0) from sheet_changes"))
            if kept is not None and kept.change > now:
                # Another connection has seen more than this one, which began to read earlier.
                return self._read(layout, now, None)
            if kept is None or kept.change < now:
                kept = self._memory.columns[id(layout)] = self._renewed(layout, kept, now)
            return kept

    def _renewed(self, layout: Layout, kept: Columns | None, now: int) -> Columns:
        if kept is not None:
            numbers = self.tuples(
                "select id from sheet_changes where change > ? order by change limit ?",
                [kept.change, len(kept.ids) // _FEW + 1],
            )
            if len(numbers) * _FEW <= len(kept.ids):
                changed = np.unique(np.array(numbers, np.int64))
                renewed = kept.renewed(changed, self._read(layout, now, kept))
                if renewed is not None:
                    return renewed
        return self._read(layout, now, None)

    def _read(self, layout: Layout, now: int, since: Columns | None) -> Columns:
        """Read columns: of all sheets, or of those that changed since others were read, in their words' numbers."""
        chosen = "" if since is None else "where k.id in (select id from sheet_changes where change > ?)"
        words: dict[str, _Words] = {}
        for name in layout.words:
            known = since.words[name].known if since is not None else None
            words[name] = known if isinstance(known, _Words) else _Words()
        ids: list[_Ids] = [np.zeros(0, np.int64)]
        numbers: dict[str, list[npt.NDArray[np.int32]]] = {name: [np.zeros(0, np.int32)] for name in words}
        arrays: dict[str, list[npt.NDArray[Any]]] = {name: [np.zeros(0, "S1")] for name in layout.texts}
        arrays |= {name: [np.zeros(0)] for name in layout.figures}
        for rows in self.in_parts(layout.sql(chosen), [] if since is None else [since.change], _AT_ONCE):
            columns = iter(zip(*rows, strict=True))
            ids.append(np.array(next(columns), np.int64))
            for name, known in words.items():
                numbers[name].append(np.fromiter(map(known.__getitem__, next(columns)), np.int32, len(rows)))
            for name in layout.texts:
                arrays[name].append(np.array([text.encode() for text in next(columns)]))
            for name in layout.figures:
                arrays[name].append(np.array(next(columns), float))
        return Columns(
            now,
            np.concatenate(ids),
            np.ones(sum(map(len, ids)), bool),
            {name: Column(known, np.concatenate(numbers[name])) for name, known in words.items()},
            {name: np.concatenate(parts) for name, parts in arrays.items()},
        )
