"""The pages as somebody meets them: in a browser, wide and narrow, light and dark, by pointer and by keyboard."""

import time

import pytest
from axe_playwright_python.sync_playwright import Axe

pytestmark = pytest.mark.browser

OWN = [
    "/",
    "/?cell=rear&tag=N%2B1",
    "/?cell=front",
    "/sheet/BW-01",
    "/sheet/BW-02",
    "/sheet/BW-04",
    "/pending",
]
DATASETTES = ["/negcat", "/negcat/sheets", "/negcat/sheets/BW-01", "/negcat?sql=select+*+from+sheets"]
# Everything axe knows, with the rules of WCAG 2.2 that it leaves off by itself.
EVERYTHING = {"resultTypes": ["violations"], "rules": {"target-size": {"enabled": True}}}


def test_pages_open_in_silence_ask_nobody_else_and_scroll_one_way(seen):
    for path in OWN + DATASETTES:
        page = seen.open(path)
        assert page.locator("h1").count() >= 1
        if path in OWN:
            assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), path
    assert seen.quiet()


def test_axe_finds_nothing(seen):
    for path in [*OWN, "/sheet/none", "/?tag=wrong"]:
        page = seen.open(path)
        page.evaluate("document.querySelectorAll('details').forEach(details => { details.open = true; })")
        found = Axe().run(page, options=EVERYTHING)
        assert found.violations_count == 0, f"{path}: {found.generate_report()}"


def test_greys_are_neutral_and_follow_the_readers_setting(seen):
    page = seen.open("/sheet/BW-01")
    greys = page.evaluate(
        """() => [...document.querySelectorAll("body, .ground, h1, td, figcaption")].flatMap(
            element => [getComputedStyle(element).backgroundColor, getComputedStyle(element).color])"""
    )
    parts = [
        tuple(part.strip() for part in grey.partition("(")[2].rstrip(")").split(",")[:3])
        for grey in set(greys)
    ]
    assert all(len(set(part)) == 1 for part in parts), greys
    paper = page.evaluate("getComputedStyle(document.body).backgroundColor")
    dark = page.evaluate("matchMedia('(prefers-color-scheme: dark)').matches")
    assert (int(paper.partition("(")[2].partition(",")[0]) < 128) == dark


def test_every_picture_shows(seen):
    page = seen.open("/")
    page.mouse.wheel(0, 4000)
    # Asked from outside again and again: the page's own policy forbids Playwright to poll inside it.
    shown = "[...document.images].every(image => image.complete && image.naturalWidth > 0)"
    until = time.monotonic() + 10
    while not page.evaluate(shown):
        assert time.monotonic() < until, "a picture doesn't show"
        page.wait_for_timeout(50)
    assert page.locator(".plate img").count() == 2
    assert seen.quiet()


def test_the_layout_does_not_jump_when_pictures_arrive(desk):
    where = "[...document.querySelectorAll('.plate-id, footer')].map(e => e.getBoundingClientRect().y)"
    before_page = desk.page
    before_page.route("**/preview/**", lambda route: route.abort())
    before = desk.open("/").evaluate(where)
    before_page.unroute("**/preview/**")
    assert desk.open("/").evaluate(where) == before


def test_figures_of_a_column_stand_under_each_other(seen):
    page = seen.open("/sheet/BW-01")
    edges = page.evaluate(
        """() => [1, 2, 4].map(column => {
            const cells = [...document.querySelectorAll(".readings tbody tr")].map(row => row.children[column])
                .filter(cell => cell && cell.matches(".num") && cell.textContent);
            return [...new Set(cells.map(cell => Math.round(cell.getBoundingClientRect().right)))];
        })"""
    )
    assert [len(edge) for edge in edges] == [1, 1, 1]


def test_the_rear_cell_at_n_plus_1_by_keyboard_alone(seen):
    page = seen.open("/")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "To the content"
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.id") == "f-text"
    page.keyboard.press("Tab")
    page.keyboard.type("rear")
    page.keyboard.press("Tab")
    page.keyboard.type("N+1")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    assert page.url == f"{seen.address}/?cell=rear&tag=N%2B1"
    assert page.locator(".plate-id").all_inner_texts() == ["BW-01"]
    page.locator(".plate-link").focus()
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"
    with page.expect_navigation():
        page.keyboard.press("Enter")
    assert page.locator("h1").inner_text() == "BW-01"
    assert seen.quiet()


def test_the_rear_cell_at_n_plus_1_by_pointer(seen):
    page = seen.open("/")
    page.get_by_label("Cell").select_option("rear")
    page.get_by_label("Tag").select_option("N+1")
    with page.expect_navigation():
        page.get_by_role("button", name="Show").first.click()
    assert page.locator(".plate-id").all_inner_texts() == ["BW-01"]
    with page.expect_navigation():
        page.get_by_role("link", name="leave out Tag").click()
    assert page.url == f"{seen.address}/?cell=rear"
    assert seen.quiet()


def test_searching_needs_no_javascript(without_javascript):
    page = without_javascript.open("/")
    page.locator("details.more summary").click()
    page.get_by_label("Place").fill("kiln")
    with page.expect_navigation():
        page.get_by_label("Place").press("Enter")
    assert page.url.endswith("/?place=kiln")
    assert page.locator(".plate-id").count() == 2


def test_markup_in_a_record_runs_nothing_and_shows_as_text(seen):
    page = seen.open("/sheet/BW-02")
    assert "<script>alert(1)</script>" in page.locator(".subject").inner_text()
    assert page.locator("main script:not([src])").count() == 0
    assert seen.quiet()


def test_the_chart_has_a_name_and_a_table_twin(desk):
    page = desk.open("/sheet/BW-01")
    assert page.get_by_role("img", name="Net density against print zone").count() == 1
    page.get_by_text("The chart’s figures").click()
    assert page.get_by_role("row", name="V 0.70", exact=True).is_visible()


def test_datasettes_editor_and_menu_work_under_the_policy(desk):
    page = desk.open("/negcat?sql=select+sheet+from+sheets")
    assert page.locator(".CodeMirror").count() == 1
    page.locator("details.nav-menu summary").click()
    assert page.locator("details.nav-menu a", has_text="Pending").is_visible()
    page.locator("h1").click()
    assert not page.locator("details.nav-menu a", has_text="Pending").is_visible()
    assert desk.quiet()
