"""Datasette's own pages beside the archive's, other base addresses, and no archive at all."""

import base64
import hashlib
import re
import sqlite3
from contextlib import closing
from html import unescape

import pytest
from datasette.app import Datasette

from negcat.catalogue import describe

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
    behind = {"/": "/sheets", "/sheet/BW-03.json": "/sheets/BW-03~2Ejson", "/pending": ""}
    for path, table in ((path, f"/negcat{rest}") for path, rest in behind.items()):
        html = (await site.client.get(path)).text
        assert f'href="{table}"' in html
        assert (await site.client.get(table)).status_code == 200


async def test_static_files_are_there(site):
    for name in ("page.css", "tables.css", "mark.svg"):
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
            assert found.status_code in (200, 302), link
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
