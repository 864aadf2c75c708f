"""Scanner profiles: kept by the day of the tablet's scan, chosen by the day of the sheet's, replaced, doubted."""

import json
import re

import numpy as np
import pytest
import tifffile
from PIL import Image

from negcat.catalogue import Catalogue
from negcat.densitometry import fit_profile
from negcat.work.calibrate import lost_steps
from tests.cli.conftest import AS_PLANNED, BASE, DENSITIES, PX_PER_MM, RECORDS, Bench
from tests.simulation.scanbench import MASK_DENSITY, Bed, Sheet, Tablet

SCANNER = ("--scanner", "bench scanner", "--tablet", "tablet 21")


def tablet_scan(bench: Bench, name: str, *, bed: Bed | None = None, seed: int = 5, hidden=(), **tags):
    rng = np.random.default_rng(seed)
    density = Tablet(DENSITIES, hidden=hidden, cover=MASK_DENSITY).draw(PX_PER_MM, rng)
    return bench.write(name, (bed or Bed()).codes(10.0**-density, rng, PX_PER_MM), **tags)


def profile_of(bench: Bench, sheet: str = "BW-01") -> dict:
    return bench.json("show", sheet)["scans"][0]["profile"]


@pytest.fixture
def dated(archive: Bench) -> Bench:
    """Two sheets' scans, of April and of June, and no profile yet."""
    sheets = RECORDS.replace("  - batch: B1", "  - batch: B1\n    notes: x")
    archive.run("record", archive.records(sheets))
    for number, month in ((1, "04"), (2, "06")):
        path, spots = archive.scan_sheet(
            f"BW-0{number}.tif", seed=number, taken_at=f"2026:{month}:15 10:00:00"
        )
        archive.run("ingest", path)
        name = ("kiln mouth", "pit wall")[number - 1]
        archive.run("measure", f"BW-0{number}", "--spot", f"{name}={spots[0][0]:.5f},{spots[0][1]:.5f}")
    return archive


def test_the_profile_of_the_scans_day_is_chosen_named_and_only_what_it_holds_for_is_measured(
    dated: Bench,
) -> None:
    june = dated.json("calibrate", tablet_scan(dated, "june.tif", taken_at="2026:06:01 09:00:00"), *SCANNER)
    assert june["measured_again"] == 2, "the only one there is holds for both"
    why = dated.json("show", "BW-01")["result"]["why"]
    assert any(
        "later than the scan" in text and "2026-06-01" in text and "2026-04-15" in text for text in why
    )
    assert not any("later than" in text for text in dated.json("show", "BW-02")["result"]["why"])

    march = dated.json(
        "calibrate", tablet_scan(dated, "march.tif", seed=6, taken_at="2026:03:01 09:00:00"), *SCANNER
    )
    assert march["measured_again"] == 1
    assert profile_of(dated)["scanned_at"] == "2026-03-01T09:00:00"
    assert profile_of(dated, "BW-02")["scanned_at"] == "2026-06-01T09:00:00"
    assert not any("later than" in text for text in dated.json("show", "BW-01")["result"]["why"])
    assert any("another profile" in note for note in march["notes"])

    profile = profile_of(dated)
    assert (profile["scanner"], profile["tablet"], profile["channel"]) == (
        "bench scanner",
        "tablet 21",
        "grey",
    )
    assert profile["residual_sd"] == march["residual_sd"]
    assert profile["density_range"] == march["density_range"]
    assert profile["settings"]["make"] == "Marl"
    assert profile["settings"]["bits"] == 16
    text = dated.run("show", "BW-01").stdout
    assert "Profile of bench scanner: tablet 21, scanned 2026-03-01, grey channel" in text

    again = dated.json("calibrate", dated.folder / "march.tif", *SCANNER)
    assert again["measured_again"] == 0, "the same profile once more changes nothing"
    with Catalogue.open(dated.archive / "negcat.db") as catalogue:
        assert len(catalogue.profiles()) == 2


def test_a_replaced_profile_measures_again_what_used_it(dated: Bench) -> None:
    dated.run("calibrate", tablet_scan(dated, "june.tif", taken_at="2026:06:01 09:00:00"), *SCANNER)
    before = dated.json("show", "BW-02")["readings"][0]["density"]
    # The same day's tablet, as though the scanner had given 3 % more light: densities read 0.013 higher.
    brighter = tablet_scan(dated, "again.tif", bed=Bed(exposure=0.88 * 1.03), taken_at="2026:06:01 15:00:00")
    assert dated.json("calibrate", brighter, *SCANNER)["measured_again"] == 2
    after = dated.json("show", "BW-02")["readings"][0]["density"]
    assert after - before == pytest.approx(np.log10(1.03), abs=0.004)


def test_profiles_of_another_depth_are_kept_beside(dated: Bench) -> None:
    dated.run("calibrate", tablet_scan(dated, "june.tif", taken_at="2026:06:01 09:00:00"), *SCANNER)
    number = profile_of(dated)["number"]
    eight = (Bed(bits=8).codes(10.0 ** -Tablet(DENSITIES).draw(PX_PER_MM, np.random.default_rng(5)),
                               np.random.default_rng(5), PX_PER_MM) // 257).astype(np.uint8)  # fmt: skip
    outcome = dated.json(
        "calibrate", dated.write("eight.tif", eight, taken_at="2026:06:02 09:00:00"), *SCANNER
    )
    assert (outcome["bits"], outcome["measured_again"]) == (8, 0)
    assert profile_of(dated)["number"] == number


def test_a_changed_tablet_says_to_calibrate_again_until_that_is_done(measured: Bench) -> None:
    changed = RECORDS.replace("densities: [0.05,", "densities: [0.06,")
    assert changed != RECORDS
    result = measured.run("record", measured.records(changed, "changed.yaml"))
    assert "calibrate again" in result.stderr
    assert "tablet 21" in result.stderr
    why = measured.json("show", "BW-01")["result"]["why"]
    assert any("other densities" in text for text in why)
    assert any("other densities" in text for text in profile_of(measured)["doubts"])
    assert "other densities" in measured.run("show", "BW-01").stdout
    measured.run("calibrate", measured.scan_tablet(), *SCANNER)
    sheet = measured.json("show", "BW-01")
    assert not any("other densities" in text for text in sheet["result"]["why"])
    assert profile_of(measured)["doubts"] == []
    assert measured.json("record", measured.folder / "changed.yaml")["warnings"] == []


def test_without_a_date_tag_the_files_time_is_the_tablets_date(archive: Bench) -> None:
    import os

    path = archive.scan_tablet()
    os.utime(path, (1_772_000_000, 1_772_000_000))  # 25 February 2026
    assert archive.json("calibrate", path, *SCANNER)["scanned_at"].startswith("2026-02-25")


def test_calibrate_prints_the_fit_and_writes_a_plot(archive: Bench) -> None:
    scan = tablet_scan(archive, "partly.tif", hidden=(7, 8))
    result = archive.run("calibrate", scan, *SCANNER)
    assert re.search(r"steps 8–9 not seen", result.stdout)
    plot = re.search(r"Plot: (.*\.svg)", result.stdout)[1]
    text = (archive.archive / plot).read_text(encoding="utf-8")
    assert text.startswith("<svg")
    for words in ("transmission density", "log10 of the 16-bit code", "fitted − known density", "bench scanner",
                  "tablet 21", "reaches from density"):  # fmt: skip
        assert words in text, words
    assert "http://" not in text.replace("http://www.w3.org/", "")
    # The step's own line, by its number.
    assert re.search(r"(?m)^\s+4\s+0\.50\s", result.stdout)


def test_the_plot_goes_where_it_is_told_to(archive: Bench) -> None:
    scan = archive.scan_tablet()
    png = archive.folder / "fits" / "fit.png"
    outcome = archive.json("calibrate", scan, *SCANNER, "--plot", png)
    assert outcome["plot"] == str(png)
    with Image.open(png) as picture:
        assert picture.size[0] > 1000
        assert len(picture.convert("L").getcolors(1 << 16)) > 20
    archive.run("calibrate", scan, *SCANNER, "--plot", archive.folder / "fit.gif", status=2)
    blocked = archive.folder / "tablet.tif" / "fit.svg"
    result = archive.run("calibrate", scan, *SCANNER, "--plot", blocked, status=1)
    assert "plot can't be written" in result.stderr


def test_lost_steps_are_named_by_their_numbers() -> None:
    light = 0.9 * 10.0**-DENSITIES
    codes = 65535 * light
    codes[:3] = np.nan
    codes[[19, 20]] = 2.0
    profile = fit_profile(codes, DENSITIES, channel="grey", bits=16, mode="grey")
    assert lost_steps(profile, [0, 1, 2]) == "steps 1–3 not seen, 20–21 lost at the dark end"
    codes = 65535 * light
    codes[0] = 65535
    profile = fit_profile(codes, DENSITIES, channel="grey", bits=16, mode="grey")
    assert lost_steps(profile, []) == "step 1 lost at the bright end"
    whole = fit_profile(65535 * light, DENSITIES, channel="grey", bits=16, mode="grey")
    assert lost_steps(whole, []) == ""


# Channels -----------------------------------------------------------------------------------------------------


def colour(bench: Bench, name: str, density: np.ndarray, seed: int, stain: float = 0.0):
    """Scan in colour: blue sees the film's stain, which adds to every density but not to the open glass."""
    rng = np.random.default_rng(seed)
    stained = np.where(density > 0.5 * BASE, density * (1 + stain) + stain, density)
    planes = [Bed().codes(10.0**-seen, rng, PX_PER_MM) for seen in (density, density, stained)]
    path = bench.folder / name
    tifffile.imwrite(
        path,
        np.dstack(planes),
        photometric="rgb",
        resolution=(PX_PER_MM * 25.4, PX_PER_MM * 25.4),
        resolutionunit="INCH",
        metadata=None,
        extratags=[(271, "s", 0, "Marl", True), (272, "s", 0, "Flatbed 4", True)],
    )
    return path


def test_a_film_is_measured_in_its_channel_and_again_where_the_record_names_another(archive: Bench) -> None:
    rng = np.random.default_rng(5)
    archive.run(
        "calibrate", colour(archive, "tablet.tif", Tablet(DENSITIES).draw(PX_PER_MM, rng), 5), *SCANNER
    )
    density, truth = Sheet(base=BASE, patches=AS_PLANNED).draw(PX_PER_MM, np.random.default_rng(1))
    scan = colour(archive, "BW-01.tif", density, 2, stain=0.1)
    archive.run("ingest", scan)
    h, w = density.shape
    x, y = truth["centres"][1]
    archive.run("measure", "BW-01", "--spot", f"wall={x / w:.5f},{y / h:.5f}")
    grey = archive.json("show", "BW-01")
    assert grey["provenance"]["channel"] == "green"
    assert grey["readings"][1]["net_density"] == pytest.approx(0.70, abs=0.02)
    assert "green channel" in archive.run("show", "BW-01").stdout

    film = "films: [{{name: Brickdust 100, box_speed: 100, reciprocity: {{law: power, exponent: 1.3}}{}}}]"
    archive.run("record", archive.records(film.format(", channel: blue"), "film.yaml"))
    stained = archive.json("show", "BW-01")
    assert stained["provenance"]["channel"] == "blue"
    assert stained["readings"][1]["net_density"] == pytest.approx(0.77, abs=0.02)
    assert stained["base_fog"]["density"] == pytest.approx(BASE * 1.1 + 0.1, abs=0.02)

    # With the master away, a density of the wrong channel doesn't stand, and comes back with the master.
    scan.rename(archive.folder / "away.bin")
    grey_again = archive.records(film.format(""), "film.yaml")
    result = archive.run("record", grey_again)
    assert "BW-01" in result.stderr
    away = archive.json("show", "BW-01")
    assert away["result"]["verdict"] == "not measured"
    assert away["readings"][1]["density"] is None
    (archive.folder / "away.bin").rename(scan)
    archive.run("record", grey_again)
    assert archive.json("show", "BW-01")["provenance"]["channel"] == "green"
    assert archive.json("show", "BW-01")["readings"][1]["net_density"] == pytest.approx(0.70, abs=0.02)


def test_findings_keep_no_secret_of_where_they_are_from(measured: Bench) -> None:
    sheet = measured.json("show", "BW-01")
    assert sheet["provenance"]["scanner"] == "bench scanner"
    assert sheet["provenance"]["profile"] == profile_of(measured)["number"]
    assert json.dumps(sheet)


def test_measuring_reads_the_master_again(measured: Bench) -> None:
    before = measured.json("show", "BW-01")["base_fog"]
    with Catalogue.open(measured.archive / "negcat.db") as catalogue:
        (row,) = catalogue.scans()
        wrong = {**row["rebate"], "density": 0.9}
        catalogue.save_scan({"sha256": row["sha256"], "rebate": wrong, "rebate_density": 0.9})
    measured.run("measure", "BW-01")
    after = measured.json("show", "BW-01")
    assert after["base_fog"] == before
    assert after["scans"][0]["rebate"]["density"] == before["density"]


def test_a_note_on_the_scan_is_shown_with_what_it_costs(measured: Bench) -> None:
    rng = np.random.default_rng(4)
    density = Sheet(base=BASE, patches=AS_PLANNED).draw(PX_PER_MM, rng)[0]
    positive = 65535 - Bed().codes(10.0**-density, rng, PX_PER_MM)
    measured.run("ingest", measured.write("BW-03.tif", positive))
    text = " ".join(measured.run("show", "BW-03").stdout.split())
    assert "Not measured: it is a positive" in text
    assert "The scan is a positive (inverted): a density can't be had from it." in text
