"""A scan that waits is joined to its sheet on the pending page: by pointer, by keyboard, without JavaScript."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Locator, Page, expect

from negcat.work.archive import Archive
from negcat.work.ingest import ingest_scans
from negcat.work.taking import take_record_data
from tests.browser.conftest import (
    EVERYTHING,
    NARROW,
    WIDE,
    View,
    Watched,
    Writable,
    serving_to_write,
    watched,
)
from tests.web.conftest import write_sheet

pytestmark = pytest.mark.browser

# Each test joins a scan of its own to a sheet of its own.
KINDS = ("pointer", "keyboard", "mended", "plain")
SHEETS = [f"{kind}-{view.width}" for kind in KINDS for view in (WIDE, NARROW)]


@pytest.fixture(scope="module")
def waiting(browser: Browser, tmp_path_factory: pytest.TempPathFactory, built: Path) -> Iterator[Writable]:
    """A served copy of the archive with developed sheets that wait for scans, and scans that wait for sheets."""
    folder = tmp_path_factory.mktemp("waiting") / "own"
    shutil.copytree(built.parent, folder)
    root, loose = folder / built.name, folder / "loose"
    loose.mkdir()
    for number, sheet in enumerate(SHEETS):
        write_sheet(loose / f"scan of {sheet}.tif", 0.3, 0.9, seed=100 + number)
    outfit = {"film": "Marl Pan 100", "format": "4x5", "lens": "Corrin 150", "stop": "22", "time": "1/2"}
    batch = {"batch": "B-J", "developer": "two-bath", "time": "9m"}
    with Archive.open(root) as archive:
        take_record_data(
            archive,
            {
                "sheets": [{"sheet": f"J-{sheet}", **outfit} for sheet in SHEETS],
                "developments": [{**batch, "sheets": [f"J-{sheet}" for sheet in SHEETS]}],
            },
            via="record waiting.json",
        )
        for item in ingest_scans(archive, [loose]):
            assert item.status == "unmatched", item
    for address, link in serving_to_write(root):
        context = browser.new_context()
        context.new_page().goto(link)
        state = context.storage_state()
        context.close()
        yield Writable(address, root, state)


@pytest.fixture(params=[WIDE, NARROW], ids=str)
def signed(request: pytest.FixtureRequest, browser: Browser, waiting: Writable) -> Iterator[Watched]:
    yield from watched(browser, waiting.address, request.param, storage_state=waiting.state)


def sheet_of(waiting: Writable, scan: str) -> str | None:
    with Archive.open(waiting.root, readonly=True) as archive:
        row = archive.catalogue.scan(scan)
        assert row is not None
        return row["sheet"]


def name_of(page: Page, kind: str) -> str:
    assert page.viewport_size is not None
    return f"{kind}-{page.viewport_size['width']}"


def entry(page: Page, name: str) -> tuple[Locator, str]:
    """The scan's entry in the list, and its id."""
    found = page.locator(".scans-waiting li", has=page.get_by_text(f"scan of {name}.tif"))
    expect(found).to_have_count(1)
    return found, found.locator("code").inner_text()


def is_joined(page: Page, address: str, name: str) -> None:
    """Require the sheet's page, with the scan's picture on it, and nothing left to join."""
    assert page.url == f"{address}/sheet/J-{name}"
    assert page.locator("h1").inner_text() == f"J-{name}"
    page.locator("#viewer[data-ready=yes]").wait_for()
    page.goto(f"{address}/pending")
    assert page.get_by_text(f"scan of {name}.tif").count() == 0
    assert page.get_by_role("link", name=f"J-{name}", exact=True).count() <= 1


def test_by_pointer(signed: Watched, waiting: Writable) -> None:
    page = signed.open("/pending")
    name = name_of(page, "pointer")
    found, scan = entry(page, name)
    assert sheet_of(waiting, scan) is None
    # What is offered are the developed sheets that no scan was joined to.
    offered = page.locator(f"#{found.get_by_role('combobox').get_attribute('list')} option")
    assert f"J-{name}" in offered.evaluate_all("options => options.map(option => option.value)")
    box = found.get_by_role("combobox", name="Of sheet")
    box.click()
    box.type(f"J-{name}")
    with page.expect_navigation():
        found.get_by_role("button", name="Join").click()
    assert sheet_of(waiting, scan) == f"J-{name}"
    is_joined(page, signed.address, name)
    assert signed.quiet()


def test_by_keyboard_alone(signed: Watched, waiting: Writable) -> None:
    page = signed.open("/")
    page.get_by_role("link", name="Pending").focus()
    with page.expect_navigation():
        page.keyboard.press("Enter")
    name = name_of(page, "keyboard")
    _, scan = entry(page, name)
    for _ in range(150):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.id") == f"join-{scan}":
            break
    else:
        pytest.fail("Tab never comes to the scan's field")
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") != "none"
    page.keyboard.type(f"J-{name}")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.matches('button')")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    assert sheet_of(waiting, scan) == f"J-{name}"
    is_joined(page, signed.address, name)
    assert signed.quiet()


def test_a_sheet_that_is_not_there_is_said_beside_the_scan_and_can_be_mended(
    signed: Watched, waiting: Writable
) -> None:
    page = signed.open("/pending")
    name = name_of(page, "mended")
    found, scan = entry(page, name)
    button = found.get_by_role("button", name="Join")
    # With nothing typed the browser itself holds it back.
    button.click()
    assert page.url.endswith("/pending")
    found.get_by_role("combobox").fill("J-nothing <b>")
    with page.expect_navigation():
        button.click()
    found, again = entry(page, name)
    assert again == scan
    box = found.get_by_role("combobox")
    assert box.input_value() == "J-nothing <b>"
    assert page.evaluate("document.activeElement.id") == f"join-{scan}"
    assert box.get_attribute("aria-invalid") == "true"
    assert "J-nothing <b>" in found.locator(f"#{box.get_attribute('aria-describedby')}").inner_text()
    assert page.locator(".fault").count() == 1
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    axe = Axe().run(page, options=EVERYTHING)
    assert axe.violations_count == 0, axe.generate_report()
    assert sheet_of(waiting, scan) is None
    box.fill(f"J-{name}")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    assert sheet_of(waiting, scan) == f"J-{name}"
    is_joined(page, signed.address, name)
    # The browser notes the refusal's status, and nothing else is amiss.
    assert [said for said in signed.console if "status of 400" not in said] == []
    assert signed.elsewhere == []


@pytest.mark.parametrize("view", [WIDE, NARROW], ids=str)
def test_without_javascript(browser: Browser, waiting: Writable, view: View) -> None:
    for seen in watched(
        browser, waiting.address, view, storage_state=waiting.state, java_script_enabled=False
    ):
        page = seen.open("/pending")
        name = name_of(page, "plain")
        found, scan = entry(page, name)
        found.get_by_role("combobox").fill(f"j-{name}")
        found.get_by_role("button", name="Join").click()
        assert page.url == f"{seen.address}/sheet/J-{name}"
        assert sheet_of(waiting, scan) == f"J-{name}"
        assert seen.quiet()


def test_who_has_not_signed_in_is_told_what_it_asks_for(browser: Browser, waiting: Writable) -> None:
    for seen in watched(browser, waiting.address, NARROW):
        page = seen.open("/pending")
        assert page.locator(".scans-waiting li").count() >= 1
        assert page.locator("form").count() == 0
        assert "sign-in link" in page.locator("section", has=page.locator("#join")).inner_text()
        assert seen.quiet()


def test_each_field_says_which_scan_it_is_for_and_a_thumb_hits_it(signed: Watched) -> None:
    page = signed.open("/pending")
    entries = page.locator(".scans-waiting li").all()
    names = set()
    for found in entries:
        scan = found.locator("code").inner_text()
        for role in ("combobox", "button"):
            control = found.get_by_role(role, name=scan)
            expect(control).to_have_count(1)
            box = control.bounding_box()
            assert box is not None
            assert box["height"] >= 44
            assert box["width"] >= 44
        names.add(scan)
    assert len(names) == len(entries) >= 1
    assert signed.quiet()
