"""How a page answers, and whom it lets ask, calculate and write.

Three kinds of view. A *readable* one answers GET and HEAD. An *asking* one takes a body and works something
out from it, changing nothing. A *writing* one changes the archive, for whoever has opened the sign-in link. A
body is only taken from a page of this server's own: same origin, and with the token that only such a page
knows.
"""

from __future__ import annotations

import asyncio
import json
import secrets
from collections.abc import Awaitable, Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from contextvars import ContextVar
from dataclasses import dataclass, field
from functools import wraps
from http import HTTPStatus
from pathlib import Path
from typing import Any, TypeVar
from urllib.parse import parse_qsl

from datasette.utils.asgi import Response

from negcat.errors import NegcatError, UnknownNameError
from negcat.web import reading, visitors
from negcat.web.security import OWN_POLICY
from negcat.work import keeping
from negcat.work.archive import Archive
from negcat.work.naming import RemovedSheetError

__all__ = [
    "PAGE_HEADERS",
    "WRITER",
    "RefusedError",
    "Sent",
    "View",
    "asking",
    "by_method",
    "checks",
    "checks_token",
    "document",
    "is_signed_in",
    "names_tag",
    "note_at_door",
    "page",
    "page_or_document",
    "read",
    "readable",
    "refusal",
    "see_other",
    "sent",
    "sentence",
    "write",
    "writing",
]

View = Callable[[Any, Any], Awaitable[Any]]
_Result = TypeVar("_Result")

PAGE_HEADERS = {"content-security-policy": OWN_POLICY, "cache-control": "no-cache"}
"""What every answer of the archive's own pages bears."""

_MOST_FIELDS = 5_000
# One writer at a time within this server; between programs SQLite's own lock holds.
WRITER = ThreadPoolExecutor(max_workers=1, thread_name_prefix="writer")


@dataclass(frozen=True)
class Sent:
    """What a page sent.

    Parameters
    ----------
    fields : of a form, names to values; of a name given twice the last counts.
    document : of a JSON body.
    is_json : whether it was JSON; the answer then is JSON too.
    """

    fields: Mapping[str, str] = field(default_factory=dict)
    document: Any = None
    is_json: bool = False


class RefusedError(Exception):
    """A request that isn't taken, with its status and a sentence."""

    def __init__(self, status: HTTPStatus, sentence: str) -> None:
        super().__init__(sentence)
        self.status, self.sentence = status, sentence


# The three kinds of view ------------------------------------------------------------------------------------


def readable(view: Callable[[Any, Any, reading.Attached], Awaitable[Any]]) -> View:
    """Answer only GET and HEAD, only to who may read, and every known fault with a sentence."""

    async def answer(datasette: Any, request: Any, attached: reading.Attached) -> Any:
        if request.method not in ("GET", "HEAD"):
            return await _only(datasette, request, "GET, HEAD", "This page can only be read.")
        return await view(datasette, request, attached)

    return _guarded(view, answer)


def asking(view: Callable[[Any, Any, reading.Attached, Sent], Awaitable[Any]]) -> View:
    """Answer a POST that changes nothing, from a page of this server's own, to who may read."""
    return _taking(view)


def writing(view: Callable[[Any, Any, reading.Attached, Sent], Awaitable[Any]]) -> View:
    """Answer a POST that changes the archive: of a page of this server's own, by who has signed in."""
    return _taking(view, signed_in=True)


def by_method(looking: View, taking: View) -> View:
    """Let one address be read and posted to."""

    async def view(datasette: Any, request: Any) -> Any:
        return await (taking if request.method == "POST" else looking)(datasette, request)

    return checks(view) if checks_token(taking) else view


def _taking(
    view: Callable[[Any, Any, reading.Attached, Sent], Awaitable[Any]], *, signed_in: bool = False
) -> View:
    async def answer(datasette: Any, request: Any, attached: reading.Attached) -> Any:
        if request.method != "POST":
            return await _only(datasette, request, "POST", "This address takes what a page sends it.")
        if signed_in and not is_signed_in(request):
            raise RefusedError(
                HTTPStatus.FORBIDDEN,
                "Writing asks for signing in: open the sign-in link that was printed where the archive is "
                "served, then send this again.",
            )
        taken = await sent(request)
        if not signed_in:
            return await view(datasette, request, attached, taken)
        return await _logged(request, attached, view(datasette, request, attached, taken))

    return checks(_guarded(view, answer))


def checks(view: View) -> View:
    """Say of a view that it looks at a request's token itself."""
    view.checks_token = True  # type: ignore[attr-defined]
    return view


def checks_token(view: View) -> bool:
    """Tell whether a view looks at a request's token itself, with a sentence of its own where it is wrong."""
    return getattr(view, "checks_token", False)


def _guarded(
    view: Callable[..., Awaitable[Any]], answer: Callable[[Any, Any, reading.Attached], Awaitable[Any]]
) -> View:
    @wraps(view)
    async def guarded(datasette: Any, request: Any) -> Any:
        attached = reading.attached(datasette)
        assert attached is not None  # the routes are only there with an archive
        await datasette.ensure_permissions(
            request.actor, [("view-database", attached.database), "view-instance"]
        )
        try:
            return await answer(datasette, request, attached)
        except RefusedError as refused:
            return await sentence(datasette, request, refused.status, refused.sentence)
        except RemovedSheetError as error:
            return await sentence(datasette, request, HTTPStatus.GONE, str(error))
        except UnknownNameError as error:
            return await sentence(datasette, request, HTTPStatus.NOT_FOUND, str(error))
        except NegcatError as error:
            # What was sent is at fault, or else the archive is.
            status = HTTPStatus.BAD_REQUEST if request.method == "POST" else HTTPStatus.INTERNAL_SERVER_ERROR
            return await sentence(datasette, request, status, str(error))

    # Datasette hands a view what its parameters name; the wrapped view's own would be looked at otherwise.
    del guarded.__wrapped__
    return guarded


async def _only(datasette: Any, request: Any, methods: str, said: str) -> Any:
    response = await sentence(datasette, request, HTTPStatus.METHOD_NOT_ALLOWED, said)
    response.headers["allow"] = methods
    return response


# Who may, and from where ------------------------------------------------------------------------------------


def is_signed_in(request: Any) -> bool:
    """Tell whether the one who asks has opened the sign-in link."""
    return bool(request.actor) and request.actor.get("id") == "root"


async def sent(request: Any) -> Sent:
    """Take a request's body, where it comes from a page of this server's own.

    Raises
    ------
    RefusedError : it lacks the token or can't be read.
    """
    # The door has seen that no page of another site sent it, and has it whole.
    body = await request.post_body()
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind == "application/json":
        try:
            written = json.loads(body)
        except (ValueError, RecursionError) as error:
            raise RefusedError(HTTPStatus.BAD_REQUEST, "What was sent is no JSON document.") from error
        _demand_token(request, request.headers.get("x-csrftoken", ""))
        return Sent(document=written, is_json=True)
    if kind != "application/x-www-form-urlencoded":
        raise RefusedError(
            HTTPStatus.UNSUPPORTED_MEDIA_TYPE, "Send a form (application/x-www-form-urlencoded) or JSON."
        )
    try:
        pairs = parse_qsl(
            body.decode("utf-8"), keep_blank_values=True, errors="strict", max_num_fields=_MOST_FIELDS
        )
    except ValueError as error:
        raise RefusedError(HTTPStatus.BAD_REQUEST, "The form that was sent can't be read.") from error
    fields = dict(pairs)
    _demand_token(request, request.headers.get("x-csrftoken") or fields.pop("csrftoken", ""))
    return Sent(fields=fields)


def _demand_token(request: Any, token: str) -> None:
    known = request.scope["csrftoken"]()
    if not secrets.compare_digest(token.encode(), known.encode()):
        raise RefusedError(
            HTTPStatus.FORBIDDEN,
            "The page that sent this was opened too long ago or elsewhere: open it again and send it from there.",
        )


async def read(attached: reading.Attached, job: Callable[[Archive], _Result]) -> _Result:
    """Look something up in the archive, in a thread of its own.

    Parameters
    ----------
    attached : the archive behind the pages.
    job : called with the archive open for reading only.

    Returns
    -------
    What the job returned.
    """

    def run() -> _Result:
        with keeping.reading(attached.root) as archive:
            return job(archive)

    return await asyncio.to_thread(run)


async def write(attached: reading.Attached, job: Callable[[Archive], _Result]) -> _Result:
    """Do something that changes the archive, after whatever else is being written.

    Parameters
    ----------
    attached : the archive behind the pages.
    job : called with the archive open for writing, in the one thread that writes.

    Returns
    -------
    What the job returned.
    """
    entry = _entry.get()

    def run() -> _Result:
        with Archive.open(attached.root) as archive:
            # Before the job, so that one that is broken off has left its note.
            if entry is not None and entry.number is None:
                entry.number = archive.catalogue.note_at_door(entry.address, entry.session, entry.what)
            return job(archive)

    return await asyncio.get_running_loop().run_in_executor(WRITER, run)


# The log of the door ----------------------------------------------------------------------------------------


@dataclass
class _Entry:
    """What is being written: from where, in which session, by which address; and its number in the log."""

    address: str
    session: str
    what: str
    number: int | None = None


_entry: ContextVar[_Entry | None] = ContextVar("negcat_entry", default=None)


async def _logged(request: Any, attached: reading.Attached, view: Awaitable[Any]) -> Any:
    """Keep in the log of the door what a view writes, and what came of it."""
    who: visitors.Visitor = request.scope["negcat.visitor"]
    entry = _Entry(who.address, who.session, request.path)
    token = _entry.set(entry)
    outcome, led_to = "failed", None
    try:
        answer = await view
        outcome = "done" if answer.status < HTTPStatus.BAD_REQUEST else "refused"
        led_to = answer.headers.get("location")
        return answer
    except (NegcatError, RefusedError):
        outcome = "refused"
        raise
    finally:
        _entry.reset(token)
        if entry.number is not None:
            number = entry.number

            def finish() -> None:
                with Archive.open(attached.root) as archive:
                    archive.catalogue.finish_at_door(number, outcome, led_to)

            # What was done stays done, whether or not that can be noted as well.
            with suppress(NegcatError):
                await asyncio.get_running_loop().run_in_executor(WRITER, finish)


def note_at_door(root: Path, address: str, session: str | None, what: str) -> None:
    """Note what happened at the door and wrote nothing; to be called in the thread that writes.

    Raises
    ------
    ArchiveError : the archive can't be written to.
    """
    with Archive.open(root) as archive:
        archive.catalogue.note_at_door(address, session, what, outcome="done")


# Answers ----------------------------------------------------------------------------------------------------


def document(answer: Any, status: HTTPStatus = HTTPStatus.OK) -> Any:
    """Answer with a JSON document."""
    return Response.json(answer, status=status, headers=dict(PAGE_HEADERS))


def refusal(said: str, status: HTTPStatus = HTTPStatus.BAD_REQUEST) -> Any:
    """Answer with a JSON document that says in a sentence why there is nothing else."""
    return document({"ok": False, "error": said, "status": status}, status)


def see_other(datasette: Any, path: str) -> Any:
    """Lead on to another page once something has been written (RFC 9110, 303)."""
    headers = {**PAGE_HEADERS, "location": datasette.urls.path(path)}
    return Response(b"", status=HTTPStatus.SEE_OTHER, headers=headers)


async def page(
    datasette: Any,
    request: Any,
    attached: reading.Attached,
    template: str,
    context: dict[str, Any],
    status: HTTPStatus = HTTPStatus.OK,
) -> Any:
    """Answer with a page.

    Parameters
    ----------
    template : its file in ``templates/negcat``.
    context : what the template sets. It also gets the archive's name, the catalogue's,
        ``signed_in``, and whether the tables are open to the one who asks.
    """
    body = await datasette.render_template(
        f"negcat/{template}",
        {
            **context,
            "archive": attached.root.name,
            "catalogue": attached.database,
            "signed_in": is_signed_in(request),
            "tables_open": not request.scope["negcat.visitor"].is_stranger,
        },
        request=request,
        view_name="negcat",
    )
    return Response.html(body, status=status, headers=dict(PAGE_HEADERS))


async def page_or_document(
    asked: str,
    as_page: Callable[[str], Awaitable[Any]],
    as_document: Callable[[str], Awaitable[Mapping[str, Any]]],
) -> Any:
    """Answer with the page of a name, or with its JSON twin where the name is followed by ``.json``.

    Parameters
    ----------
    asked : what stands in the address.
    as_page, as_document : called with the name; the first gives the answer, the second what the twin holds.

    Raises
    ------
    UnknownNameError : there is nothing of that name.
    """
    try:
        return await as_page(asked)
    except UnknownNameError:
        # A name may itself end in .json; only where there is none such is the ending a form of answer.
        if not asked.endswith(".json"):
            raise
        return document(await as_document(asked.removesuffix(".json")))


async def sentence(datasette: Any, request: Any, status: HTTPStatus, said: str) -> Any:
    """Answer with one sentence, as a page or as JSON after what was asked for."""
    path = request.path.partition("?")[0]
    sends_json = request.headers.get("content-type", "").startswith("application/json")
    if path.endswith(".json") or sends_json:
        return refusal(said, status)
    attached = reading.attached(datasette)
    assert attached is not None
    heading = {404: "Not here", 410: "Removed", 403: "Not open to you", 405: "Only to be read"}.get(
        status, "That didn’t work"
    )
    return await page(
        datasette, request, attached, "error.html", {"heading": heading, "sentence": said}, status
    )


def names_tag(header: str, tag: str) -> bool:
    """Tell whether an ``If-None-Match`` header names this entity tag (RFC 9110, weak comparison)."""
    return header.strip() == "*" or tag in (part.strip().removeprefix("W/") for part in header.split(","))
