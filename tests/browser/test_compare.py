"""Two scans of one sheet side by side: moved together, probed together, by pointer and by keyboard."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import (
    EACH_ONCE,
    EVERYTHING,
    NARROW,
    WIDE,
    View,
    Watched,
    only,
    serving,
    watched,
)

pytestmark = pytest.mark.browser

SOOT, SKY = (0.3, 0.4), (0.7, 0.6)


@pytest.fixture(scope="module")
def twice(scanned_twice: Path) -> Iterator[str]:
    """Where the archive of sheets scanned twice is served."""
    yield from serving(scanned_twice)


@pytest.fixture(params=EACH_ONCE, ids=str)
def seen(request: pytest.FixtureRequest, browser: Browser, twice: str) -> Iterator[Watched]:
    yield from watched(browser, twice, request.param)


@pytest.fixture
def pair(seen: Watched) -> Watched:
    """TW-01 under two glasses: the second scan is mirrored and on its side."""
    return ready(seen, "/sheet/TW-01/compare")


def ready(seen: Watched, path: str) -> Watched:
    page = seen.open(path)
    page.locator("#comparing[data-ready=yes]").wait_for()
    seen.settle()
    return seen


def at(page: Page, which: int, x: float, y: float) -> tuple[float, float]:
    """Where a place of the first scan, seen whole, is in the window on either glass: both show it alike."""
    page.locator(".glass").nth(which).scroll_into_view_if_needed()
    box = page.locator(".glass").nth(which).bounding_box()
    assert box is not None
    width = min(box["width"], box["height"] * 1040 / 840)
    height = width * 840 / 1040
    return box["x"] + (box["width"] - width) / 2 + x * width, box["y"] + (
        box["height"] - height
    ) / 2 + y * height


def shows(page: Page, name: str):
    return page.locator(f"[data-shows={name}]")


def crosses(page: Page) -> list[tuple[float, float]]:
    """Where the cross stands on each glass, in parts of the glass."""
    return [
        tuple(place)
        for place in page.locator(".glass").evaluate_all(
            """glasses => glasses.map(glass => {
                const box = glass.getBoundingClientRect();
                const cross = glass.querySelector(".glass-cross");
                if (!cross) return [null, null];
                const its = cross.getBoundingClientRect();
                return [(its.x + its.width / 2 - box.x) / box.width, (its.y + its.height / 2 - box.y) / box.height];
            })"""
        )
    ]


def mean_tones(page: Page) -> list[list[float]]:
    """The picture on each glass in 15 × 12 fields: what is drawn there, as the eye gets it."""
    fields = []
    for which in range(2):
        glass = page.locator(".glass").nth(which)
        glass.scroll_into_view_if_needed()
        fields.append(
            glass.evaluate(
                """glass => {
                    const box = glass.getBoundingClientRect(), sums = Array(180).fill(0), counts = Array(180).fill(0);
                    for (const canvas of glass.querySelectorAll("canvas")) {
                        const its = canvas.getBoundingClientRect();
                        const data = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data;
                        for (let y = 0; y < canvas.height; y += 2) for (let x = 0; x < canvas.width; x += 2) {
                            const n = 4 * (y * canvas.width + x);
                            if (!data[n + 3]) continue;
                            const u = (its.x + (x + .5) * its.width / canvas.width - box.x) / box.width;
                            const v = (its.y + (y + .5) * its.height / canvas.height - box.y) / box.height;
                            if (u < 0 || u >= 1 || v < 0 || v >= 1) continue;
                            const field = Math.floor(u * 15) + 15 * Math.floor(v * 12);
                            sums[field] += data[n + 1]; counts[field] += 1;
                        }
                    }
                    return sums.map((sum, n) => sum / counts[n]);
                }"""
            )
        )
    return fields


def alike(page: Page) -> bool:
    """Whether both glasses show the same detail in the same places; the dark surround aside, which says nothing."""
    one, other = (np.array(field).reshape(12, 15)[2:-2, 2:-2] for field in mean_tones(page))
    assert one.std() > 3, "the picture has no detail to tell places by"
    return float(np.corrcoef(one.ravel(), other.ravel())[0, 1]) > 0.9


@only("seen", WIDE)
def test_a_mirrored_scan_on_its_side_is_shown_as_the_first_lies(pair):
    page = pair.page
    assert alike(page)
    expect(page.locator(".laid")).to_contain_text("mirrored and turned by")
    letters = page.locator(".glass-letter")
    assert letters.all_inner_texts() == ["a", "b"] * 2
    wide = page.locator(".glass").nth(1).bounding_box(), page.locator(".glass").first.bounding_box()
    for number in range(2):
        here, there = letters.nth(number).bounding_box(), letters.nth(number + 2).bounding_box()
        for side in ("x", "y"):
            apart = wide[0][side] - wide[1][side]
            assert there[side] - here[side] == pytest.approx(apart, abs=2)
    assert not page.locator(".plain-picture").first.is_visible()
    assert pair.quiet()


def test_they_stand_side_by_side_or_one_above_the_other(pair):
    page = pair.page
    one, other = (page.locator(".glass").nth(which).bounding_box() for which in range(2))
    if page.viewport_size["width"] > 1000:
        assert (one["y"], one["height"]) == pytest.approx((other["y"], other["height"]), abs=0.5)
        assert other["x"] > one["x"] + one["width"]
    else:
        assert one["x"] == other["x"]
        assert other["y"] > one["y"] + one["height"]
        assert one["height"] + other["height"] < page.viewport_size["height"]
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


@pytest.mark.parametrize("which", [0, 1])
def test_the_pointer_on_either_probes_both(pair, which):
    page = pair.page
    page.mouse.move(*at(page, which, *SKY))
    expect(shows(page, "a_text")).to_contain_text("1.20 ±")
    expect(shows(page, "b_text")).to_contain_text("1.35 ±")
    expect(shows(page, "difference_text")).to_contain_text("+0.15 ±")
    expect(shows(page, "verdict_text")).to_have_text("more than is allowed")
    here, there = crosses(page)
    assert here == pytest.approx(there, abs=0.01)
    page.mouse.move(*at(page, which, *SOOT))
    expect(shows(page, "a_text")).to_contain_text("0.50 ±")
    expect(shows(page, "verdict_text")).to_have_text("within what is allowed")
    expect(page.get_by_role("status")).to_contain_text("First scan 0.50")
    assert pair.quiet()


@only("seen", NARROW)
def test_they_are_moved_and_zoomed_together_from_either(pair):
    page = pair.page
    glasses = page.locator(".glass")
    page.get_by_role("button", name="Zoom in").click()
    page.get_by_role("button", name="Zoom in").click()
    page.wait_for_load_state("networkidle")
    page.wait_for_timeout(200)
    assert alike(page)
    before = mean_tones(page)
    for which in (1, 0):
        glasses.nth(which).focus()
        page.keyboard.press("Shift+ArrowLeft")
        page.keyboard.press("Shift+ArrowUp")
        page.wait_for_load_state("networkidle")
        page.wait_for_timeout(200)
        assert alike(page), which
        assert mean_tones(page) != before
        before = mean_tones(page)
    box = glasses.nth(1).bounding_box()
    glasses.nth(1).scroll_into_view_if_needed()
    box = glasses.nth(1).bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] / 2 - 60, box["y"] + box["height"] / 2 - 30, steps=4)
    page.mouse.up()
    page.wait_for_load_state("networkidle")
    page.wait_for_timeout(200)
    assert alike(page)
    assert mean_tones(page) != before
    page.get_by_role("button", name="Whole").click()
    page.wait_for_load_state("networkidle")
    assert alike(page)
    assert pair.quiet()


@only("seen", WIDE)
def test_the_keyboard_alone(pair):
    page = pair.page
    page.locator("input[name=way]:checked").focus()
    reached = []
    for _ in range(12):
        page.keyboard.press("Tab")
        reached.append(
            page.evaluate("[...document.querySelectorAll('.glass')].indexOf(document.activeElement)")
        )
        if reached[-1] == 1:
            break
    assert 0 in reached
    assert reached[-1] == 1
    # On the second glass right is right as it is seen, though its scan lies on its side.
    page.keyboard.press("ArrowRight")
    middle = crosses(page)
    for _ in range(5):
        page.keyboard.press("ArrowRight")
    here, there = crosses(page)
    assert there[0] > middle[1][0] + 0.05
    assert there[1] == pytest.approx(middle[1][1], abs=0.01)
    assert here == pytest.approx(there, abs=0.01)
    expect(shows(page, "difference_text")).to_contain_text("±")
    expect(page.get_by_role("status")).to_contain_text("difference")
    page.keyboard.press("3")
    assert page.locator("input[value=zones]").is_checked()
    assert page.locator(".glass").evaluate_all("glasses => glasses.map(g => g.dataset.way)") == [
        "zones",
        "zones",
    ]
    page.keyboard.press("+")
    first, second = (
        float(page.locator(".glass").nth(which).get_attribute("data-zoom")) for which in range(2)
    )
    assert first == pytest.approx(second, abs=0.05)
    page.keyboard.press("0")
    page.keyboard.press("1")
    page.wait_for_load_state("networkidle")
    page.wait_for_timeout(200)
    assert alike(page)
    assert pair.quiet()


@only("seen", NARROW)
def test_seen_by_zone_the_legend_says_which_colour_is_which(pair):
    page = pair.page
    legend = page.locator(".zone-legend")
    assert legend.is_hidden()
    page.get_by_label("By zone").check()
    items = legend.locator("li")
    assert items.count() == 12
    assert items.nth(3).inner_text().split() == ["III", "textured", "shadow"]
    assert items.last.inner_text() == "no known density"
    colours = legend.locator("i").evaluate_all(
        "swatches => swatches.slice(0, 11).map(swatch => getComputedStyle(swatch).backgroundColor)"
    )
    assert len(set(colours)) == 11
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    page.get_by_label("Printed tones").check()
    assert legend.is_hidden()
    assert pair.quiet()


@only("seen", WIDE)
def test_the_table_says_which_difference_is_allowed(pair):
    table = pair.page.locator("table.compared")
    soot, sky = table.locator("tr.difference").all_inner_texts()
    assert "within what is allowed" in soot
    assert "more than is allowed" in sky
    assert "+0.15" in sky
    edges = table.locator("tbody td.num").evaluate_all(
        "cells => [...new Set(cells.map(cell => Math.round(cell.getBoundingClientRect().right)))]"
    )
    assert len(edges) == 1


@pytest.mark.parametrize(
    ("sheet", "view"), [("TW-01", EACH_ONCE[0]), ("TW-03", EACH_ONCE[1]), ("TW-04", EACH_ONCE[1])], ids=str
)
def test_axe_finds_nothing(browser, twice, sheet, view):
    for seen in watched(browser, twice, view):
        page = ready(seen, f"/sheet/{sheet}/compare").page
        page.mouse.move(*at(page, 0, *SKY))
        page.wait_for_timeout(200)
        found = Axe().run(page, options=EVERYTHING)
        assert found.violations_count == 0, found.generate_report()
        assert seen.quiet()


def test_a_finer_scan_without_a_profile_moves_along_and_says_why_it_has_no_density(browser, twice):
    for seen in watched(browser, twice, View(1280, "light")):
        page = ready(seen, "/sheet/TW-03/compare").page
        reasons = page.locator(".two-glasses .viewer-reason").all_inner_texts()
        assert len(reasons) == 1
        assert "no densities" in reasons[0]
        page.get_by_label("As scanned").check()
        page.wait_for_timeout(250)
        assert alike(page)
        page.mouse.move(*at(page, 0, *SKY))
        expect(page.locator(".probe-note")).to_contain_text("no densities")
        expect(page.locator("[data-shows=difference_text]")).to_have_text("–")
        assert seen.quiet()


def test_choosing_other_scans_needs_no_script(browser, twice):
    for seen in watched(browser, twice, View(390, "light"), java_script_enabled=False):
        page = seen.open("/sheet/TW-04")
        links = page.get_by_role("navigation", name="Scans of this sheet").get_by_role("link")
        assert links.count() == 4
        links.nth(2).click()
        assert "?scan=" in page.url
        page.get_by_role("link", name="Compare two scans").click()
        assert page.locator(".plain-picture").count() == 2
        assert page.locator(".plain-picture").first.is_visible()
        assert not page.locator(".glass").first.is_visible()
        assert not page.get_by_role("button", name="Zoom in").is_visible()
        assert page.locator("table.compared tr.difference").count() == 2
        form = page.get_by_role("form", name="Scans to compare")
        options = form.get_by_label("Second scan").locator("option")
        assert len(set(options.all_inner_texts())) == 3  # each told from the others
        values = [option.get_attribute("value") for option in options.all()]
        chosen = form.get_by_label("First scan").input_value()
        other = next(v for v in values if v not in (chosen, form.get_by_label("Second scan").input_value()))
        form.get_by_label("Second scan").select_option(other)
        page.get_by_role("button", name="Compare").click()
        assert page.url.endswith(f"/sheet/TW-04/compare?a={chosen}&b={other}")
        assert seen.quiet()
