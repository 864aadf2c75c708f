"""What can be asked of the archive, and how a question becomes conditions that an index answers.

Every filter is a condition on one column of ``sheet_search`` that leads an index. What the user writes is
first turned into what the archive holds (case aside, for names in any alphabet), so that the condition itself
is plain equality. User text never becomes part of a statement.
"""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace
from datetime import datetime
from typing import Any, Literal

from negcat.catalogue.searching_schema import COUNTED
from negcat.catalogue.suiting import Suited
from negcat.errors import NotationError
from negcat.notation import parse_tag

__all__ = ["Condition", "Conditions", "Query", "Questions", "full_text"]

Sort = Literal["newest", "oldest", "sheet", "verdict", "place"]

_DATE = re.compile(r"\d{4}(-\d{2}(-\d{2}([T ]\d{2}:\d{2}(:\d{2})?)?)?)?", re.ASCII)

_AFTER_ALL = "~"
"""Sorts after everything that may follow a date in ISO 8601, so that a day holds all its hours."""


@dataclass(frozen=True)
class Query:
    """Which sheets, in which order, how many.

    Parameters
    ----------
    text : words, all of which must stand, or begin a word, in id, place, subject, notes, names of
        readings, developer, lens or film.
    cell, lens, film, developer, batch, verdict, stage : a name, case aside. ``stage`` is ``to develop``,
        ``to scan``, ``to measure`` or ``measured``.
    tag : a tag in any of its notations.
    place : any part of a place, case aside.
    suits : a print target, case aside: sheets whose density range is what it wants.
    since, until : dates ``2026``, ``2026-05`` or ``2026-05-03``, or with a time; both are included whole.
    limit : rows a page, at least 0; None for all.
    offset : rows to leave out first.
    after : a page's :attr:`Page.after`: go on behind that page.
    sort : ``newest`` first, ``oldest`` first, or by ``sheet``, ``verdict``, ``place``.
    """

    text: str | None = None
    cell: str | None = None
    lens: str | None = None
    tag: str | None = None
    film: str | None = None
    developer: str | None = None
    batch: str | None = None
    place: str | None = None
    since: str | None = None
    until: str | None = None
    verdict: str | None = None
    stage: str | None = None
    suits: str | None = None
    limit: int | None = 100
    offset: int = 0
    after: str | None = None
    sort: Sort = "newest"

    def filters(self) -> dict[str, str]:
        """Give the filters that are set, without blank ones: an empty field of a form asks nothing."""
        paging = {"limit", "offset", "after", "sort"}
        return {
            part.name: value.strip()
            for part in fields(self)
            if part.name not in paging
            and isinstance(value := getattr(self, part.name), str)
            and value.strip()
        }

    def without(self, name: str) -> Query:
        """Give the same question with one filter left out."""
        changes: dict[str, Any] = {name: None}
        return replace(self, **changes)


@dataclass(frozen=True)
class Condition:
    """One filter as SQL over ``sheet_search``.

    Parameters
    ----------
    clause : the condition, with parameters whose names begin with the filter's.
    parameters : their values by name; None where it is known that no sheet fits.
    values : the values of the filter's column that fit; None where it isn't about a column's values.
    """

    clause: str
    parameters: Mapping[str, Any] | None
    values: tuple[str, ...] | None = None


@dataclass(frozen=True)
class Conditions:
    """A question as SQL over ``sheet_search``.

    Parameters
    ----------
    of : filter → its condition; all must hold.
    nothing : whether it is known already that no sheet fits.
    """

    of: Mapping[str, Condition]
    nothing: bool

    @property
    def clauses(self) -> tuple[str, ...]:
        """The conditions."""
        return tuple(condition.clause for condition in self.of.values())

    @property
    def parameters(self) -> dict[str, Any]:
        """Their values by name."""
        return {
            name: value
            for condition in self.of.values()
            for name, value in (condition.parameters or {}).items()
        }

    @property
    def counted(self) -> bool:
        """Whether they are only about what ``sheet_counts`` counts by."""
        return set(self.of) <= set(COUNTED)

    @property
    def where(self) -> str:
        """The conditions as a WHERE clause, with a space before it; empty without any."""
        if self.nothing:
            return " where 0"
        return f" where {' and '.join(self.clauses)}" if self.of else ""


def full_text(text: str) -> str | None:
    """Write what a user types as a full-text question: every word must occur, or begin one that does.

    Each word becomes a quoted phrase, so that no sign in it means anything to the search engine;
    ``BW-07`` asks for ``BW`` followed by something that begins with ``07``.

    Returns
    -------
    The question; None where the text holds no letter or figure to search for.

    Examples
    --------
    >>> full_text('kiln "mouth')
    '"kiln"* "mouth"*'
    >>> full_text("— * —") is None
    True
    """
    words = [
        word.replace('"', " ").strip()
        for word in unicodedata.normalize("NFC", text).replace("\0", " ").split()
        if any(unicodedata.category(letter)[0] in "LN" for letter in word)
    ]
    return " ".join(f'"{word}"*' for word in words) if words else None


def _date(written: str, filter_name: str) -> str:
    if not _DATE.fullmatch(written) or not _exists(written):
        raise NotationError(
            f"{written!r} is no date for '{filter_name}'; "
            "write it as 2026, 2026-05, 2026-05-03 or 2026-05-03 07:40"
        )
    return written.replace(" ", "T")


def _exists(written: str) -> bool:
    """Tell whether the calendar has a date of the right shape, or of its beginning."""
    try:
        datetime.fromisoformat(written + "0001-01-01"[len(written) :])
    except ValueError:
        return False
    return True


class Questions(Suited):
    """How questions become conditions."""

    def conditions(self, query: Query) -> Conditions:
        """Turn a question into conditions.

        Raises
        ------
        NotationError : a tag or date that can't be read.
        UnknownNameError : a print target that isn't on record.
        """
        of: dict[str, Condition] = {}
        for name, written in query.filters().items():
            if name == "text":
                clause = "id in (select rowid from sheet_search_fts where sheet_search_fts match :text)"
                match = full_text(written)
                of[name] = Condition(clause, None if match is None else {name: match})
            elif name == "since":
                of[name] = Condition("exposed_at >= :since", {name: _date(written, name)})
            elif name == "until":
                last = _date(written, name) + _AFTER_ALL
                of[name] = Condition("exposed_at > '' and exposed_at <= :until", {name: last})
            elif name == "suits":
                least, most = self.ranges_suiting_target(written)
                clause = "printing_range between :suits_least and :suits_most"
                of[name] = Condition(clause, {"suits_least": least, "suits_most": most})
            else:
                values = tuple(self._places(written) if name == "place" else self._spellings(name, written))
                if len(values) == 1:
                    of[name] = Condition(f"{name} = :{name}", {name: values[0]}, values)
                else:
                    clause = f"{name} in (select value from json_each(:{name}))"
                    of[name] = Condition(clause, {name: json.dumps(values)}, values)
        nothing = any(condition.parameters is None or condition.values == () for condition in of.values())
        return Conditions(of, nothing)

    def _spellings(self, column: str, written: str) -> list[str]:
        """Find the ways a name is spelt in the archive that are the same, case aside."""
        if column == "tag":
            return [parse_tag(written).text]
        wanted = unicodedata.normalize("NFC", written)
        if column == "batch":
            if self.value("select 1 from developments where batch = ?", [wanted]):
                return [wanted]
            spelt: Iterable[tuple[str]] = self.tuples("select batch from developments")
        else:
            spelt = self.tuples(f"select distinct {column} from sheet_counts where {column} <> ''")
        return [name for (name,) in spelt if name.casefold() == wanted.casefold()]

    def _places(self, written: str) -> list[str]:
        """Find the places that hold what was written, case aside."""
        wanted = unicodedata.normalize("NFC", written).replace("\0", " ")
        if len(wanted) >= 3:
            quoted = '"' + wanted.replace('"', '""') + '"'
            sql = (
                "select place from places where id in (select rowid from places_fts where places_fts match ?)"
            )
            return [place for (place,) in self.tuples(sql, [quoted])]
        # Two letters make no trigram; the places themselves are few.
        folded = wanted.casefold()
        return [place for (place,) in self.tuples("select place from places") if folded in place.casefold()]
