"""The pages that leave the archive as files, opened from a disk: no server, no network."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from click.testing import CliRunner
from playwright.sync_api import Browser, expect

from negcat.cli import main
from tests.browser.conftest import (
    EACH_ONCE,
    EVERYTHING,
    View,
    Watched,
    unfold,
    watched,
)

pytestmark = pytest.mark.browser

# What axe would fetch once more a page from a disk may not fetch.
ALONE = {**EVERYTHING, "preload": False}


@pytest.fixture(scope="module")
def site(sample: Path, tmp_path_factory: pytest.TempPathFactory) -> str:
    """Where the sample's site is, without a slash at the end."""
    folder = tmp_path_factory.mktemp("site") / "a site"
    result = CliRunner().invoke(main, ["export", "site", str(folder), "-a", str(sample)])
    assert result.exit_code == 0, result.stderr
    return folder.as_uri()


@pytest.fixture(params=EACH_ONCE, ids=str)
def seen(request: pytest.FixtureRequest, browser: Browser, site: str) -> Iterator[Watched]:
    yield from watched(browser, site, request.param)


def test_pages_stand_by_themselves(seen: Watched):
    for path in (
        "/index.html",
        "/sheet/BW-10.html",
        "/film/sorrel-100.html",
        "/batch/d-62.html",
        "/equipment.html",
    ):
        page = seen.open(path)
        unfold(page)
        assert page.evaluate("document.documentElement.scrollWidth - window.innerWidth") <= 0, path
        assert page.evaluate("getComputedStyle(document.body).fontFamily").startswith("-apple-system"), path
        if path.startswith(("/sheet", "/film", "/batch")):
            continue  # made by the templates of the served pages, which are looked at there
        found = Axe().run(page, options=ALONE).response["violations"]
        assert [(one["id"], [node["html"] for node in one["nodes"]]) for one in found] == [], path
    assert seen.quiet()


def test_a_sheet_is_found_by_words_and_leads_on(seen: Watched, sample: Path):
    find = CliRunner().invoke(main, ["find", "engine window", "-a", str(sample), "--json"])
    sheets = [one["sheet"] for one in json.loads(find.stdout)["sheets"]]
    page = seen.open("/index.html")
    page.get_by_label("Words").fill("Window  ENGINE")
    expect(page.locator("#words-found")).to_have_text(f"{len(sheets)} sheets fit.")
    assert page.locator("#words-sheets a").all_text_contents() == sheets
    page.get_by_label("Words").fill("no such words")
    expect(page.locator("#words-found")).to_have_text("0 sheets fit.")
    page.get_by_label("Words").fill("bw-10")
    page.locator("#words-sheets a").click()
    expect(page.locator("h1")).to_have_text("BW-10")
    assert (
        page.locator(".pictured img").evaluate("async (image) => (await image.decode(), image.naturalWidth)")
        > 100
    )
    expect(page.locator(".chart svg").first).to_be_visible()
    page.get_by_role("link", name="D-62").click()
    expect(page.locator("h1")).to_have_text("D-62")
    page.get_by_role("link", name="Sheets", exact=True).click()
    expect(page.locator("h1")).to_have_text("Sheets")
    assert seen.quiet()


def test_without_javascript_lists_lead_to_the_sheets(browser: Browser, site: str):
    for seen in watched(browser, site, View(390, "light"), java_script_enabled=False):
        page = seen.open("/index.html")
        expect(page.locator(".words")).to_be_hidden()
        page.get_by_role("navigation", name="Sheets by").get_by_role("link", name="rear").click()
        expect(page.locator("h1")).to_have_text("rear")
        page.get_by_role("link", name="BW-10").click()
        expect(page.locator("h1")).to_have_text("BW-10")
        assert seen.quiet()
