"""What waits, and the pictures."""

import asyncio
import shutil

import pytest
import pytest_asyncio
from datasette.app import Datasette

from negcat.work.archive import Archive
from negcat.work.pending import pending

from .conftest import build

pytestmark = pytest.mark.asyncio


@pytest.fixture
def scan(archive):
    with Archive.open(archive, readonly=True) as opened:
        return opened.catalogue.scans_of("BW-01")[0]["scan"]


@pytest_asyncio.fixture
async def own_site(archive, tmp_path):
    """A copy of the archive that a test may change."""
    shutil.copytree(archive, tmp_path / "own")
    datasette = Datasette([str(tmp_path / "own" / "negcat.db")])
    await datasette.invoke_startup()
    return datasette


async def test_everything_that_waits_is_named_with_its_reason(site, archive):
    html = (await site.client.get("/pending")).text
    with Archive.open(archive, readonly=True) as opened:
        waiting = pending(opened)
    assert [len(waiting[name]) for name in ("develop", "scan", "join", "measure")] == [1, 1, 1, 1]
    assert '<a href="/sheet/BW-04">BW-04</a>' in html
    assert '<a href="/sheet/BW-03.json">BW-03.json</a>' in html
    assert "stray.tif" in html
    assert waiting["join"][0]["reason"] in html
    assert waiting["measure"][0]["reason"] in html
    assert (await site.client.get("/pending.json")).json() == waiting


async def test_previews_are_pictures_that_may_be_kept(site, scan):
    for size in ("wall", "page"):
        response = await site.client.get(f"/preview/{scan}-{size}.jpg")
        assert response.status_code == 200
        assert response.headers["content-type"] == "image/jpeg"
        assert response.content.startswith(b"\xff\xd8")
        assert int(response.headers["content-length"]) == len(response.content)
        assert response.headers["cache-control"].startswith("max-age=")
        again = await site.client.get(
            f"/preview/{scan}-{size}.jpg", headers={"If-None-Match": response.headers["etag"]}
        )
        assert (again.status_code, again.content) == (304, b"")


async def test_a_changed_preview_is_sent_again(own_site, scan, tmp_path):
    address = f"/preview/{scan}-wall.jpg"
    tag = (await own_site.client.get(address)).headers["etag"]
    (picture,) = (tmp_path / "own" / "previews").rglob(f"{scan}-wall.jpg")
    picture.write_bytes(picture.read_bytes() + b"\0")
    assert (await own_site.client.get(address, headers={"If-None-Match": tag})).status_code == 200


async def test_a_deleted_preview_is_made_again(own_site, scan, tmp_path):
    shutil.rmtree(tmp_path / "own" / "previews")
    answers = await asyncio.gather(
        *(own_site.client.get(f"/preview/{scan}-{size}.jpg") for size in ("wall", "page", "wall"))
    )
    assert [answer.status_code for answer in answers] == [200, 200, 200]


async def test_a_preview_whose_master_is_gone_is_a_sentence(tmp_path, scan):
    root = build(tmp_path)
    shutil.rmtree(tmp_path / "masters")
    shutil.rmtree(root / "previews")
    response = await Datasette([str(root / "negcat.db")]).client.get(f"/preview/{scan}-wall.jpg")
    assert response.status_code == 500
    assert "BW-01.tif" in response.text
    assert "Traceback" not in response.text


@pytest.mark.parametrize(
    "name", ["000000000000-wall.jpg", "x-wall.jpg", "000000000000-huge.jpg", "..%2f..%2fnegcat.db"]
)
async def test_an_unknown_preview_is_not_found(site, name):
    assert (await site.client.get(f"/preview/{name}", follow_redirects=True)).status_code == 404
