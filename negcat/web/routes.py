"""Which address answers with what.

These pages are read only. What blocks (SQLite, files) runs in a thread of its own, so that a slow disk holds
up one page and no other.
"""

from __future__ import annotations

import asyncio
import re
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from http import HTTPStatus
from typing import Any, TypeVar
from urllib.parse import parse_qsl, unquote

from datasette.utils.asgi import Base400, Response

from negcat.errors import NotationError, UnknownNameError
from negcat.web import answering, history, pending, reading, spots, wall
from negcat.web.security import OWN_POLICY
from negcat.work.naming import RemovedSheetError

__all__ = ["explain", "pages", "pending_page", "refuse"]

_Found = TypeVar("_Found")

_PREVIEW_AGE = "max-age=300"
# Making a missing preview reads a whole master: in threads of their own, so that no page waits behind one.
_PREVIEWS = ThreadPoolExecutor(max_workers=2, thread_name_prefix="preview")


def pages() -> list[tuple[str, answering.View]]:
    """List the addresses with the functions that answer them."""
    return [
        (r"^/$", _wall),
        (r"^/sheets\.json$", _wall_json),
        (r"^/sheet/(?P<sheet>[^/]+)$", _sheet),
        (r"^/pending$", _pending),
        (r"^/pending\.json$", _pending_json),
        (r"^/preview/(?P<scan>[0-9a-f]{12})-(?P<size>wall|page)\.jpg$", _preview),
    ]


def _search_of(request: Any) -> wall.Search:
    return wall.read_search(parse_qsl(request.query_string, keep_blank_values=True))


async def _searched(look: Callable[..., _Found], attached: reading.Attached, search: wall.Search) -> _Found:
    """Ask the archive what the address asks, in a thread of its own."""
    return await asyncio.to_thread(
        look, attached.root, search.chosen, sort=search.sort, limit=search.size, offset=search.offset
    )


@answering.readable
async def _wall(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    search = _search_of(request)
    if search.untidy and not search.faults:
        # A form sends its empty fields too; the address one keeps shouldn't.
        address = search.address()
        return Response.redirect(
            datasette.urls.path("/") + (f"?{address}" if address else ""),
            headers={"cache-control": "no-cache"},
        )
    try:
        found = await _searched(reading.wall, attached, search)
    except (NotationError, UnknownNameError) as error:
        # What can't be read is said above a form that still holds it.
        search = search.with_fault(str(error))
        everything = await asyncio.to_thread(reading.wall, attached.root, {}, limit=0)
        found = reading.Wall(0, (), everything.choices)
    query = f"?{request.query_string}" if request.query_string else ""
    return await answering.page(
        datasette,
        request,
        attached,
        "wall.html",
        {
            "search": search,
            "filters": wall.FILTERS,
            "sorts": wall.SORTS,
            "sizes": wall.PAGE_SIZES,
            "choices": found.choices,
            "plates": wall.plates(found.rows),
            "shown": wall.shown(search, found.count, found.rows),
            "in_tables": search.in_tables(found.suiting),
            "twin": datasette.urls.path("/sheets.json") + query,
        },
        HTTPStatus.BAD_REQUEST if search.faults else HTTPStatus.OK,
    )


@answering.readable
async def _wall_json(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    del datasette
    search = _search_of(request)
    if not search.faults:
        try:
            found = await _searched(reading.found, attached, search)
        except (NotationError, UnknownNameError) as error:
            search = search.with_fault(str(error))
        else:
            return answering.document(found)
    return answering.refusal(" ".join(search.faults))


@answering.readable
async def _sheet(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    scan = request.args.get("scan") or ""
    return await answering.page_or_document(
        unquote(request.url_vars["sheet"]),
        lambda sheet: _sheet_or_removed(datasette, request, attached, sheet, scan),
        lambda sheet: asyncio.to_thread(reading.dossier, attached.root, sheet),
    )


async def _sheet_or_removed(
    datasette: Any, request: Any, attached: reading.Attached, sheet: str, scan: str
) -> Any:
    try:
        return await spots.sheet_page(datasette, request, attached, sheet, scan)
    except RemovedSheetError as error:
        return await history.removed_page(datasette, request, attached, error.sheet)


@answering.readable
async def _pending(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    return await pending_page(datasette, request, attached)


async def pending_page(
    datasette: Any,
    request: Any,
    attached: reading.Attached,
    refused: Mapping[str, str] | None = None,
    status: HTTPStatus = HTTPStatus.OK,
) -> Any:
    """Answer with what waits.

    Parameters
    ----------
    refused : of a joining that could not be done: the scan, the sheet as it was typed, and a sentence.
    """
    document = await asyncio.to_thread(reading.pending, attached.root)
    return await answering.page(
        datasette,
        request,
        attached,
        "pending.html",
        {
            "waiting": pending.set_page(document),
            "refused": refused or {},
            "twin": datasette.urls.path("/pending.json"),
        },
        status,
    )


@answering.readable
async def _pending_json(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    del datasette, request
    return answering.document(await asyncio.to_thread(reading.pending, attached.root))


@answering.readable
async def _preview(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    del datasette
    scan, size = request.url_vars["scan"], request.url_vars["size"]
    asked = request.headers.get("if-none-match", "")

    def fetch() -> tuple[str, bytes | None]:
        path = reading.preview(attached.root, scan, size)
        state = path.stat()
        tag = f'"{scan}-{state.st_mtime_ns:x}-{state.st_size:x}"'
        return tag, None if answering.names_tag(asked, tag) else path.read_bytes()

    tag, picture = await asyncio.get_running_loop().run_in_executor(_PREVIEWS, fetch)
    # The tones follow the profile, so a preview may change under its name: kept briefly, then asked for.
    headers = {"etag": tag, "cache-control": _PREVIEW_AGE, "content-security-policy": OWN_POLICY}
    if picture is None:
        return Response(b"", status=HTTPStatus.NOT_MODIFIED, headers=headers, content_type="image/jpeg")
    return Response(
        picture, headers={**headers, "content-length": str(len(picture))}, content_type="image/jpeg"
    )


def explain(datasette: Any, request: Any, exception: BaseException) -> Any:
    """Answer for what Datasette couldn't find, where an archive is attached; leave all else to Datasette."""
    if reading.attached(datasette) is None or not isinstance(exception, Base400):
        return None
    status = HTTPStatus(exception.status)
    said = str(exception.args[0]) if exception.args else ""
    path = re.sub(r"[\x00-\x1f]", "", unquote(request.path.partition("?")[0]))
    if status == HTTPStatus.NOT_FOUND and said in ("", "404"):
        said = f"There is no page {path} here."
    return lambda: answering.sentence(datasette, request, status, said)


def refuse(datasette: Any, request: Any) -> Any:
    """Answer whoever may not read, where an archive is attached."""
    if reading.attached(datasette) is None:
        return None
    said = (
        "Reading this archive asks for signing in: open the sign-in link that was printed where it is served."
    )
    return lambda: answering.sentence(datasette, request, HTTPStatus.FORBIDDEN, said)
