"""What is loaded where: told, written down, and warned of where a sheet's record contradicts it."""

import json

import pytest
from click.testing import CliRunner

from negcat.cli import main

EQUIPMENT = """
films:
  - {name: Marl 400, box_speed: 400}
  - {name: Sorrel 100, box_speed: 100}
lenses:
  - name: Tressick 150
    cells: [{cell: whole, focal_mm: 150}]
holders:
  - holder: "5"
    format: 4x5
    sides:
      - {side: A, film: Marl 400, loaded_at: 2026-04-17T20:00}
      - {side: B, film: Sorrel 100, loaded_at: 2026-04-17}
      - {side: C}
"""


def sheet(name, film="Marl 400", at="2026-04-18T09:00", holder="5", side="A"):
    return (
        f"  - {{sheet: {name}, film: {film}, lens: Tressick 150, stop: 22, time: 1, "
        f"holder: '{holder}', side: {side}, exposed_at: {at}}}\n"
    )


@pytest.fixture
def run(tmp_path):
    root = tmp_path / "archive"

    def run(*arguments, code=0):
        result = CliRunner().invoke(main, [*arguments, "--archive", str(root)])
        assert result.exit_code == code, result.output
        return result

    def record(text, code=0):
        file = tmp_path / "records.yaml"
        file.write_text(text, encoding="utf-8")
        return run("record", str(file), code=code)

    CliRunner().invoke(main, ["init", str(root)])
    run.record = record
    record(EQUIPMENT)
    return run


def listed(run):
    sides = json.loads(run("holders", "--json").stdout)["holders"]
    return {f"{one['holder']}{one['side']}": (one["film"], one["state"], one["sheets"]) for one in sides}


def test_what_is_loaded_and_what_was_exposed_since(run):
    assert listed(run) == {
        "5A": ("Marl 400", "loaded", []),
        "5B": ("Sorrel 100", "loaded", []),
        "5C": (None, "empty", []),
    }
    done = run.record("sheets:\n" + sheet("BW-01"))
    assert done.stderr == ""
    assert listed(run)["5A"] == ("Marl 400", "exposed", ["BW-01"])
    run.record("developments:\n  - {batch: D-1, developer: Ousel, time: 9m, sheets: [BW-01]}\n")
    assert listed(run)["5A"] == ("Marl 400", "developed", ["BW-01"])
    assert "exposed since" in run("holders").stdout


@pytest.mark.parametrize(
    ("line", "says"),
    [
        (
            sheet("BW-02", film="Sorrel 100"),
            "holds Marl 400 since it was loaded on 2026-04-17, not Sorrel 100",
        ),
        (sheet("BW-02", side="C"), "is empty on record"),
        (sheet("BW-02", side="D"), "has no side D on record; it has A, B, C"),
        (sheet("BW-01") + sheet("BW-02", side="a"), "double exposure"),
    ],
)
def test_a_record_that_contradicts_its_holder_is_taken_and_warned_of(run, line, says):
    done = run.record("sheets:\n" + line)
    assert says in done.stderr
    assert json.loads(run("find", "--json").stdout)["count"] == line.count("sheet:")


@pytest.mark.parametrize(
    "line",
    [
        sheet("BW-02", holder="6"),
        sheet("BW-02", film="Sorrel 100", at="2026-04-17T08:00"),  # before it was loaded
        sheet("BW-02", film="Sorrel 100", side="B", at="2026-04-17T08:00"),  # a day without a time of day
        "  - {sheet: BW-02, film: Marl 400, lens: Tressick 150, stop: 22, time: 1, holder: '5'}\n",
    ],
)
def test_what_doesnt_contradict_is_not_warned_of(run, line):
    assert run.record("sheets:\n" + line).stderr == ""


def test_loading_again_ends_the_doubt_and_keeps_what_was_before(run):
    run.record("sheets:\n" + sheet("BW-01"))
    run("holders", "--load", "5", "a", "Sorrel 100", "--at", "2026-04-19")
    assert listed(run)["5A"] == ("Sorrel 100", "loaded", [])
    assert listed(run)["5B"] == ("Sorrel 100", "loaded", [])
    done = run.record("sheets:\n" + sheet("BW-02", film="Sorrel 100", at="2026-04-20T09:00"))
    assert done.stderr == ""
    run("holders", "--empty", "5", "B")
    assert listed(run)["5B"][:2] == (None, "empty")
    run("holders", "--load", "7", "A", "Marl 400")
    assert listed(run)["7A"][0] == "Marl 400"


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--load", "5", "A", "Marl 40"], "Marl 400"),
        (["--load", "5", "A", "Marl 400", "--at", "soon"], "soon"),
        (["--at", "2026-04-19"], "--load"),
        (["--load", "5", "A", "Marl 400", "--empty", "5", "B"], "not both"),
    ],
)
def test_what_cant_be_loaded_is_a_sentence_and_changes_nothing(run, arguments, says):
    before = listed(run)
    assert says in run("holders", *arguments, code=2).stderr
    assert listed(run) == before


def test_an_archive_without_holders_says_how_to_begin(tmp_path):
    CliRunner().invoke(main, ["init", str(tmp_path / "bare")])
    result = CliRunner().invoke(main, ["holders", "--archive", str(tmp_path / "bare")])
    assert (result.exit_code, "--load" in result.stdout) == (0, True)
