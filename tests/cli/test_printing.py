"""What a negative asks of the paper on its own print target and on the others."""

import pytest

from negcat.sensitometry import built_in_target
from negcat.work.archive import Archive
from negcat.work.printing import suits_long_scale
from tests.cli.conftest import AS_PLANNED, Bench

NAMES = ("kiln mouth", "wall", "sky")


@pytest.fixture
def bench_of(measured: Bench):
    """Measure BW-01 anew on a scan with other densities."""

    def made(net: tuple[float, ...]) -> Bench:
        scan, spots = measured.scan_sheet("scans/BW-01-again.tif", net, seed=3)
        measured.run("ingest", scan)
        words = [f"{name}={x:.5f},{y:.5f}" for name, (x, y) in zip(NAMES, spots, strict=True)]
        measured.run("measure", "BW-01", *[word for spot in words for word in ("--spot", spot)])
        return measured

    return made


def test_a_negative_as_planned_suits_its_own_target(measured: Bench) -> None:
    asked = measured.json("show", "BW-01")["printing"]
    assert (asked["shadow"], asked["highlight"]) == ("kiln mouth", "sky")
    assert asked["density_range"] == pytest.approx(AS_PLANNED[2] - AS_PLANNED[0], abs=0.03)
    assert asked["sd"] > 0.0
    own, *others = asked["targets"]
    assert own["target"] == "silver, diffusion"
    assert own["suits"]
    target = built_in_target()
    assert own["range_wanted"] == pytest.approx(target.density(8.0) - target.density(2.0))
    assert own["iso_r"] == pytest.approx(measured.json("show", "BW-01")["result"]["paper"]["iso_r"])
    assert own["iso_r_sd"] > 0.0
    assert [one["target"] for one in others] == ["silver, condenser", "silver contact", "long-scale"]
    # The condenser spreads the same negative over a longer scale; the long-scale paper wants more of it.
    assert others[0]["iso_r"] > own["iso_r"] > others[1]["iso_r"]
    assert not others[2]["suits"]
    assert others[2]["ratio"] == pytest.approx(1.09 / 1.49, abs=0.04)


def test_the_text_says_it_too(measured: Bench) -> None:
    said = measured.run("show", "BW-01").stdout
    assert "Printing: density range" in said
    assert "long-scale" in said
    assert "too short" in said


def test_a_sheet_without_densities_asks_for_nothing(measured: Bench) -> None:
    assert measured.json("show", "BW-03")["printing"] is None


def test_sheets_that_suit_a_long_scale_are_listed(bench_of) -> None:
    target = built_in_target("long-scale")
    bench = bench_of(tuple(target.density(zone) for zone in (3.0, 5.0, 7.0)))
    with Archive.open(bench.archive, readonly=True) as archive:
        (found,) = suits_long_scale(archive)
    assert found["sheet"] == "BW-01"
    assert found["ratio"] == pytest.approx(1.0, abs=0.05)
    assert bench.json("show", "BW-01")["printing"]["targets"][3]["suits"]


def test_others_are_not(measured: Bench) -> None:
    with Archive.open(measured.archive, readonly=True) as archive:
        assert suits_long_scale(archive) == []
