"""Datasette's own pages beside the archive's, other base addresses, and no archive at all."""

import base64
import hashlib
import re
import shutil
import sqlite3
import statistics
from contextlib import closing
from html import unescape
from pathlib import Path
from urllib.parse import urlencode

import pytest
from datasette.app import Datasette
from markupsafe import escape

import negcat.web
from negcat.catalogue import OFTEN_ASKED, describe
from negcat.web import tables
from negcat.web.serving import assemble

pytestmark = pytest.mark.asyncio


async def test_tables_keep_their_own_pages_described_and_dressed(site):
    html = (await site.client.get("/negcat/sheets")).text
    assert describe()["sheets"]["description"] in html.replace("&#39;", "'")
    assert "Extension from lens to film" in html
    assert "/-/static-plugins/negcat/tables.css" in html
    assert '<a href="/pending">Pending</a>' in html
    rows = (await site.client.get("/negcat/sheets.json?_shape=array")).json()
    assert [row["sheet"] for row in rows] == ["BW-01", "BW-02", "BW-03.json", "BW-04"]


async def test_tables_that_only_serve_searching_are_out_of_sight(site):
    html = (await site.client.get("/negcat")).text
    assert 'href="/negcat/sheets"' in html
    assert 'href="/negcat/sheet_counts"' not in html


async def test_inline_scripts_of_datasettes_pages_are_let_through_by_their_hash(site):
    table, row, facet = "/negcat/sheets", "/negcat/sheets/BW-01", "/negcat/readings?_facet=role"
    for path in ("/negcat", table, row, "/negcat?sql=select+1", facet):
        response = await site.client.get(path)
        scripts = re.findall(r"<script>(.*?)</script>", response.text, re.DOTALL)
        assert scripts, path
        for script in scripts:
            digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
            assert f"'sha256-{digest}'" in response.headers["content-security-policy"], (path, script)


async def test_each_page_links_the_tables_behind_it(site):
    behind = {
        "/": "/sheets",
        "/sheet/BW-03.json": "/sheets/BW-03~2Ejson",
        "/sheet/BW-03.json/edit": "/sheets/BW-03~2Ejson",
        "/pending": "/sheet_search?stage__not=measured",
        "/lens/Haldane%20240": "/lenses/Haldane+240",
        "/film/Marl%20Pan%20100": "/films/Marl+Pan+100",
        "/batch/B1": "/developments/B1",
        "/new": "",
    }
    for path, table in ((path, f"/negcat{rest}") for path, rest in behind.items()):
        html = (await site.client.get(path)).text
        assert f'href="{table}"' in html
        assert (await site.client.get(table)).status_code == 200


@pytest.mark.parametrize(
    "asked",
    [
        "cell=rear&tag=N%2B1",
        "text=kil",
        "place=kiln&verdict=not+measured",
        "since=2026-03-05",
        "until=2026-03-05",
        "until=2026-03",
        "since=2026-03-05&until=2026-03-05&film=Marl+Pan+100",
        "batch=B1&developer=two-bath&lens=Corrin+150",
    ],
)
async def test_the_sheets_on_the_wall_are_the_ones_in_the_table(site, asked):
    html = (await site.client.get(f"/?{asked}")).text
    link = re.search(r'href="([^"]+)">these sheets in the tables</a>', html)
    rows = (await site.client.get(unescape(link[1]).replace("?", ".json?") + "&_shape=array")).json()
    found = (await site.client.get(f"/sheets.json?{asked}")).json()
    assert [row["sheet"] for row in rows] == [row["sheet"] for row in found["sheets"]]
    assert rows


async def test_static_files_are_there(site):
    for name in ("colours.css", "page.css", "tables.css", "mark.svg"):
        assert (await site.client.get(f"/-/static-plugins/negcat/{name}")).status_code == 200


async def test_every_link_keeps_to_the_base_address(archive):
    datasette = Datasette([str(archive / "negcat.db")], settings={"base_url": "/negatives/"})
    for path in ("/", "/sheet/BW-01", "/pending", "/?limit=1&page=2", "/sheet/none"):
        response = await datasette.client.get(path)
        links = re.findall(r'(?:href|src|action)="([^"#]+)"', response.text)
        assert links
        assert [link for link in links if not link.startswith("/negatives/")] == []
        for link in set(links):
            found = await datasette.client.request("GET", unescape(link), avoid_path_rewrites=True)
            # What only takes a form says so.
            assert found.status_code in (200, 302, 405), link
    moved = await datasette.client.get("/?cell=rear&tag=")
    assert moved.headers["location"] == "/negatives/?cell=rear"


@pytest.mark.parametrize("name", ["negcat.db", "other.db"])
async def test_without_an_archive_datasette_is_as_it_always_is(tmp_path, name):
    with closing(sqlite3.connect(tmp_path / name)) as connection:
        connection.execute("create table sheets (sheet text)")
        connection.commit()
    datasette = Datasette([str(tmp_path / name)], metadata={"title": "Ledgers"})
    front = await datasette.client.get("/")
    assert front.status_code == 200
    assert "Powered by" in front.text
    assert "negcat/tables.css" not in front.text
    assert "content-security-policy" not in front.headers
    assert (await datasette.client.get("/", headers={"Host": "anything.example"})).status_code == 200
    missing = await datasette.client.get("/pending")
    assert missing.status_code == 404
    assert 'class="sentence"' not in missing.text
    allowed = Datasette([str(tmp_path / name)], metadata={"allow": False})
    assert "signing in" not in (await allowed.client.get("/")).text


async def test_the_catalogue_is_found_among_other_databases(archive, tmp_path):
    with closing(sqlite3.connect(tmp_path / "other.db")) as connection:
        connection.execute("create table notes (note text)")
        connection.commit()
    datasette = Datasette([str(tmp_path / "other.db"), str(archive / "negcat.db")])
    assert "BW-01" in (await datasette.client.get("/")).text
    assert (await datasette.client.get("/other/notes")).status_code == 200


CONFIGURED = [name for name in describe() if name not in tables.INTERNAL]


@pytest.mark.parametrize("table", CONFIGURED)
async def test_every_table_in_sight_is_described_to_its_last_column(site, table):
    response = await site.client.get(f"/negcat/{table}")
    assert response.status_code == 200
    html = unescape(response.text)
    said = describe()[table]
    assert said["description"] in html
    columns = await site.get_database("negcat").table_columns(table)
    assert set(said["columns"]) == set(columns)
    for column, text in said["columns"].items():
        assert f"<dt>{column}</dt><dd>{text}</dd>" in html, column


async def test_no_table_in_sight_goes_without_a_description(site):
    document = (await site.client.get("/negcat.json")).json()
    shown = {table["name"] for table in document["tables"] if not table["hidden"]}
    shown |= {view["name"] for view in document["views"]}
    assert shown == set(CONFIGURED)


async def test_tables_are_only_narrowed_by_columns_that_begin_an_index(site):
    database = site.get_database("negcat")
    narrowed = 0
    for name, table in tables.metadata(site)["databases"]["negcat"]["tables"].items():
        leading = set()
        for index in (await database.execute(f"pragma index_list([{name}])")).rows:
            columns = (await database.execute(f"pragma index_info([{index['name']}])")).rows
            leading.add(columns[0]["name"])
        for facet in table.get("facets", []):
            narrowed += 1
            assert facet in leading, (name, facet)
    assert narrowed > 10


@pytest.mark.parametrize("started", ["plainly", "by serve"])
async def test_tables_come_with_their_facets_and_no_suggestions(archive, started):
    path = archive / "negcat.db"
    datasette = Datasette([str(path)]) if started == "plainly" else assemble(archive)
    await datasette.invoke_startup()
    document = (await datasette.client.get("/negcat/sheet_search.json")).json()
    tags = document["facet_results"]["tag"]["results"]
    assert {(tag["value"], tag["count"]) for tag in tags} == {("N", 1), ("N+1", 2), ("N-1", 1)}
    assert document["suggested_facets"] == []
    assert [row[1] for row in document["rows"]] == ["BW-04", "BW-03.json", "BW-02", "BW-01"]
    html = (await datasette.client.get("/negcat/sheets")).text
    assert 'type="search"' in html
    assert "Suggested facets" not in html
    questions = (await datasette.client.get("/negcat")).text
    assert "Which batches came out denser than planned?" in questions


@pytest.mark.parametrize("table", ["sheets", "sheet_search", "sheets_at_a_glance"])
@pytest.mark.parametrize(
    ("words", "found"),
    [
        ("kiln", {"BW-01", "BW-02"}),
        ("tid cree", {"BW-03.json"}),
        ("soot", {"BW-01"}),
        ('"', set()),
        ("* OR (", {"none"}),
        ("", {"BW-01", "BW-02", "BW-03.json", "BW-04"}),
    ],
)
async def test_the_search_box_of_the_sheets_finds_them(site, table, words, found):
    address = f"/negcat/{table}?{urlencode({'_search': words})}"
    response = await site.client.get(address)
    assert response.status_code == 200
    assert f'name="_search" value="{escape(words)}"' in response.text
    rows = (await site.client.get(address.replace("?", ".json?") + "&_shape=objects")).json()["rows"]
    assert {row["sheet"] for row in rows} == found - {"none"}


async def test_a_search_narrows_together_with_the_other_filters(site):
    rows = (await site.client.get("/negcat/sheets.json?_search=kiln&tag=N%2B1&_shape=array")).json()
    assert [row["sheet"] for row in rows] == ["BW-01"]
    html = (await site.client.get("/negcat/sheets?_search=kiln")).text
    assert "2 rows" in html
    assert 'type="search"' not in (await site.client.get("/negcat/readings")).text


@pytest.mark.parametrize("asked", OFTEN_ASKED, ids=lambda asked: asked.name)
async def test_every_question_is_answered(site, asked):
    address = f"/negcat/{asked.name}"
    html = unescape((await site.client.get(address)).text)
    assert f">{asked.question}</h1>" in html
    assert asked.description in html
    for parameter in asked.parameters:
        assert f'name="{parameter}"' in html
    document = (await site.client.get(f"{address}.json")).json()
    assert document["ok"], document
    answered = {
        "changes": 2,
        "cells_off_their_scale": 1,
        "what_waits": 3,
        "scans_without_sheet": 1,
        "spots": 2,
        "masters_unchecked_longest": 3,
    }
    if asked.name in answered:
        assert len(document["rows"]) == answered[asked.name]
    narrowed = urlencode(dict.fromkeys(asked.parameters, "nothing of that name"))
    if asked.parameters and asked.name != "batches_denser_than_planned":
        assert (await site.client.get(f"{address}.json?{narrowed}")).json()["rows"] == []


async def test_cells_at_tags_and_the_way_from_a_number_to_its_sheets(site):
    rows = (await site.client.get("/negcat/cells_at_tags.json?_shape=array")).json()
    assert [(row["lens"], row["cell"], row["tag"], row["sheets"]) for row in rows] == [
        ("Corrin 150", "whole", "N-1", 1),
        ("Haldane 240", "rear", "N", 1),
        ("Haldane 240", "rear", "N+1", 1),
        ("Haldane 240", "whole", "N+1", 1),
    ]
    judged = next(row for row in rows if row["cell"] == "rear" and row["tag"] == "N+1")
    shown = (await site.client.get("/sheet/BW-01.json")).json()["result"]
    assert judged["exposure_error_stops"] == pytest.approx(shown["exposure_error_stops"], abs=0.005)
    assert judged["exposure_error_stops_se"] is None
    assert judged["not_measured"] == 0
    html = (await site.client.get("/negcat/cells_at_tags")).text
    link = '<a href="/?lens=Haldane+240&amp;cell=rear&amp;tag=N%2B1">1</a>'
    assert link in html
    assert "BW-01" in (await site.client.get("/?lens=Haldane+240&cell=rear&tag=N%2B1")).text
    waiting = (await site.client.get("/negcat/what_waits")).text
    link = re.search(r'href="(/negcat/sheet_search\?[^"]*stage__exact=to\+develop[^"]*)"', waiting)
    narrowed = (await site.client.get(unescape(link[1]).replace("?", ".json?") + "&_shape=array")).json()
    assert [row["sheet"] for row in narrowed] == ["BW-04"]


async def test_the_mean_of_several_has_its_standard_error(archive, tmp_path):
    shutil.copytree(archive, tmp_path / "copy")
    path = tmp_path / "copy" / "negcat.db"
    errors = {"BW-01": 0.2, "BW-02": 0.5, "BW-03.json": 0.8}
    with closing(sqlite3.connect(path)) as connection:
        for sheet, error in errors.items():
            connection.execute(
                "insert or replace into results (sheet, exposure_error_stops, exposure_verdict, verdict, why, more,"
                " development_verdict) values (?, ?, 'dense', 'dense', '[]', '{}', 'as planned')",
                (sheet, error),
            )
        connection.commit()
    datasette = Datasette([str(path)])
    rows = (await datasette.client.get("/negcat/batches_denser_than_planned.json?_shape=array")).json()
    assert [(row["batch"], row["judged_sheets"]) for row in rows] == [("B1", 3)]
    assert rows[0]["exposure_error_stops"] == 0.5
    assert rows[0]["exposure_error_stops_se"] == round(statistics.stdev(errors.values()) / 3**0.5, 2)
    html = (await datasette.client.get("/negcat/batches_denser_than_planned")).text
    assert '<span class="figure">0.50</span>' in html
    more = "/negcat/batches_denser_than_planned.json?_shape=array&at_least="
    assert (await datasette.client.get(more + "0.6")).json() == []
    assert len((await datasette.client.get(more + "0.4")).json()) == 1


@pytest.mark.parametrize(
    ("table", "link"),
    [
        ("sheets", '<a class="own-page" href="/sheet/BW-03.json">page of BW-03.json</a>'),
        ("sheets", '<a href="/film/Marl%20Pan%20100">Marl Pan 100</a>'),
        ("sheets", '<a href="/lens/Haldane%20240">Haldane 240</a>'),
        ("sheets/BW-01", '<a href="/sheet/BW-01">BW-01</a>'),
        ("films", '<a class="own-page" href="/film/Marl%20Pan%20100">page of Marl Pan 100</a>'),
        ("films/Marl~20Pan~20100", '<a href="/film/Marl%20Pan%20100">Marl Pan 100</a>'),
        ("lenses", '<a class="own-page" href="/lens/Corrin%20150">page of Corrin 150</a>'),
        ("developments", '2026-03-10 <a class="own-page" href="/batch/B1">page of B1</a>'),
        ("development_sheets", '<a href="/batch/B1">B1</a>'),
        ("sheets_at_a_glance", '<a href="/sheet/BW-01">BW-01</a>'),
        ("readings", '<a href="/sheet/BW-01">BW-01</a>'),
        ("spots", '<a href="/sheet/BW-01">BW-01</a>'),
    ],
)
async def test_names_in_the_tables_lead_to_their_pages(site, table, link):
    assert link in (await site.client.get(f"/negcat/{table}")).text


async def test_a_scan_leads_to_its_sheet_by_that_scan_and_is_called_by_its_path(site):
    rows = (await site.client.get("/negcat/scans.json?_shape=array")).json()
    assert [row["taken_order"] for row in rows] == sorted((row["taken_order"] for row in rows), reverse=True)
    html = (await site.client.get("/negcat/scans")).text
    for row in rows:
        way = f'href="/sheet/{row["sheet"]}?scan={row["scan"]}">page of {row["sheet"]}</a>'
        assert (way in html) == bool(row["sheet"])
    findings = (await site.client.get("/negcat/findings")).text
    scan = next(row["scan"] for row in rows if row["sheet"] == "BW-01")
    assert re.search(rf'href="/negcat/scans/{scan}">[^<]*BW-01\.tif</a>', findings)


async def test_figures_of_a_column_have_the_same_number_of_places(site):
    html = (await site.client.get("/negcat/found_readings")).text
    densities = re.findall(r'<td class="col-density[^"]*"><span class="figure">([^<]*)</span>', html)
    assert densities
    assert all(re.fullmatch(r"\d\.\d{3}", density) for density in densities)
    whole = (await site.client.get("/negcat/found_readings.json?_shape=array")).json()
    assert any(len(str(row["density"])) > 8 for row in whole)


async def test_a_base_address_stands_before_every_way_to_a_page(archive):
    datasette = Datasette([str(archive / "negcat.db")], settings={"base_url": "/negatives/"})
    for table in ("sheets", "cells_at_tags", "developments"):
        html = (await datasette.client.get(f"/negcat/{table}")).text
        links = re.findall(r'href="(/[^"#?]+)', html)
        assert any("/sheet/" in link or "/lens/" in link or "/batch/" in link for link in links)
        assert [link for link in links if not link.startswith("/negatives/")] == []


async def test_another_databases_cells_are_left_as_they_are(archive, tmp_path):
    with closing(sqlite3.connect(tmp_path / "other.db")) as connection:
        connection.execute("create table sheets (sheet text, film text, place text)")
        connection.execute("insert into sheets values ('X-1', 'any', 'kiln')")
        connection.commit()
    datasette = Datasette([str(tmp_path / "other.db"), str(archive / "negcat.db")])
    html = (await datasette.client.get("/other/sheets")).text
    assert "/film/any" not in html
    assert 'type="search"' not in html


async def test_what_one_server_adds_to_the_descriptions_stays_with_it(archive):
    own = {
        "databases": {"negcat": {"tables": {"sheets": {"description": "Mine.", "columns": {"film": "Mine"}}}}}
    }
    first = Datasette([str(archive / "negcat.db")], metadata=own)
    assert "Mine." in (await first.client.get("/negcat/sheets")).text
    second = Datasette([str(archive / "negcat.db")])
    assert "Mine" not in (await second.client.get("/negcat/sheets")).text


async def test_colours_stand_in_one_file():
    static = Path(negcat.web.__file__).parent / "static"
    assert "--accent" in (static / "colours.css").read_text()
    for sheet in static.glob("*.css"):
        if sheet.name != "colours.css":
            said = sheet.read_text().partition("@media print")[0]
            assert re.findall(r"#[0-9a-f]{3,8}\b(?![^{]*\{)", said) == [], sheet.name
