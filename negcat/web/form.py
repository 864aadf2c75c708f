"""The field record as a form: a new sheet, and a sheet's record edited.

The form calculates for whoever may read, and saves for whoever has signed in. It answers a browser without
JavaScript with pages, and the page's own script with JSON; both go the same way.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from datetime import UTC, datetime
from http import HTTPStatus
from typing import Any
from urllib.parse import quote, unquote

from datasette.utils import tilde_encode

from negcat.errors import Fault, RecordError
from negcat.web import answering, form_page, reading
from negcat.web.form_fields import GROUPS, Typed, flattened, name_of, typed_from
from negcat.work import drafting, editing
from negcat.work.archive import Archive
from negcat.work.calculating import Calculation, calculate
from negcat.work.history import way_in
from negcat.work.naming import known_sheet
from negcat.work.writing_out import written_out

__all__ = ["pages"]

_MOST_ROWS = 200
_ROW_NAME = re.compile(r"readings\.([0-9]{1,4})\.(.+)")


def pages() -> list[tuple[str, answering.View]]:
    """List the addresses with the functions that answer them."""
    sheet = r"^/sheet/(?P<sheet>[^/]+)/edit"
    return [
        (r"^/new$", answering.by_method(_new, _take_new)),
        (r"^/new/worked$", _new_worked),
        (r"^/new/ledger\.json$", _ledger),
        (sheet + "$", answering.by_method(_edit, _take_changed)),
        (sheet + "/worked$", _edit_worked),
    ]


# Reading ----------------------------------------------------------------------------------------------------


@answering.readable
async def _new(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    again = request.args.get("again") or None

    def suggest(archive: Archive) -> drafting.Suggestion:
        return drafting.next_sheet(archive.catalogue, datetime.now(tz=UTC).astimezone(), again)

    suggestion = await answering.read(attached, suggest)
    return await _page(datasette, request, attached, flattened(suggestion.record), suggestion=suggestion)


@answering.readable
async def _edit(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    asked = unquote(request.url_vars["sheet"])

    def laid_out(archive: Archive) -> tuple[str, dict[str, str], str]:
        record = known_sheet(archive.catalogue, asked)
        return record.sheet, flattened(written_out(record)), editing.state_of(record)

    sheet, values, state = await answering.read(attached, laid_out)
    return await _page(datasette, request, attached, values, sheet=sheet, state=state)


# Calculating ------------------------------------------------------------------------------------------------


@answering.asking
async def _ledger(datasette: Any, request: Any, attached: reading.Attached, sent: answering.Sent) -> Any:
    """Calculate what a record in writing amounts to."""
    del request
    fields = _fields(sent)
    typed = typed_from(fields)
    # A sheet that is edited has an id of its own; a new one's may not be another's.
    sheet = _control(sent, "editing")
    record = {**typed.record, **({"sheet": sheet} if sheet else {})}

    def work(archive: Archive) -> Calculation:
        calculation = calculate(archive.catalogue, record)
        taken = None if sheet else drafting.taken_id(archive.catalogue, record.get("sheet"))
        faults = (*([taken] if taken else []), *calculation.faults)
        return replace(calculation, faults=faults)

    calculation = await answering.read(attached, work)
    shown = form_page.set_calculation(calculation)
    faults = form_page.set_faults(calculation.faults, typed, fields)
    return answering.document(
        {
            "ok": True,
            "exposure": calculation.exposure,
            "ledger": calculation.ledger,
            "readings": calculation.readings,
            "why": calculation.why,
            "left_out": [name_of(path, typed.rows) for path in calculation.left_out],
            "wanting": calculation.wanting,
            "faults": [_fault_document(fault) for fault in faults],
            "decision": shown.decision or shown.waits,
            "html": await _rendered(datasette, "_calculation.html", calculation=shown),
        }
    )


@answering.asking
async def _new_worked(datasette: Any, request: Any, attached: reading.Attached, sent: answering.Sent) -> Any:
    """Show the form again without saving: with another reading, without one, or with its ledger."""
    return await _worked(datasette, request, attached, sent, "")


@answering.asking
async def _edit_worked(datasette: Any, request: Any, attached: reading.Attached, sent: answering.Sent) -> Any:
    asked = unquote(request.url_vars["sheet"])

    def named(archive: Archive) -> str:
        return known_sheet(archive.catalogue, asked).sheet

    return await _worked(datasette, request, attached, sent, await answering.read(attached, named))


async def _worked(
    datasette: Any, request: Any, attached: reading.Attached, sent: answering.Sent, sheet: str
) -> Any:
    fields = _fields(sent)
    does, _, which = _control(sent, "do").partition(" ")
    rows = _rows(fields)
    focus = ""
    if does == "without" and which.isdigit():
        fields = {
            name: value
            for name, value in fields.items()
            if not (row := _ROW_NAME.fullmatch(name)) or int(row[1]) != int(which)
        }
        rows -= 1
    typed = typed_from(fields)
    if does == "another":
        rows = min(rows + 1, _MOST_ROWS)
        focus = f"f-readings-{len(typed.rows)}-name"
    return await _page(
        datasette,
        request,
        attached,
        flattened(typed.record),
        sheet=sheet,
        state=_control(sent, "state"),
        rows=rows,
        focus=focus,
        shows_faults=does == "calculate",
    )


# Saving -----------------------------------------------------------------------------------------------------


@answering.writing
async def _take_new(datasette: Any, request: Any, attached: reading.Attached, sent: answering.Sent) -> Any:
    """Take a new sheet's record, as ``negcat record`` does."""
    typed = typed_from(_fields(sent))

    def take(archive: Archive) -> str:
        return editing.enter_new(archive, typed.record, via="web form")[0]

    try:
        sheet = await answering.write(attached, take)
    except RecordError as error:
        return await _refused(datasette, request, attached, sent, typed, error.faults)
    return _saved(datasette, sent, sheet)


@answering.writing
async def _take_changed(
    datasette: Any, request: Any, attached: reading.Attached, sent: answering.Sent
) -> Any:
    """Take a sheet's record as it was edited, unless somebody else changed it meanwhile."""
    asked = unquote(request.url_vars["sheet"])
    typed = typed_from(_fields(sent))

    def take(archive: Archive) -> str:
        return editing.enter_changed(
            archive, asked, typed.record, shown=typed.shown, state=_control(sent, "state"), via="web form"
        )[0]

    try:
        sheet = await answering.write(attached, take)
    except RecordError as error:
        return await _refused(datasette, request, attached, sent, typed, error.faults, sheet=asked)
    except editing.OutdatedRecordError as error:
        return await _outdated(datasette, request, attached, sent, error)
    return _saved(datasette, sent, sheet)


def _saved(datasette: Any, sent: answering.Sent, sheet: str) -> Any:
    path = f"/sheet/{quote(sheet, safe='')}"
    if sent.is_json:
        return answering.document({"ok": True, "sheet": sheet, "address": datasette.urls.path(path)})
    return answering.see_other(datasette, path)


async def _refused(
    datasette: Any,
    request: Any,
    attached: reading.Attached,
    sent: answering.Sent,
    typed: Typed,
    faults: Sequence[Fault],
    sheet: str = "",
) -> Any:
    """Say at the fields what is wrong; what was typed stays."""
    if sent.is_json:
        shown = form_page.set_faults(faults, typed, _fields(sent))
        return answering.document(
            {
                "ok": False,
                "error": f"Nothing was saved: {_counted(len(shown))}.",
                "faults": [_fault_document(fault) for fault in shown],
                "html": await _rendered(
                    datasette, "_faults.html", faults=shown, heading=_heading(len(shown))
                ),
            },
            HTTPStatus.BAD_REQUEST,
        )
    return await _page(
        datasette,
        request,
        attached,
        flattened(typed.record),
        sheet=sheet,
        state=_control(sent, "state"),
        rows=_rows(_fields(sent)),
        faults=faults,
        status=HTTPStatus.BAD_REQUEST,
    )


async def _outdated(
    datasette: Any,
    request: Any,
    attached: reading.Attached,
    sent: answering.Sent,
    error: editing.OutdatedRecordError,
) -> Any:
    """Say what was changed meanwhile; what was typed stays, and saving again is possible."""
    lines = form_page.outdated_lines(error)
    way = way_in(error.via or "")
    heading = (
        f"Not saved: this record was changed meanwhile, {form_page.when(error.at)} {way}".rstrip()
        + ". Look at what was changed, then save again."
    )
    values = flattened(error.record)
    if sent.is_json:
        return answering.document(
            {
                "ok": False,
                "error": heading,
                "faults": [],
                "changed": [asdict(line) for line in lines],
                "fields": values,
                "state": error.state,
                "html": await _rendered(datasette, "_faults.html", faults=lines, heading=heading),
            },
            HTTPStatus.CONFLICT,
        )
    return await _page(
        datasette,
        request,
        attached,
        values,
        sheet=error.sheet,
        state=error.state,
        changed=lines,
        heading=heading,
        status=HTTPStatus.CONFLICT,
    )


# The page ---------------------------------------------------------------------------------------------------


def _fields(sent: answering.Sent) -> Mapping[str, Any]:
    if not sent.is_json:
        return sent.fields
    fields = sent.document.get("fields") if isinstance(sent.document, dict) else None
    return fields if isinstance(fields, dict) else {}


def _control(sent: answering.Sent, name: str) -> str:
    """Give what the form says besides the record: what to do, the state of the record, the sheet edited."""
    if not sent.is_json:
        return sent.fields.get(f"-{name}", "")
    value = sent.document.get(name) if isinstance(sent.document, dict) else None
    return value if isinstance(value, str) else ""


def _rows(fields: Mapping[str, Any]) -> int:
    places = [int(row[1]) for name in fields if (row := _ROW_NAME.fullmatch(name))]
    return min(max(places, default=-1) + 1, _MOST_ROWS)


def _fault_document(fault: form_page.FaultShown) -> dict[str, Any]:
    return {**asdict(fault), "id": fault.id}


def _counted(faults: int) -> str:
    return "one field wants mending" if faults == 1 else f"{faults} fields want mending"


def _heading(faults: int) -> str:
    counted = _counted(faults)
    return f"Not saved yet: {counted}"


async def _rendered(datasette: Any, template: str, **context: Any) -> str:
    return str(await datasette.jinja_env.get_template(f"negcat/{template}").render_async(context))


def _laid_out(
    archive: Archive, values: Mapping[str, str], faults: Sequence[Fault] | None, *, sheet: str, rows: int
) -> form_page.FormShown:
    """Set the form; with None for faults, those of the record itself are said."""
    typed = typed_from(values)
    record = {**typed.record, **({"sheet": sheet} if sheet else {})}
    choices = drafting.choices(archive.catalogue)
    calculation = calculate(archive.catalogue, record)
    said = form_page.set_faults(calculation.faults if faults is None else faults, typed, values)
    # A new sheet's groups stay shut: what they hold is said on the line that opens them.
    opened = [group.key for group in GROUPS if sheet and any(values.get(one.name) for one in group.fields)]
    return form_page.set_form(values, choices, calculation, said, rows=rows, open_groups=opened)


async def _page(
    datasette: Any,
    request: Any,
    attached: reading.Attached,
    values: Mapping[str, str],
    *,
    sheet: str = "",
    state: str = "",
    rows: int = 0,
    faults: Sequence[Fault] = (),
    shows_faults: bool = False,
    suggestion: drafting.Suggestion | None = None,
    changed: Sequence[form_page.FaultShown] = (),
    heading: str = "",
    focus: str = "",
    status: HTTPStatus = HTTPStatus.OK,
) -> Any:

    def lay_out(archive: Archive) -> form_page.FormShown:
        return _laid_out(archive, values, None if shows_faults else faults, sheet=sheet, rows=rows)

    shown = await answering.read(attached, lay_out)
    base = f"/sheet/{quote(sheet, safe='')}/edit" if sheet else "/new"
    return await answering.page(
        datasette,
        request,
        attached,
        "form.html",
        {
            "form": shown,
            "sheet": sheet,
            "table": "sheets",
            "row": tilde_encode(sheet),
            "state": state,
            "action": datasette.urls.path(base),
            "worked": datasette.urls.path(f"{base}/worked"),
            "ledger": datasette.urls.path("/new/ledger.json"),
            "summary": changed or shown.faults,
            "heading": heading or (_heading(len(shown.faults)) if shown.faults else ""),
            "focus": focus,
            "suggestion": suggestion,
            "taken_over": form_page.taken_over(suggestion.record) if suggestion else "",
            # Two archives served under one address in turn keep what is typed apart.
            "keeps_as": hashlib.sha256(str(attached.root).encode("utf-8", "surrogateescape")).hexdigest()[
                :12
            ],
        },
        status,
    )
