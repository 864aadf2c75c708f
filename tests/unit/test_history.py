"""Two states of a record told apart, field by field, in the notation as written."""

from negcat.work.history import differences, way_in


def told(old: dict, new: dict) -> list[tuple[str, str | None, str | None]]:
    return [(one.field, one.was, one.became) for one in differences(old, new)]


def test_fields_that_come_go_and_change() -> None:
    old = {"stop": "22½", "bellows_mm": 302.0, "notes": "wind"}
    new = {"stop": "22 2/3", "tag": "N−1", "bellows_mm": 302.5, "notes": ""}
    assert told(old, new) == [
        ("stop", "22½", "22 2/3"),
        ("bellows mm", "302", "302.5"),
        ("notes", "wind", None),
        ("tag", None, "N−1"),
    ]
    assert told(old, old) == []


def test_records_inside_a_record_are_told_apart_by_name() -> None:
    soot = {"name": "soot", "ev": 9.0, "zone": "III½", "spot": {"x": 0.25, "y": 0.5, "diameter_mm": 2.0}}
    sky = {"name": "sky", "role": "highlight", "ev": 14.0, "placed": False}
    moved = {**soot, "spot": {"x": 0.3, "y": 0.5, "diameter_mm": 2.0, "scan": "0f3a00000000"}}
    assert told({"readings": [soot, sky]}, {"readings": [moved]}) == [
        ("soot, spot", "0.25,0.5,2", "0.3,0.5,2 on scan 0f3a00000000"),
        ("sky", "role highlight, ev 14, placed no", None),
    ]
    assert told({"readings": [soot, sky]}, {"readings": [sky, soot]}) == [
        ("order of the readings", "soot, sky", "sky, soot")
    ]
    assert told({}, {"readings": [sky]}) == [("sky", None, "role highlight, ev 14, placed no")]


def test_two_readings_of_one_name_stay_two() -> None:
    first, second = {"name": "sky", "ev": 14.0}, {"name": "sky", "ev": 15.0}
    assert told({"readings": [first, second]}, {"readings": [first, {**second, "ev": 15.5}]}) == [
        ("sky (2), ev", "15", "15.5")
    ]


def test_mappings_and_lists() -> None:
    assert told({"movements": {"front_rise_mm": 12.0}}, {"movements": {"rear_tilt_deg": 3.5}}) == [
        ("movements, front rise mm", "12", None),
        ("movements, rear tilt deg", None, "3.5"),
    ]
    assert told({"measured": {"1/15": 0.08}}, {"measured": {"1/15": 0.07, "1/4": 0.3}}) == [
        ("measured, 1/15", "0.08", "0.07"),
        ("measured, 1/4", None, "0.3"),
    ]
    assert told({"sheets": ["BW-01", "BW-02"]}, {"sheets": ["BW-01"]}) == [
        ("sheets", "BW-01, BW-02", "BW-01")
    ]
    table = {"law": "table", "points": [[1.0, 1.0], [10.0, 30.0]]}
    assert told({"reciprocity": {"law": "none"}}, {"reciprocity": table}) == [
        ("reciprocity, law", "none", "table"),
        ("reciprocity, points", None, "1, 1; 10, 30"),
    ]


def test_ways_in_in_words() -> None:
    assert way_in("web match") == "on the pages, by joining a scan"
    assert way_in("web history --to 3") == "on the pages, in the history, back to change 3"
    assert way_in("web") == "on the pages"
    assert way_in("cli") == "by negcat review --accept"
    assert way_in("") == ""
