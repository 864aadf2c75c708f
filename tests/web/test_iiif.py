"""Scans and sheets by the IIIF APIs: the public validator on its own test picture, and what it doesn't look at."""

import importlib
import io
import json
import sys
import threading
import types
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import tifffile
import uvicorn
from datasette.app import Datasette
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageCms

from negcat.scans import open_pyramid, pyramid_path
from negcat.web import iiif_request, presentation
from negcat.web.iiif_request import RequestError, read_request
from negcat.web.serving import assemble, bind
from negcat.work.archive import Archive
from negcat.work.ingest import ingest_scans

# The validator loads a library of the system only to tell formats that level 2 doesn't ask for.
sys.modules.setdefault("magic", types.ModuleType("magic"))
validator = importlib.import_module("iiif_validator.validator")


def _checks() -> list[str]:
    """The validator's checks for version 3.0 up to level 2, and those beyond it that info.json promises."""
    told = validator.TestSuite(validator.ValidationInfo()).list_tests("3.0")
    promised = {"linkheader_canonical", "linkheader_profile", "rot_mirror", "rot_mirror_180"}
    return sorted(name for name, check in told.items() if int(check["level"]) <= 2 or name in promised)


PROFILE = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


@pytest.fixture(scope="module")
def pictures(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An archive with two scans: the validator's squares, and a large one with every tone in its place."""
    root = tmp_path_factory.mktemp("iiif")
    squares = np.zeros((1000, 1000, 3), np.uint8)
    for x, column in enumerate(validator.ValidationInfo().colorInfo):
        for y, colour in enumerate(column):
            squares[y * 100 : y * 100 + 100, x * 100 : x * 100 + 100] = colour
    (root / "masters").mkdir()
    tifffile.imwrite(root / "masters" / "squares.tif", squares, photometric="rgb", resolution=(300, 300))
    across, down = np.meshgrid(np.linspace(0, 255, 1500), np.linspace(0, 255, 1100))
    slopes = np.stack([across, down, 255 - across], axis=2).astype(np.uint8)
    tifffile.imwrite(
        root / "masters" / "slopes.tif",
        slopes,
        photometric="rgb",
        resolution=(300, 300),
        iccprofile=PROFILE,
    )
    with Archive.create(root / "archive") as archive:
        for item in ingest_scans(archive, [root / "masters"]):
            assert item.status != "refused", item.reason
    return root / "archive"


def scan_of(pictures: Path, name: str) -> str:
    with Archive.open(pictures, readonly=True) as archive:
        return next(row["scan"] for row in archive.catalogue.scans() if name in row["path"])


@pytest.fixture(scope="module")
def squares(pictures: Path) -> str:
    return scan_of(pictures, "squares")


@pytest.fixture(scope="module")
def slopes(pictures: Path) -> str:
    return scan_of(pictures, "slopes")


@pytest.fixture(scope="module")
def served(pictures: Path) -> Iterator[str]:
    """The real server's name and port."""
    listener = bind("127.0.0.1", 0)
    config = uvicorn.Config(assemble(pictures).app(), log_level="error", lifespan="on", ws="none")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    yield f"127.0.0.1:{listener.getsockname()[1]}"
    server.should_exit = True
    thread.join(timeout=20)


@pytest.mark.parametrize("check", _checks())
def test_the_public_validator_passes(check: str, served: str, squares: str):
    result = validator.ImageAPI(squares, served, "iiif/3", "http", "", "3.0", debug=False)
    validator.TestSuite(validator.ValidationInfo()).run_test(check, result)
    assert result.exception is None, f"{result.exception} {result.urls}"
    assert result.tests or result.urls


@pytest.fixture
def site(pictures: Path) -> Datasette:
    return assemble(pictures)


async def get(site: Datasette, path: str, **headers: str):
    return await site.client.get(path, headers=headers, follow_redirects=False)


def picture(response) -> Image.Image:
    assert response.status_code == 200, response.text
    return Image.open(io.BytesIO(response.content))


@pytest.mark.asyncio
async def test_a_stored_tile_is_passed_on_undecoded_with_its_colours(site, pictures, slopes, monkeypatch):
    pyramid = open_pyramid(pyramid_path(pictures / "previews", slopes))
    monkeypatch.setattr("imagecodecs.jpeg8_decode", None)
    monkeypatch.setattr("negcat.scans.encoded", None)
    side = pyramid.tile
    for level, region in ((0, f"{side},0,{side},{side}"), (1, f"0,0,{2 * side},{2 * side}")):
        answer = await get(site, f"/iiif/3/{slopes}/{region}/{side},{side}/0/default.jpg")
        stored = pyramid.tile_bytes(level, 1 - level, 0)
        assert answer.status_code == 200
        assert answer.content == stored
        assert picture(answer).info["icc_profile"] == PROFILE
        assert answer.headers["content-type"] == "image/jpeg"


@pytest.mark.asyncio
async def test_a_part_that_is_no_tile_keeps_its_colours_too(site, slopes):
    for ending in ("default.jpg", "color.png"):
        part = picture(await get(site, f"/iiif/3/{slopes}/10,20,300,200/!100,100/0/{ending}"))
        assert part.size == (100, 67)
        assert part.info["icc_profile"] == PROFILE
    grey = picture(await get(site, f"/iiif/3/{slopes}/10,20,300,200/!100,100/0/gray.jpg"))
    assert "icc_profile" not in grey.info


@pytest.mark.asyncio
async def test_tiles_put_together_are_the_picture(site, pictures, slopes):
    """What a viewer does with info.json at every scale, at the picture's edges as well."""
    info = (await get(site, f"/iiif/3/{slopes}/info.json")).json()
    (tiles,) = info["tiles"]
    assert info["width"], info["height"] == (1500, 1100)
    with Image.open(pyramid_path(pictures / "previews", slopes)) as whole:
        for number, factor in enumerate(tiles["scaleFactors"]):
            whole.seek(number)
            wanted = np.asarray(
                whole.convert("YCbCr" if whole.mode == "YCbCr" else whole.mode).convert("RGB")
            )
            got = np.zeros_like(wanted)
            step = tiles["width"] * factor
            for x in range(0, info["width"], step):
                for y in range(0, info["height"], step):
                    w, h = min(step, info["width"] - x), min(step, info["height"] - y)
                    size = f"{-(-w // factor)},{-(-h // factor)}"
                    tile = picture(await get(site, f"/iiif/3/{slopes}/{x},{y},{w},{h}/{size}/0/default.png"))
                    part = np.asarray(tile)
                    got[
                        y // factor : y // factor + part.shape[0], x // factor : x // factor + part.shape[1]
                    ] = part
            assert np.abs(got.astype(int) - wanted).max() <= 3, factor


@pytest.mark.asyncio
async def test_mirrored_first_then_turned_clockwise(site, squares):
    plain = np.asarray(picture(await get(site, f"/iiif/3/{squares}/0,0,300,200/max/0/default.png")))
    for rotation, expected in (
        ("90", np.rot90(plain, -1)),
        ("180", plain[::-1, ::-1]),
        ("270.0", np.rot90(plain, 1)),
        ("360", plain),
        ("!0", plain[:, ::-1]),
        ("!90", np.rot90(plain[:, ::-1], -1)),
    ):
        turned = picture(await get(site, f"/iiif/3/{squares}/0,0,300,200/max/{rotation}/default.png"))
        assert np.array_equal(np.asarray(turned), expected), rotation


@pytest.mark.asyncio
async def test_qualities(site, squares):
    address = f"/iiif/3/{squares}/full/max/0"
    assert picture(await get(site, f"{address}/gray.jpg")).mode == "L"
    assert picture(await get(site, f"{address}/bitonal.png")).mode == "1"
    colour = np.asarray(picture(await get(site, f"{address}/color.png")))
    assert np.array_equal(colour, np.asarray(picture(await get(site, f"{address}/default.png"))))


@pytest.mark.parametrize(
    ("request_", "status"),
    [
        ("1000,0,10,10/max/0/default.jpg", 400),
        ("0,0,0,10/max/0/default.jpg", 400),
        ("pct:0,0,-1,10/max/0/default.jpg", 400),
        ("full/0,/0/default.jpg", 400),
        ("full/,/0/default.jpg", 400),
        ("full/!50,/0/default.jpg", 400),
        ("full/pct:0/0/default.jpg", 400),
        ("full/pct:100.1/0/default.jpg", 400),
        ("full/1001,/0/default.jpg", 400),
        ("full/full/0/default.jpg", 400),
        ("full/^max/0/default.jpg", 501),
        ("full/^2000,/0/default.jpg", 501),
        ("full/max/45/default.jpg", 501),
        ("full/max/361/default.jpg", 400),
        ("full/max/-90/default.jpg", 400),
        ("full/max/0/native.jpg", 400),
        ("full/max/0/default", 400),
        ("full/max/0/default.tif", 501),
        ("full/max/0/default.exe", 400),
        ("full/max/default.jpg", 400),
        ("full/max/0/default.jpg/more", 400),
        ("٣,0,10,10/max/0/default.jpg", 400),
        ("full/max/0/%3Cscript%3E.jpg", 400),
    ],
)
@pytest.mark.asyncio
async def test_what_is_wrong_and_what_isnt_done(site, squares, request_, status):
    answer = await get(site, f"/iiif/3/{squares}/{request_}")
    assert answer.status_code == status
    assert answer.headers["content-type"].startswith("text/plain")
    assert answer.headers["access-control-allow-origin"] == "*"
    assert answer.text.strip().endswith(".")
    assert "Traceback" not in answer.text


@pytest.mark.asyncio
async def test_pictures_that_are_not_there(site):
    for scan in ("0123456789ab", "..%2F..", "[frob]", "0123456789AB", "x" * 300):
        assert (await get(site, f"/iiif/3/{scan}/info.json")).status_code == 404
        assert (await get(site, f"/iiif/3/{scan}/full/max/0/default.jpg")).status_code == 404


@pytest.mark.asyncio
async def test_headers_of_a_picture(site, squares):
    path = f"/iiif/3/{squares}/pct:0,0,50,50/250,/!90/color.jpg"
    answer = await get(site, path)
    base = f"http://localhost/iiif/3/{squares}"
    assert answer.headers["link"] == (
        '<http://iiif.io/api/image/3/level2.json>;rel="profile", '
        f'<{base}/0,0,500,500/250,250/!90/default.jpg>;rel="canonical"'
    )
    assert answer.headers["cache-control"] == "max-age=3600"
    again = await get(site, path, **{"if-none-match": f'"else", W/{answer.headers["etag"]}'})
    assert (again.status_code, again.content) == (304, b"")
    assert again.headers["etag"] == answer.headers["etag"]
    canonical = await get(site, f"/iiif/3/{squares}/0,0,500,500/250,250/!90/default.jpg")
    assert canonical.content == answer.content


@pytest.mark.asyncio
async def test_info_json(site, squares):
    answer = await get(site, f"/iiif/3/{squares}/info.json")
    info = answer.json()
    assert answer.headers["content-type"] == (
        'application/ld+json;profile="http://iiif.io/api/image/3/context.json"'
    )
    assert info["id"] == f"http://localhost/iiif/3/{squares}"
    for size in info["sizes"]:
        got = picture(
            await get(site, f"/iiif/3/{squares}/full/{size['width']},{size['height']}/0/default.jpg")
        )
        assert got.size == (size["width"], size["height"])
    plain = await get(site, f"/iiif/3/{squares}/info.json", accept="application/json")
    assert plain.headers["content-type"] == "application/json"
    bare = await get(site, f"/iiif/3/{squares}")
    assert (bare.status_code, bare.headers["location"]) == (303, f"{info['id']}/info.json")


@pytest.mark.asyncio
async def test_base_url_and_other_methods(pictures, squares):
    site = assemble(pictures)
    site._settings["base_url"] = "/negatives/"
    info = (await get(site, f"/iiif/3/{squares}/info.json")).json()
    assert info["id"] == f"http://localhost/negatives/iiif/3/{squares}"
    answer = await get(site, f"/iiif/3/{squares}/full/max/0/default.jpg")
    assert f"<http://localhost/negatives/iiif/3/{squares}/full/max/0/default.jpg>" in answer.headers["link"]
    asked = await site.client.options(f"/iiif/3/{squares}/info.json")
    assert asked.status_code == 204
    assert asked.headers["access-control-allow-methods"] == "GET, HEAD, OPTIONS"
    assert (await site.client.post(f"/iiif/3/{squares}/info.json")).status_code in (403, 405)


@pytest.mark.asyncio
async def test_nothing_leaks_where_reading_asks_for_signing_in(pictures, squares):
    site = assemble(pictures, sign_in=True)
    for path in (
        f"/iiif/3/{squares}/info.json",
        f"/iiif/3/{squares}/full/max/0/default.jpg",
        f"/iiif/3/{squares}",
        "/iiif/presentation/3/collection.json",
    ):
        answer = await get(site, path, origin="http://localhost:5000")
        assert answer.status_code == 403, path
        assert not [name for name in answer.headers if name.startswith("access-control")]
    cookies = {"ds_actor": site.sign({"a": {"id": "root"}}, "actor")}
    signed_in = await site.client.get(f"/iiif/3/{squares}/full/max/0/default.jpg", cookies=cookies)
    assert signed_in.status_code == 200
    assert signed_in.headers["cache-control"] == "private, no-store"
    assert not [name for name in signed_in.headers if name.startswith("access-control")]
    assert signed_in.headers["cross-origin-resource-policy"] == "same-origin"


@pytest.mark.asyncio
async def test_a_page_from_elsewhere_may_not_list_the_archive_off_loopback(site, pictures):
    path = "/iiif/presentation/3/collection.json"
    allowed = "access-control-allow-origin"
    assert allowed not in (await get(site, path, origin="https://elsewhere.example")).headers
    own = await get(site, path, origin="http://127.0.0.1:5000")
    assert own.headers[allowed] == "http://127.0.0.1:5000"
    assert "Origin" in own.headers["vary"]
    listed = Datasette(
        [str(pictures / "negcat.db")],
        metadata={"plugins": {"negcat": {"origins": ["https://viewer.example"]}}},
    )
    answer = await get(listed, path, origin="https://viewer.example")
    assert answer.headers[allowed] == "https://viewer.example"


@pytest.mark.asyncio
async def test_manifest_of_a_sheet(archive):
    site = assemble(archive)
    collection = (await get(site, "/iiif/presentation/3/collection.json")).json()
    assert collection["type"] == "Collection"
    assert [item["id"].split("/")[-2] for item in collection["items"]] == [
        "BW-01", "BW-02", "BW-03.json", "BW-04",
    ]  # fmt: skip
    for item in collection["items"]:
        answer = await get(site, item["id"].removeprefix("http://localhost"))
        assert answer.headers["content-type"].startswith("application/ld+json")
        manifest = answer.json()
        assert (manifest["id"], manifest["type"]) == (item["id"], "Manifest")
        assert manifest["label"] == item["label"]
    manifest = (await get(site, collection["items"][0]["id"].removeprefix("http://localhost"))).json()
    (canvas,) = manifest["items"]
    assert (canvas["width"], canvas["height"]) == (1040, 840)
    body = canvas["items"][0]["items"][0]["body"]
    assert picture(await get(site, body["id"].removeprefix("http://localhost"))).size == (1040, 840)
    info = (await get(site, body["service"][0]["id"].removeprefix("http://localhost") + "/info.json")).json()
    assert info["id"] == body["service"][0]["id"]
    small = canvas["thumbnail"][0]
    got = picture(await get(site, small["id"].removeprefix("http://localhost")))
    assert got.size == (small["width"], small["height"])
    assert (await get(site, "/iiif/presentation/3/none/manifest.json")).status_code == 404


@pytest.mark.asyncio
async def test_a_large_collection_is_paged(archive, monkeypatch):
    monkeypatch.setattr(presentation, "PAGE", 3)
    site = assemble(archive)
    collection = (await get(site, "/iiif/presentation/3/collection.json")).json()
    assert [item["type"] for item in collection["items"]] == ["Collection", "Collection"]
    sheets = []
    for item in collection["items"]:
        page = (await get(site, item["id"].removeprefix("http://localhost"))).json()
        assert page["id"] == item["id"]
        assert page["partOf"] == [{"id": collection["id"], "type": "Collection"}]
        sheets += [sheet["id"].split("/")[-2] for sheet in page["items"]]
    assert sheets == ["BW-01", "BW-02", "BW-03.json", "BW-04"]
    for missing in ("0", "3"):
        assert (await get(site, f"/iiif/presentation/3/collection/{missing}.json")).status_code == 404


@pytest.mark.asyncio
async def test_markup_of_a_record_stays_text(archive):
    answer = await get(assemble(archive), "/iiif/presentation/3/BW-02/manifest.json")
    assert "<script>" in json.dumps(answer.json())
    assert "html" not in answer.headers["content-type"]
    assert answer.headers["x-content-type-options"] == "nosniff"


def test_no_more_than_the_largest_area_is_sent():
    wanted = read_request(("full", "max", "0", "default.jpg"), 12000, 9600)
    assert wanted.width * wanted.height <= iiif_request.MAX_AREA
    assert abs(wanted.width / wanted.height - 1.25) < 0.001
    with pytest.raises(RequestError):
        read_request(("full", "12000,", "0", "default.jpg"), 12000, 9600)


@given(
    st.tuples(st.integers(1, 20000), st.integers(1, 20000)),
    st.one_of(
        st.sampled_from(["full", "square"]),
        st.tuples(*[st.integers(0, 30000)] * 4).map(lambda p: ",".join(map(str, p))),
        st.tuples(*[st.floats(0, 120)] * 4).map(lambda p: "pct:" + ",".join(f"{x:.4f}" for x in p)),
    ),
    st.one_of(
        st.just("max"),
        st.integers(0, 30000).map("{},".format),
        st.integers(0, 30000).map(",{}".format),
        st.tuples(st.integers(0, 30000), st.integers(0, 30000)).map(lambda p: f"{p[0]},{p[1]}"),
        st.tuples(st.integers(0, 30000), st.integers(0, 30000)).map(lambda p: f"!{p[0]},{p[1]}"),
        st.floats(0, 110).map("pct:{:.5f}".format),
    ),
)
def test_whatever_is_read_lies_inside_and_is_canonical_after_once(picture_size, region, size):
    try:
        wanted = read_request((region, size, "!90", "gray.png"), *picture_size)
    except RequestError:
        return
    x0, y0, x1, y1 = wanted.box
    assert 0 <= x0 < x1 <= picture_size[0]
    assert 0 <= y0 < y1 <= picture_size[1]
    assert 1 <= wanted.width <= x1 - x0
    assert 1 <= wanted.height <= y1 - y0
    address = iiif_request.canonical(wanted, *picture_size, "gray")
    again = read_request(tuple(address.split("/")), *picture_size)
    assert again == wanted
    assert iiif_request.canonical(again, *picture_size, "gray") == address


@pytest.mark.asyncio
async def test_a_pyramid_that_was_deleted_is_made_again(site, pictures, slopes):
    path = f"/iiif/3/{slopes}/0,0,600,600/300,300/0/default.jpg"
    before = await get(site, path)
    pyramid_path(pictures / "previews", slopes).unlink()
    after = await get(site, path)
    assert (after.status_code, after.content) == (200, before.content)
    assert after.headers["etag"] != before.headers["etag"]
