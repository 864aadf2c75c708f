"""The form for a sheet's record, as somebody fills it in: by keyboard, by pointer, without connection."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from negcat.records import Sheet
from negcat.work.archive import Archive
from negcat.work.taking import take_record_data
from tests.browser.conftest import (
    EVERYTHING,
    NARROW,
    WIDE,
    View,
    Watched,
    Writable,
    only,
    unfold,
    watched,
)

pytestmark = pytest.mark.browser

PHONE = View(390, "light")


def sheet(writable: Writable, name: str) -> Sheet | None:
    with Archive.open(writable.root, readonly=True) as archive:
        return archive.catalogue.sheet(name)


def until(holds: Callable[[], object]) -> None:
    end = time.monotonic() + 10
    while not holds():
        assert time.monotonic() < end, "it didn't come to hold"
        time.sleep(0.05)


def ready(seen: Watched, path: str = "/new") -> Page:
    page = seen.open(path)
    page.locator("#record-form[data-ready=yes]").wait_for()
    return page


def kept(page: Page) -> list[str]:
    return page.evaluate("Object.keys(localStorage).filter(key => key.startsWith('negcat '))")


def reading(page: Page, number: int):
    return page.get_by_role("group", name=f"Reading {number}", exact=True)


def box(page: Page, label: str):
    return page.get_by_role("textbox", name=label, exact=True).or_(
        page.get_by_role("combobox", name=label, exact=True)
    )


def fill_in(page: Page, name: str, *, stop: str = "22½", time_: str = "1/2") -> None:
    box(page, "Sheet").fill(name)
    box(page, "Film").select_option("Marl Pan 100")
    box(page, "Lens").select_option("Haldane 240")
    box(page, "Cell").select_option("rear")
    box(page, "Stop f/").fill(stop)
    box(page, "Time").fill(time_)
    box(page, "Development").fill("N+1")


@pytest.fixture
def one(request: pytest.FixtureRequest, browser: Browser, writable: Writable) -> Iterator[Watched]:
    """A page of somebody who has signed in, in one view."""
    yield from watched(browser, writable.address, request.param, storage_state=writable.state)


# The whole job ----------------------------------------------------------------------------------------------


def test_a_sheet_is_written_down_by_keyboard_alone(signed_in, writable):
    page = signed_in.open("/")
    name = f"K-{page.viewport_size['width']}-{page.evaluate('matchMedia(`(prefers-color-scheme: dark)`).matches')}"
    page.get_by_role("link", name="New sheet").focus()
    with page.expect_navigation():
        page.keyboard.press("Enter")
    page.locator("#record-form[data-ready=yes]").wait_for()
    press = page.keyboard.press

    def to(element: str) -> None:
        for _ in range(80):
            press("Tab")
            if page.evaluate("document.activeElement.id") == element:
                return
        pytest.fail(f"Tab never comes to {element}")

    to("f-sheet")
    press("Control+a")
    page.keyboard.type(name)
    press("Tab")
    page.keyboard.type("Marl")
    press("Tab")
    page.keyboard.type("Hald")
    press("Tab")
    page.keyboard.type("rear")
    press("Tab")
    page.keyboard.type("22½")
    press("Tab")
    page.keyboard.type("1/2")
    press("Tab")
    press("Control+a")
    page.keyboard.type("N-1½")
    press("Tab")
    page.keyboard.type("soot")
    press("Tab")
    assert page.evaluate("document.activeElement.value") == "shadow"
    press("Tab")
    page.keyboard.type("10")
    to("f-readings-0-zone")
    page.keyboard.type("IV")
    expect(page.locator("#bar-decision")).to_contain_text("Given beyond plan")
    # Enter in a field calculates, and never saves half a record.
    press("Enter")
    expect(page.locator(".zones tbody tr")).to_have_count(1)
    assert sheet(writable, name) is None
    for _ in range(80):
        press("Tab")
        if page.evaluate("document.activeElement.className") == "save":
            break
    with page.expect_navigation():
        press("Enter")
    assert page.url == f"{signed_in.address}/sheet/{name}"
    record = sheet(writable, name)
    assert (record.stop.text, record.time.text, record.tag.text) == ("22½", "1/2", "N-1½")
    assert [(r.name, r.role, r.ev, r.zone.text) for r in record.readings] == [("soot", "shadow", 10, "IV")]
    assert kept(page) == []
    assert signed_in.quiet()


def test_a_sheet_is_written_down_and_edited_by_pointer(signed_in, writable):
    page = ready(signed_in)
    name = f"P-{page.viewport_size['width']}-{page.evaluate('matchMedia(`(prefers-color-scheme: dark)`).matches')}"
    assert page.locator("#f-lens").input_value()  # taken over
    fill_in(page, name)
    for number, (metered, role, ev, zone) in enumerate(
        [("soot", "shadow", "9", "III"), ("sky", "highlight", "13", ""), ("wall", "middle", "11", "")], 1
    ):
        box(reading(page, number), "Metered").fill(metered)
        box(reading(page, number), "Role").select_option(role)
        box(reading(page, number), "Reading EV").fill(ev)
        box(reading(page, number), "Zone").fill(zone)
    page.get_by_role("button", name="Another reading").click()
    assert page.evaluate("document.activeElement.id") == "f-readings-3-name"
    page.keyboard.type("night")
    box(reading(page, 4), "Reading EV").fill("2")
    reading(page, 4).get_by_role("button", name="Plus or minus: Reading 4, Reading EV").click()
    assert box(reading(page, 4), "Reading EV").input_value() == "-2"
    page.get_by_role("button", name="Remove reading 2").click()
    page.get_by_text("Bellows, filter, stop scale").click()
    box(page, "Lens to film mm").fill("432")
    page.get_by_text("When, where, in which holder").click()
    page.get_by_role("button", name="Now: put in date and time").click()
    assert len(page.locator("#f-exposed_at").input_value()) == len("2026-05-03 07:40")
    expect(page.locator("#bar-decision")).to_have_text("Given beyond plan: −0.15 stop")
    expect(page.locator(".ledger tfoot .num")).to_have_text("−0.15")
    expect(page.locator(".zones tbody tr")).to_have_count(3)
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    with page.expect_navigation():
        page.get_by_role("button", name="Save").click()
    record = sheet(writable, name)
    assert [r.name for r in record.readings] == ["soot", "wall", "night"]
    assert (record.bellows_mm, record.readings[2].ev) == (432, -2)

    page.get_by_role("link", name="Edit the record").click()
    page.locator("#record-form[data-ready=yes]").wait_for()
    assert box(page, "Stop f/").input_value() == "22½"
    box(page, "Time").fill("1")
    page.get_by_role("button", name="Remove reading 3").click()
    with page.expect_navigation():
        page.get_by_role("button", name="Save").click()
    assert page.url == f"{signed_in.address}/sheet/{name}"
    record = sheet(writable, name)
    assert (record.time.text, [r.name for r in record.readings]) == ("1", ["soot", "wall"])
    assert "time: 1/2 → 1" in page.locator(".history").inner_text()
    assert kept(page) == []
    assert signed_in.quiet()


# Faults -----------------------------------------------------------------------------------------------------


@only("one", NARROW)
def test_faults_are_said_at_their_fields_and_lead_to_them(one, writable):
    page = ready(one)
    name = f"F-{page.viewport_size['width']}"
    fill_in(page, name, time_="soon")
    page.locator("#f-stop").focus()
    expect(page.locator("#f-time-fault")).to_contain_text("“soon” is not a time")
    expect(page.locator("#f-time")).to_have_attribute("aria-describedby", "f-time-fault")
    # A blank field is no fault before one saves.
    with page.expect_response("**/ledger.json"):
        box(reading(page, 1), "Reading EV").fill("9")
    page.locator("#f-stop").focus()
    page.wait_for_timeout(300)
    assert page.locator("#f-readings-0-name-fault").is_hidden()
    page.get_by_text("Movements", exact=True).click()
    box(page, "Rear tilt °").fill("200")
    page.get_by_text("Movements", exact=True).click()
    page.get_by_role("button", name="Save").click()
    expect(page.locator("#summary h2")).to_have_text("Not saved yet: 4 fields want mending")
    assert page.evaluate("document.activeElement.id") == "summary"
    # What was shut away with a fault in it is open now.
    expect(page.locator("#f-movements-rear_tilt_deg-fault")).to_be_visible()
    page.locator("#summary").get_by_role("link", name="Reading 1, metered").click()
    assert page.evaluate("document.activeElement.id") == "f-readings-0-name"
    page.keyboard.type("soot")
    expect(page.locator("#f-readings-0-name-fault")).to_be_hidden()
    box(reading(page, 1), "Zone").fill("IV")
    box(page, "Rear tilt °").fill("2")
    box(page, "Time").fill("1/4")
    expect(page.locator("[aria-invalid]")).to_have_count(0)
    assert sheet(writable, name) is None
    with page.expect_navigation():
        page.get_by_role("button", name="Save").click()
    assert sheet(writable, name).movements.rear_tilt_deg == 2
    said = [line for line in one.console if "status of 400" not in line]
    assert (said, one.elsewhere) == ([], [])


@only("one", WIDE)
def test_a_change_meanwhile_is_said_and_nothing_typed_is_lost(one, writable):
    page = ready(one)
    name = f"M-{page.viewport_size['width']}"
    fill_in(page, name)
    with page.expect_navigation():
        page.get_by_role("button", name="Save").click()
    page = ready(one, f"/sheet/{name}/edit")
    with Archive.open(writable.root) as archive:
        record = archive.catalogue.sheet(name).model_dump(mode="json", exclude_none=True)
        take_record_data(
            archive, {"sheets": [{**record, "stop": "32", "weather": "rain"}]}, via="record x.yaml"
        )
    box(page, "Stop f/").fill("16")
    page.get_by_role("button", name="Save").click()
    expect(page.locator("#summary h2")).to_contain_text("was changed meanwhile")
    expect(page.locator("#summary")).to_contain_text("What you typed stands here.")
    assert page.locator("#f-stop").input_value() == "16"
    assert page.locator("#f-weather").input_value() == "rain"
    assert sheet(writable, name).stop.text == "32"
    with page.expect_navigation():
        page.get_by_role("button", name="Save").click()
    record = sheet(writable, name)
    assert (record.stop.text, record.weather) == ("16", "rain")


# Kept until saved -------------------------------------------------------------------------------------------


@only("one", NARROW)
def test_nothing_is_lost_without_connection(one, writable):
    page = ready(one)
    name = f"O-{page.viewport_size['width']}"
    page.context.set_offline(True)
    fill_in(page, name)
    box(reading(page, 1), "Metered").fill("soot <i>")
    page.get_by_role("button", name="Another reading").click()
    page.keyboard.type("fourth")
    expect(page.locator(".out-of-reach")).to_be_visible()
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("alert")).to_contain_text("Everything you typed is kept in this browser")
    assert len(kept(page)) == 1
    with pytest.raises(Exception, match="ERR_INTERNET_DISCONNECTED"):
        page.reload()
    page.context.set_offline(False)
    page = ready(one)
    expect(page.locator("#kept")).to_contain_text("and did not save is back")
    assert box(page, "Sheet").input_value() == name
    assert box(page, "Cell").input_value() == "rear"
    assert box(reading(page, 4), "Metered").input_value() == "fourth"
    box(reading(page, 4), "Metered").fill("")
    box(reading(page, 1), "Zone").fill("IV")
    with page.expect_navigation():
        page.get_by_role("button", name="Save").click()
    assert page.url.endswith(f"/sheet/{name}")
    assert [r.name for r in sheet(writable, name).readings] == ["soot <i>"]
    assert kept(page) == []
    ready(one)
    assert page.locator("#kept").is_hidden()
    assert one.elsewhere == []


@only("one", WIDE)
def test_a_connection_that_comes_back_is_said(one, writable):
    page = ready(one)
    name = f"B-{page.viewport_size['width']}"
    fill_in(page, name)
    page.context.set_offline(True)
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("alert")).to_contain_text("can’t be reached")
    page.context.set_offline(False)
    expect(page.get_by_role("alert")).to_contain_text("can be reached again")
    with page.expect_navigation():
        page.get_by_role("button", name="Save").click()
    assert sheet(writable, name) is not None


@only("one", NARROW)
def test_what_was_kept_can_be_dropped(one):
    page = ready(one)
    proposed = box(page, "Sheet").input_value()
    box(page, "Sheet").fill("typed")
    page = ready(one)
    assert box(page, "Sheet").input_value() == "typed"
    with page.expect_navigation():
        page.locator("#kept").get_by_role("button", name="Drop it").click()
    page.locator("#record-form[data-ready=yes]").wait_for()
    assert box(page, "Sheet").input_value() == proposed
    assert (page.locator("#kept").is_hidden(), kept(page)) == (True, [])
    assert one.quiet()


@only("one", WIDE)
def test_tabs_and_sheets_keep_apart(one, writable):
    first = ready(one)
    box(first, "Sheet").fill("first")
    other = first.context.new_page()
    other.goto(f"{one.address}/new")
    other.locator("#record-form[data-ready=yes]").wait_for()
    assert box(other, "Sheet").input_value() != "first"
    box(other, "Sheet").fill("second")
    edited = first.context.new_page()
    edited.goto(f"{one.address}/sheet/BW-01/edit")
    edited.locator("#record-form[data-ready=yes]").wait_for()
    box(edited, "Stop f/").fill("64")
    assert len(kept(first)) == 3
    for page, label, value in (
        (first, "Sheet", "first"),
        (other, "Sheet", "second"),
        (edited, "Stop f/", "64"),
    ):
        page.reload()
        page.locator("#record-form[data-ready=yes]").wait_for()
        assert box(page, label).input_value() == value
    # The second tab is gone, as with an empty battery: the next one takes up what it held.
    other.close()
    again = first.context.new_page()
    again.goto(f"{one.address}/new")
    again.locator("#record-form[data-ready=yes]").wait_for()
    assert box(again, "Sheet").input_value() == "second"
    # Both gone: the newest is taken up, the other one offered, and neither lost.
    again.close()
    first.goto("about:blank")
    first.evaluate("0")
    third = edited.context.new_page()
    third.goto(f"{one.address}/new")
    third.locator("#record-form[data-ready=yes]").wait_for()
    taken = box(third, "Sheet").input_value()
    rest = {"first": "second", "second": "first"}[taken]
    expect(third.locator("#kept")).to_contain_text(f"Also kept, not saved: {rest}")
    third.get_by_role("button", name="Take it up").click()
    until(lambda: box(third, "Sheet").input_value() == rest)
    expect(third.locator("#kept")).to_contain_text(f"Also kept, not saved: {taken}")
    assert sheet(writable, "BW-01").stop.text == "22½"


# Without JavaScript, and everybody --------------------------------------------------------------------------


def test_a_sheet_is_written_down_without_javascript(browser, writable):
    for seen in watched(
        browser, writable.address, PHONE, storage_state=writable.state, java_script_enabled=False
    ):
        page = seen.open("/new")
        fill_in(page, "WITHOUT-1", time_="soon")
        box(reading(page, 1), "Metered").fill("soot")
        box(reading(page, 1), "Reading EV").fill("-1 1/3")
        page.get_by_role("button", name="Another reading").click()
        assert reading(page, 4).count() == 1
        page.get_by_role("button", name="Save").click()
        assert "Not saved yet: 2 fields want mending" in page.locator("#summary").inner_text()
        assert "“soon” is not a time" in page.locator("#f-time-fault").inner_text()
        assert box(reading(page, 1), "Metered").input_value() == "soot"
        box(page, "Time").fill("4 s")
        box(reading(page, 1), "Zone").fill("III")
        page.get_by_role("button", name="Calculate").click()
        assert page.locator(".zones tbody tr").count() == 1
        page.get_by_role("button", name="Save").click()
        assert page.url.endswith("/sheet/WITHOUT-1")
    record = sheet(writable, "WITHOUT-1")
    assert record.readings[0].ev == pytest.approx(-4 / 3)


def test_who_has_not_signed_in_calculates_and_is_told_what_saving_asks_for(desk):
    page = ready(desk)
    fill_in(page, "X-1")
    box(reading(page, 1), "Metered").fill("soot")
    box(reading(page, 1), "Reading EV").fill("9")
    box(reading(page, 1), "Zone").fill("III")
    expect(page.locator("#bar-decision")).to_contain_text("Given beyond plan")
    assert page.get_by_role("button", name="Save").count() == 0
    assert "sign-in link" in page.locator(".save-bar").inner_text()
    assert desk.quiet()


@only("signed_in", NARROW)
def test_axe_finds_nothing_on_the_form(signed_in):
    for path in ("/new", "/sheet/BW-01/edit", "/new?again=BW-01"):
        page = ready(signed_in, path)
        unfold(page)
        found = Axe().run(page, options=EVERYTHING)
        assert found.violations_count == 0, f"{path}: {found.generate_report()}"
    page = ready(signed_in)
    fill_in(page, "", time_="soon")
    page.get_by_role("button", name="Save").click()
    page.locator("#summary h2").wait_for()
    found = Axe().run(page, options=EVERYTHING)
    assert found.violations_count == 0, found.generate_report()


def test_a_thumb_hits_everything_and_the_bar_hides_nothing(browser, writable):
    for seen in watched(browser, writable.address, PHONE, storage_state=writable.state):
        page = ready(seen, "/sheet/BW-01/edit")
        page.evaluate("document.querySelectorAll('details').forEach(details => { details.open = true; })")
        small = page.evaluate(
            """() => [...document.querySelectorAll(
                "#record-form :is(input:not([type=hidden]), select, textarea, button:not(.unseen), summary)")]
                .filter(element => element.checkVisibility())
                .map(element => [element.id || element.textContent, element.getBoundingClientRect()])
                .filter(([, box]) => box.height < 44 || box.width < 44)
                .map(([name, box]) => [name, box.width, box.height])"""
        )
        assert small == []
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
        page.locator("#f-film").focus()
        for _ in range(150):
            hidden = page.evaluate(
                """() => {
                    const at = document.activeElement, bar = document.querySelector(".save-bar");
                    if (bar.contains(at)) return "end";
                    const [box, over] = [at, bar].map(element => element.getBoundingClientRect());
                    return box.bottom > over.top + 1 || box.top < 0 ? at.id || at.textContent : "";
                }"""
            )
            if hidden == "end":
                break
            assert hidden == ""
            page.keyboard.press("Tab")
        else:
            pytest.fail("Tab never comes to the bar")
        keyboards = page.evaluate(
            "Object.fromEntries([...document.querySelectorAll('#record-form input')].map(i => [i.name, i.inputMode]))"
        )
        assert keyboards["bellows_mm"] == keyboards["readings.0.ev"] == "decimal"
        assert keyboards["stop"] == keyboards["time"] == "text"
