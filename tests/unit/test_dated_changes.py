"""A sheet is computed with what was believed when it was made, whatever was accepted later."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from negcat.catalogue import DatedChange
from negcat.reciprocity import NoLaw, PowerLaw
from negcat.records import Sheet
from negcat.work.archive import Archive
from negcat.work.planning import Equipment
from negcat.work.taking import take_record_data

RECORDS = {
    "films": [{"name": "Marl 400", "box_speed": 400, "reciprocity": {"law": "power", "exponent": 1.3}}],
    "shutters": [{"name": "No. 3", "measured": {"1/15": 0.08}}],
    "lenses": [
        {"name": "Haldane", "shutter": "No. 3", "cells": [{"cell": "whole", "focal_mm": 240}]},
    ],
}


def sheet(exposed_at: str | None, **more: object) -> dict[str, object]:
    record: dict[str, object] = {
        "sheet": "BW-01",
        "film": "Marl 400",
        "lens": "Haldane",
        "stop": "16",
        "time": "1/15",
        "readings": [{"name": "soot", "role": "shadow", "ev": 10.0, "zone": "III"}],
        **more,
    }
    return {**record, "exposed_at": exposed_at} if exposed_at else record


@pytest.fixture
def archive(tmp_path: Path) -> Iterator[Archive]:
    with Archive.create(tmp_path) as made:
        take_record_data(made, RECORDS, via="test")
        yield made


def keep(archive: Archive, **change: object) -> None:
    archive.catalogue.keep_change(DatedChange(**change), "test")  # type: ignore[arg-type]


def made(archive: Archive, exposed_at: str | None, **more: object) -> Sheet:
    """Record the sheet, and give it back."""
    take_record_data(archive, {"sheets": [sheet(exposed_at, **more)]}, via="test")
    found = archive.catalogue.sheet("BW-01")
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("exposed_at", "index"),
    [
        ("2026-05-01", 320),
        ("2026-05-09T08:00", 320),
        ("2026-05-09T10:00", 250),
        ("2026-05-10", 250),
        ("2026-04-01", 400),
    ],
)
def test_the_index_is_that_of_the_day(archive: Archive, exposed_at: str, index: float) -> None:
    film = {**RECORDS["films"][0], "exposure_index": 250}
    take_record_data(archive, {"films": [film]}, via="test")
    keep(
        archive, film="Marl 400", field="exposure_index", before=None, after=320, effective_from="2026-04-20"
    )
    keep(
        archive,
        film="Marl 400",
        field="exposure_index",
        before=320,
        after=250,
        effective_from="2026-05-09T09:00",
    )
    record = made(archive, exposed_at)
    assert Equipment(archive.catalogue).exposure_index(record) == index
    assert Equipment(archive.catalogue, as_now=True).exposure_index(record) == 250


@pytest.mark.parametrize(
    ("exposed_at", "index"), [("2026-03-01", 400), ("2026-04-15", 250), ("2026-06-01", 250)]
)
def test_what_is_accepted_last_rules_from_its_day_on(archive: Archive, exposed_at: str, index: float) -> None:
    film = {**RECORDS["films"][0], "exposure_index": 250}
    take_record_data(archive, {"films": [film]}, via="test")
    keep(
        archive, film="Marl 400", field="exposure_index", before=None, after=320, effective_from="2026-05-01"
    )
    keep(archive, film="Marl 400", field="exposure_index", before=320, after=250, effective_from="2026-04-01")
    assert Equipment(archive.catalogue).exposure_index(made(archive, exposed_at)) == index


def test_a_sheets_own_index_stands(archive: Archive) -> None:
    keep(
        archive, film="Marl 400", field="exposure_index", before=None, after=250, effective_from="2026-05-09"
    )
    assert Equipment(archive.catalogue).exposure_index(made(archive, "2026-05-01", exposure_index=200)) == 200


def test_cell_shutter_and_law_are_those_of_the_day(archive: Archive) -> None:
    keep(
        archive,
        lens="Haldane",
        cell="whole",
        field="scale_error_stops",
        before=-0.5,
        after=0.0,
        effective_from="2026-05-09",
    )
    keep(
        archive,
        shutter="No. 3",
        marked_time="1/15",
        field="measured",
        before=None,
        after=0.08,
        effective_from="2026-05-09",
    )
    keep(
        archive,
        film="Marl 400",
        field="reciprocity",
        before=None,
        after={"law": "power"},
        effective_from="2026-05-09",
    )
    then = Equipment(archive.catalogue).expose(made(archive, "2026-05-01"))
    assert (then.cell_scale_stops, then.shutter_time_s) == (-0.5, 0.0625)
    assert then.setting.reciprocity == NoLaw()
    later = Equipment(archive.catalogue).expose(made(archive, "2026-05-09"))
    assert (later.cell_scale_stops, later.shutter_time_s) == (0.0, 0.08)
    assert later.setting.reciprocity == PowerLaw(1.3)


def test_a_sheet_without_a_date_goes_by_when_it_was_recorded(archive: Archive) -> None:
    record = made(archive, None)
    keep(archive, film="Marl 400", field="exposure_index", before=100, after=250, effective_from="2020-01-01")
    equipment = Equipment(archive.catalogue)
    assert equipment.exposure_index(record) == 100
    not_recorded_yet = Sheet.model_validate({**sheet(None), "sheet": "BW-02"})
    assert equipment.exposure_index(not_recorded_yet) == 400


def test_changes_of_other_things_change_nothing(archive: Archive) -> None:
    take_record_data(archive, {"films": [{"name": "Sorrel 100", "box_speed": 100}]}, via="test")
    keep(archive, film="Sorrel 100", field="exposure_index", before=50, after=80, effective_from="2099-01-01")
    keep(
        archive,
        shutter="No. 3",
        marked_time="1/30",
        field="measured",
        before=None,
        after=0.03,
        effective_from="2099-01-01",
    )
    record = made(archive, "2026-05-01")
    assert Equipment(archive.catalogue).later_changes(record) == ()
    keep(
        archive,
        shutter="No. 3",
        marked_time="1/15",
        field="measured",
        before=None,
        after=0.07,
        effective_from="2099-01-01",
    )
    assert Equipment(archive.catalogue).later_changes(record) == (2,)
