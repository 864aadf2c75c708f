"""Records written out read back to the same records."""

from negcat.records import Film, Records, dump_yaml, load_data, load_file

SEASON = {
    "films": [
        {"name": "Kiln 100", "box_speed": 100, "lot": "0012", "base_fog": "0.12",
         "reciprocity": {"law": "table", "points": [[1, "1.2"], [10, 20]]}},
        {"name": "Ochre 400", "box_speed": 400, "channel": "blue", "reciprocity": {"law": "none"}},
    ],
    "shutters": [{"name": "No. 3", "measured": {"1/15": "1/14", "1": "1.1"}}],
    "lenses": [
        {"name": "Aldwater 180", "shutter": "No. 3", "cells": [
            {"cell": "whole", "focal_mm": 180, "mounted": "whole", "widest_stop": "6.8"},
            {"cell": "rear", "focal_mm": 355, "mounted": "behind", "own_scale": False}]},
    ],
    "scanners": [{"name": "flatbed", "make": "null", "model": "~"}],
    "tablets": [{"name": "t5", "densities": [0.05, 0.2, 0.35, 0.5, 0.65]}],
    "print_targets": [{"name": "salted paper", "densities": {"I": 0.1, "V": 0.9, "8": 1.7}}],
    "sheets": [
        {"sheet": "0012", "film": "Kiln 100", "lens": "Aldwater 180", "cell": "rear", "stop": "22½", "time": "1m30s",
         "tag": "N-1½", "holder": "7", "exposed_at": "2026-05-03 07:40", "notes": "first line\n  second: # no remark\n",
         "movements": {"front_rise_mm": "12.5"}, "indicated": {"stop": "f/32", "time": "1/2"}, "place": "yes",
         "print_target": "salted paper", "base_fog_spot": {"x": 0.5, "y": 0.01, "diameter_mm": 1},
         "readings": [{"name": "arch", "role": "shadow", "ev": "8⅓", "zone": "III½", "spot": {"x": 0.25, "y": 0.75}},
                      {"name": "sky", "role": "highlight", "stops_from_placed": "+4", "placed": False}]},
    ],
    "developments": [{"batch": "D-1", "developer": "pyrocatechin", "time": "11:30", "sheets": ["0012"], "tag": "N-1"}],
    "film_tests": [{"test": "T-1", "film": "Kiln 100", "tablet": "t5", "developer": "x", "time": "11m",
                    "log_exposure": "-0.5", "densities": [1.9, 1.5, 1.1, 0.7, 0.3]}],
}  # fmt: skip


def test_a_season_reads_back_to_the_same_records(tmp_path):
    records = load_data(SEASON)
    file = tmp_path / "season.yaml"
    file.write_text(dump_yaml(records), encoding="utf-8")
    again = load_file(file)
    assert again == records
    assert again.sheets[0].stop.text == "22½"
    assert again.scanners[0].make == "null"
    assert dump_yaml(again) == dump_yaml(records)


def test_fields_stand_in_the_order_of_the_field_list():
    text = dump_yaml(load_data({**SEASON}))
    places = [text.index(f"\n  {name}: ") for name in ("box_speed", "lot", "base_fog", "channel")]
    assert places == sorted(places)


def test_models_come_back_from_their_json():
    records = load_data(SEASON)
    assert Records.model_validate(records.model_dump(mode="json", exclude_none=True)) == records


def test_no_records_are_no_text():
    assert dump_yaml(Records()) == ""
    assert "box_speed: 12.5" in dump_yaml(Records(films=(Film(name="x", box_speed=12.5),)))
