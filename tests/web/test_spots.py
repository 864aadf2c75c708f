"""A reading's spot set from the sheet page is what the command line would have set."""

import pytest
from datasette.app import Datasette

from negcat.work.archive import Archive
from negcat.work.show import dossier
from tests.web.conftest import form_token

pytestmark = pytest.mark.asyncio


async def opened(own, *, signed_in=True):
    site = Datasette([str(own / "negcat.db")])
    cookies = {"ds_actor": site.sign({"a": {"id": "root"}}, "actor")} if signed_in else {}
    page = await site.client.get("/sheet/BW-01", cookies=cookies)
    return site, {**cookies, **dict(page.cookies)}, form_token(page.text), page.text


def known(own):
    with Archive.open(own, readonly=True) as archive:
        return dossier(archive, "BW-01")


async def test_a_spot_is_set_and_measured(own):
    before = known(own)
    site, cookies, token, _ = await opened(own)
    # The shadow's spot is put where the sky is.
    form = {"reading": "soot", "x": "70", "y": "45,5", "diameter": "3", "csrftoken": token}
    answer = await site.client.post("/sheet/bw-01/spots", data=form, cookies=cookies)
    assert (answer.status_code, answer.headers["location"]) == (303, "/sheet/BW-01")
    after = known(own)
    soot = after["readings"][0]
    assert (soot["spot"]["x"], soot["spot"]["y"], soot["spot"]["diameter_mm"]) == (0.7, 0.455, 3)
    assert soot["net_density"] == pytest.approx(1.30, abs=0.02)
    assert before["readings"][0]["net_density"] == pytest.approx(0.42, abs=0.02)
    assert after["readings"][1]["density"] == before["readings"][1]["density"]
    assert len(after["history"]) == len(before["history"]) + 1
    assert "web" in {entry["via"] for entry in after["history"]}


@pytest.mark.parametrize(
    ("form", "says"),
    [
        ({"reading": "soot", "x": "140", "y": "10"}, "outside the scan"),
        ({"reading": "soot", "x": "nan", "y": "10"}, "no number"),
        ({"reading": "soot", "x": "10", "y": ""}, "from the top"),
        ({"reading": "moon", "x": "10", "y": "10"}, "no reading"),
        ({"reading": "soot", "x": "10", "y": "10", "diameter": "900"}, "0.05 to 50 mm"),
        ({}, "Choose the reading"),
    ],
)
async def test_a_spot_that_cant_be_is_a_sentence_and_changes_nothing(own, form, says):
    before = known(own)
    site, cookies, token, _ = await opened(own)
    answer = await site.client.post("/sheet/BW-01/spots", data={**form, "csrftoken": token}, cookies=cookies)
    assert answer.status_code in (400, 404)
    assert says in answer.text
    assert known(own) == before


async def test_writing_a_spot_asks_for_sign_in_and_token(own):
    before = known(own)
    form = {"reading": "soot", "x": "70", "y": "45"}
    site, cookies, _, html = await opened(own, signed_in=False)
    assert "Save and measure" not in html
    assert (await site.client.post("/sheet/BW-01/spots", data=form, cookies=cookies)).status_code == 403
    site, cookies, token, html = await opened(own)
    assert "Save and measure" in html
    assert (await site.client.post("/sheet/BW-01/spots", data=form, cookies=cookies)).status_code == 403
    elsewhere = {"origin": "http://elsewhere.example"}
    answer = await site.client.post(
        "/sheet/BW-01/spots", data={**form, "csrftoken": token}, cookies=cookies, headers=elsewhere
    )
    assert answer.status_code == 403
    assert known(own) == before
