"""What a negative asks of the paper on its own print target and on the others."""

import pytest

from negcat.sensitometry import built_in_target
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


def long_scale() -> tuple[float, ...]:
    target = built_in_target("long-scale")
    return tuple(target.density(zone) for zone in (3.0, 5.0, 7.0))


def test_sheets_that_suit_a_print_target_are_found(bench_of) -> None:
    bench = bench_of(long_scale())
    found = bench.json("find", "--suits", "Long-Scale")
    assert found["count"] == 1
    (sheet,) = found["sheets"]
    assert (sheet["sheet"], sheet["suits"]) == ("BW-01", ["long-scale"])
    asked = bench.json("show", "BW-01")["printing"]["targets"]
    assert sheet["printing_range"] == asked[0]["range"]
    assert [one["target"] for one in asked if one["suits"]] == ["long-scale"]
    said = bench.run("find", "--suits", "long-scale").stdout
    assert "range" in said
    assert f"{sheet['printing_range']:.2f}" in said
    assert bench.json("find", "--suits", "long-scale", "--verdict", "thin")["count"] == 0
    assert bench.json("find", "--suits", "silver, diffusion")["count"] == 0
    assert bench.json("review", "--suits", "long-scale")["chosen"] == {"suits": "long-scale"}
    assert bench.json("review", "--suits", "long-scale")["sheets"] == 1
    assert bench.json("review", "--suits", "silver, diffusion")["sheets"] == 0


def test_others_are_not(measured: Bench) -> None:
    assert measured.json("find", "--suits", "long-scale") == {"count": 0, "sheets": []}
    found = measured.json("find", "--suits", "silver, diffusion")["sheets"]
    assert [one["sheet"] for one in found] == ["BW-01"]
    unmeasured = measured.json("find", "BW-03")["sheets"][0]
    assert (unmeasured["printing_range"], unmeasured["suits"]) == (None, [])


def test_an_own_target_is_asked_for_like_a_built_in_one_and_follows_its_record(measured: Bench) -> None:
    records = measured.folder / "targets.yaml"
    asked = measured.json("show", "BW-01")["printing"]["targets"][0]

    def want(range_: float) -> list[str]:
        records.write_text(
            "print_targets:\n  - name: salted paper\n"
            f"    densities: {{II: 0.2, V: {0.2 + 0.5 * range_:.4f}, VIII: {0.2 + range_:.4f}}}\n"
        )
        measured.run("record", records)
        return [one["sheet"] for one in measured.json("find", "--suits", "salted paper")["sheets"]]

    assert want(asked["range"] * 1.07) == ["BW-01"]
    own = measured.json("show", "BW-01")["printing"]["targets"][-1]
    assert (own["target"], own["suits"]) == ("salted paper", True)
    assert want(asked["range"] * 1.09) == []
    assert want(asked["range"] / 1.09) == []
    assert not measured.json("show", "BW-01")["printing"]["targets"][-1]["suits"]


@pytest.mark.parametrize("command", ["find", "review"])
def test_an_unknown_target_is_refused_with_the_nearest_known(measured: Bench, command: str) -> None:
    refused = measured.run(command, "--suits", "longscale", status=2)
    assert "no print target 'longscale'; the nearest known is 'long-scale'" in refused.stderr
    assert not refused.stdout
