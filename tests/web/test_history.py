"""What was changed of a record on its pages; an earlier state brought back; a sheet removed and brought back."""

import html
import re
from dataclasses import dataclass

import pytest
from datasette.app import Datasette

from negcat.work.archive import Archive
from negcat.work.history import history_of
from negcat.work.removing import remove
from negcat.work.taking import take_record_data
from tests.web.everywhere import signed_in

pytestmark = pytest.mark.asyncio


@dataclass
class Visitor:
    """Somebody before the pages of an archive."""

    site: Datasette
    cookies: dict[str, str]

    @classmethod
    async def at(cls, own, *, writes=True):
        site = Datasette([str(own / "negcat.db")])
        cookies = signed_in(site) if writes else {}
        # Any page with a form gives the token.
        page = await site.client.get("/new", cookies=cookies)
        return cls(site, {**cookies, **dict(page.cookies)})

    async def get(self, path):
        return await self.site.client.get(path, cookies=self.cookies)

    async def press(self, path, button, **more):
        """Press a button on a page: send its form as it stands."""
        page = (await self.get(path)).text
        for action, inside in re.findall(r'<form[^>]* action="([^"]+)"[^>]*>(.*?)</form>', page, re.DOTALL):
            if button in text_of(inside):
                fields = dict(re.findall(r'name="([^"]+)" value="([^"]*)"', inside))
                return await self.site.client.post(action, data={**fields, **more}, cookies=self.cookies)
        raise AssertionError(f"no button {button!r} on {path}")


def text_of(page):
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", page))).replace("\xa0", " ")


def history_on(page):
    return text_of(re.search(r'<ol class="history".*?</ol>', page, re.DOTALL)[0])


def changed(own, **fields):
    """Change BW-01's record by a record file."""
    with Archive.open(own) as archive:
        record = archive.catalogue.sheet("BW-01").model_dump(mode="json", exclude_none=True)
        take_record_data(archive, {"sheets": [{**record, **fields}]}, via="record may.yaml")


def kept(own, kind="sheet", name="BW-01"):
    with Archive.open(own, readonly=True) as archive:
        return archive.catalogue.record(kind, name), history_of(archive, kind, name)


async def test_the_page_shows_what_the_command_shows(own):
    changed(own, time="1", notes="soot in the air")
    visitor = await Visitor.at(own, writes=False)
    page = (await visitor.get("/sheet/BW-01")).text
    said = history_on(page)
    document = (await visitor.get("/history/sheet/bw-01.json")).json()
    assert document["changes"] == (await visitor.get("/sheet/BW-01.json")).json()["history"]
    for change in document["changes"]:
        assert f"{change['number']} " in said
        assert change["way"] in said
        for one in change["fields"]:
            assert f"{one['field']}: {one['was'] or 'nothing'} → {one['became'] or 'nothing'}" in said
    assert "time: 1/2 → 1" in said
    assert "notes: nothing → soot in the air" in said
    assert said.index("by negcat record may.yaml") < said.index("taken in by negcat record records.yaml")
    # Who hasn't signed in is offered no button, and told what it asks for.
    assert "Make it as it was then" not in page
    assert "sign-in link" in text_of(page.partition('id="history"')[2])


async def test_every_way_in_on_the_pages_is_kept(own):
    visitor = await Visitor.at(own)
    scan = next(row["scan"] for row in (await visitor.get("/pending.json")).json()["join"])
    await visitor.press("/pending", "Join scan", sheet="BW-04")
    await visitor.press(
        "/holders", "", holder="5", side="A", film="Marl Pan 100", loaded_at="2026-03-01T08:00"
    )
    _, changes = kept(own, name="BW-04")
    assert (changes[0].via, changes[0].differences[0].field) == ("web match", f"scan {scan}")
    assert changes[0].as_json()["way"] == "on the pages, by joining a scan"
    assert kept(own, "holder", "5")[1][0].via == "web holders"


async def test_an_earlier_state_is_brought_back_by_a_form(own):
    before, entries = kept(own)
    changed(own, time="1")
    visitor = await Visitor.at(own)
    answer = await visitor.press("/sheet/BW-01", "after change 1", to=str(len(entries)))
    assert (answer.status_code, answer.headers["location"]) == (303, "/sheet/BW-01#history")
    after, changes = kept(own)
    assert after == before
    assert len(changes) == len(entries) + 2
    assert changes[0].via == f"web history --to {len(entries)}"
    page = (await visitor.get("/sheet/BW-01")).text
    assert f"on the pages, in the history, back to change {len(entries)}" in history_on(page)
    # What stands now is not offered, what was in between is.
    offered = [int(number) for number in re.findall(r'name="to" value="(\d+)"', page)]
    assert len(entries) + 1 in offered
    assert {1, len(entries) + 2}.isdisjoint(offered)


async def test_of_other_records_there_is_a_page_with_the_same(own):
    visitor = await Visitor.at(own)
    with Archive.open(own) as archive:
        film = archive.catalogue.film("Marl Pan 100").model_dump(mode="json", exclude_none=True)
        take_record_data(archive, {"films": [{**film, "exposure_index": 50}]}, via="record film.yaml")
    assert '/history/film/Marl%20Pan%20100"' in (await visitor.get("/film/Marl%20Pan%20100")).text
    page = await visitor.get("/history/film/marl%20pan%20100")
    assert "exposure index: nothing → 50" in history_on(page.text)
    answer = await visitor.press("/history/film/Marl%20Pan%20100", "after change 1", to="1")
    assert (answer.status_code, answer.headers["location"]) == (303, "/history/film/Marl%20Pan%20100")
    assert kept(own, "film", "Marl Pan 100")[0].exposure_index is None
    assert (await visitor.get("/history/tripod/5")).status_code in (400, 404, 500)
    assert (await visitor.get("/history/film/none")).status_code == 404


async def test_what_was_looked_at_too_early_is_refused(own):
    visitor = await Visitor.at(own)
    page = (await visitor.get("/sheet/BW-01")).text
    state = re.search(r'name="state" value="([0-9a-f]+)">\s*<button type="submit">Remove', page)[1]
    token = re.search(r'name="csrftoken" value="([^"]+)"', page)[1]
    changed(own, time="1")
    there, entries = kept(own)
    for path, fields in (("/history/sheet/BW-01", {"to": "1"}), ("/sheet/BW-01/remove", {})):
        sent = {"csrftoken": token, "state": state, **fields}
        answer = await visitor.site.client.post(path, data=sent, cookies=visitor.cookies)
        assert answer.status_code == 409
        assert "BW-01 was changed meanwhile, so nothing was written" in text_of(answer.text)
        assert "time: 1/2 → 1" in history_on(answer.text)
    assert kept(own) == (there, entries)


async def test_only_who_has_signed_in_writes_and_only_with_the_token(own):
    before = kept(own)
    stranger, visitor = await Visitor.at(own, writes=False), await Visitor.at(own)
    for path in ("/history/sheet/BW-01", "/sheet/BW-01/remove", "/sheet/BW-01/undo"):
        sent = {"to": "1", "csrftoken": stranger.cookies["ds_csrftoken"]}
        answer = await stranger.site.client.post(path, data=sent, cookies=stranger.cookies)
        assert answer.status_code == 403
        answer = await visitor.site.client.post(path, data={"to": "1"}, cookies=visitor.cookies)
        assert answer.status_code == 403
    assert kept(own) == before


async def test_a_number_that_is_none_is_refused(own):
    visitor = await Visitor.at(own)
    changed(own, time="1")
    for to, said in (("", "by its number"), ("x", "by its number"), ("99", "no number 99")):
        answer = await visitor.press("/sheet/BW-01", "after change 1", to=to)
        assert answer.status_code == 400
        assert said in text_of(answer.text)


async def test_a_sheet_is_removed_and_brought_back(own):
    visitor, stranger = await Visitor.at(own), await Visitor.at(own, writes=False)
    before = (await visitor.get("/sheet/BW-01.json")).json()
    answer = await visitor.press("/sheet/BW-01", "Remove BW-01")
    assert (answer.status_code, answer.headers["location"]) == (303, "/sheet/BW-01")
    gone = await visitor.get("/sheet/bw-01")
    assert gone.status_code == 410
    said = text_of(gone.text)
    assert "This sheet was removed on" in said
    assert "Its scan waits" in said
    assert "fire holes" in said
    assert "f/22½ at 1/2 s" in said
    assert "Bring BW-01 back" in said
    assert "Bring BW-01 back" not in (await stranger.get("/sheet/BW-01")).text
    document = await visitor.get("/sheet/BW-01.json")
    assert document.status_code == 410
    assert "'negcat remove --undo BW-01'" in document.json()["error"]
    for path in ("/sheet/BW-01/edit", "/sheet/BW-01/compare"):
        assert (await visitor.get(path)).status_code == 410
    for path in ("/", "/sheets.json", "/pending.json", "/batch/B1"):
        assert "BW-01" not in (await visitor.get(path)).text, path
    (listed,) = (await visitor.get("/removed.json")).json()["sheets"]
    assert listed["sheet"] == "BW-01"
    assert "BW-01" in text_of((await visitor.get("/removed")).text)
    assert 'href="/removed"' in (await visitor.get("/pending")).text
    # Its id is given to no other sheet.
    taken = await visitor.press("/new", "", **{"sheet": "BW-01", "film": "Marl Pan 100", "-do": "save"})
    assert taken.status_code == 400
    assert "was removed" in text_of(taken.text)
    answer = await visitor.press("/sheet/BW-01", "Bring BW-01 back")
    assert (answer.status_code, answer.headers["location"]) == (303, "/sheet/BW-01")
    after = (await visitor.get("/sheet/BW-01.json")).json()
    assert {**after, "history": 0} == {**before, "history": 0}
    assert {one["via"] for one in after["history"][:4]} == {"web"}
    assert "No sheet is removed" in text_of((await visitor.get("/removed")).text)


async def test_what_can_not_come_back_is_said_on_its_page(own):
    with Archive.open(own) as archive:
        remove(archive, "BW-01")
        lens = archive.catalogue.lens("Haldane 240").model_dump(mode="json", exclude_none=True)
        cells = [cell for cell in lens["cells"] if cell["cell"] != "rear"]
        sheet = archive.catalogue.sheet("BW-02").model_dump(mode="json", exclude_none=True)
        take_record_data(archive, {"sheets": [{**sheet, "cell": "whole"}]}, via="record")
        take_record_data(archive, {"lenses": [{**lens, "cells": cells}]}, via="record")
    visitor = await Visitor.at(own)
    answer = await visitor.press("/sheet/BW-01", "Bring BW-01 back")
    assert answer.status_code == 400
    assert "'Haldane 240 / rear'" in text_of(answer.text)
    assert (await visitor.get("/sheet/BW-01")).status_code == 410
    answer = await visitor.site.client.post(
        "/sheet/BW-02/undo", data={"csrftoken": visitor.cookies["ds_csrftoken"]}, cookies=visitor.cookies
    )
    assert answer.status_code == 400
    assert "BW-02 is not removed" in text_of(answer.text)
