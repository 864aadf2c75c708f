"""The review's page: which address answers with what, and an advice accepted on it."""

from __future__ import annotations

import asyncio
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass
from http import HTTPStatus
from pathlib import Path
from threading import Lock
from typing import Any
from urllib.parse import parse_qsl

from negcat.errors import NegcatError, NotationError, UnknownNameError
from negcat.web import answering, reading, review_page, wall
from negcat.web.typesetting import whole_sentence
from negcat.work.accepting import accept, accepted_so_far
from negcat.work.archive import CATALOGUE_NAME, Archive
from negcat.work.finding import query_of
from negcat.work.review_ring import what_if_of
from negcat.work.reviewing import BY, Review, review, review_json

__all__ = ["pages"]

_KEPT = 6
_ASKED = ("film", "index", "tag", "time")


def pages() -> list[tuple[str, answering.View]]:
    """List the addresses with the functions that answer them."""
    return [
        (r"^/review$", _review),
        (r"^/review\.json$", _review_json),
        (r"^/review/accept$", _accept),
    ]


@dataclass(frozen=True)
class _Asked:
    """What an address asks for."""

    search: wall.Search
    by: str | None
    what_if: Mapping[str, str]


def _asked(query_string: str) -> _Asked:
    pairs = parse_qsl(query_string, keep_blank_values=True)
    fields = dict(pairs)
    by = fields.get("by", "").strip() or None
    return _Asked(
        wall.read_search(pairs), by, {name: fields.get(f"if-{name}", "").strip() for name in _ASKED}
    )


# Learning from ten thousand sheets takes seconds, and a page is looked at more often than sheets are added.
_reviews: OrderedDict[tuple[Any, ...], Review] = OrderedDict()
_reviews_lock = Lock()


def _state(root: Path) -> tuple[Any, ...]:
    """Tell one state of the catalogue from another by its files."""
    known = []
    for name in (CATALOGUE_NAME, f"{CATALOGUE_NAME}-wal"):
        try:
            state = (root / name).stat()
        except FileNotFoundError:
            known.append((0, 0))
        else:
            known.append((state.st_mtime_ns, state.st_size))
    return tuple(known)


def _reviewed(archive: Archive, chosen: Mapping[str, str]) -> Review:
    """Review the sheets that a search chooses; the same once more while nothing has changed."""
    key = (archive.root, tuple(sorted(chosen.items())), _state(archive.root))
    with _reviews_lock:
        if key in _reviews:
            _reviews.move_to_end(key)
            return _reviews[key]
    done = review(archive, query_of(chosen))
    with _reviews_lock:
        _reviews[key] = done
        while len(_reviews) > _KEPT:
            _reviews.popitem(last=False)
    return done


async def _document(attached: reading.Attached, asked: _Asked) -> dict[str, Any]:
    def look(archive: Archive) -> dict[str, Any]:
        if asked.by is not None and asked.by not in BY:
            raise NotationError(f"sheets can't be grouped by {asked.by!r}; group them by {', '.join(BY)}")
        done = _reviewed(archive, asked.search.chosen)
        films = dict.fromkeys(row["film"] for row in done.gathered.rows)
        document = review_json(done, done.ring(what_if_of(asked.what_if, films)))
        document["accepted"] = accepted_so_far(archive)
        return document

    return await answering.read(attached, look)


@answering.readable
async def _review(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    return await _page(datasette, request, attached, _asked(request.query_string))


async def _page(
    datasette: Any,
    request: Any,
    attached: reading.Attached,
    asked: _Asked,
    refused: Mapping[str, str] | None = None,
) -> Any:
    """Answer with the page; what can't be read is said above a form that still holds it."""
    search, fault, status = asked.search, "", HTTPStatus.OK
    try:
        document = await _document(attached, asked)
    except (NotationError, UnknownNameError) as error:
        fault, status = whole_sentence(str(error)), HTTPStatus.BAD_REQUEST
        try:
            document = await _document(attached, _Asked(search, None, {}))
        except (NotationError, UnknownNameError) as unreadable:
            fault = whole_sentence(str(unreadable))
            # Words without a letter: no sheet fits them.
            document = await _document(attached, _Asked(wall.Search(chosen={"text": "—"}), None, {}))
    if search.faults or refused:
        status = HTTPStatus.BAD_REQUEST

    def choices() -> Any:
        try:
            return reading.wall(attached.root, search.chosen, limit=0).choices
        except (NotationError, UnknownNameError):
            return reading.wall(attached.root, {}, limit=0).choices

    by = asked.by if asked.by in BY else None
    what_if = {name: value for name, value in asked.what_if.items() if value}
    query = f"?{request.query_string}" if request.query_string and request.method == "GET" else ""
    return await answering.page(
        datasette,
        request,
        attached,
        "review.html",
        {
            "page": review_page.set_page(document, BY, by),
            "search": search,
            "filters": wall.FILTERS,
            "choices": await asyncio.to_thread(choices),
            "faults": [*search.faults, *([fault] if fault else [])],
            "refused": refused or {},
            "by": by,
            "kinds": BY,
            "what_if": what_if,
            "accepted": document["accepted"],
            "address": review_page.address,
            "twin": datasette.urls.path("/review.json") + query,
        },
        status,
    )


@answering.readable
async def _review_json(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    del datasette
    asked = _asked(request.query_string)
    if asked.search.faults:
        return answering.refusal(" ".join(asked.search.faults))
    try:
        document = await _document(attached, asked)
    except (NotationError, UnknownNameError) as error:
        return answering.refusal(whole_sentence(str(error)))
    if asked.by is not None:
        document["decisions"] = [one for one in document["decisions"] if one["by"] == asked.by]
    return answering.document(document)


@answering.writing
async def _accept(datasette: Any, request: Any, attached: reading.Attached, sent: answering.Sent) -> Any:
    """Accept the advice that a form names, as ``negcat review --accept`` does."""
    fields = sent.fields
    key = fields.get("key", "").strip()
    search = wall.read_search((name, value) for name, value in fields.items() if name in wall.FILTERS)

    def take(archive: Archive) -> None:
        accept(
            archive,
            key,
            via="web review",
            query=query_of(search.chosen),
            effective_from=fields.get("from"),
            shown=fields.get("sentence"),
        )

    try:
        await answering.write(attached, take)
    except NegcatError as error:
        # Said on the page it was sent from, beside the advice.
        refused = {"key": key, "sentence": whole_sentence(str(error)), "from": fields.get("from", "")}
        return await _page(datasette, request, attached, _Asked(search, None, {}), refused)
    return answering.see_other(datasette, f"/review{review_page.address(search.chosen)}#accepted")
