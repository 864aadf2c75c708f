"""The sample archive: its records can be read, its scans hold what truth.json says, its truths can be found."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from click.testing import CliRunner

from negcat.cli import main
from negcat.records import load_files
from negcat.records.known import KnownNames

from . import build_sample, fieldbook, late_may
from .camera import f_number, seconds
from .film import NORMAL, contrast_of, normal_density
from .scanner import Lay, Scanner, film_coordinates, scan_fraction, scan_size
from .season import FILMS, Luminance, season

SAMPLE = Path(__file__).parents[2] / "sample_archive"
TRUTH = json.loads((SAMPLE / "truth.json").read_text(encoding="utf-8"))
WAITING = [entry.sheet for entry in (*late_may.DEVELOPED, *late_may.IN_HOLDERS)]
SHEETS = {t["sheet"]: t for t in TRUTH["sheets"]}
SCANNER = build_sample.SCANNER


def scan_of(sheet: str) -> Path:
    return SAMPLE / "scans" / build_sample.NAMED.get(sheet, f"{sheet}.tif")


def upright(path: Path) -> np.ndarray:
    with tifffile.TiffFile(path) as tif:
        page = tif.pages.first
        data = page.asarray()
        return np.rot90(data, -1) if page.tags["Orientation"].value == 6 else data


@pytest.fixture(scope="module")
def records() -> dict[str, Any]:
    parts = load_files(sorted((SAMPLE / "records").iterdir()), KnownNames())
    return {sheet.sheet: sheet for part in parts for sheet in part.sheets}


# --- what lies there


def test_it_is_small_enough_for_git() -> None:
    assert sum(p.stat().st_size for p in SAMPLE.rglob("*") if p.is_file()) <= 11_000_000


def test_the_records_are_taken_whole(records: dict[str, Any]) -> None:
    assert sorted(records) == [f"BW-{n:02d}" for n in range(1, len(SHEETS) + len(WAITING) + 1)]
    assert not set(SHEETS) & set(WAITING)
    assert {s.film for s in records.values()} == {"Sorrel 100", "Marl 400"}
    assert {s.tag.text for s in records.values()} == {"N-1", "N", "N+1", "N+2"}
    assert {s.cell for s in records.values() if s.lens.startswith("Aldwater")} == {"whole", "front", "rear"}
    assert all(2 <= len(s.readings) <= 4 for s in records.values())
    assert all(bool(r.spot) == (name in SHEETS) for name, s in records.items() for r in s.readings)


def test_every_way_of_writing_occurs(records: dict[str, Any]) -> None:
    stops = {s.stop.text for s in records.values()}
    assert any("½" in t for t in stops), stops
    assert any(t.startswith("f/") for t in stops), stops
    assert any(" 1/3" in t for t in stops), stops
    assert any("+" in t for t in stops), stops
    times = {s.time.text for s in records.values()}
    assert {"1/15", "1m15s"} <= times, times
    assert any(t.endswith(" s") for t in times), times
    assert any(s.stop_scale for s in records.values())
    assert any(s.indicated for s in records.values())
    assert any(r.stops_from_placed is not None for s in records.values() for r in s.readings)
    assert any(s.filter_factor for s in records.values())


def test_every_sheet_has_its_scan_one_has_a_copy_and_one_scan_has_no_sheet() -> None:
    files = list((SAMPLE / "scans").iterdir())
    sums = Counter(hashlib.sha256(p.read_bytes()).hexdigest() for p in files)
    assert sorted(sums.values(), reverse=True)[:2] == [2, 1]
    assert all(scan_of(s).exists() for s in SHEETS)
    assert not any(s in build_sample.UNKNOWN for s in SHEETS)


# --- what the scans hold, without negcat


@pytest.mark.parametrize("sheet", sorted(SHEETS))
def test_the_spots_hold_the_true_densities(sheet: str, records: dict[str, Any]) -> None:
    codes = upright(scan_of(sheet)).astype(float)
    h, w = codes.shape
    y, x = np.ogrid[:h, :w]
    px = SCANNER.dpi / 25.4
    for reading, true in zip(records[sheet].readings, SHEETS[sheet]["readings"], strict=True):
        assert reading.name == true["name"]
        inside = (x + 0.5 - reading.spot.x * w) ** 2 + (y + 0.5 - reading.spot.y * h) ** 2 <= px**2
        t = (codes[inside].mean() - SCANNER.floor) / SCANNER.white
        net = -np.log10(t) - SHEETS[sheet]["base_fog"]
        assert net == pytest.approx(true["net_density"], abs=0.02)


@pytest.mark.parametrize("sheet", sorted(SHEETS))
def test_density_follows_from_the_zone_on_the_film(sheet: str) -> None:
    truth = SHEETS[sheet]
    c = contrast_of(truth["n"])
    assert c == pytest.approx(truth["contrast"], abs=2e-4)
    for reading in truth["readings"]:
        z = reading["film_zone"]
        expected = float(normal_density(1 + c * (z - 1) if z >= 1 else z))
        assert reading["net_density"] == pytest.approx(expected, abs=0.03), reading["name"]


def test_the_hidden_truths_are_in_the_light_itself(records: dict[str, Any]) -> None:
    """From true luminance, what was set and the film's zone: what no record tells is left over."""
    left: dict[tuple[str, str], list[float]] = {}
    for sheet, truth in SHEETS.items():
        record = records[sheet]
        asked = truth["readings"][0]["ev100"] + np.log2(FILMS[record.film].box_speed / 100)
        given = np.log2(truth["true_f_number"] ** 2 / truth["effective_time_s"])
        loss = np.log2(record.filter_factor or 1)
        if record.bellows_mm:
            loss += 2 * np.log2(1 + (record.bellows_mm / 150 - 1) / 1.08)
        zone = 5 + asked - given - loss
        left.setdefault((record.film, record.cell or "150"), []).append(
            truth["readings"][0]["film_zone"] - zone
        )
    mean = {k: float(np.mean(v)) for k, v in left.items()}
    assert mean["Sorrel 100", "rear"] - mean["Sorrel 100", "whole"] == pytest.approx(-0.5, abs=0.2)
    assert mean["Marl 400", "front"] - mean["Sorrel 100", "front"] == pytest.approx(-2 / 3, abs=0.2)
    too_short = {s: t["n"] for s, t in SHEETS.items() if t["tag"] == "N+1"}
    assert len(too_short) == 8
    assert all(0.35 < n < 0.65 for n in too_short.values()), too_short


# --- what negcat makes of it


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    root = tmp_path_factory.mktemp("sample") / "archive"
    run = CliRunner()

    def negcat(*words: str) -> Any:
        outcome = run.invoke(main, list(words))
        assert outcome.exit_code == 0, outcome.output
        return outcome

    negcat("init", str(root))
    a = ("--archive", str(root))
    negcat("record", *a, *(str(p) for p in sorted((SAMPLE / "records").iterdir())))
    tablet = str(next((SAMPLE / "tablet").iterdir()))
    fit = negcat("calibrate", *a, "--json", "--scanner", "the flat-bed", "--tablet", "step tablet 21", tablet)
    taken = json.loads(negcat("ingest", *a, "--json", str(SAMPLE / "scans")).stdout)
    shown = {s: json.loads(negcat("show", *a, "--json", s).stdout) for s in SHEETS}
    return {"calibration": json.loads(fit.stdout), "taken": taken, "sheets": shown}


def test_the_tablet_is_found_from_end_to_end(built: dict[str, Any]) -> None:
    steps = built["calibration"]["steps"]
    assert [s["density"] for s in steps] == list(build_sample.TABLET)
    for step in steps:
        expected = SCANNER.floor + SCANNER.white * 10 ** -step["density"]
        assert step["code"] == pytest.approx(expected, rel=0.02, abs=12)


def test_each_scan_comes_to_its_place(built: dict[str, Any]) -> None:
    by_name = {Path(i["path"]).name: i for i in built["taken"]["items"]}
    assert built["taken"]["unmatched"] == 1
    assert built["taken"]["refused"] == 0
    assert by_name[build_sample.UNKNOWN]["status"] == "unmatched"
    assert by_name[build_sample.COPIED[1]]["status"] == "unchanged"
    positive = by_name[f"{build_sample.POSITIVE}_positive.tif"]
    assert positive["sheet"] == build_sample.POSITIVE
    assert not positive["measured"]
    assert "positive" in positive["reason"]


def test_densities_and_fog_agree_with_the_truth(built: dict[str, Any]) -> None:
    off, fog = [], []
    for sheet, shown in built["sheets"].items():
        fog.append(shown["base_fog"]["density"] - SHEETS[sheet]["base_fog"])
        assert shown["base_fog"]["source"] == "rebate"
        off += [
            r["net_density"] - t["net_density"]
            for r, t in zip(shown["readings"], SHEETS[sheet]["readings"], strict=True)
        ]
    assert float(np.sqrt(np.mean(np.square(off)))) < 0.02
    assert float(np.sqrt(np.mean(np.square(fog)))) < 0.01


def test_clean_sheets_are_as_planned_and_the_forgotten_bellows_thin(built: dict[str, Any]) -> None:
    verdicts = {s: d["result"]["verdict"] for s, d in built["sheets"].items()}
    for sheet in ("BW-01", "BW-02", "BW-04", "BW-06", "BW-15", "BW-17"):
        assert verdicts[sheet] == "as planned", verdicts
    assert verdicts["BW-14"].startswith("thin")


@pytest.mark.parametrize("sheet", sorted(SHEETS))
def test_no_verdict_says_the_contrary_of_the_truth(sheet: str, built: dict[str, Any]) -> None:
    result, truth = built["sheets"][sheet]["result"], SHEETS[sheet]
    error = truth["exposure_error_stops"]
    if result["exposure_verdict"] == "thin":
        assert error < -1 / 3 + 0.1
    if result["exposure_verdict"] == "dense":
        assert error > 1 / 3 - 0.1
    if result["exposure_verdict"] == "as planned":
        assert abs(error) < 1 / 3 + 0.1
    assert result["exposure_error_stops"] == pytest.approx(error, abs=3 * result["exposure_error_sd"])


def test_the_hidden_truths_can_be_found_again(built: dict[str, Any]) -> None:
    """What is left over after decisions: by cell, by film; and what N+1 came out as."""
    left: dict[tuple[str, str], list[float]] = {}
    for shown in built["sheets"].values():
        key = (shown["film"], shown["cell"] or "150")
        left.setdefault(key, []).append(shown["result"]["residual_stops"])
    mean = {k: float(np.mean(v)) for k, v in left.items()}
    assert mean["Sorrel 100", "rear"] - mean["Sorrel 100", "whole"] == pytest.approx(-0.5, abs=0.25)
    assert mean["Marl 400", "front"] - mean["Sorrel 100", "front"] == pytest.approx(-2 / 3, abs=0.3)
    found = [d["result"]["found_n"] for d in built["sheets"].values() if d["tag"] == "N+1"]
    assert float(np.mean(found)) == pytest.approx(0.5, abs=0.25)


# --- the simulation itself


@pytest.mark.parametrize(
    ("mark", "n"),
    [
        ("22", 2**4.5),
        ("f/32", 32.0),
        ("22½", 2**4.75),
        ("16 1/3", 2 ** (4 + 1 / 6)),
        ("22+2/3", 2 ** (4.5 + 1 / 3)),
    ],
)
def test_marks_stand_for_exact_stops(mark: str, n: float) -> None:
    assert f_number(mark) == pytest.approx(n)


@pytest.mark.parametrize(
    ("mark", "t"), [("1/15", 1 / 16), ("1/2", 0.5), ("4 s", 4), ("1m15s", 75), ("2m", 120)]
)
def test_marked_times_stand_for_exact_ones(mark: str, t: float) -> None:
    assert seconds(mark) == pytest.approx(t)


@pytest.mark.parametrize("film", FILMS.values(), ids=list(FILMS))
def test_reciprocity_goes_there_and_back(film: Any) -> None:
    for t in (0.1, 1.0, 1.5, 7.0, 33.0, 90.0):
        assert film.law.effective(film.law.given(t)) == pytest.approx(t, rel=1e-6)


def test_a_spot_is_where_it_was_on_the_film() -> None:
    lay = Lay(tilt_deg=0.7, offset_mm=(0.4, -0.6), frame_shift_mm=(0.2, 0.1))
    h, w = scan_size(lay, 200)
    x, y = film_coordinates(lay, 200)
    u, v = scan_fraction(lay, 200, 0.3, 0.8)
    j, i = int(v * h), int(u * w)
    assert (x[j, i] - 0.2) / 92 + 0.5 == pytest.approx(0.3, abs=0.002)
    assert (y[j, i] - 0.1) / 118 + 0.5 == pytest.approx(0.8, abs=0.002)


def _wedge(entry: fieldbook.Entry) -> Luminance:
    """Four flat fields instead of a rendered scene: quick, with the light known in each."""
    steps = np.repeat(np.repeat(np.array([[20.0, 80.0], [320.0, 1280.0]]), 120, 0), 150, 1)
    return Luminance(steps, np.zeros_like(steps))


def test_the_season_runs_with_other_light_lay_and_scanner() -> None:
    mask = Lay(surround="mask", tilt_deg=0.0, sheet_mm=(127.0, 101.0), frame_mm=(118.0, 92.0))
    (flat,) = season(
        7, only=("BW-01",), scanner=Scanner(dpi=60, gamma=2.2), lay=lambda e, r: mask, light=_wedge
    )
    (again,) = season(
        7, only=("BW-01",), scanner=Scanner(dpi=60, gamma=2.2), lay=lambda e, r: mask, light=_wedge
    )
    np.testing.assert_array_equal(flat.codes, again.codes)
    assert flat.codes.shape == scan_size(mask, 60)
    assert flat.codes[2, 2] < 4000  # the mask
    bright = [r["film_zone"] for r in flat.truth["readings"]]
    assert max(bright) - min(bright) == pytest.approx(6.0, abs=0.6) or len(set(np.round(bright))) < 4


def test_the_normal_curve_is_what_it_says() -> None:
    np.testing.assert_allclose(normal_density(np.arange(11.0)), NORMAL)


@pytest.mark.slow
def test_a_sheet_built_again_is_the_sheet_that_is_there() -> None:
    """One sheet from the scene on: the same picture, grain and all (another machine may round a pixel otherwise)."""
    (made,) = season(build_sample.SEED, only=("BW-10",))
    there = upright(scan_of("BW-10"))
    assert made.codes.shape == there.shape
    assert float((made.codes == there).mean()) > 0.98
    for now, then in zip(made.truth["readings"], SHEETS["BW-10"]["readings"], strict=True):
        assert now["net_density"] == pytest.approx(then["net_density"], abs=0.01)
