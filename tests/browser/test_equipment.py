"""Lens, film and batch as somebody meets them, the way between wall and lens, and what comes out on paper."""

import io
import time
from urllib.parse import quote

import pytest
from axe_playwright_python.sync_playwright import Axe
from pypdf import PdfReader

from tests.browser.conftest import (
    EACH_ONCE,
    EVERYTHING,
    NARROW,
    VIEWS,
    WIDE,
    View,
    only,
    serving,
    watched,
)
from tests.simulation import late_may
from tests.web.worked import BATCH, FILM, LENS, build

pytestmark = pytest.mark.browser

CONVERTIBLE = "Aldwater convertible 195"
OWN = [
    f"/lens/{quote(CONVERTIBLE)}",
    "/lens/Tressick%20150",
    "/film/Sorrel%20100",
    "/film/Marl%20400",
    "/batch/D-62",
]
ODD = [f"/{kind}/{quote(name, safe='')}" for kind, name in (("lens", LENS), ("film", FILM), ("batch", BATCH))]
SHEETS = [entry.sheet for entry in late_may.ALL]
REAR = {entry.sheet for entry in late_may.ALL if entry.cell == "rear"}
OPEN_ALL = "document.querySelectorAll('details').forEach(details => { details.open = true; })"


@pytest.fixture(scope="module")
def served(sample):
    yield from serving(sample)


@pytest.fixture(scope="module")
def odd(tmp_path_factory):
    yield from serving(build(tmp_path_factory.mktemp("odd")))


@pytest.fixture(params=EACH_ONCE, ids=str)
def seen(request, browser, served):
    yield from watched(browser, served, request.param)


@pytest.fixture(params=EACH_ONCE, ids=str)
def strange(request, browser, odd):
    yield from watched(browser, odd, request.param)


@pytest.fixture
def at_desk(browser, served):
    """A wide, dark screen: paper is white whatever the scheme."""
    yield from watched(browser, served, View(1280, "dark"))


def until(page, asked, wanted=True):
    """Ask the page from outside until it says what is wanted: its own policy forbids polling inside it."""
    end = time.monotonic() + 10
    while page.evaluate(asked) != wanted:
        assert time.monotonic() < end, asked
        page.wait_for_timeout(40)


def quiet_and_sound(seen, paths):
    for path in paths:
        page = seen.open(path)
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), path
        page.evaluate(OPEN_ALL)
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), f"{path}, all open"
        found = Axe().run(page, options=EVERYTHING)
        assert found.violations_count == 0, f"{path}: {found.generate_report()}"
    assert seen.quiet()


@only("seen", NARROW)
def test_the_pages_are_quiet_and_keep_nobody_out(seen):
    quiet_and_sound(seen, OWN)


@only("strange", NARROW)
def test_so_they_are_whatever_the_names(strange):
    quiet_and_sound(strange, ODD)


def ids_on_the_wall(page):
    return set(page.locator(".plate-id").all_inner_texts())


@only("seen", NARROW)
def test_by_pointer_from_the_wall_to_a_lens_to_the_rear_cells_sheets(seen):
    page = seen.open("/")
    page.get_by_role("link", name="BW-07", exact=True).click()
    page.locator(".setting").get_by_role("link", name=CONVERTIBLE).click()
    assert page.locator("h1").inner_text() == CONVERTIBLE
    rear = page.locator("article", has=page.get_by_role("heading", name="rear", exact=True))
    assert rear.get_by_text("behind the diaphragm").is_visible()
    rear.get_by_role("link", name=f"{len(REAR)} sheets").click()
    assert ids_on_the_wall(page) == REAR
    page.get_by_role("link", name="about this lens").click()
    assert page.locator("h1").inner_text() == CONVERTIBLE
    assert seen.quiet()


def follow(page, wanted, within=""):
    """Go from link to link by Tab until one that says it is in focus, and follow it."""
    asked = """([wanted, within]) => {
        const here = document.activeElement;
        return here.matches("a") && here.innerText.includes(wanted) &&
            (!within || here.closest("article").querySelector("h3").innerText === within);
    }"""
    for _ in range(250):
        page.keyboard.press("Tab")
        if page.evaluate(asked, [wanted, within]):
            outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
            assert outline != "none", wanted
            with page.expect_navigation():
                page.keyboard.press("Enter")
            return
    raise AssertionError(f"Tab never comes to a link “{wanted}”")


@only("seen", WIDE)
def test_by_keyboard_alone_from_the_wall_to_a_lens_to_the_rear_cells_sheets(seen):
    page = seen.open("/")
    follow(page, "BW-07")
    until(page, "document.getElementById('viewer').dataset.ready === 'yes'")
    follow(page, CONVERTIBLE)
    assert page.locator("h1").inner_text() == CONVERTIBLE
    follow(page, f"{len(REAR)} sheets", within="rear")
    assert ids_on_the_wall(page) == REAR
    assert seen.quiet()


@only("seen", WIDE)
def test_by_keyboard_from_batch_to_batch_to_film_and_its_figures(seen):
    page = seen.open("/batch/D-62")
    follow(page, "D-63")
    assert page.locator("h1").inner_text() == "D-63"
    follow(page, "Sorrel 100")
    assert page.locator("h1").inner_text() == "Sorrel 100"
    summary = page.get_by_text("The figures of N+1")
    summary.focus()
    page.keyboard.press("Enter")
    table = page.locator("details[open] table")
    assert table.locator("tbody tr").count() == 15
    follow(page, "BW-")
    assert page.locator("h1").inner_text().startswith("BW-")
    assert seen.quiet()


# On paper ----------------------------------------------------------------------------------------------------


def printed(page, paper):
    return PdfReader(io.BytesIO(page.pdf(format=paper)))


def test_a_sheet_of_the_sample_is_one_page(browser, served):
    for seen in watched(browser, served, VIEWS[0]):
        # Some of those that are scanned, and of those that wait for the scanner, whose pages are unlike theirs.
        for number, sheet in enumerate((*SHEETS[:24:4], *SHEETS[24::2])):
            page = seen.open(f"/sheet/{sheet}")
            # A sheet that waits to be scanned has no picture.
            until(page, "(document.getElementById('viewer')?.dataset.ready ?? 'yes') === 'yes'")
            # The shorter of the two papers for all, the other for some.
            for paper in ("Letter", "A4") if number % 3 == 0 else ("Letter",):
                assert len(printed(page, paper).pages) == 1, (sheet, paper)
        assert seen.quiet()


def test_a_sheet_on_paper_holds_all_there_is_to_file_and_nothing_to_click(at_desk):
    page = at_desk.open("/sheet/BW-10")
    until(page, "document.getElementById('viewer').dataset.ready === 'yes'")
    (paper,) = printed(page, "A4").pages
    words = " ".join(paper.extract_text().split())
    for wanted in (
        "BW-10",
        "Engine-house window, four panes gone",
        "25 April 2026",
        "Planned, given, found",
        "The ledger",
        "Given beyond plan",
        "On the curve",
        "Development",
        "Ousel",
        "The scan",
        "from step tablet 21",
        "Why",
        "The negative is thin",
        "Printed tones, from the densities",
        "binder 7, sleeve 10",
    ):
        assert wanted in words, wanted
    for unwanted in (
        "Pending",
        "New sheet",
        "Zoom",
        "Printed tones As scanned",
        "History",
        "Edit",
        "JSON",
        "Aperture",
    ):
        assert unwanted not in words, unwanted
    assert len(paper.images) == 1
    page.emulate_media(media="print")
    ground, ink = page.evaluate(
        "[getComputedStyle(document.body).backgroundColor, getComputedStyle(document.body).color]"
    )
    assert (ground, ink) == ("rgb(255, 255, 255)", "rgb(0, 0, 0)")
    shown = page.evaluate(
        """[...document.querySelectorAll("button, input, select, nav a, summary, .glass")].filter(
            element => element.checkVisibility()).length"""
    )
    assert shown == 0
    marks = page.evaluate("document.querySelectorAll('.spots text').length")
    assert marks == 3
    assert page.locator(".spots").is_visible()


def test_the_other_pages_print_black_on_white_and_nothing_runs_off_the_paper(at_desk):
    for path in ["/", "/pending", "/film/Sorrel%20100", f"/lens/{quote(CONVERTIBLE)}", "/batch/D-62"]:
        page = at_desk.open(path)
        pages = printed(page, "A4").pages
        # A film has its tests' curves and their tables, too.
        assert 1 <= len(pages) <= (4 if "/film/" in path else 3), path
        words = " ".join(" ".join(paper.extract_text() for paper in pages).split())
        assert "New sheet" not in words
        assert "JSON" not in words
        page.set_viewport_size({"width": 710, "height": 1000})
        page.emulate_media(media="print")
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), path
        colours = page.evaluate(
            """[...new Set([...document.querySelectorAll("body, h1, a, td, dd, p, text")].map(
                element => getComputedStyle(element)[element.tagName === "text" ? "fill" : "color"]))]"""
        )
        assert set(colours) <= {"rgb(0, 0, 0)", "rgb(51, 51, 51)"}, (path, colours)
        assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
        page.emulate_media(media="null")
        page.set_viewport_size({"width": 1280, "height": 860})
    assert at_desk.quiet()


def test_a_batch_on_paper_bears_its_caution_and_its_pictures(at_desk):
    page = at_desk.open("/batch/D-62")
    pages = printed(page, "Letter").pages
    words = " ".join(" ".join(paper.extract_text() for paper in pages).split())
    assert "safety data sheet" in words
    assert sum(len(paper.images) for paper in pages) == 5
