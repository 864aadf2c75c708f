"""Which address answers with what.

Every page is read-only. What blocks (SQLite, files) runs in a thread of its own, so that a slow disk holds up
one page and no other.
"""

from __future__ import annotations

import asyncio
import re
from collections.abc import Awaitable, Callable
from concurrent.futures import ThreadPoolExecutor
from functools import wraps
from http import HTTPStatus
from typing import Any, TypeVar
from urllib.parse import parse_qsl, unquote

from datasette.utils import tilde_encode
from datasette.utils.asgi import Base400, Response

from negcat.errors import NegcatError, NotationError, UnknownNameError
from negcat.web import pending, reading, sheet, wall
from negcat.web.security import OWN_POLICY

__all__ = ["View", "explain", "names_tag", "pages", "readable", "refuse"]

View = Callable[[Any, Any], Awaitable[Any]]
_Found = TypeVar("_Found")

_PAGE_HEADERS = {"content-security-policy": OWN_POLICY, "cache-control": "no-cache"}
_PREVIEW_AGE = "max-age=300"
# Making a missing preview reads a whole master: in threads of their own, so that no page waits behind one.
_PREVIEWS = ThreadPoolExecutor(max_workers=2, thread_name_prefix="preview")


def pages() -> list[tuple[str, View]]:
    """List the addresses with the functions that answer them."""
    return [
        (r"^/$", _wall),
        (r"^/sheets\.json$", _wall_json),
        (r"^/sheet/(?P<sheet>[^/]+)$", _sheet),
        (r"^/pending$", _pending),
        (r"^/pending\.json$", _pending_json),
        (r"^/preview/(?P<scan>[0-9a-f]{12})-(?P<size>wall|page)\.jpg$", _preview),
    ]


def readable(view: Callable[[Any, Any, reading.Attached], Awaitable[Any]]) -> View:
    """Answer only GET and HEAD, only to who may read, and every known fault with a sentence."""

    @wraps(view)
    async def guarded(datasette: Any, request: Any) -> Any:
        attached = reading.attached(datasette)
        assert attached is not None  # the routes are only there with an archive
        if request.method not in ("GET", "HEAD"):
            response = await _sentence(
                datasette, request, HTTPStatus.METHOD_NOT_ALLOWED, "This page can only be read."
            )
            response.headers["allow"] = "GET, HEAD"
            return response
        await datasette.ensure_permissions(
            request.actor, [("view-database", attached.database), "view-instance"]
        )
        try:
            return await view(datasette, request, attached)
        except UnknownNameError as error:
            return await _sentence(datasette, request, HTTPStatus.NOT_FOUND, str(error))
        except NegcatError as error:
            return await _sentence(datasette, request, HTTPStatus.INTERNAL_SERVER_ERROR, str(error))

    # Datasette hands a view what its parameters name; the wrapped view's own would be looked at otherwise.
    del guarded.__wrapped__
    return guarded


def _search_of(request: Any) -> wall.Search:
    return wall.read_search(parse_qsl(request.query_string, keep_blank_values=True))


async def _searched(look: Callable[..., _Found], attached: reading.Attached, search: wall.Search) -> _Found:
    """Ask the archive what the address asks, in a thread of its own."""
    return await asyncio.to_thread(
        look, attached.root, search.chosen, sort=search.sort, limit=search.size, offset=search.offset
    )


@readable
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
    except NotationError as error:
        # What can't be read is said above a form that still holds it.
        search = search.with_fault(str(error))
        everything = await asyncio.to_thread(reading.wall, attached.root, {}, limit=0)
        found = reading.Wall(0, (), everything.choices)
    query = f"?{request.query_string}" if request.query_string else ""
    return await _page(
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
            "twin": datasette.urls.path("/sheets.json") + query,
        },
        HTTPStatus.BAD_REQUEST if search.faults else HTTPStatus.OK,
    )


@readable
async def _wall_json(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    del datasette
    search = _search_of(request)
    if not search.faults:
        try:
            found = await _searched(reading.found, attached, search)
        except NotationError as error:
            search = search.with_fault(str(error))
        else:
            return _json(found)
    return _json({"ok": False, "error": " ".join(search.faults), "status": 400}, HTTPStatus.BAD_REQUEST)


@readable
async def _sheet(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    asked = unquote(request.url_vars["sheet"])
    try:
        document, target = await asyncio.to_thread(reading.sheet, attached.root, asked)
    except UnknownNameError:
        # An id may itself end in .json; only where there is no such sheet is the ending a form of answer.
        if not asked.endswith(".json"):
            raise
        return _json(await asyncio.to_thread(reading.dossier, attached.root, asked.removesuffix(".json")))
    return await _page(
        datasette,
        request,
        attached,
        "sheet.html",
        {
            "page": sheet.set_page(document, target),
            "sheet_key": tilde_encode(document["sheet"]),
            "twin": datasette.urls.path(f"/sheet/{document['sheet']}.json"),
        },
    )


@readable
async def _pending(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    document = await asyncio.to_thread(reading.pending, attached.root)
    return await _page(
        datasette,
        request,
        attached,
        "pending.html",
        {"waiting": pending.set_page(document), "twin": datasette.urls.path("/pending.json")},
    )


@readable
async def _pending_json(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    del datasette, request
    return _json(await asyncio.to_thread(reading.pending, attached.root))


@readable
async def _preview(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    del datasette
    scan, size = request.url_vars["scan"], request.url_vars["size"]
    asked = request.headers.get("if-none-match", "")

    def fetch() -> tuple[str, bytes | None]:
        path = reading.preview(attached.root, scan, size)
        state = path.stat()
        tag = f'"{scan}-{state.st_mtime_ns:x}-{state.st_size:x}"'
        return tag, None if names_tag(asked, tag) else path.read_bytes()

    tag, picture = await asyncio.get_running_loop().run_in_executor(_PREVIEWS, fetch)
    # The tones follow the profile, so a preview may change under its name: kept briefly, then asked for.
    headers = {"etag": tag, "cache-control": _PREVIEW_AGE, "content-security-policy": OWN_POLICY}
    if picture is None:
        return Response(b"", status=HTTPStatus.NOT_MODIFIED, headers=headers, content_type="image/jpeg")
    return Response(
        picture, headers={**headers, "content-length": str(len(picture))}, content_type="image/jpeg"
    )


def names_tag(header: str, tag: str) -> bool:
    """Tell whether an ``If-None-Match`` header names this entity tag (RFC 9110, weak comparison)."""
    return header.strip() == "*" or tag in (part.strip().removeprefix("W/") for part in header.split(","))


def _json(document: Any, status: HTTPStatus = HTTPStatus.OK) -> Any:
    return Response.json(document, status=status, headers=dict(_PAGE_HEADERS))


async def _page(
    datasette: Any,
    request: Any,
    attached: reading.Attached,
    template: str,
    context: dict[str, Any],
    status: HTTPStatus = HTTPStatus.OK,
) -> Any:
    body = await datasette.render_template(
        f"negcat/{template}",
        {**context, "archive": attached.root.name, "catalogue": attached.database},
        request=request,
        view_name="negcat",
    )
    return Response.html(body, status=status, headers=dict(_PAGE_HEADERS))


async def _sentence(datasette: Any, request: Any, status: HTTPStatus, sentence: str) -> Any:
    """Answer with one sentence, as a page or as JSON after what was asked for."""
    path = request.path.partition("?")[0]
    if path.endswith(".json"):
        return _json({"ok": False, "error": sentence, "status": status}, status)
    attached = reading.attached(datasette)
    assert attached is not None
    heading = {404: "Not here", 403: "Not open to you", 405: "Only to be read"}.get(
        status, "That didn’t work"
    )
    return await _page(
        datasette, request, attached, "error.html", {"heading": heading, "sentence": sentence}, status
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
    return lambda: _sentence(datasette, request, status, said)


def refuse(datasette: Any, request: Any) -> Any:
    """Answer whoever may not read, where an archive is attached."""
    if reading.attached(datasette) is None:
        return None
    said = (
        "Reading this archive asks for signing in: open the sign-in link that was printed where it is served."
    )
    return lambda: _sentence(datasette, request, HTTPStatus.FORBIDDEN, said)
