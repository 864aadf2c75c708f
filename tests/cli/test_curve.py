"""Film tests from the command line: typed in or scanned, their curves, figures and times."""

import json
import math
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import numpy as np
import pytest
import tifffile

from negcat.catalogue import Query
from negcat.work.archive import Archive
from negcat.work.review_gathering import gather
from tests.cli.conftest import DENSITIES, PX_PER_MM, Bench
from tests.simulation.scanbench import Bed, Tablet, grain

CLEAREST = 0.6
FOG = 0.12
NORMAL_MIN, LIMIT = 9.0, 1.7


def contrast_at(minutes: float) -> float:
    """Contrast of the invented film: 1 at nine minutes, on the way to 1.7."""
    rate = -math.log(1.0 - 1.0 / LIMIT) / NORMAL_MIN
    return LIMIT * (1.0 - math.exp(-rate * minutes))


def on_film(contrast: float) -> np.ndarray:
    """Density under each step, the clearest first: a toe and a straight line of 0.60 at N."""
    log_h = CLEAREST - (DENSITIES - DENSITIES[0])
    return FOG + 0.60 * contrast * 0.12 * np.logaddexp(0.0, (log_h + 1.8) / 0.12)


def record(test: str, minutes: float, densities: np.ndarray | None, **more: object) -> dict:
    written: dict[str, object] = {
        "test": test,
        "film": "Brickdust 100",
        "tablet": "tablet 21",
        "developer": "Slip",
        "dilution": "1+49",
        "temperature_c": 20,
        "time": f"{minutes:g}m",
        "log_exposure": CLEAREST,
    }
    if densities is not None:
        written["densities"] = [round(float(one), 3) for one in densities]
    return {**written, **more}


def take(bench: Bench, *tests: dict) -> None:
    bench.run("record", bench.records(json.dumps({"film_tests": tests}), "tests.json"))


@pytest.fixture
def tested(archive: Bench) -> Bench:
    """An archive with tests at four times."""
    rng = np.random.default_rng(2)
    take(
        archive,
        *[
            record(f"T-{minutes}", minutes, on_film(contrast_at(minutes)) + rng.normal(0.0, 0.006, 21))
            for minutes in (6, 8, 11, 15)
        ],
    )
    return archive


def test_times_come_back_within_their_intervals(tested: Bench) -> None:
    (process,) = tested.json("curve", "brickdust 100")["processes"]
    assert (process["developer"], process["dilution"], process["times_at_c"]) == ("Slip", "1+49", 20.0)
    assert [one["tag"] for one in process["times"]] == ["N-2", "N-1", "N", "N+1", "N+2"]
    for one in process["times"][:4]:
        true = -60.0 * math.log(1.0 - one["contrast"] / LIMIT) * NORMAL_MIN / -math.log(1.0 - 1.0 / LIMIT)
        assert one["low_s"] < one["time_s"] < one["high_s"]
        # The film's contrast is told by the print target's densities, its straight line by 0.60: within a tenth.
        assert one["time_s"] == pytest.approx(true, rel=0.12)


def test_figures_come_with_their_deviations(tested: Bench) -> None:
    (process,) = tested.json("curve", "Brickdust 100")["processes"]
    test = next(one for one in process["tests"] if one["test"] == "T-8")
    figures = test["figures"]
    for name in ("base_fog", "log_h_m", "rise", "speed", "average_gradient", "contrast_index"):
        assert figures[name]["value"] is not None, name
        assert figures[name]["sd"] > 0.0, name
    assert figures["base_fog"]["value"] == pytest.approx(FOG, abs=0.01)
    # Point m of the invented film lies where 0.12·ln(1 + e^x) is 0.10/0.60/contrast.
    gain = 0.10 / 0.60 / contrast_at(8)
    m = -1.8 + 0.12 * math.log(math.expm1(gain / 0.12))
    assert figures["log_h_m"]["value"] == pytest.approx(m, abs=0.05)
    assert figures["speed"]["value"] == pytest.approx(0.8 / 10**m, rel=0.12)
    assert figures["zone_i_index"]["value"] == pytest.approx(0.63 * figures["speed"]["value"])
    assert figures["average_gradient"]["value"] == pytest.approx(0.60 * contrast_at(8), rel=0.06)
    assert figures["contrast_condition"] in ("holds", "does not hold", "unsure")
    assert len(test["steps"]) == 21
    assert test["steps"][0]["log_h"] == pytest.approx(CLEAREST)
    assert test["steps"][-1]["log_h"] == pytest.approx(CLEAREST - 3.0)


def test_zones_lie_where_the_index_in_use_puts_them(tested: Bench) -> None:
    document = tested.json("curve", "Brickdust 100")
    (scale,) = document["processes"][0]["zones"]
    assert document["exposure_index"] == 100
    assert scale["log_h"][1] == pytest.approx(math.log10(0.63 * 0.8 / 100))
    assert scale["log_h"][5] - scale["log_h"][1] == pytest.approx(4 * math.log10(2))


def test_another_temperature_changes_the_times(tested: Bench) -> None:
    usual = tested.json("curve", "Brickdust 100")["processes"][0]
    warm = tested.json("curve", "Brickdust 100", "--temperature", 24)["processes"][0]
    assert warm["times_at_c"] == 24.0
    assert warm["times"][2]["time_s"] == pytest.approx(usual["times"][2]["time_s"] / 2**0.4, rel=0.02)
    assert not warm["contrast_law"]["q10_fitted"]


def test_another_developer_is_left_out(tested: Bench) -> None:
    take(tested, record("T-other", 9, on_film(1.0), developer="Ousel"))
    assert [one["developer"] for one in tested.json("curve", "Brickdust 100")["processes"]] == [
        "Ousel",
        "Slip",
    ]
    (one,) = tested.json("curve", "Brickdust 100", "--developer", "ousel")["processes"]
    assert one["contrast_law"] is None
    assert "half as long again" in one["reason"]


def test_the_text_says_it_all(tested: Bench) -> None:
    said = tested.run("curve", "Brickdust 100").stdout
    for words in (
        "4 film tests",
        "Slip 1+49",
        "average gradient",
        "contrast index",
        "90 % interval",
        "Caution",
    ):
        assert words in said
    assert "contrast condition of ISO 6" in said or "ISO 6's contrast condition" in said
    assert "None" not in said
    assert "nan" not in said


def test_without_tests_it_says_how_to_make_one(archive: Bench) -> None:
    said = archive.run("curve", "Brickdust 100").stdout
    assert "film_tests" in said
    assert archive.json("curve", "Brickdust 100")["processes"] == []


def test_an_unknown_film_is_refused(archive: Bench) -> None:
    assert "Brickdust" in archive.run("curve", "Brickdst 100", status=2).stderr


@pytest.mark.parametrize("name", ["curve.svg", "curve.png"])
def test_the_curves_are_drawn(tested: Bench, name: str) -> None:
    path = tested.folder / name
    tested.run("curve", "Brickdust 100", "--plot", path)
    if name.endswith(".svg"):
        text = "".join(ElementTree.parse(path).getroot().itertext())
        for words in ("T-6 · 6:00", "T-15 · 15:00", "log10 H, lux·s", "zones at exposure index 100", "VIII"):
            assert words in text
    else:
        assert path.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"


def test_a_plot_of_nothing_says_so_and_the_rest_is_printed(archive: Bench) -> None:
    result = archive.run("curve", "Brickdust 100", "--plot", archive.folder / "none.svg", status=1)
    assert "nothing to plot" in result.stderr
    assert "0 film tests" in result.stdout
    assert not (archive.folder / "none.svg").exists()


def test_a_plot_of_another_kind_is_wrong_usage(archive: Bench) -> None:
    assert ".svg or .png" in archive.run("curve", "Brickdust 100", "--plot", "x.gif", status=2).stderr


def test_a_tablet_recorded_anew_with_other_steps_leaves_its_tests_without_a_curve(tested: Bench) -> None:
    other = [round(0.05 + 0.1 * step, 2) for step in range(31)]
    tablet = {"tablets": [{"name": "tablet 21", "densities": other}]}
    tested.run("record", tested.records(json.dumps(tablet), "tablet.json"))
    (process,) = tested.json("curve", "Brickdust 100")["processes"]
    assert all(test["figures"] is None for test in process["tests"])
    assert "21 densities" in process["tests"][0]["reason"]
    assert "31 steps" in tested.run("curve", "Brickdust 100").stdout


def test_densities_listed_backwards_are_told(archive: Bench) -> None:
    take(archive, record("T-back", 9, on_film(1.0)[::-1]))
    (process,) = archive.json("curve", "Brickdust 100")["processes"]
    assert "clearest step first" in process["tests"][0]["reason"]


# From a scan ------------------------------------------------------------------------------------------------


def scan_film(bench: Bench, name: str, film: np.ndarray, **tags: object) -> Path:
    """Scan a film on which the tablet was exposed; beside the tablet it was covered."""
    rng = np.random.default_rng(6)
    strip = Tablet(film[::-1], border_mm=12.0, border_density=FOG, margin_mm=(16.0, 16.0))
    density = grain(strip.draw(PX_PER_MM, rng), PX_PER_MM, rng, 0.004)
    return bench.write(name, Bed().codes(10.0**-density, rng, PX_PER_MM), **tags)


def test_a_scan_is_read_through_its_scanners_profile(measured: Bench) -> None:
    film = on_film(1.0)
    scan_film(measured, "tests/T-1.tif", film)
    take(measured, record("T-1", 9, None, scan="tests/T-1.tif"), record("T-2", 9, film))
    (process,) = measured.json("curve", "Brickdust 100")["processes"]
    scanned, typed = process["tests"]
    assert (scanned["read_from"], typed["read_from"]) == ("scan", "densities")
    read = [step["density"] for step in scanned["steps"]]
    assert np.abs(np.array(read[:15]) - film[:15]).max() < 0.02
    for name, within in (("log_h_m", 0.05), ("average_gradient", 0.012)):
        assert scanned["figures"][name]["value"] == pytest.approx(typed["figures"][name]["value"], abs=within)


def scan_two(bench: Bench, name: str, upper: np.ndarray, lower: np.ndarray) -> Path:
    """Scan two tests at once, one below the other on the same sheet."""
    rng = np.random.default_rng(7)
    strips = [
        Tablet(film[::-1], border_mm=12.0, border_density=FOG, margin_mm=(16.0, 16.0)).draw(PX_PER_MM, rng)
        for film in (upper, lower)
    ]
    density = grain(np.vstack(strips), PX_PER_MM, rng, 0.004)
    return bench.write(name, Bed().codes(10.0**-density, rng, PX_PER_MM))


def test_two_tests_on_one_scan_are_told_apart_by_their_regions(measured: Bench) -> None:
    films = {"upper": on_film(1.0), "lower": on_film(1.3)}
    scan_two(measured, "tests/two.tif", *films.values())
    regions = {"upper": [0, 0, 1, 0.5], "lower": ["0", "0.5", "1", "1"]}
    take(
        measured,
        *[
            record(name, 9 + number, None, scan="tests/two.tif", region=region)
            for number, (name, region) in enumerate(regions.items())
        ],
    )
    (process,) = measured.json("curve", "Brickdust 100")["processes"]
    for test in process["tests"]:
        assert test["region"] == [float(part) for part in regions[test["test"]]]
        read = np.array([step["density"] for step in test["steps"][:15]])
        assert np.abs(read - films[test["test"]][:15]).max() < 0.02
    # Another region is measured anew.
    take(measured, record("upper", 9, None, scan="tests/two.tif", region=regions["lower"]))
    (process,) = measured.json("curve", "Brickdust 100")["processes"]
    read = [step["density"] for step in process["tests"][0]["steps"][:15]]
    assert np.abs(np.array(read) - films["lower"][:15]).max() < 0.02


def test_a_strip_too_small_to_be_found_is_found_in_its_region(measured: Bench) -> None:
    path = scan_film(measured, "tests/T-1.tif", on_film(1.0))
    strip = tifffile.imread(path)
    high, wide = strip.shape[:2]
    bed = np.full((high * 4, wide * 10, *strip.shape[2:]), strip[2, 2], dtype=strip.dtype)
    bed[high : 2 * high, wide : 2 * wide] = strip
    path.unlink()
    measured.write("tests/T-1.tif", bed)
    take(measured, record("T-1", 9, None, scan="tests/T-1.tif"))
    (process,) = measured.json("curve", "Brickdust 100")["processes"]
    assert "region" in process["tests"][0]["reason"]
    take(measured, record("T-1", 9, None, scan="tests/T-1.tif", region=[0.1, 0.25, 0.2, 0.5]))
    (process,) = measured.json("curve", "Brickdust 100")["processes"]
    read = [step["density"] for step in process["tests"][0]["steps"][:15]]
    assert np.abs(np.array(read) - on_film(1.0)[:15]).max() < 0.02


@pytest.mark.parametrize(
    ("region", "more", "says"),
    [
        ([0.5, 0, 0.5, 1], {"scan": "a.tif"}, "encloses nothing"),
        ([0, 0, 1], {"scan": "a.tif"}, "region"),
        ([0, 0, 1, 1.2], {"scan": "a.tif"}, "region"),
        ([0, 0, 1, 1], {}, "the test has none"),
    ],
)
def test_a_region_that_makes_no_sense_is_refused(archive: Bench, region, more: dict, says: str) -> None:
    bad = archive.records(
        json.dumps({"film_tests": [record("T-1", 9, None, region=region, **more)]}), "tests.json"
    )
    assert says in archive.run("record", bad, status=2).stderr


def test_what_a_scan_gave_is_kept_until_something_changes(measured: Bench) -> None:
    path = scan_film(measured, "tests/T-1.tif", on_film(1.0))
    take(measured, record("T-1", 9, None, scan="tests/T-1.tif"))
    first = measured.json("curve", "Brickdust 100")
    (kept,) = (measured.archive / "previews" / "film_tests").glob("*.json")
    written = kept.stat().st_mtime_ns
    assert measured.json("curve", "Brickdust 100") == first
    assert kept.stat().st_mtime_ns == written
    # Deleted, it is made again; another scan in the same place is read anew.
    kept.unlink()
    assert measured.json("curve", "Brickdust 100") == first
    path.unlink()
    scan_film(measured, "tests/T-1.tif", on_film(1.3))
    changed = measured.json("curve", "Brickdust 100")["processes"][0]["tests"][0]
    before = first["processes"][0]["tests"][0]
    assert (
        changed["figures"]["average_gradient"]["value"] > 1.2 * before["figures"]["average_gradient"]["value"]
    )


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (lambda bench: (bench.folder / "tests/T-1.tif").unlink(), "put it there"),
        (lambda bench: scan_film(bench, "tests/T-1.tif", on_film(1.0), known=False), "names no scanner"),
        (
            lambda bench: bench.write("tests/T-1.tif", np.full((200, 300), 30000, np.uint16)),
            "type the densities in",
        ),
        (lambda bench: (bench.folder / "tests/T-1.tif").write_bytes(b"II*\x00 nothing"), "T-1.tif"),
    ],
    ids=["away", "scanner unknown", "no steps", "damaged"],
)
def test_a_scan_that_tells_nothing_says_why(measured: Bench, spoil, says: str) -> None:
    scan_film(measured, "tests/T-1.tif", on_film(1.0))
    take(measured, record("T-1", 9, None, scan="tests/T-1.tif"))
    spoil(measured)
    (process,) = measured.json("curve", "Brickdust 100")["processes"]
    assert process["tests"][0]["figures"] is None
    assert says in process["tests"][0]["reason"]


def test_without_a_profile_a_scan_is_not_measured(archive: Bench) -> None:
    scan_film(archive, "tests/T-1.tif", on_film(1.0))
    take(archive, record("T-1", 9, None, scan="tests/T-1.tif"))
    (process,) = archive.json("curve", "Brickdust 100")["processes"]
    assert "negcat calibrate" in process["tests"][0]["reason"]


def test_sheets_give_times_of_their_own(measured: Bench) -> None:
    document = measured.json("curve", "Brickdust 100")
    assert [one["tag"] for one in document["from_sheets"]] == ["N"]
    assert document["from_sheets"][0]["sheets"] == 1
    assert "Times from the sheets" in measured.run("curve", "Brickdust 100").stdout


def test_a_scanned_test_is_learnt_from_and_waits_for_no_sheet(measured: Bench) -> None:
    film = on_film(1.0)
    path = scan_film(measured, "tests/T-1.tif", film)
    before = {scan["path"] for scan in measured.json("pending")["join"]}
    measured.run("ingest", path)
    assert {scan["path"] for scan in measured.json("pending")["join"]} - before == {"tests/T-1.tif"}
    link = measured.folder / "link"
    link.symlink_to(path.parent)
    for written in ("tests/T-1.tif", str(path.absolute()), "./tests/../tests/T-1.tif", str(link / "T-1.tif")):
        take(measured, record("T-1", 9, None, scan=written), record("T-2", 9, film))
        assert {scan["path"] for scan in measured.json("pending")["join"]} == before, written
    with Archive.open(measured.archive, readonly=True) as archive:
        scanned, typed = gather(archive, Query()).season.tests
    assert len(scanned.net_density) >= 15
    assert np.abs(np.array(scanned.net_density[:15]) - np.array(typed.net_density[:15])).max() < 0.03
