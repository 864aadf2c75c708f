"""Servers for others, in this process, and every address that the running application has.

The routes are read from the application itself, so that one that is added can't be forgotten.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import httpx
from datasette.utils import resolve_routes

from negcat.web.serving import assemble
from negcat.web.visitors import keys_of
from tests.web.conftest import form_token

HERE = "192.0.2.7:8421"
"""An address of the network that the server is reached at."""


def is_static(view: Any, address: str) -> bool:
    """Tell whether a view gives files of the program."""
    return address == "/favicon.ico" or getattr(view, "_datasette_static", False)


class Server:
    """An archive served to others, as ``negcat serve`` puts it together.

    Parameters
    ----------
    root : the archive's folder.
    how : as :func:`negcat.web.serving.assemble` takes it.
    """

    def __init__(self, root: Path, **how: Any) -> None:
        self.root = root
        self.datasette = assemble(root, **how)
        self.keys = keys_of(self.datasette)
        self.printed: list[str] = []
        self.keys.announce = self.printed.append
        self._application = self.datasette.app()
        self.routes = self.datasette._routes()

    def view(self, address: str) -> Any:
        """Give the view that an address leads to; None for none."""
        return resolve_routes(self.routes, address.partition("?")[0])[1]

    def visitor(self, address: str = "203.0.113.9", **headers: str) -> httpx.AsyncClient:
        """Give a browser at an address, which holds no cookie yet."""
        # What goes wrong in the application is to be answered, not raised.
        transport = httpx.ASGITransport(self._application, client=(address, 4000), raise_app_exceptions=False)
        return httpx.AsyncClient(
            transport=transport, base_url=f"http://{HERE}", headers=headers, trust_env=False
        )

    async def signed_in(self) -> tuple[httpx.AsyncClient, str]:
        """Give a browser that has signed in, and the token its pages know."""
        browser = self.visitor()
        answer = await browser.get(f"/-/auth-token?token={self.keys.new_link()}")
        assert answer.status_code == 303
        return browser, form_token((await browser.get("/sign-in")).text)


def routes_of(server: Server, samples: Mapping[str, str]) -> dict[str, list[str]]:
    """Write an address or more for every route of the application.

    Parameters
    ----------
    samples : what stands in an address for each named part of a route.

    Returns
    -------
    The pattern of each route, with the addresses that lead to it.
    """
    known: dict[str, list[str]] = {}
    for pattern, view in server.routes:
        found = [address for address in _written(pattern.pattern, samples) if pattern.match(address)]
        led = known.setdefault(pattern.pattern, [])
        led += [address for address in found if server.view(address) is view]
    return known


def _written(pattern: str, samples: Mapping[str, str]) -> Iterator[str]:
    """Write what a pattern matches, each optional part once there and once not."""
    text = pattern.removeprefix("^").removesuffix("$").replace(r"\.", ".")
    part = re.search(r"\(\?P<(\w+)>((?:[^()]|\([^()]*\))*)\)", text)
    if part is not None:
        # What may only be one of some words is the first of them.
        words = re.fullmatch(r"(\w+)(?:\|\w+)+", part[2])
        sample = samples[part[1]] if part[1] in samples or words is None else words[1]
        yield from _written(text.replace(part[0], sample), samples)
        return
    maybe = re.search(r"\(([^()]*)\)\?", text)
    if maybe is not None:
        yield from _written(text.replace(maybe[0], ""), samples)
        yield from _written(text.replace(maybe[0], maybe[1]), samples)
        return
    yield re.sub(r"/\?$", "", text)
