"""What was changed of a record, on a page; bringing back what was; removing a sheet, and bringing it back."""

from __future__ import annotations

from dataclasses import dataclass
from http import HTTPStatus
from typing import Any
from urllib.parse import quote, unquote

from negcat.errors import NegcatError
from negcat.web import answering, history_page, reading
from negcat.web.typesetting import whole_sentence
from negcat.work.archive import Archive
from negcat.work.editing import state_of
from negcat.work.history import Change, history_json, history_of, named
from negcat.work.naming import RemovedSheetError
from negcat.work.removing import bring_back, known_removed, remove, removed_json, removed_sheets
from negcat.work.reverting import OutdatedHistoryError, revert

__all__ = ["pages", "removed_page"]

_PAGES = {"sheet": "/sheet/", "film": "/film/", "lens": "/lens/", "batch": "/batch/"}


def pages() -> list[tuple[str, answering.View]]:
    """List the addresses with the functions that answer them."""
    return [
        (r"^/history/(?P<kind>[^/]+)/(?P<name>[^/]+)$", answering.by_method(_history, _revert)),
        (r"^/sheet/(?P<sheet>[^/]+)/remove$", _remove),
        (r"^/sheet/(?P<sheet>[^/]+)/undo$", _undo),
        (r"^/removed$", _removed),
        (r"^/removed\.json$", _removed_json),
    ]


@dataclass(frozen=True)
class _Asked:
    """A record whose history is looked at: its kind, its name, its changes, and the mark of its state."""

    kind: str
    name: str
    changes: tuple[Change, ...]
    state: str


def _look(archive: Archive, kind: str, name: str) -> _Asked:
    kind, name = named(archive, kind, name)
    record = archive.catalogue.record(kind, name) if kind != "scan" else None
    state = state_of(record) if record is not None else ""
    return _Asked(kind, name, history_of(archive, kind, name), state)


@answering.readable
async def _history(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    kind = unquote(request.url_vars["kind"])

    async def as_document(name: str) -> dict[str, Any]:
        asked = await answering.read(attached, lambda archive: _look(archive, kind, name))
        return history_json(asked.kind, asked.name, asked.changes)

    return await answering.page_or_document(
        unquote(request.url_vars["name"]),
        lambda name: _page(datasette, request, attached, kind, name),
        as_document,
    )


async def _page(
    datasette: Any,
    request: Any,
    attached: reading.Attached,
    kind: str,
    name: str,
    fault: str = "",
    status: HTTPStatus = HTTPStatus.OK,
) -> Any:
    asked = await answering.read(attached, lambda archive: _look(archive, kind, name))
    address = f"/history/{quote(asked.kind)}/{quote(asked.name, safe='')}"
    own = f"{_PAGES[asked.kind]}{quote(asked.name, safe='')}" if asked.kind in _PAGES else ""
    return await answering.page(
        datasette,
        request,
        attached,
        "history.html",
        {
            "kind": asked.kind,
            "name": asked.name,
            "own": own,
            "history": history_page.set_history(asked.changes),
            "history_state": asked.state,
            "history_action": datasette.urls.path(address),
            "fault": whole_sentence(fault),
            "twin": datasette.urls.path(f"{address}.json"),
        },
        status,
    )


@answering.writing
async def _revert(datasette: Any, request: Any, attached: reading.Attached, sent: answering.Sent) -> Any:
    """Bring a record back to what it was after a change, as ``negcat revert`` does."""
    kind, name = unquote(request.url_vars["kind"]), unquote(request.url_vars["name"])
    number = sent.fields.get("to", "")

    def bring(archive: Archive) -> None:
        if not (number.isascii() and number.isdigit() and len(number) < 10):
            raise NegcatError("name the change by its number")
        revert(archive, kind, name, int(number), via="web history", seen=sent.fields.get("state", ""))

    try:
        await answering.write(attached, bring)
    except RemovedSheetError:
        raise
    except NegcatError as error:
        status = HTTPStatus.CONFLICT if isinstance(error, OutdatedHistoryError) else HTTPStatus.BAD_REQUEST
        return await _page(datasette, request, attached, kind, name, str(error), status)
    kind, name = await answering.read(attached, lambda archive: named(archive, kind, name))
    if kind == "sheet":
        return answering.see_other(datasette, f"/sheet/{quote(name, safe='')}#history")
    return answering.see_other(datasette, f"/history/{quote(kind)}/{quote(name, safe='')}")


# Removing ---------------------------------------------------------------------------------------------------


@answering.writing
async def _remove(datasette: Any, request: Any, attached: reading.Attached, sent: answering.Sent) -> Any:
    """Remove a sheet, as ``negcat remove`` does."""
    sheet = unquote(request.url_vars["sheet"])

    def take_away(archive: Archive) -> str:
        return remove(archive, sheet, via="web", seen=sent.fields.get("state", "")).sheet

    try:
        sheet = await answering.write(attached, take_away)
    except OutdatedHistoryError as error:
        return await _page(datasette, request, attached, "sheet", sheet, str(error), HTTPStatus.CONFLICT)
    return answering.see_other(datasette, f"/sheet/{quote(sheet, safe='')}")


@answering.writing
async def _undo(datasette: Any, request: Any, attached: reading.Attached, sent: answering.Sent) -> Any:
    """Bring a removed sheet back, as ``negcat remove --undo`` does."""
    del sent
    sheet = unquote(request.url_vars["sheet"])
    try:
        back = await answering.write(attached, lambda archive: bring_back(archive, sheet, via="web"))
    except NegcatError as error:
        return await _refused(datasette, request, attached, sheet, error)
    return answering.see_other(datasette, f"/sheet/{quote(back.sheet, safe='')}")


async def _refused(
    datasette: Any, request: Any, attached: reading.Attached, sheet: str, error: NegcatError
) -> Any:
    """Say on the removed sheet's page why it can't be brought back; elsewhere where it isn't removed."""
    try:
        return await removed_page(datasette, request, attached, sheet, str(error), HTTPStatus.BAD_REQUEST)
    except NegcatError:
        raise error from None


async def removed_page(
    datasette: Any,
    request: Any,
    attached: reading.Attached,
    sheet: str,
    fault: str = "",
    status: HTTPStatus = HTTPStatus.GONE,
) -> Any:
    """Answer for a sheet that was removed: when, how, what its record said, and the way back.

    Raises
    ------
    UnknownNameError : no such sheet was removed.
    """

    def look(archive: Archive) -> tuple[dict[str, Any], tuple[Change, ...]]:
        removed = known_removed(archive.catalogue, sheet)
        return removed, history_of(archive, "sheet", removed["sheet"])

    removed, changes = await answering.read(attached, look)
    return await answering.page(
        datasette,
        request,
        attached,
        "removed.html",
        {
            "page": history_page.set_removed(removed),
            "history": history_page.set_history(changes),
            "fault": whole_sentence(fault),
            "twin": datasette.urls.path(f"/history/sheet/{quote(removed['sheet'], safe='')}.json"),
        },
        status,
    )


@answering.readable
async def _removed(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    sheets = await answering.read(attached, removed_sheets)
    context = {
        "sheets": [history_page.set_removed(one) for one in sheets],
        "twin": datasette.urls.path("/removed.json"),
    }
    return await answering.page(datasette, request, attached, "removed_sheets.html", context)


@answering.readable
async def _removed_json(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    del datasette, request
    return answering.document(await answering.read(attached, removed_json))
