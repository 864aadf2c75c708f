"""Words, and beginnings of words, that many sheets hold, and which sheets hold them, as the full text says."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from negcat.catalogue.searching_schema import TEXTS

__all__ = ["FullText", "frequent_words", "listed", "words_tally"]

_SHARE = 16
"""Frequent is what one sheet in so many holds."""
_SAMPLE = 2000
_MOST_WORDS = 256


def listed(text: str | None) -> list[int]:
    """Read the numbers that SQLite's group_concat has written: quicker than as many rows."""
    numbers: list[int] = json.loads(f"[{text or ''}]")
    return numbers


class FullText:
    """Sheets' texts in a full text of their own, cut into words as the catalogue's is."""

    def __init__(self) -> None:
        self._connection = sqlite3.connect(":memory:", isolation_level=None)
        self._connection.execute(
            f"create virtual table texts using fts5 ({', '.join(TEXTS)}, tokenize='unicode61 remove_diacritics 2')"
        )
        self._connection.execute("create virtual table terms using fts5vocab(texts, instance)")

    def add(self, rows: Iterable[tuple[Any, ...]]) -> None:
        """Add sheets: the id and the texts of each."""
        marks = ", ".join("?" * (1 + len(TEXTS)))
        self._connection.execute("begin")
        self._connection.executemany(f"insert into texts (rowid, {', '.join(TEXTS)}) values ({marks})", rows)
        self._connection.execute("commit")

    def terms(self) -> Iterator[tuple[str, int]]:
        """Give every word with the id of a sheet that holds it, once each."""
        return iter(self._connection.execute("select distinct term, doc from terms").fetchall())

    def with_word(self, beginning: str) -> list[int]:
        """List the sheets in which a word begins so."""
        found = self._connection.execute("select rowid from texts where texts match ?", [quoted(beginning)])
        return [number for (number,) in found]

    def words(self, text: str) -> list[str]:
        """Cut a text into words."""
        self._connection.execute("delete from texts")
        self._connection.execute("insert into texts (rowid, sheet) values (1, ?)", [text])
        found = self._connection.execute("select term from terms order by offset")
        return [word for (word,) in found]

    def close(self) -> None:
        """Let go of it."""
        self._connection.close()


def quoted(beginning: str) -> str:
    """Write the full-text question for a beginning of a word."""
    return '"' + beginning.replace('"', '""') + '"*'


def frequent_words(connection: sqlite3.Connection, last: int) -> list[list[str]]:
    """Find the beginnings of words that many sheets hold; those that the same sheets hold go together.

    A sample says which may be frequent, the full text itself which sheets hold them.
    """
    texts = FullText()
    step = max(1, last // _SAMPLE)
    texts.add(
        connection.execute(
            f"select id, {', '.join(TEXTS)} from sheet_search where id % :step = 0", {"step": step}
        )
    )
    holding: dict[str, set[int]] = {}
    sampled: set[int] = set()
    for term, sheet in texts.terms():
        sampled.add(sheet)
        for end in range(1, len(term) + 1):
            holding.setdefault(term[:end], set()).add(sheet)
    texts.close()
    least = len(sampled) / _SHARE
    frequent = {word: frozenset(sheets) for word, sheets in holding.items() if len(sheets) >= least}
    # A beginning that the sample says is always that one word's is seen to be so by the count of both.
    chains: dict[tuple[str, frozenset[int]], list[str]] = {}
    for word in sorted(frequent, key=len):
        longer = (word[:-1], frequent[word])
        chain = chains.pop(longer, None)
        chains[word, frequent[word]] = [*(chain or ()), word]
    together = [part for chain in chains.values() for part in _alike(connection, chain)]
    together.sort(key=lambda words: -len(frequent[words[0]]))
    return together[:_MOST_WORDS]


def _alike(connection: sqlite3.Connection, words: list[str]) -> list[list[str]]:
    """Part words, each of which begins the next, into those that the same sheets hold."""
    if len(words) == 1 or _count(connection, words[0]) == _count(connection, words[-1]):
        return [words]
    half = len(words) // 2
    return _alike(connection, words[:half]) + _alike(connection, words[half:])


def _count(connection: sqlite3.Connection, beginning: str) -> int:
    asked = "select count(*) from sheet_search_fts where sheet_search_fts match ?"
    return int(connection.execute(asked, [quoted(beginning)]).fetchone()[0])


def words_tally(connection: sqlite3.Connection, words: Sequence[Sequence[str]], length: int) -> bytearray:
    """Set the bit of each word in the bytes of the sheets that hold it."""
    tally = bytearray(length)
    asked = "select group_concat(rowid) from sheet_search_fts where sheet_search_fts match ?"
    for bit, together in enumerate(words):
        for sheet in listed(connection.execute(asked, [quoted(together[-1])]).fetchone()[0]):
            if sheet < length:
                tally[sheet] |= 1 << bit
    return tally
