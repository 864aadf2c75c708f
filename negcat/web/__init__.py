"""The web view: a Datasette plugin.

Both ``negcat serve`` and plain ``datasette negcat.db`` show it. Where no attached database is a negcat
catalogue, every hook here keeps silent and Datasette looks as it always does. The hooks say what is
hooked; what happens stands in the modules beside.
"""

from __future__ import annotations

import re
from collections.abc import Generator
from functools import cache
from typing import Any

from pluggy import HookimplMarker

from negcat.web import (
    answering,
    canned,
    cells,
    comparing,
    developing,
    door,
    equipment,
    form,
    history,
    holders,
    iiif,
    joining,
    papers,
    reading,
    review,
    routes,
    signing_in,
    spots,
    tables,
    viewing,
    visitors,
)

__all__: list[str] = []

hookimpl = HookimplMarker("datasette")


@hookimpl
def register_routes(datasette: Any) -> list[tuple[str, Any]]:
    """Put the pages at their addresses."""
    if not reading.attached(datasette):
        return []
    return _pages()


@cache
def _pages() -> list[tuple[str, answering.View]]:
    pages = [
        *routes.pages(),
        *signing_in.pages(),
        *iiif.pages(),
        *viewing.pages(),
        *comparing.pages(),
        *joining.pages(),
        *developing.pages(),
        *holders.pages(),
        *spots.pages(),
        *form.pages(),
        *history.pages(),
        *equipment.pages(),
        *review.pages(),
        *papers.pages(),
    ]
    return [(address, door.own(view)) for address, view in pages]


@hookimpl
def skip_csrf(datasette: Any, scope: Any) -> bool:
    """Leave the token to the pages that look at it themselves."""
    if not reading.attached(datasette):
        return False
    path = door.route_path(datasette, scope)
    return any(answering.checks_token(view) and re.match(address, path) for address, view in _pages())


@hookimpl
def asgi_wrapper(datasette: Any) -> door.Wrapper:
    """Put the door before everything, where an archive is attached."""
    return door.wrapper(datasette, guarded=reading.attached(datasette) is not None)


@hookimpl
def actor_from_request(datasette: Any, request: Any) -> dict[str, str] | None:
    """Tell who has signed in by the link."""
    return signing_in.actor(datasette, request) if reading.attached(datasette) else None


@hookimpl
def get_metadata(datasette: Any, key: str | None, database: str | None, table: str | None) -> dict[str, Any]:
    """Describe tables and columns, with their units, on Datasette's own pages."""
    del key, database, table  # Datasette asks for all of it and picks
    return tables.metadata(datasette)


@hookimpl
def startup(datasette: Any) -> None:
    """Set what keeps Datasette's own pages quick on a large archive, and let the first link's time run."""
    tables.prepare(datasette)
    visitors.keys_of(datasette)


@hookimpl
def prepare_connection(conn: Any, database: str, datasette: Any) -> None:
    """Give the catalogue's connections what its queries call."""
    attached = reading.attached(datasette)
    if attached is not None and database == attached.database:
        reading.prepare(conn)


@hookimpl
def canned_queries(datasette: Any, database: str, actor: Any) -> dict[str, Any]:
    """Ask the tables what is often asked of them."""
    del actor
    return canned.queries(datasette, database)


# Last, so that it has the last word on whether a table can be searched.
@hookimpl(trylast=True)
def filters_from_request(datasette: Any, request: Any, database: str, table: str) -> Any:
    """Search tables of sheets by words."""
    return canned.search(datasette, request, database, table)


@hookimpl
def render_cell(row: Any, value: Any, column: str, table: str | None, database: str, datasette: Any) -> Any:
    """Lead from the tables to the archive's pages."""
    attached = reading.attached(datasette)
    if attached is None or database != attached.database:
        return None
    return cells.render(datasette, row, value, column, table)


@hookimpl
def extra_css_urls(datasette: Any) -> list[str]:
    """Dress Datasette's own pages in the same clothes."""
    return tables.stylesheets(datasette)


@hookimpl
def menu_links(datasette: Any) -> list[dict[str, str]]:
    """Lead from Datasette's own pages back to the archive's."""
    return tables.links(datasette)


@hookimpl(hookwrapper=True)
def handle_exception(datasette: Any, request: Any, exception: BaseException) -> Generator[None, Any, None]:
    """Say in one sentence what isn't there or went wrong; Datasette would tell and print all it knows of it."""
    said = yield
    answer = routes.explain(datasette, request, exception) or door.explain(datasette, request, exception)
    if answer is not None:
        said.force_result([answer])


@hookimpl(tryfirst=True)
def forbidden(datasette: Any, request: Any, message: str) -> Any:
    """Say how to be let in."""
    del message
    return routes.refuse(datasette, request)
