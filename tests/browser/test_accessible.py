"""No page keeps anybody out: axe finds nothing, wide and narrow, light and dark, signed in or not."""

from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser

from tests.browser.conftest import (
    EACH_ONCE,
    EVERYTHING,
    NARROW,
    WIDE,
    View,
    Watched,
    only,
    serving,
    serving_to_write,
    unfold,
    watched,
)
from tests.web.markup import marked as marked_text

pytestmark = [pytest.mark.browser, pytest.mark.slow]

PAGES = (
    "/",
    "/?cell=rear&tag=N%2B1",
    "/?cell=front",
    "/?limit=24&page=1&sort=place",
    "/sheet/BW-01",
    "/sheet/BW-02",
    "/sheet/BW-03.json",
    "/sheet/BW-04",
    "/sheet/BW-01/edit",
    "/sheet/BW-04/edit",
    "/new",
    "/new?again=BW-01",
    "/pending",
    "/lens/Haldane%20240",
    "/lens/Corrin%20150",
    "/film/Marl%20Pan%20100",
    "/batch/B1",
)
# Where somebody who has signed in is shown more.
WRITING = ("/", "/sheet/BW-01", "/sheet/BW-01/edit", "/new", "/pending")
REFUSED = ("/sheet/none", "/film/none", "/nowhere", "/?tag=wrong", "/?since=yesterday&limit=7")
# The page of a sheet that was scanned twice (test_compare.py looks at two scans side by side), and those of an
# archive whose every text is markup or a word without end.
TWICE = ("/sheet/TW-01", "/sheet/TW-04")
MARKED = (
    "/",
    "/sheet/MK-1",
    "/sheet/MK-5",
    "/sheet/MK-1/edit",
    "/pending",
    f"/film/{quote(marked_text('films.name'), safe='')}",
    f"/lens/{quote(marked_text('lenses.name'), safe='')}",
    f"/batch/{quote(marked_text('developments.batch'), safe='')}",
)
DATASETTES = (
    "/negcat",
    "/negcat/sheets",
    "/negcat/sheets?_search=kiln",
    "/negcat/sheet_search",
    "/negcat/sheets/BW-01",
    "/negcat/scans",
    "/negcat/found_readings",
    "/negcat/cells_at_tags",
    "/negcat?sql=select+*+from+sheets",
)


CONTRAST: dict[str, object] = {"resultTypes": ["violations"], "runOnly": ["color-contrast"]}


@pytest.fixture(scope="module")
def signed_in_at(built: Path) -> Iterator[tuple[str, dict[str, str]]]:
    """Where the archive is served, and the sign-in link, which works once."""
    for address, link in serving_to_write(built):
        yield address, {"link": link}


@pytest.fixture(scope="module")
def sign_in(signed_in_at: tuple[str, dict[str, str]], browser: Browser) -> dict[str, object]:
    """What a browser keeps that has opened the sign-in link."""
    context = browser.new_context()
    context.new_page().goto(signed_in_at[1]["link"])
    state = context.storage_state()
    context.close()
    return dict(state)


@pytest.fixture(params=EACH_ONCE[1:], ids=str)
def writer(
    request: pytest.FixtureRequest,
    browser: Browser,
    signed_in_at: tuple[str, object],
    sign_in: dict[str, object],
) -> Iterator[Watched]:
    """A page of somebody who has signed in, on a narrow, dark screen."""
    yield from watched(browser, signed_in_at[0], request.param, storage_state=sign_in)


@pytest.fixture(scope="module")
def twice(scanned_twice: Path) -> Iterator[str]:
    yield from serving(scanned_twice)


@pytest.fixture(scope="module")
def marked(full_of_markup: Path) -> Iterator[str]:
    yield from serving(full_of_markup)


def violations(seen: Watched, path: str, options: dict[str, object] = EVERYTHING) -> list[str]:
    """Open a page with all that can be opened on it open, and ask axe."""
    page = seen.open(path)
    seen.settle()
    height = page.evaluate("window.innerHeight")
    unfold(page)
    found = Axe().run(page, options=options)
    page.set_viewport_size({"width": page.evaluate("window.innerWidth"), "height": height})
    return [
        f"{path}: {violation['id']} ({violation['impact']}): {violation['help']}: {node['html']}"
        for violation in found.response["violations"]
        for node in violation["nodes"]
    ]


def all_of(
    seen: Watched,
    paths: tuple[str, ...],
    status: int | None = 200,
    options: dict[str, object] = EVERYTHING,
) -> list[str]:
    found = []
    for path in paths:
        seen.failed.clear()
        found += violations(seen, path, options)
        refusals = [line for line in seen.failed if line.endswith(path)]
        assert (refusals == []) == (status == 200), (path, refusals)
        assert seen.page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), path
    return found


def test_axe_would_find_something(desk: Watched) -> None:
    desk.open("/")
    desk.page.evaluate("document.querySelector('main input').removeAttribute('id')")
    found = Axe().run(desk.page, options=EVERYTHING)
    assert "label" in {violation["id"] for violation in found.response["violations"]}


@only("seen", NARROW)
def test_axe_finds_nothing_on_any_page(seen: Watched) -> None:
    assert all_of(seen, PAGES) == []


@only("seen", WIDE)
def test_all_can_be_told_apart_in_light_colours_too(seen: Watched) -> None:
    assert all_of(seen, PAGES, options=CONTRAST) == []


@only("seen", WIDE)
def test_axe_finds_nothing_on_what_is_refused(seen: Watched) -> None:
    assert all_of(seen, REFUSED, status=None) == []


def test_axe_finds_nothing_for_who_has_signed_in(writer: Watched) -> None:
    assert all_of(writer, WRITING) == []


@pytest.mark.parametrize("view", EACH_ONCE[1:], ids=str)
def test_axe_finds_nothing_on_a_sheet_of_several_scans(browser: Browser, twice: str, view: View) -> None:
    for seen in watched(browser, twice, view):
        assert all_of(seen, TWICE) == []


@pytest.mark.parametrize("view", EACH_ONCE[:1], ids=str)
def test_axe_finds_nothing_where_texts_are_odd(browser: Browser, marked: str, view: View) -> None:
    for seen in watched(browser, marked, view):
        assert all_of(seen, MARKED) == []


@only("seen", NARROW)
def test_datasettes_pages_have_contrast_and_fit(seen: Watched) -> None:
    found = []
    for path in DATASETTES:
        found += violations(seen, path, CONTRAST)
        assert seen.page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), path
    assert found == []
    assert seen.quiet()
