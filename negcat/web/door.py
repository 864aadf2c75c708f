"""The door that every request goes through before Datasette sees it, and every answer on its way out.

It refuses what is malformed, too long, too slow or addressed to another name; it lets strangers come no further
than they may; and it dresses every answer, also one to a fault, in the protective headers. Who is let in where:

==============================  =================  ==============================  =====================
asked for                       at this machine    elsewhere, with public_read     elsewhere, without it
==============================  =================  ==============================  =====================
signing in, static files        everybody          everybody                       everybody
the archive's own pages         everybody          everybody, no folder is told    who has signed in
Datasette's: tables, SQL, …     everybody          who has signed in               who has signed in
what writes                     who has signed in  who has signed in               who has signed in
==============================  =================  ==============================  =====================

A view is the archive's own only where it says so of itself: a route that is added, and what other plugins add,
is closed to strangers until then.
"""

from __future__ import annotations

import asyncio
import json
import logging
import re
from collections.abc import AsyncIterator, Awaitable, Callable, Iterable, MutableMapping
from contextlib import asynccontextmanager
from http import HTTPStatus
from http.cookies import CookieError
from typing import Any

from datasette.utils import resolve_routes
from datasette.utils.asgi import Base400, Response

from negcat.web import reading, security
from negcat.web.dressing import Dressing
from negcat.web.security import OWN_POLICY
from negcat.web.visitors import Served, Visitor, served, visitor

__all__ = [
    "HEAD_BYTES",
    "MOST_BYTES",
    "Turns",
    "Wrapper",
    "explain",
    "is_open",
    "is_ours",
    "leave_open",
    "own",
    "route_path",
    "wrapper",
]

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
Application = Callable[[Scope, Receive, Send], Awaitable[None]]
Wrapper = Callable[[Application], Application]

MOST_BYTES = 1_000_000
"""The longest body that is taken; a field record is some thousand bytes."""

HEAD_BYTES = 32_768
"""The longest head of a request: its address and headers."""

BODY_S = 60.0
"""Seconds in which a body has to be here."""

AT_ONCE, WAITING = 4, 48
"""Requests of one address elsewhere that are worked on at once, and that may wait for their turn."""

METHODS = ("GET", "HEAD", "OPTIONS", "POST")

_READ_AS_ASCII = {b"host", b"cookie", b"content-type", b"x-csrftoken", b"origin", b"authorization"}
_COOKIE = re.compile(rb"[\w!#$%&'*+.^`|~-]+=[!-+\--:<-~]*")
_TARGET = re.compile(rb"/(?!/)[!-\[\]-~]*")

_log = logging.getLogger("negcat.web")


# What a view says of itself -----------------------------------------------------------------------------------


def own(view: Any) -> Any:
    """Say of a view that it is the archive's own, and fit for strangers where they may read."""
    view.is_ours = True
    return view


def leave_open(view: Any) -> Any:
    """Say of a view that everybody is let in to it: it tells nothing of the archive."""
    view.is_left_open = True
    return view


def is_ours(view: Any) -> bool:
    """Tell whether a view is the archive's own."""
    return getattr(view, "is_ours", False)


def is_open(view: Any) -> bool:
    """Tell whether everybody is let in to a view."""
    return getattr(view, "is_left_open", False)


def _is_static(view: Any, path: str) -> bool:
    """Tell whether a view gives files of the program, which are the same for every archive."""
    return path == "/favicon.ico" or getattr(view, "_datasette_static", False)


def route_path(datasette: Any, scope: Scope) -> str:
    """Give the path that Datasette finds the view by: as it was sent, without the base address."""
    raw = scope.get("raw_path")
    path = (raw.decode("ascii") if raw else str(scope["path"])).partition("?")[0]
    base = datasette.setting("base_url")
    return "/" + path[len(base) :] if base != "/" and path.startswith(base) else path


class _RefusedError(Exception):
    """A request that isn't let in: status, sentence, whether signing in mends it, and further headers."""

    def __init__(
        self, status: HTTPStatus, sentence: str, *, signing_in: bool = False, **headers: str
    ) -> None:
        super().__init__(sentence)
        self.status, self.sentence, self.signing_in = status, sentence, signing_in
        self.headers = {name.replace("_", "-"): value for name, value in headers.items()}


class Turns:
    """Lets one address have so much worked on at once, so that nobody keeps all others waiting."""

    def __init__(self, at_once: int = AT_ONCE, waiting: int = WAITING) -> None:
        self._at_once, self._most = at_once, at_once + waiting
        self._held: dict[str, tuple[asyncio.Semaphore, int]] = {}

    @asynccontextmanager
    async def turn(self, address: str) -> AsyncIterator[None]:
        """Wait for one's turn.

        Raises
        ------
        _RefusedError : too much waits already.
        """
        turns, held = self._held.get(address) or (asyncio.Semaphore(self._at_once), 0)
        if held >= self._most:
            raise _RefusedError(
                HTTPStatus.TOO_MANY_REQUESTS,
                "Too much is asked for at once from your address: ask for less at a time.",
                retry_after="2",
            )
        self._held[address] = turns, held + 1
        try:
            async with turns:
                yield
        finally:
            turns, held = self._held.pop(address)
            if held > 1:
                self._held[address] = turns, held - 1


# The door -----------------------------------------------------------------------------------------------------


def wrapper(datasette: Any, *, guarded: bool) -> Wrapper:
    """Wrap the application in the door.

    Parameters
    ----------
    datasette : the running Datasette.
    guarded : whether an archive is attached; without one the application is left as it is.

    Returns
    -------
    A function from application to application, as Datasette's ``asgi_wrapper`` hook wants it.
    """
    if not guarded:
        return lambda application: application
    return lambda application: _Door(datasette, application)


class _Door:
    def __init__(self, datasette: Any, application: Application) -> None:
        self._datasette, self._application = datasette, application
        self._turns = Turns()
        self._how: Served | None = None
        self._policy = b""
        self._routes: list[Any] = []
        self._heads: frozenset[str] = frozenset()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": 1008})
            return
        if scope["type"] != "http":
            await self._application(scope, receive, send)
            return
        how = self._how = self._how or self._learn()
        dressing = Dressing(send, self._policy, https=how.https)
        try:
            self._look_at(scope, how)
            body = await _body(scope, receive)
            scope = {**scope, "headers": _with_proper_cookies(scope["headers"])}
            who = await visitor(self._datasette, scope, how)
            dressing.private = who.signed_in
            scope = {**scope, "negcat.visitor": who}
            if how.https:
                scope["scheme"] = "https"
            path = route_path(self._datasette, scope)
            _, view = resolve_routes(self._routes, path)
            is_static = _is_static(view, path)
            if is_static and scope["method"] not in ("GET", "HEAD"):
                raise _RefusedError(
                    HTTPStatus.METHOD_NOT_ALLOWED, "This file can only be read.", allow="GET, HEAD"
                )
            if not is_static:
                dressing.default_cache = True
                await self._admit(scope, view, who, how)
                if who.is_stranger:
                    dressing.heads = self._heads
            handed = _replaying(body, receive)
            if who.here or is_static:
                await self._application(scope, handed, dressing.send)
            else:
                async with self._turns.turn(who.address):
                    await self._application(scope, handed, dressing.send)
        except _RefusedError as refused:
            await self._refuse(scope, refused, dressing)
        except (CookieError, UnicodeError):
            said = "The request's cookies or address can't be read."
            await self._refuse(scope, _RefusedError(HTTPStatus.BAD_REQUEST, said), dressing)
        except Exception as error:
            note_fault(scope, error)
            await self._refuse(scope, _RefusedError(HTTPStatus.INTERNAL_SERVER_ERROR, FAULT), dressing)

    def _learn(self) -> Served:
        """Look at the running server once: how it is served, its routes, and Datasette's inline scripts."""
        self._policy = security.datasettes_policy(self._datasette).encode("ascii")
        self._routes = self._datasette._routes()
        heads = {re.match(r"\^?/([\w-]*)", regex.pattern) for regex, _ in self._routes}
        self._heads = frozenset(
            {match[1] for match in heads if match} | {self._datasette.setting("base_url").split("/")[1]}
        )
        return served(self._datasette)

    def _look_at(self, scope: Scope, how: Served) -> None:
        """Refuse what is malformed, or addressed to another name."""
        headers = [(key.lower(), value) for key, value in scope.get("headers", [])]
        raw = scope.get("raw_path") or scope["path"].encode("utf-8")
        # Two slashes, or one and a backslash, would lead to another host if they came back in a redirect.
        if not _TARGET.fullmatch(raw.partition(b"?")[0]):
            raise _RefusedError(HTTPStatus.BAD_REQUEST, "That is no address of a page here.")
        if any(key in _READ_AS_ASCII and not value.isascii() for key, value in headers):
            raise _RefusedError(HTTPStatus.BAD_REQUEST, "The request's headers can't be read.")
        if len(raw) + sum(len(key) + len(value) for key, value in headers) > HEAD_BYTES:
            raise _RefusedError(
                HTTPStatus.REQUEST_HEADER_FIELDS_TOO_LARGE, "The request's address and headers are too long."
            )
        sizes = [value for key, value in headers if key == b"content-length"]
        if len(sizes) > 1 or (sizes and any(key == b"transfer-encoding" for key, _ in headers)):
            # What hands requests on might see the end of this one elsewhere.
            said = "The request says twice how long it is."
            raise _RefusedError(HTTPStatus.BAD_REQUEST, said, connection="close")
        hosts = [value.decode("latin-1") for key, value in headers if key == b"host"]
        if wrong := security.refusal(hosts, (scope.get("server") or (None,))[0], how.hosts):
            raise _RefusedError(HTTPStatus.MISDIRECTED_REQUEST, wrong)
        if scope["method"] not in METHODS:
            raise _RefusedError(
                HTTPStatus.METHOD_NOT_ALLOWED,
                "A page can be read, or be sent a form.",
                allow=", ".join(METHODS),
            )
        if scope["method"] == "POST" and not security.is_from_here(dict(headers), how.origin):
            raise _RefusedError(
                HTTPStatus.FORBIDDEN, "This was sent from a page of another site, and is not taken."
            )
        kinds = [value for key, value in headers if key == b"content-type"]
        if scope["method"] == "POST" and any(kind.lower().startswith(b"multipart/") for kind in kinds):
            raise _RefusedError(
                HTTPStatus.UNSUPPORTED_MEDIA_TYPE,
                "Send a form (application/x-www-form-urlencoded) or JSON; files are not taken here.",
            )

    async def _admit(self, scope: Scope, view: Any, who: Visitor, how: Served) -> None:
        """Refuse whoever may not come so far."""
        if is_open(view):
            return
        actor = {"id": "root"} if who.signed_in else None
        may_read = await self._datasette.permission_allowed(actor, "view-instance", default=True)
        if not may_read or (who.is_stranger and not how.public_read):
            raise _RefusedError(
                HTTPStatus.FORBIDDEN,
                "Reading this archive asks for signing in: open the sign-in link that was printed where it is "
                "served.",
                signing_in=True,
            )
        if view is None or is_ours(view) or who.signed_in:
            return
        if who.is_stranger:
            raise _RefusedError(
                HTTPStatus.FORBIDDEN,
                "The tables ask for signing in; the pages are open to all.",
                signing_in=True,
            )
        if scope["method"] == "POST":
            raise _RefusedError(HTTPStatus.FORBIDDEN, "Sending this asks for signing in.", signing_in=True)

    async def _refuse(self, scope: Scope, refused: _RefusedError, dressing: Dressing) -> None:
        """Answer with a sentence, which tells nothing of the archive; in the form that was asked for."""
        if dressing.begun:
            return
        path = str(scope["path"]).partition("?")[0]
        kinds = [value for key, value in scope.get("headers", []) if key.lower() == b"content-type"]
        if path.endswith(".json") or any(kind.startswith(b"application/json") for kind in kinds):
            kind, body = "application/json", json.dumps(
                {"ok": False, "error": refused.sentence, "status": refused.status}
            )  # fmt: skip
        elif refused.status == HTTPStatus.FORBIDDEN and "/iiif/" not in path:
            template = self._datasette.jinja_env.get_template("negcat/door.html")
            kind = "text/html"
            body = await template.render_async(
                heading="Not open to you",
                sentence=refused.sentence,
                urls=self._datasette.urls,
                leads=refused.signing_in,
            )
        else:
            kind, body = "text/plain", refused.sentence + "\n"
        sent = body.encode()
        headers = {
            **refused.headers,
            "content-type": f"{kind}; charset=utf-8",
            "content-length": str(len(sent)),
            "content-security-policy": OWN_POLICY,
            "cache-control": "no-store",
        }
        start = [(name.encode(), value.encode()) for name, value in headers.items()]
        await dressing.send({"type": "http.response.start", "status": int(refused.status), "headers": start})
        await dressing.send({"type": "http.response.body", "body": sent})


FAULT = "That went wrong in the server, which has noted it where it runs; the archive is as it was."


def explain(datasette: Any, request: Any, exception: BaseException) -> Any:
    """Answer for a fault of the program's own, where an archive is attached, without a word of what it was."""
    # Imported first here: it loads the plugins, of which this is one.
    from datasette.views.base import DatasetteError

    if reading.attached(datasette) is None or isinstance(exception, (Base400, DatasetteError)):
        return None
    if isinstance(exception, OSError) and route_path(datasette, request.scope).startswith("/-/static"):
        said, status = "There is no such file here.", HTTPStatus.NOT_FOUND
    else:
        note_fault(request.scope, exception)
        said, status = FAULT, HTTPStatus.INTERNAL_SERVER_ERROR
    if request.path.partition("?")[0].endswith(".json"):
        return Response.json({"ok": False, "error": said, "status": status}, status=status)
    return Response.text(said + "\n", status=status)


def note_fault(scope: Scope, error: BaseException) -> None:
    """Note a fault of the program's own where the archive is served: one line, and nothing to the visitor.

    What a visitor sent stands in it escaped, so that it can't write to the terminal.
    """
    trace, place = error.__traceback__, ""
    while trace is not None:
        place = f"{trace.tb_frame.f_code.co_filename}, line {trace.tb_lineno}"
        trace = trace.tb_next
    asked = (scope.get("raw_path") or str(scope["path"]).encode()).decode("ascii", "backslashreplace")
    _log.error(
        "%s %s went wrong: %s: %a (%s)", scope["method"], asked, type(error).__name__, str(error), place
    )


async def _body(scope: Scope, receive: Receive) -> bytes:
    """Take the whole body, before anything is begun with it."""
    too_long = _RefusedError(
        HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
        f"What was sent is longer than {MOST_BYTES // 1000} kB, and is not taken.",
        connection="close",
    )
    said = dict(scope.get("headers", [])).get(b"content-length", b"0")
    if not said.isdigit() or int(said) > MOST_BYTES:
        raise too_long
    body, more = bytearray(), True
    try:
        async with asyncio.timeout(BODY_S):
            while more:
                message = await receive()
                if message["type"] != "http.request":
                    raise _RefusedError(HTTPStatus.BAD_REQUEST, "The request broke off.")
                body += message.get("body", b"")
                more = message.get("more_body", False)
                if len(body) > MOST_BYTES:
                    raise too_long
    except TimeoutError as error:
        raise _RefusedError(
            HTTPStatus.REQUEST_TIMEOUT, "What was sent took too long to arrive.", connection="close"
        ) from error
    return bytes(body)


def _with_proper_cookies(headers: Iterable[tuple[bytes, bytes]]) -> list[tuple[bytes, bytes]]:
    """Leave out cookies that break the reading of the others; another server at this machine may have set them.

    Cookies don't know ports (RFC 6265, 8.5).
    """
    proper = []
    for key, value in headers:
        if key.lower() == b"cookie":
            parts = (part.strip() for part in value.split(b";"))
            value = b"; ".join(part for part in parts if _COOKIE.fullmatch(part))
        proper.append((key, value))
    return proper


def _replaying(body: bytes, receive: Receive) -> Receive:
    """Hand a body on that was taken already."""
    handed = False

    async def replay() -> Message:
        nonlocal handed
        if handed:
            return await receive()
        handed = True
        return {"type": "http.request", "body": body, "more_body": False}

    return replay
