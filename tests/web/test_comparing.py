"""Two scans of one sheet: the page without JavaScript, its document and the probe on both."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
import pytest_asyncio
from datasette.app import Datasette

from negcat.work import comparing
from negcat.work.archive import Archive
from tests.web.twice import DRIFT, SPOTS


@pytest.fixture(scope="module")
def twice(scanned_twice: Path) -> Path:
    return scanned_twice


@pytest_asyncio.fixture
async def site(twice: Path) -> Datasette:
    datasette = Datasette([str(twice / "negcat.db")])
    await datasette.invoke_startup()
    return datasette


def scans_of(twice: Path, sheet: str) -> list[str]:
    """The scans of a sheet, in the order in which they were taken in."""
    with Archive.open(twice, readonly=True) as archive:
        return [str(row["scan"]) for row in reversed(comparing.scans_of(archive, sheet))]


async def compared(site: Datasette, sheet: str, a: str = "", b: str = "") -> dict:
    answer = await site.client.get(f"/sheet/{sheet}/compare.json?a={a}&b={b}")
    assert answer.status_code == 200, answer.text
    return answer.json()


@pytest.mark.asyncio
async def test_densities_of_the_same_place_on_a_scan_that_is_mirrored_and_on_its_side(site, twice):
    first, second = scans_of(twice, "TW-01")
    found = await compared(site, "TW-01")
    assert (found["a"]["scan"], found["b"]["scan"], found["placed"], found["reason"]) == (
        first,
        second,
        True,
        "",
    )
    assert found["correlation"] > 0.7
    assert found["lies"]["swapped"]
    for reading, (name, (x, y, density)) in zip(found["readings"], SPOTS.items(), strict=True):
        assert reading["name"] == name
        assert (reading["a"]["x"], reading["a"]["y"]) == pytest.approx((x, y))
        # Mirrored, then turned clockwise by a quarter: what was right goes down.
        assert (reading["b"]["x"], reading["b"]["y"]) == pytest.approx((1 - y, 1 - x), abs=0.004)
        assert reading["a"]["density"] == pytest.approx(density, abs=0.02)
        apart = DRIFT if name == "sky" else 0.0
        assert reading["difference"] == pytest.approx(apart, abs=0.02)
        assert reading["agrees"] == (name == "soot")
        assert 0 < reading["sd"] < 0.05


@pytest.mark.asyncio
async def test_the_other_way_round_the_difference_has_the_other_sign(site, twice):
    first, second = scans_of(twice, "TW-01")
    found = await compared(site, "TW-01", second, first)
    sky = found["readings"][1]
    assert sky["difference"] == pytest.approx(-DRIFT, abs=0.02)
    assert (sky["b"]["x"], sky["b"]["y"]) == pytest.approx((0.7, 0.6), abs=0.004)


@pytest.mark.asyncio
async def test_what_both_share_through_one_profile_goes_out_of_the_difference(site, twice):
    found = (await compared(site, "TW-01"))["readings"][1]
    apart = (found["a"]["sd"] ** 2 + found["b"]["sd"] ** 2) ** 0.5
    assert found["sd"] < 0.98 * apart


@pytest.mark.asyncio
async def test_scans_that_show_different_pictures_are_placed_by_fractions_and_it_is_said(site):
    found = await compared(site, "TW-02")
    assert not found["placed"]
    assert found["reason"].startswith("The two scans couldn’t be laid on each other")
    assert found["places"] == [[1, 0, 0], [0, 1, 0]]
    assert [reading["agrees"] for reading in found["readings"]] == [None, None]
    assert all(reading["difference"] is not None for reading in found["readings"])
    page = (await site.client.get("/sheet/TW-02/compare")).text
    assert "couldn’t be laid on each other" in page
    assert "perhaps another place" in page


@pytest.mark.asyncio
async def test_a_scan_without_a_profile_has_no_density_and_says_so(site, twice):
    first, second = scans_of(twice, "TW-03")
    found = await compared(site, "TW-03", first, second)
    assert found["placed"]
    assert found["b"]["profile"] is None
    assert "no densities" in found["b"]["reason"]
    for reading in found["readings"]:
        assert reading["a"]["density"] is not None
        assert reading["b"]["density"] is None
        assert (reading["difference"], reading["sd"], reading["agrees"]) == (None, None, None)
        assert second in reading["reason"]
    page = (await site.client.get("/sheet/TW-03/compare")).text
    assert "This scan has no densities" in page


@pytest.mark.asyncio
async def test_spots_of_a_third_scan_are_carried_to_both(site, twice):
    _, moved, turned = scans_of(twice, "TW-04")
    found = await compared(site, "TW-04", moved, turned)
    for reading, (x, y, density) in zip(found["readings"], SPOTS.values(), strict=True):
        wanted = ((x * 1040 - 10) / 1030, (y * 840 - 6) / 834)
        assert (reading["a"]["x"], reading["a"]["y"]) == pytest.approx(wanted, abs=0.004)
        assert (reading["b"]["x"], reading["b"]["y"]) == pytest.approx((1 - x, 1 - y), abs=0.004)
        assert reading["b"]["density"] == pytest.approx(density, abs=0.02)
        assert reading["agrees"]


@pytest.mark.asyncio
async def test_the_probe_measures_the_same_place_on_both(site, twice):
    first, second = scans_of(twice, "TW-01")
    address = f"/sheet/TW-01/compare/probe.json?a={first}&b={second}"
    found = (await site.client.get(f"{address}&x=0.7&y=0.6&d=2")).json()
    assert found["difference"] == pytest.approx(DRIFT, abs=0.02)
    assert found["difference_text"].startswith("+0.1")
    assert found["verdict_text"] == "more than is allowed"
    back = (await site.client.get(f"{address}&x={found['b']['x']}&y={found['b']['y']}&d=2&on=b")).json()
    assert (back["a"]["x"], back["a"]["y"]) == pytest.approx((0.7, 0.6), abs=1e-6)
    assert back["difference"] == pytest.approx(found["difference"], abs=1e-6)
    for wrong in ("", "&x=0.5&y=nan&d=2", "&x=2&y=0.5", "&x=0.5&y=0.5&d=500"):
        answer = await site.client.get(address + wrong)
        assert answer.status_code == 400
        assert answer.json()["error"]


@pytest.mark.asyncio
async def test_the_page_holds_two_pictures_and_the_table(site, twice):
    first, second = scans_of(twice, "TW-01")
    page = (await site.client.get("/sheet/TW-01/compare")).text
    for scan in (first, second):
        assert f"/preview/{scan}-page.jpg" in page
    # The second is shown as the first lies.
    assert 'transform="matrix(0 ' in page
    assert "mirrored and turned by" in page
    assert page.count('class="difference"') == 2
    assert "more than is allowed" in page
    assert "within what is allowed" in page


@pytest.mark.asyncio
async def test_it_leads_to_the_sheets_row_in_the_tables(site):
    html = (await site.client.get("/sheet/TW-01/compare")).text
    assert 'href="/negcat/sheets/TW-01">its row in the tables</a>' in html
    assert (await site.client.get("/negcat/sheets/TW-01")).status_code == 200


@pytest.mark.asyncio
async def test_what_cant_be_compared_is_said_in_a_sentence(site, twice):
    first, _ = scans_of(twice, "TW-01")
    other = scans_of(twice, "TW-02")[0]
    for address, status, said in (
        (f"a={first}&b={first}", 400, "named twice"),
        (f"a={first}&b={other}", 404, "has no scan"),
        ("a=none", 404, "has no scan"),
    ):
        for ending in ("", ".json"):
            answer = await site.client.get(f"/sheet/TW-01/compare{ending}?{address}")
            assert (answer.status_code, said in answer.text) == (status, True), address
    assert (await site.client.get("/sheet/none/compare")).status_code == 404


@pytest.mark.asyncio
async def test_one_scan_has_nothing_to_be_compared_with(archive):
    datasette = Datasette([str(archive / "negcat.db")])
    await datasette.invoke_startup()
    answer = await datasette.client.get("/sheet/BW-01/compare")
    assert answer.status_code == 404
    assert "two are needed to compare" in answer.text


@pytest.mark.asyncio
async def test_looking_writes_nothing(site, twice):
    def kept() -> list:
        with sqlite3.connect(twice / "negcat.db") as database:
            return database.execute("select scan, from_scan from registrations order by 1, 2").fetchall()

    before = kept()
    await compared(site, "TW-03")
    await compared(site, "TW-04", *scans_of(twice, "TW-04")[1:])
    assert kept() == before


@pytest.mark.asyncio
async def test_the_sheet_page_shows_the_scan_that_is_asked_for(site, twice):
    first, second = scans_of(twice, "TW-01")
    page = (await site.client.get("/sheet/TW-01")).text
    assert f"/preview/{second}-page.jpg" in page  # the later one is measured
    assert f'?scan={first}"' in page
    assert f"/sheet/TW-01/compare?a={first}&amp;b={second}" in page
    page = (await site.client.get(f"/sheet/TW-01?scan={first}")).text
    assert f"/preview/{first}-page.jpg" in page
    assert f"viewer.json?scan={first}" in page
    assert f'?scan={first}" aria-current="true"' in page
    answer = await site.client.get("/sheet/TW-01?scan=%3Cb%3Enone")
    assert answer.status_code == 404
    assert "<b>none" not in answer.text
