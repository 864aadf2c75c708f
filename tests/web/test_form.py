"""The form for a sheet's record: it calculates as the command line does, takes what it does, loses nothing."""

from __future__ import annotations

import copy
import json
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from click.testing import CliRunner
from datasette.app import Datasette
from hypothesis import HealthCheck, given, settings

from negcat.cli import main
from negcat.records import Sheet, load_data
from negcat.web.form_fields import describe, field_names, flattened, typed_from
from negcat.work.archive import Archive
from negcat.work.drafting import next_id
from negcat.work.taking import take_record_data
from negcat.work.writing_out import written_out
from tests.properties.test_records_properties import sheets as sheet_records
from tests.web.conftest import MARKUP

pytestmark = pytest.mark.asyncio

FULL = {
    "sheet": "BW-30",
    "film": "Marl Pan 100",
    "exposure_index": "64",
    "format": "4x5",
    "holder": "7",
    "side": "A",
    "exposed_at": "2026-05-03 07:40",
    "place": "Tidal creek",
    "subject": "slip and stakes",
    "lens": "Haldane 240",
    "cell": "rear",
    "stop": "22½",
    "stop_scale": "whole",
    "time": "1m30s",
    "bellows_mm": "440",
    "filter": "yellow",
    "filter_factor": "2 1/2",
    "movements": {
        "front_rise_mm": "12",
        "front_shift_mm": "-3.5",
        "front_tilt_deg": "2",
        "front_swing_deg": "1",
        "rear_tilt_deg": "−1½",
        "rear_swing_deg": "0.5",
    },
    "weather": "thin cloud, calm",
    "tag": "N-1½",
    "meter_iso": "64",
    "indicated": {"stop": "16 1/3", "time": "1/25"},
    "readings": [
        {
            "name": "mud",
            "role": "shadow",
            "ev": "8⅓",
            "zone": "III½",
            "placed": "no",
            "spot": {"x": "0.31", "y": "0.7", "diameter_mm": "1.5", "scan": "4f1c09aa72d3"},
        },
        {"name": "stake", "role": "middle", "stops_from_placed": "+2 1/3", "zone": "VI"},
        {"name": "bank", "role": "other", "ev": "9.5", "zone": "4", "placed": "yes"},
        {"name": "water", "role": "highlight", "ev": "13"},
    ],
    "print_target": "silver, condenser",
    "base_fog_spot": {"x": "0.01", "y": "0.02", "diameter_mm": "3"},
    "location": "box 3",
    "notes": "wind\nfrom the sea",
}


class Page(HTMLParser):
    """The form's fields as a browser would send them, and what stands at them."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.fields: dict[str, str] = {}
        self.invalid: dict[str, str] = {}
        self.texts: dict[str, str] = {}
        self.links: list[str] = []
        self.ids: list[str] = []
        self.autofocus = ""
        self._select = self._note = ""
        self._first: str | None = None
        self._open: list[str] = []
        self._template = 0
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        self._template += tag == "template"
        if self._template:
            return
        if "autofocus" in given:
            self.autofocus = given["id"]
        if given.get("id"):
            self.ids.append(given["id"])
        if given.get("aria-invalid"):
            self.invalid[given["name"]] = given["aria-describedby"].split()[0]
        if tag == "input" and given.get("name"):
            self.fields[given["name"]] = given.get("value", "")
        elif tag == "select":
            self._select, self._first = given["name"], None
        elif tag == "option" and self._select:
            self._first = given["value"] if self._first is None else self._first
            if "selected" in given:
                self.fields[self._select] = given["value"]
        elif tag == "textarea":
            self._note = given["name"]
            self.fields[self._note] = ""
        elif tag == "a":
            self.links.append(given.get("href", ""))
        if tag in ("p", "h2", "div", "li"):
            self._open.append(given.get("id", ""))

    def handle_endtag(self, tag):
        self._template -= tag == "template"
        if self._template:
            return
        if tag == "select":
            self.fields.setdefault(self._select, self._first or "")
            self._select = ""
        elif tag == "textarea":
            # A browser leaves out the line break that follows the tag.
            self.fields[self._note] = self.fields[self._note].removeprefix("\n")
            self._note = ""
        if tag in ("p", "h2", "div", "li") and self._open:
            self._open.pop()

    def handle_data(self, data):
        if self._note and not self._template:
            self.fields[self._note] += data
        for at in self._open:
            if at:
                self.texts[at] = self.texts.get(at, "") + data

    @property
    def record(self) -> dict[str, str]:
        return {name: value for name, value in self.fields.items() if describe(name)}


class Visitor:
    """Somebody at the pages of an archive, with or without the sign-in link."""

    def __init__(self, root: Path, *, signed_in: bool = True) -> None:
        self.root = root
        self.site = Datasette([str(root / "negcat.db")])
        self.cookies = {"ds_actor": self.site.sign({"a": {"id": "root"}}, "actor")} if signed_in else {}

    async def opened(self, path: str = "/new") -> Page:
        answer = await self.site.client.get(path, cookies=self.cookies)
        assert answer.status_code == 200, answer.text
        self.cookies |= dict(answer.cookies)
        page = Page(answer.text)
        self.token = page.fields["csrftoken"]
        return page

    async def post(self, path: str, fields: dict[str, str], **headers: str):
        return await self.site.client.post(
            path,
            data={"csrftoken": self.token, **fields},
            cookies=self.cookies,
            headers=headers,
            follow_redirects=False,
        )

    async def json(self, path: str, fields: dict[str, object], token: str | None = None, **more: object):
        headers = {"x-csrftoken": self.token if token is None else token}
        return await self.site.client.post(
            path, json={"fields": fields, **more}, cookies=self.cookies, headers=headers
        )

    def sheet(self, name: str) -> Sheet | None:
        with Archive.open(self.root, readonly=True) as archive:
            return archive.catalogue.sheet(name)

    def history(self, name: str) -> list[dict]:
        with Archive.open(self.root, readonly=True) as archive:
            return archive.catalogue.history("sheets", name)

    def take(self, **record: object) -> None:
        with Archive.open(self.root) as archive:
            take_record_data(archive, {"sheets": [record]}, via="record other.yaml")


@pytest.fixture
def visitor(own) -> Visitor:
    return Visitor(own)


def full(**other: object) -> dict:
    return {**copy.deepcopy(FULL), **other}


# Calculating ------------------------------------------------------------------------------------------------


STOPS = ["22", "f/22", "6.8", "22 1/2", "22½", "22+1/3", "22 2/3", "22.5"]
TIMES = ["1/15", "0.3", "1", "4 s", "1m30s", "2m", "1/25"]
TAGS = ["N", "N+1", "N-2", "N+1/2", "N-1½", "N−5"]
ZONES = ["4", "IV", "3.5", "III½", "10"]
NOTATIONS = [
    *({"stop": stop} for stop in STOPS),
    *({"time": time} for time in TIMES),
    *({"tag": tag} for tag in TAGS),
    *({"readings": [{"name": "mud", "role": "shadow", "ev": "9⅓", "zone": zone}]} for zone in ZONES),
    *({"indicated": {"stop": stop, "time": time}} for stop, time in zip(STOPS, TIMES, strict=False)),
    {"readings": []},
    {"lens": "Corrin 150", "cell": "", "stop_scale": ""},
    {"stop_scale": ""},
    {"filter_factor": ""},
    {"exposure_index": "", "meter_iso": ""},
]


@pytest.mark.parametrize("other", NOTATIONS, ids=lambda other: json.dumps(other, ensure_ascii=False)[:40])
async def test_the_ledger_is_that_of_the_command_line(visitor, other):
    record = full(**other)
    if "indicated" in other:
        del record["readings"][2]["ev"]
    await visitor.opened()
    told = (await visitor.json("/new/ledger.json", flattened(record))).json()
    file = visitor.root.parent / "record.json"
    file.write_text(json.dumps({"sheets": [{k: v for k, v in record.items() if v != ""}]}), encoding="utf-8")
    words = ["-a", str(visitor.root)]
    assert CliRunner().invoke(main, ["record", str(file), *words]).exit_code == 0
    shown = json.loads(CliRunner().invoke(main, ["show", "BW-30", "--json", *words]).stdout)
    assert told["faults"] == []
    assert told["exposure"] == shown["exposure"]
    assert told["ledger"] == shown["ledger"]
    assert len(told["readings"]) == len(shown["readings"]) == len(record["readings"])
    for mine, theirs in zip(told["readings"], shown["readings"], strict=True):
        assert mine == {name: theirs[name] for name in mine}
    assert set(told["why"]) <= set(shown["result"]["why"])


async def test_nothing_is_written_by_calculating_and_nobody_needs_to_sign_in(own):
    visitor = Visitor(own, signed_in=False)
    page = await visitor.opened()
    assert "sign-in link" in (await visitor.site.client.get("/new")).text
    told = (await visitor.json("/new/ledger.json", {**page.record, **flattened(full())})).json()
    assert told["exposure"]["decision_stops"] is not None
    assert visitor.sheet("BW-30") is None
    assert (await visitor.json("/new/ledger.json", {}, token="made up")).status_code == 403


async def test_a_record_in_writing_is_calculated_as_far_as_it_goes(visitor):
    await visitor.opened()
    blank = (await visitor.json("/new/ledger.json", {})).json()
    assert (blank["exposure"], blank["wanting"]) == (None, ["film", "lens", "stop", "time"])
    assert blank["decision"] == "The ledger waits for the film, the lens, the stop and the time."
    assert all(fault["blank"] for fault in blank["faults"])

    fields = {"film": "Marl Pan 100", "lens": "Corrin 150", "stop": "22", "time": "1/"}
    half = (await visitor.json("/new/ledger.json", fields)).json()
    assert (half["exposure"], half["wanting"]) == (None, ["time"])
    assert [(f["name"], f["blank"]) for f in half["faults"]] == [("sheet", True), ("time", False)]

    fields |= {"time": "1/4", "readings.3.ev": "9", "readings.3.zone": "III", "readings.3.role": "shadow"}
    nameless = (await visitor.json("/new/ledger.json", fields)).json()
    assert nameless["exposure"]["decision_stops"] == pytest.approx(0.0)
    assert nameless["readings"][0]["planned_zone"] == 3
    assert "readings.3.name" in [fault["name"] for fault in nameless["faults"]]

    fields |= {"filter_factor": "two", "readings.3.zone": "IIII"}
    unread = (await visitor.json("/new/ledger.json", fields)).json()
    assert unread["exposure"]["decision_stops"] is None
    assert unread["left_out"] == ["filter_factor", "readings.3.zone", "readings"]
    assert "Filter factor" in unread["html"]


async def test_a_taken_id_is_said_while_typing_with_the_next_free_one(visitor):
    await visitor.opened()
    told = (await visitor.json("/new/ledger.json", {**flattened(full()), "sheet": "bw-02"})).json()
    assert [(fault["name"], fault["sentence"]) for fault in told["faults"]] == [
        ("sheet", "Sheet 'bw-02' is in the archive already; the next free id is bw-03.")
    ]
    edited = (await visitor.json("/new/ledger.json", flattened(full()), editing="BW-02")).json()
    assert edited["faults"] == []


# Taking in --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("as_json", [False, True])
async def test_a_full_record_typed_is_the_record_of_a_file(visitor, as_json):
    page = await visitor.opened()
    fields = {**page.record, **flattened(full())}
    if as_json:
        answer = await visitor.json("/new", fields)
        assert answer.json() == {"ok": True, "sheet": "BW-30", "address": "/sheet/BW-30"}
    else:
        answer = await visitor.post("/new", fields)
        assert (answer.status_code, answer.headers["location"]) == (303, "/sheet/BW-30")
    with Archive.open(visitor.root, readonly=True) as archive:
        known = archive.catalogue.known_names()
        assert archive.catalogue.findings("BW-30") is not None
    by_file = load_data({"sheets": [full()]}, known).sheets[0]
    assert visitor.sheet("BW-30") == by_file
    assert [change["via"] for change in visitor.history("BW-30")] == ["web form"]


async def test_every_field_of_the_model_is_in_the_form():
    names = set(field_names(1))

    def leaves(model, before=""):
        for name, info in model.model_fields.items():
            inner = next(
                (
                    part
                    for part in (info.annotation, *getattr(info.annotation, "__args__", ()))
                    if hasattr(part, "model_fields")
                ),
                None,
            )
            place = f"{before}{name}." + ("0." if name == "readings" else "")
            yield from leaves(inner, place) if inner else [f"{before}{name}"]

    assert set(leaves(Sheet)) == names
    assert all(describe(name) for name in names)


@given(sheet_records("S1"))
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
async def test_any_record_goes_through_the_form_and_comes_out_the_same(record):
    equipment = {
        "films": [{"name": "F", "box_speed": 100}],
        "lenses": [{"name": "L", "cells": [{"cell": "whole", "focal_mm": 150}]}],
    }
    by_file = load_data({**equipment, "sheets": [record]}).sheets[0]
    typed = typed_from(flattened(written_out(by_file)))
    assert load_data({**equipment, "sheets": [typed.record]}).sheets[0] == by_file
    # And as it was first written, before it was a record.
    as_written = typed_from(flattened(record))
    assert load_data({**equipment, "sheets": [as_written.record]}).sheets[0] == by_file
    assert set(flattened(written_out(by_file))) <= set(field_names(len(by_file.readings)))


@given(sheet_records("S1"))
@settings(
    max_examples=20,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
async def test_any_record_is_laid_out_and_saved_unchanged(own, record):
    visitor = Visitor(own)
    visitor.take(**{**record, "film": "Marl Pan 100", "lens": "Corrin 150"})
    before, changes = visitor.sheet("S1"), len(visitor.history("S1"))
    page = await visitor.opened("/sheet/S1/edit")
    answer = await visitor.post("/sheet/S1/edit", page.fields)
    assert (answer.status_code, answer.text) == (303, "")
    assert visitor.sheet("S1") == before
    assert len(visitor.history("S1")) == changes
    # Typed anew, with nothing but the id known, it is the same record again.
    answer = await visitor.json("/new", {**page.record, "sheet": "S1"})
    assert answer.json()["ok"], answer.text


async def test_a_waiting_scan_joins_the_sheet_that_is_written_down(visitor):
    with Archive.open(visitor.root) as archive:
        scan = next(row["scan"] for row in archive.catalogue.scans() if row["path"].endswith("stray.tif"))
    page = await visitor.opened()
    answer = await visitor.post("/new", {**page.record, **flattened(full(sheet="stray"))})
    assert answer.status_code == 303
    with Archive.open(visitor.root, readonly=True) as archive:
        assert archive.catalogue.scan(scan)["sheet"] == "stray"


@pytest.mark.parametrize("as_json", [False, True])
async def test_faults_stand_at_their_fields_and_what_was_typed_stays(visitor, as_json):
    wrong = full(stop="22½½", film="", time="soon", lens="Haldane 240", cell="front")
    wrong["readings"][0]["ev"] = "bright"
    wrong["readings"][3]["name"] = ""
    wrong["movements"]["rear_tilt_deg"] = "200"
    fields = flattened(wrong)
    expected = {"stop", "film", "time", "cell", "readings.0.ev", "readings.3.name", "movements.rear_tilt_deg"}
    await visitor.opened()
    if as_json:
        answer = await visitor.json("/new", fields)
        assert answer.status_code == 400
        told = answer.json()
        assert {fault["name"] for fault in told["faults"]} == expected
        assert all(f'href="#{fault["id"]}"' in told["html"] for fault in told["faults"])
        assert told["error"] == "Nothing was saved: 7 fields want mending."
    else:
        answer = await visitor.post("/new", fields)
        assert answer.status_code == 400
        page = Page(answer.text)
        assert set(page.invalid) == expected
        assert {f"f-{name.replace('.', '-')}-fault" for name in expected} == set(page.invalid.values())
        assert page.texts["f-film-fault"] == "Choose the film."
        assert "22½½" in page.texts["f-stop-fault"]
        assert page.texts["f-readings-3-name-fault"] == "Name what was metered."
        assert page.autofocus == "summary"
        ids = {f"#f-{name.replace('.', '-')}" for name in expected}
        assert ids <= set(page.links)
        assert ids <= {f"#{name}" for name in page.ids}
        assert {n: v for n, v in page.record.items() if v} | {"film": ""} == {
            **{name: value for name, value in fields.items() if value},
            "film": "",
            "readings.4.role": "other",
        }
    assert visitor.sheet("BW-30") is None


async def test_a_fault_of_the_form_as_a_whole_still_has_its_field(visitor):
    await visitor.opened()
    record = full(readings=[{"name": "sky", "role": "highlight", "ev": "13"}])
    answer = await visitor.json("/new", flattened(record))
    (fault,) = answer.json()["faults"]
    assert (fault["name"], fault["id"]) == ("readings", "f-readings-0-name")
    assert fault["sentence"].startswith("No reading is the one")
    record = full(base_fog_spot={"y": "0.2"}, colour="red")
    faults = (await visitor.json("/new", flattened(record))).json()["faults"]
    assert [(f["name"], f["id"]) for f in faults] == [
        ("base_fog_spot.x", "f-base_fog_spot-x"),
        ("colour", ""),
    ]


async def test_a_sheet_is_never_written_over_by_a_new_one(visitor):
    before = visitor.sheet("BW-02")
    await visitor.opened()
    for sheet in ("BW-02", "bw-02"):
        answer = await visitor.post("/new", flattened(full(sheet=sheet)))
        assert answer.status_code == 400
        assert "is in the archive already" in Page(answer.text).texts["f-sheet-fault"]
    assert visitor.sheet("BW-02") == before
    assert len(visitor.history("BW-02")) == 1


async def test_a_button_pressed_twice_saves_once(visitor):
    await visitor.opened()
    for _ in range(2):
        assert (await visitor.post("/new", flattened(full()))).status_code == 303
    assert len(visitor.history("BW-30")) == 1
    other = full(stop="16")
    assert (await visitor.post("/new", flattened(other))).status_code == 400


# Editing ----------------------------------------------------------------------------------------------------


async def test_a_record_is_laid_out_as_it_was_marked_and_only_what_is_changed_changes(visitor):
    visitor.take(**full())
    before = visitor.sheet("BW-30")
    page = await visitor.opened("/sheet/bw-30/edit")
    marked = {
        name: page.fields[name] for name in ("stop", "time", "tag", "readings.0.zone", "indicated.stop")
    }
    assert list(marked.values()) == ["22½", "1m30s", "N-1½", "III½", "16 1/3"]
    fields = {**page.fields, "stop": "32", "holder": "", "readings.1.stops_from_placed": ""}
    answer = await visitor.post("/sheet/BW-30/edit", fields)
    assert (answer.status_code, answer.headers["location"]) == (303, "/sheet/BW-30")
    after = visitor.sheet("BW-30")
    assert (after.stop.text, after.holder, after.readings[1].stops_from_placed) == ("32", None, None)
    differing = {name for name in Sheet.model_fields if getattr(after, name) != getattr(before, name)}
    assert differing == {"stop", "holder", "readings"}
    assert [change["via"] for change in visitor.history("BW-30")] == ["web form", "record other.yaml"]
    assert "changed on the pages, in the form" in (await visitor.site.client.get("/sheet/BW-30")).text


async def test_what_is_not_laid_out_stays(visitor):
    visitor.take(**full())
    before = visitor.sheet("BW-30")
    page = await visitor.opened("/sheet/BW-30/edit")
    answer = await visitor.json("/sheet/BW-30/edit", {"notes": ""}, state=page.fields["-state"])
    assert answer.json()["ok"]
    assert visitor.sheet("BW-30") == before.model_copy(update={"notes": None})


async def test_a_reading_is_added_and_another_taken_out(visitor):
    visitor.take(**full())
    page = await visitor.opened("/sheet/BW-30/edit")
    fields = {n: v for n, v in page.fields.items() if not n.startswith("readings.1.")}
    fields |= {"readings.9.name": "sky", "readings.9.role": "highlight", "readings.9.ev": "14"}
    assert (await visitor.post("/sheet/BW-30/edit", fields)).status_code == 303
    assert [reading.name for reading in visitor.sheet("BW-30").readings] == ["mud", "bank", "water", "sky"]


@pytest.mark.parametrize("as_json", [False, True])
async def test_a_change_unseen_is_not_written_over(visitor, as_json):
    visitor.take(**full())
    page = await visitor.opened("/sheet/BW-30/edit")
    visitor.take(**full(stop="32", weather="rain"))
    fields = {**page.fields, "stop": "16", "notes": "typed meanwhile"}
    if as_json:
        record = {name: value for name, value in fields.items() if name in page.record}
        answer = await visitor.json("/sheet/BW-30/edit", record, state=page.fields["-state"])
        told = answer.json()
        laid_out, said = told["fields"], told["html"]
        again = {"state": told["state"]}
    else:
        answer = await visitor.post("/sheet/BW-30/edit", fields)
        told = Page(answer.text)
        laid_out, said = told.fields, answer.text
    assert answer.status_code == 409
    assert visitor.sheet("BW-30").stop.text == "32"
    assert "was changed meanwhile" in said
    assert "negcat record other.yaml" in said
    assert "Was “22½” and is “32” now. What you typed stands here." in said
    assert "Was “thin cloud, calm” and is “rain” now. It is taken over here." in said
    kept = {name: laid_out[name] for name in ("stop", "notes", "weather")}
    assert kept == {"stop": "16", "notes": "typed meanwhile", "weather": "rain"}
    # Saved again with the change seen, it is taken.
    if as_json:
        answer = await visitor.json("/sheet/BW-30/edit", laid_out, **again)
        assert answer.json()["ok"], answer.text
    else:
        assert (await visitor.post("/sheet/BW-30/edit", laid_out)).status_code == 303
    record = visitor.sheet("BW-30")
    assert (record.stop.text, record.weather, record.notes) == ("16", "rain", "typed meanwhile")


async def test_a_save_that_arrived_although_nobody_heard_is_no_conflict(visitor):
    visitor.take(**full())
    page = await visitor.opened("/sheet/BW-30/edit")
    fields = {**page.fields, "stop": "16"}
    for _ in range(2):
        assert (await visitor.post("/sheet/BW-30/edit", fields)).status_code == 303
    assert len(visitor.history("BW-30")) == 2


async def test_faults_of_an_edited_record_stand_at_their_fields(visitor):
    visitor.take(**full())
    page = await visitor.opened("/sheet/BW-30/edit")
    answer = await visitor.post("/sheet/BW-30/edit", {**page.fields, "time": "", "place": "Creek"})
    assert answer.status_code == 400
    again = Page(answer.text)
    assert (set(again.invalid), again.fields["place"]) == ({"time"}, "Creek")
    assert again.fields["-state"] == page.fields["-state"]
    assert visitor.sheet("BW-30").place == "Tidal creek"


async def test_no_such_sheet_is_not_here(visitor):
    await visitor.opened()
    assert (await visitor.site.client.get("/sheet/BW-99/edit", cookies=visitor.cookies)).status_code == 404
    assert (await visitor.post("/sheet/BW-99/edit", flattened(full()))).status_code in (400, 404)
    assert visitor.sheet("BW-99") is None
    assert visitor.sheet("BW-30") is None


# The next sheet ---------------------------------------------------------------------------------------------


async def test_the_next_sheet_begins_with_the_outfit_of_the_last(visitor):
    visitor.take(**full())
    page = await visitor.opened()
    taken = {name: value for name, value in page.record.items() if value and "role" not in name}
    assert re.fullmatch(r"\d{4}-\d\d-\d\d \d\d:\d\d", taken.pop("exposed_at"))
    assert taken == {
        "sheet": "BW-31",
        "film": "Marl Pan 100",
        "exposure_index": "64",
        "format": "4x5",
        "holder": "7",
        "side": "B",
        "place": "Tidal creek",
        "lens": "Haldane 240",
        "cell": "rear",
        "stop_scale": "whole",
        "filter": "yellow",
        "filter_factor": "2.5",
        "weather": "thin cloud, calm",
        "tag": "N-1½",
        "meter_iso": "64",
        "print_target": "silver, condenser",
    }
    text = (await visitor.site.client.get("/new")).text
    assert "Taken over from BW-30" in text
    assert "film Marl Pan 100" in text


async def test_the_same_subject_again_brings_readings_and_decision_but_no_spots(visitor):
    visitor.take(**full())
    page = await visitor.opened("/new?again=BW-30")
    assert (page.fields["stop"], page.fields["time"], page.fields["side"]) == ("22½", "1m30s", "B")
    assert (page.fields["readings.2.name"], page.fields["readings.2.zone"]) == ("bank", "4")
    assert page.fields["readings.0.spot.x"] == page.fields["notes"] == page.fields["location"] == ""
    assert page.fields["sheet"] == "BW-31"
    assert (await visitor.site.client.get("/new?again=BW-99")).status_code == 404


async def test_an_empty_archive_has_a_form_too(tmp_path):
    Archive.create(tmp_path / "empty").close()
    visitor = Visitor(tmp_path / "empty")
    page = await visitor.opened()
    assert (page.fields["sheet"], page.fields["tag"], page.fields["meter_iso"]) == ("1", "N", "100")
    answer = await visitor.post("/new", {**page.fields, "stop": "22", "time": "1"})
    assert set(Page(answer.text).invalid) == {"film", "lens"}


# Without JavaScript -----------------------------------------------------------------------------------------


async def test_readings_are_added_and_taken_out_without_javascript(own):
    visitor = Visitor(own, signed_in=False)
    page = await visitor.opened()
    rows = {name.split(".")[1] for name in page.fields if name.startswith("readings.")}
    assert rows == {"0", "1", "2"}
    fields = {**page.fields, "readings.0.name": "mud", "readings.1.name": "sky", "stop": "22½½"}
    answer = await visitor.post("/new/worked", {**fields, "-do": "another"})
    more = Page(answer.text)
    assert answer.status_code == 200
    assert {name.split(".")[1] for name in more.fields if name.startswith("readings.")} == {
        "0",
        "1",
        "2",
        "3",
    }
    assert (more.fields["readings.1.name"], more.fields["stop"], more.invalid) == ("sky", "22½½", {})
    assert more.autofocus == "f-readings-2-name"
    less = Page((await visitor.post("/new/worked", {**more.fields, "-do": "without 0"})).text)
    assert {name.split(".")[1] for name in less.fields if name.startswith("readings.")} == {"0", "1", "2"}
    assert less.fields["readings.0.name"] == "sky"


async def test_the_ledger_is_worked_out_without_javascript(visitor):
    visitor.take(**full())
    for path in ("/new", "/sheet/BW-30/edit"):
        page = await visitor.opened(path)
        fields = {**page.fields, "stop": "22½", "time": "1", "filter_factor": "two"}
        answer = await visitor.post(f"{path}/worked", {**fields, "-do": "calculate"})
        assert answer.status_code == 200
        assert "Not counted until it can be read: Filter factor." in answer.text
        assert set(Page(answer.text).invalid) == {"filter_factor"}
        assert "1 s as marked" in answer.text
    assert visitor.sheet("BW-30").time.text == "1m30s"


# Who may, and markup ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", ["/new", "/sheet/BW-02/edit"])
async def test_who_has_not_signed_in_saves_nothing(own, path):
    visitor = Visitor(own, signed_in=False)
    page = await visitor.opened(path)
    before = visitor.sheet("BW-02")
    assert 'class="save"' not in (await visitor.site.client.get(path)).text
    fields = {**page.fields, **flattened(full())}
    answer = await visitor.post(path, fields)
    assert (answer.status_code, "sign-in link" in answer.text) == (403, True)
    told = await visitor.json(path, fields, state=page.fields["-state"])
    assert (told.status_code, told.json()["ok"]) == (403, False)
    assert (visitor.sheet("BW-30"), visitor.sheet("BW-02")) == (None, before)


@pytest.mark.parametrize("path", ["/new", "/new/worked", "/sheet/BW-02/edit", "/sheet/BW-02/edit/worked"])
@pytest.mark.parametrize(
    ("headers", "token"),
    [
        ({}, "made up"),
        ({}, ""),
        ({"origin": "http://elsewhere.example"}, None),
        ({"origin": "null"}, None),
        ({"sec-fetch-site": "cross-site"}, None),
    ],
)
async def test_a_page_from_elsewhere_saves_nothing(visitor, path, headers, token):
    page = await visitor.opened("/sheet/BW-02/edit")
    before = visitor.sheet("BW-02")
    fields = {**page.fields, **flattened(full())}
    answer = await visitor.post(
        path, {**fields, "csrftoken": visitor.token if token is None else token}, **headers
    )
    assert answer.status_code == 403
    told = await visitor.site.client.post(
        path,
        json={"fields": fields},
        cookies=visitor.cookies,
        headers={"x-csrftoken": visitor.token if token is None else token, **headers},
    )
    assert told.status_code == 403
    assert (visitor.sheet("BW-30"), visitor.sheet("BW-02")) == (None, before)


async def test_markup_shows_as_text_in_every_field(visitor):
    page = await visitor.opened()
    fields = dict.fromkeys(field_names(2), MARKUP)
    for answer in (
        await visitor.post("/new", fields),
        await visitor.post("/new/worked", {**fields, "-do": "calculate", "-state": MARKUP}),
    ):
        assert "<script>alert" not in answer.text
        assert "<b>" not in answer.text
        shown = Page(answer.text)
        assert {shown.fields[name] for name in field_names(2)} == {MARKUP}
    for path in ("/new", "/new/ledger.json"):
        told = (await visitor.json(path, fields)).json()
        assert "<script>alert" not in told["html"]
        assert "<b>" not in told["html"]
    # A record may say it too, and a list of places then offers it.
    texts = ("holder", "side", "place", "subject", "filter", "weather", "location", "notes")
    record = {**full(), **dict.fromkeys(texts, MARKUP)}
    record["readings"][0]["name"] = MARKUP
    visitor.take(**record)
    for path in ("/new", "/sheet/BW-30/edit", "/new?again=BW-30"):
        text = (await visitor.site.client.get(path)).text
        assert "<script>alert" not in text
        assert "<b>" not in text
    again = await visitor.opened("/sheet/BW-30/edit")
    assert {again.fields[name] for name in texts} == {MARKUP}
    del page


@pytest.mark.parametrize("body", [[], {}, {"fields": []}, {"fields": {"stop": ["22"], "readings.0": "x"}}, 1])
async def test_any_document_is_answered(visitor, body):
    await visitor.opened()
    for path in ("/new", "/new/ledger.json"):
        answer = await visitor.site.client.post(
            path, json=body, cookies=visitor.cookies, headers={"x-csrftoken": visitor.token}
        )
        assert answer.status_code == (400 if path == "/new" else 200)
        assert answer.json()["faults"]


async def test_a_page_leads_to_the_form(visitor):
    assert 'href="/new"' in (await visitor.site.client.get("/")).text
    assert 'href="/sheet/BW-01/edit"' in (await visitor.site.client.get("/sheet/BW-01")).text


async def test_under_a_base_address_too(visitor):
    visitor.site = Datasette([str(visitor.root / "negcat.db")], settings={"base_url": "/negatives/"})
    visitor.cookies = {"ds_actor": visitor.site.sign({"a": {"id": "root"}}, "actor")}
    await visitor.opened()
    text = (await visitor.site.client.get("/new", cookies=visitor.cookies)).text
    for address in ("/negatives/new", "/negatives/new/worked", "/negatives/new/ledger.json"):
        assert f'"{address}"' in text
    answer = await visitor.json("/new", flattened(full()))
    assert answer.json() == {"ok": True, "sheet": "BW-30", "address": "/negatives/sheet/BW-30"}


@pytest.mark.parametrize(
    ("last", "proposed"),
    [
        ("BW-01", "BW-05"),  # the next three are taken
        ("bw-01", "bw-05"),
        ("BW-09", "BW-10"),
        ("BW-99", "BW-100"),
        ("K7-0099b", "K7-0100b"),
        ("kiln", "kiln-2"),
        (None, "1"),
        ("9" * 100, ""),
    ],
)
async def test_the_next_id_follows_the_last_ones_pattern_and_is_free(visitor, last, proposed):
    visitor.take(**full(sheet="BW-03"))
    with Archive.open(visitor.root, readonly=True) as archive:
        assert next_id(archive.catalogue, last) == proposed


@pytest.mark.parametrize(
    ("side", "other"),
    [
        ("A", "B"),
        ("a", "b"),
        ("1", "2"),
        ("Left", "Right"),
        ("L", "R"),
        ("B", None),
        ("2", None),
        ("top", None),
    ],
)
async def test_the_holders_other_side_comes_next(visitor, side, other):
    visitor.take(**full(side=side))
    page = await visitor.opened()
    expected = ("7", other) if other else ("", "")
    assert (page.fields["holder"], page.fields["side"]) == expected
