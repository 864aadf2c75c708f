"""What a page may do, whom it answers, and that text stays text."""

import re

import pytest
from datasette.app import Datasette

from negcat.web.security import answers_to

from .conftest import MARKUP

pytestmark = pytest.mark.asyncio

OWN = ["/", "/sheet/BW-01", "/sheet/BW-02", "/pending", "/sheet/none", "/sheets.json", "/?tag=wrong"]
DATASETTES = ["/negcat", "/negcat/sheets", "/negcat/sheets/BW-02", "/negcat?sql=select+1", "/-/versions.json"]


@pytest.mark.parametrize("path", OWN + DATASETTES)
async def test_every_answer_is_guarded(site, path):
    headers = (await site.client.get(path)).headers
    policy = headers["content-security-policy"]
    assert "frame-ancestors 'none'" in policy
    assert "default-src 'none'" in policy
    assert "unsafe-eval" not in policy
    assert "'unsafe-inline'" not in re.search(r"script-src[^;]*", policy)[0]
    assert headers["x-content-type-options"] == "nosniff"


@pytest.mark.parametrize("path", OWN)
async def test_own_pages_hold_nothing_inline(site, path):
    response = await site.client.get(path)
    policy = response.headers["content-security-policy"]
    assert "unsafe-inline" not in policy
    assert "sha256" not in policy
    assert not re.search(r"<style|\sstyle=|\son\w+=|javascript:", response.text.replace(MARKUP, ""))
    if response.headers["content-type"].startswith("text/html"):
        # Scripts are files of our own, with nothing written between their tags.
        for script in re.findall(r"<script.*?</script>", response.text, re.DOTALL):
            assert re.fullmatch(
                r'<script (?:src="/-/[\w./-]+" defer|type="module" src="/-/[\w./-]+")></script>', script
            ), script


@pytest.mark.parametrize("path", ["/", "/sheet/BW-02", "/?text=%3Cscript%3E&place=%22%3E%3Cb%3E", "/pending"])
async def test_text_with_markup_shows_as_text(site, path):
    html = (await site.client.get(path)).text
    assert "<script>" not in html
    assert "<b>&amp; door" not in html
    if "BW-02" in path:
        assert "&lt;script&gt;alert(1)&lt;/script&gt;" in html


async def test_markup_that_was_searched_for_comes_back_as_text(site):
    html = (await site.client.get("/?text=%3Cscript%3Ealert(2)%3C%2Fscript%3E&cell=%22%3E%3Ci%3E")).text
    assert "<script>" not in html
    assert "<i>" not in html
    assert "&lt;i&gt;" in html


@pytest.mark.parametrize(
    "host", ["elsewhere.example", "elsewhere.example:8001", "localhost.example", "", "a b", "[::1"]
)
async def test_another_name_is_refused(site, host):
    response = await site.client.get("/", headers={"Host": host})
    assert response.status_code == 421
    assert "not a name of this server" in response.text
    assert response.headers["content-type"].startswith("text/plain")
    assert response.headers["x-content-type-options"] == "nosniff"


@pytest.mark.parametrize("host", ["localhost", "localhost:8001", "127.0.0.1:9", "[::1]:80", "LOCALHOST."])
async def test_this_machine_by_any_of_its_names_is_answered(site, host):
    assert (await site.client.get("/", headers={"Host": host})).status_code == 200


async def test_a_further_name_can_be_listed(archive):
    datasette = Datasette(
        [str(archive / "negcat.db")], metadata={"plugins": {"negcat": {"hosts": ["darkroom.example"]}}}
    )
    assert (await datasette.client.get("/", headers={"Host": "darkroom.example"})).status_code == 200
    assert (await datasette.client.get("/", headers={"Host": "other.example"})).status_code == 421


async def test_an_address_of_the_network_answers_to_itself_and_not_to_this_machine():
    assert answers_to("192.0.2.7:8001", "192.0.2.7")
    assert not answers_to("localhost", "192.0.2.7")
    assert not answers_to("192.0.2.8", "192.0.2.7")


@pytest.mark.parametrize("method", ["post", "put", "delete", "patch"])
@pytest.mark.parametrize("path", ["/", "/sheet/BW-01", "/pending", "/sheets.json"])
async def test_nothing_can_be_written(site, method, path):
    response = await site.client.request(method.upper(), path)
    assert response.status_code in (403, 405)


async def test_whoever_may_not_read_reads_nothing(archive):
    datasette = Datasette([str(archive / "negcat.db")], metadata={"allow": {"id": "root"}})
    for path in ("/", "/sheet/BW-01", "/pending", "/sheets.json", "/sheet/BW-01.json", "/negcat/sheets"):
        response = await datasette.client.get(path)
        assert response.status_code == 403, path
        assert "BW-0" not in response.text.replace(path, "")
        assert "signing in" in response.text
    cookies = {"ds_actor": datasette.sign({"a": {"id": "root"}}, "actor")}
    response = await datasette.client.get("/", cookies=cookies)
    assert response.status_code == 200
    assert response.headers["cache-control"] == "private, no-store"
