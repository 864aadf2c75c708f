"""The field form written by the command line."""

from __future__ import annotations

import json
import re

import pytest

from negcat import records
from negcat.work.field_form import field_checks
from tests.cli.conftest import Bench


def known(page: str) -> dict:
    found = re.search(r'<script type="application/json" id="archive">(.*?)</script>', page, re.DOTALL)
    assert found is not None
    return json.loads(found[1])


def test_the_form_holds_what_the_archive_does(archive: Bench):
    file = archive.folder / "field.html"
    told = archive.json("export", "form", file)
    assert told == {"file": str(file), "bytes": file.stat().st_size}
    page = file.read_text(encoding="utf-8")
    held = known(page)
    assert held["cells"] == {"Aldwater": ["whole", "rear"]}
    assert held["taken"] == ["BW-01", "BW-02", "BW-03"]
    assert held["nextId"] == "BW-04"
    for name in ("Brickdust 100", "Old kilns", "Clay pit", "Tidal creek"):
        assert f'value="{name}"' in page
    # It asks for nothing: every address in it is one within itself.
    assert re.findall(r"(?:src|href|action)=", page) == []
    assert "https:" not in page
    assert "http:" not in page


def test_a_file_is_only_replaced_when_told_so(archive: Bench):
    file = archive.folder / "field.html"
    file.write_text("mine", encoding="utf-8")
    refused = archive.run("export", "form", file, status=2)
    assert "is there already" in refused.stderr
    assert file.read_text(encoding="utf-8") == "mine"
    archive.run("export", "form", file, "--overwrite")
    assert file.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")


def test_an_empty_archive_has_a_form_too(bench: Bench):
    bench.run("init", bench.archive)
    bench.run("export", "form", bench.folder / "field.html")
    assert known((bench.folder / "field.html").read_text(encoding="utf-8"))["nextId"] == "1"


def test_checks_are_those_of_the_models():
    checks = field_checks()
    assert {name for name, check in checks.items() if check.required} == {
        "sheet", "film", "lens", "stop", "time", "readings.name",
    }  # fmt: skip
    notations = {name: check.notation for name, check in checks.items()}
    assert (notations["stop"], notations["indicated.stop"], notations["time"]) == ("stop", "stop", "time")
    assert (notations["tag"], notations["readings.zone"], notations["readings.ev"]) == (
        "tag",
        "zone",
        "number",
    )
    assert (notations["place"], notations["sheet"]) == ("", "")
    assert (checks["movements.rear_tilt_deg"].low, checks["movements.rear_tilt_deg"].high) == (-90, 90)
    assert checks["exposed_at"].pattern
    fields = {name.removeprefix("readings.").partition(".")[0] for name in checks}
    assert fields <= records.Sheet.model_fields.keys() | records.Reading.model_fields.keys()


@pytest.mark.parametrize(
    ("name", "good", "bad"),
    [
        (
            "exposed_at",
            ["2026-05-03", "2026-05-03 07:40", "2026-05-03T07:40:30+02:00"],
            ["3 May", "2026-5-3"],
        ),
        (
            "format",
            ["4x5", "13x18 cm", "8×10", "4¾x6½ in", "Whole Plate", "half-plate size"],
            ["large", "4 by 5"],
        ),
        ("sheet", ["BW-01", "a.b_c"], ["BW 01", "é"]),
    ],
)
def test_patterns_let_through_what_a_record_takes(name: str, good: list[str], bad: list[str]):
    sheet = {"sheet": "X", "film": "F", "lens": "L", "stop": "22", "time": "1"}
    for text, fits in (*((text, True) for text in good), *((text, False) for text in bad)):
        written = " ".join(text.split())
        assert (re.fullmatch(field_checks()[name].pattern, written, re.IGNORECASE) is not None) is fits, text
        if fits:
            records.Sheet.model_validate({**sheet, name: text})
