"""The sample archive: its written truths come out, and every way of looking agrees."""

import json
from math import sqrt
from pathlib import Path
from statistics import fmean

import pytest
from click.testing import CliRunner

from negcat.cli import main

TRUTH = Path(__file__).parents[2] / "sample_archive" / "truth.json"
STOP_TOLERANCE, N_TOLERANCE = 1 / 3, 0.5


@pytest.fixture(scope="module")
def truth() -> dict[str, dict]:
    return {sheet["sheet"]: sheet for sheet in json.loads(TRUTH.read_text(encoding="utf-8"))["sheets"]}


@pytest.fixture(scope="module")
def shown(sample: Path, truth: dict[str, dict]) -> dict[str, dict]:
    return {sheet: run(sample, "show", sheet) for sheet in truth}


def run(sample: Path, *args: str) -> dict:
    result = CliRunner().invoke(main, [*args, "--json", "-a", str(sample)])
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout)


def test_what_happened_to_every_scan(sample: Path, truth: dict[str, dict]) -> None:
    demo = json.loads((sample / "demo.json").read_text(encoding="utf-8"))
    measured = {sheet["sheet"] for sheet in demo["sheets"] if sheet["verdict"] != "not measured"}
    assert measured == set(truth)
    statuses = [item["status"] for item in demo["scans"]]
    assert (statuses.count("unmatched"), statuses.count("unchanged"), statuses.count("refused")) == (1, 1, 0)
    (positive,) = [item for item in demo["scans"] if "positive" in item["path"]]
    assert not positive["measured"]
    assert all(item["measured"] for item in demo["scans"] if item["sheet"] and item is not positive)
    assert sum(demo["verdicts"].values()) == len(demo["sheets"]) > len(truth)


def test_building_it_again_changes_nothing(sample: Path) -> None:
    result = CliRunner().invoke(main, ["demo", str(sample), "--no-serve", "--json"])
    assert result.exit_code == 0, result.stderr
    before = json.loads((sample / "demo.json").read_text(encoding="utf-8"))
    again = json.loads(result.stdout)
    assert again["sheets"] == before["sheets"]
    assert {item["status"] for item in again["scans"]} == {"unchanged"}


def test_densities_are_the_true_ones(shown: dict[str, dict], truth: dict[str, dict]) -> None:
    errors = []
    for sheet, found in shown.items():
        true = {reading["name"]: reading["net_density"] for reading in truth[sheet]["readings"]}
        errors += [
            r["net_density"] - true[r["name"]] for r in found["readings"] if r["net_density"] is not None
        ]
        assert found["base_fog"]["density"] == pytest.approx(truth[sheet]["base_fog"], abs=0.01), sheet
        assert found["base_fog"]["source"] == "rebate"
    assert len(errors) >= 60
    assert sqrt(fmean(error**2 for error in errors)) < 0.01
    assert max(map(abs, errors)) < 0.02


def test_no_verdict_is_wrong_where_the_truth_is_clear(shown: dict[str, dict], truth: dict[str, dict]) -> None:
    """Clear of a limit by three deviations of the density and by a meter reading's ordinary error."""
    metering = 0.12
    clear = 0
    for sheet, found in shown.items():
        result = found["result"]
        off = truth[sheet]["exposure_error_stops"]
        expected = "as planned" if abs(off) < STOP_TOLERANCE else "thin" if off < 0 else "dense"
        if abs(abs(off) - STOP_TOLERANCE) > 3 * result["exposure_error_density_sd"] + metering:
            clear += 1
            assert result["exposure_verdict"] == expected, (sheet, off, result)
        off = truth[sheet]["n"] - result["planned_n"]
        expected = "as planned" if abs(off) < N_TOLERANCE else "flat" if off < 0 else "contrasty"
        if abs(abs(off) - N_TOLERANCE) > 3 * result["found_n_density_sd"] + metering:
            clear += 1
            assert result["development_verdict"] == expected, (sheet, off, result)
    assert clear >= 6, clear


def test_the_hidden_truths_show(shown: dict[str, dict]) -> None:
    """The rear cell half a stop short, the slow film two thirds, N+1 developed to about N+½."""

    def mean_residual(film: str, cell: str) -> float:
        return fmean(
            s["result"]["residual_stops"] for s in shown.values() if (s["film"], s["cell"]) == (film, cell)
        )

    assert mean_residual("Sorrel 100", "rear") == pytest.approx(-0.5, abs=0.2)
    assert mean_residual("Marl 400", "front") == pytest.approx(-2 / 3, abs=0.2)
    assert mean_residual("Marl 400", "rear") == pytest.approx(-0.5 - 2 / 3, abs=0.2)
    found = [s["result"]["found_n"] for s in shown.values() if s["tag"] == "N+1"]
    assert len(found) >= 5
    assert fmean(found) == pytest.approx(0.5, abs=0.25)


def test_find_show_and_the_demo_agree(sample: Path, shown: dict[str, dict]) -> None:
    page = run(sample, "find", "--cell", "rear", "--tag", "N+1")
    expected = {sheet for sheet, s in shown.items() if (s["cell"], s["tag"]) == ("rear", "N+1")}
    assert expected
    measured = {row["sheet"]: row["verdict"] for row in page["sheets"] if row["verdict"] != "not measured"}
    assert measured == {sheet: shown[sheet]["result"]["verdict"] for sheet in expected}
    demo = {
        s["sheet"]: s["verdict"]
        for s in json.loads((sample / "demo.json").read_text(encoding="utf-8"))["sheets"]
        if s["verdict"] != "not measured"
    }
    assert demo == {sheet: s["result"]["verdict"] for sheet, s in shown.items()}


def test_the_ledger_of_every_sheet_adds_up(shown: dict[str, dict]) -> None:
    for sheet, found in shown.items():
        given = found["exposure"]
        lines = {entry["item"]: entry["stops"] for entry in found["ledger"]}
        total = lines.pop("decision")
        assert sum(lines.values()) == pytest.approx(total, abs=1e-9), sheet
        assert total == given["decision_stops"]
        for reading in found["readings"]:
            if reading["placed"]:
                assert reading["given_zone"] - reading["planned_zone"] == pytest.approx(total, abs=1e-9)


def test_an_archive_of_ones_own_is_not_mixed_with_the_sample(tmp_path: Path) -> None:
    runner = CliRunner()
    runner.invoke(main, ["init", str(tmp_path)])
    own = tmp_path / "own.yaml"
    own.write_text(
        "films: [{name: F, box_speed: 100}]\nlenses: [{name: L, cells: [{cell: whole, focal_mm: 150}]}]\n"
        "sheets: [{sheet: MINE-1, film: F, lens: L, stop: 16, time: 1}]\n",
        encoding="utf-8",
    )
    assert runner.invoke(main, ["record", str(own), "-a", str(tmp_path)]).exit_code == 0
    result = runner.invoke(main, ["demo", str(tmp_path), "--no-serve"])
    assert result.exit_code == 2
    assert "MINE-1" in result.stderr
    assert run(tmp_path, "find")["count"] == 1
