"""The wall: every sheet, and the search that narrows it."""

import re
from html.parser import HTMLParser

import pytest

from negcat.web.wall import read_search
from negcat.work import finding
from negcat.work.archive import Archive

pytestmark = pytest.mark.asyncio


class Page(HTMLParser):
    """A page taken apart: its elements in order, and its text."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.feed(html)
        self.text = re.sub(r"\s+", " ", self.text)

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))

    def handle_data(self, data):
        self.text += data

    def all(self, tag: str, **attributes: str) -> list[dict[str, str | None]]:
        return [
            found
            for name, found in self.elements
            if name == tag and all(found.get(key) == value for key, value in attributes.items())
        ]


def sheets_on(page: Page) -> list[str]:
    return [link["href"].rpartition("/")[2] for link in page.all("a", **{"class": "plate-link"})]


async def wall(site, query: str = "") -> Page:
    response = await site.client.get(f"/{query}")
    assert response.status_code == 200, response.text
    return Page(response.text)


async def test_every_sheet_hangs_on_the_wall_newest_first(site):
    page = await wall(site)
    assert sheets_on(page) == ["BW-04", "BW-03.json", "BW-02", "BW-01"]
    assert "rear · f/22½ · 1/2 s · N+1" in page.text
    assert "thin, contrasty" in page.text
    assert "not measured, to develop" in page.text


async def test_pictures_keep_their_shape_and_load_lazily(site, archive):
    pictures = {picture["src"]: picture for picture in (await wall(site)).all("img")}
    with Archive.open(archive, readonly=True) as opened:
        shapes = {
            f"/preview/{row['scan']}-wall.jpg": (str(row["width"]), str(row["height"]))
            for row in opened.catalogue.scans()
            if row["sheet"]
        }
    assert {source: (found["width"], found["height"]) for source, found in pictures.items()} == shapes
    assert len({width < height for width, height in ((int(w), int(h)) for w, h in shapes.values())}) == 2
    assert all(picture["loading"] == "lazy" for picture in pictures.values())


async def test_two_choices_find_the_rear_cell_at_n_plus_1(site):
    page = await wall(site, "?cell=rear&tag=N%2B1")
    assert sheets_on(page) == ["BW-01"]
    assert "1 sheet that fits" in page.text
    chosen = [found["value"] for found in page.all("option") if "selected" in found and found["value"]]
    assert chosen == ["rear", "N+1", "48"] or chosen == ["rear", "N+1"]


async def test_counts_stand_behind_the_choices(site):
    page = await wall(site, "?cell=rear")
    # The tags are counted among the rear cell's sheets, the cells among all.
    assert "N (1)" in page.text
    assert "N+1 (1)" in page.text
    assert "whole (2)" in page.text


@pytest.mark.parametrize(
    ("query", "sheets"),
    [
        ("?text=kil", ["BW-02", "BW-01"]),
        ("?text=soot", ["BW-01"]),
        ("?place=creek", ["BW-03.json"]),
        ("?since=2026-03-05&until=2026-03-05", ["BW-03.json"]),
        ("?until=2026-03-04", ["BW-02", "BW-01"]),
        ("?tag=N%E2%88%921", ["BW-03.json"]),
        ("?verdict=thin,+contrasty", ["BW-01"]),
        ("?batch=B1&sort=oldest", ["BW-01", "BW-02", "BW-03.json"]),
        ("?sort=sheet", ["BW-01", "BW-02", "BW-03.json", "BW-04"]),
        ("?limit=2&page=2", ["BW-02", "BW-01"]),
        ("?lens=Corrin+150&cell=rear", []),
    ],
)
async def test_the_address_is_the_search(site, query, sheets):
    assert sheets_on(await wall(site, query)) == sheets
    twin = await site.client.get(f"/sheets.json{query}")
    assert [row["sheet"] for row in twin.json()["sheets"]] == sheets


async def test_pages_lead_on_and_back_and_keep_the_search(site):
    page = await wall(site, "?cell=whole&limit=1")
    (onward,) = page.all("a", rel="next")
    assert onward["href"] == "/?cell=whole&limit=1&page=2"
    page = await wall(site, onward["href"][1:])
    assert sheets_on(page) == ["BW-03.json"]
    (back,) = page.all("a", rel="prev")
    assert back["href"] == "/?cell=whole&limit=1"
    assert "2–2 of 2" in page.text
    assert "past the last sheet" in (await wall(site, "?page=9")).text


async def test_the_form_gives_the_address_without_its_empty_fields(site):
    response = await site.client.get("/?text=&cell=rear&tag=N%2B1&film=&since=&sort=")
    assert response.status_code == 302
    assert response.headers["location"] == "/?cell=rear&tag=N%2B1"
    response = await site.client.get("/?text=&cell=")
    assert response.headers["location"] == "/"


async def test_every_filter_of_the_command_line_is_a_field_of_the_one_form(site):
    page = await wall(site)
    (form,) = page.all("form")
    assert form["method"] == "get"
    names = {found["name"] for tag, found in page.elements if tag in ("input", "select")}
    asked = {
        "text",
        "cell",
        "lens",
        "tag",
        "film",
        "developer",
        "batch",
        "place",
        "since",
        "until",
        "verdict",
        "suits",
    }
    assert asked <= names
    labelled = {found["for"] for found in page.all("label")}
    assert {f"f-{name}" for name in names} == labelled


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("?tag=N%2B9", "N+9"),
        ("?since=spring", "spring"),
        ("?sort=size", "There is no order “size”"),
        ("?page=-1", "page “-1”"),
        ("?page=" + "9" * 400, "page"),
        ("?limit=%00", "limit"),
        ("?suits=longscale", "the nearest known is 'long-scale'"),
    ],
)
async def test_what_cannot_be_read_is_said_in_a_sentence(site, query, said):
    response = await site.client.get(f"/{query}")
    assert response.status_code == 400
    assert said in Page(response.text).text
    twin = await site.client.get(f"/sheets.json{query}")
    assert twin.status_code == 400
    assert said in twin.json()["error"]


async def test_the_twin_has_what_negcat_find_prints(site, archive):
    twin = (await site.client.get("/sheets.json?cell=rear")).json()
    with Archive.open(archive, readonly=True) as opened:
        printed = finding.page_json(finding.find(opened, finding.query_of({"cell": "rear"})))
    assert twin == printed
    assert twin["count"] == 2
    limited = (await site.client.get("/sheets.json?limit=1")).json()
    assert (limited["count"], len(limited["sheets"])) == (4, 1)


async def test_a_search_with_no_answer_says_so(site):
    assert "No sheet fits all of that" in (await wall(site, "?cell=front")).text


async def test_an_address_is_written_as_it_was_read():
    search = read_search([("cell", "rear"), ("tag", "N+1"), ("page", "3"), ("sort", "place")])
    assert search.address() == "cell=rear&tag=N%2B1&sort=place&page=3"
    assert search.without("tag") == "cell=rear&sort=place"
    assert read_search([]).address() == ""
