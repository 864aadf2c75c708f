"""A batch recorded from the pending page is the record that the command line would have taken."""

import html
import re
from urllib.parse import quote

import pytest
from datasette.app import Datasette

from negcat.catalogue import AdvisedTime
from negcat.work.archive import Archive
from negcat.work.developing import times_to_try
from negcat.work.taking import take_record_data

pytestmark = pytest.mark.asyncio

FILM = "Marl Pan 100"
ADDRESS = f"/pending/develop?film={quote(FILM)}&tag={quote('N+1')}"


@pytest.fixture
def waiting(own):
    """An archive with three sheets of one film that wait, two of them for N+1."""
    with Archive.open(own) as archive:
        first = archive.catalogue.sheet("BW-01")
        sheets = [
            {
                "sheet": sheet,
                "film": FILM,
                "lens": first.lens,
                "cell": first.cell,
                "stop": "22",
                "time": "1/2",
                "tag": tag,
            }
            for sheet, tag in (("W-1", "N+1"), ("W-2", "N+1"), ("W-3", "N-1"))
        ]
        take_record_data(archive, {"sheets": sheets}, via="test")
    return own


class Visitor:
    def __init__(self, root, *, signed_in=True):
        self.site = Datasette([str(root / "negcat.db")])
        self.cookies = {"ds_actor": self.site.sign({"a": {"id": "root"}}, "actor")} if signed_in else {}

    async def get(self, path):
        page = await self.site.client.get(path, cookies=self.cookies)
        self.cookies |= dict(page.cookies)
        return page

    async def post(self, fields):
        return await self.site.client.post("/pending/develop", data=fields, cookies=self.cookies)


def fields_of(page):
    fields = {}
    for tag in re.findall(r"<input [^>]*>", page):
        values = {name: html.unescape(value) for name, value in re.findall(r'([a-z]+)="([^"]*)"', tag)}
        if values.get("type") != "checkbox" or " checked" in tag:
            fields[values["name"]] = values.get("value", "")
    return fields


def batches(root):
    with Archive.open(root, readonly=True) as archive:
        return [archive.catalogue.development(name) for name in archive.catalogue.names("developments")]


async def test_pending_leads_to_a_batch_that_starts_from_the_last_one(waiting):
    visitor = Visitor(waiting)
    pending = (await visitor.get("/pending")).text
    assert html.escape(ADDRESS) in pending
    page = (await visitor.get(ADDRESS)).text
    fields = fields_of(page)
    (last,) = batches(waiting)[-1:]
    assert (fields["developer"], fields["tag"]) == (last.developer, "N+1")
    assert fields["batch"] != last.batch
    assert fields["time"] == ""
    assert {"sheet W-1", "sheet W-2"} <= set(fields)
    assert "sheet W-3" not in fields
    assert "1 at N-1" in page or "1 at N−1" in page
    assert "Caution" in page


async def test_a_batch_is_recorded_in_one_go(waiting):
    visitor = Visitor(waiting)
    fields = fields_of((await visitor.get(ADDRESS)).text)
    del fields["sheet W-2"], fields["sheet BW-04"]
    answer = await visitor.post({**fields, "time": "11m30s", "temperature_c": "21", "batch": "D-77"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/batch/D-77")
    batch = batches(waiting)[-1]
    assert (batch.batch, batch.sheets, batch.time.seconds, batch.temperature_c) == ("D-77", ("W-1",), 690, 21)
    assert batch.tag.n == 1
    again = (await visitor.get(ADDRESS)).text
    assert "sheet W-1" not in again
    with Archive.open(waiting, readonly=True) as archive:
        assert archive.catalogue.development_of("W-1").batch == "D-77"


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"time": "soon"}, "not a time"),
        ({"time": ""}, "time"),
        ({"batch": "D-01"}, "in the archive already"),
        ({"sheet BW-01": "yes"}, "doesn't wait"),
        ({"temperature_c": "<b>hot</b>"}, "temperature"),
    ],
)
async def test_what_cant_be_is_said_at_its_field_and_nothing_is_written(waiting, change, says):
    visitor = Visitor(waiting)
    before = batches(waiting)
    change = {name: before[0].batch if value == "D-01" else value for name, value in change.items()}
    fields = fields_of((await visitor.get(ADDRESS)).text)
    answer = await visitor.post({**fields, "time": "11m", **change})
    assert answer.status_code == 400
    said = html.unescape(answer.text)
    assert says in said.lower()
    assert "<b>hot" not in answer.text
    assert batches(waiting) == before
    assert fields_of(answer.text)["time"] == change.get("time", "11m")


async def test_recording_asks_for_sign_in_and_token(waiting):
    visitor = Visitor(waiting, signed_in=False)
    page = (await visitor.get(ADDRESS)).text
    assert "asks for the sign-in link" in page
    before = batches(waiting)
    assert (await visitor.post({**fields_of(page), "time": "11m"})).status_code == 403
    visitor = Visitor(waiting)
    fields = fields_of((await visitor.get(ADDRESS)).text)
    assert (await visitor.post({**fields, "time": "11m", "csrftoken": "other"})).status_code == 403
    assert batches(waiting) == before


async def test_an_unknown_film_is_a_sentence(waiting):
    answer = await Visitor(waiting).get("/pending/develop?film=Nothing")
    assert answer.status_code == 404
    assert "Nothing" in answer.text


async def test_times_to_try_by_what_was_accepted_and_by_film_tests_at_the_temperature_asked_for(waiting):
    with Archive.open(waiting) as archive:
        archive.catalogue.keep_advised_time(
            AdvisedTime(
                film=FILM, developer="Ousel", dilution="1+25", temperature_c=20.0, tag="N+1", tag_n=1.0,
                time_s=600.0, low_s=570.0, high_s=640.0, sheets=9, effective_from="2026-01-01",
                advice="time-x", sentence="Develop it.",
            ),
            "test",
        )  # fmt: skip
    page = html.unescape((await Visitor(waiting).get(f"{ADDRESS}&temperature=20")).text)
    assert "10 min" in page
    assert "as accepted" in page
    # Four degrees more: 600 s / 2^0.4 is 455 s, and the rule is said.
    warmer = html.unescape((await Visitor(waiting).get(f"{ADDRESS}&temperature=24")).text)
    assert "7 min 35 s" in warmer
    assert "Worked out from 20 °C" in warmer
    assert fields_of(warmer)["temperature_c"] == "24"
    with Archive.open(waiting, readonly=True) as archive:
        (time,) = (one for one in times_to_try(archive, FILM, "N+1", 24.0) if one.source == "accepted")
    assert time.time_s == pytest.approx(600 / 2**0.4)
    # The doubt about the rule widens the interval.
    assert time.high_s / time.low_s > 640 / 570


@pytest.mark.parametrize("written", ["warm", "99", "-3"])
async def test_a_temperature_that_cant_be_is_a_sentence(waiting, written):
    answer = await Visitor(waiting).get(f"{ADDRESS}&temperature={written}")
    assert answer.status_code == 400
    assert "no temperature of a developer" in answer.text
