"""What every table and column of the catalogue holds, in which unit, for whoever reads it by plain SQL."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from negcat.catalogue.rows import KINDS, Kept
from negcat.records import Cell, HolderSide, Reading, Spot

__all__ = ["describe"]

_TABLES = {
    "films": "Films, as recorded.",
    "shutters": "Shutters and the times measured on them, as recorded.",
    "lenses": "Lenses, as recorded; their cells are in the table cells.",
    "cells": "The cells of every lens: one of an ordinary lens, several of a convertible one.",
    "holders": "Film holders, as recorded; what is in them is in the table holder_sides.",
    "holder_sides": "The sides of every film holder, with the film loaded and since when.",
    "scanners": "Scanners, as recorded.",
    "tablets": "Calibrated step tablets, as recorded.",
    "print_targets": "Print targets: which density each zone is wanted at.",
    "sheets": "One row a sheet of film: the field record as written.",
    "readings": "One row a metered part of a sheet's subject, as written.",
    "developments": "One row a batch developed together.",
    "development_sheets": "Which sheet was developed in which batch.",
    "film_tests": "Step tablets exposed on film.",
    "history": "What changed records said before and after each change, and which sheet each scan was joined to.",
    "removed_sheets": "Sheets that were removed, with all that it takes to bring them back.",
    "removed_sheet_scans": "The scans that removed sheets had, and get back.",
    "scans": "One row a master scan; the file itself is never written to.",
    "scan_paths": "Every place where a master or a copy of it was seen.",
    "profiles": "What calibrating a scanner found: from code values to densities.",
    "spot_scans": "The scan that the spots of a sheet's record are places on, where the spots don't say.",
    "registrations": "How one scan of a sheet lies on another, found by comparing the two pictures.",
    "findings": "One row a sheet that was computed: base+fog, and what it all rests on.",
    "exposures": "The ledger of each sheet's exposure, computed from its record.",
    "found_readings": "Each reading as planned, given and found, computed.",
    "results": "Whether the decision worked: one row a judged sheet.",
    "dated_changes": "Figures of films, cells and shutters that were changed from a day on, by accepting advice.",
    "advised_times": "Developing times that were accepted, for the sheets to be developed next.",
    "door_log": "What was written through the pages and who signed in: when, from where, and what came of it.",
    "check_runs": "Every run of checks that masters are still what was taken.",
    "checks": "Each master that a run read whole, or found gone or changed.",
    "out_of_date": "Sheets whose record changed after they were last computed.",
    "sheet_search": "One row a sheet: all it is found by, its verdict, what it waits for; kept true by triggers.",
    "sheet_counts": "How many sheets there are of each combination; kept true by triggers.",
    "places": "Every place, and how many sheets were made there; kept true by triggers.",
    "sheet_changes": "In which order sheets were last changed, also removed ones; kept true by triggers.",
    "sheet_tallies": "What is kept so that finding is quick: what suits print targets, what a sheet's bytes mean.",
    "sheet_tally_bytes": "Those bytes, side by side, in the order of the sheets' ids in sheet_search.",
    "sheet_facts": "What sheet_search is drawn from, sheet by sheet.",
    "sheets_at_a_glance": "One row a sheet: what was done, and what came out.",
    "readings_planned_given_found": "One row a reading: planned, given, found.",
}

_TAKEN = {
    "recorded_at": ("When it was first recorded, UTC", ""),
    "recorded_via": ("How it came in", ""),
}

_EXACT = {
    "f_number": ("F-number the marked stop stands for", "f-number"),
    "widest_f_number": ("F-number the widest stop stands for", "f-number"),
    "indicated_f_number": ("F-number the meter's stop stands for", "f-number"),
    "time_s": ("Time the marked time stands for", "s"),
    "indicated_time_s": ("Time the meter's mark stands for", "s"),
    "tag_n": ("The number after N", "N"),
    "zone_value": ("The zone's number, 0 to 10", "zone"),
}

_ACCEPTED = {
    "effective_from": ("From when on it holds; sheets exposed before it keep what was believed then", ""),
    "advice": ("Key of the advice", ""),
    "sentence": ("The advice as it was given", ""),
    "accepted_at": ("When it was accepted, UTC", ""),
    "accepted_via": ("How it came in", ""),
}

_COLUMNS: dict[str, dict[str, tuple[str, str]]] = {
    "dated_changes": {
        "id": ("Number of the change", ""),
        "film": ("Name of the film it is about", ""),
        "lens": ("Name of the lens whose cell it is about", ""),
        "cell": ("The cell of that lens", ""),
        "shutter": ("Name of the shutter it is about", ""),
        "marked_time": ("The marked time of that shutter", ""),
        "field": ("Which figure of the record: its column", ""),
        "before": ("What it was, JSON", ""),
        "after": ("What it is from then on, JSON", ""),
        **_ACCEPTED,
    },
    "advised_times": {
        "id": ("Number of the time", ""),
        "film": ("Name of the film", ""),
        "developer": ("Developer", ""),
        "dilution": ("Dilution", ""),
        "temperature_c": ("Temperature of the developer", "°C"),
        "tag": ("The development it is for", ""),
        "tag_n": ("The number after N", "N"),
        "time_s": ("Time to develop for", "s"),
        "low_s": ("Lower end of its 90 % interval", "s"),
        "high_s": ("Upper end of its 90 % interval", "s"),
        "sheets": ("How many sheets it rests on", ""),
        **_ACCEPTED,
    },
    "cells": {"lens": ("Name of its lens", ""), "position": ("Its place in the lens's record", "")},
    "holder_sides": {
        "holder": ("The holder", ""),
        "position": ("Its place in the holder's record", ""),
    },
    "readings": {"sheet": ("Id of its sheet", ""), "position": ("Its place in the sheet's record", "")},
    "print_targets": {"source": ("Where the figures of a built-in target are from", "")},
    "development_sheets": {
        "batch": ("Id of the batch", ""),
        "sheet": ("Id of the sheet", ""),
        "position": ("Its place in the batch's record", ""),
    },
    "history": {
        "id": ("Number of the change", ""),
        "kind": ("Table of the record", ""),
        "name": ("Name or id of the record", ""),
        "at": ("When it was changed, UTC", ""),
        "via": ("How the change came in", ""),
        "old": ("The record before, JSON; null where there was none", ""),
        "new": ("The record after, JSON; null where it was removed", ""),
    },
    "removed_sheets": {
        "sheet": ("Id of the sheet", ""),
        "removed_at": ("When it was removed, UTC", ""),
        "removed_via": ("How it was removed", ""),
        "record": ("Its record, JSON", ""),
        "scans": ("Its scans and what joined them to it, JSON", ""),
        "rows": ("Its rows in all other tables, JSON", ""),
        "state": ("The last changes of all else when it was removed, JSON", ""),
    },
    "removed_sheet_scans": {"sheet": ("Id of the removed sheet", ""), "scan": ("Id of a scan it had", "")},
    "door_log": {
        "id": ("Order in which it happened", ""),
        "at": ("When, UTC", ""),
        "address": ("The address it came from", ""),
        "session": ("What the session is called, from one signing in to its end", ""),
        "what": ("The page that was sent something, or what happened", ""),
        "led_to": ("The page of what was written", ""),
        "outcome": ("done, refused or failed; absent: broken off before that was known", ""),
    },
    "check_runs": {
        "id": ("Number of the run", ""),
        "began_at": ("When it began, UTC", ""),
        "ended_at": ("When it came to its end, UTC; absent: it was interrupted", ""),
        "way": ("What was looked at: size and time, or every byte (SHA-256)", ""),
        "masters": ("Masters checked", ""),
        "unchanged": ("Masters found unchanged", ""),
    },
    "checks": {
        "run": ("Number of the run", ""),
        "scan": ("Id of the scan", ""),
        "at": ("When it was checked, UTC", ""),
        "status": ("unchanged, missing, changed, unreadable, or moved and found again", ""),
        "path": ("Where it was looked for, or found again", ""),
        "found_sha256": ("SHA-256 of the file there; absent: it wasn't read whole", ""),
        "reason": ("What was found instead", ""),
    },
    "scans": {
        "scan": ("Id: the first 12 hex digits of its SHA-256", ""),
        "taken_order": ("Order in which the scans were taken in", ""),
        "sha256": ("SHA-256 of the file", ""),
        "path": (
            "Where the master lies, relative to the archive where it is inside it, or its address in a store",
            "",
        ),
        "size_bytes": ("Size of the file", "bytes"),
        "modified_ns": ("When the file was last changed, since 1970", "ns"),
        "file_format": ("TIFF, PNG, JPEG or DNG", ""),
        "width": ("Width, upright", "pixels"),
        "height": ("Height, upright", "pixels"),
        "bits": ("Bits a channel", "bits"),
        "mode": ("grey or rgb", ""),
        "dpi": ("Resolution the file states", "pixels per inch"),
        "make": ("Maker of the scanner, by the file's tags", ""),
        "model": ("Model of the scanner, by the file's tags", ""),
        "software": ("Software, by the file's tags", ""),
        "description": ("What its description tags say, JSON list", ""),
        "taken_at": ("When it was scanned, by the file's tags", ""),
        "orientation": ("Orientation tag of the file, 1 to 8", ""),
        "compression": ("How the file is compressed", ""),
        "lossy": ("1 where compression has lost detail", ""),
        "pages": ("Pictures in the file", ""),
        "notes": ("What was odd about the file, JSON list", ""),
        "scanner": ("Name of its scanner", ""),
        "sheet": ("Id of the sheet it shows", ""),
        "joined_by": ("What said that it shows this sheet", ""),
        "reason": ("Why it belongs to no sheet yet", ""),
        "unmeasured": ("Why no density can be measured on it", ""),
        "calibrated": ("1 where there is a profile for it", ""),
        "profile": ("Number of the profile used", ""),
        "channel": ("Channel that its rebate was read in", ""),
        "rebate_density": ("Density of the clear rebate", "transmission density"),
        "rebate_sd": ("Its standard deviation", "transmission density"),
        "rebate": ("The rebate as found, JSON", ""),
        "condition": ("Positive, stretched, clipped …, JSON", ""),
        "added_at": ("When it was taken in, UTC", ""),
        "checked_at": ("When the master was last found unchanged, UTC", ""),
    },
    "scan_paths": {
        "path": ("The place", ""),
        "scan": ("Id of the scan", ""),
        "size_bytes": ("Size of the file there", "bytes"),
        "modified_ns": ("When the file there was last changed, since 1970", "ns"),
        "seen_at": ("When it was last seen there, UTC", ""),
    },
    "profiles": {
        "id": ("Number of the profile", ""),
        "scanner": ("Name of the scanner", ""),
        "tablet": ("Name of the step tablet", ""),
        "channel": ("Channel it holds for", ""),
        "bits": ("Bits a channel it holds for", "bits"),
        "mode": ("grey or rgb", ""),
        "made_at": ("When it was made, UTC", ""),
        "scanned_at": ("When the tablet was scanned", ""),
        "scanned_at_source": ("What says so: the scan's tags or the file's time", ""),
        "densities_sha256": ("SHA-256 of the tablet's densities that it was made from", ""),
        "settings": ("What the tablet's scan says of how it was made, JSON", ""),
        "scan": ("Id of the tablet's scan", ""),
        "scan_sha256": ("SHA-256 of the tablet's scan", ""),
        "scan_path": ("Where the tablet's scan lay", ""),
        "residual_sd": ("Standard deviation of fitted minus known", "transmission density"),
        "density_min": ("Least density it can tell", "transmission density"),
        "density_max": ("Greatest density it can tell", "transmission density"),
        "profile": ("The profile itself, JSON", ""),
    },
    "spot_scans": {
        "sheet": ("Id of the sheet", ""),
        "scan": ("Id of the scan that its spots are fractions of", ""),
    },
    "registrations": {
        "scan": ("Id of the scan that places are wanted on", ""),
        "from_scan": ("Id of the scan that places are known on", ""),
        "correlation": ("Correlation of the two pictures laid on each other, −1 to 1", ""),
        "registration": ("The whole of it, JSON; or why there is none", ""),
        "made_at": ("When it was found, UTC", ""),
    },
    "findings": {
        "sheet": ("Id of the sheet", ""),
        "scan": ("Id of the scan that was measured", ""),
        "base_fog": ("Density of base plus fog", "transmission density"),
        "base_fog_sd": ("Its standard deviation", "transmission density"),
        "base_fog_source": ("Where it is from: rebate, spot, batch or film", ""),
        "base_fog_more": ("More about it, JSON", ""),
        "measured_readings": ("How many readings have a density", ""),
        "provenance": ("Profile, print target and versions it rests on, JSON", ""),
        "computed_at": ("When it was computed, UTC", ""),
    },
    "exposures": {
        "sheet": ("Id of the sheet", ""),
        "marked_stop": ("Stop as marked", ""),
        "f_number": ("F-number the mark stands for", "f-number"),
        "effective_f_number": ("F-number that was really in effect, with the cell", "f-number"),
        "time_s": ("Time the mark stands for", "s"),
        "shutter_time_s": ("Time the shutter really gave", "s"),
        "effective_time_s": ("Time after reciprocity failure", "s"),
        "setting_stops": ("What stop and time as marked give beyond what the placement asks", "stops"),
        "filter_stops": ("Light the filter took, negative", "stops"),
        "bellows_stops": ("Light the extension took, negative", "stops"),
        "cell_stops": ("Light more (positive) or less through the cell than its scale says", "stops"),
        "shutter_stops": ("Light more (positive) or less than the marked time", "stops"),
        "reciprocity_stops": ("Loss to reciprocity failure, negative", "stops"),
        "decision_stops": ("Given minus planned zone of the placed reading", "stops"),
        "more": ("More of the ledger, JSON", ""),
    },
    "found_readings": {
        "sheet": ("Id of the sheet", ""),
        "position": ("Its place in the sheet's record", ""),
        "name": ("What was metered", ""),
        "role": ("shadow, middle, highlight or other", ""),
        "placed": ("1 for the reading the exposure was placed by", ""),
        "ev": ("Exposure value metered", "EV"),
        "planned_zone": ("Exposure zone planned", "zone"),
        "given_zone": ("Exposure zone really given", "zone"),
        "planned_print_zone": ("Print zone planned", "zone"),
        "target_density": ("Density above base+fog the print target asks for there", "transmission density"),
        "density": ("Density measured", "transmission density"),
        "sd": ("Standard deviation of the density above base+fog", "transmission density"),
        "net_density": ("Density above base+fog", "transmission density"),
        "print_zone": ("Print zone found", "zone"),
        "print_zone_sd": ("Its standard deviation", "zone"),
        "error_density": ("Found minus target density", "transmission density"),
        "error_zones": ("Found minus planned print zone", "zone"),
        "more": ("More about it, JSON", ""),
    },
    "results": {
        "sheet": ("Id of the sheet", ""),
        "exposure_error_stops": ("Distance of the placed reading's exposure from plan", "stops"),
        "exposure_error_sd": ("Its standard deviation with everything in it", "stops"),
        "exposure_error_density_sd": ("Its standard deviation from the densities alone", "stops"),
        "residual_stops": ("What film, cell, shutter, meter and batch did", "stops"),
        "found_n": ("Development found", "N"),
        "found_n_sd": ("Its standard deviation with everything in it", "N"),
        "found_n_density_sd": ("Its standard deviation from the densities alone", "N"),
        "planned_n": ("Development planned", "N"),
        "printing_range": ("Density range between zones II and VIII, for printing", "transmission density"),
        "exposure_verdict": ("thin, as planned, dense or unsure", ""),
        "development_verdict": ("flat, as planned, contrasty or unsure", ""),
        "verdict": ("Both verdicts in one", ""),
        "why": ("Why, and what is missing, JSON list of sentences", ""),
        "more": ("More about it, JSON", ""),
    },
    "out_of_date": {"sheet": ("Id of the sheet", ""), "since": ("Since when, UTC", "")},
    "sheet_changes": {
        "id": ("The sheet's id in sheet_search", ""),
        "change": ("Number of its last change; a later change has a higher number", ""),
    },
    "sheet_tallies": {
        "name": ("What is kept: a column of sheet_search, words, 'suiting', or 'as of'", ""),
        "meaning": ("What its bytes mean, JSON; 'suiting': densities and ranges; 'as of': which change", ""),
    },
    "sheet_tally_bytes": {
        "name": ("What is kept, as in sheet_tallies", ""),
        "part": ("Number of the part, from 0", ""),
        "bytes": ("One byte a sheet, 32768 sheets a part", ""),
    },
    "places": {
        "id": ("Number of the place", ""),
        "place": ("The place", ""),
        "sheets": ("Sheets made there", ""),
    },
}

_SEARCHED = {
    "developer": ("Developer of its batch", ""),
    "batch": ("Batch it was developed in", ""),
    "verdict": ("Verdict on exposure and development, 'not measured' without one", ""),
    "stage": ("to develop, to scan, to measure or measured", ""),
}

_INNER: dict[str, type[BaseModel]] = {"cells": Cell, "readings": Reading, "holder_sides": HolderSide}


def _of_field(info: FieldInfo) -> tuple[str, str]:
    extra = info.json_schema_extra
    unit = str(extra.get("unit") or "") if isinstance(extra, dict) else ""
    text = info.description or ""
    return text.removesuffix(f", {unit}") if unit else text, unit


def _of_kept(kept: Kept, model: type[BaseModel]) -> dict[str, tuple[str, str]]:
    """Describe a field's columns from what its model says of it."""
    text, unit = _of_field(model.model_fields[kept.field])
    if len(kept.columns) == 1:
        return {kept.columns[0]: (text, unit)}
    described: dict[str, tuple[str, str]] = {}
    for column in kept.columns:
        if column in _EXACT:
            described[column] = _EXACT[column]
        elif column == kept.field:
            described[column] = (text, "")
        elif (inner := column.removeprefix(f"{kept.field}_")) in Spot.model_fields:
            inner_text, inner_unit = _of_field(Spot.model_fields[inner])
            described[column] = (f"{text}: {inner_text[:1].lower()}{inner_text[1:]}", inner_unit)
        else:
            described[column] = (text, unit)
    return described


def describe() -> dict[str, dict[str, Any]]:
    """Describe every table and view.

    Returns
    -------
    Table → ``{"description": sentence, "columns": {column: sentence}, "column_units": {column: unit}}``; a
    column's sentence ends in its unit, only columns that have one are in ``column_units``. (Not ``units``:
    Datasette would take that for units to convert between, and knows neither stops nor zones.)

    Examples
    --------
    >>> describe()["sheets"]["columns"]["bellows_mm"]
    'Extension from lens to film; absent: at infinity, mm'
    >>> describe()["sheets"]["column_units"]["bellows_mm"]
    'mm'
    """
    columns: dict[str, dict[str, tuple[str, str]]] = {name: {} for name in _TABLES}
    for kind in KINDS:
        for kept in kind.kept:
            columns[kind.name] |= _of_kept(kept, kind.model)
        if kind.inner is not None and not kind.inner.plain:
            model = _INNER[kind.inner.table]
            for kept in kind.inner.kept:
                columns[kind.inner.table] |= _of_kept(kept, model)
        columns[kind.name] |= _TAKEN
    for table, described in _COLUMNS.items():
        columns[table] |= described
    sheets, found, results = columns["sheets"], columns["found_readings"], columns["results"]
    columns["sheet_facts"] = {
        name: sheets[name]
        for name in ("sheet", "film", "lens", "cell", "tag", "place", "exposed_at", "subject", "notes")
    } | {
        **_SEARCHED,
        "reading_names": ("What was metered", ""),
        "printing_range": results["printing_range"],
    }
    columns["sheet_search"] = {
        "id": ("Order in which the sheets were recorded", ""),
        **columns["sheet_facts"],
    }
    counted = ("film", "lens", "cell", "tag", "developer", "verdict", "stage")
    columns["sheet_counts"] = {name: columns["sheet_facts"][name] for name in counted}
    columns["sheet_counts"]["sheets"] = ("How many sheets", "")
    columns["sheets_at_a_glance"] = {
        name: columns["sheet_facts"].get(name) or sheets.get(name) or results[name]
        for name in (
            *(
                "sheet",
                "exposed_at",
                "place",
                "subject",
                "film",
                "lens",
                "cell",
                "stop",
                "time",
                "tag",
                "batch",
            ),
            *("developer", "verdict", "exposure_error_stops", "exposure_error_sd", "found_n", "found_n_sd"),
            "stage",
            "printing_range",
        )
    }
    columns["readings_planned_given_found"] = {
        "sheet": found["sheet"],
        "reading": found["name"],
        **{
            name: found[name]
            for name in ("role", "placed", "ev", "planned_zone", "given_zone", "planned_print_zone")
        },
        "found_print_zone": found["print_zone"],
        "found_print_zone_sd": found["print_zone_sd"],
        **{name: found[name] for name in ("error_zones", "target_density", "net_density", "density")},
        "density_sd": found["sd"],
        "error_density": found["error_density"],
    }
    return {
        table: {
            "description": _TABLES[table],
            "columns": {
                name: f"{text}, {unit}" if unit else text for name, (text, unit) in described.items()
            },
            "column_units": {name: unit for name, (_, unit) in described.items() if unit},
        }
        for table, described in columns.items()
    }
