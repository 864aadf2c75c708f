"""Texts made of markup, in a real browser: nothing runs, nothing is asked for, nothing runs off the page."""

import asyncio
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from datasette.app import Datasette
from playwright.sync_api import Browser

from tests.browser.conftest import View, serving, watched
from tests.web.everywhere import every_page

# Those with most of what people wrote. That no table makes anything of it, tests/web/test_text_stays_text.py sees.
TABLES = ("sheets", "readings", "films", "lenses", "developments", "scans", "history", "sheet_search")

pytestmark = [pytest.mark.browser, pytest.mark.slow]


@pytest.fixture(scope="module")
def marked(full_of_markup: Path) -> Iterator[str]:
    yield from serving(full_of_markup)


@pytest.fixture(scope="module")
def pages(full_of_markup: Path) -> list[str]:
    """Every page of the archive, and tables of Datasette's."""

    async def found() -> list[str]:
        return list((await every_page(Datasette([str(full_of_markup / "negcat.db")])))[0])

    # In a thread of its own, since Playwright's loop runs in this one.
    with ThreadPoolExecutor(1) as pool:
        own = pool.submit(asyncio.run, found()).result()
    return [*own, *(f"/negcat/{table}" for table in TABLES), "/negcat", "/negcat/sheets/MK-1"]


@pytest.mark.parametrize("view", [View(390, "light")], ids=str)
def test_nothing_runs_nothing_is_asked_for_and_all_of_it_fits(
    browser: Browser, marked: str, pages: list[str], view: View
) -> None:
    assert len(pages) > 40
    for seen in watched(browser, marked, view):
        asked: list[str] = []
        beyond: dict[str, list[str]] = {}
        seen.page.on("request", lambda request, asked=asked: asked.append(request.url))
        for path in pages:
            page = seen.open(path)
            page.evaluate("document.querySelectorAll('details').forEach(details => { details.open = true; })")
            seen.settle()
            assert page.evaluate("typeof window.mkran") == "undefined", path
            assert page.locator("mkx, [onmk], [mkattr], img[src*=mkasked]").count() == 0, path
            beyond[path] = page.evaluate(
                """() => document.documentElement.scrollWidth <= window.innerWidth ? [] :
                    [...document.querySelectorAll("body *")]
                        .filter(e => e.getBoundingClientRect().right > window.innerWidth + 1)
                        .map(e => e.outerHTML.slice(0, 120))"""
            )
        assert {path: wide for path, wide in beyond.items() if wide} == {}
        assert [url for url in asked if "mkasked" in url] == []
        assert seen.elsewhere == []
        # Pages that aren't there say so with their status, and the browser notes that.
        assert [said for said in seen.console if "the server responded with a status of 40" not in said] == []
