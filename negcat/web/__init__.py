"""The web view: a Datasette plugin.

Both ``negcat serve`` and plain ``datasette negcat.db`` show it. Where no attached database is a negcat
catalogue, every hook here keeps silent and Datasette looks as it always does. The hooks say what is
hooked; what happens stands in the modules beside.
"""

from __future__ import annotations

from typing import Any

from pluggy import HookimplMarker

from negcat.web import iiif, reading, routes, security, tables, viewing

__all__: list[str] = []

hookimpl = HookimplMarker("datasette")


@hookimpl
def register_routes(datasette: Any) -> list[tuple[str, Any]]:
    """Put the pages at their addresses."""
    if not reading.attached(datasette):
        return []
    return [*routes.pages(), *iiif.pages(), *viewing.pages()]


@hookimpl
def asgi_wrapper(datasette: Any) -> security.Wrapper:
    """Check the Host header and send the protective headers with every answer."""
    return security.wrapper(datasette, guarded=reading.attached(datasette) is not None)


@hookimpl
def get_metadata(datasette: Any, key: str | None, database: str | None, table: str | None) -> dict[str, Any]:
    """Describe tables and columns, with their units, on Datasette's own pages."""
    del key, database, table  # Datasette asks for all of it and picks
    return tables.metadata(datasette)


@hookimpl
def extra_css_urls(datasette: Any) -> list[str]:
    """Dress Datasette's own pages in the same clothes."""
    return tables.stylesheets(datasette)


@hookimpl
def menu_links(datasette: Any) -> list[dict[str, str]]:
    """Lead from Datasette's own pages back to the archive's."""
    return tables.links(datasette)


@hookimpl(tryfirst=True)
def handle_exception(datasette: Any, request: Any, exception: BaseException) -> Any:
    """Say in one sentence what isn't there."""
    return routes.explain(datasette, request, exception)


@hookimpl(tryfirst=True)
def forbidden(datasette: Any, request: Any, message: str) -> Any:
    """Say how to be let in."""
    del message
    return routes.refuse(datasette, request)
