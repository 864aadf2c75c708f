"""What strangers get of a server for others: every route of the application, asked from elsewhere."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from urllib.parse import quote

import pytest
from datasette.app import Datasette

from negcat.web.door import is_open, is_ours
from negcat.web.veil import veiled
from tests.web.strangers import Server, is_static, routes_of

pytestmark = pytest.mark.asyncio

HOSTILE = {
    "host": "elsewhere.example",
    "origin": "http://elsewhere.example",
    "sec-fetch-site": "cross-site",
}
FURTHER = (
    "/negcat/sheets.csv?_stream=1",
    "/negcat?sql=select+*+from+sheets",
    "/negcat.json?sql=select+*+from+pragma_database_list",
    "/negcat/sheets?_where=1=1",
    "/negcat/cells_at_tags",
    "/negcat/door_log",
    "/negcat/history.json",
    "/negcat/scans.json?_size=max",
    "/negcat/nothing",
    "/nothing",
    "/_internal",
    "/_memory",
    "/sheet/nothing",
    "/sheet/nothing.json",
    "/film/nothing",
    "/preview/000000000000-page.jpg",
    "/iiif/3/nothing/info.json",
    "/iiif/3/nothing/full/max/0/default.jpg",
    "/?text=kiln",
    "/sheets.json?text=kiln",
    "/-/static/app.css/x",
    "/-/static/" + "x" * 300,
    "/-/static/..%2f..%2fmetadata.json",
    "/-/static-plugins/negcat/../__init__.py",
    "/-/nothing",
)


@pytest.fixture(scope="module")
def copied(archive, tmp_path_factory) -> Path:
    """A copy of the archive for this module; its masters still lie outside, at whole paths."""
    root = tmp_path_factory.mktemp("others") / archive.name
    shutil.copytree(archive, root)
    return root


@pytest.fixture(scope="module")
def words(copied) -> list[str]:
    """What of the archive nobody may learn: its name, ids, names, words and places."""
    with closing(sqlite3.connect(copied / "negcat.db")) as connection:
        found = {
            value
            for column, table in (
                *(("sheet", "sheets"), ("place", "sheets"), ("subject", "sheets"), ("film", "sheets")),
                *(("name", "lenses"), ("name", "shutters"), ("name", "readings"), ("name", "scanners")),
                *(
                    ("scan", "scans"),
                    ("path", "scans"),
                    ("batch", "developments"),
                    ("developer", "developments"),
                ),
            )
            for (value,) in connection.execute(f"select {column} from {table}")
            if value and len(value) > 2
        }
    return sorted({*found, copied.name, str(copied.parent), "negcat.db"})


@pytest.fixture(scope="module")
def samples(copied) -> list[dict[str, str]]:
    """What stands in addresses: of a sheet with a scan, and of a scan without a sheet."""
    with closing(sqlite3.connect(copied / "negcat.db")) as connection:
        (joined,) = connection.execute("select scan from scans where sheet = 'BW-01'").fetchone()
        (stray,) = connection.execute("select scan from scans where sheet is null").fetchone()
    common = {
        "size": "wall",
        "file": "leaflet.js",
        "database": "negcat",
        "kind": "film",
        "page": "1",
        "rest": "full/64,/0/default.jpg",
    }
    return [
        {**common, "sheet": "BW-01", "scan": joined, "name": "Marl%20Pan%20100", "table": "sheets",
         "pks": "BW-01", "path": "page.css", "format": "json"},
        {**common, "sheet": "BW-02", "scan": stray, "name": "Haldane%20240", "table": "scans", "pks": stray,
         "path": "app.css", "format": "json"},
        {**common, "sheet": "BW-03.json", "scan": joined, "name": "B1", "table": "history", "pks": "1",
         "path": "none.css", "format": "json"},
    ]  # fmt: skip


def addresses(server: Server, samples: list[dict[str, str]]) -> list[str]:
    """Write addresses for every route there is; each has at least one."""
    known: dict[str, set[str]] = {}
    for sample in samples:
        for pattern, found in routes_of(server, sample).items():
            known.setdefault(pattern, set()).update(found)
    # Two of Datasette's own are replaced.
    assert {pattern for pattern, found in known.items() if not found} == {"/-/auth-token$", "/-/logout$"}
    assert len(known) > 60
    return sorted({*FURTHER, *(address for found in known.values() for address in found)})


def told(answer, words: list[str]) -> list[str]:
    """Find the words of the archive in an answer, in its body or in its headers."""
    whole = answer.content + b"\n".join(key + b": " + value for key, value in answer.headers.raw)
    return [word for word in words if word.encode() in whole or quote(word).encode() in whole]


def written(root: Path) -> list[str]:
    """Write out all that an archive holds."""
    with closing(sqlite3.connect(root / "negcat.db")) as connection:
        return [line for line in connection.iterdump() if "door_log" not in line]


async def test_a_stranger_gets_nothing_of_an_archive_that_asks_for_signing_in(copied, samples, words):
    server = Server(copied, sign_in=True)
    async with server.visitor() as visitor:
        for address in addresses(server, samples):
            for method in ("GET", "HEAD", "OPTIONS"):
                answer = await visitor.request(method, address)
                assert told(answer, words) == [], (method, address)
                if is_open(server.view(address)):
                    assert answer.status_code in (200, 303, 403, 405), address
                elif not is_static(server.view(address), address):
                    assert answer.status_code == 403, (method, address)
                    assert answer.headers["cache-control"] == "no-store"


async def test_only_what_tells_nothing_is_left_open(copied, samples):
    server = Server(copied, sign_in=True)
    left_open = {address for address in addresses(server, samples) if is_open(server.view(address))}
    assert left_open == {"/-/auth-token", "/sign-in", "/sign-out", "/-/logout"}


async def test_every_way_to_write_is_refused_without_signing_in_and_token(copied, samples, words):
    server = Server(copied, sign_in=True)
    before = written(copied)
    browser, token = await server.signed_in()
    sent = {"csrftoken": token, "sheet": "BW-04", "film": "Marl Pan 100"}
    anybody, stranger, hostile = server.visitor(), server.visitor(), server.visitor()
    stranger.cookies.update({"ds_csrftoken": browser.cookies["ds_csrftoken"]})
    hostile.cookies.update(dict(browser.cookies))
    for address in addresses(server, samples[:1]):
        answers = {"with nothing": await anybody.post(address, data={"sheet": "BW-04"})}
        answers["not signed in"] = await stranger.post(address, data=sent)
        for method in ("PUT", "PATCH", "DELETE", "TRACE", "BREW"):
            answers[method] = await stranger.request(method, address)
        anybody.cookies.clear()
        answers["without token"] = await hostile.post(address, data={"sheet": "BW-04"})
        headers = {"x-csrftoken": token + "x"}
        answers["with a wrong token"] = await hostile.post(address, json={}, headers=headers)
        for name, value in HOSTILE.items():
            answers[name] = await hostile.post(address, data=sent, headers={name: value})
        headers = {"authorization": "Bearer made-up"}
        answers["bearer"] = await hostile.post(address, data={"sheet": "BW-04"}, headers=headers)
        if is_ours(server.view(address)) and not address.endswith(".pdf"):
            headers = {"x-http-method-override": "POST", "x-csrftoken": token}
            answer = await hostile.get(f"{address.partition('?')[0]}?_method=POST", headers=headers)
            protected(answer)
            assert "no-store" in answer.headers["cache-control"], address
        for way, answer in answers.items():
            if is_open(server.view(address)) and way == "not signed in":
                continue  # a link is asked for, or a session of one's own ended
            if way == "bearer" and not is_ours(server.view(address)):
                continue  # no page elsewhere can send that header, and nothing of Datasette's own writes
            assert 400 <= answer.status_code < 500, (way, address)
            if way in ("with nothing", "not signed in"):
                assert told(answer, words) == [], (way, address)
    assert written(copied) == before
    for visitor in (anybody, stranger, hostile, browser):
        await visitor.aclose()


async def test_strangers_who_may_read_get_no_folder_of_the_machine_and_no_tables(copied, samples, words):
    folders = [word for word in words if word.startswith("/")]
    # What they would get: at the machine itself the pages tell where masters lie.
    at_home = Datasette([str(copied / "negcat.db")])
    for address in ("/sheet/BW-01", "/sheet/BW-01.json", "/pending", "/pending.json", "/negcat/scans.json"):
        assert told(await at_home.client.get(address), folders), address
    server = Server(copied, public_read=True)
    before, read = written(copied), 0
    async with server.visitor() as visitor:
        for address in addresses(server, samples[:1]):
            if address.endswith(".pdf") and address != "/crib.pdf":
                continue  # drawing every paper takes longer than all the pages
            for method in ("GET", "POST"):
                answer = await visitor.request(method, address)
                assert answer.status_code < 500, address
                protected(answer)
                assert told(answer, [*folders, str(Path.home()), str(Path(__file__).parents[2])]) == [], (
                    address
                )
                ours = is_ours(server.view(address)) or is_static(server.view(address), address)
                if server.view(address) is not None and not ours:
                    assert answer.status_code == 403, address
                    assert told(answer, words) == [], address
                read += answer.status_code == 200
        assert read > 20
        assert "BW-01.tif" in (await visitor.get("/sheet/BW-01")).text
        assert "stray.tif" in (await visitor.get("/pending.json")).text
        page = await visitor.get("/")
        assert "/negcat/" not in page.text.replace("/-/static-plugins/negcat/", "")
        assert int(page.headers.get("content-length", len(page.content))) == len(page.content)
    assert written(copied) == before


async def test_who_has_signed_in_reads_all_of_it(copied, words):
    server = Server(copied, public_read=True)
    browser, _ = await server.signed_in()
    folders = [word for word in words if word.startswith("/")]
    for address in ("/sheet/BW-01", "/negcat/scans.json", "/negcat?sql=select+path+from+scans"):
        answer = await browser.get(address)
        assert answer.status_code == 200
        assert told(answer, folders), address
        assert answer.headers["cache-control"] == "private, no-store"
    # Not the file itself, and no table in one piece.
    assert (await browser.get("/negcat.db")).status_code == 403
    assert (await browser.get("/negcat/sheets.csv?_stream=1")).status_code == 400
    await browser.aclose()


async def test_every_answer_bears_the_protective_headers(copied, samples):
    server = Server(copied, sign_in=True)
    browser, _ = await server.signed_in()
    for address in addresses(server, samples[:1]):
        async with server.visitor() as visitor:
            for method, sent in (
                ("GET", {}),
                ("POST", {}),
                ("BREW", {}),
                ("GET", {"host": "elsewhere.example"}),
            ):
                protected(await visitor.request(method, address, headers=sent))
        if is_ours(server.view(address)):
            continue  # see the test of all ways to write, which reads them signed in
        answer = await browser.get(address)
        protected(answer)
        if not is_static(server.view(address), address):
            assert "no-store" in answer.headers["cache-control"], address
    await browser.aclose()


def protected(answer) -> None:
    headers = answer.headers
    policy = dict(part.strip().split(" ", 1) for part in headers["content-security-policy"].split(";"))
    assert policy["default-src"] == "'none'"
    assert policy["frame-ancestors"] == policy["base-uri"] == "'none'"
    assert "unsafe" not in policy["script-src"]
    assert headers["x-frame-options"] == "DENY"
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] in ("same-origin", "no-referrer")
    assert headers["cross-origin-opener-policy"] == "same-origin"
    shared = headers.get("access-control-allow-origin") is not None
    assert headers["cross-origin-resource-policy"] == ("cross-origin" if shared else "same-origin")
    assert "camera=()" in headers["permissions-policy"]
    assert "access-control-allow-credentials" not in headers


@pytest.mark.parametrize(
    ("said", "shown"),
    [
        ("/usr/share/kiln/BW-01.tif", "BW-01.tif"),
        ('{"path": "/usr/share/Kiln scans, 4x5/ren\\u00e9/BW-01.tif"}', '{"path": "BW-01.tif"}'),
        ("<td>/usr/share/a &amp; b/BW-01.tif</td>", "<td>BW-01.tif</td>"),
        ("file:///usr/share/BW-01.tif", "file://BW-01.tif"),
        ("not at /usr/share/BW-01.tif any more", "not at BW-01.tif any more"),
        ("/usr/share/BW-01.tif\n/usr/share/BW-02.tif", "BW-01.tif\nBW-02.tif"),
        # Neither an address nor a fraction is a folder.
        ('<a href="/sheet/BW-01/edit">', '<a href="/sheet/BW-01/edit">'),
        ("http://192.0.2.7/usr/share", "http://192.0.2.7/usr/share"),
        ("scans/usr/BW-01.tif, 1/15 s at f/22", "scans/usr/BW-01.tif, 1/15 s at f/22"),
    ],
)
async def test_folders_are_cut_off_and_nothing_else(said, shown):
    assert veiled(said, frozenset({"sheet"})) == shown


async def test_one_address_at_this_machine_that_was_handed_on_is_a_stranger(copied):
    site = Datasette([str(copied / "negcat.db")])
    for name in ("X-Forwarded-For", "Forwarded", "X-Forwarded-Host", "Via", "X-Real-IP"):
        answer = await site.client.get("/sheet/BW-01", headers={name: "203.0.113.9"})
        assert (answer.status_code, told(answer, ["BW-0", "Haldane"])) == (403, [])
    assert (await site.client.get("/sheet/BW-01")).status_code == 200


async def test_plain_datasette_on_an_address_of_the_network_is_closed_too(copied):
    server = Server(copied)
    async with server.visitor() as visitor:
        for address in (
            "/",
            "/negcat",
            "/negcat/sheets.json",
            "/-/databases.json",
            "/iiif/presentation/3/collection.json",
        ):
            answer = await visitor.get(address)
            assert (answer.status_code, told(answer, ["BW-0", "Haldane", "brickworks"])) == (403, []), address


async def test_a_fault_of_the_program_tells_strangers_nothing(copied, monkeypatch, caplog):
    def broken(root, scan, size):
        raise RuntimeError(f"{root} is broken\n\x1b[2J")

    monkeypatch.setattr("negcat.web.reading.preview", broken)
    server = Server(copied, public_read=True)
    async with server.visitor() as visitor:
        answer = await visitor.get("/preview/000000000000-wall.jpg")
    assert answer.status_code == 500
    assert "went wrong in the server" in answer.text
    assert told(answer, [str(copied), "RuntimeError", "Traceback", "broken"]) == []
    protected(answer)
    assert "RuntimeError" in caplog.text
    assert "Traceback" not in caplog.text
    assert "\x1b" not in caplog.text
