"""A sheet's history on its page: an earlier state brought back, the sheet removed and brought back, by hand."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from negcat.work.archive import Archive
from negcat.work.taking import take_record_data
from tests.browser.conftest import EVERYTHING, View, Watched, Writable, serving_to_write, watched

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def changed(browser: Browser, tmp_path_factory: pytest.TempPathFactory, built: Path) -> Iterator[Writable]:
    """A served copy of the archive, in which a sheet's record was changed."""
    folder = tmp_path_factory.mktemp("changed") / "own"
    shutil.copytree(built.parent, folder)
    root = folder / built.name
    with Archive.open(root) as archive:
        sheet = archive.catalogue.sheet("BW-01")
        assert sheet is not None
        record = sheet.model_dump(mode="json", exclude_none=True)
        notes = "Soot lies on the sill of every fire hole; the third from the left was bricked up. " * 4
        take_record_data(
            archive, {"sheets": [{**record, "time": "1", "notes": notes}]}, via="record may.yaml"
        )
    for address, link in serving_to_write(root):
        context = browser.new_context()
        context.new_page().goto(link)
        state = context.storage_state()
        context.close()
        yield Writable(address, root, state)


@pytest.fixture
def signed(browser: Browser, changed: Writable) -> Iterator[Watched]:
    yield from watched(browser, changed.address, View(390, "dark"), storage_state=changed.state)


def fits_and_is_open_to_all(page: Page) -> None:
    for width in (1280, 390):
        page.set_viewport_size({"width": width, "height": 844})
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    axe = Axe().run(page, options=EVERYTHING)
    assert axe.violations_count == 0, axe.generate_report()


def time_of(changed: Writable) -> str:
    with Archive.open(changed.root, readonly=True) as archive:
        sheet = archive.catalogue.sheet("BW-01")
        assert sheet is not None
        return sheet.time.text


def test_a_state_comes_back_and_a_sheet_goes_and_comes_back(signed: Watched, changed: Writable) -> None:
    page = signed.open("/sheet/BW-01")
    entries = page.locator(".history > li")
    count = entries.count()
    newest = entries.first
    first = entries.filter(has_text="taken in by negcat record")
    assert "time: 1/2 → 1" in page.locator(".history").inner_text()
    button = first.get_by_role("button", name="Make it as it was then after change 1")
    box = button.bounding_box()
    assert box is not None
    assert min(box["height"], box["width"]) >= 44
    with page.expect_navigation():
        button.click()
    assert page.url.endswith("/sheet/BW-01#history")
    assert time_of(changed) == "1/2"
    expect(entries).to_have_count(count + 1)
    assert "in the history, back to change 1" in newest.inner_text()
    # And back again to what it was before that.
    with page.expect_navigation():
        page.locator(".history").get_by_role("button").first.click()
    assert time_of(changed) == "1"
    signed.settle()
    page.get_by_text("Remove this sheet").click()
    fits_and_is_open_to_all(page)
    assert signed.quiet()
    with page.expect_navigation():
        page.get_by_role("button", name="Remove BW-01").click()
    signed.settle()
    assert page.locator("h1").inner_text() == "BW-01"
    assert "This sheet was removed on" in page.locator("#main").inner_text()
    fits_and_is_open_to_all(page)
    page.get_by_role("link", name="All removed sheets").click()
    fits_and_is_open_to_all(page)
    page.get_by_role("link", name="BW-01").click()
    with page.expect_navigation():
        page.get_by_role("button", name="Bring BW-01 back").click()
    signed.settle()
    page.locator("#viewer[data-ready=yes]").wait_for()
    assert time_of(changed) == "1"
    # The browser notes the removed page's status, and nothing else is amiss.
    assert [said for said in signed.console if "status of 410" not in said] == []
    assert signed.elsewhere == []
