"""The pages of a lens, a film and a batch: which address answers with what."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any
from urllib.parse import quote, unquote

from datasette.utils import tilde_encode

from negcat.web import answering, batch, film, film_tests, lens, reading
from negcat.work.archive import Archive
from negcat.work.batch_story import batch_story
from negcat.work.lens_story import lens_story

__all__ = ["pages"]

_Story = Callable[[Archive, str], dict[str, Any]]


def pages() -> list[tuple[str, answering.View]]:
    """List the addresses with the functions that answer them."""
    return [
        (r"^/lens/(?P<name>[^/]+)$", _view("lens", "lenses", lens_story, lens.set_page)),
        (r"^/film/(?P<name>[^/]+)$", _view("film", "films", film_tests.story, film.set_page)),
        (r"^/batch/(?P<name>[^/]+)$", _view("batch", "developments", batch_story, batch.set_page)),
    ]


def _view(
    kind: str, table: str, story: _Story, set_page: Callable[[Mapping[str, Any]], Any]
) -> answering.View:
    """Make the view of a kind: its page, and the same as JSON where the name is followed by ``.json``."""

    @answering.readable
    async def view(datasette: Any, request: Any, attached: reading.Attached) -> Any:
        async def told(name: str) -> dict[str, Any]:
            return await answering.read(attached, lambda archive: story(archive, name))

        async def shown(asked: str) -> Any:
            document = await told(asked)
            name = str(document[kind])
            return await answering.page(
                datasette,
                request,
                attached,
                f"{kind}.html",
                {
                    "page": set_page(document),
                    "table": table,
                    "row": tilde_encode(name),
                    "record_history": datasette.urls.path(f"/history/{kind}/{quote(name, safe='')}"),
                    "twin": datasette.urls.path(f"/{kind}/{quote(name, safe='')}.json"),
                },
            )

        return await answering.page_or_document(unquote(request.url_vars["name"]), shown, told)

    return view
