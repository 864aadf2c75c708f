"""Papers as PDF from the pages: what goes with a sheet, a batch, a film or lens; and what goes into the field."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from functools import partial
from http import HTTPStatus
from typing import TYPE_CHECKING, Any, cast
from urllib.parse import quote, unquote

from datasette.utils.asgi import Response

from negcat.errors import NotationError
from negcat.web import answering, reading
from negcat.work.archive import Archive

if TYPE_CHECKING:
    from negcat.papers import Drawn, PaperSize

__all__ = ["pages"]

_PAPERS = ("a4", "letter")

# What draws is imported where it is called: its libraries would keep the server waiting, and few pages need them.


def pages() -> list[tuple[str, answering.View]]:
    """List the addresses with the functions that answer them; ``?paper=letter`` gives US Letter for A4."""
    return [
        (r"^/sheet/(?P<name>[^/]+)/sleeve\.pdf$", _view("sleeve", _sleeve)),
        (r"^/sheet/(?P<name>[^/]+)/label\.pdf$", _view("label", _label)),
        (r"^/batch/(?P<name>[^/]+)/sheet\.pdf$", _view("batch", _batch)),
        (r"^/film/(?P<name>[^/]+)/crib\.pdf$", _view("crib", partial(_crib, "film"))),
        (r"^/lens/(?P<name>[^/]+)/crib\.pdf$", _view("crib", partial(_crib, "lens"))),
        (r"^/crib\.pdf$", _view("crib", partial(_crib, ""))),
        (r"^/field-sheet\.pdf$", _view("field-sheet", _field_sheet)),
        (r"^/pending/develop\.pdf$", _view("batch", _waiting)),
        (r"^/field-form\.html$", _field_form),
    ]


@answering.readable
async def _field_form(datasette: Any, request: Any, attached: reading.Attached) -> Any:
    """Answer with the form for the field, to be kept on a phone; only what is kept there may run its script."""
    del datasette, request
    from negcat.work.field_form import field_form

    made = datetime.now(tz=UTC).astimezone()
    page = await answering.read(attached, lambda archive: field_form(archive, made=made))
    headers = {
        **answering.PAGE_HEADERS,
        "content-disposition": 'attachment; filename="field-form.html"',
        "content-length": str(len(page)),
    }
    return Response(page, headers=headers, content_type="text/html; charset=utf-8")


Draw = Callable[[Archive, Any, str, "PaperSize", date], "Drawn"]


def _view(file: str, draw: Draw) -> answering.View:
    """Make the view that answers with a paper, opened in the browser rather than kept at once."""

    @answering.readable
    async def view(datasette: Any, request: Any, attached: reading.Attached) -> Any:
        paper = request.args.get("paper") or "a4"
        if paper not in _PAPERS:
            return await answering.sentence(
                datasette, request, HTTPStatus.BAD_REQUEST, f"“{paper}” is no paper: write a4 or letter."
            )
        name = unquote(request.url_vars.get("name", ""))
        printed = datetime.now(tz=UTC).astimezone().date()

        def work(archive: Archive) -> Drawn:
            return draw(archive, request.args, name, cast("PaperSize", paper), printed)

        try:
            drawn = await answering.read(attached, work)
        except NotationError as error:
            return await answering.sentence(datasette, request, HTTPStatus.BAD_REQUEST, str(error))
        called = quote(f"{file}-{name}.pdf" if name else f"{file}.pdf", safe="")
        headers = {
            **answering.PAGE_HEADERS,
            "content-disposition": f"inline; filename*=UTF-8''{called}",
            "content-length": str(len(drawn.pdf)),
        }
        return Response(drawn.pdf, headers=headers, content_type="application/pdf")

    return view


def _sleeve(archive: Archive, args: Any, name: str, size: PaperSize, printed: date) -> Drawn:
    del args
    from negcat.work.papers import sleeves

    return sleeves(archive, [name], size=size, printed=printed)


def _label(archive: Archive, args: Any, name: str, size: PaperSize, printed: date) -> Drawn:
    del args
    from negcat.work.papers import labels

    return labels(archive, [name], size=size, printed=printed)


def _batch(archive: Archive, args: Any, name: str, size: PaperSize, printed: date) -> Drawn:
    del args
    from negcat.work.batch_paper import batch_sheet

    return batch_sheet(archive, name, size=size, printed=printed)


def _waiting(archive: Archive, args: Any, name: str, size: PaperSize, printed: date) -> Drawn:
    del name
    from negcat.work.batch_paper import waiting_sheet

    return waiting_sheet(archive, args.get("film") or "", args.get("tag") or "N", size=size, printed=printed)


def _crib(kind: str, archive: Archive, args: Any, name: str, size: PaperSize, printed: date) -> Drawn:
    del args
    from negcat.work.crib import crib

    return crib(
        archive,
        size=size,
        printed=printed,
        films=[name] if kind == "film" else (),
        lenses=[name] if kind == "lens" else (),
    )


def _field_sheet(archive: Archive, args: Any, name: str, size: PaperSize, printed: date) -> Drawn:
    del args, name
    from negcat.work.papers import field_sheet

    return field_sheet(archive, size=size, printed=printed)
