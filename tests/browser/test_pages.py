"""The pages as somebody meets them: in a browser, wide and narrow, light and dark, by pointer and by keyboard."""

import json
import time

import numpy as np
import pytest
import tifffile

from negcat.work.archive import Archive
from negcat.work.ingest import ingest_scans
from negcat.work.taking import take_record_files
from tests.browser.conftest import (
    NARROW,
    WIDE,
    View,
    only,
    serving,
    watched,
)
from tests.web.conftest import codes

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


def test_pages_open_in_silence_ask_nobody_else_and_scroll_one_way(seen):
    for path in OWN + DATASETTES:
        page = seen.open(path)
        assert page.locator("h1").count() >= 1
        if path in OWN:
            assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), path
    assert seen.quiet()


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


@only("seen", NARROW)
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


@pytest.fixture(scope="module")
def crowd(tmp_path_factory):
    """A served archive of more sheets than a page of the wall holds, with pictures of several shapes."""
    root = tmp_path_factory.mktemp("crowd")
    masters = root / "masters"
    masters.mkdir()
    shapes = ((105, 130), (130, 105), (130, 180), (100, 100))
    sheets = []
    for number in range(100):
        height, width = shapes[number % len(shapes)]
        density = np.linspace(0.2, 1.5, height * width).reshape(height, width)
        tifffile.imwrite(
            masters / f"CR-{number:03}.tif",
            codes(density, number),
            resolution=(26, 26),
            resolutionunit=2,
            metadata=None,
        )
        sheets.append({"sheet": f"CR-{number:03}", "film": "Marl 4/5", "format": "4x5", "lens": "Corrin 150"})
        sheets[-1] |= {"stop": "22", "time": "1/2", "place": "Clay pit", "exposed_at": "2026-03-04"}
    records = {
        "films": [{"name": "Marl 4/5", "box_speed": 100}],
        "lenses": [{"name": "Corrin 150", "cells": [{"cell": "whole", "focal_mm": 150}]}],
        "sheets": sheets,
        "developments": [{"batch": "B 1/2", "developer": "two-bath", "time": "9m", "sheets": ["CR-000"]}],
    }
    (root / "records.json").write_text(json.dumps(records), encoding="utf-8")
    with Archive.create(root / "crowd") as archive:
        take_record_files(archive, [root / "records.json"])
        assert all(item.status == "added" for item in ingest_scans(archive, [masters]))
    yield from serving(root / "crowd")


@pytest.mark.parametrize(("width", "size"), [(1280, 96), (390, 48)])
def test_a_page_of_any_size_does_not_jump_while_its_pictures_come(browser, crowd, width, size):
    for seen in watched(browser, crowd, View(width, "light")):
        asked = []
        seen.page.on("request", lambda request, asked=asked: asked.append(request.url))
        page = seen.open(f"/?limit={size}&sort=sheet" if size != 48 else "/?sort=sheet")
        assert page.locator(".plate").count() == size
        # Pictures far below are not fetched before one comes near them.
        first = sum("/preview/" in url for url in asked)
        assert first < size or size <= 48
        height = page.evaluate("document.documentElement.scrollHeight")
        page.evaluate(
            """() => {
                window.shifts = [];
                new PerformanceObserver(list => window.shifts.push(...list.getEntries().map(entry => entry.value)))
                    .observe({ type: "layout-shift", buffered: true });
            }"""
        )
        for down in range(0, height, 700):
            page.evaluate(f"window.scrollTo(0, {down})")
            page.wait_for_timeout(40)
        page.wait_for_load_state("networkidle")
        assert sum("/preview/" in url for url in asked) == size
        assert page.evaluate("document.documentElement.scrollHeight") == height
        assert page.evaluate("window.shifts") == []
        drawn = page.evaluate(
            """[...document.querySelectorAll(".plate img")].map(image => [
                image.complete ? image.naturalWidth / image.naturalHeight : 0,
                image.getAttribute("width") / image.getAttribute("height"),
                getComputedStyle(image).objectFit])"""
        )
        for natural, stated, fit in drawn:
            assert natural == pytest.approx(stated, rel=0.02)
            assert fit == "contain"
        assert seen.quiet()


def test_the_wall_counts_pages_and_leads_on_to_what_it_is_narrowed_by(browser, crowd):
    for seen in watched(browser, crowd, View(390, "dark"), java_script_enabled=False):
        page = seen.open("/?film=Marl+4%2F5&sort=sheet&limit=48")
        assert page.locator(".count").inner_text() == "100 sheets that fit · review them"
        about = page.get_by_role("link", name="about this film")
        assert about.get_attribute("href").endswith("/film/Marl%204%2F5")
        page.get_by_role("link", name="Next").click()
        page.get_by_role("link", name="Next").click()
        assert page.url.endswith("/?film=Marl+4%2F5&sort=sheet&page=3")
        assert page.locator(".plate").count() == 4
        assert "97–100 of 100" in page.locator("nav.pages").inner_text()
        page = seen.open("/sheet/CR-000")
        ends = {link.get_attribute("href") for link in page.locator("main a").all()}
        assert {"/film/Marl%204%2F5", "/lens/Corrin%20150", "/batch/B%201%2F2"} <= ends
        assert seen.quiet()


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


@only("seen", WIDE)
def test_the_rear_cell_at_n_plus_1_by_keyboard_alone(seen):
    page = seen.open("/")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "To the content"
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "review them"
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


@only("seen", NARROW)
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


@only("seen", NARROW)
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
