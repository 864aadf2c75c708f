"""The pages of a lens, a film and a batch: their figures by other arithmetic, odd names, the way between them."""

import json
import re
import statistics
from html import unescape
from pathlib import Path
from urllib.parse import quote

import pytest
import pytest_asyncio
from datasette.app import Datasette

from tests.simulation import late_may
from tests.web.worked import BATCH, ENDS_ALIKE, FILM, FOG, LENS, SHEETS, build

pytestmark = pytest.mark.asyncio

# Student's t at 0.95 one-sided, as every printed table has it.
T_95 = {1: 6.314, 2: 2.920, 3: 2.353, 4: 2.132, 5: 2.015}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return build(tmp_path_factory.mktemp("equipment"))


@pytest_asyncio.fixture
async def known(folder):
    return await site_of(folder)


@pytest_asyncio.fixture
async def demo(sample):
    return await site_of(sample)


async def site_of(folder):
    datasette = Datasette([str(folder / "negcat.db")])
    await datasette.invoke_startup()
    return datasette


@pytest.fixture(scope="module")
def truth():
    path = Path(__file__).parents[2] / "sample_archive" / "truth.json"
    return {sheet["sheet"]: sheet for sheet in json.loads(path.read_text(encoding="utf-8"))["sheets"]}


async def told(site, kind, name):
    answer = await site.client.get(f"/{kind}/{quote(name, safe='')}.json")
    assert answer.status_code == 200, answer.text
    return answer.json()


async def page(site, kind, name):
    answer = await site.client.get(f"/{kind}/{quote(name, safe='')}")
    assert answer.status_code == 200, answer.text
    return answer.text


def interval(values):
    half = T_95[len(values) - 1] * statistics.stdev(values) / len(values) ** 0.5
    return statistics.fmean(values) - half, statistics.fmean(values) + half


def holds(summary, values):
    """Hold a summary against the mean, the interval and the median by the standard library and a printed t."""
    assert summary["count"] == len(values)
    assert summary["mean"] == pytest.approx(statistics.fmean(values))
    assert summary["median"] == pytest.approx(statistics.median(values))
    if len(values) > 1:
        assert (summary["low"], summary["high"]) == pytest.approx(interval(values), abs=1e-3)
    else:
        assert (summary["low"], summary["high"]) == (None, None)
        assert summary["reason"]
    return True


def links(html):
    return [unescape(href) for href in re.findall(r'href="([^"]*)"', html)]


def plain(html):
    """The words of a page, with no mark-up and no line breaks."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


# A lens ------------------------------------------------------------------------------------------------------


async def test_every_cell_says_what_its_own_sheets_say(known):
    lens = await told(known, "lens", LENS)
    assert [cell["cell"] for cell in lens["cells"]] == ["whole", "rear", "front"]
    for cell in lens["cells"]:
        own = [row for row in SHEETS.values() if row[0] == cell["cell"]]
        assert cell["sheets"] == len(own)
        assert holds(cell["residual_stops"], [row[6] for row in own if row[6] is not None])
        assert cell["verdicts"] == {
            word: sum(row[5] == word for row in own) for word in {row[5] for row in own}
        }
    whole, rear, front = lens["cells"]
    assert (whole["focal_mm"], rear["mounted"], rear["scale_error_stops"]) == (240, "behind", -0.5)
    assert (whole["scale"], rear["scale"], front["cell_to_stop_mm"]) == ("whole", "rear", 12)
    assert lens["sheets"] == len(SHEETS)


async def test_stops_are_summed_up_by_value_and_scale_where_there_are_three(known):
    lens = await told(known, "lens", LENS)
    (row,) = lens["cells"][0]["stops"]
    # 22, f/22 and its exact value are one stop; f/32 has one sheet and stays out.
    assert (row["stop"], row["scale"]) == ("22", "whole")
    assert row["f_number"] == pytest.approx(2**4.5, abs=1e-5)
    assert holds(row["residual_stops"], [-0.62, -0.58, -0.70, 1.40])
    # Three sheets of the rear cell at 22, read from two scales, are no three of a kind.
    assert lens["cells"][1]["stops"] == []


async def test_the_lens_page_shows_its_figures_and_leads_to_exactly_the_sheets(known):
    html = await page(known, "lens", LENS)
    words = plain(html)
    low, high = interval([-0.62, -0.58, -0.70, 1.40, -0.55])
    assert (
        f"After the decision, mean of 5 {statistics.fmean([-0.62, -0.58, -0.70, 1.40, -0.55]):.2f}".replace(
            "-", "−"
        )
        in words
    )
    assert f"−{-low:.2f} to +{high:.2f}" in words
    assert "no verdict on a cell’s scale" in words
    assert "Known scale error −0.50 stop" in words
    found = [
        link
        for link in links(html)
        if link.startswith("/?") and "cell=rear" in link and "verdict" not in link
    ]
    answer = await known.client.get(found[0])
    assert re.findall(r'class="plate-id">([^<]+)<', answer.text) == ["S-11", "S-07", "S-06"]
    verdict = next(link for link in links(html) if "verdict=thin%2C" in link)
    answer = await known.client.get(verdict)
    assert re.findall(r'class="plate-id">([^<]+)<', answer.text) == ["S-04"]


async def test_one_sheet_has_no_interval_and_says_why(known):
    words = plain(await page(known, "lens", LENS))
    front = words[words.index("front Focal length") :]
    assert "mean of 1 +0.25 stop 90 % interval none" in front
    assert "No interval: a single one has no scatter" in front


async def test_the_shutter_stands_marked_and_measured(known):
    lens = await told(known, "lens", LENS)
    # 1/15 stands for 2^-4 s; 0.08 s is log2(0.08 × 16) stop more.
    assert [time["marked"] for time in lens["shutter_times"]] == ["1/15", "1/2"]
    assert lens["shutter_times"][0]["stops"] == pytest.approx(0.3561, abs=1e-4)
    words = plain(await page(known, "lens", LENS))
    assert "1/15 s 0.0800 +0.36" in words
    assert "Not recorded which shutter" in plain(await page(known, "lens", "Haldane"))


async def test_a_lens_without_measured_sheets_says_so(known):
    words = plain(await page(known, "lens", "Haldane"))
    assert "Not measured: no sheet made with this lens has a density yet." in words
    assert "Stop by stop" not in words
    assert (await told(known, "lens", ENDS_ALIKE))["cells"][0]["residual_stops"]["mean"] is None


# A film ------------------------------------------------------------------------------------------------------


async def test_reciprocity_is_the_law_on_record(known):
    film = await told(known, "film", FILM)
    given = {time["metered_s"]: time["given_s"] for time in film["reciprocity"]["times"]}
    # t^1.3 by logarithms: 1, 2.462, 6.063, 14.93, 33.80, 83.23, 204.9, 504.6 s.
    assert given == pytest.approx(
        {1: 1, 2: 2.462, 4: 6.063, 8: 14.929, 15: 33.80, 30: 83.23, 60: 204.93, 120: 504.6}, rel=1e-3
    )
    words = plain(await page(known, "film", FILM))
    assert "120 504.6 8 min 25 s +2.07" in words
    assert "exponent 1.3" in words


async def test_a_law_that_nobody_recorded_is_told_from_one_that_needs_nothing(known):
    unknown, nothing = (
        plain(await page(known, "film", "Marl Pan 100")),
        plain(await page(known, "film", "Marl Ortho 25")),
    )
    assert "Not recorded: every time is taken to stand for itself" in unknown
    assert "On record as needing no correction" in nothing
    for words in (unknown, nothing):
        assert "Metered" not in words
        assert "not recorded, because nobody has written it down, and not measured, because no sheet" in words
        assert "Base+fog, measured not measured" in words
        assert "Base+fog, recorded not recorded" in words


async def test_a_tag_says_what_was_found_of_it(known):
    tags = {tag["tag"]: tag for tag in (await told(known, "film", FILM))["tags"]}
    assert list(tags) == ["N-2", "N-1", "N", "N+1"]
    # S-05 only repeats its tag: its readings tell nothing of the N.
    assert holds(tags["N"]["found_n"], [-0.10, 0.12, 0.05, 0.20])
    assert tags["N"]["only_the_tag"] == 1
    assert holds(tags["N"]["residual_stops"], [-0.62, -0.58, -0.70, 1.40, -0.55])
    assert holds(tags["N+1"]["found_n"], [0.60, 0.40, 1.10])
    assert tags["N-2"]["found_n"]["mean"] is None
    assert (tags["N-2"]["sheets"], tags["N-2"]["measured"], tags["N-2"]["planned_n"]) == (2, 0, -2.0)
    words = plain(await page(known, "film", FILM))
    assert "1 sheet is left out of the N found" in words


async def test_times_stand_as_they_were_used_with_what_came_of_them(known):
    developed = (await told(known, "film", FILM))["developments"]
    rows = {(row["tag"], row["time_s"]): row for row in developed}
    assert set(rows) == {("N-2", 720.0), ("N", 540.0), ("N+1", 630.0), ("N+1", 660.0)}
    assert (rows["N-2", 720.0]["sheets"], rows["N-2", 720.0]["found_n"]["count"]) == (1, 0)
    assert rows["N", 540.0]["batches"] == [BATCH]
    assert holds(rows["N+1", 630.0]["found_n"], [0.60, 0.40])
    words = plain(await page(known, "film", FILM))
    assert "Ousel <s> , 1+25, 20 °C" in words
    assert "dilution not recorded, temperature not recorded" in words
    assert "N+1 10 min 30 s 2" in words
    assert "safety data sheet" in words


async def test_base_fog_index_and_tests_of_a_film(known):
    film = await told(known, "film", FILM)
    assert film["base_fog"] == 0.11
    assert holds(film["base_fog_found"], sorted(FOG.values()))
    assert film["exposure_indexes"] == [
        {"exposure_index": 32.0, "sheets": 10},
        {"exposure_index": 64.0, "sheets": 1},
    ]
    words = plain(await page(known, "film", FILM))
    assert "Base+fog, recorded 0.110" in words
    assert "0.128, the median of 4 sheets, 0.120 to 0.140" in words
    assert "Used at 32 (10 sheets), 64 (1 sheet)." in words
    assert "T <1> Ousel <s> 9 min T5 5 densities, typed in" in words
    assert "no reading on this film has both" in words


# A batch -----------------------------------------------------------------------------------------------------


async def test_a_batch_says_what_its_own_sheets_have_in_common(known):
    batch = await told(known, "batch", BATCH)
    assert holds(batch["residual_stops"], [-0.62, -0.58, -0.70, 1.40, -0.55])
    assert batch["residual_stops"]["apart"] == ["S-04"]
    assert holds(batch["n_error"], [-0.10, 0.12, 0.05, 0.20])
    assert batch["n_error"]["apart"] == []
    assert [sheet["sheet"] for sheet in batch["sheets"]] == ["S-01", "S-02", "S-03", "S-04", "S-05"]
    assert holds(batch["base_fog_found"], [0.12, 0.13, 0.125])
    html = await page(known, "batch", BATCH)
    words = plain(html)
    assert "Apart from the others: S-04 ." in words
    assert "its readings can’t tell the N" in words
    assert "Base+fog, recorded 0.115" in words
    assert "Base+fog, measured 0.125, the median of 3 sheets" in words
    assert "warm & <b>fresh</b>" in words
    assert "safety data sheet" in words
    assert "/sheet/S-04" in links(html)


async def test_found_less_planned_is_by_the_sheets_own_tag(known):
    batch = await told(known, "batch", "B-2")
    assert holds(batch["n_error"], [-0.40, -0.60])
    assert "Aimed at not recorded" in plain(await page(known, "batch", "B-2"))


async def test_a_batch_leads_to_those_before_and_after(known):
    neighbours = {
        name: ((batch := await told(known, "batch", name))["earlier"], batch["later"])
        for name in (BATCH, "B-2", "B-3", "B-0")
    }
    assert neighbours == {
        BATCH: (None, "B-2"),
        "B-2": (BATCH, "B-3"),
        "B-3": ("B-2", None),
        "B-0": (None, None),
    }
    html = await page(known, "batch", "B-2")
    assert f'rel="prev" href="/batch/{quote(BATCH, safe="")}"' in html
    assert "no date recorded" in await page(known, "batch", "B-0")


# Names and ways ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("kind", "name"), [("lens", LENS), ("film", FILM), ("batch", BATCH)])
async def test_a_name_may_hold_anything(known, kind, name):
    html = await page(known, kind, name)
    assert (await told(known, kind, name))[kind] == name
    assert f"<h1>{name}</h1>" not in html
    assert unescape(re.search(r"<h1>(.*?)</h1>", html)[1]) == name
    for mark in ("<b>", "<i>", "<u>", "<s>"):
        assert mark not in re.sub(r"<b>(Caution\.|Ousel &lt;s&gt;)</b>", "", html)
    twin = next(link for link in links(html) if link.endswith(".json"))
    assert (await known.client.get(twin)).json()[kind] == name


async def test_the_pages_lead_to_each_other(known):
    sheet = links((await known.client.get("/sheet/S-07")).text)
    for kind, name in (("lens", LENS), ("film", FILM), ("batch", "B-2")):
        assert f"/{kind}/{quote(name, safe='')}" in sheet
    assert f"/film/{quote(FILM, safe='')}" in links(await page(known, "lens", LENS))
    assert f"/lens/{quote('Haldane', safe='')}" in links(await page(known, "lens", LENS))
    film = links(await page(known, "film", FILM))
    assert {
        f"/lens/{quote(LENS, safe='')}",
        f"/batch/{quote(BATCH, safe='')}",
        "/film/Marl%20Pan%20100",
    } <= set(film)
    batch = links(await page(known, "batch", BATCH))
    assert {f"/lens/{quote(LENS, safe='')}", f"/film/{quote(FILM, safe='')}"} <= set(batch)
    for link in {link for link in (*film, *batch) if link.startswith(("/lens", "/film", "/batch", "/?"))}:
        assert (await known.client.get(link)).status_code == 200, link


async def test_a_name_that_ends_in_json_is_itself_first(known):
    assert "<h1>Haldane.json</h1>" in (await known.client.get("/lens/Haldane.json")).text
    assert (await known.client.get("/lens/Haldane.json.json")).json()["lens"] == "Haldane.json"
    assert "<h1>Haldane</h1>" in (await known.client.get("/lens/hALDANE")).text


@pytest.mark.parametrize(("kind", "near"), [("lens", "Haldane"), ("film", "Marl Pan 100"), ("batch", "B-2")])
async def test_an_unknown_name_names_the_nearest(known, kind, near):
    answer = await known.client.get(f"/{kind}/{quote(near + 'x')}")
    assert answer.status_code == 404
    assert near in plain(answer.text)
    answer = await known.client.get(f"/{kind}/{quote(near + 'x')}.json")
    assert answer.status_code == 404
    assert near in answer.json()["error"]


async def test_the_pages_are_only_read(known):
    for path in ("/lens/Haldane", "/film/Marl%20Pan%20100", "/batch/B-2"):
        assert (await known.client.post(path)).status_code in (403, 405)
        assert (await known.client.head(path)).status_code == 200
        policy = (await known.client.get(path)).headers["content-security-policy"]
        assert "script-src 'self'" in policy


# The sample, of which the truth is known ---------------------------------------------------------------------


async def test_the_rear_cell_shows_the_half_stop_it_loses(demo):
    whole, front, rear = (await told(demo, "lens", "Aldwater convertible 195"))["cells"]
    for cell in (whole, front, rear):
        assert cell["sheets"] == sum(entry.cell == cell["cell"] for entry in late_may.ALL)
    # Half the rear's sheets are on the slow film: −0.5 − 0.667/2; of the whole's one in seven.
    assert rear["residual_stops"]["low"] < -0.5 - 0.667 / 2 < rear["residual_stops"]["high"]
    assert whole["residual_stops"]["low"] < -0.667 / 7 < whole["residual_stops"]["high"]
    assert rear["verdicts"]["thin"] >= 5


async def test_the_film_shows_what_its_developing_came_to(demo, truth):
    for name in ("Sorrel 100", "Marl 400"):
        film = await told(demo, "film", name)
        for row in film["developments"]:
            waiting = late_may.DEVELOPED if late_may.BATCH[0] in row["batches"] else ()
            true = [
                sheet["n"]
                for sheet in truth.values()
                if sheet["batch"] in row["batches"] and sheet["film"] == name
            ]
            found = row["found_n"]
            assert row["sheets"] == len(true) + sum(entry.film == name for entry in waiting)
            assert found["mean"] == pytest.approx(statistics.fmean(true), abs=0.35), row["tag"]
        fogs = [sheet["base_fog"] for sheet in truth.values() if sheet["film"] == name]
        assert film["base_fog_found"]["median"] == pytest.approx(statistics.median(fogs), abs=0.004)
        n1 = next(tag for tag in film["tags"] if tag["tag"] == "N+1")
        assert n1["found_n"]["mean"] < 0.8


async def test_the_readings_are_drawn_where_the_truth_has_them(demo, truth):
    film = await told(demo, "film", "Sorrel 100")
    points = [point for tag in film["behaviour"]["tags"] for point in tag["points"]]
    assert len(points) > 40
    for point in points:
        true = next(
            reading for reading in truth[point["sheet"]]["readings"] if reading["name"] == point["name"]
        )
        assert point["net_density"] == pytest.approx(true["net_density"], abs=max(4 * point["sd"], 0.02))
    n = next(tag for tag in film["behaviour"]["tags"] if tag["tag"] == "N+1")
    # N+1 on zone V, 1 + 7/6 × 4 = 5.667 as a print zone, where the target has some 0.83.
    middle = next(place for place in n["line"] if place["given_zone"] == 5.0)
    assert middle["density"] == pytest.approx(0.83, abs=0.01)
    html = await page(demo, "film", "Sorrel 100")
    html = html[html.index("How it answered") :]
    assert html.count('<circle class="found"') == len(points)
    assert sum(
        html.count(f'<a href="/sheet/{sheet}">') for sheet in {point["sheet"] for point in points}
    ) == len(points)


async def test_a_table_past_its_end_says_so(demo):
    times = (await told(demo, "film", "Sorrel 100"))["reciprocity"]["times"]
    assert [time["given_s"] for time in times if time["metered_s"] in (1.0, 2.0, 30.0, 60.0)] == [
        1.0,
        2.5,
        75.0,
        180.0,
    ]
    assert [time["metered_s"] for time in times if time["extrapolated"]] == [120.0]
    assert plain(await page(demo, "film", "Sorrel 100")).count("past the table") == 1
