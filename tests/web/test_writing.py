"""Who may write, from where, and how the pending page joins a scan."""

from pathlib import Path

import pytest
from datasette.app import Datasette

from negcat.work.archive import Archive
from tests.web.conftest import form_token

pytestmark = pytest.mark.asyncio


@pytest.fixture
def stray(own) -> str:
    with Archive.open(own, readonly=True) as archive:
        return next(row["scan"] for row in archive.catalogue.scans() if row["path"].endswith("stray.tif"))


async def opened(own: Path, *, signed_in: bool = True):
    """Datasette on the copy, what a browser that opened /pending holds, and the token of its form."""
    site = Datasette([str(own / "negcat.db")])
    cookies = {"ds_actor": site.sign({"a": {"id": "root"}}, "actor")} if signed_in else {}
    page = await site.client.get("/pending", cookies=cookies)
    return site, {**cookies, **dict(page.cookies)}, form_token(page.text)


def joined_to(own: Path, scan: str) -> str | None:
    with Archive.open(own, readonly=True) as archive:
        return archive.catalogue.scan(scan)["sheet"]


async def test_a_waiting_scan_is_joined_from_the_pending_page(own, stray):
    site, cookies, token = await opened(own)
    answer = await site.client.post(
        f"/scan/{stray}/join", data={"sheet": "bw-04", "csrftoken": token}, cookies=cookies
    )
    assert (answer.status_code, answer.headers["location"]) == (303, "/sheet/BW-04")
    assert joined_to(own, stray) == "BW-04"
    assert stray in (await site.client.get("/sheet/BW-04")).text


@pytest.mark.parametrize(
    ("sheet", "says"),
    [("BW-99", "BW-99"), ("", "Name the sheet"), ('"><script>x</script>', "&lt;script&gt;")],
)
async def test_what_cant_be_joined_is_said_beside_the_scan(own, stray, sheet, says):
    site, cookies, token = await opened(own)
    answer = await site.client.post(
        f"/scan/{stray}/join", data={"sheet": sheet, "csrftoken": token}, cookies=cookies
    )
    assert answer.status_code == 400
    assert says in answer.text
    assert 'id="refused"' in answer.text
    assert "<script>" not in answer.text
    assert joined_to(own, stray) is None


async def test_who_has_not_signed_in_writes_nothing(own, stray):
    site, cookies, token = await opened(own, signed_in=False)
    assert token == ""  # no form is offered
    answer = await site.client.post(f"/scan/{stray}/join", data={"sheet": "BW-04"}, cookies=cookies)
    assert answer.status_code == 403
    assert "sign-in link" in answer.text
    assert joined_to(own, stray) is None


@pytest.mark.parametrize(
    ("headers", "token"),
    [
        ({}, "made up"),
        ({}, ""),
        ({"origin": "http://elsewhere.example"}, None),
        ({"origin": "null"}, None),
        ({"origin": "http://localhost:1"}, None),
        ({"sec-fetch-site": "cross-site"}, None),
        ({"sec-fetch-site": "same-site"}, None),
        ({"authorization": "Bearer dstok_made-up"}, "made up"),
    ],
)
async def test_a_page_from_elsewhere_writes_nothing(own, stray, headers, token):
    site, cookies, known = await opened(own)
    data = {"sheet": "BW-04", "csrftoken": known if token is None else token}
    answer = await site.client.post(f"/scan/{stray}/join", data=data, cookies=cookies, headers=headers)
    assert answer.status_code == 403
    assert answer.headers["content-type"].startswith("text/html")
    assert joined_to(own, stray) is None


async def test_json_needs_the_token_in_its_header(own, stray):
    site, cookies, token = await opened(own)
    address = f"/scan/{stray}/join"
    refused = await site.client.post(address, json={"sheet": "BW-04"}, cookies=cookies)
    assert (refused.status_code, refused.json()["ok"]) == (403, False)
    assert joined_to(own, stray) is None
    broken = await site.client.post(
        address,
        content="[" * 100_000,
        cookies=cookies,
        headers={"content-type": "application/json", "x-csrftoken": token},
    )
    assert broken.status_code == 400
    assert broken.json()["error"] == "What was sent is no JSON document."


async def test_other_kinds_of_body_and_long_ones_are_not_taken(own, stray):
    site, cookies, token = await opened(own)
    address = f"/scan/{stray}/join"
    for kind, body, status in (
        ("text/plain", b"sheet=BW-04", 415),
        ("application/x-www-form-urlencoded", b"sheet=" + b"x" * 1_100_000, 413),
        ("application/x-www-form-urlencoded", b"a=1&" * 6_000, 400),
        ("application/x-www-form-urlencoded", b"sheet=%ff%fe", 400),
    ):
        answer = await site.client.post(
            address, content=body, cookies=cookies, headers={"content-type": kind, "x-csrftoken": token}
        )
        assert answer.status_code == status, (kind, answer.text)
    assert joined_to(own, stray) is None


async def test_under_a_base_address_too(own, stray):
    site = Datasette([str(own / "negcat.db")], settings={"base_url": "/negatives/"})
    cookies = {"ds_actor": site.sign({"a": {"id": "root"}}, "actor")}
    page = await site.client.get("/pending", cookies=cookies)  # the client puts the base address before it
    address = f"/scan/{stray}/join"
    assert f'action="/negatives{address}"' in page.text
    refused = await site.client.post(address, data={"sheet": "BW-04"}, cookies=cookies)
    assert refused.status_code == 403
    assert "open it again" in refused.text
    answer = await site.client.post(
        address,
        data={"sheet": "BW-04", "csrftoken": form_token(page.text)},
        cookies={**cookies, **dict(page.cookies)},
    )
    assert (answer.status_code, answer.headers["location"]) == (303, "/negatives/sheet/BW-04")


async def test_reading_an_address_that_writes_is_not_done(own, stray):
    site, cookies, _ = await opened(own)
    answer = await site.client.get(f"/scan/{stray}/join", cookies=cookies)
    assert (answer.status_code, answer.headers["allow"]) == (405, "POST")
