"""Whatever stands in a record or in a scan's tags is shown as the text it is."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser
from urllib.parse import quote

import pytest
from datasette.app import Datasette

from negcat.catalogue import OFTEN_ASKED, describe
from tests.web.everywhere import every_page, refused_forms
from tests.web.markup import ADDRESS, AS_HTML, ATTACKS, bare, build, lengthy, marked, records

pytestmark = pytest.mark.asyncio

# Everything that can make a browser go somewhere or fetch something.
LEADING = {
    "href",
    "src",
    "action",
    "formaction",
    "srcset",
    "poster",
    "data",
    "xlink:href",
    "background",
    "ping",
}
ELSEWHERE = re.compile(r"https://(datasette\.io/|github\.com/simonw/datasette)")


class Structure(HTMLParser):
    """The elements of a page with the names of their attributes, and its text."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, ...]] = []
        self.attributes: list[tuple[str, str, str]] = []
        self.texts: list[str] = []
        self.scripts: list[str] = []
        self._in_script = False

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, *sorted(name for name, _ in attrs)))
        self.attributes += [(tag, name, value or "") for name, value in attrs]
        self._in_script = tag == "script"

    def handle_endtag(self, tag):
        self._in_script = False

    def handle_data(self, data):
        (self.scripts if self._in_script else self.texts).append(data)


def structure(html: str) -> Structure:
    page = Structure()
    page.feed(html)
    page.close()
    return page


def held_to_be_text(address: str, html: str) -> None:
    """Require that no text of the archive became an element, an attribute, a script or a way out."""
    page = structure(html)
    for tag, *names in page.elements:
        assert tag != "mkx", address
        for name in names:
            assert not name.startswith("on"), (address, tag, name)
            assert "mk" not in name.removeprefix("data-mk"), (address, tag, name)
    for script in page.scripts:
        assert "mkran" not in script, address
    for tag, name, value in page.attributes:
        if name in LEADING:
            leads = value.strip().lower()
            assert (
                not re.match(r"[a-z+.-]+:", leads)
                or leads.startswith("http://localhost/")
                or (ELSEWHERE.match(leads))
            ), (address, tag, name, value)
            assert not leads.startswith("//"), (address, tag, name, value)
        assert name != "style" or "mk" not in value, (address, tag, name, value)


@pytest.fixture(scope="module")
def archives(full_of_markup, tmp_path_factory):
    """The archive full of markup, and the same with plain words in its place."""
    return {
        "marked": full_of_markup,
        "bare": build(tmp_path_factory.mktemp("bare"), bare),
    }


@pytest.fixture
def site(archives):
    return Datasette([str(archives["marked"] / "negcat.db")])


async def test_every_attack_stands_in_a_record_and_every_list_is_there():
    written = records(marked)
    everything = json.dumps(written)
    assert [attack for attack in ATTACKS if json.dumps(attack)[1:-1] not in everything] == []
    assert set(written) == {
        *("films", "shutters", "lenses", "scanners", "tablets", "print_targets", "sheets", "developments"),
        *("film_tests", "holders"),
    }


@pytest.mark.parametrize("writing", [False, True], ids=["reading", "signed in"])
async def test_no_page_makes_anything_of_it(site, writing):
    pages, documents = await every_page(site, writing=writing)
    assert len(pages) > 20
    assert len(documents) > 5
    for address, answer in pages.items():
        assert answer.status_code < 500, address
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert "unsafe" not in answer.headers["content-security-policy"]
        held_to_be_text(address, answer.text)
    for address, answer in documents.items():
        assert answer.headers["content-type"].startswith("application/json"), address
        assert answer.headers["x-content-type-options"] == "nosniff", address
        json.loads(answer.text)


async def test_no_refusal_makes_anything_of_it(archives, tmp_path):
    answers = await refused_forms(archives["marked"], "MK-1", tmp_path / "refused")
    assert len(answers) == 5
    for address, answer in answers.items():
        assert answer.status_code < 500, address
        held_to_be_text(address, answer.text)
        assert "window.mkran=1" in answer.text, address


def everything_of(name: str) -> list[str]:
    """Name the tables' pages: every table, view and question, a row, a search, a filter and a query."""
    text = marked if name == "marked" else bare
    film = quote(text("films.name"), safe="")
    tables = [f"/negcat/{table}" for table in describe()]
    questions = [f"/negcat/{asked.name}" for asked in OFTEN_ASKED]
    return [
        "/negcat",
        "/negcat?_show_hidden=1",
        *tables,
        *questions,
        "/negcat/sheets/MK-1",
        "/negcat/sheets?_search=subject",
        f"/negcat/sheets?film={film}",
        f"/negcat/sheet_search?_facet=place&film={film}",
        f"/negcat/furthest_from_plan?film={film}",
        "/negcat?sql=select+*+from+sheets",
    ]


async def test_datasettes_pages_make_nothing_of_it(site):
    for address in everything_of("marked"):
        answer = await site.client.get(address)
        assert answer.status_code == 200, address
        assert answer.headers["x-content-type-options"] == "nosniff"
        held_to_be_text(address, answer.text)
        if "?_show" not in address and address != "/negcat":
            path, _, asked = address.partition("?")
            document = await site.client.get(f"{path}.json?{asked}")
            assert document.headers["content-type"].startswith("application/json"), address
            assert document.headers["x-content-type-options"] == "nosniff"


async def test_pages_have_the_same_elements_whatever_the_texts_are(archives):
    """Held against the same archive in plain words: not one element or attribute more, fewer or other."""
    outlines = {}
    for name, root in archives.items():
        site = Datasette([str(root / "negcat.db")])
        text = marked if name == "marked" else bare
        own = [
            "/",
            "/pending",
            "/new",
            *(
                f"/sheet/{sheet}{end}"
                for sheet in ("MK-1", "MK-2", "MK-5")
                for end in ("", "/edit", "/compare")
            ),
            f"/film/{quote(text('films.name'), safe='')}",
            f"/lens/{quote(text('lenses.name'), safe='')}",
            f"/batch/{quote(text('developments.batch'), safe='')}",
        ]
        outlines[name] = []
        for address in [*own, *everything_of(name)]:
            html = (await site.client.get(address)).text
            outlines[name].append((address, structure(html).elements))
    for (address, elements), (other, plain) in zip(outlines["marked"], outlines["bare"], strict=True):
        assert len(elements) == len(plain), (address, other)
        assert elements == plain, (address, other)


async def test_the_text_is_there_whole(site):
    def words(text: str) -> str:
        return " ".join(text.split())

    sheet = await site.client.get("/sheet/MK-1")
    shown = words(" ".join(structure(sheet.text).texts))
    for field in ("place", "weather", "holder", "filter", "dilution", "reading.shadow", "reading.other"):
        assert words(marked(field)) in shown, field
    for line in lengthy(marked, "notes").splitlines():
        assert words(line) in shown, line
    assert ADDRESS in shown
    pending = words(" ".join(structure((await site.client.get("/pending")).text).texts))
    assert "<mkx onmk=1>'\"&amp; {{ 7*7 }}" in pending
    table = words(" ".join(structure((await site.client.get("/negcat/sheets/MK-1")).text).texts))
    assert words(marked("weather")) in table
    assert ADDRESS in table
    # Nor did any template take 7*7 for a sum; a clock may well stand at 49.
    assert re.findall(r"(?<![:\d])49\b(?!:)", shown + table) == []


async def test_documents_for_other_programs_hold_the_text_as_it_is(site):
    manifest = await site.client.get("/iiif/presentation/3/MK-1/manifest.json")
    collection = await site.client.get("/iiif/presentation/3/collection.json")
    for answer in (manifest, collection):
        assert answer.status_code == 200
        assert answer.headers["content-type"].startswith("application/ld+json")
        assert answer.headers["x-content-type-options"] == "nosniff"
    texts = re.findall(r'"((?:[^"\\\\]|\\\\.)*)"', json.dumps(manifest.json(), ensure_ascii=False))
    # A viewer takes what begins with "<" and ends with ">" for HTML, and shows some of it as such.
    assert [text for text in texts if text.strip() == AS_HTML] == [f"{AS_HTML} "]
    assert [text for text in texts if text.startswith("<") and text.endswith(">")] == []
    dossier = (await site.client.get("/sheet/MK-1.json")).json()
    assert dossier["weather"] == marked("weather")
    assert dossier["location"] == ADDRESS


async def test_a_chart_is_made_of_figures_and_escaped_names(site):
    html = (await site.client.get("/sheet/MK-1")).text
    charts = re.findall(r"<svg.*?</svg>", html, re.DOTALL)
    assert len(charts) > 1
    for chart in charts:
        held_to_be_text("/sheet/MK-1 chart", chart)
        assert {tag for tag, *_ in structure(chart).elements} <= {
            *(
                "svg",
                "g",
                "line",
                "path",
                "circle",
                "rect",
                "text",
                "title",
                "desc",
                "polyline",
                "polygon",
                "tspan",
            ),
        }
