"""Tallies: of each sheet one byte a column, side by side, so that any question of a large archive is a few reads.

An index answers one condition. Two that each choose a third of a million sheets have to be brought together row by row,
which takes a second; side by side, a million bytes are looked through in a millisecond, and without any library. A
byte says

* which word of a column the sheet has (``film``, ``lens``, ``cell``, ``tag``, ``developer``, ``verdict``, ``stage``,
  ``place``): one of the 254 most frequent, or :data:`RARER`, and then an index tells which;
* between which of 254 bounds it lies (``exposed_at``, ``sheet``, ``printing_range``): an index parts the sheets
  between the two bounds next to what is asked for;
* which of eight words it holds, one a bit (``words 0``, ``words 1``, …): the words, and beginnings of words, that
  the full text finds in one sheet in sixteen or more.

The place of a byte is the sheet's id; 0 is no sheet, or nothing known.

The tallies say how the sheets stood after some change in ``sheet_changes``. Whoever asks looks up the sheets that
have changed since one by one, so an answer is exact whichever program wrote last. Every write of negcat's keeps these
few: after so many changes the bytes of the changed sheets are written anew, in the same transaction.
"""

from __future__ import annotations

import contextlib
import json
import sqlite3
from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from operator import ne
from typing import Any

from negcat.catalogue.frequent_words import FullText, frequent_words, listed, words_tally
from negcat.catalogue.searching_schema import COUNTED, TEXTS
from negcat.errors import NegcatError

__all__ = [
    "FROM",
    "PART",
    "RANGES",
    "RARER",
    "SUITING",
    "WORDS",
    "code_of",
    "keep_up",
    "made_anew",
    "untrue",
]

WORDS = (*COUNTED, "place")
RANGES = ("exposed_at", "sheet", "printing_range")
AS_OF = "as of"
"""The row of ``sheet_tallies`` that says after which change, with how many ids, and how many tallies hold words."""

SUITING = "suiting"
"""The row of ``sheet_tallies`` that says of each print target's densities, as written, which ranges suit it.

Where what suits comes to be worked out otherwise, it gets another name.
"""

FROM = 20_000
"""Sheets from which on tallies are kept: fewer are found quickly without."""
CHANGES = 1000
"""Changes after which the bytes of the changed sheets are written anew."""
PART = 32_768
"""Sheets a row of bytes."""
RARER = 255
_FREQUENT = 254
_AT_ONCE = 20_000


def code_of(bounds: Sequence[Any], value: Any) -> int:
    """Give the byte of a value that lies between bounds: 1 below the first, 0 for None."""
    return 0 if value is None else 1 + bisect_right(bounds, value)


# Keeping them ---------------------------------------------------------------------------------------------


def keep_up(connection: sqlite3.Connection) -> None:
    """Make, or bring up to date, the tallies of a catalogue that is being written, where they are worth it."""
    execute = connection.execute
    if not execute("select 1 from sqlite_master where name = 'sheet_tallies'").fetchone():
        return
    _keep_suiting(connection)
    kept = execute("select meaning from sheet_tallies where name = ?", [AS_OF]).fetchone()
    (last,) = execute("select coalesce(max(id), 0) from sheet_search").fetchone()
    if kept is None:
        if last >= FROM:
            made_anew(connection)
        return
    as_of = json.loads(kept[0])
    (now,) = execute("select coalesce(max(change), 0) from sheet_changes").fetchone()
    if 0 <= now - as_of["change"] < CHANGES:
        return
    changed = _changed_since(connection, as_of["change"])
    # What is frequent changes as an archive grows; and who numbers changes from the first again has lost these.
    if now < as_of["change"] or last > 2 * as_of["last"] or 4 * len(changed) > last:
        made_anew(connection)
    else:
        _renew(connection, changed, now, as_of)


def _keep_suiting(connection: sqlite3.Connection) -> None:
    """Keep which ranges suit each print target: its curve is long to load for whoever only finds."""
    written = {densities for (densities,) in connection.execute("select densities from print_targets")}
    kept = connection.execute("select meaning from sheet_tallies where name = ?", [SUITING]).fetchone()
    ranges: dict[str, tuple[float, float]] = json.loads(kept[0]) if kept else {}
    if written == ranges.keys():
        return
    from negcat.catalogue.target_curves import curve_of
    from negcat.sensitometry import ranges_suiting

    found = {}
    for densities in sorted(written):
        # One that can't be read is for whoever asks for it to be told.
        with contextlib.suppress(NegcatError, ValueError, AttributeError):
            found[densities] = ranges_suiting(curve_of(SUITING, densities))
    if kept is None or found.keys() != ranges.keys():
        connection.execute(
            "insert into sheet_tallies (name, meaning) values (?, ?)"
            " on conflict (name) do update set meaning = excluded.meaning",
            [SUITING, json.dumps(found)],
        )


def made_anew(connection: sqlite3.Connection) -> None:
    """Make all tallies from what is searched, in place of those that were there."""
    execute = connection.execute
    execute("delete from sheet_tallies where name <> ?", [SUITING])
    execute("delete from sheet_tally_bytes")
    count, last = execute("select count(*), coalesce(max(id), 0) from sheet_search").fetchone()
    if count < FROM or last > 4 * count:
        return
    (now,) = execute("select coalesce(max(change), 0) from sheet_changes").fetchone()
    meanings: dict[str, Any] = _codes(connection)
    meanings |= {name: _bounds(connection, name, count) for name in RANGES}
    words = frequent_words(connection, last)
    places = range(0, len(words), 8)
    meanings |= {f"words {number}": words[place : place + 8] for number, place in enumerate(places)}
    for name, tally in _tallies(connection, meanings, (last // PART + 1) * PART).items():
        _write(connection, name, meanings[name], tally)
    as_of = {"change": now, "last": last, "words": len(places)}
    execute("insert into sheet_tallies (name, meaning) values (?, ?)", [AS_OF, json.dumps(as_of)])


def untrue(connection: sqlite3.Connection) -> int:
    """Count the bytes that don't say what is searched, of the sheets that haven't changed since they were written."""
    if not connection.execute("select 1 from sheet_tallies where name = ?", [AS_OF]).fetchone():
        return 0
    meanings = _meanings(connection)
    as_of = meanings.pop(AS_OF)
    changed = _changed_since(connection, as_of["change"])
    there = {name: bytearray(_read(connection, name)) for name in meanings}
    right = _tallies(connection, meanings, len(there["sheet"]))
    differing = 0
    for name, tally in there.items():
        for sheet in changed:
            tally[sheet : sheet + 1] = right[name][sheet : sheet + 1]
        if tally != right[name]:
            differing += sum(map(ne, tally, right[name])) or 1
    return differing


def _changed_since(connection: sqlite3.Connection, change: int) -> list[int]:
    asked = "select group_concat(id) from sheet_changes where change > ?"
    return listed(connection.execute(asked, [change]).fetchone()[0])


def _meanings(connection: sqlite3.Connection) -> dict[str, Any]:
    rows = connection.execute("select name, meaning from sheet_tallies where name <> ?", [SUITING])
    return {name: json.loads(meaning) for name, meaning in rows}


def _read(connection: sqlite3.Connection, name: str) -> bytes:
    rows = connection.execute("select bytes from sheet_tally_bytes where name = ? order by part", [name])
    return b"".join(part for (part,) in rows)


def _tallies(
    connection: sqlite3.Connection, meanings: Mapping[str, Any], length: int
) -> dict[str, bytearray]:
    """Work out the bytes of all sheets from what is searched."""
    names = (*WORDS, *RANGES)
    made = {name: bytearray(length) for name in names}
    rows = connection.execute(f"select id, {', '.join(names)} from sheet_search where id < ?", [length])
    while part := rows.fetchmany(_AT_ONCE):
        ids, *columns = zip(*part, strict=True)
        for name, values in zip(names, columns, strict=True):
            written = made[name]
            for place, code in zip(ids, _encoded(name, meanings[name], values), strict=True):
                written[place] = code
    for name in meanings.keys() - made.keys():
        made[name] = words_tally(connection, meanings[name], length)
    return made


def _codes(connection: sqlite3.Connection) -> dict[str, list[str]]:
    """Give the most frequent words of each column, the first having code 1."""
    found = {}
    for name in WORDS:
        table = "places" if name == "place" else "sheet_counts"
        counted = f"select {name} from {table} group by {name} order by sum(sheets) desc, {name} limit ?"
        found[name] = [word for (word,) in connection.execute(counted, [_FREQUENT])]
    found["place"] = ["", *found["place"][: _FREQUENT - 1]]
    return found


def _bounds(connection: sqlite3.Connection, name: str, count: int) -> list[Any]:
    """Give values of a column that part the sheets about evenly, the first of all among them."""
    # Below every value; null fails it too.
    least = "''" if name == "exposed_at" else "-1e300"
    asked = (
        f"select distinct {name} from (select {name}, row_number() over (order by {name}) as place"
        f" from sheet_search where {name} > {least})"
        f" where (place - 1) % :step = 0 order by 1 limit {_FREQUENT}"
    )
    step = max(1, -(-count // (_FREQUENT - 1)))
    return [value for (value,) in connection.execute(asked, {"step": step})]


def _encoded(name: str, meaning: Sequence[Any], values: Iterable[Any]) -> Iterable[int]:
    """Give the byte of each value of a column."""
    if name in RANGES:
        return [code_of(meaning, value) for value in values]
    codes = {word: code for code, word in enumerate(meaning, 1)}
    return [codes.get(value, RARER) for value in values]


def _write(connection: sqlite3.Connection, name: str, meaning: Sequence[Any], tally: bytearray) -> None:
    connection.execute(
        "insert into sheet_tallies (name, meaning) values (?, ?)",
        [name, json.dumps(meaning, ensure_ascii=False)],
    )
    connection.executemany(
        "insert into sheet_tally_bytes (name, part, bytes) values (?, ?, ?)",
        (
            (name, part, bytes(tally[part * PART : (part + 1) * PART]))
            for part in range(-(-len(tally) // PART))
        ),
    )


def _renew(
    connection: sqlite3.Connection, changed: Sequence[int], now: int, as_of: Mapping[str, Any]
) -> None:
    """Write the bytes of changed sheets anew."""
    execute = connection.execute
    names = (*WORDS, *RANGES)
    rows = execute(
        f"select id, {', '.join(names)}, {', '.join(f'k.{text}' for text in TEXTS)} from sheet_search k"
        " where id in (select value from json_each(?))",
        [json.dumps(changed)],
    ).fetchall()
    meanings = _meanings(connection)
    del meanings[AS_OF]
    fresh: dict[str, dict[int, int]] = {name: dict.fromkeys(changed, 0) for name in meanings}
    for place, name in enumerate(names, 1):
        codes = _encoded(name, meanings[name], [row[place] for row in rows])
        fresh[name].update(zip((row[0] for row in rows), codes, strict=True))
    texts = FullText()
    texts.add((row[0], *row[1 + len(names) :]) for row in rows)
    for number in range(as_of["words"]):
        name = f"words {number}"
        for bit, together in enumerate(meanings[name]):
            holding = texts.with_word(together[-1])
            for sheet in holding:
                fresh[name][sheet] |= 1 << bit
            # The sheets that hold one no longer are those that hold the other.
            together[:] = [word for word in together if texts.with_word(word) == holding]
        execute(
            "update sheet_tallies set meaning = ? where name = ?",
            [json.dumps(meanings[name], ensure_ascii=False), name],
        )
    texts.close()
    (there_are,) = execute("select 1 + max(part) from sheet_tally_bytes").fetchone()
    parts = {sheet // PART for sheet in changed}
    parts.update(range(there_are, max(parts) + 1))
    for name, written in fresh.items():
        tallies = {part: bytearray(PART) for part in parts}
        for part, there in execute(
            "select part, bytes from sheet_tally_bytes where name = ?"
            " and part in (select value from json_each(?))",
            [name, json.dumps(list(parts))],
        ):
            tallies[part] = bytearray(there)
        for sheet, code in written.items():
            tallies[sheet // PART][sheet % PART] = code
        connection.executemany(
            "insert into sheet_tally_bytes (name, part, bytes) values (?, ?, ?)"
            " on conflict (name, part) do update set bytes = excluded.bytes",
            ((name, part, bytes(tally)) for part, tally in tallies.items()),
        )
    execute(
        "update sheet_tallies set meaning = ? where name = ?", [json.dumps({**as_of, "change": now}), AS_OF]
    )
