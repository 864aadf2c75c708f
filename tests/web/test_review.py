"""The review's page says what the command says, leads to the sheets behind it, and takes an advice."""

from __future__ import annotations

import html
import json
import re
import shutil
from pathlib import Path
from urllib.parse import parse_qsl, urlencode, urlsplit

import pytest
from click.testing import CliRunner
from datasette.app import Datasette

from negcat.cli import main
from negcat.web.review_ring import draw_ring
from negcat.work.archive import Archive
from tests.web.conftest import form_token

pytestmark = pytest.mark.asyncio

INDEX = "index-marl-400"


class Visitor:
    """Somebody in front of the pages, who keeps what a browser keeps."""

    def __init__(self, root: Path, *, signed_in: bool = False) -> None:
        self.site = Datasette([str(root / "negcat.db")])
        self.cookies = {"ds_actor": self.site.sign({"a": {"id": "root"}}, "actor")} if signed_in else {}

    async def get(self, path: str):
        page = await self.site.client.get(path, cookies=self.cookies)
        self.cookies |= dict(page.cookies)
        return page

    async def post(self, fields: dict[str, str], **headers: str):
        return await self.site.client.post(
            "/review/accept", data=fields, cookies=self.cookies, headers=headers
        )


@pytest.fixture(scope="module")
def told(sample: Path) -> dict:
    """What the command says."""
    result = CliRunner().invoke(main, ["review", "--json", "-a", str(sample)])
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout)


@pytest.fixture
def own_sample(sample: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(sample, tmp_path / "own"))


def plain(page: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).replace("\u00a0", " ").split())


def accept_form(page: str, key: str) -> dict[str, str]:
    """The fields that the form of an advice sends."""
    (form,) = [
        form for form in re.findall(r'<form class="accept".*?</form>', page, re.S) if f'value="{key}"' in form
    ]
    fields = {}
    for tag in re.findall(r"<input [^>]*>", form):
        values = dict(re.findall(r'([a-z]+)="([^"]*)"', tag))
        fields[values["name"]] = html.unescape(values.get("value", ""))
    return fields


def changes(root: Path) -> list:
    with Archive.open(root, readonly=True) as archive:
        return archive.catalogue.dated_changes()


# Reading -----------------------------------------------------------------------------------------------------


async def test_page_and_document_say_what_the_command_says(sample, told):
    visitor = Visitor(sample)
    page = await visitor.get("/review")
    assert page.status_code == 200
    document = (await visitor.get("/review.json")).json()
    assert document.pop("accepted") == []
    assert document == told
    text = plain(page.text)
    for one in told["advice"]:
        assert one["sentence"] in text
        assert one["key"] in text
    for one in told["compared"]:
        assert one["answer"] in text
    assert told["gauge"] in text
    for factor in told["factors"]:
        assert factor["level"] in text


async def test_every_number_of_sheets_leads_to_those_sheets(sample):
    visitor = Visitor(sample)
    page = (await visitor.get("/review?tag=N%2B1")).text
    part = page[page.index('id="factors"') :]
    links = re.findall(r'<a href="(/\?[^"]+)">(\d+)<span class="unseen">', part)
    assert len(links) >= 8
    for href, count in links:
        asked = dict(parse_qsl(urlsplit(html.unescape(href)).query))
        assert asked["tag"] == "N+1"
        found = (await visitor.get("/sheets.json?" + urlsplit(html.unescape(href)).query)).json()
        measured = [one for one in found["sheets"] if one["verdict"] != "not measured"]
        assert len(measured) == int(count), href


async def test_each_point_of_the_ring_leads_to_its_sheet_and_stands_in_the_table(sample):
    visitor = Visitor(sample)
    page = (await visitor.get("/review")).text
    svg = page[page.index('class="chart ring"') : page.index("</figure>")]
    led = re.findall(r'<a class="dot" href="/sheet/([^"]+)"', svg)
    assert sorted(led) == [f"BW-{number:02}" for number in range(1, 25)]
    assert svg.count("<ellipse") == len(led)
    table = page[page.index("The figures of the ring-around") :]
    assert set(
        re.findall(r'<th scope="row"><a href="/sheet/([^"]+)"', table[: table.index("</table>")])
    ) == set(led)


async def test_filters_are_those_of_the_wall(sample):
    visitor = Visitor(sample)
    wall = re.findall(r'name="(\w+)"', (await visitor.get("/")).text)
    review = re.findall(r'name="(\w+)"', (await visitor.get("/review")).text)
    assert {name for name in wall if name not in ("sort", "limit", "viewport")} <= set(review)
    found = (await visitor.get("/sheets.json?cell=rear")).json()["count"]
    assert (await visitor.get("/review.json?cell=rear")).json()["sheets"] == found
    assert 'value="rear" selected' in (await visitor.get("/review?cell=rear")).text


async def test_sheets_that_suit_a_print_target_are_chosen_counted_and_the_same_in_the_tables(sample):
    visitor = Visitor(sample)
    every = (await visitor.get("/sheets.json?limit=200")).json()["sheets"]
    suiting = {one["sheet"] for one in every if "silver contact" in one["suits"]}
    assert 1 < len(suiting) < len(every)
    page = await visitor.get("/?suits=Silver+contact&limit=200")
    assert set(re.findall(r'class="plate-link" href="/sheet/([^"]+)"', page.text)) == suiting
    assert f'<option value="silver contact" selected>silver contact ({len(suiting)})</option>' in page.text
    tag = next(one["tag"] for one in every if one["sheet"] in suiting)
    narrowed = [one["sheet"] for one in every if one["sheet"] in suiting and one["tag"] == tag]
    twin = await visitor.get("/sheets.json?" + urlencode({"suits": "silver contact", "tag": tag}))
    assert [one["sheet"] for one in twin.json()["sheets"]] == narrowed
    table = re.search(r'href="(/negcat/sheet_search)\?([^"]+)">these sheets in the tables', page.text)
    rows = (await visitor.get(f"{table[1]}.json?{html.unescape(table[2])}&_shape=array&_size=max")).json()
    assert {row["sheet"] for row in rows} == suiting
    review = await visitor.get("/review.json?suits=silver+contact")
    assert review.json()["sheets"] == len(suiting)
    # A sheet leads to the others that suit what it suits.
    sheet = (await visitor.get(f"/sheet/{min(suiting)}")).text
    assert '<a href="/?suits=silver+contact">silver contact</a>' in sheet
    assert "/?suits=long-scale" in sheet


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("tag=askew", "askew"),
        ("by=weather", "grouped by"),
        ("if-index=fast", "fast"),
        ("if-index=0", "exposure index"),
        ("if-time=long", "long"),
        ("if-index=200&if-film=Nothing+400", "Nothing 400"),
        ("since=yesterday", "yesterday"),
        ("suits=longscale", "the nearest known is 'long-scale'"),
    ],
)
async def test_what_can_not_be_read_is_said_and_the_page_stays(sample, query, said):
    visitor = Visitor(sample)
    page = await visitor.get(f"/review?{query}")
    assert page.status_code == 400
    fault = re.search(r'<p class="fault" role="alert">(.*?)</p>', page.text)
    assert fault is not None
    assert said in html.unescape(fault[1])
    assert 'class="search"' in page.text
    assert (await visitor.get(f"/review.json?{query}")).status_code == 400


async def test_text_in_the_address_stays_text(sample):
    typed = "%22%3E%3Cscript%3Ex%3C/script%3E"
    page = await Visitor(sample).get(f"/review?text={typed}&if-index={typed}&if-time={typed}&by={typed}")
    assert "<script>x" not in page.text


async def test_an_archive_without_sheets_says_so(tmp_path):
    Archive.create(tmp_path / "empty").close()
    page = await Visitor(tmp_path / "empty").get("/review")
    assert page.status_code == 200
    assert "none of these sheets has been measured" in plain(page.text)


async def test_ways_lead_to_the_review(sample):
    visitor = Visitor(sample)
    assert '<a href="/review">Review</a>' in (await visitor.get("/")).text
    assert 'href="/review?cell=rear&amp;tag=N%2B1"' in (await visitor.get("/?cell=rear&tag=N%2B1")).text
    assert 'href="/review?film=Marl+400"' in (await visitor.get("/film/Marl%20400")).text
    assert 'href="/review?lens=Tressick+150"' in (await visitor.get("/lens/Tressick%20150")).text


# What if -----------------------------------------------------------------------------------------------------


async def test_another_index_moves_the_films_sheets_by_its_stops(sample):
    visitor = Visitor(sample)
    points = (await visitor.get("/review.json?if-film=marl+400&if-index=200")).json()["ring_around"]["points"]
    moved = [point for point in points if point["moved_stops"] is not None]
    assert {point["sheet"] for point in moved} == {f"BW-{n:02}" for n in (5, 7, 9, 16, 18, 19, 20)}
    for point in moved:
        assert point["moved_stops"] - point["error_stops"] == pytest.approx(1.0)
        assert point["moved_n"] is None
    page = (await visitor.get("/review?if-film=Marl+400&if-index=200")).text
    assert "Worked out, not measured:</b> Marl 400 exposed at EI 200" in page
    assert page.count('class="way"') == 7
    assert changes(sample) == []


async def test_another_time_moves_the_development_to_its_tag(sample, told):
    (n_plus,) = [one for one in told["development"] if (one["film"], one["tag"]) == ("Sorrel 100", "N+1")]
    time = n_plus["advised_time_s"]
    query = f"if-film=Sorrel+100&if-tag=N%2B1&if-time={time:.0f}"
    ring = (await Visitor(sample).get(f"/review.json?{query}")).json()["ring_around"]
    moved = [point for point in ring["points"] if point["moved_n"] is not None]
    assert {point["sheet"] for point in moved} == set(n_plus["evidence"])
    shift = {round(point["moved_n"] - point["found_n"], 6) for point in moved}
    assert len(shift) == 1
    assert shift.pop() == pytest.approx(1.0 - n_plus["found_n"], abs=0.12)


async def test_what_can_not_be_worked_out_says_why(sample):
    visitor = Visitor(sample)
    ring = (await visitor.get("/review.json?film=Marl+400&if-time=9m&if-tag=N-2")).json()["ring_around"]
    assert "None of the sheets drawn" in ring["reason"]
    assert ring["reason"] in plain((await visitor.get("/review?film=Marl+400&if-time=9m&if-tag=N-2")).text)


# Accepting ---------------------------------------------------------------------------------------------------


async def test_an_advice_is_accepted_on_the_page(own_sample):
    visitor = Visitor(own_sample, signed_in=True)
    fields = accept_form((await visitor.get("/review?film=Marl+400")).text, INDEX)
    assert fields["film"] == "Marl 400"
    answer = await visitor.post({**fields, "from": "2026-05-09"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/review?film=Marl+400#accepted")
    (change,) = changes(own_sample)
    assert (change.film, change.after, change.effective_from) == ("Marl 400", 250.0, "2026-05-09")
    assert change.accepted_via == "web review"
    with Archive.open(own_sample, readonly=True) as archive:
        assert archive.catalogue.history("film", "Marl 400")[0]["via"] == "web review"
    page = plain((await visitor.get("/review")).text)
    assert "Accepted so far" in page
    assert change.sentence in page
    earlier, later = [(await visitor.get(f"/sheet/BW-{n}.json")).json() for n in ("05", "18")]
    assert (earlier["exposure_index"], later["exposure_index"]) == (400, 250)
    beside = (await visitor.get("/sheet/BW-05")).text
    assert "Believed then and now" in beside
    assert change.sentence in plain(beside)
    assert "Believed then and now" not in (await visitor.get("/sheet/BW-18")).text


async def test_who_has_not_signed_in_accepts_nothing(own_sample):
    visitor = Visitor(own_sample)
    page = (await visitor.get("/review")).text
    assert 'class="accept"' not in page
    assert "sign-in link" in page
    token = form_token((await Visitor(own_sample, signed_in=True).get("/review")).text)
    answer = await visitor.post({"key": INDEX, "csrftoken": token})
    assert answer.status_code == 403
    assert changes(own_sample) == []


async def test_without_the_token_or_from_elsewhere_nothing_is_accepted(own_sample):
    visitor = Visitor(own_sample, signed_in=True)
    fields = accept_form((await visitor.get("/review")).text, INDEX)
    assert (await visitor.post({**fields, "csrftoken": "guessed"})).status_code == 403
    assert (await visitor.post(fields, origin="http://elsewhere.example")).status_code == 403
    assert (await visitor.get("/review/accept")).status_code == 405
    assert changes(own_sample) == []


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"key": "index-nothing"}, "there is no advice"),
        ({"sentence": "Expose Marl 400 at EI 50."}, "say something else by now"),
        ({"from": "soon"}, "no day from which"),
        ({"key": '"><script>x</script>'}, "there is no advice"),
    ],
)
async def test_what_can_not_be_accepted_is_said_on_the_page(own_sample, wrong, said):
    visitor = Visitor(own_sample, signed_in=True)
    fields = accept_form((await visitor.get("/review")).text, INDEX)
    answer = await visitor.post({**fields, **wrong})
    assert answer.status_code == 400
    assert said in plain(answer.text).replace("There", "there").replace("’", "'")
    assert "<script>x" not in answer.text
    assert changes(own_sample) == []


# The drawing -------------------------------------------------------------------------------------------------


def point(sheet: str = "S", **more: object) -> dict:
    return {
        "sheet": sheet,
        "error_stops": 0.0,
        "found_n": 0.0,
        "error_sd": 0.1,
        "found_sd": 0.1,
        "correlation": 0.0,
        "verdict": "as planned",
        "told": True,
        "moved_stops": None,
        "moved_n": None,
        **more,
    }


async def test_the_plan_lies_in_the_middle_of_the_box():
    ring = draw_ring([point()])
    (dot,) = ring.dots
    left, top, width, height = ring.box
    assert (dot.x, dot.y) == (ring.x0, ring.y0)
    assert left + width / 2 == pytest.approx(ring.x0, abs=0.2)
    assert top + height / 2 == pytest.approx(ring.y0, abs=0.2)
    assert width / height == pytest.approx((1 / 3) / (1 / 2), abs=0.01)


async def test_dense_lies_right_and_contrasty_above():
    ring = draw_ring([point("A", error_stops=0.5, found_n=0.5), point("B", error_stops=-0.5, found_n=-0.5)])
    dense, thin = ring.dots
    assert dense.x > ring.x0 > thin.x
    assert dense.y < ring.y0 < thin.y


async def test_an_ellipse_leans_as_its_errors_do():
    upright, leaning, falling = draw_ring(
        [point("A", found_sd=0.3), point("B", correlation=0.9), point("C", correlation=-0.9)]
    ).dots
    assert (abs(upright.turn), upright.rx > upright.ry) == (90.0, True)
    # Rising to the right is anticlockwise on the page.
    assert leaning.turn == pytest.approx(-45)
    assert falling.turn == pytest.approx(45)
    assert leaning.rx > 3 * leaning.ry


async def test_what_lies_far_off_is_counted_and_not_drawn():
    ring = draw_ring([point("A"), point("B", error_stops=-6.0)])
    assert [dot.sheet for dot in ring.dots] == ["A"]
    assert ring.beyond == 1


async def test_without_a_sheet_nothing_is_drawn():
    assert draw_ring([]) is None
