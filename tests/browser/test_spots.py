"""Spots moved on the glass by pointer, finger and keyboard, with what would be found there, and set."""

import re
from collections.abc import Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from negcat.work.archive import Archive
from negcat.work.show import dossier
from tests.browser.conftest import (
    EACH_ONCE,
    EVERYTHING,
    NARROW,
    WIDE,
    View,
    Watched,
    Writable,
    only,
    watched,
)
from tests.browser.test_viewer import on_screen, ready

pytestmark = pytest.mark.browser

# Places in BW-01's scan: textured shadow left, highlight right; and in the midst of each, where the spots lie.
SHADOW, HIGHLIGHT = (0.3, 0.4), (0.7, 0.4)
SOOT, SKY = (0.3, 0.5), (0.7, 0.5)


@pytest.fixture(params=EACH_ONCE, ids=str)
def reader(request: pytest.FixtureRequest, browser: Browser, address: str) -> Iterator[Watched]:
    """The sheet page with the spots' form open, for somebody who only reads."""
    for seen in watched(browser, address, request.param):
        unfold(seen)
        yield seen


def unfold(seen: Watched) -> Page:
    page = ready(seen, "/sheet/BW-01")
    page.get_by_text("Set or move the spots").click()
    return page


def row(page: Page, place: int):
    return page.locator(".spot-row").nth(place)


def verdict(page: Page) -> str:
    return page.locator(".finding .verdict").inner_text()


def test_the_pointer_puts_a_spot_and_all_figures_follow(reader):
    page = reader.page
    before = verdict(page)
    expect(row(page, 0).locator(".spot-found")).to_contain_text("0.42")
    page.mouse.click(*on_screen(page, *HIGHLIGHT))
    expect(row(page, 0).locator(".spot-found")).to_contain_text("1.30")
    expect(row(page, 0).locator(".spot-found")).to_contain_text("As kept: 0.42")
    assert float(row(page, 0).get_by_label("From the left").input_value()) == pytest.approx(70, abs=0.6)
    found = page.locator(".readings tbody").nth(0).locator("tr.found")
    expect(found).to_contain_text("1.30")
    assert verdict(page) != before
    expect(page.locator(".spot-verdict")).to_contain_text(f"as kept: {before}")
    # Said once it is at rest.
    expect(page.locator("#spots [role=status]")).to_contain_text("1.30")
    page.get_by_role("link", name="Put back").click()
    expect(found).to_contain_text("0.42")
    assert verdict(page) == before
    expect(page.locator(".spot-verdict")).to_have_text("")
    assert row(page, 0).get_by_label("From the left").input_value() == "30"
    assert reader.quiet()


@only("reader", WIDE)
def test_a_spot_is_dragged_and_a_click_on_one_only_chooses_it(reader):
    page = reader.page
    x, y = on_screen(page, *SKY)
    page.mouse.click(x, y + 1)
    # The second reading's spot lies there already: it is chosen, and nothing moves.
    expect(row(page, 1).get_by_role("radio")).to_be_checked()
    page.wait_for_timeout(300)
    assert row(page, 1).get_by_label("From the left").input_value() == "70"
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x - 30, y + 20, steps=4)
    page.mouse.move(*on_screen(page, *SHADOW), steps=6)
    page.mouse.up()
    expect(row(page, 1).locator(".spot-found")).to_contain_text("0.42")
    assert float(row(page, 1).get_by_label("From the left").input_value()) == pytest.approx(30, abs=0.6)
    assert reader.quiet()


@only("reader", WIDE)
def test_the_keyboard_alone_moves_resizes_and_takes_back(reader):
    page = reader.page
    row(page, 1).get_by_role("radio").focus()
    page.keyboard.press("Space")
    page.locator(".glass").focus()
    left, top = (row(page, 1).get_by_label(label) for label in ("From the left", "From the top"))
    for _ in range(3):
        page.keyboard.press("ArrowLeft")
    page.keyboard.press("ArrowDown")
    assert float(left.input_value()) < 70
    assert float(top.input_value()) > 50
    page.keyboard.press("]")
    assert row(page, 1).get_by_label("Diameter").input_value() == "3"
    expect(page.locator(".spot-verdict")).to_contain_text("Tried, not kept")
    page.keyboard.press("Escape")
    assert (left.input_value(), top.input_value()) == ("70", "50")
    expect(page.locator(".spot-verdict")).to_have_text("")
    # Where none is set, Enter puts one into the middle of what is seen.
    row(page, 2).get_by_role("radio").check()
    page.locator(".glass").focus()
    page.keyboard.press("Enter")
    assert float(row(page, 2).get_by_label("From the left").input_value()) == pytest.approx(50, abs=0.5)
    page.keyboard.press("Escape")
    # In the fields the same by numbers.
    left.fill("30,5")
    expect(row(page, 1).locator(".spot-found")).to_contain_text("0.42")
    assert reader.quiet()


@only("reader", NARROW)
def test_what_cant_be_is_said_and_the_form_closed_leaves_the_probe(reader):
    page = reader.page
    row(page, 0).get_by_label("From the left").fill("140")
    expect(page.get_by_role("alert")).to_contain_text("outside the scan")
    row(page, 0).get_by_label("From the left").fill("30")
    expect(page.locator(".spot-fault")).to_have_text("")
    assert Axe().run(page, options=EVERYTHING).response["violations"] == []
    page.get_by_text("Set or move the spots").click()
    page.mouse.click(*on_screen(page, *HIGHLIGHT))
    expect(page.locator("[data-shows=net_text]")).to_contain_text("1.30")
    assert row(page, 0).get_by_label("From the left").input_value() == "30"
    assert reader.quiet()


def test_a_finger_drags_a_spot_and_taps_one_into_place(browser, address):
    for seen in watched(browser, address, View(390, "light")):
        page = unfold(seen)
        page.locator(".glass").scroll_into_view_if_needed()
        page.touchscreen.tap(*on_screen(page, *SKY))
        expect(row(page, 1).get_by_role("radio")).to_be_checked()
        page.touchscreen.tap(*on_screen(page, *SOOT))
        expect(row(page, 0).get_by_role("radio")).to_be_checked()
        page.touchscreen.tap(*on_screen(page, 0.45, 0.6))
        expect(page.locator(".spot-verdict")).to_contain_text("Tried, not kept")
        assert float(row(page, 0).get_by_label("From the left").input_value()) == pytest.approx(45, abs=0.6)
        # A finger that drags: the browser's own events, as Chromium makes them.
        session = page.context.new_cdp_session(page)
        start, end = on_screen(page, *SKY), on_screen(page, *SHADOW)
        places = [
            (start[0] + (end[0] - start[0]) * step / 5, start[1] + (end[1] - start[1]) * step / 5)
            for step in range(6)
        ]
        for step, (x, y) in enumerate(places):
            kind = "touchStart" if step == 0 else "touchMove"
            session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [{"x": x, "y": y}]})
        session.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
        expect(row(page, 1).locator(".spot-found")).to_contain_text("0.42")
        assert seen.quiet()


@pytest.fixture(params=[View(1280, "dark")], ids=str)
def writer(request: pytest.FixtureRequest, browser: Browser, writable: Writable) -> Iterator[Watched]:
    yield from watched(browser, writable.address, request.param, storage_state=writable.state)


def known(writable: Writable) -> dict:
    with Archive.open(writable.root, readonly=True) as archive:
        return dossier(archive, "BW-01")


def test_what_was_tried_is_set_and_found_again(writer, writable):
    page = unfold(writer)
    page.mouse.click(*on_screen(page, *SKY))
    # From the highlight into the shadow.
    page.locator(".glass").focus()
    row(page, 1).get_by_label("From the left").fill("31")
    expect(row(page, 1).locator(".spot-found")).to_contain_text("0.42")
    before = known(writable)
    tried = page.locator(".readings").inner_text()
    page.get_by_role("button", name="Save and measure").click()
    page.wait_for_url(re.compile("/sheet/BW-01$"))
    expect(page.locator(".spot-verdict")).to_have_text("")
    assert page.locator(".readings").inner_text() == tried
    after = known(writable)
    assert after["readings"][1]["spot"]["x"] == 0.31
    assert len(after["history"]) == len(before["history"]) + 1
    assert writer.quiet()


def test_without_scripts_the_form_tries_and_sets(browser, writable):
    view = View(390, "light")
    for seen in watched(
        browser, writable.address, view, storage_state=writable.state, java_script_enabled=False
    ):
        page = seen.open("/sheet/BW-01")
        page.get_by_text("Set or move the spots").click()
        row(page, 0).get_by_label("From the left").fill("70")
        page.get_by_role("button", name="Try").click()
        expect(page.locator(".spot-verdict")).to_contain_text("Tried, not kept")
        expect(row(page, 0).locator(".spot-found")).to_contain_text("1.30")
        assert known(writable)["readings"][0]["spot"]["x"] == 0.3
        page.get_by_role("button", name="Save and measure").click()
        expect(page.locator(".readings")).to_contain_text("1.30")
        assert known(writable)["readings"][0]["spot"]["x"] == 0.7
        assert seen.quiet()
