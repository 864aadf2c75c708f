"""Spots tried and set from the sheet page are what the command line would have found and set."""

import html
import re
import shutil
from dataclasses import dataclass, field

import pytest
from datasette.app import Datasette

from negcat.work.archive import Archive
from negcat.work.measure import SpotChange, measure_sheet
from negcat.work.show import dossier
from negcat.work.trying import standing, try_spots
from tests.web.twice import SPOTS

pytestmark = pytest.mark.asyncio

SKY = {"x": "70", "y": "45,5", "d": "3"}


@dataclass
class Sheet:
    """A sheet page, as a browser has it."""

    site: Datasette
    cookies: dict[str, str]
    page: str
    fields: dict[str, str] = field(default_factory=dict)

    @classmethod
    async def open(cls, own, *, signed_in=True, sheet="BW-01", query=""):
        site = Datasette([str(own / "negcat.db")])
        cookies = {"ds_actor": site.sign({"a": {"id": "root"}}, "actor")} if signed_in else {}
        page = await site.client.get(f"/sheet/{sheet}{query}", cookies=cookies)
        assert page.status_code == 200, page.text
        inside = re.search(r'<details class="spotting".*?</details>', page.text, re.DOTALL)[0]
        return cls(site, {**cookies, **dict(page.cookies)}, page.text, fields_of(inside))

    def where(self, key="0", **place):
        return {**self.fields, **{f"{name}-{key}": value for name, value in place.items()}}

    async def send(self, action, fields, sheet="BW-01", **more):
        return await self.site.client.post(
            f"/sheet/{sheet}/{action}", data=fields, cookies=self.cookies, **more
        )


def fields_of(page):
    """Give the fields of a form that a browser would send: an unticked box isn't sent."""
    fields = {}
    for tag in re.findall(r"<input [^>]*>", page):
        values = {name: html.unescape(value) for name, value in re.findall(r'([a-z]+)="([^"]*)"', tag)}
        if values.get("type") not in ("checkbox", "radio"):
            fields[values["name"]] = values.get("value", "")
    return fields


def text_of(page):
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", page))).replace("\xa0", " ")


def known(own, sheet="BW-01"):
    with Archive.open(own, readonly=True) as archive:
        return dossier(archive, sheet)


def bytes_of(own):
    """Everything that the archive keeps."""
    return {
        str(path): path.read_bytes()
        for path in own.rglob("*")
        if path.is_file()
        and path.suffix not in (".db-wal", ".db-shm")
        and not path.name.endswith(("-wal", "-shm"))
    }


async def test_a_spot_is_set_and_measured(own):
    before = known(own)
    sheet = await Sheet.open(own)
    # The shadow's spot is put where the sky is.
    answer = await sheet.send("spots", sheet.where(**SKY), "bw-01")
    assert (answer.status_code, answer.headers["location"]) == (303, "/sheet/BW-01")
    after = known(own)
    soot = after["readings"][0]
    assert (soot["spot"]["x"], soot["spot"]["y"], soot["spot"]["diameter_mm"]) == (0.7, 0.455, 3)
    assert soot["net_density"] == pytest.approx(1.30, abs=0.02)
    assert before["readings"][0]["net_density"] == pytest.approx(0.42, abs=0.02)
    assert after["readings"][1]["density"] == before["readings"][1]["density"]
    assert len(after["history"]) == len(before["history"]) + 1
    assert "web spots" in {entry["via"] for entry in after["history"]}


async def test_trying_shows_to_the_digit_what_setting_finds_and_keeps_nothing(own):
    sheet = await Sheet.open(own)
    kept = bytes_of(own)
    fields = sheet.where(**SKY)
    tried = await sheet.send("try", fields)
    assert tried.status_code == 200
    assert bytes_of(own) == kept
    said = text_of(tried.text)
    assert "Tried, not kept." in said
    assert "1.30 ± 0.0" in said
    assert "As kept: 0.42 ± 0.0" in said
    await sheet.send("spots", fields)
    then = await Sheet.open(own)

    def figures(page):
        found = re.search(r'<table class="readings".*?</table>', page, re.DOTALL)[0]
        verdict = re.search(r'<div class="finding".*?<section', page, re.DOTALL)[0]
        return re.findall(r"[−+\d.±]+ ?[\d.]*", text_of(found) + text_of(verdict))

    assert figures(tried.text) == figures(then.page)
    assert figures(then.page) != figures(sheet.page)


@pytest.mark.parametrize(
    "changes",
    [
        (SpotChange("soot", 0.7, 0.455, 3.0),),
        (SpotChange("soot", 0.31, 0.41), SpotChange("lintel", 0.66, 0.42, 1.0)),
        (SpotChange("base+fog", 0.02, 0.5, 1.0),),
    ],
)
async def test_what_is_tried_is_what_is_found_when_set(own, changes):
    names = [reading["name"] for reading in known(own)["readings"]]
    changes = [
        SpotChange(names[1] if c.name == "lintel" else c.name, c.x, c.y, c.diameter_mm) for c in changes
    ]
    with Archive.open(own, readonly=True) as archive:
        tried = try_spots(archive, standing(archive, "BW-01"), changes)
    with Archive.open(own) as archive:
        measure_sheet(archive, "BW-01", changes)
        kept = archive.catalogue.findings("BW-01")
    assert tried.findings.readings == kept.readings
    assert tried.findings.result == kept.result
    assert tried.findings.base_fog == kept.base_fog


async def test_whoever_only_reads_may_try_but_not_set(own):
    sheet = await Sheet.open(own, signed_in=False)
    assert "Save and measure" not in sheet.page
    assert "asks for the sign-in link" in text_of(sheet.page)
    assert "Tried, not kept." in text_of((await sheet.send("try", sheet.where(**SKY))).text)
    before = known(own)
    assert (await sheet.send("spots", sheet.where(**SKY))).status_code == 403
    assert known(own) == before


@pytest.mark.parametrize("action", ["try", "spots"])
async def test_token_and_origin_are_asked_for(own, action):
    before = known(own)
    sheet = await Sheet.open(own)
    assert "Save and measure" in sheet.page
    without = {name: value for name, value in sheet.where(**SKY).items() if name != "csrftoken"}
    assert (await sheet.send(action, without)).status_code == 403
    elsewhere = {"origin": "http://elsewhere.example"}
    assert (await sheet.send(action, sheet.where(**SKY), headers=elsewhere)).status_code == 403
    assert known(own) == before


@pytest.mark.parametrize(
    ("place", "says"),
    [
        ({"x": "140", "y": "10"}, "outside the scan"),
        ({"x": "nan", "y": "10"}, "no number"),
        ({"x": "10", "y": ""}, "from the top"),
        ({"x": "10", "y": "10", "d": "900"}, "0.05 to 50 mm"),
    ],
)
async def test_a_spot_that_cant_be_is_a_sentence_and_changes_nothing(own, place, says):
    before = known(own)
    sheet = await Sheet.open(own)
    for action, status in (("spots", 400), ("try", 200)):
        answer = await sheet.send(action, sheet.where(**place))
        assert (answer.status_code, says in text_of(answer.text)) == (status, True)
        # What was typed stays.
        assert fields_of(answer.text)["x-0"] == place["x"]
        assert re.search(r'<details class="spotting" id="spots" open>', answer.text)
    assert known(own) == before


async def test_an_unknown_reading_is_a_sentence(own):
    sheet = await Sheet.open(own)
    answer = await sheet.send("spots", {**sheet.where(**SKY), "name-0": "moon"})
    assert answer.status_code == 400
    assert "no reading 'moon'" in text_of(answer.text)


async def test_a_sheet_changed_meanwhile_is_not_overwritten(own):
    first = await Sheet.open(own)
    second = await Sheet.open(own)
    assert (await first.send("spots", first.where(**SKY))).status_code == 303
    kept = known(own)
    fields = second.where(x="31", y="41")
    tried = await second.send("try", fields)
    assert "changed meanwhile" in text_of(tried.text)
    refused = await second.send("spots", fields)
    assert refused.status_code == 409
    assert "changed meanwhile" in text_of(refused.text)
    assert known(own) == kept
    # What was typed is still there, and can be set on what the page shows now.
    again = fields_of(re.search(r'<details class="spotting".*?</details>', refused.text, re.DOTALL)[0])
    assert (again["x-0"], again["was-0"]) == ("31", "70 45.5 3")
    assert (await second.send("spots", {**second.fields, **again})).status_code == 303
    assert known(own)["readings"][0]["spot"]["x"] == 0.31


async def test_nothing_moved_is_nothing_written(own):
    sheet = await Sheet.open(own)
    kept = bytes_of(own)
    assert (await sheet.send("spots", sheet.fields)).status_code == 303
    assert bytes_of(own) == kept


async def test_a_name_with_markup_stays_text(own):
    sheet = await Sheet.open(own)
    answer = await sheet.send("try", {**sheet.where(x='"><b>', y="1"), "name-0": "<script>x</script>"})
    assert "<b>" not in answer.text.replace("<b>", "", answer.text.count("with these spots: <b>"))
    assert "<script>x" not in answer.text


@pytest.fixture
def twice(scanned_twice, tmp_path):
    shutil.copytree(scanned_twice.parent, tmp_path / "copy")
    return tmp_path / "copy" / scanned_twice.name


async def test_spots_are_marked_on_every_scan_and_set_where_one_looks(twice):
    with Archive.open(twice, readonly=True) as archive:
        measured, older = (str(row["scan"]) for row in archive.catalogue.scans_of("TW-01"))
    now = await Sheet.open(twice, sheet="TW-01")
    then = await Sheet.open(twice, sheet="TW-01", query=f"?scan={older}")
    for sheet, scan in ((now, measured), (then, older)):
        assert sheet.fields["scan"] == scan
        assert len(re.findall(r'<circle class="over"', sheet.page)) == 2
    x, y, _ = SPOTS["sky"]
    # On the first scan they lie where the record has them; the second is mirrored and on its side.
    assert (float(then.fields["x-1"]), float(then.fields["y-1"])) == (100 * x, 100 * y)
    assert (float(now.fields["x-1"]), float(now.fields["y-1"])) == pytest.approx(
        (100 - 100 * y, 100 - 100 * x), abs=1
    )
    before = known(twice, "TW-01")
    assert before["readings"][0]["density"] == pytest.approx(SPOTS["soot"][2], abs=0.02)
    # The shadow's spot is put onto the sky on the older scan, and is measured on the newer.
    fields = then.where(x=str(100 * x), y=str(100 * y))
    tried = await then.send("try", fields, "TW-01")
    answer = await then.send(f"spots?scan={older}", fields, "TW-01")
    assert (answer.status_code, answer.headers["location"]) == (303, f"/sheet/TW-01?scan={older}")
    after = known(twice, "TW-01")["readings"][0]
    assert after["density"] == pytest.approx(before["readings"][1]["density"], abs=0.01)
    assert after["spot"]["scan"] == measured
    assert f"{after['net_density']:.2f} ±" in text_of(tried.text)


async def test_spots_carried_over_are_confirmed_by_a_tick(twice):
    sheet = await Sheet.open(twice, sheet="TW-01")
    assert "The spots carried over lie right: soot, sky" in text_of(sheet.page)
    answer = await sheet.send("spots", {**sheet.fields, "confirm": "yes"}, "TW-01")
    assert answer.status_code == 303
    assert {reading["spot_status"] for reading in known(twice, "TW-01")["readings"]} == {"set"}
    assert "carried over lie right" not in (await Sheet.open(twice, sheet="TW-01")).page
