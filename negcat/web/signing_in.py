"""Signing in by the link that is printed where the archive is served, and signing out.

The link's secret is used up by being asked for, and the answer leads on at once, so that what stays in the
browser's history opens nothing. A link that has been used or has grown old is made anew only where the archive
is served: whoever asks for it on the page learns nothing of it, and has to read it there.
"""

from __future__ import annotations

import asyncio
from datetime import UTC, datetime
from http import HTTPStatus
from typing import Any

from datasette.utils.asgi import Response

from negcat.errors import NegcatError
from negcat.web import answering, reading
from negcat.web.answering import PAGE_HEADERS, RefusedError, View
from negcat.web.door import leave_open
from negcat.web.keys import LINK_S, SESSION_S
from negcat.web.visitors import COOKIE, Visitor, keys_of

__all__ = ["LINK", "actor", "link", "pages"]

LINK = "/-/auth-token"
"""Where the link leads; Datasette's own address for it."""

_PAGE = "/sign-in"
_HEADERS = {**PAGE_HEADERS, "cache-control": "no-store", "referrer-policy": "no-referrer"}


def pages() -> list[tuple[str, View]]:
    """List the addresses with the functions that answer them."""
    return [
        (r"^/-/auth-token$", leave_open(_sign_in)),
        (r"^/sign-in$", leave_open(answering.checks(_page))),
        (r"^/sign-out$", leave_open(answering.checks(_sign_out))),
        (r"^/-/logout$", leave_open(answering.checks(_sign_out))),
    ]


def actor(datasette: Any, request: Any) -> dict[str, str] | None:
    """Tell who has a session, for Datasette's permissions."""
    secret = request.cookies.get(COOKIE)
    return {"id": "root"} if secret and keys_of(datasette).session(secret) else None


def link(datasette: Any, address: str, secret: str) -> str:
    """Write the link that signs in.

    Parameters
    ----------
    address : where the archive is reached, without a slash at the end.
    secret : the link's.
    """
    return f"{address}{datasette.urls.path(LINK)}?token={secret}"


async def _sign_in(datasette: Any, request: Any) -> Any:
    """Use the link up, and begin a session."""
    who: Visitor = request.scope["negcat.visitor"]
    fetched_ahead = request.headers.get("sec-purpose") or request.headers.get("purpose")
    if request.method not in ("GET", "HEAD"):
        answer = await _show(
            datasette, request, "This link is opened, and sent nothing.", HTTPStatus.METHOD_NOT_ALLOWED
        )
        answer.headers["allow"] = "GET, HEAD"
        return answer
    if request.method == "HEAD" or fetched_ahead:
        # Who only looks at where a link leads doesn't use it up.
        return await _show(datasette, request, "Open this link to sign in.", HTTPStatus.OK)
    if who.signed_in:
        return _lead_to(datasette, "/")
    keys = keys_of(datasette)
    if wait := keys.wrong.wait(who.address):
        said = "Too many links were tried that don’t work: wait a little, then try again."
        answer = await _show(datasette, request, said, HTTPStatus.TOO_MANY_REQUESTS)
        answer.headers["retry-after"] = str(wait)
        return answer
    begun = keys.sign_in(request.args.get("token") or "")
    if begun is None:
        keys.wrong.note(who.address)
        if not keys.noted.wait(who.address):
            keys.noted.note(who.address)
            await _note(datasette, who.address, None, "signing in refused")
        said = (
            "This sign-in link doesn’t work: it has been used, has grown older than "
            f"{LINK_S // 60} minutes, or a newer one was made."
        )
        return await _show(datasette, request, said, HTTPStatus.FORBIDDEN)
    session = keys.session(begun)
    await _note(datasette, who.address, session.name if session else None, "signed in")
    answer = _lead_to(datasette, "/")
    # Not SameSite=Strict: a link to a sheet, in a letter, would then ask for signing in once more.
    answer.set_cookie(
        COOKIE, begun, max_age=SESSION_S, path=datasette.urls.path("/"), httponly=True, samesite="lax"
    )
    return answer


async def _page(datasette: Any, request: Any) -> Any:
    """Show whether one is signed in; sent to, have a new link printed."""
    if request.method == "POST":
        try:
            await answering.sent(request)
        except RefusedError as refused:
            return await _show(datasette, request, refused.sentence, refused.status)
        return await _ask(datasette, request)
    return await _show(datasette, request, "", HTTPStatus.OK)


async def _ask(datasette: Any, request: Any) -> Any:
    """Print a new link where the archive is served."""
    keys, who = keys_of(datasette), request.scope["negcat.visitor"]
    if keys.announce is None:
        said = "Links are printed only when the archive is served: start the server anew."
        return await _show(datasette, request, said, HTTPStatus.CONFLICT)
    if keys.link_is_open and not who.signed_in:
        # Else anybody could make a link useless that was just printed.
        said = "The link that was printed last has not been used and still works: look for it there."
        return await _show(datasette, request, said, HTTPStatus.CONFLICT)
    if wait := keys.asked.wait(who.address):
        said = "A new link was printed just now: look for it there, or wait a minute."
        answer = await _show(datasette, request, said, HTTPStatus.TOO_MANY_REQUESTS)
        answer.headers["retry-after"] = str(wait)
        return answer
    keys.asked.note(who.address)
    keys.announce(keys.new_link())
    return await _show(
        datasette, request, "A new link is printed where the archive is served.", HTTPStatus.OK
    )


async def _sign_out(datasette: Any, request: Any) -> Any:
    """End the session."""
    who: Visitor = request.scope["negcat.visitor"]
    if request.method != "POST":
        return _lead_to(datasette, _PAGE)
    try:
        await answering.sent(request)
    except RefusedError as refused:
        return await _show(datasette, request, refused.sentence, refused.status)
    secret = request.cookies.get(COOKIE, "")
    if keys_of(datasette).session(secret):
        keys_of(datasette).sign_out(secret)
        await _note(datasette, who.address, who.session, "signed out")
    answer = _lead_to(datasette, _PAGE)
    answer.set_cookie(COOKIE, "", max_age=0, expires=0, path=datasette.urls.path("/"), httponly=True)
    return answer


def _lead_to(datasette: Any, path: str) -> Any:
    headers = {**_HEADERS, "location": datasette.urls.path(path)}
    return Response(b"", status=HTTPStatus.SEE_OTHER, headers=headers)


async def _show(datasette: Any, request: Any, said: str, status: HTTPStatus) -> Any:
    """Answer with the page of signing in, which tells nothing of the archive to who has not."""
    who: Visitor = request.scope["negcat.visitor"]
    keys = keys_of(datasette)
    session = keys.session(request.cookies.get(COOKIE, ""))
    attached = reading.attached(datasette)
    body = await datasette.render_template(
        "negcat/door.html",
        {
            "heading": "Signed in" if who.signed_in else "Sign in",
            "sentence": said,
            "signs_in": True,
            "signed_in": who.signed_in,
            "until": f"{datetime.fromtimestamp(session.ends, UTC):%Y-%m-%d %H:%M} UTC" if session else "",
            "can_ask": keys.announce is not None and (who.signed_in or not keys.link_is_open),
            "minutes": LINK_S // 60,
            "log": datasette.urls.table(attached.database, "door_log") if attached and who.signed_in else "",
        },
        request=request,
        view_name="negcat",
    )
    return Response.html(body, status=status, headers=dict(_HEADERS))


async def _note(datasette: Any, address: str, session: str | None, what: str) -> None:
    """Note what happened at the door; an archive that can't be written to keeps nobody out."""
    attached = reading.attached(datasette)
    assert attached is not None

    def note() -> None:
        answering.note_at_door(attached.root, address, session, what)

    try:
        await asyncio.get_running_loop().run_in_executor(answering.WRITER, note)
    except NegcatError:
        return
