"""The field form, opened from the disk where there is no network, in a real Chromium."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from click.testing import CliRunner
from playwright.sync_api import Browser, ConsoleMessage, Page, Playwright, expect

from negcat.cli import main
from negcat.notation.patterns import PATTERNS, fits
from negcat.work.archive import Archive
from negcat.work.field_form import field_form
from tests.browser.conftest import (
    CHROMIUM,
    EACH_ONCE,
    EVERYTHING,
    NARROW,
    VIEWS,
    View,
    only,
)
from tests.web.conftest import MARKUP
from tests.web.markup import marked

pytestmark = [pytest.mark.browser, pytest.mark.slow]

HOLDERS = """\
holders:
  - {holder: "7", format: 4x5, sides: [{side: A, film: Marl Pan 100, loaded_at: 2026-06-01}, {side: B}]}
"""


@pytest.fixture(scope="module")
def archive(built: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the archive with a loaded holder."""
    root = tmp_path_factory.mktemp("field") / "brickworks"
    shutil.copytree(built, root)
    written = root.parent / "holders.yaml"
    written.write_text(HOLDERS, encoding="utf-8")
    assert CliRunner().invoke(main, ["record", "-a", str(root), str(written)]).exit_code == 0
    return root


@pytest.fixture(scope="module")
def form_file(archive: Path) -> Path:
    file = archive.parent / "field.html"
    told = CliRunner().invoke(main, ["export", "form", str(file), "-a", str(archive)])
    assert told.exit_code == 0, told.output
    return file


@dataclass
class Opened:
    """The form in a browser without network, and all that it said."""

    page: Page
    file: Path
    said: list[str] = field(default_factory=list)

    def open(self) -> Page:
        self.page.on("console", self._heard)
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.on(
            "request",
            lambda request: request.url.startswith(("file:", "blob:")) or self.said.append(request.url),
        )
        self.page.goto(self.file.as_uri())
        return self.page

    def _heard(self, message: ConsoleMessage) -> None:
        self.said.append(message.text)

    def type(self, **values: str) -> None:
        """Type into fields, a double underline for a full stop; choices are chosen."""
        for name, value in values.items():
            control = self.page.locator(f'[name="{name.replace("__", ".")}"]')
            control.evaluate("control => control.closest('details')?.setAttribute('open', '')")
            if control.evaluate("control => control.tagName") == "SELECT":
                control.select_option(value)
            else:
                control.fill(value)

    def status(self, sentence: str) -> None:
        expect(self.page.locator("#said")).to_have_text(sentence)


def opened(browser: Browser, file: Path, view: View = VIEWS[0]) -> Iterator[Opened]:
    context = browser.new_context(
        viewport={"width": view.width, "height": 860},
        color_scheme=view.scheme,
        has_touch=view.width < 500,
        locale="en-GB",
    )
    context.set_default_timeout(15_000)
    context.set_offline(True)
    form = Opened(context.new_page(), file)
    form.open()
    yield form
    assert form.said == []
    context.close()


@pytest.fixture(params=EACH_ONCE, ids=str)
def form(request: pytest.FixtureRequest, browser: Browser, form_file: Path) -> Iterator[Opened]:
    yield from opened(browser, form_file, request.param)


@pytest.fixture
def desk(browser: Browser, form_file: Path) -> Iterator[Opened]:
    yield from opened(browser, form_file)


FIRST = {
    "sheet": "BW-05",
    "film": "Marl Pan 100",
    "lens": "Haldane 240",
    "cell": "rear",
    "stop": "22½",
    "time": "1m30s",
    "tag": "N−1½",
    "place": "North kiln, Кирпич 煉瓦",
    "subject": MARKUP,
    "exposed_at": "2026-06-03 07:40",
    "bellows_mm": "432,5",
    "filter": "yellow",
    "filter_factor": "2",
    "stop_scale": "whole",
    "indicated__stop": "16 2/3",
    "indicated__time": "1/4",
    "readings__0__name": "fire hole \"left\" & 'right'",
    "readings__0__ev": "8⅓",
    "readings__0__zone": "III½",
    "readings__1__name": "sky",
    "readings__1__stops_from_placed": "+4",
    "notes": "first line\nsecond <i>line</i>",
}


@only("form", NARROW)
def test_sheets_taken_by_hand_are_taken_by_the_archive(form: Opened, archive: Path, tmp_path: Path):
    page = form.page
    form.type(**FIRST)
    minus = page.locator("button[aria-label='Plus or minus: Front rise mm']")
    minus.evaluate("button => button.closest('details').setAttribute('open', '')")
    minus.click()
    page.locator('[name="movements.front_rise_mm"]').press_sequentially("12")
    page.reload()  # in the middle of it
    page.locator("#add").click()
    form.status("BW-05 is taken; 1 sheet here.")

    # The outfit stays and the id is counted on; what is decided anew stands empty.
    assert page.locator("#f-sheet").input_value() == "BW-06"
    assert page.locator("#f-cell").input_value() == "rear"
    assert page.locator("#f-stop").input_value() == page.locator("#f-subject").input_value() == ""
    page.locator("#loaded").select_option(label="7 A: Marl Pan 100")
    form.type(lens="Corrin 150", stop="f/32", time="1/15", exposed_at="2026-06-04")
    page.locator("#add").click()
    form.status("BW-06 is taken; 2 sheets here.")
    page.reload()
    expect(page.locator("#taken")).to_have_text("Taken: 2 sheets")
    assert MARKUP in page.locator("#list").inner_text()

    with page.expect_download() as saved:
        page.locator("#save").click()
    assert saved.value.suggested_filename.startswith("field-")
    file = tmp_path / saved.value.suggested_filename
    saved.value.save_as(file)
    assert json.loads(file.read_text(encoding="utf-8")) == json.loads(page.locator("#text").input_value())

    own = tmp_path / "brickworks"
    shutil.copytree(archive, own)
    taken = CliRunner().invoke(main, ["record", "-a", str(own), str(file)])
    assert taken.exit_code == 0, taken.output
    with Archive.open(own, readonly=True) as now:
        first, second = now.catalogue.sheet("BW-05"), now.catalogue.sheet("BW-06")
    assert first is not None
    assert second is not None
    for name in ("film", "lens", "cell", "place", "subject", "filter", "stop_scale", "notes"):
        assert getattr(first, name) == FIRST[name]
    assert (first.stop.text, round(first.stop.f_number, 2)) == ("22½", 26.91)
    assert (first.time.seconds, first.tag.n, first.bellows_mm, first.filter_factor) == (
        90.0,
        -1.5,
        432.5,
        2.0,
    )
    assert first.exposed_at == "2026-06-03T07:40"
    assert first.movements is not None
    assert first.movements.front_rise_mm == -12
    assert first.indicated is not None
    assert (round(first.indicated.stop.f_number, 2), first.indicated.time.seconds) == (20.16, 0.25)
    assert [(one.name, one.role, one.ev, one.stops_from_placed) for one in first.readings] == [
        (FIRST["readings__0__name"], "shadow", 8 + 1 / 3, None),
        ("sky", "highlight", None, 4.0),
    ]
    assert first.readings[0].zone is not None
    assert first.readings[0].zone.value == 3.5
    assert (second.holder, second.side, second.film, second.format) == ("7", "A", "Marl Pan 100", "4x5")
    assert (second.lens, second.cell, second.tag.n, second.exposed_at) == (
        "Corrin 150",
        None,
        -1.5,
        "2026-06-04",
    )
    assert second.filter == "yellow"  # carried over
    assert second.readings == ()


def test_what_cannot_be_taken_at_home_is_said_in_the_field(desk: Opened):
    page = desk.page
    desk.type(
        sheet="bw-01",
        film="Marl Pan 100",
        lens="Haldane 240",
        stop="13½",
        time="soon",
        tag="N*2",
        exposed_at="yesterday",
        format="four by five",
        bellows_mm="2",
        filter_factor="½x",
        indicated__stop="16",
        readings__0__name="soot",
        readings__1__name="Soot",
        readings__1__ev="99",
    )
    page.locator("#add").click()
    desk.status("Not added: 13 fields want mending.")
    faults = {
        "sheet": "bw-01 is in the archive already; give this one another id.",
        "cell": "Choose the cell that was used.",
        "stop": "“13½” can’t be read: write it as 22, f/22, 6.8, 22½, 22 1/2 or 22+1/3.",
        "time": "“soon” can’t be read: write it as 1/15",
        "tag": "“N*2” can’t be read",
        "exposed_at": "“yesterday” can’t be read: write 2026-05-03 or 2026-05-03 07:40.",
        "format": "“four by five” can’t be read: write for example 4x5",
        "bellows_mm": "2 is outside 5 … 10000; check the figure.",
        "filter_factor": "“½x” can’t be read",
        "indicated.time": "Write the time that the meter showed with that stop.",
        "readings.0.zone": "Write the zone it was placed on, as in III.",
        "readings.1.ev": "99 is outside −15 … 30; check the figure.",
        "readings.1.name": "Soot stands there twice; give each its own name.",
    }
    for name, sentence in faults.items():
        control = page.locator(f'[name="{name}"]')
        assert control.get_attribute("aria-invalid") == "true", name
        expect(page.locator(f"#{control.get_attribute('id')}-fault")).to_contain_text(sentence)
    assert page.locator('[aria-invalid="true"]').count() == len(faults)
    assert page.locator("#f-sheet").evaluate("control => control === document.activeElement")
    assert page.locator("#list li").count() == 0


def test_a_record_without_a_placed_reading_is_not_taken(desk: Opened):
    page = desk.page
    desk.type(
        sheet="X-1", film="Marl Pan 100", lens="Corrin 150", stop="22", time="1", readings__0__name="soot"
    )
    desk.type(readings__0__role="middle", readings__0__zone="V")
    page.locator("#add").click()
    expect(page.locator("#f-readings-0-role-fault")).to_contain_text(
        "No reading is the one the exposure was placed by"
    )
    desk.type(readings__0__placed="yes")
    page.locator("#add").click()
    desk.status("X-1 is taken; 1 sheet here.")
    desk.type(sheet="x-1", stop="22", time="1")
    page.locator("#add").click()
    expect(page.locator("#f-sheet-fault")).to_contain_text("x-1 is taken on this page already")


def test_a_sheet_taken_is_changed_and_removed(desk: Opened):
    page = desk.page
    for sheet in ("X-1", "X-2"):
        desk.type(
            sheet=sheet, film="Marl Pan 100", lens="Corrin 150", stop="22", time="1", subject=f"of {sheet}"
        )
        page.locator("#add").click()
        desk.status(f"{sheet} is taken; {'1 sheet' if sheet == 'X-1' else '2 sheets'} here.")
    desk.type(subject="half typed")
    page.get_by_role("button", name="Change X-1").click()
    assert page.locator("#f-subject").input_value() == "of X-1"
    page.reload()
    expect(page.locator("#heading")).to_have_text("X-1, changed")
    desk.type(subject="the north kiln", time="4 s")
    page.locator("#add").click()
    desk.status("X-1 is changed; 2 sheets here.")
    assert page.locator("#f-subject").input_value() == "half typed"
    kept = json.loads(page.locator("#text").input_value())["sheets"]
    assert [(one["sheet"], one["subject"], one["time"]) for one in kept] == [
        ("X-1", "the north kiln", "4 s"),
        ("X-2", "of X-2", "1"),
    ]
    page.get_by_role("button", name="Change X-2").click()
    desk.type(subject="never mind")
    page.get_by_role("button", name="Leave it as it was").click()
    assert json.loads(page.locator("#text").input_value())["sheets"][1]["subject"] == "of X-2"
    page.get_by_role("button", name="Remove X-1").click()
    expect(page.locator("#list li")).to_have_count(2)  # once more, to be sure
    page.get_by_role("button", name="Remove X-1 for good").click()
    expect(page.locator("#list li")).to_have_count(1)
    page.get_by_role("button", name="Remove all").click()
    page.get_by_role("button", name="Remove all for good").click()
    expect(page.locator("#list li")).to_have_count(0)
    expect(page.locator("#keeping")).to_be_hidden()


def test_what_was_written_outlives_the_browser(playwright: Playwright, form_file: Path, tmp_path: Path):
    """A battery that runs empty ends the browser; the next one finds what was written."""

    def begin() -> Page:
        context = playwright.chromium.launch_persistent_context(
            tmp_path / "profile", executable_path=CHROMIUM, headless=True, args=["--no-sandbox"], offline=True
        )
        page = context.new_page()
        page.goto(form_file.as_uri())
        return page

    page = begin()
    form = Opened(page, form_file)
    form.type(sheet="X-1", film="Marl Pan 100", lens="Corrin 150", stop="22", time="1")
    page.locator("#add").click()
    form.status("X-1 is taken; 1 sheet here.")
    form.type(stop="32", subject="half typed")
    page.context.close()
    page = begin()
    expect(page.locator("#taken")).to_have_text("Taken: 1 sheet")
    assert page.locator("#f-stop").input_value() == "32"
    assert page.locator("#f-subject").input_value() == "half typed"
    page.context.close()


def test_a_reload_outlives_a_store_that_lags_behind(desk: Opened):
    """Chromium may show a page that is loaded again at once its store as it was before the last writing."""
    page = desk.page
    desk.type(sheet="X-1", film="Marl Pan 100", lens="Corrin 150", stop="22", time="1")
    page.locator("#add").click()
    desk.status("X-1 is taken; 1 sheet here.")
    desk.type(stop="32")
    page.evaluate("localStorage.clear()")
    page.reload()
    expect(page.locator("#taken")).to_have_text("Taken: 1 sheet")
    assert page.locator("#f-stop").input_value() == "32"


def test_two_pages_of_one_form_lose_nothing(desk: Opened):
    other = desk.page.context.new_page()
    other.goto(desk.file.as_uri())
    desk.type(sheet="X-1", film="Marl Pan 100", lens="Corrin 150", stop="22", time="1")
    desk.page.locator("#add").click()
    expect(other.locator("#taken")).to_have_text("Taken: 1 sheet")
    second = Opened(other, desk.file)
    second.type(sheet="X-2", film="Marl Pan 100", lens="Corrin 150", stop="22", time="1")
    other.locator("#add").click()
    expect(desk.page.locator("#taken")).to_have_text("Taken: 2 sheets")


def test_a_browser_that_keeps_nothing_is_said(browser: Browser, form_file: Path):
    context = browser.new_context(offline=True)
    page = context.new_page()
    page.add_init_script(
        "Storage.prototype.setItem = () => { throw new DOMException('full', 'QuotaExceededError'); };"
    )
    page.goto(form_file.as_uri())
    page.locator("#f-stop").fill("22")
    expect(page.locator("#said")).to_contain_text("This browser keeps nothing of what is written here")
    context.close()


def test_the_browser_reads_the_patterns_as_python_does(desk: Opened):
    texts = [
        "22", "f/22½", "F 16 2/3", "13½", "6.8", "5,6⅓", "22-1/3", "ƒ8", "1/15", "1m30s", "1′30″", "1:30", "4 s",
        "2 MIN", "bulb", "N", "N−1½", "n + 1", "normal", "N+½", "M", "III½", "Ⅳ", "zone 4", "3 1/3", "IIII", "12⅓",
        "−0.5", "1e-3", "½", "0,5", "12 mm", "", "1''", "22\u00a01/2", "１２",
    ]  # fmt: skip
    ask = "([pattern, texts]) => texts.map((text) => plain(text).length <= known.longest && fits(pattern, plain(text)))"
    for kind in PATTERNS:
        told = desk.page.evaluate(ask, [desk.page.evaluate("(kind) => known.patterns[kind]", kind), texts])
        assert dict(zip(texts, told, strict=True)) == {text: fits(text, kind) for text in texts}


def test_markup_in_the_archive_stays_text(browser: Browser, full_of_markup: Path, tmp_path: Path):
    file = tmp_path / "field.html"
    with Archive.open(full_of_markup, readonly=True) as archive:
        file.write_bytes(field_form(archive, made=datetime.now(tz=UTC)))
    for form in opened(browser, file):
        assert marked("films.name") in form.page.locator("#f-film option").all_text_contents()
        assert marked("lenses.name") in form.page.locator("#f-lens option").all_text_contents()
        assert marked("films.name") not in file.read_text(encoding="utf-8")
        form.type(sheet="X-1", stop="22", time="1", film=marked("films.name"), lens=marked("lenses.name"))
        form.type(place="<img src=x onerror=alert(1)>", subject="</script><script>alert(2)</script>")
        cells = form.page.evaluate("known.cells[document.getElementById('f-lens').value]")
        if len(cells) > 1:
            form.type(cell=cells[0])
        form.page.locator("#add").click()
        form.status("X-1 is taken; 1 sheet here.")
        said = form.page.locator("#list").inner_text()
        assert "<img src=x onerror=alert(1)>" in said
        assert "</script><script>alert(2)</script>" in said
        assert form.page.locator("#list img, #list script").count() == 0


def test_nobody_is_kept_out(form: Opened):
    page = form.page
    form.type(**FIRST)
    page.locator("#add").click()
    form.status("BW-05 is taken; 1 sheet here.")
    form.type(stop="13½")
    page.locator("#add").click()
    for group in page.locator("details").all():
        group.evaluate("group => group.setAttribute('open', '')")
    found = Axe().run(page, options=EVERYTHING)
    assert found.violations_count == 0, found.generate_report()
    assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]


def test_everything_is_under_a_thumb(browser: Browser, form_file: Path):
    for form in opened(browser, form_file, View(390, "light")):
        for control in form.page.locator(
            "button:visible, input:visible, select:visible, summary:visible"
        ).all():
            box = control.bounding_box()
            assert box is not None
            assert box["height"] >= 44
            assert box["width"] >= 44
        bar = form.page.locator("#add").bounding_box()
        assert bar is not None
        assert bar["y"] + bar["height"] <= 860  # in reach without scrolling
