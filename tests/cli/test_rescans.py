"""A sheet scanned again: its spots are carried over, measured, and marked until somebody has looked."""

import numpy as np
import pytest

from tests.cli.conftest import AS_PLANNED, BASE, PX_PER_MM, Bench
from tests.simulation.scanbench import Bed, Sheet


def negative(**fields) -> np.ndarray:
    """Draw the sheet that `Bench.scan_sheet` scans, in density."""
    return Sheet(base=BASE, patches=AS_PLANNED, **fields).draw(PX_PER_MM, np.random.default_rng(1))[0]


def rescan(bench: Bench, density: np.ndarray, name: str = "again/BW-01.tif", seed: int = 9, **tags):
    codes = Bed().codes(10.0**-density, np.random.default_rng(seed), PX_PER_MM)
    return bench.write(name, codes, **tags)


def spots(sheet: dict) -> list[tuple[float, float]]:
    return [(reading["spot"]["x"], reading["spot"]["y"]) for reading in sheet["readings"]]


def nets(sheet: dict) -> list[float]:
    return [reading["net_density"] for reading in sheet["readings"]]


def test_spots_stand_on_the_scan_they_were_set_on(measured: Bench) -> None:
    sheet = measured.json("show", "BW-01")
    assert {reading["spot_status"] for reading in sheet["readings"]} == {"set"}
    assert {reading["spot"]["scan"] for reading in sheet["readings"]} == {sheet["scans"][0]["scan"]}


TURNS = {
    "moved": (lambda d: d[7:, 12:], lambda x, y, w, h: ((x * w - 12) / (w - 12), (y * h - 7) / (h - 7)), ""),
    "upside down": (lambda d: d[::-1, ::-1], lambda x, y, w, h: (1 - x, 1 - y), "turned by 180°"),
    "on its side": (lambda d: np.rot90(d, -1), lambda x, y, w, h: (1 - y, x), "turned by 90°"),
    "from the other side": (lambda d: d[:, ::-1], lambda x, y, w, h: (1 - x, y), "mirrored"),
    "twice as fine": (lambda d: np.kron(d, np.ones((2, 2))), lambda x, y, w, h: (x, y), "the same way round"),
}  # fmt: skip


@pytest.mark.parametrize("turn", TURNS.values(), ids=TURNS.keys())
def test_a_rescan_carries_the_spots_over(measured: Bench, turn) -> None:
    turned, place, words = turn
    before = measured.json("show", "BW-01")
    whole = negative()
    h, w = whole.shape
    scan = rescan(measured, turned(whole), fine=2 if words == "the same way round" else 1)
    (item,) = measured.json("ingest", scan)["items"]
    assert (item["sheet"], item["measured"]) == ("BW-01", True)
    after = measured.json("show", "BW-01")
    assert after["scans"][0]["scan"] == item["scan"]
    for (x, y), old, now, was in zip(spots(after), spots(before), nets(after), nets(before), strict=True):
        wanted = place(*old, w, h)
        assert (x, y) == pytest.approx(wanted, abs=0.004)
        assert now == pytest.approx(was, abs=0.02)
    assert {reading["spot_status"] for reading in after["readings"]} == {"carried"}
    assert {reading["spot"]["scan"] for reading in after["readings"]} == {item["scan"]}
    said = " ".join(after["result"]["why"])
    assert "correlation 0." in said or "correlation 1." in said
    assert words in said
    assert "--confirm" in said
    # The scan that isn't measured any more says so.
    assert f"scan {item['scan']}" in after["scans"][1]["unmeasured"]


def test_confirming_sets_the_carried_spots_where_they_lie(measured: Bench) -> None:
    before = measured.json("show", "BW-01")
    measured.run("ingest", rescan(measured, negative()[::-1, ::-1]))
    carried = measured.json("show", "BW-01")
    measured.run("measure", "BW-01", "--confirm")
    after = measured.json("show", "BW-01")
    assert {reading["spot_status"] for reading in after["readings"]} == {"set"}
    assert spots(after) == spots(carried)
    assert nets(after) == pytest.approx(nets(carried), abs=1e-9)
    assert "Carried" not in " ".join(after["result"]["why"])
    # What the record said before is kept.
    assert after["history"][0]["via"] == "measure"
    was = [(r["spot"]["x"], r["spot"]["y"]) for r in after["history"][0]["old"]["readings"]]
    assert was == spots(before)


def test_a_spot_that_is_set_anew_is_set_and_the_others_stay_carried(measured: Bench) -> None:
    measured.run("ingest", rescan(measured, negative()[::-1, ::-1]))
    carried = measured.json("show", "BW-01")
    x, y = spots(carried)[1]
    measured.run("measure", "BW-01", "--spot", f"wall={x},{y}")
    after = measured.json("show", "BW-01")
    assert [reading["spot_status"] for reading in after["readings"]] == ["carried", "set", "carried"]
    assert np.allclose(spots(after), spots(carried), atol=1e-6)
    (sentence,) = [text for text in after["result"]["why"] if "Carried over" in text]
    assert "'wall'" not in sentence


def test_spots_of_a_record_belong_to_the_first_scan(measured: Bench) -> None:
    """Spots that a record file brings carry no scan, and stay where they are when a rescan comes."""
    before = measured.json("show", "BW-01")
    record = "\n".join(
        ["sheets:", "  - sheet: BW-02", "    film: Brickdust 100", "    format: 4x5", "    lens: Aldwater",
         "    cell: rear", "    stop: 22", "    time: 1/4", "    readings:"]
        + [f"      - {{name: {r['name']}, role: {r['role']}, ev: {r['ev']}, "
           + ("zone: III, " if r["placed"] else "")
           + f"spot: {{x: {r['spot']['x']}, y: {r['spot']['y']}}}}}" for r in before["readings"]]
    )  # fmt: skip
    measured.run("record", measured.records(record, "two.yaml"))
    measured.run("ingest", rescan(measured, negative(), "BW-02.tif", seed=1))
    first = measured.json("show", "BW-02")
    measured.run("ingest", rescan(measured, np.rot90(negative()), "again/BW-02.tif"))
    again = measured.json("show", "BW-02")
    assert {reading["spot_status"] for reading in first["readings"]} == {"set"}
    assert {reading["spot_status"] for reading in again["readings"]} == {"carried"}
    assert nets(again) == pytest.approx(nets(first), abs=0.02)
    assert measured.json("record", measured.folder / "two.yaml")["unchanged"] == {"sheets": 1}


def test_the_first_scan_written_over_by_the_second_still_carries(measured: Bench) -> None:
    before = measured.json("show", "BW-01")
    measured.run("ingest", rescan(measured, negative()[::-1, ::-1], "scans/BW-01.tif"))
    after = measured.json("show", "BW-01")
    assert {reading["spot_status"] for reading in after["readings"]} == {"carried"}
    assert nets(after) == pytest.approx(nets(before), abs=0.02)


def test_a_rescan_without_frame_is_laid_on_by_its_picture(measured: Bench) -> None:
    before = measured.json("show", "BW-01")
    whole = negative()
    edge = round(11 * PX_PER_MM)
    cropped = whole[edge:-edge, edge:-edge]
    measured.run("ingest", rescan(measured, cropped[::-1, ::-1]))
    after = measured.json("show", "BW-01")
    assert after["scans"][0]["frame"]["found"] is False
    assert [reading["density"] for reading in after["readings"]] == pytest.approx(
        [reading["density"] for reading in before["readings"]], abs=0.02
    )


def test_another_picture_gets_no_density_and_says_why(measured: Bench) -> None:
    other = Sheet(base=BASE, patches=AS_PLANNED).draw(PX_PER_MM, np.random.default_rng(77))[0]
    measured.run("ingest", rescan(measured, other))
    after = measured.json("show", "BW-01")
    assert [reading["density"] for reading in after["readings"]] == [None] * 3
    assert [reading["spot"] for reading in after["readings"]] == [None] * 3
    assert "can't be carried over" in after["readings"][0]["note"]
    assert after["result"]["verdict"] == "not measured"
    assert any("can't be carried over" in sentence for sentence in after["result"]["why"])


def test_a_spot_outside_the_rescan_has_no_density(measured: Bench) -> None:
    x, _ = spots(measured.json("show", "BW-01"))[0]
    whole = negative()
    cut = round((x + 0.03) * whole.shape[1])
    measured.run("ingest", rescan(measured, whole[:, cut:]))
    after = measured.json("show", "BW-01")
    assert after["readings"][0]["density"] is None
    assert "outside" in after["readings"][0]["note"]
    assert after["readings"][2]["spot_status"] == "carried"


def test_a_spot_on_a_scan_that_isnt_there_has_no_density(measured: Bench) -> None:
    record = """\
sheets:
  - sheet: BW-01
    film: Brickdust 100
    format: 4x5
    lens: Aldwater
    cell: whole
    stop: 16
    time: 1/4
    readings:
      - {name: wall, ev: 11, zone: V, placed: true, spot: {x: 0.5, y: 0.5, scan: 00aa11bb22cc}}
"""
    measured.run("record", measured.records(record, "elsewhere.yaml"))
    (reading,) = measured.json("show", "BW-01")["readings"]
    assert reading["density"] is None
    assert "no scan 00aa11bb22cc" in reading["note"]
    fault = record.replace("00aa11bb22cc", "scan 3")
    result = measured.run("record", measured.records(fault, "fault.yaml"), status=2)
    assert "'scan 3' is no scan's id" in result.stderr


def test_measuring_prints_which_spots_are_carried(measured: Bench) -> None:
    measured.run("ingest", rescan(measured, negative()[::-1, ::-1]))
    assert measured.run("measure", "BW-01").stdout.count("carried over: check it") == 3
    assert "carried" not in measured.run("measure", "BW-01", "--confirm").stdout
    measured.run("measure", "--confirm", status=2)


def test_spots_of_a_sheet_that_cant_be_measured_name_their_scan(archive: Bench) -> None:
    path, (place, *_) = archive.scan_sheet("BW-01.tif", known=False)
    archive.run("ingest", path)
    archive.run("measure", "BW-01", "--spot", f"wall={place[0]:.4f},{place[1]:.4f}")
    sheet = archive.json("show", "BW-01")
    assert sheet["readings"][1]["spot"]["scan"] == sheet["scans"][0]["scan"]
    assert sheet["readings"][1]["density"] is None
