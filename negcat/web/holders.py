"""The holders' page: what is loaded where, and the form that writes it down."""

from __future__ import annotations

from datetime import UTC, datetime
from http import HTTPStatus
from typing import Any

from negcat.errors import RecordError
from negcat.web import answering, reading
from negcat.web.typesetting import date, whole_sentence
from negcat.work.archive import Archive
from negcat.work.holders import LoadedSide, holders, holders_json
from negcat.work.loading import load_side

__all__ = ["pages"]

_STATES = {
    "empty": "empty",
    "loaded": "loaded, not exposed",
    "exposed": "exposed, to be developed",
    "developed": "developed, to be loaded",
}


def pages() -> list[tuple[str, answering.View]]:
    """List the addresses with the functions that answer them."""
    return [
        (r"^/holders$", answering.by_method(_holders, _load)),
        (r"^/holders\.json$", _holders_json),
    ]


@answering.readable
async def _holders(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    return await _page(datasette, request, attached)


@answering.readable
async def _holders_json(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    del datasette, request
    return answering.document(holders_json(await answering.read(attached, holders)))


@answering.writing
async def _load(datasette: Any, request: Any, attached: reading.Attached, sent: answering.Sent) -> Any:
    """Write down that a side was loaded or emptied, as ``negcat holders`` does."""
    typed = {name: sent.fields.get(name, "").strip() for name in ("holder", "side", "film", "loaded_at")}
    missing = next((name for name in ("holder", "side") if not typed[name]), None)
    if missing:
        return await _page(datasette, request, attached, typed, f"Name the {missing}.")

    def load(archive: Archive) -> None:
        load_side(
            archive,
            typed["holder"],
            typed["side"],
            typed["film"] or None,
            typed["loaded_at"] or _now(),
            via="web holders",
        )

    try:
        await answering.write(attached, load)
    except RecordError as error:
        said = whole_sentence("; ".join(fault.what for fault in error.faults))
        return await _page(datasette, request, attached, typed, said)
    return answering.see_other(datasette, "/holders")


def _now() -> str:
    return datetime.now(tz=UTC).astimezone().strftime("%Y-%m-%dT%H:%M")


async def _page(
    datasette: Any,
    request: Any,
    attached: reading.Attached,
    typed: dict[str, str] | None = None,
    fault: str = "",
) -> Any:
    def look(archive: Archive) -> tuple[tuple[LoadedSide, ...], list[str]]:
        return holders(archive), archive.catalogue.names("films")

    sides, films = await answering.read(attached, look)
    return await answering.page(
        datasette,
        request,
        attached,
        "holders.html",
        {
            "sides": [(side, _STATES[side.state], date(side.loaded_at)) for side in sides],
            "films": films,
            "typed": typed or {"loaded_at": _now()},
            "fault": fault,
            "twin": datasette.urls.path("/holders.json"),
        },
        HTTPStatus.BAD_REQUEST if fault else HTTPStatus.OK,
    )
