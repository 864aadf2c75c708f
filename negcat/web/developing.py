"""A batch taken from the pending page: which sheets, how they are to be developed, and its record when it is done."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from http import HTTPStatus
from typing import Any
from urllib.parse import quote

from negcat.errors import Fault, RecordError
from negcat.web import answering, reading
from negcat.web.typesetting import fixed, plain, whole_sentence
from negcat.work.archive import Archive
from negcat.work.developing import SOURCES, DraftBatch, TimeToTry, UsedTime, draft_batch, record_batch
from negcat.work.review_words import minutes

__all__ = ["pages"]

FIELDS: Sequence[tuple[str, str, str, str]] = (
    ("batch", "Batch", "", "text"),
    ("date", "Developed on", "", "text"),
    ("developer", "Developer", "", "text"),
    ("dilution", "Dilution", "", "text"),
    ("temperature_c", "Temperature", "°C", "decimal"),
    ("time", "Time", "as 9m or 9m30s", "text"),
    ("method", "Method", "tray, tank, drum", "text"),
    ("agitation", "Agitation", "", "text"),
    ("notes", "Notes", "", "text"),
)
"""Field of the record, what it is called, its unit or how it is written, and the keyboard it asks for."""

TEMPERATURES_C = (5.0, 45.0)
"""Temperatures of a developer that a record takes."""

_SHEET = "sheet "


def pages() -> list[tuple[str, answering.View]]:
    """List the address with the functions that answer it."""
    return [(r"^/pending/develop$", answering.by_method(_draft, _record))]


@dataclass(frozen=True)
class FieldShown:
    """A field with what stands in it and what is wrong with it."""

    name: str
    label: str
    unit: str
    keyboard: str
    value: str
    fault: str


@dataclass(frozen=True)
class UsedShown:
    """A time used before, set for reading."""

    process: str
    time: str
    sheets: int
    found: str
    interval: str
    batches: tuple[str, ...]


@answering.readable
async def _draft(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    film, tag = request.args.get("film") or "", request.args.get("tag") or "N"
    written = (request.args.get("temperature") or "").strip()
    temperature, fault = _temperature(written)
    return await _page(
        datasette,
        request,
        attached,
        film,
        tag,
        temperature=temperature,
        learn=request.args.get("learn") == "yes",
        written=written,
        temperature_fault=fault,
        status=HTTPStatus.BAD_REQUEST if fault else HTTPStatus.OK,
    )


def _temperature(written: str) -> tuple[float | None, str]:
    """Read the temperature that times are wanted for, with a sentence where it can't be."""
    if not written:
        return None, ""
    try:
        degrees = float(written.replace(",", "."))
    except ValueError:
        degrees = float("nan")
    if not TEMPERATURES_C[0] <= degrees <= TEMPERATURES_C[1]:
        return None, f"“{written}” is no temperature of a developer: write one from 5 to 45 °C."
    return degrees, ""


@answering.writing
async def _record(datasette: Any, request: Any, attached: reading.Attached, sent: answering.Sent) -> Any:
    """Take the batch's record, as ``negcat record`` does."""
    fields = sent.fields
    record: dict[str, Any] = {
        name: fields.get(name, "").strip()
        for name in ("tag", *(field for field, *_ in FIELDS))
        if fields.get(name, "").strip()
    }
    record["sheets"] = [name.removeprefix(_SHEET) for name in fields if name.startswith(_SHEET)]

    def take(archive: Archive) -> str:
        return record_batch(archive, record, via="web pending")[0]

    try:
        batch = await answering.write(attached, take)
    except RecordError as error:
        return await _page(
            datasette,
            request,
            attached,
            fields.get("film", ""),
            fields.get("tag", "N"),
            fields,
            error.faults,
            HTTPStatus.BAD_REQUEST,
        )
    return answering.see_other(datasette, f"/batch/{quote(batch, safe='')}")


async def _page(
    datasette: Any,
    request: Any,
    attached: reading.Attached,
    film: str,
    tag: str,
    typed: Mapping[str, str] | None = None,
    faults: Sequence[Fault] = (),
    status: HTTPStatus = HTTPStatus.OK,
    *,
    temperature: float | None = None,
    learn: bool = False,
    written: str = "",
    temperature_fault: str = "",
) -> Any:
    today = datetime.now(tz=UTC).astimezone().date()

    def draft(archive: Archive) -> DraftBatch:
        return draft_batch(archive, film, tag, today, temperature_c=temperature, learn=learn)

    drafted = await answering.read(attached, draft)
    values = drafted.record if typed is None else typed
    said = {_field_of(fault): whole_sentence(fault.what) for fault in faults}
    shown = [
        FieldShown(name, label, unit, keyboard, values.get(name, ""), said.pop(name, ""))
        for name, label, unit, keyboard in FIELDS
    ]
    return await answering.page(
        datasette,
        request,
        attached,
        "develop.html",
        {
            "draft": drafted,
            "fields": shown,
            "sheets": [(sheet, typed is None or f"{_SHEET}{sheet}" in typed) for sheet in drafted.waiting],
            "sheets_fault": said.pop("sheets", ""),
            "faults": list(said.values()),
            "faulty": len(faults),
            "used": [_used(one) for one in drafted.used],
            "times": [_time(one) for one in drafted.times],
            "temperature": written or ("" if drafted.temperature_c is None else plain(drafted.temperature_c)),
            "temperature_fault": temperature_fault,
        },
        status,
    )


def _field_of(fault: Fault) -> str:
    names = [str(part) for part in fault.path if isinstance(part, str) and part != "developments"]
    return names[0] if names else ""


@dataclass(frozen=True)
class TimeShown:
    """A time to try, set for reading."""

    process: str
    source: str
    time: str
    interval: str
    note: str


def _time(one: TimeToTry) -> TimeShown:
    degrees = f"{plain(one.temperature_c)} °C" if one.temperature_c is not None else ""
    return TimeShown(
        process=", ".join(part for part in (one.developer, one.dilution, degrees) if part),
        source=SOURCES[one.source],
        time=minutes(one.time_s),
        interval=f"{minutes(one.low_s)} to {minutes(one.high_s)}",
        note=one.note,
    )


def _used(one: UsedTime) -> UsedShown:
    found = one.found_n
    degrees = f"{plain(one.temperature_c)} °C" if one.temperature_c is not None else ""
    return UsedShown(
        process=", ".join(part for part in (one.developer, one.dilution, degrees) if part),
        time=one.time,
        sheets=one.sheets,
        found=fixed(found, signed=True) if found is not None else "",
        interval=f"{fixed(one.low_n, signed=True)} to {fixed(one.high_n, signed=True)}"
        if one.low_n is not None and one.high_n is not None
        else "",
        batches=one.batches,
    )
