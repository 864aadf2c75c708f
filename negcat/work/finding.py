"""Find sheets."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from negcat.catalogue.finding import Found, Page
from negcat.catalogue.queries import Query
from negcat.errors import NotationError
from negcat.notation import parse_tag
from negcat.work.archive import Archive, catalogue_file

__all__ = ["Page", "Query", "counts", "find", "find_in", "find_with_choices", "page_json", "query_of"]

FIELDS = (
    "sheet",
    "film",
    "lens",
    "cell",
    "tag",
    "developer",
    "batch",
    "exposed_at",
    "place",
    "subject",
    "verdict",
    "printing_range",
    "suits",
)

VERDICTS = frozenset(
    {"thin", "dense", "flat", "contrasty", "as planned", "unsure", "not measured"}
    | {
        f"{exposure}, {development}"
        for exposure in ("thin", "dense")
        for development in ("flat", "contrasty")
    }
)
"""Every verdict that a sheet can get."""

MOST_SHEETS = 1_000_000_000
"""A limit that no archive reaches, and that SQLite still takes."""


def query_of(filters: Mapping[str, Any]) -> Query:
    """Make a query from what a user typed; blank filters ask nothing.

    Raises
    ------
    NotationError : a tag that can't be read, a verdict that doesn't exist.
    """
    asked = {name: value for name, value in filters.items() if value not in (None, "")}
    if "tag" in asked:
        asked["tag"] = parse_tag(asked["tag"]).text
    if "verdict" in asked:
        verdict = " ".join(str(asked["verdict"]).casefold().split())
        if verdict not in VERDICTS:
            raise NotationError(
                f"{asked['verdict']!r} is no verdict: write thin, dense, flat, contrasty, two of them as "
                "'thin, contrasty', 'as planned', unsure or 'not measured'"
            )
        asked["verdict"] = verdict
    if "limit" in asked:
        asked["limit"] = min(asked["limit"], MOST_SHEETS)
    return Query(**asked)


def find(archive: Archive, query: Query) -> Page:
    """Find the sheets that fit all of a query."""
    return archive.catalogue.find(query)


def find_in(root: Path, query: Query, *, with_suits: bool = True) -> Page:
    """Find the sheets of an archive that fit all of a query, without loading what only computing needs.

    Parameters
    ----------
    root : the archive's folder.
    query : the question.
    with_suits : tell of each sheet which print targets it suits, which takes longer.
    """
    with Found.open(catalogue_file(root), readonly=True) as catalogue:
        return catalogue.find(query, with_suits=with_suits)


def counts(archive: Archive, query: Query) -> Mapping[str, Sequence[tuple[str, int]]]:
    """Count the values of each filter, given the other filters of a query."""
    return archive.catalogue.counts(query)


def find_with_choices(archive: Archive, query: Query) -> tuple[Page, Mapping[str, Sequence[tuple[str, int]]]]:
    """Find the sheets that fit all of a query, and count the values of each filter, given the others."""
    return archive.catalogue.find_with_choices(query)


def page_json(page: Page) -> dict[str, Any]:
    """Give what ``negcat find --json`` prints."""
    return {"count": page.count, "sheets": [{name: row[name] for name in FIELDS} for row in page.rows]}
