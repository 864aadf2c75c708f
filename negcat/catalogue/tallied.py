"""Questions answered from the tallies: which sheets fit, how many, and which of them come first in an order.

A mask is a byte a sheet, at the place of its id: 255 where it fits, else 0. Masks are brought together as one large
number each. None of this needs a library.
"""

from __future__ import annotations

import json
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import reduce
from itertools import accumulate
from operator import and_
from typing import Any

from negcat.catalogue.frequent_words import FullText, listed
from negcat.catalogue.queries import Condition, Conditions, Questions
from negcat.catalogue.tallying import AS_OF, PART, RARER, code_of

__all__ = ["MOST_ASKED_ONE_BY_ONE", "Marked", "Tallied"]

MOST_ASKED_ONE_BY_ONE = 5000
"""Sheets changed since the tallies were written that are looked up one by one; with more, the tallies are of no use."""

_FITS = 255
_NEAREST = 16


def _table(codes: Iterable[int]) -> bytes:
    """Make the table by which some codes become a mask."""
    table = bytearray(256)
    for code in codes:
        table[code] = _FITS
    return bytes(table)


def _number(mask: bytes | bytearray) -> int:
    return int.from_bytes(mask, "little")


def _places(mask: bytes | bytearray) -> Iterator[int]:
    """Give the places at which a mask fits, rising."""
    place = mask.find(_FITS)
    while place >= 0:
        yield place
        place = mask.find(_FITS, place + 1)


@dataclass(frozen=True)
class Marked:
    """The sheets that fit a question.

    Parameters
    ----------
    mask : of the sheets that are as the tallies say; every other one is 0 in it.
    changed : the ids of those that fit among the sheets changed since.
    count : how many fit altogether.
    """

    mask: bytes
    changed: tuple[int, ...]
    count: int

    def ids(self) -> list[int]:
        """List them all."""
        return [*_places(self.mask), *self.changed]

    def fitting(self, ids: Iterable[int]) -> list[int]:
        """Choose those that fit from some ids, in their order."""
        mask, length, changed = self.mask, len(self.mask), set(self.changed)
        return [place for place in ids if (place < length and mask[place]) or place in changed]


class Tallied(Questions):
    """How the tallies are asked."""

    def marked(self, conditions: Conditions) -> Marked | None:
        """Mark the sheets that fit some conditions, as the catalogue stands now.

        Returns
        -------
        None where there are no tallies, too many sheets have changed since, or changes are numbered anew.
        """
        meaning = self._meaning(AS_OF)
        if meaning is None or self._last_change() < meaning["change"]:
            return None
        since = meaning["change"]
        changed = self.tuples(
            "select id from sheet_changes where change > ? limit ?", [since, MOST_ASKED_ONE_BY_ONE + 1]
        )
        if len(changed) > MOST_ASKED_ONE_BY_ONE:
            return None
        length = (meaning["last"] // PART + 1) * PART
        length = max(length, PART * (1 + int(self.value("select max(part) from sheet_tally_bytes"))))
        masks = [self._mask(name, one, length, meaning["words"]) for name, one in conditions.of.items()]
        if not masks:
            masks = [self.tally("sheet").translate(_table(range(1, 256)))]
        if len(masks) == 1:
            mask = bytearray(masks[0])
        else:
            mask = bytearray(reduce(and_, map(_number, masks)).to_bytes(length, "little"))
        for (place,) in changed:
            if place < length:
                mask[place] = 0
        fits = self._among_changed(conditions, since) if changed else ()
        return Marked(bytes(mask), fits, mask.count(_FITS) + len(fits))

    def tally(self, name: str) -> bytes:
        """Read a tally: one byte a sheet, at the place of its id."""
        return b"".join(
            part
            for (part,) in self.tuples(
                "select bytes from sheet_tally_bytes where name = ? order by part", [name]
            )
        )

    def first_of(self, marked: Marked, name: str, most: int, *, down: bool, behind: Any = None) -> list[int]:
        """Choose sheets among which the first so many in an order are, without sorting any.

        Parameters
        ----------
        marked : the sheets.
        name : the range that they are ordered by.
        most : how many are wanted.
        down : whether the order goes down.
        behind : choose from the sheets at this value and behind; None: from the first.
        """
        codes = self._codes(marked.mask, name)
        start = (255 if down else 1) if behind is None else code_of(self._meaning(name), behind)
        order = bytes(range(start, 0, -1) if down else range(start, 256))
        if behind is not None:
            # Of those between the same two bounds some come before.
            most += codes.count(start)

        # Mostly the nearest hold enough; where they don't, counting one by one would take long.
        counts = accumulate(map(codes.count, order[:_NEAREST]))
        enough = next((end for end, counted in enumerate(counts) if counted >= most), None)
        if enough is None:
            enough = bisect_left(
                range(len(order)),
                most,
                key=lambda end: codes.translate(_table(order[: end + 1])).count(_FITS),
            )
        return [*_places(codes.translate(_table(order[: enough + 1]))), *marked.changed]

    def first_by_word(
        self, marked: Marked, name: str, most: int, behind: Sequence[Any] | None
    ) -> list[int] | None:
        """Choose sheets among which the first so many are, ordered by their words, and of one word by date.

        Parameters
        ----------
        marked, name, most : as for :meth:`first_of`; the name is that of a column of words.
        behind : choose from the sheets of its first word at its second, a date, and behind.

        Returns
        -------
        None where some of the sheets have one of the rarer words.
        """
        codes = self._codes(marked.mask, name)
        if RARER in codes:
            return None
        found: list[int] = []
        for word, code in sorted((word, code) for code, word in enumerate(self._meaning(name), 1)):
            if (behind and word < behind[0]) or not (count := codes.count(code)):
                continue
            if len(found) >= most:
                break
            of_word = Marked(codes.translate(_table([code])), (), count)
            date = behind[1] if behind and word == behind[0] else None
            found += self.first_of(of_word, "exposed_at", most - len(found), down=False, behind=date)
            if date is not None:
                # Perhaps all of them come before.
                most += len(found)
        return [*found, *marked.changed]

    def _last_change(self) -> int:
        return int(self.value("select coalesce(max(change), 0) from sheet_changes"))

    def _codes(self, mask: bytes, name: str) -> bytes:
        """Give the bytes of a tally where a mask fits, and 0 elsewhere."""
        return (_number(mask) & _number(self.tally(name))).to_bytes(len(mask), "little")

    def _meaning(self, name: str) -> Any:
        written = self.value("select meaning from sheet_tallies where name = ?", [name])
        return None if written is None else json.loads(written)

    def _mask(self, name: str, condition: Condition, length: int, words: int) -> bytes | bytearray:
        if condition.parameters is None or condition.values == ():
            return bytes(length)
        if name == "text":
            return self._text_mask(condition.parameters["text"], length, words)
        if name == "batch":
            return self._with(bytes(length), condition.clause, condition.parameters)
        if condition.values is not None:
            codes = {word: code for code, word in enumerate(self._meaning(name), 1)}
            frequent = _table(codes[value] for value in condition.values if value in codes)
            mask: bytes | bytearray = self.tally(name).translate(frequent)
            if rarer := [value for value in condition.values if value not in codes]:
                clause = f"{name} in (select value from json_each(:rarer))"
                mask = self._with(mask, clause, {"rarer": json.dumps(rarer)})
            return mask
        values = [*condition.parameters.values()]
        if name == "suits":
            return self._range_mask("printing_range", *values)
        least, most = (values[0], None) if name == "since" else (None, values[0])
        return self._range_mask("exposed_at", least, most)

    def _range_mask(self, column: str, least: Any, most: Any) -> bytearray:
        """Mark the sheets with a value between two, both included; None: as far as values go."""
        bounds = self._meaning(column)
        first = 1 if least is None else code_of(bounds, least)
        last = len(bounds) + 1 if most is None else code_of(bounds, most)
        mask: bytes | bytearray = self.tally(column).translate(
            _table(range(first + 1, last if most is not None else last + 1))
        )
        # Between two bounds an index tells; below the first of them lie also the sheets without a date.
        for code in {first, *(() if most is None else (last,))}:
            low = max(
                (value for value in (least, *bounds[code - 2 : code - 1]) if value is not None), default=None
            )
            high = bounds[code - 1] if code <= len(bounds) else None
            clauses = [f"{column} > ''" if low is None and column == "exposed_at" else f"{column} >= :low"]
            if high is not None and (most is None or high <= most):
                clauses.append(f"{column} < :high")
            elif most is not None:
                clauses.append(f"{column} <= :most")
            parameters = {"low": -1e300 if low is None else low, "high": high, "most": most}
            mask = self._with(mask, " and ".join(clauses), parameters)
        return bytearray(mask)

    def _with(self, mask: bytes | bytearray, clause: str, parameters: Any) -> bytearray:
        """Mark also the sheets that fit a condition, which an index finds."""
        ids = listed(self.value(f"select group_concat(id) from sheet_search where {clause}", parameters))
        return _and_also(mask, ids)

    def _text_mask(self, match: str, length: int, words: int) -> bytes | bytearray:
        """Mark the sheets that hold all of some words."""
        bits: dict[str, tuple[int, int]] = {}
        for number in range(words):
            for bit, together in enumerate(self._meaning(f"words {number}")):
                bits.update(dict.fromkeys(together, (number, bit)))
        texts = FullText()
        rarer: list[str] = []
        masks: list[bytes | bytearray] = []
        # Every part of the question is one quoted word and a star; see full_text.
        for part in match[1:-2].split('"* "'):
            cut = texts.words(part)
            if len(cut) == 1 and cut[0] in bits:
                number, bit = bits[cut[0]]
                holding = _table(code for code in range(256) if code >> bit & 1)
                masks.append(self.tally(f"words {number}").translate(holding))
            else:
                rarer.append(f'"{part}"*')
        texts.close()
        if rarer:
            asked = "select group_concat(rowid) from sheet_search_fts where sheet_search_fts match ?"
            masks.append(_and_also(bytes(length), listed(self.value(asked, [" ".join(rarer)]))))
        if len(masks) == 1:
            return masks[0]
        return reduce(and_, map(_number, masks)).to_bytes(length, "little")

    def _among_changed(self, conditions: Conditions, since: int) -> tuple[int, ...]:
        """Find the sheets that fit among those changed since."""
        clauses = [
            "exists (select 1 from sheet_search_fts where sheet_search_fts match :text and rowid = k.id)"
            if name == "text"
            else condition.clause
            for name, condition in conditions.of.items()
        ]
        found = self.tuples(
            "select k.id from sheet_changes c cross join sheet_search k on k.id = c.id"
            f" where {' and '.join(['c.change > :changed_since', *clauses])}",
            {**conditions.parameters, "changed_since": since},
        )
        return tuple(number for (number,) in found)


def _and_also(mask: bytes | bytearray, ids: Sequence[int]) -> bytearray:
    """Mark some ids too; those of sheets that came since are looked up otherwise."""
    marked, length = bytearray(mask), len(mask)
    for place in ids:
        if place < length:
            marked[place] = _FITS
    return marked
