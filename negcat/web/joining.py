"""Joining a scan that waits to its sheet, from the pending page."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any
from urllib.parse import quote

from negcat.errors import NegcatError
from negcat.web import answering, reading
from negcat.web.routes import pending_page
from negcat.web.typesetting import whole_sentence
from negcat.work.archive import Archive
from negcat.work.ingest import Item
from negcat.work.match import match_scan

__all__ = ["pages"]


def pages() -> list[tuple[str, answering.View]]:
    """List the address with the function that answers it."""
    return [(r"^/scan/(?P<scan>[0-9a-f]{12})/join$", _join)]


@answering.writing
async def _join(datasette: Any, request: Any, attached: reading.Attached, sent: answering.Sent) -> Any:
    """Join a scan to the sheet that the form names, as ``negcat match`` does."""
    scan = request.url_vars["scan"]
    sheet = sent.fields.get("sheet", "").strip()

    def join(archive: Archive) -> Item:
        return match_scan(archive, scan, sheet, via="web match")

    try:
        if not sheet:
            raise NegcatError("Name the sheet that the scan is of.")
        item = await answering.write(attached, join)
    except NegcatError as error:
        # Said on the page it was typed on, beside the scan, with what was typed.
        return await _refused(datasette, request, attached, scan, sheet, str(error))
    return answering.see_other(datasette, f"/sheet/{quote(str(item.sheet), safe='')}")


async def _refused(
    datasette: Any, request: Any, attached: reading.Attached, scan: str, sheet: str, said: str
) -> Any:
    """Show the pending page again, with what was wrong."""
    return await pending_page(
        datasette,
        request,
        attached,
        {"scan": scan, "sheet": sheet, "sentence": whole_sentence(said)},
        HTTPStatus.BAD_REQUEST,
    )
