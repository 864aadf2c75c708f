"""The sheet page: planned, given, found."""

import re

import pytest

from negcat.errors import UnknownNameError
from negcat.web.reading import Target
from negcat.web.sheet import set_page
from negcat.work.archive import Archive
from negcat.work.show import dossier

pytestmark = pytest.mark.asyncio


def known(archive, sheet):
    with Archive.open(archive, readonly=True) as opened:
        return dossier(opened, sheet)


async def page_of(site, sheet):
    response = await site.client.get(f"/sheet/{sheet}")
    assert response.status_code == 200, response.text
    return response.text


def rows_of(html: str, table: str) -> list[list[str]]:
    body = re.search(rf'<table class="{table}"[^>]*>(.*?)</table>', html, re.DOTALL)[1]
    rows = []
    for row in re.findall(r"<tr.*?</tr>", body, re.DOTALL):
        cells = re.findall(r"<t[hd].*?>(.*?)</t[hd]>", row, re.DOTALL)
        rows.append([re.sub(r"<span.*?</span>|<.*?>|\s+", " ", cell).strip() for cell in cells])
    return rows


def number(text: str) -> float:
    return float(text.replace("−", "-"))


async def test_planned_given_and_found_stand_in_the_table(site, archive):
    reading = known(archive, "BW-01")["readings"][0]
    rows = rows_of(await page_of(site, "BW-01"), "readings")
    planned, given, found, difference = rows[2:6]
    assert (planned[0], number(planned[1]), number(planned[2])) == ("planned", 4.0, 4.5)
    assert number(planned[4]) == pytest.approx(reading["target_density"], abs=0.005)
    assert number(given[1]) == pytest.approx(reading["given_zone"], abs=0.005)
    assert number(found[2]) == pytest.approx(reading["print_zone"], abs=0.005)
    assert number(found[4]) == pytest.approx(0.42, abs=0.02)
    assert found[5].startswith("± 0.0")
    assert number(difference[4]) == pytest.approx(reading["error_density"], abs=0.005)


async def test_the_ledger_adds_up_as_printed(site, archive):
    rows = rows_of(await page_of(site, "BW-01"), "ledger")[1:]
    lines, total = rows[:-1], rows[-1]
    assert [line[0] for line in lines[:3]] == ["Stop and time", "Filter", "Bellows"]
    assert round(sum(number(line[1]) for line in lines), 2) == number(total[1])
    assert number(total[1]) == pytest.approx(known(archive, "BW-01")["exposure"]["decision_stops"], abs=0.005)


async def test_the_curve_carries_every_measured_reading_and_has_its_figures(site):
    html = await page_of(site, "BW-01")
    chart = re.search(r'<figure class="chart"[^>]*>.*?</figure>', html, re.DOTALL)[0]
    assert chart.count('<circle class="planned"') == 2
    assert chart.count('<circle class="found"') == 2
    # A density beneath the target is drawn beneath it.
    heights = re.findall(r'<circle class="(planned|found)" cx="[\d.]+" cy="([\d.]+)"', chart)
    assert float(heights[1][1]) > float(heights[0][1])
    assert "soot: 0.42 found" in chart
    figures = rows_of(html, "lines")
    assert ["V", "0.70"] in figures
    assert len(figures) == 12


async def test_verdict_reasons_development_scan_and_neighbours_are_there(site, archive):
    html = await page_of(site, "BW-01")
    whole = known(archive, "BW-01")
    assert "<span>thin, contrasty</span>" in html
    for sentence in whole["result"]["why"]:
        assert sentence in html.replace("&#39;", "'")
    assert "two-bath" in html
    assert whole["scans"][0]["sha256"] in html
    assert "from T21 of" in html
    assert 'rel="next" href="/sheet/BW-02"' in html
    assert '<a href="/sheet/BW-03.json">BW-03.json</a>' in html
    assert "front rise 12 mm, rear tilt 3.5°" in html
    assert 'href="/negcat/sheets/BW-01"' in html


async def test_readings_are_marked_on_the_picture_where_their_spots_are(site):
    html = await page_of(site, "BW-01")
    spots = re.search(r'<svg class="spots" viewBox="0 0 (\d+) (\d+)".*?</svg>', html, re.DOTALL)
    places = re.findall(r'class="over" cx="([\d.]+)" cy="([\d.]+)"', spots[0])
    assert [round(float(x) / int(spots[1]), 2) for x, _ in places] == [0.3, 0.7]


async def test_the_twin_is_the_dossier(site, archive):
    twin = (await site.client.get("/sheet/BW-01.json")).json()
    assert twin == known(archive, "BW-01")


async def test_a_sheet_whose_id_ends_in_json_has_a_page_and_a_twin(site):
    page = await site.client.get("/sheet/BW-03.json")
    assert page.headers["content-type"].startswith("text/html")
    twin = await site.client.get("/sheet/BW-03.json.json")
    assert twin.json()["sheet"] == "BW-03.json"


async def test_a_sheet_without_scan_development_or_reading_has_a_page(site):
    html = await page_of(site, "BW-04")
    assert "no scan yet" in html
    assert "Not developed yet" in html
    assert "The record has no readings" in html
    assert "not measured" in html


async def test_an_unknown_sheet_is_one_sentence(site, archive):
    with pytest.raises(UnknownNameError) as said:
        known(archive, "BW-99")
    for path in ("/sheet/BW-99", "/sheet/BW-99.json", "/sheet/BW%2099"):
        response = await site.client.get(path)
        assert response.status_code == 404, path
        assert "Traceback" not in response.text
    assert str(said.value) in (await site.client.get("/sheet/BW-99.json")).json()["error"]


async def test_a_page_that_is_nowhere_is_one_sentence(site):
    response = await site.client.get("/nowhere/at/all/or/<b>", follow_redirects=True)
    assert response.status_code == 404
    assert 'class="sentence"' in response.text
    assert "<b>" not in response.text.partition("<main")[2]


async def test_the_frame_found_is_drawn_and_said(site, archive):
    whole = known(archive, "BW-01")
    frame = whole["scans"][0]["frame"]
    assert frame["found"] is True
    assert frame["edges"] == ["left", "right", "top", "bottom"]
    html = await page_of(site, "BW-01")
    box = re.search(r'<svg class="spots" viewBox="0 0 (\d+) (\d+)"', html)
    width, height = int(box[1]), int(box[2])
    points = re.search(r'<polygon class="over" points="([^"]+)"', html)[1]
    corners = [tuple(float(number) for number in pair.split(",")) for pair in points.split()]
    # The picture lies within the rebate of 40 pixels on a scan of 1040 by 840.
    for (x, y), (px, py) in zip(corners, ((60, 60), (980, 60), (980, 780), (60, 780)), strict=True):
        assert x == pytest.approx(width * px / 1040, abs=4)
        assert y == pytest.approx(height * py / 840, abs=4)
    assert "Clear margin left, right, top and bottom; the film lies straight" in html


async def test_every_scan_says_why_it_is_measured_or_not(site, archive):
    html = await page_of(site, "BW-01")
    assert "in the grey channel" in html
    assert re.search(r"flatbed, from T21 of \d+ \w+ 20\d\d", html)


def scan_of(**more):
    return {
        "scan": "a" * 12,
        "path": "BW-01.tif",
        "preview_width": 1000,
        "preview_height": 800,
        "measured": False,
        "calibrated": True,
        "unmeasured": "it is a positive",
        "frame": {"found": False, "reason": "the film was cropped inside the picture"},
        **more,
    }


async def test_a_carried_spot_says_to_check_it_and_why_a_scan_is_not_measured():
    reading = {"name": "soot", "role": "shadow", "spot_status": "carried"}
    target = Target("t", (0.0, 1.0), (0.0, 0.1))
    page = set_page({"sheet": "BW-01", "scans": [scan_of()], "readings": [reading]}, target)
    assert "check" in page.readings[0].how
    assert (page.outline, page.frame) == ("", "No margin found: the film was cropped inside the picture")
    lines = dict(page.scans[0])
    assert lines["Not measured"] == "it is a positive"


async def test_a_frame_askew_is_drawn_askew():
    frame = {"found": True, "picture": [0.1, 0.1, 0.9, 0.9], "tilt_deg": 2.0, "words": "Clear margin left"}
    page = set_page({"sheet": "BW-01", "scans": [scan_of(frame=frame)]}, Target("t", (0.0, 1.0), (0.0, 0.1)))
    (x0, y0), (x1, y1) = ([float(n) for n in pair.split(",")] for pair in page.outline.split()[:2])
    # Clockwise, with y down: the right end of the upper edge lies lower.
    assert (y1 - y0) / (x1 - x0) == pytest.approx(0.0349, abs=0.001)
