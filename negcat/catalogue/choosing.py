"""Sheets that fit a question, chosen in memory, and the counts beside each filter, given the others."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from negcat.catalogue.columns import CHOICES, SEARCHED, Columns, InMemory, Mask
from negcat.catalogue.finding import DETAILS, ORDER, SHOWN, Found, Page, Suiting, shown_row
from negcat.catalogue.frequent_words import listed
from negcat.catalogue.queries import Condition, Conditions, Query
from negcat.catalogue.tallied import Marked
from negcat.notation import parse_tag

__all__ = ["Choices", "Chosen"]

Choices = dict[str, list[tuple[str, int]]]
"""Filter → its values, each with the number of sheets behind it."""


class Chosen(Found, InMemory):
    """How sheets are found with what else could be chosen."""

    def find_with_choices(self, query: Query, most: int = 200) -> tuple[Page, Choices]:
        """Find the sheets that fit a question, and count what else could be chosen, of one state of the archive.

        Parameters
        ----------
        query, most : as for :meth:`find` and :meth:`counts`.
        """
        self._refuse_unanswerable(query)
        with self.at_once():
            conditions = self.conditions(query)
            columns = self.columns(SEARCHED)
            fitting = self._fitting(columns, conditions)
            together = _all_of(columns, fitting.values())
            suiting = self.ranges_suiting()
            choices = _choices(columns, fitting, together, most, suiting)
            if conditions.of and query.after is None and query.limit is not None:
                ids = _page_of(columns, together, query)
                return Page(int(np.count_nonzero(together)), self._rows_of_ids(ids, suiting)), choices
            rows, after = self._rows(query, conditions, suiting)
            return Page(int(np.count_nonzero(together)), rows, after), choices

    def counts(self, query: Query, most: int = 200) -> Choices:
        """Count, for every filter, the sheets of each of its values, given the other filters.

        Parameters
        ----------
        query : the question; its own choice for a filter doesn't narrow that filter's values.
        most : of batches and places at most so many, those with most sheets; of the others all.

        Returns
        -------
        Filter (film, lens, cell, tag, developer, verdict, stage, batch, place, suits) → (value, sheets), in
        the order of the values.

        Raises
        ------
        NotationError : a tag or date that can't be read.
        UnknownNameError : a print target that isn't on record.
        """
        with self.at_once():
            columns = self.columns(SEARCHED)
            fitting = self._fitting(columns, self.conditions(query))
            together = _all_of(columns, fitting.values())
            return _choices(columns, fitting, together, most, self.ranges_suiting())

    def _fitting(self, columns: Columns, conditions: Conditions) -> dict[str, Mask]:
        """Tell of each filter which of the sheets in columns fit it."""
        return {name: self._fits(columns, name, one) for name, one in conditions.of.items()}

    def _fits(self, columns: Columns, name: str, condition: Condition) -> Mask:
        if condition.values is not None:
            return columns.words[name].among(condition.values)
        if condition.parameters is None:
            return np.zeros(len(columns.ids), bool)
        if name == "suits":
            least, most = condition.parameters.values()
            return _in_range(columns, least, most)
        (asked,) = condition.parameters.values()
        if name == "text":
            marked = self.marked(Conditions({name: condition}, nothing=False))
            if marked is not None:
                return _marked(columns, marked)
            # One text of all ids: tens of thousands of rows cost more than finding them does.
            sql = "select group_concat(rowid) from sheet_search_fts where sheet_search_fts match ?"
            return columns.among(np.array(listed(self.value(sql, [asked])), np.int64))
        exposed_at, limit = columns.arrays["exposed_at"], np.bytes_(asked.encode())
        if name == "since":
            return np.asarray(exposed_at >= limit)
        return np.asarray((exposed_at > b"") & (exposed_at <= limit))

    def _rows_of_ids(self, ids: list[int], suiting: Suiting) -> list[dict[str, Any]]:
        """Read the rows of sheets, in their order."""
        sql = (
            f"with page as materialized (select j.key as by_key, {', '.join(f'k.{name}' for name in SHOWN)}"
            " from json_each(?) j join sheet_search k on k.id = j.value)"
            f" select {', '.join(f'p.{name} as {name}' for name in SHOWN)},{DETAILS} order by p.by_key"
        )
        return [shown_row(row, suiting) for row in self.rows(sql, [json.dumps(ids)])]


def _all_of(columns: Columns, masks: Iterable[Mask]) -> Mask:
    """Tell which sheets fit every one of some filters."""
    together = columns.there
    for mask in masks:
        together = together & mask
    return together


def _marked(columns: Columns, marked: Marked) -> Mask:
    """Tell which sheets the tallies mark."""
    mask = np.frombuffer(marked.mask, np.uint8)
    held = int(np.searchsorted(columns.ids, len(mask)))
    fits = np.zeros(len(columns.ids), bool)
    fits[:held] = mask[columns.ids[:held]] > 0
    if marked.changed:
        fits |= columns.among(np.array(marked.changed, np.int64))
    return fits


def _in_range(columns: Columns, least: float, most: float) -> Mask:
    """Tell which sheets have a density range between two, both included."""
    ranges = columns.arrays["printing_range"]
    return np.asarray((ranges >= least) & (ranges <= most))


def _choices(
    columns: Columns, fitting: Mapping[str, Mask], together: Mask, most: int, suiting: Suiting
) -> Choices:
    """Count the values of every filter, given the others."""

    def given(name: str) -> Mask:
        if name not in fitting:
            return together
        return _all_of(columns, (mask for other, mask in fitting.items() if other != name))

    counted = {
        name: columns.words[name].counts(given(name), most if name in ("batch", "place") else None)
        for name in CHOICES
    }
    others = given("suits")
    suits = {
        target: int(np.count_nonzero(others & _in_range(columns, *ranges)))
        for target, ranges in suiting.items()
    }
    # A sheet may suit several targets, and none: they are no column of words.
    counted["suits"] = [(target, sheets) for target, sheets in suits.items() if sheets]
    return {name: sorted(values, key=_tag_order(name)) for name, values in counted.items()}


def _page_of(columns: Columns, together: Mask, query: Query) -> list[int]:
    """Choose the sheets of a page, in the order asked for."""
    first, down = ORDER[query.sort][0][0], ORDER[query.sort][1]
    order = columns.in_order(first)
    places = order[together[order]]
    if down:
        places = places[::-1]
    chosen: list[int] = columns.ids[places[query.offset : query.offset + (query.limit or 0)]].tolist()
    return chosen


def _tag_order(name: str) -> Any:
    """Sort tags by how far they go, everything else by name."""
    if name == "tag":
        return lambda counted: parse_tag(counted[0]).n
    return lambda counted: counted[0].casefold()
