"""Scans, profiles and what was computed of them."""

from collections.abc import Iterator
from typing import Any
from unittest.mock import Mock

import pytest

from negcat.catalogue import Catalogue, Findings
from negcat.errors import ArchiveError, UnknownNameError
from negcat.work.scanned import by_day, holding
from tests.unit.catalogue.conftest import RECORDS, records, scan

FINDINGS = Findings(
    sheet="BW-01",
    exposure={"marked_stop": "22½", "f_number": 26.9, "decision_stops": 0.25, "lines": [["filter", -1.0]]},
    base_fog={"density": 0.14, "sd": 0.01, "source": "rebate", "words": "the scan's rebate"},
    readings=[
        {"name": "soot", "role": "shadow", "placed": True, "density": 0.4, "sd": 0.01, "lost": False},
        {"name": "sky", "role": "highlight", "placed": False, "density": None, "bound": "denser"},
    ],
    result={"verdict": "thin", "exposure_error_stops": -0.5, "why": ["So it is."], "version": 1},
    scan="a" * 12,
    provenance={"profile": 1, "print_target": "salt"},
)


@pytest.fixture
def scanned(catalogue: Catalogue) -> Iterator[Catalogue]:
    catalogue.save_scan(scan("a", description=["BW-01"], lossy=False, condition={"positive": None}))
    catalogue.join_scan("a" * 12, "BW-01", joined_by="its file name")
    yield catalogue
    assert catalogue.faults() == []


def test_a_scan_comes_back(scanned: Catalogue) -> None:
    row = scanned.scan("A" * 12)
    assert row is not None
    assert (row["description"], row["lossy"], row["condition"], row["calibrated"]) == (
        ["BW-01"],
        False,
        {"positive": None},
        None,
    )
    assert scanned.scan_by_sha256("a" * 64) == row == scanned.scan_at("scans/a.tif") == scanned.scan("a" * 64)
    assert scanned.scan("a" * 7) == row
    assert scanned.scan("b" * 12) is scanned.scan("nothing") is scanned.scan("a" * 12 + "b") is None
    scanned.save_scan({**scan("a"), "sha256": "a" * 8 + "b" * 56})
    assert scanned.scan("a" * 8) is None, "two begin so"


def test_the_same_master_is_not_new_wherever_it_lies(scanned: Catalogue) -> None:
    assert scanned.save_scan(scan("a", path="/elsewhere/copy.tif")) is False
    row = scanned.scan("a" * 12)
    assert row is not None
    assert (row["path"], row["sheet"]) == ("scans/a.tif", "BW-01")
    assert [found["path"] for found in scanned.paths_of("a" * 12)] == ["scans/a.tif", "/elsewhere/copy.tif"]
    scanned.move_scan("a" * 12, "new/a.tif", size_bytes=100, modified_ns=2)
    moved = scanned.scan_at("new/a.tif")
    assert moved is not None
    assert (moved["path"], moved["modified_ns"]) == ("new/a.tif", 2)
    assert scanned.save_scan({"sha256": "a" * 64, "unmeasured": "too dark"}) is False
    assert scanned.scan_at("new/a.tif") == {**moved, "unmeasured": "too dark"}


def test_what_cant_be_kept(scanned: Catalogue) -> None:
    with pytest.raises(ArchiveError, match="twelve digits"):
        scanned.save_scan({**scan("b"), "sha256": "a" * 12 + "b" * 52})
    with pytest.raises(UnknownNameError, match="colour"):
        scanned.save_scan(scan("b", colour="red"))
    with pytest.raises(UnknownNameError, match="BW-99"):
        scanned.join_scan("a" * 12, "BW-99", joined_by="by hand")
    with pytest.raises(UnknownNameError, match="no scan"):
        scanned.join_scan("f" * 12, "BW-01", joined_by="by hand")
    with pytest.raises(ArchiveError, match="refers to 'no such'"):
        scanned.save_scan(scan("c", scanner="no such"))


def test_joining_makes_both_sheets_out_of_date(scanned: Catalogue) -> None:
    scanned.database.execute("delete from out_of_date")
    scanned.join_scan("a" * 12, "BW-02", joined_by="by hand")
    assert set(scanned.out_of_date()) == {"BW-01", "BW-02"}
    scanned.save_findings(Findings("BW-01"), Findings("BW-02"))
    assert scanned.out_of_date() == []


def test_scans_of_a_sheet_measured_first_then_newest(scanned: Catalogue) -> None:
    for digit in "bc":
        scanned.save_scan(scan(digit))
        scanned.join_scan(digit * 12, "BW-01", joined_by="by hand")
    assert [row["scan"][0] for row in scanned.scans_of("BW-01")] == ["c", "b", "a"]
    scanned.save_findings(FINDINGS)
    assert [row["scan"][0] for row in scanned.scans_of("BW-01")] == ["a", "c", "b"]


def test_findings_come_back_and_are_replaced_whole(scanned: Catalogue) -> None:
    assert scanned.findings("BW-01") is None
    record = scanned.sheet("BW-01")
    scanned.save_findings(FINDINGS)
    found = scanned.findings("BW-01")
    assert found is not None
    assert found.exposure is not None
    assert found.result is not None
    assert {name: value for name, value in found.exposure.items() if value is not None} == FINDINGS.exposure
    assert {name: value for name, value in found.result.items() if value is not None} == FINDINGS.result
    assert (found.base_fog, found.scan, found.provenance) == (
        FINDINGS.base_fog,
        FINDINGS.scan,
        FINDINGS.provenance,
    )
    assert [{k: v for k, v in reading.items() if v is not None} for reading in found.readings] == [
        {k: v for k, v in reading.items() if v is not None} for reading in FINDINGS.readings
    ]
    assert scanned.value("select verdict from sheets_at_a_glance where sheet = 'BW-01'") == "thin"
    assert scanned.value("select count(*) from readings_planned_given_found") == 2
    scanned.save_findings(Findings("BW-01", readings=FINDINGS.readings[:1]))
    again = scanned.findings("BW-01")
    assert again is not None
    assert (again.exposure, again.base_fog, again.result, len(again.readings)) == (None, None, None, 1)
    assert scanned.value("select verdict from sheets_at_a_glance where sheet = 'BW-01'") == "not measured"
    assert scanned.sheet("BW-01") == record, "what is computed never touches what is recorded"


def profile(**columns: Any) -> dict[str, Any]:
    return {
        "scanner": "the flatbed",
        "tablet": "tablet 21",
        "channel": "grey",
        "bits": 16,
        "mode": "grey",
        "profile": {"codes": [1.0, 0.5]},
        "scan_sha256": "e" * 64,
        **columns,
    }


def test_the_newest_profile_is_used_and_the_older_kept(catalogue: Catalogue) -> None:
    first = catalogue.save_profile(profile())
    assert catalogue.save_profile(profile()) == first
    second = catalogue.save_profile(profile(profile={"codes": [1.0, 0.6]}))
    catalogue.save_profile(profile(bits=8))
    used = catalogue.profile_for("the flatbed", 16, "grey", "grey")
    assert used is not None
    assert (used["id"], used["profile"]) == (second, {"codes": [1.0, 0.6]})
    older = catalogue.profile(first)
    assert older is not None
    assert older["profile"] == {"codes": [1.0, 0.5]}
    assert catalogue.profile_for("the flatbed", 16, "rgb", "green") is None
    assert len(catalogue.profiles()) == 3


def test_the_median_of_a_batch(catalogue: Catalogue) -> None:
    batch = {
        "batch": "D-03",
        "date": "2026-08-01",
        "developer": "Metol",
        "time": "9m",
        "sheets": ["BW-01", "BW-02", "BW-03", "BW-04"],
    }
    catalogue.take([records(developments=[batch])], "x")
    assert catalogue.batch_base_fog("D-03") is None
    for digit, name, density in (("a", "BW-01", 0.13), ("b", "BW-02", 0.15), ("c", "BW-03", 0.30)):
        catalogue.save_scan(scan(digit, rebate_density=density, rebate_sd=0.01))
        catalogue.join_scan(digit * 12, name, joined_by="by hand")
    of_all = catalogue.batch_base_fog("D-03")
    of_film = catalogue.batch_base_fog("D-03", film="Kiln 100")
    without = catalogue.batch_base_fog("D-03", film="Kiln 100", without="BW-02")
    assert of_all is not None
    assert of_film is not None
    assert (of_all["density"], of_all["sheets"]) == (0.15, 3)
    # Spread 1.4826·0.01 over two sheets, 1.2533/√2 of it: 0.0131.
    assert (of_film["density"], of_film["sd"]) == (pytest.approx(0.14), pytest.approx(0.01314, abs=1e-5))
    assert without == {"density": 0.13, "sd": 0.01, "sheets": 1}
    assert catalogue.sheets_borrowing_base_fog(["BW-01"]) == [], "none was computed yet"
    catalogue.save_findings(
        Findings("BW-01", base_fog={"density": 0.1, "sd": 0.1, "source": "rebate"}),
        Findings("BW-02", base_fog={"density": 0.1, "sd": 0.1, "source": "film"}),
        Findings("BW-03"),
        Findings("BW-04"),
    )
    assert catalogue.sheets_borrowing_base_fog(["BW-01"]) == ["BW-02", "BW-03"]
    catalogue.take([records(developments=[{**batch, "base_fog": "0.2"}])], "x")
    assert catalogue.sheets_borrowing_base_fog(["BW-03"]) == []


def test_what_waits(catalogue: Catalogue) -> None:
    more = {**RECORDS["sheets"][3], "sheet": "BW-05", "tag": "N-1"}
    catalogue.take([records(sheets=[more])], "x")
    catalogue.save_profile(profile(scan_sha256="e" * 64))
    catalogue.save_scan(scan("e"))
    catalogue.save_scan(scan("d", reason="it names no sheet"))
    for digit, name in (("a", "BW-01"), ("b", "BW-02")):
        catalogue.save_scan(scan(digit, scanner="the flatbed"))
        catalogue.join_scan(digit * 12, name, joined_by="by hand")
    catalogue.save_findings(FINDINGS)
    waiting = catalogue.pending()
    assert waiting["develop"] == [
        {"film": "Clinker 400", "tag": "N-1", "count": 1, "sheets": ["BW-05"]},
        {"film": "Clinker 400", "tag": "N+1", "count": 1, "sheets": ["BW-04"]},
    ]
    assert [(row["sheet"], row["batch"], row["developer"]) for row in waiting["scan"]] == [
        ("BW-03", "D-02", "Metol")
    ]
    assert [(row["scan"][0], row["reason"]) for row in waiting["join"]] == [("d", "it names no sheet")]
    assert [(row["sheet"], row["scan"][0], row["reason"]) for row in waiting["measure"]] == [
        ("BW-02", "b", "its record has no readings")
    ]
    catalogue.save_scan({"sha256": "b" * 64, "unmeasured": "it is a positive"})
    assert catalogue.to_measure()[0]["reason"] == "it is a positive"
    catalogue.save_findings(Findings("BW-01"))
    assert [row["sheet"] for row in catalogue.to_measure()] == ["BW-01", "BW-02"]
    catalogue.join_scan("a" * 12, None, joined_by=None, reason="parted")
    assert [row["sheet"] for row in catalogue.to_scan()] == ["BW-01", "BW-03"]


def test_the_profile_of_a_day_is_the_newest_by_then_else_the_oldest_after_it(catalogue: Catalogue) -> None:
    march = catalogue.save_profile(profile(scanned_at="2026-03-01T10:00:00", profile={"codes": [1]}))
    june = catalogue.save_profile(profile(scanned_at="2026-06-01T10:00:00", profile={"codes": [2]}))
    again = catalogue.save_profile(profile(scanned_at="2026-06-01T09:00:00", profile={"codes": [3]}))
    april = catalogue.save_profile(profile(scanned_at="2026-04-01T10:00:00", profile={"codes": [4]}))
    chosen = {
        day: (catalogue.profile_for("the flatbed", 16, "grey", "grey", on=day) or {})["id"]
        for day in ("2026-01-01", "2026-03-01T08:00:00", "2026-05-31", "2026-06-01T07:00", "2027-01-01")
    }
    assert list(chosen.values()) == [march, march, april, again, again]
    held = by_day(Mock(number=row["id"], fitted=Mock(**row), **row) for row in catalogue.profiles())
    for day, number in chosen.items():
        found = holding(held, "the flatbed", 16, "grey", "grey", day)
        assert found is not None
        assert found.number == number, "where no catalogue is at hand, too"
    assert holding(held, "the flatbed", 16, "rgb", "green", "2027-01-01") is None
    used = catalogue.profile_for("the flatbed", 16, "grey", "grey")
    assert used is not None
    assert used["id"] == again, "whenever: the newest"
    assert catalogue.profile(june) is not None
    assert catalogue.save_profile(profile(scanned_at="2026-04-01T11:00:00", profile={"codes": [4]})) == april


def test_a_batch_counts_the_rebates_of_one_channel_only(catalogue: Catalogue) -> None:
    batch = {"batch": "B9", "developer": "slip", "time": "9m", "sheets": ["BW-01", "BW-02"]}
    catalogue.take([records(developments=[batch])], "x")
    for digit, sheet, channel, density in (("a", "BW-01", "grey", 0.2), ("b", "BW-02", "blue", 0.4)):
        catalogue.save_scan(scan(digit, channel=channel, rebate_density=density, rebate_sd=0.01))
        catalogue.join_scan(digit * 12, sheet, joined_by="by hand")
    for channel, density in (("grey", 0.2), ("blue", 0.4)):
        median = catalogue.batch_base_fog("B9", channel=channel)
        assert median is not None
        assert (median["density"], median["sheets"]) == (density, 1)
    assert catalogue.batch_base_fog("B9", channel="red") is None


def test_a_changed_tablet_makes_what_was_measured_through_it_out_of_date(scanned: Catalogue) -> None:
    number = scanned.save_profile(profile())
    scanned.save_scan({"sha256": "a" * 64, "profile": number})
    scanned.save_findings(Findings("BW-01"), Findings("BW-02"))
    changed = {"name": "tablet 21", "densities": ["0.1", "0.3", "0.5", "0.7", "0.9"]}
    assert scanned.take([records(tablets=[changed])], "x").changed_sheets == {"BW-01"}


def test_spots_know_their_scan_and_scans_how_they_lie_on_each_other(scanned: Catalogue) -> None:
    scanned.save_scan(scan("b"))
    assert scanned.spot_scan("BW-01") is None
    scanned.save_spot_scan("BW-01", "a" * 12)
    assert scanned.spot_scan("BW-01") == "a" * 12
    scanned.join_scan("a" * 12, "BW-02", joined_by="by hand")
    assert scanned.spot_scan("BW-01") is None, "it is another sheet's now"
    assert scanned.registration("b" * 12, "a" * 12) is None
    for correlation in (0.4, 0.9):
        scanned.save_registration("b" * 12, "a" * 12, {"correlation": correlation, "turn": 180})
    assert scanned.registration("b" * 12, "a" * 12) == {"correlation": 0.9, "turn": 180}
    assert scanned.registration("a" * 12, "b" * 12) is None
