"""The negative under the glass, by pointer and by keyboard, in a wide and in a narrow window."""

from collections.abc import Iterator

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
    watched,
)

pytestmark = pytest.mark.browser

# Places in BW-01's scan: textured shadow left, highlight right; the rebate is the outer frame.
SHADOW, HIGHLIGHT = (0.3, 0.4), (0.7, 0.4)


@pytest.fixture(params=EACH_ONCE, ids=str)
def glass(request: pytest.FixtureRequest, browser: Browser, address: str) -> Iterator[Watched]:
    """A measured sheet with its viewer ready."""
    for seen in watched(browser, address, request.param):
        ready(seen, "/sheet/BW-01")
        yield seen


def ready(seen: Watched, path: str) -> Page:
    page = seen.open(path)
    page.locator("#viewer[data-ready=yes]").wait_for()
    seen.settle()
    return page


def on_screen(page: Page, x: float, y: float) -> tuple[float, float]:
    """Where a place of the picture is in the window, seen whole."""
    box = page.locator(".glass").bounding_box()
    assert box is not None
    width = min(box["width"], box["height"] * 1040 / 840)
    height = width * 840 / 1040
    left, top = box["x"] + (box["width"] - width) / 2, box["y"] + (box["height"] - height) / 2
    return left + x * width, top + y * height


def colour_at(page: Page, x: float, y: float) -> list[int]:
    """The colour drawn at a place of the picture, as it stands on the canvases now."""
    place = on_screen(page, x, y)
    return page.evaluate(
        """([x, y]) => {
            for (const canvas of document.querySelectorAll(".glass canvas")) {
                const box = canvas.getBoundingClientRect();
                const across = (x - box.x) / box.width, down = (y - box.y) / box.height;
                if (across < 0 || across >= 1 || down < 0 || down >= 1) continue;
                const context = canvas.getContext("2d", { willReadFrequently: true });
                const place = [Math.floor(across * canvas.width), Math.floor(down * canvas.height)];
                const colour = [...context.getImageData(...place, 1, 1).data];
                if (colour[3]) return colour.slice(0, 3);
            }
            return null;
        }""",
        list(place),
    )


def shows(page: Page, name: str) -> str:
    return page.locator(f"[data-shows={name}]").inner_text()


def choose(page: Page, way: str) -> None:
    page.get_by_label({"scanned": "As scanned", "printed": "Printed tones", "zones": "By zone"}[way]).check()
    page.wait_for_timeout(250)


def test_the_pointer_probes_the_master(glass):
    page = glass.page
    page.mouse.move(*on_screen(page, *SHADOW))
    expect(page.locator("[data-shows=net_text]")).to_contain_text("0.42 ±")
    expect(page.locator("[data-shows=zone_text]")).to_contain_text("textured shadow")
    page.mouse.move(*on_screen(page, *HIGHLIGHT))
    expect(page.locator("[data-shows=net_text]")).to_contain_text("1.30 ±")
    assert "1.42 ±" in shows(page, "density_text")
    # It is said once the pointer rests, and only then.
    expect(page.get_by_role("status")).to_contain_text("1.30 ± 0.0")
    assert glass.quiet()


def test_a_tap_probes_and_outside_the_range_it_says_so(glass):
    page = glass.page
    page.mouse.click(*on_screen(page, 0.005, 0.5))
    expect(page.locator(".probe-note")).to_contain_text("reaches beyond the scan's edge")
    page.get_by_label("Aperture").select_option("0.5 mm")
    expect(page.locator(".probe-note")).to_contain_text("Clearer than")
    assert shows(page, "net_text") == "–"
    assert glass.quiet()


@only("glass", WIDE)
def test_three_ways_of_seeing_at_once_and_at_any_zoom(glass):
    page = glass.page
    sent = []
    page.on("request", lambda request: sent.append(request.url))
    seen = {}
    for way in ("scanned", "printed", "zones"):
        choose(page, way)
        seen[way] = [colour_at(page, *place) for place in (SHADOW, HIGHLIGHT)]
    # Switching draws on the tiles that are there and asks for nothing.
    assert sent == []
    # The negative: more density, less light. The print: the other way round. Both neutral.
    (shadow, highlight) = seen["scanned"]
    assert shadow[0] > highlight[0] + 40
    (shadow, highlight) = seen["printed"]
    assert shadow[0] + 60 < highlight[0]
    for way in ("scanned", "printed"):
        assert all(max(colour) - min(colour) <= 2 for colour in seen[way])
    legend = page.evaluate(
        "[...document.querySelectorAll('.zone-legend i')].map(i => getComputedStyle(i).backgroundColor)"
    )
    assert "rgb({}, {}, {})".format(*seen["zones"][0]) == legend[3]
    assert "rgb({}, {}, {})".format(*seen["zones"][1]) == legend[8]
    for _ in range(2):
        page.get_by_role("button", name="Zoom in").click()
    page.wait_for_load_state("networkidle")
    choose(page, "printed")
    drawn = page.evaluate(
        """[...document.querySelectorAll(".glass canvas")].flatMap(canvas => [...canvas.getContext("2d")
            .getImageData(0, 0, canvas.width, canvas.height).data].filter((_, n) => n % 4 === 0))
            .reduce((most, value) => Math.max(most, value), 0)"""
    )
    assert drawn > 150
    assert glass.quiet()


@only("glass", NARROW)
def test_the_legend_names_every_zone_and_the_probe_points_at_it(glass):
    page = glass.page
    assert not page.locator(".zone-legend").is_visible()
    strip = "[...document.querySelectorAll('.zone-strip i')].map(i => getComputedStyle(i).backgroundColor)"
    greys = page.evaluate(strip)
    where = page.locator(".glass").bounding_box()
    choose(page, "zones")
    assert page.locator(".glass").bounding_box() == where
    assert page.locator(".zone-strip").inner_text().split()[:4] == ["0", "I", "II", "III"]
    colours = page.evaluate(strip)
    assert len(set(greys)) == len(set(colours)) == 11
    assert set(greys).isdisjoint(colours)
    entries = page.locator(".zone-legend li").all_inner_texts()
    assert [entry.split()[0] for entry in entries[:4]] == ["0", "I", "II", "III"]
    assert entries[3].endswith("textured shadow")
    assert "no known density" in entries[-1]
    page.mouse.move(*on_screen(page, *SHADOW))
    expect(page.locator(".zone-legend li.here")).to_contain_text("textured shadow")
    expect(page.locator(".zone-strip .here")).to_have_text("III")
    assert glass.quiet()


@only("glass", WIDE)
def test_the_keyboard_alone_does_all_of_it(glass):
    page = glass.page
    page.locator("input[name=way]:checked").focus()
    page.keyboard.press("ArrowRight")
    assert page.locator("input[value=zones]").is_checked()
    picture = page.locator(".glass")
    for _ in range(12):
        page.keyboard.press("Tab")
        if picture.evaluate("glass => glass === document.activeElement"):
            break
    assert picture.evaluate("glass => glass === document.activeElement && glass.matches(':focus-visible')")
    page.keyboard.press("1")
    assert page.locator("input[value=scanned]").is_checked()
    page.keyboard.press("2")
    assert page.locator("input[value=printed]").is_checked()
    # The cross starts in the middle and goes left into the shadow.
    for _ in range(4):
        page.keyboard.press("ArrowLeft")
    expect(page.locator("[data-shows=net_text]")).to_contain_text("0.42 ±")
    for _ in range(9):
        page.keyboard.press("ArrowRight")
    expect(page.locator("[data-shows=net_text]")).to_contain_text("1.30 ±")
    expect(page.get_by_role("status")).to_contain_text("above base+fog")
    whole = float(picture.get_attribute("data-zoom"))
    cross = page.locator(".glass-cross")
    before = cross.bounding_box()
    page.keyboard.press("+")
    page.keyboard.press("+")
    assert float(picture.get_attribute("data-zoom")) == pytest.approx(whole + 2, abs=0.02)
    # Zooming holds on to the cross; with Shift the arrows move the picture under it.
    after = cross.bounding_box()
    assert after["x"] == pytest.approx(before["x"], abs=3)
    page.keyboard.press("Shift+ArrowLeft")
    assert cross.bounding_box()["x"] > after["x"] + 40
    page.keyboard.press("-")
    assert float(picture.get_attribute("data-zoom")) == pytest.approx(whole + 1, abs=0.02)
    page.keyboard.press("0")
    assert float(picture.get_attribute("data-zoom")) == pytest.approx(whole, abs=0.02)
    page.wait_for_load_state("networkidle")
    assert glass.quiet()


@only("glass", NARROW)
def test_the_cross_never_leaves_the_view(glass):
    page = glass.page
    page.locator(".glass").focus()
    page.keyboard.press("+")
    page.keyboard.press("+")
    for _ in range(130):
        page.keyboard.press("ArrowRight")
    box, cross = page.locator(".glass").bounding_box(), page.locator(".glass-cross").bounding_box()
    middle = cross["x"] + cross["width"] / 2
    assert box["x"] - 1 <= middle <= box["x"] + box["width"] + 1
    # The picture's own edge holds it.
    expect(page.locator(".probe-note")).to_contain_text("reaches beyond the scan's edge")
    page.wait_for_load_state("networkidle")
    assert glass.quiet()


@only("glass", NARROW)
def test_marks_can_be_taken_off(glass):
    page = glass.page
    marks = page.get_by_role("button", name="Marks")
    assert marks.get_attribute("aria-pressed") == "true"
    assert page.locator(".glass-letter").all_inner_texts() == ["a", "b"]
    assert page.locator(".glass path.leaflet-interactive").count() == 0
    drawn = page.locator(".glass path").count()
    assert drawn == 2 * 3  # two spots and the frame, each light upon dark
    marks.click()
    assert (marks.get_attribute("aria-pressed"), page.locator(".glass path").count()) == ("false", 0)
    marks.click()
    assert page.locator(".glass path").count() == drawn
    assert glass.quiet()


def test_the_spots_lie_where_they_were_measured(glass):
    page = glass.page
    rings = page.locator(".glass path").evaluate_all(
        """paths => paths.map(path => path.getBoundingClientRect())
            .map(box => [box.x + box.width / 2, box.y + box.height / 2, box.width])"""
    )
    for place in ((0.3, 0.5), (0.7, 0.5)):
        x, y = on_screen(page, *place)
        assert any(abs(ring[0] - x) < 2 and abs(ring[1] - y) < 2 and ring[2] < 60 for ring in rings), place


def test_the_wheel_zooms_only_a_picture_in_hand(browser, address):
    for seen in watched(browser, address, View(1280, "light")):
        page = ready(seen, "/sheet/BW-01")
        whole = page.locator(".glass").get_attribute("data-zoom")
        page.mouse.move(*on_screen(page, 0.5, 0.3))
        page.mouse.wheel(0, 300)
        page.wait_for_timeout(300)
        assert page.locator(".glass").get_attribute("data-zoom") == whole
        assert page.evaluate("window.scrollY") > 100
        page.evaluate("window.scrollTo(0, 0)")
        page.mouse.click(*on_screen(page, 0.5, 0.3))
        page.mouse.wheel(0, -300)
        page.wait_for_timeout(400)
        assert float(page.locator(".glass").get_attribute("data-zoom")) > float(whole) + 0.5
        assert page.evaluate("window.scrollY") == 0
        page.wait_for_load_state("networkidle")
        assert seen.quiet()


def test_axe_finds_nothing_in_any_way_of_seeing(glass):
    page = glass.page
    for way in ("scanned", "printed", "zones"):
        choose(page, way)
        page.mouse.move(*on_screen(page, *HIGHLIGHT))
        page.wait_for_timeout(200)
        found = Axe().run(page, options=EVERYTHING)
        assert found.violations_count == 0, f"{way}: {found.generate_report()}"


def test_it_fits_and_the_reading_stands_beside_the_picture(glass):
    page = glass.page
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    small = page.evaluate(
        """[...document.querySelectorAll(".viewer button, .ways label, .aperture select")]
            .map(e => e.getBoundingClientRect()).filter(box => box.width < 24 || box.height < 24).length"""
    )
    assert small == 0
    # Whoever moves the pointer over the picture sees what the probe says without scrolling.
    box, probe = page.locator(".glass").bounding_box(), page.locator(".probe").bounding_box()
    assert 0 <= box["y"] - (probe["y"] + probe["height"]) < 60
    assert box["height"] < 0.75 * page.viewport_size["height"]


def test_a_phone_scrolls_the_page_over_a_whole_picture(browser, address):
    for seen in watched(browser, address, View(390, "light")):
        page = ready(seen, "/sheet/BW-01")
        action = "getComputedStyle(document.querySelector('.glass')).touchAction"
        assert "pan-y" in page.evaluate(action)
        page.get_by_role("button", name="Zoom in").click()
        assert page.evaluate(action) == "none"
        page.get_by_role("button", name="Whole").click()
        assert "pan-y" in page.evaluate(action)


def test_fine_screens_get_fine_tiles(browser, address):
    for seen in watched(browser, address, View(390, "light"), device_scale_factor=2):
        page = ready(seen, "/sheet/BW-01")
        assert page.evaluate(
            """[...document.querySelectorAll(".glass canvas")].every(
                canvas => canvas.getBoundingClientRect().width < canvas.width)"""
        )
        assert colour_at(page, *SHADOW)[0] + 60 < colour_at(page, *HIGHLIGHT)[0]
        assert seen.quiet()


def test_without_javascript_the_picture_stays(without_javascript):
    page = without_javascript.open("/sheet/BW-01")
    assert not page.locator("#viewer").is_visible()
    assert page.locator(".pictured img").is_visible()
    assert without_javascript.quiet()


def test_a_server_that_fails_leaves_the_plain_picture(browser, address):
    for seen in watched(browser, address, View(1280, "light")):
        seen.page.route("**/viewer.json*", lambda route: route.abort())
        page = seen.open("/sheet/BW-01")
        page.wait_for_load_state("networkidle")
        assert page.locator(".pictured img").is_visible()
        assert not page.locator("#viewer").is_visible()


def test_a_scan_without_densities_says_why_and_is_seen_as_scanned(browser, address):
    def without_densities(route):
        document = route.fetch().json()
        reason = "This scan has no densities: <b>its scanner</b> isn’t known."
        route.fulfill(json={**document, "tables": None, "measurable": False, "reason": reason})

    for seen in watched(browser, address, View(390, "light")):
        seen.page.route("**/viewer.json*", without_densities)
        page = ready(seen, "/sheet/BW-01")
        assert page.locator("input[value=scanned]").is_checked()
        assert page.locator("input[value=printed]").is_disabled()
        assert page.locator("input[value=zones]").is_disabled()
        assert "<b>its scanner</b>" in page.locator(".viewer-reason").inner_text()
        assert not page.locator(".probe").is_visible()
        assert not page.locator(".zone-strip").is_visible()
        page.locator(".glass").focus()
        page.keyboard.press("3")
        page.keyboard.press("ArrowLeft")
        expect(page.get_by_role("status")).to_contain_text("no densities")
        assert page.locator("input[value=scanned]").is_checked()
        found = Axe().run(page, options=EVERYTHING)
        assert found.violations_count == 0, found.generate_report()
        assert seen.quiet()


def test_a_tile_that_fails_is_said(browser, address):
    for seen in watched(browser, address, View(1280, "light")):
        seen.page.route("**/iiif/**", lambda route: route.abort())
        page = seen.open("/sheet/BW-01")
        expect(page.locator(".probe-note")).to_contain_text("could not be fetched")


@only("glass", WIDE)
def test_a_print_has_the_plain_picture(glass):
    page = glass.page
    page.emulate_media(media="print")
    assert page.locator(".pictured img").is_visible()
    assert not page.locator("#viewer").is_visible()
