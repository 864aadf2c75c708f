"""The steps by which the catalogue's schema came to be what it is.

A step that has been released is never changed: an archive on somebody's disk has taken it as it stood. Each
runs in one transaction together with the note that it was taken.

Three kinds of tables are kept apart. *Records* are what the photographer wrote. *Masters* are the scans and
scanner profiles. *Findings* are what was computed from the two, and may be dropped and computed anew. What
is searched, ``sheet_search`` and ``sheet_counts``, is kept true by triggers whatever changes the tables
it is drawn from.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlite_utils import Migrations
from sqlite_utils.db import ForeignKey

from negcat.catalogue import (
    changes_schema,
    checks_schema,
    door_log_schema,
    film_test_schema,
    printing_schema,
    removing_schema,
    searching_schema,
    tally_schema,
)

if TYPE_CHECKING:
    from sqlite_utils import Database

__all__ = ["migrations"]

migrations = Migrations("negcat")

_TAKEN = {"recorded_at": str, "recorded_via": str}


def _to(
    table: str, column: str, other: str, other_column: str, *, on_delete: str = "NO ACTION"
) -> ForeignKey:
    """Refer to a name; whoever renames it by SQL renames every mention with it."""
    return ForeignKey(table, column, other, other_column, on_delete=on_delete, on_update="CASCADE")


def _of_sheet(table: str) -> list[ForeignKey]:
    return [_to(table, "sheet", "sheets", "sheet", on_delete="CASCADE")]


def _to_cell(table: str, column: str) -> ForeignKey:
    return ForeignKey(
        table,
        None,
        "cells",
        None,
        columns=("lens", column),
        other_columns=("lens", "cell"),
        is_compound=True,
        on_update="CASCADE",
    )


@migrations()
def m001_equipment(db: Database) -> None:
    """Films, shutters, lenses and their cells, scanners, tablets, print targets."""
    db.table("films").create(
        {
            "name": str,
            "box_speed": float,
            "exposure_index": float,
            "lot": str,
            "base_fog": float,
            "channel": str,
            "reciprocity": str,
            **_TAKEN,
        },
        pk="name",
        not_null={"name", "box_speed", "channel"},
    )
    db.table("shutters").create(
        {"name": str, "measured": str, **_TAKEN}, pk="name", not_null={"name", "measured"}
    )
    db.table("lenses").create(
        {"name": str, "shutter": str, **_TAKEN},
        pk="name",
        not_null={"name"},
        foreign_keys=[_to("lenses", "shutter", "shutters", "name")],
    ).create_index(["shutter"])
    db.table("cells").create(
        {
            "lens": str,
            "cell": str,
            "position": int,
            "focal_mm": float,
            "widest_stop": str,
            "widest_f_number": float,
            "mounted": str,
            "own_scale": int,
            "cell_to_stop_mm": float,
            "pupil_ratio": float,
            "scale_error_stops": float,
        },
        pk=("lens", "cell"),
        not_null={"lens", "cell", "position", "focal_mm", "own_scale"},
        foreign_keys=[_to("cells", "lens", "lenses", "name", on_delete="CASCADE")],
    )
    db.table("scanners").create(
        {"name": str, "make": str, "model": str, "software": str, **_TAKEN}, pk="name", not_null={"name"}
    )
    db.table("tablets").create(
        {"name": str, "densities": str, **_TAKEN}, pk="name", not_null={"name", "densities"}
    )
    db.table("print_targets").create(
        {"name": str, "densities": str, "source": str, **_TAKEN}, pk="name", not_null={"name", "densities"}
    )


@migrations()
def m002_sheets(db: Database) -> None:
    """Sheets and their readings, developments, film tests, and the history of all records."""
    db.table("sheets").create(
        {
            "sheet": str,
            "film": str,
            "exposure_index": float,
            "format": str,
            "holder": str,
            "side": str,
            "exposed_at": str,
            "place": str,
            "subject": str,
            "lens": str,
            "cell": str,
            "stop": str,
            "f_number": float,
            "stop_scale": str,
            "time": str,
            "time_s": float,
            "bellows_mm": float,
            "filter": str,
            "filter_factor": float,
            "movements": str,
            "weather": str,
            "tag": str,
            "tag_n": float,
            "meter_iso": float,
            "indicated_stop": str,
            "indicated_f_number": float,
            "indicated_time": str,
            "indicated_time_s": float,
            "print_target": str,
            "base_fog_spot_x": float,
            "base_fog_spot_y": float,
            "base_fog_spot_diameter_mm": float,
            "base_fog_spot_scan": str,
            "location": str,
            "notes": str,
            **_TAKEN,
        },
        pk="sheet",
        not_null={"sheet", "film", "lens", "stop", "f_number", "time", "time_s", "tag", "tag_n", "meter_iso"},
        foreign_keys=[
            _to("sheets", "film", "films", "name"),
            _to("sheets", "lens", "lenses", "name"),
            _to("sheets", "print_target", "print_targets", "name"),
            _to_cell("sheets", "cell"),
            _to_cell("sheets", "stop_scale"),
        ],
    ).create_index(["film"]).create_index(["lens", "cell"]).create_index(["lens", "stop_scale"]).create_index(
        ["print_target"]
    )
    # Ids differ by case only where somebody wants it so; a file name is matched to them case aside.
    db.execute('create index "idx_sheets_sheet_nocase" on "sheets" ("sheet" collate nocase)')
    db.table("readings").create(
        {
            "sheet": str,
            "position": int,
            "name": str,
            "role": str,
            "ev": float,
            "stops_from_placed": float,
            "zone": str,
            "zone_value": float,
            "placed": int,
            "spot_x": float,
            "spot_y": float,
            "spot_diameter_mm": float,
            "spot_scan": str,
        },
        pk=("sheet", "position"),
        not_null={"sheet", "position", "name"},
        foreign_keys=[_to("readings", "sheet", "sheets", "sheet", on_delete="CASCADE")],
    )
    db.table("developments").create(
        {
            "batch": str,
            "date": str,
            "developer": str,
            "dilution": str,
            "temperature_c": float,
            "time": str,
            "time_s": float,
            "method": str,
            "agitation": str,
            "tag": str,
            "tag_n": float,
            "base_fog": float,
            "notes": str,
            **_TAKEN,
        },
        pk="batch",
        not_null={"batch", "developer", "time", "time_s"},
    ).create_index(["developer"])
    db.table("development_sheets").create(
        {"batch": str, "sheet": str, "position": int},
        pk=("batch", "sheet"),
        not_null={"batch", "sheet", "position"},
        foreign_keys=[
            _to("development_sheets", "batch", "developments", "batch", on_delete="CASCADE"),
            _to("development_sheets", "sheet", "sheets", "sheet", on_delete="CASCADE"),
        ],
    ).create_index(["sheet"])
    db.table("film_tests").create(
        {
            "test": str,
            "film": str,
            "tablet": str,
            "developer": str,
            "dilution": str,
            "temperature_c": float,
            "time": str,
            "time_s": float,
            "log_exposure": float,
            "scan": str,
            "densities": str,
            **_TAKEN,
        },
        pk="test",
        not_null={"test", "film", "tablet", "developer", "time", "time_s"},
        foreign_keys=[
            _to("film_tests", "film", "films", "name"),
            _to("film_tests", "tablet", "tablets", "name"),
        ],
    ).create_index(["film"]).create_index(["tablet"])
    db.table("history").create(
        {"id": int, "kind": str, "name": str, "at": str, "via": str, "old": str, "new": str},
        pk="id",
        not_null={"kind", "name", "at", "via", "old", "new"},
    ).create_index(["kind", "name"])


@migrations()
def m003_scans(db: Database) -> None:
    """Masters, where they lie, and scanner profiles."""
    db.table("profiles").create(
        {
            "id": int,
            "scanner": str,
            "tablet": str,
            "channel": str,
            "bits": int,
            "mode": str,
            "made_at": str,
            "scanned_at": str,
            "scanned_at_source": str,
            "densities_sha256": str,
            "settings": str,
            "scan": str,
            "scan_sha256": str,
            "scan_path": str,
            "residual_sd": float,
            "density_min": float,
            "density_max": float,
            "profile": str,
        },
        pk="id",
        not_null={"scanner", "tablet", "channel", "bits", "mode", "made_at", "scanned_at", "profile"},
        foreign_keys=[
            _to("profiles", "scanner", "scanners", "name"),
            _to("profiles", "tablet", "tablets", "name"),
        ],
    ).create_index(["scanner", "bits", "mode", "channel"]).create_index(["scan_sha256"]).create_index(
        ["tablet"]
    )
    db.table("scans").create(
        {
            "scan": str,
            "taken_order": int,
            "sha256": str,
            "path": str,
            "size_bytes": int,
            "modified_ns": int,
            "file_format": str,
            "width": int,
            "height": int,
            "bits": int,
            "mode": str,
            "dpi": float,
            "make": str,
            "model": str,
            "software": str,
            "description": str,
            "taken_at": str,
            "orientation": int,
            "compression": str,
            "lossy": int,
            "pages": int,
            "notes": str,
            "scanner": str,
            "sheet": str,
            "joined_by": str,
            "reason": str,
            "unmeasured": str,
            "calibrated": int,
            "profile": int,
            "channel": str,
            "rebate_density": float,
            "rebate_sd": float,
            "rebate": str,
            "condition": str,
            "added_at": str,
            "checked_at": str,
        },
        pk="scan",
        not_null={
            "scan",
            "taken_order",
            "sha256",
            "path",
            "size_bytes",
            "modified_ns",
            "width",
            "height",
            "bits",
            "added_at",
        },
        foreign_keys=[
            _to("scans", "scanner", "scanners", "name"),
            _to("scans", "sheet", "sheets", "sheet"),
            _to("scans", "profile", "profiles", "id"),
        ],
    ).create_index(["sha256"], unique=True).create_index(["taken_order"], unique=True).create_index(
        ["sheet"]
    ).create_index(["path"]).create_index(["scanner"]).create_index(["profile"])
    db.table("scan_paths").create(
        {"path": str, "scan": str, "size_bytes": int, "modified_ns": int, "seen_at": str},
        pk="path",
        not_null={"path", "scan", "size_bytes", "modified_ns", "seen_at"},
        foreign_keys=[_to("scan_paths", "scan", "scans", "scan", on_delete="CASCADE")],
    ).create_index(["scan"])


@migrations()
def m004_findings(db: Database) -> None:
    """Keep what was computed: the ledger of the exposure, base+fog, the readings as found, the result."""
    db.table("findings").create(
        {
            "sheet": str,
            "scan": str,
            "base_fog": float,
            "base_fog_sd": float,
            "base_fog_source": str,
            "base_fog_more": str,
            "measured_readings": int,
            "provenance": str,
            "computed_at": str,
        },
        pk="sheet",
        not_null={"sheet", "measured_readings", "provenance", "computed_at"},
        foreign_keys=[
            _to("findings", "sheet", "sheets", "sheet", on_delete="CASCADE"),
            _to("findings", "scan", "scans", "scan", on_delete="SET NULL"),
        ],
    ).create_index(["scan"])
    db.table("exposures").create(
        {
            "sheet": str,
            "marked_stop": str,
            "f_number": float,
            "effective_f_number": float,
            "time_s": float,
            "shutter_time_s": float,
            "effective_time_s": float,
            "setting_stops": float,
            "filter_stops": float,
            "bellows_stops": float,
            "cell_stops": float,
            "shutter_stops": float,
            "reciprocity_stops": float,
            "decision_stops": float,
            "more": str,
        },
        pk="sheet",
        not_null={"sheet"},
        foreign_keys=_of_sheet("exposures"),
    )
    db.table("found_readings").create(
        {
            "sheet": str,
            "position": int,
            "name": str,
            "role": str,
            "placed": int,
            "ev": float,
            "planned_zone": float,
            "given_zone": float,
            "planned_print_zone": float,
            "target_density": float,
            "density": float,
            "sd": float,
            "net_density": float,
            "print_zone": float,
            "print_zone_sd": float,
            "error_density": float,
            "error_zones": float,
            "more": str,
        },
        pk=("sheet", "position"),
        not_null={"sheet", "position", "name"},
        foreign_keys=_of_sheet("found_readings"),
    )
    db.table("results").create(
        {
            "sheet": str,
            "exposure_error_stops": float,
            "exposure_error_sd": float,
            "exposure_error_density_sd": float,
            "residual_stops": float,
            "found_n": float,
            "found_n_sd": float,
            "found_n_density_sd": float,
            "planned_n": float,
            "exposure_verdict": str,
            "development_verdict": str,
            "verdict": str,
            "why": str,
            "more": str,
        },
        pk="sheet",
        not_null={"sheet", "verdict", "why"},
        foreign_keys=_of_sheet("results"),
    )
    # What a changed record has made out of date, until it is computed anew: a process killed in between
    # leaves the note behind, and the next one knows.
    db.table("out_of_date").create(
        {"sheet": str, "since": str},
        pk="sheet",
        not_null={"sheet", "since"},
        foreign_keys=_of_sheet("out_of_date"),
    )


@migrations()
def m005_carrying(db: Database) -> None:
    """Keep which scan a sheet's spots were set on, and how that scan lies on the sheet's others."""
    db.table("spot_scans").create(
        {"sheet": str, "scan": str},
        pk="sheet",
        not_null={"sheet", "scan"},
        foreign_keys=[
            *_of_sheet("spot_scans"),
            _to("spot_scans", "scan", "scans", "scan", on_delete="CASCADE"),
        ],
    ).create_index(["scan"])
    db.table("registrations").create(
        {"scan": str, "from_scan": str, "correlation": float, "registration": str, "made_at": str},
        pk=("scan", "from_scan"),
        not_null={"scan", "from_scan", "registration", "made_at"},
        foreign_keys=[
            _to("registrations", "scan", "scans", "scan", on_delete="CASCADE"),
            _to("registrations", "from_scan", "scans", "scan", on_delete="CASCADE"),
        ],
    ).create_index(["from_scan"])


@migrations()
def m006_searching(db: Database) -> None:
    """Keep what is searched and counted, the triggers that keep it true, and the views that are read."""
    searching_schema.create(db)


@migrations()
def m007_changes(db: Database) -> None:
    """Keep in which order sheets were changed; find at once what was checked longest ago."""
    changes_schema.create(db)
    db.execute("create index idx_scans_checked on scans (coalesce(checked_at, added_at), taken_order)")
    db.execute("create index idx_developments_date on developments (date)")
    # With an order of its own a view is read whole to be counted, row by row.
    db.execute("drop view readings_planned_given_found")
    db.execute(searching_schema.READINGS_VIEW.partition("order by")[0])


@migrations()
def m008_reviewing(db: Database) -> None:
    """Keep what was accepted of a review: figures that hold from a day on, and developing times."""
    accepted = {
        "effective_from": str,
        "advice": str,
        "sentence": str,
        "accepted_at": str,
        "accepted_via": str,
    }
    db.table("dated_changes").create(
        {
            "id": int,
            "film": str,
            "lens": str,
            "cell": str,
            "shutter": str,
            "marked_time": str,
            "field": str,
            "before": str,
            "after": str,
            **accepted,
        },
        pk="id",
        not_null={"field", *accepted},
        foreign_keys=[
            _to("dated_changes", "film", "films", "name", on_delete="CASCADE"),
            _to("dated_changes", "shutter", "shutters", "name", on_delete="CASCADE"),
            _to("dated_changes", "lens", "lenses", "name", on_delete="CASCADE"),
        ],
    ).create_index(["film"]).create_index(["lens"]).create_index(["shutter"])
    db.table("advised_times").create(
        {
            "id": int,
            "film": str,
            "developer": str,
            "dilution": str,
            "temperature_c": float,
            "tag": str,
            "tag_n": float,
            "time_s": float,
            "low_s": float,
            "high_s": float,
            "sheets": int,
            **accepted,
        },
        pk="id",
        not_null={"film", "tag", "tag_n", "time_s", "low_s", "high_s", "sheets", *accepted},
        foreign_keys=[_to("advised_times", "film", "films", "name", on_delete="CASCADE")],
    ).create_index(["film"])


@migrations()
def m009_holders(db: Database) -> None:
    """Film holders and what is in them."""
    db.table("holders").create(
        {"holder": str, "format": str, "notes": str, **_TAKEN}, pk="holder", not_null={"holder"}
    )
    db.table("holder_sides").create(
        {"holder": str, "side": str, "position": int, "film": str, "loaded_at": str},
        pk=("holder", "side"),
        not_null={"holder", "side", "position"},
        foreign_keys=[
            _to("holder_sides", "holder", "holders", "holder", on_delete="CASCADE"),
            _to("holder_sides", "film", "films", "name"),
        ],
    ).create_index(["film"])
    db.execute("create index idx_sheets_holder on sheets (holder collate nocase) where holder is not null")


@migrations()
def m010_printing(db: Database) -> None:
    """Keep the density range a negative has for printing; find sheets by it."""
    printing_schema.create(db)


@migrations()
def m011_film_test_regions(db: Database) -> None:
    """Keep where in its scan a film test lies."""
    film_test_schema.create(db)


@migrations()
def m012_removing(db: Database) -> None:
    """Keep removed sheets, so that they can be brought back; find what was changed of a sheet's scans."""
    removing_schema.create(db)


@migrations()
def m013_door_log(db: Database) -> None:
    """Keep what is written through the pages, by whom and from where."""
    door_log_schema.create(db)


@migrations()
def m014_checks(db: Database) -> None:
    """Keep every check that masters are still what was taken."""
    checks_schema.create(db)


@migrations()
def m015_tallies(db: Database) -> None:
    """Keep of each sheet one byte a column, so that any question of a large archive is a few reads."""
    tally_schema.create(db)
