"""The review from the command line: the sample's written truths found and advised; accepting, and what stays."""

import csv
import io
import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from negcat.cli import main
from tests.simulation import late_may

TRUTH = Path(__file__).parents[2] / "sample_archive" / "truth.json"
CONVERTIBLE = "Aldwater convertible 195"
REAR = f"{CONVERTIBLE} / rear"


def new_sheets(film: str, tag: str) -> str:
    """Write the records of two sheets, one made long ago and one long after whatever is accepted today."""
    return "sheets:\n" + "".join(
        f"""
  - sheet: {sheet}
    film: {film}
    format: 4x5
    exposed_at: {day}T10:00
    lens: Aldwater convertible 195
    cell: rear
    stop: 22
    time: 1/30
    tag: {tag}
    readings: [{{name: kiln mouth, role: shadow, ev: 10.0, zone: III}}]
"""
        for sheet, day in (("ZZ-00", "2026-05-01"), ("ZZ-01", "2199-05-01"))
    )


@pytest.fixture(scope="module")
def truth() -> dict[str, dict]:
    """The written truths: rear cell, film speed, N+1."""
    rear, film, short = json.loads(TRUTH.read_text(encoding="utf-8"))["hidden"]
    return {"rear": rear, "film": film, "short": short}


@pytest.fixture(scope="module")
def measured() -> int:
    """How many sheets of the sample are scanned, and so measured."""
    return len(json.loads(TRUTH.read_text(encoding="utf-8"))["sheets"])


@pytest.fixture(scope="module")
def told(sample: Path) -> dict:
    return json.loads(run(sample, "review", "--json").stdout)


@pytest.fixture
def own(sample: Path, tmp_path: Path) -> Path:
    """A copy of the sample that may be written to."""
    return Path(shutil.copytree(sample, tmp_path / "own"))


def run(root: Path, *args: str, status: int = 0) -> Result:
    result = CliRunner().invoke(main, [*args, "-a", str(root)])
    assert result.exit_code == status, f"{args}: {result.output}\n{result.stderr}"
    assert "Traceback" not in result.output + result.stderr
    return result


def document(root: Path, *args: str) -> dict:
    return json.loads(run(root, *args, "--json").stdout)


def advice(told: dict, about: str, level: str) -> dict:
    (one,) = [one for one in told["advice"] if (one["about"], one["level"]) == (about, level)]
    return one


# The sample's truths ----------------------------------------------------------------------------------------


def test_the_slow_film_is_found_and_advised(told: dict, truth: dict) -> None:
    (index,) = [one for one in told["exposure_index"] if one["film"] == "Marl 400"]
    assert index["low"] <= truth["film"]["true_speed"] <= index["high"]
    one = advice(told, "exposure_index", "Marl 400")
    assert one["value"] == 250
    assert one["sentence"].startswith("Expose Marl 400 at EI 250 instead of 400 (90 % interval ")
    assert set(one["evidence"]) == {"BW-05", "BW-07", "BW-09", "BW-16", "BW-18", "BW-19", "BW-20"}


def test_the_rear_cell_is_found_and_advised(told: dict, truth: dict) -> None:
    (cell,) = [one for one in told["factors"] if (one["factor"], one["level"]) == ("cell", REAR)]
    assert cell["low"] <= truth["rear"]["stops"] <= cell["high"] < 0
    one = advice(told, "scale", REAR)
    assert cell["advice"] == one["sentence"]
    assert "The rear cell of Aldwater convertible 195 passes" in one["sentence"]
    assert "less light than its scale says" in one["sentence"]
    assert (
        "of a stop further; where f/" in one["sentence"] or "half a stop further; where f/" in one["sentence"]
    )


@pytest.mark.parametrize("film", ["Sorrel 100", "Marl 400"])
def test_the_short_development_is_found(told: dict, truth: dict, film: str) -> None:
    (n_plus,) = [one for one in told["development"] if (one["film"], one["tag"]) == (film, "N+1")]
    assert n_plus["low_n"] <= truth["short"]["n_by_film"][film] <= n_plus["high_n"]
    assert n_plus["advised_low_s"] <= truth["short"]["times_needed_s"][film] <= n_plus["advised_high_s"]


def test_the_short_development_is_advised(told: dict, truth: dict) -> None:
    one = advice(told, "development", "Sorrel 100 / N+1")
    assert one["low"] <= truth["short"]["times_needed_s"]["Sorrel 100"] <= one["high"]
    assert "instead of 10 min" in one["sentence"]


def test_what_is_right_is_left_alone(told: dict) -> None:
    assert not [one for one in told["advice"] if one["level"] in ("Sorrel 100", "Sorrel 100 / N")]
    assert all(one["low"] > 0 or one["high"] < 0 for one in told["factors"] if one["advice"])


# What it says and in which form ------------------------------------------------------------------------------


def test_the_document_has_what_was_agreed(sample: Path, told: dict, measured: int) -> None:
    everything = document(sample, "find", "--limit", "1")["count"]
    assert (told["sheets"], told["measured"]) == (everything, measured)
    wanted = {
        "factors": {"factor", "level", "sheets", "error_stops", "sd", "entangled_with", "advice"},
        "development": {
            *("film", "developer", "dilution", "tag", "sheets", "found_n", "sd", "time_s"),
            *("advised_time_s", "advised_low_s", "advised_high_s"),
        },
        "exposure_index": {"film", "used", "indicated", "sd_stops", "sheets"},
        "reciprocity": {"film", "exponent_used", "exponent_indicated", "sd", "sheets"},
    }
    for part, names in wanted.items():
        assert told[part]
        for one in told[part]:
            assert names <= set(one), part
            assert one["sheets"] == len(one["evidence"])
    assert len({one["key"] for one in told["advice"]}) == len(told["advice"])


def test_the_text_reads_as_the_document_says(sample: Path, told: dict) -> None:
    text = " ".join(run(sample, "review").stdout.replace("\u00a0", " ").split())
    for one in told["advice"]:
        assert one["sentence"] in text
        assert f"negcat review --accept {one['key']}" in text
    assert "Caution: darkroom chemicals" in text
    assert told["gauge"] in text


def test_filters_are_those_of_find(sample: Path) -> None:
    narrowed = document(sample, "review", "--film", "sorrel 100", "--tag", "N+1")
    found = document(sample, "find", "--film", "sorrel 100", "--tag", "N+1")
    assert narrowed["sheets"] == found["count"]
    assert {one["film"] for one in narrowed["exposure_index"]} == {"Sorrel 100"}
    nothing = document(sample, "review", "nothing of that name")
    assert (nothing["sheets"], nothing["factors"]) == (0, [])


def test_decisions_are_grouped_and_counted(sample: Path, told: dict) -> None:
    kinds = [one["by"] for one in told["decisions"]]
    everything = document(sample, "find", "--limit", "1")["count"]
    assert kinds == ["cell", "film", "tag", "developer", "batch", "stop", "time", "zone", "rounding"]
    for grouped in told["decisions"]:
        # What is in no batch yet belongs to none, and to no developer.
        waiting = len(late_may.IN_HOLDERS) if grouped["by"] in ("developer", "batch") else 0
        assert sum(group["sheets"] for group in grouped["groups"]) == everything - waiting, grouped["by"]
        for group in grouped["groups"]:
            share = group["exposure"]
            if group["chosen"] == {"batch": late_may.BATCH[0]}:
                assert share["share"] is None  # developed, and not one sheet scanned yet
            else:
                assert 0 <= share["low"] <= share["share"] <= share["high"] <= 1
            if group["chosen"]:
                args = [word for name, value in group["chosen"].items() for word in (f"--{name}", value)]
                assert document(sample, "find", *args)["count"] == group["sheets"]


def test_one_kind_of_decision_is_shown_where_it_is_asked_for(sample: Path, told: dict) -> None:
    (grouped,) = document(sample, "review", "--by", "time")["decisions"]
    assert grouped == next(one for one in told["decisions"] if one["by"] == "time")
    text = run(sample, "review", "--by", "time").stdout
    assert "1 m 15 s" in text
    assert "shadow placed on" not in text


def test_csv_holds_the_factors_or_the_groups(sample: Path, told: dict) -> None:
    rows = list(csv.DictReader(io.StringIO(run(sample, "review", "--csv").stdout)))
    assert [row["level"] for row in rows] == [one["level"] for one in told["factors"]]
    rear = next(row for row in rows if row["level"] == REAR)
    assert float(rear["error_stops"]) == pytest.approx(advice(told, "scale", REAR)["value"])
    groups = list(csv.DictReader(io.StringIO(run(sample, "review", "--by", "tag", "--csv").stdout)))
    assert [row["tag"] for row in groups] == ["N-1", "N", "N+1", "N+2"]


def test_two_questions_and_the_trend_are_answered(told: dict) -> None:
    rounding, zones = told["compared"]
    assert rounding["answer"].startswith("Can’t be told: no measured sheet was rounded up")
    assert zones["difference"]["low"] < 0 < zones["difference"]["high"]
    assert zones["answer"].startswith("Can’t be told yet")
    assert told["trend"]["exposure"]["low"] < 1 < told["trend"]["exposure"]["high"]


def test_an_archive_without_a_measured_sheet_advises_nothing(tmp_path: Path) -> None:
    assert CliRunner().invoke(main, ["init", str(tmp_path)]).exit_code == 0
    empty = document(tmp_path, "review")
    assert (empty["sheets"], empty["measured"], empty["factors"], empty["advice"]) == (0, 0, [], [])
    assert "Nothing" in run(tmp_path, "review").stdout


def test_the_demo_prints_the_review(sample: Path) -> None:
    demo = json.loads((sample / "demo.json").read_text(encoding="utf-8"))
    assert advice(demo["review"], "exposure_index", "Marl 400")["value"] == 250


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (["--accept", "index-marl"], "index-marl-400"),
        (["--accept", "index-marl-400", "--from", "lately"], "no day from which"),
        (["--from", "2026-05-01"], "--accept NAME"),
        (["--by", "weather"], "weather"),
        (["--json", "--csv"], "not both"),
        (["--tag", "askew"], "askew"),
    ],
)
def test_what_can_not_be_is_said_in_a_sentence(sample: Path, args: list[str], said: str) -> None:
    result = CliRunner().invoke(main, ["review", *args, "-a", str(sample)])
    assert result.exit_code == 2
    assert said in result.stderr


# Accepting ---------------------------------------------------------------------------------------------------


def test_an_accepted_index_holds_for_later_sheets_only(own: Path, tmp_path: Path) -> None:
    before = {sheet: document(own, "show", sheet) for sheet in ("BW-05", "BW-19", "BW-01")}
    done = document(own, "review", "--accept", "index-marl-400")
    assert done["accepted"] == "index-marl-400"
    new = tmp_path / "new.yaml"
    new.write_text(new_sheets("Marl 400", "N"), encoding="utf-8")
    run(own, "record", str(new))
    later, earlier = document(own, "show", "ZZ-01"), document(own, "show", "ZZ-00")
    assert (later["exposure_index"], earlier["exposure_index"]) == (250, 400)
    gain = later["readings"][0]["given_zone"] - earlier["readings"][0]["given_zone"]
    assert gain == pytest.approx(-0.678, abs=0.001)
    assert later["believed_now"] is None
    now = earlier["believed_now"]
    assert now["exposure_index"] == 250
    assert now["readings"][0]["given_zone"] == pytest.approx(later["readings"][0]["given_zone"])
    assert now["changes"][0]["advice"] == "index-marl-400"
    for sheet, was in before.items():
        after = document(own, "show", sheet)
        for part in ("exposure_index", "exposure", "ledger", "readings", "result"):
            assert after[part] == was[part], (sheet, part)
        assert (after["believed_now"] is None) == (sheet == "BW-01")
    film = [one for one in document(own, "review")["exposure_index"] if one["film"] == "Marl 400"]
    assert film[0]["used"] == 250
    assert film[0]["low"] < 250 < film[0]["high"]
    assert not film[0]["advised"]


def test_an_accepted_scale_is_reckoned_with_from_its_day_on(own: Path) -> None:
    key = f"scale-{CONVERTIBLE.lower().replace(' ', '-')}-rear"
    found = advice(document(own, "review"), "scale", REAR)
    before = {sheet: document(own, "show", sheet)["exposure"]["cell_stops"] for sheet in ("BW-13", "BW-18")}
    done = document(own, "review", "--accept", key.upper(), "--from", "2026-05-09")
    assert done["recomputed"] >= 1
    assert document(own, "show", "BW-13")["exposure"]["cell_stops"] == before["BW-13"]
    after = document(own, "show", "BW-18")["exposure"]["cell_stops"]
    assert after - before["BW-18"] == pytest.approx(round(found["value"], 2), abs=1e-6)
    again = document(own, "review")
    (cell,) = [one for one in again["factors"] if one["level"] == REAR]
    assert cell["advice"] is None
    assert cell["low"] < 0 < cell["high"]
    # Judged anew, an earlier sheet still stands by what was believed then.
    run(own, "measure", "BW-13")
    assert document(own, "show", "BW-13")["exposure"]["cell_stops"] == before["BW-13"]


def test_what_was_accepted_is_kept_in_the_history(own: Path) -> None:
    run(own, "review", "--accept", "index-marl-400")
    from negcat.work.archive import Archive

    with Archive.open(own, readonly=True) as archive:
        (change,) = archive.catalogue.dated_changes()
        newest = archive.catalogue.history("film", "Marl 400")[0]
    assert (change.film, change.before, change.after) == ("Marl 400", None, 250.0)
    assert change.sentence.startswith("Expose Marl 400 at EI 250")
    assert newest["via"] == "review --accept"
    assert newest["new"]["exposure_index"] == 250
    assert "exposure_index" not in newest["old"]


def test_an_accepted_time_is_advised_where_sheets_wait(own: Path, tmp_path: Path) -> None:
    key = "time-sorrel-100-ousel-n+1"
    done = run(own, "review", "--accept", key).stdout
    assert "advised where it waits" in done
    new = tmp_path / "new.yaml"
    new.write_text(new_sheets("Sorrel 100", "N+1"), encoding="utf-8")
    run(own, "record", str(new))
    groups = document(own, "pending")["develop"]
    (group,) = [one for one in groups if (one["film"], one["tag"]) == ("Sorrel 100", "N+1")]
    assert {"ZZ-00", "ZZ-01"} < set(group["sheets"])
    assert all(one["advised"] == [] for one in groups if one is not group)
    (advised,) = group["advised"]
    assert advised["low_s"] <= advised["time_s"] <= advised["high_s"]
    assert advised["sentence"] in run(own, "pending").stdout
    assert "accepted already" in run(own, "review", "--accept", key, status=2).stderr


def test_an_old_file_taken_again_says_that_it_sets_an_accepted_advice_back(own: Path) -> None:
    run(own, "review", "--accept", "index-marl-400")
    equipment = own / "records" / "equipment.yaml"
    (warning,) = document(own, "record", str(equipment))["warnings"]
    assert "index-marl-400" in warning
    assert "holds no longer" in warning
    equipment.write_text(
        equipment.read_text(encoding="utf-8").replace(
            "box_speed: 400\n", "box_speed: 400\n  exposure_index: 250\n"
        ),
        encoding="utf-8",
    )
    assert document(own, "record", str(equipment))["warnings"] == []
    assert document(own, "show", "BW-05")["exposure_index"] == 400


def test_a_refused_advice_leaves_the_archive_as_it_was(own: Path) -> None:
    before = (own / "negcat.db").read_bytes()
    run(own, "review", "--accept", "index-sorrel-100", status=2)
    assert (own / "negcat.db").read_bytes() == before
