"""The review as somebody meets it: the sample's truths on the page, the ring-around, what if, and accepting."""

import json
import re
import shutil
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe

from tests.browser.conftest import EACH_ONCE, EVERYTHING, VIEWS, serving, serving_to_write, watched
from tests.simulation import late_may

pytestmark = pytest.mark.browser

TRUTH = Path(__file__).parents[2] / "sample_archive" / "truth.json"
PAGES = (
    "/review",
    "/review?film=Marl+400&by=stop",
    "/review?if-film=Marl+400&if-index=250&if-tag=N%2B1&if-time=14m",
    "/review?tag=askew",
    "/review?text=nothing",
)
OPEN_ALL = "document.querySelectorAll('details').forEach(details => { details.open = true; })"


@pytest.fixture(scope="module")
def served(sample):
    yield from serving(sample)


@pytest.fixture(scope="module")
def writable_sample(sample, tmp_path_factory):
    root = Path(shutil.copytree(sample, tmp_path_factory.mktemp("review") / "own"))
    yield from serving_to_write(root)


@pytest.fixture(params=EACH_ONCE[1:], ids=str)
def seen(request, browser, served):
    yield from watched(browser, served, request.param)


@pytest.fixture
def at_desk(browser, served):
    yield from watched(browser, served, VIEWS[0])


@pytest.fixture
def plain_desk(browser, served):
    yield from watched(browser, served, VIEWS[0], java_script_enabled=False)


@pytest.fixture(scope="module")
def hidden():
    """The sample's three written truths: the rear cell, the film's speed, N+1."""
    return json.loads(TRUTH.read_text(encoding="utf-8"))["hidden"]


def said(page):
    return [text.replace("\u00a0", " ") for text in page.locator(".advised").all_inner_texts()]


def one_about(page, begins):
    (found,) = [text for text in said(page) if text.startswith(begins)]
    return found


def seconds(text):
    """Read “11 min 25 s”."""
    minutes, rest = re.fullmatch(r"(?:(\d+) min)? ?(?:(\d+) s)?", text).groups()
    return 60 * int(minutes or 0) + int(rest or 0)


def test_the_slow_film_is_advised_within_its_interval(at_desk, hidden):
    text = one_about(at_desk.open("/review"), "Expose Marl 400")
    index, low, high = re.search(r"at EI (\d+) instead of 400 \(90 % interval (\d+) to (\d+)", text).groups()
    assert int(low) <= hidden[1]["true_speed"] <= int(high)
    assert int(low) <= int(index) <= int(high)
    assert at_desk.quiet()


def test_the_rear_cell_is_advised_within_its_interval(at_desk, hidden):
    page = at_desk.open("/review")
    text = one_about(page, "The rear cell of Aldwater convertible 195 passes")
    low, high = re.search(r"90 % interval ([\d.]+) to ([\d.]+) stop", text).groups()
    assert "less light than its scale says" in text
    assert float(low) <= -hidden[0]["stops"] <= float(high)
    row = page.locator("tr", has=page.get_by_role("rowheader", name="Aldwater convertible 195 / rear"))
    row.first.get_by_role("link", name="6 sheets").click()
    page.locator(".plate-id").first.wait_for()
    assert {"BW-03", "BW-18"} <= set(page.locator(".plate-id").all_inner_texts())
    assert at_desk.quiet()


def test_the_short_development_is_advised_within_its_interval(at_desk, hidden):
    text = one_about(at_desk.open("/review"), "Develop Sorrel 100 for N+1")
    low, high = re.search(r"90 % interval ([^;]+) to ([^;]+);", text).groups()
    assert seconds(low) - 5 <= hidden[2]["times_needed_s"]["Sorrel 100"] <= seconds(high) + 5
    assert "instead of 10 min" in text


def test_nobody_is_kept_out(seen):
    for path in PAGES:
        page = seen.open(path)
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), path
        page.evaluate(OPEN_ALL)
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), f"{path}, all open"
        found = Axe().run(page, options=EVERYTHING)
        assert found.violations_count == 0, f"{path}: {found.generate_report()}"
    assert seen.console == [one for one in seen.console if "400" in one]
    assert seen.elsewhere == []


def test_a_point_leads_to_its_sheet_and_so_does_the_table(at_desk):
    page = at_desk.open("/review")
    page.locator('a.dot[href$="/sheet/BW-11"] .found').click()
    page.wait_for_url("**/sheet/BW-11")
    page.go_back()
    page.get_by_text("The figures of the ring-around").click()
    page.locator("details[open] table").get_by_role("link", name="BW-18").click()
    assert page.locator("h1").inner_text() == "BW-18"
    assert at_desk.quiet()


def test_what_if_needs_no_script_and_moves_the_points(plain_desk):
    page = plain_desk.open("/review?film=Marl+400")
    before = page.locator("a.dot circle.found").count()
    page.get_by_label("Exposure index").fill("200")
    page.get_by_role("button", name="Work it out").click()
    assert parse_qs(urlsplit(page.url).query)["film"] == ["Marl 400"]
    assert (
        page.locator(".asked")
        .inner_text()
        .startswith("Worked out, not measured: Marl 400 exposed at EI 200.")
    )
    assert page.locator(".way").count() == before == 7
    for way in page.locator(".way").all():
        assert float(way.get_attribute("x2")) > float(way.get_attribute("x1"))
        assert way.get_attribute("y2") == way.get_attribute("y1")
    page.get_by_role("link", name="As they are").click()
    assert page.locator(".way").count() == 0
    assert plain_desk.quiet()


def test_narrowing_as_on_the_wall(at_desk):
    page = at_desk.open("/review")
    page.get_by_label("Tag", exact=True).select_option("N+1")
    page.get_by_role("button", name="Show").first.click()
    tagged = sum(entry.tag == "N+1" for entry in late_may.ALL)
    assert page.locator(".count").inner_text().startswith(f"{tagged} sheets")
    page.get_by_role("link", name="by batch").click()
    groups = (
        page.locator("section", has=page.locator("#decisions")).get_by_role("rowheader").all_inner_texts()
    )
    assert groups == ["D-62", "D-65"]
    assert page.locator(".count").inner_text().startswith(f"{tagged} sheets")
    assert at_desk.quiet()


@pytest.mark.parametrize("script", [True, False])
def test_accepting_by_keyboard_changes_later_plans_only(browser, writable_sample, script):
    address, link = writable_sample
    for seen in watched(browser, address, VIEWS[0], java_script_enabled=script):
        page = seen.page
        if script:
            page.goto(link)
            begins, key = "Expose Marl 400", "index-marl-400"
        else:
            seen.open("/review")
            assert page.get_by_role("button", name="Accept").count() == 0
            assert page.get_by_text("sign-in link").count() == 1
            continue
        seen.open("/review")
        advice = one_about(page, begins)
        page.get_by_label(f"Holds from, {key}").fill("2026-05-09")
        page.get_by_role("button", name=f"Accept {key}").focus()
        page.keyboard.press("Enter")
        page.wait_for_url("**/review#accepted")
        assert advice in page.locator(".history").inner_text().replace("\u00a0", " ")
        assert advice not in said(page)
        seen.open("/sheet/BW-05")
        table = page.locator("section", has=page.get_by_role("heading", name="Believed then and now"))
        row = table.get_by_role("row", name="Exposure index")
        assert row.get_by_role("cell").all_inner_texts() == ["400", "250"]
        found = Axe().run(page, options=EVERYTHING)
        assert found.violations_count == 0, found.generate_report()
        seen.open("/sheet/BW-18")
        assert page.get_by_role("heading", name="Believed then and now").count() == 0
        assert "at index 250" in page.locator("section", has=page.locator("#ledger")).inner_text()
        assert seen.quiet()


def test_a_signed_in_page_keeps_nobody_out(browser, writable_sample):
    # The link works once; whoever comes after it holds what the test before it was given.
    address, _ = writable_sample
    for view in EACH_ONCE:
        for seen in watched(browser, address, view):
            seen.open("/review")
            found = Axe().run(seen.page, options=EVERYTHING)
            assert found.violations_count == 0, found.generate_report()
            assert seen.quiet()
