"""The sheet page, and its spots tried and set, as ``negcat measure --spot`` sets them.

One page answers all three: as the sheet is kept; with spots somewhere else, which is worked out and not kept;
and, where what was sent can't be set, with what was typed and the reason.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any
from urllib.parse import quote, unquote, urlencode

from datasette.utils import tilde_encode

from negcat.errors import NegcatError
from negcat.web import answering, reading, spotting
from negcat.web.history_page import MOST, set_history
from negcat.web.sheet import Page, scan_looked_at, set_page
from negcat.work import show, trying
from negcat.work.archive import Archive
from negcat.work.editing import state_of
from negcat.work.history import Change, history_of_sheet
from negcat.work.measure import OutdatedSpotsError, SpotChange, measure_sheet

__all__ = ["pages", "sheet_page"]


def pages() -> list[tuple[str, answering.View]]:
    """List the addresses with the functions that answer them."""
    return [
        (r"^/sheet/(?P<sheet>[^/]+)/try$", _try),
        (r"^/sheet/(?P<sheet>[^/]+)/spots$", _set),
    ]


@dataclass(frozen=True)
class _Asked:
    """Where spots are wanted.

    Parameters
    ----------
    typed : what the form sent; None: the page is only looked at.
    changes, confirm : as for :func:`negcat.work.measure.measure_sheet`.
    fault : why it can't be done, as far as that is known already.
    """

    typed: spotting.Written | None = None
    changes: Sequence[SpotChange] = ()
    confirm: bool = False
    fault: str = ""


@dataclass(frozen=True)
class _Gathered:
    """A sheet's page, the panel its spots are moved in, its history, and the mark of its record as it is kept."""

    page: Page
    panel: spotting.Panel | None
    history: tuple[Change, ...]
    state: str


def _gather(archive: Archive, sheet: str, scan: str, asked: _Asked) -> _Gathered:
    """Look a sheet up, with its spots where they are kept or where they are wanted."""
    now = then = trying.standing(archive, sheet)
    fault = asked.fault
    if not fault and asked.typed and asked.typed.get("state") != now.state:
        fault = f"sheet {now.record.sheet} was changed meanwhile; this is worked out with what it says now"
    try:
        then = trying.try_spots(archive, now, asked.changes, confirm=asked.confirm)
    except NegcatError as error:
        fault = fault or str(error)
    kept = show.dossier_of(archive, now.record, now.findings)
    shown = kept if then is now else show.dossier_of(archive, then.record, then.findings)
    looked_at = str(scan_looked_at(kept, scan).get("scan") or "")
    lying = trying.lying_on(archive, now.record, looked_at) if looked_at else ()
    lies = lying if then is now or not looked_at else trying.lying_on(archive, then.record, looked_at)
    page = set_page(
        shown,
        reading.target(archive, shown["print_target"]),
        looked_at,
        spotting.marks(lies),
    )
    panel = None
    if looked_at:
        panel = spotting.set_panel(
            scan=looked_at,
            state=now.state,
            lying=lying,
            kept=kept,
            shown=shown,
            typed=asked.typed,
            fault=fault,
        )
    history = history_of_sheet(archive.catalogue, now.record.sheet)
    return _Gathered(page, panel, history, state_of(now.record))


async def sheet_page(
    datasette: Any,
    request: Any,
    attached: reading.Attached,
    sheet: str,
    scan: str,
    asked: _Asked = _Asked(),
    status: HTTPStatus = HTTPStatus.OK,
) -> Any:
    """Answer with the page of a sheet.

    Parameters
    ----------
    sheet, scan : ids; without a scan the one that is measured is looked at.
    asked : where its spots are wanted.
    status : the answer's.

    Raises
    ------
    UnknownNameError : there is no such sheet, or it has no such scan.
    """

    def gather(archive: Archive) -> _Gathered:
        return _gather(archive, sheet, scan, asked)

    gathered = await answering.read(attached, gather)
    page = gathered.page
    return await answering.page(
        datasette,
        request,
        attached,
        "sheet.html",
        {
            "page": page,
            "panel": gathered.panel,
            "history": set_history(gathered.history)[:MOST],
            "changes": len(gathered.history),
            "history_state": gathered.state,
            "history_action": datasette.urls.path(f"/history/sheet/{quote(page.sheet, safe='')}"),
            "sheet_key": tilde_encode(page.sheet),
            "twin": datasette.urls.path(f"/sheet/{page.sheet}.json"),
        },
        status,
    )


def _asked(request: Any, sent: answering.Sent) -> tuple[str, str, _Asked]:
    """Read the form: sheet, scan and where spots are wanted."""
    if sent.is_json:
        raise NegcatError("Send the spots as a form.")
    typed, fault = sent.fields, ""
    changes: Sequence[SpotChange] = ()
    try:
        changes = spotting.changes_of(typed)
    except NegcatError as error:
        fault = str(error)
    sheet, scan = unquote(request.url_vars["sheet"]), typed.get("scan", "")
    return sheet, scan, _Asked(typed, changes, typed.get("confirm") == "yes", fault)


@answering.asking
async def _try(datasette: Any, request: Any, attached: reading.Attached, sent: answering.Sent) -> Any:
    """Answer with the page as it would be."""
    sheet, scan, asked = _asked(request, sent)
    return await sheet_page(datasette, request, attached, sheet, scan, asked)


@answering.writing
async def _set(datasette: Any, request: Any, attached: reading.Attached, sent: answering.Sent) -> Any:
    """Set the spots and measure the sheet again."""
    sheet, scan, asked = _asked(request, sent)
    status = HTTPStatus.BAD_REQUEST
    fault = asked.fault
    if not fault and (asked.changes or asked.confirm):
        seen = sent.fields.get("state", "")

        def measure(archive: Archive) -> str:
            return measure_sheet(
                archive, sheet, asked.changes, confirm=asked.confirm, via="web spots", seen=seen
            ).sheet

        try:
            sheet = await answering.write(attached, measure)
        except OutdatedSpotsError as error:
            fault, status = str(error), HTTPStatus.CONFLICT
        except NegcatError as error:
            fault = str(error)
    if fault:
        refused = _Asked(asked.typed, asked.changes, asked.confirm, fault)
        return await sheet_page(datasette, request, attached, sheet, scan, refused, status)
    query = f"?{urlencode({'scan': scan})}" if scan and request.args.get("scan") else ""
    return answering.see_other(datasette, f"/sheet/{quote(sheet, safe='')}{query}")
