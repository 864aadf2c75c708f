"""What is loaded in the holders, told and written down on a page."""

import pytest
from datasette.app import Datasette

from negcat.work.archive import Archive
from tests.web.conftest import form_token

pytestmark = pytest.mark.asyncio

LOADED = {"holder": "5", "side": "A", "film": "Marl Pan 100", "loaded_at": "2026-04-17T20:00"}


async def opened(own, *, signed_in=True):
    site = Datasette([str(own / "negcat.db")])
    cookies = {"ds_actor": site.sign({"a": {"id": "root"}}, "actor")} if signed_in else {}
    page = await site.client.get("/holders", cookies=cookies)
    return site, {**cookies, **dict(page.cookies)}, form_token(page.text), page.text


def sides(own):
    with Archive.open(own, readonly=True) as archive:
        return {
            (holder.holder, side.side): (side.film, side.loaded_at)
            for holder in archive.catalogue.holders()
            for side in holder.sides
        }


async def test_a_side_is_loaded_and_emptied(own):
    site, cookies, token, page = await opened(own)
    assert "No holder is on record" in page
    answer = await site.client.post("/holders", data={**LOADED, "csrftoken": token}, cookies=cookies)
    assert (answer.status_code, answer.headers["location"]) == (303, "/holders")
    assert sides(own) == {("5", "A"): ("Marl Pan 100", "2026-04-17T20:00")}
    assert "loaded, not exposed" in (await site.client.get("/holders", cookies=cookies)).text
    twin = (await site.client.get("/holders.json", cookies=cookies)).json()
    assert twin["holders"][0]["state"] == "loaded"
    emptied = {**LOADED, "film": "", "loaded_at": "", "csrftoken": token}
    assert (await site.client.post("/holders", data=emptied, cookies=cookies)).status_code == 303
    assert sides(own)["5", "A"][0] is None


@pytest.mark.parametrize(
    ("change", "says"),
    [({"film": "Nothing"}, "Nothing"), ({"holder": ""}, "Name the holder"), ({"loaded_at": "soon"}, "soon")],
)
async def test_what_cant_be_is_a_sentence_and_stays_in_the_form(own, change, says):
    site, cookies, token, _ = await opened(own)
    answer = await site.client.post(
        "/holders", data={**LOADED, **change, "csrftoken": token}, cookies=cookies
    )
    assert answer.status_code == 400
    assert says in answer.text
    assert 'value="A"' in answer.text
    assert sides(own) == {}


async def test_writing_asks_for_sign_in_and_token(own):
    site, cookies, token, page = await opened(own, signed_in=False)
    assert "asks for the sign-in link" in page
    answer = await site.client.post("/holders", data={**LOADED, "csrftoken": token}, cookies=cookies)
    assert answer.status_code == 403
    site, cookies, _, _ = await opened(own)
    assert (await site.client.post("/holders", data=LOADED, cookies=cookies)).status_code == 403
    assert sides(own) == {}
