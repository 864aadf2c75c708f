"""Faults: each found, each in its place, each with its mending; and nothing found where nothing is wrong."""

import json

import pytest

from negcat.errors import RecordError
from negcat.records import KnownNames, Lens, load_data, load_file, load_files

FILM = "films: [{name: Kiln 100, box_speed: 100}]\n"
LENSES = """lenses:
  - {name: Brinmoor 90, cells: [{cell: all, focal_mm: 90}]}
  - name: Aldwater 180
    cells:
      - {cell: whole, focal_mm: 180, mounted: whole}
      - {cell: front, focal_mm: 305, mounted: front}
      - {cell: rear, focal_mm: 355, mounted: behind, own_scale: no}
  - name: Two halves
    cells:
      - {cell: one, focal_mm: 300, mounted: front}
      - {cell: two, focal_mm: 400, own_scale: no}
"""
GROUND = FILM + LENSES


def sheet(**fields):
    common = {"sheet": "BW-01", "film": "Kiln 100", "lens": "Brinmoor 90", "stop": "22", "time": "1/15"}
    return {name: value for name, value in {**common, **fields}.items() if value is not None}


def faults_of(data, known=None):
    with pytest.raises(RecordError) as caught:
        load_data(data, known)
    return [f"{fault.where}: {fault.what}" for fault in caught.value.faults]


def faults_in(tmp_path, text, name="field.yaml", known=None):
    file = tmp_path / name
    file.write_text(text, encoding="utf-8")
    with pytest.raises(RecordError) as caught:
        load_file(file, known)
    assert all(fault.file == str(file) for fault in caught.value.faults)
    return [f"{fault.where}: {fault.what}" for fault in caught.value.faults]


def ground():
    lenses = [
        {"name": "Brinmoor 90", "cells": [{"cell": "all", "focal_mm": 90}]},
        {"name": "Aldwater 180", "cells": [
            {"cell": "whole", "focal_mm": 180, "mounted": "whole"},
            {"cell": "front", "focal_mm": 305, "mounted": "front"},
            {"cell": "rear", "focal_mm": 355, "mounted": "behind", "own_scale": "no"}]},
        {"name": "Two halves", "cells": [
            {"cell": "one", "focal_mm": 300, "mounted": "front"},
            {"cell": "two", "focal_mm": 400, "own_scale": "no"}]},
    ]  # fmt: skip
    return {"films": [{"name": "Kiln 100", "box_speed": 100}], "lenses": lenses}


READING = {"name": "arch", "role": "shadow", "ev": 9, "zone": "III"}

SHEET_FAULTS = [
    ({"stop": "22½½"}, "sheets[0].stop (sheet BW-01): “22½½” is not a stop: write it as 22, f/22"),
    ({"time": "soon"}, "sheets[0].time (sheet BW-01): “soon” is not a time"),
    ({"tag": "N+9"}, "sheets[0].tag (sheet BW-01): “N+9” is not a tag"),
    ({"film": None}, "sheets[0].film (sheet BW-01): film is missing; write film: Kiln 100"),
    ({"fim": "Kiln", "film": None}, "sheets[0].fim (sheet BW-01): unknown field 'fim'; did you mean 'film'?"),
    ({"sheet": "BW 01"}, "sheets[0].sheet (sheet BW 01): 'BW 01' is no sheet id"),
    (
        {"film": "Kiln"},
        "film 'Kiln' is not in the archive nor in these files; the nearest known is 'Kiln 100'",
    ),
    ({"film": "Zzz"}, "film 'Zzz' is not in the archive nor in these files; known are 'Kiln 100'"),
    (
        {"lens": "Aldwater"},
        "lens 'Aldwater' is not in the archive nor in these files; the nearest known is 'Aldwater 180'",
    ),
    (
        {"lens": "Aldwater 180"},
        "lens 'Aldwater 180' has the cells whole, front, rear; write which one was used, as in cell: whole",
    ),
    (
        {"cell": "al"},
        "sheets[0].cell (sheet BW-01): lens 'Brinmoor 90' has no cell 'al'; did you mean 'all'?",
    ),
    (
        {"lens": "Aldwater 180", "cell": "mid"},
        "lens 'Aldwater 180' has no cell 'mid'; it has whole, front, rear",
    ),
    (
        {"lens": "Aldwater 180", "cell": "front", "stop_scale": "wole"},
        "has no cell 'wole'; did you mean 'whole'?",
    ),
    (
        {"lens": "Aldwater 180", "cell": "front", "stop_scale": "rear"},
        "'rear' of lens 'Aldwater 180' has no stop scale of its own to read from; write one that has: whole, front",
    ),
    (
        {"lens": "Two halves", "cell": "two"},
        "'two' of lens 'Two halves' has no stop scale of its own, and no cell is mounted whole",
    ),
    ({"print_target": "silver, difusion"}, "the nearest known is 'silver, diffusion'"),
    ({"format": "10x12"}, "'10x12' is no format; write for example 4x5"),
    ({"exposed_at": "2026-5-3"}, "'2026-5-3' is no date; write 2026-05-03 or 2026-05-03 07:40"),
    ({"exposure_index": "0.05"}, "'0.05' is outside 0.1 … 100000 ISO"),
    ({"meter_iso": "200000"}, "'200000' is outside 0.1 … 100000 ISO"),
    ({"bellows_mm": "2 in"}, "“2 in” is not a number"),
    ({"filter_factor": "0.5"}, "'0.5' is outside 1 … 1000000 ×"),
    (
        {"movements": {"front_rize_mm": 3}},
        "movements.front_rize_mm (sheet BW-01): unknown field 'front_rize_mm'; did you mean 'front_rise_mm'?",
    ),
    ({"movements": "rise"}, "'rise' is no mapping; write its fields, as in {front_rise_mm: 5}"),
    ({"indicated": {"stop": 22}}, "indicated.time (sheet BW-01): time is missing; write time: 1/4"),
    ({"base_fog_spot": {"x": "1.2", "y": "-0.1"}}, "base_fog_spot.y (sheet BW-01): '-0.1' is outside 0 … 1"),
    ({"readings": {"name": "arch"}}, "readings (sheet BW-01): a mapping is no list; write readings: …"),
    (
        {"readings": ["arch"]},
        "readings[0] (sheet BW-01): 'arch' is no mapping; write its fields, as in {name: kiln mouth}",
    ),
    (
        {"readings": [{**READING, "role": "shdow"}]},
        "'shdow' is none of shadow, middle, highlight, other; did you mean 'shadow'?",
    ),
    ({"readings": [{**READING, "zone": "XI"}]}, "readings[0].zone (sheet BW-01): “XI” is not a zone"),
    (
        {"readings": [{**READING, "zone": ""}]},
        "readings[0].zone (sheet BW-01): the placed reading 'arch' has no zone",
    ),
    ({"readings": [{**READING, "role": "middle"}]}, "readings (sheet BW-01): no reading is the placed one"),
    ({"readings": [{**READING, "placed": "no"}]}, "readings (sheet BW-01): no reading is the placed one"),
    (
        {"readings": [READING, {**READING, "name": "ARCH"}]},
        "readings[1].name (sheet BW-01): the reading 'arch' stands there twice",
    ),
    (
        {"readings": [{**READING, "placed": "yes"}, {**READING, "name": "b", "placed": "1"}]},
        "readings[1].placed (sheet BW-01): 'arch' is placed already",
    ),
    (
        {"readings": [{**READING, "stops_from_placed": 2}]},
        "readings[0].stops_from_placed (sheet BW-01): 'arch' is the placed reading and can't lie 2 stops from itself",
    ),
    (
        {"readings": [{**READING, "spot": {"x": 0.5}}]},
        "readings[0].spot.y (sheet BW-01): y is missing; write y: 0.5",
    ),
    (
        {"readings": [{**READING, "placed": "perhaps"}]},
        "'perhaps' is neither yes nor no; write true or false",
    ),
]


@pytest.mark.parametrize(("fields", "sentence"), SHEET_FAULTS, ids=[fault[1][-40:] for fault in SHEET_FAULTS])
def test_a_fault_of_a_sheet_is_one_sentence_in_its_place(fields, sentence):
    faults = faults_of({**ground(), "sheets": [sheet(**fields)]})
    matching = [fault for fault in faults if sentence in fault]
    assert matching, faults
    expected = 2 if "x" in fields.get("base_fog_spot", ()) else 1
    assert len(faults) == expected, faults
    assert not [fault for fault in faults if fault.endswith(".")]


OTHER_FAULTS = [
    (
        {"films": [{"name": "a", "box_speed": 0}]},
        "films[0].box_speed (film a): '0' is outside 0.1 … 100000 ISO",
    ),
    (
        {"films": [{"name": "a", "box_speed": 9, "channel": "blu"}]},
        "'blu' is none of grey, red, green, blue; did you mean 'blue'?",
    ),
    (
        {"films": [{"name": "a", "box_speed": 9, "reciprocity": {"law": "power"}}]},
        "the law 'power' needs exponent; add for example exponent: 1.3",
    ),
    (
        {"films": [{"name": "a", "box_speed": 9, "reciprocity": {"law": "none", "from_s": 2}}]},
        "from_s has no place in the law 'none'",
    ),
    (
        {
            "films": [
                {"name": "a", "box_speed": 9, "reciprocity": {"law": "table", "points": [[1, 2], [1, 3]]}}
            ]
        },
        "points[1] (film a): [1, 3] doesn't rise past [1, 2]",
    ),
    (
        {"films": [{"name": "a", "box_speed": 9, "reciprocity": {"law": "table", "points": [[10, 9]]}}]},
        "the given time 9 s is shorter than the metered 10 s",
    ),
    (
        {"films": [{"name": "a", "box_speed": 9, "reciprocity": {"law": "table", "points": [[10, 20], 3]}}]},
        "points[1] (film a): '3' is no pair; write two times, as in [10, 20]",
    ),
    (
        {"films": [{"name": "a", "box_speed": 9}, {"name": "a", "box_speed": 9}]},
        "films[1].name (film a): 'a' stands in this file already as films[0]",
    ),
    (
        {"shutters": [{"name": "s", "measured": {"1/15": "-1"}}]},
        "shutters[0].measured.1/15 (shutter s): -1 is outside 1e-05 … 7200",
    ),
    ({"shutters": [{"name": "s", "measured": {"x": 1}}]}, "measured.x (shutter s): “x” is not a time"),
    (
        {"shutters": [{"name": "s", "measured": {"1/15": 1, "1/15 s": 1}}]},
        "'1/15' and '1/15 s' are the same; keep one of them",
    ),
    (
        {"lenses": [{"name": "l", "cells": []}]},
        "lenses[0].cells (lens l): there are 0 and at least 1 are needed",
    ),
    (
        {"lenses": [{"name": "l", "shutter": "no", "cells": [{"cell": "a", "focal_mm": 1000}]}]},
        "shutter 'no' is not in the archive nor in these files; no shutter is known yet, write it under shutters",
    ),
    (
        {
            "lenses": [
                {
                    "name": "l",
                    "cells": [
                        {"cell": "a", "focal_mm": 100, "mounted": "whole"},
                        {"cell": "b", "focal_mm": 90, "mounted": "whole"},
                    ],
                }
            ]
        },
        "cells[1].mounted (lens l): 'a' is mounted whole already",
    ),
    (
        {"lenses": [{"name": "l", "cells": [{"cell": "a", "focal_mm": 100}, {"cell": "A", "focal_mm": 90}]}]},
        "cells[1].name (lens l): the cell 'a' stands there twice".replace(".name", ".cell"),
    ),
    (
        {"lenses": [{"name": "l", "cells": [{"cell": "a", "focal_mm": 100, "cell_to_stop_mm": 100}]}]},
        "100 mm from cell to diaphragm is not less than the focal length, 100 mm",
    ),
    (
        {"tablets": [{"name": "t", "densities": [0.1, 0.2, 0.3, 0.4]}]},
        "tablets[0].densities (tablet t): there are 4 and at least 5 are needed",
    ),
    (
        {"tablets": [{"name": "t", "densities": [0.4, 0.3, 0.5, 0.6, 0.7]}]},
        "step 2 with 0.3 is lighter than step 1 with 0.4",
    ),
    ({"tablets": [{"name": "t", "densities": [0.4, 0.4, 0.4, 0.4, 0.4]}]}, "all steps have the same density"),
    (
        {"tablets": [{"name": "t", "densities": [0.1, "x", 0.3, 0.4, 0.5]}]},
        "densities[1] (tablet t): “x” is not a number",
    ),
    (
        {"print_targets": [{"name": "p", "densities": {"I": 0.1, "V": 0.7}}]},
        "print_targets[0].densities (print target p): 2 zones are too few",
    ),
    (
        {"print_targets": [{"name": "p", "densities": {"I": 0.1, "V": 0.7, "VIII": 0.7}}]},
        "zone VIII with 0.7 is no denser than zone V",
    ),
    ({"print_targets": [{"name": "p", "densities": [1, 2, 3]}]}, "a list is no mapping; write one line each"),
    (
        {"developments": [{"batch": "D", "developer": "x", "time": "11m", "sheets": ["BW-09"]}]},
        "developments[0].sheets[0] (batch D): sheet 'BW-09' is not in the archive nor in these files",
    ),
    (
        {
            "developments": [
                {"batch": "D", "developer": "x", "time": "11m", "sheets": ["BW-01"], "temperature_c": 68}
            ]
        },
        "'68' is outside 5 … 45 °C",
    ),
    (
        {"developments": [{"batch": "D", "developer": "x", "time": "11m", "sheets": ["BW-01", "BW-01"]}]},
        "sheets[1] (batch D): the sheet 'BW-01' stands there twice",
    ),
    (
        {
            "developments": [
                {"batch": b, "developer": "x", "time": "11m", "sheets": ["BW-01"]} for b in ("D", "E")
            ]
        },
        "developments[1].sheets[0] (batch E): sheet 'BW-01' is in batch 'D' already",
    ),
    (
        {"film_tests": [{"test": "T", "film": "Kiln 100", "tablet": "t5", "developer": "x", "time": "5m"}]},
        "the test has neither scan nor densities",
    ),
    (
        {
            "film_tests": [
                {
                    "test": "T",
                    "film": "Kiln 100",
                    "tablet": "t6",
                    "developer": "x",
                    "time": "5m",
                    "scan": "a.tif",
                }
            ]
        },
        "tablet 't6' is not in the archive nor in these files",
    ),
    (
        {
            "film_tests": [
                {
                    "test": "T",
                    "film": "Kiln 100",
                    "tablet": "t5",
                    "developer": "x",
                    "time": "5m",
                    "densities": [1, 2, 3, 4, 5, 6],
                }
            ]
        },
        "6 densities for the 5 steps of tablet 't5'; write one each",
    ),
    ({"scaners": []}, "scaners: unknown list 'scaners'; did you mean 'scanners'?"),
    ({"films": {"name": "a"}}, "films: films is a single mapping; write a list"),
    ({"films": ["a"]}, "films[0]: this is no record"),
]


@pytest.mark.parametrize(("data", "sentence"), OTHER_FAULTS, ids=[fault[1][-40:] for fault in OTHER_FAULTS])
def test_a_fault_of_another_record_is_one_sentence_in_its_place(data, sentence):
    known = KnownNames(films={"Kiln 100"}, tablets={"t5": 5}, sheets={"BW-01"})
    faults = faults_of(data, known)
    assert len(faults) == 1, faults
    assert sentence in faults[0]


def test_sheets_without_a_fault_are_taken():
    # The whole lens is what a scale is read from even where its record says that it has none of its own.
    apart = {
        "name": "Engraved apart",
        "cells": [
            {"cell": "both", "focal_mm": 180, "mounted": "whole", "own_scale": "no"},
            {"cell": "rear", "focal_mm": 355, "mounted": "behind"},
        ],
    }
    data = ground()
    data["lenses"].append(apart)
    sheets = [
        sheet(),
        sheet(sheet="2", cell="all", print_target="silver contact"),
        sheet(sheet="3", lens="Aldwater 180", cell="rear"),
        sheet(sheet="4", lens="Aldwater 180", cell="rear", stop_scale="front"),
        sheet(sheet="5", lens="Aldwater 180", cell="front", stop_scale="whole"),
        sheet(sheet="6", lens="Two halves", cell="two", stop_scale="one"),
        sheet(sheet="9", lens="Engraved apart", cell="rear", stop_scale="both"),
        sheet(
            sheet="7",
            readings=[READING, {"name": "sky", "role": "highlight", "stops_from_placed": 3, "zone": "VIII"}],
        ),
        sheet(
            sheet="8", readings=[{**READING, "role": "middle", "placed": "true"}, {**READING, "name": "b"}]
        ),
    ]
    assert len(load_data({**data, "sheets": sheets}).sheets) == 9


def test_all_faults_of_all_files_at_once_with_their_lines(tmp_path):
    (tmp_path / "one.yaml").write_text(GROUND.replace("box_speed: 100", "box_speed: -1"), encoding="utf-8")
    (tmp_path / "two.json").write_text(
        json.dumps({"sheets": [sheet(stop="x"), sheet(sheet="BW-02", film="Kiln 10")]}, indent=1),
        encoding="utf-8",
    )
    (tmp_path / "three.csv").write_text(
        "sheet;film;lens;stop;time;shadow_ev;shadow_zone;highlight_spot_x;wether\n"
        "C-1;Kiln 100;Brinmoor 90;22;1/15;9;III;0.5;\n"
        "C-2;Kiln 100;Brinmoor 90;22;99;nine;;2;fog\n",
        encoding="utf-8",
    )
    (tmp_path / "four.yaml").write_text("", encoding="utf-8")
    names = ["one.yaml", "two.json", "three.csv", "four.yaml"]
    with pytest.raises(RecordError) as caught:
        load_files([tmp_path / name for name in names])
    found = [str(fault).removeprefix(f"{tmp_path}/") for fault in caught.value.faults]
    for fault in [
        "one.yaml: line 1, films[0].box_speed (film Kiln 100): '-1' is outside",
        "two.json: line 7, sheets[0].stop (sheet BW-01): “x” is not a stop",
        "two.json: line 12, sheets[1].film (sheet BW-02): film 'Kiln 10' is not in the archive",
        "three.csv: row 1, column 9: unknown column 'wether'; did you mean 'weather'?",
        "three.csv: row 2, column highlight_spot_y (sheet C-1): y is missing",
        "three.csv: row 3, column shadow_ev (sheet C-2): “nine” is not a number",
        "three.csv: row 3, column highlight_spot_x (sheet C-2): '2' is outside 0 … 1",
        "three.csv: row 3, column shadow_zone (sheet C-2): the placed reading 'shadow' has no zone",
        "four.yaml: it is empty",
    ]:
        assert [one for one in found if one.startswith(fault)], (fault, found)


def test_one_wrong_field_hides_no_other(tmp_path):
    faults = faults_in(
        tmp_path,
        GROUND
        + "sheets:\n"
        + "  - {sheet: A, film: Kiln 10, lens: Aldwater 180, stop: x, time: y,\n"
        + "     readings: [{name: a, zone: 3}, {name: a}]}\n",
    )
    starts = ["stop", "time", "readings[1].name", "readings (", "film", "cell"]
    assert len(faults) == len(starts), faults
    for start in starts:
        line = 15 if start.startswith("readings") else 14
        assert [fault for fault in faults if f"line {line}, sheets[0].{start}" in fault], (start, faults)


def test_what_follows_from_a_fault_is_not_told_as_another(tmp_path):
    faults = faults_in(
        tmp_path,
        "films: [{name: Kiln 100, box_speed: x}]\nlenses: [{name: L, cells: [{cell: a, focal_mm: x}]}]\n"
        "sheets: [{sheet: A, film: Kiln 100, lens: L, cell: b, stop: 8, time: 1, "
        "readings: [{name: n, role: shdow, zone: 3}]}]\n"
        "developments: [{batch: D, developer: d, time: 3m, sheets: [A]}]\n",
    )
    assert len(faults) == 3, faults


def test_fields_written_twice(tmp_path):
    text = FILM + "scanners:\n  - name: a\n    make: b\n    make: c\nscanners: []\n"
    assert faults_in(tmp_path, text) == [
        "line 2, scanners: 'scanners' is written again in line 6; keep one of the two",
        "line 4, scanners[0].make: 'make' is written again in line 5; keep one of the two",
    ]
    text = '{"scanners": [{"name": "a",\n"make": "b",\n"make": "c"}]}'
    assert faults_in(tmp_path, text, "field.json") == [
        "line 2, scanners[0].make (scanner a): 'make' is written again in line 3; keep one of the two"
    ]


def test_ids_that_differ_in_capitals_only_are_the_same_id():
    data = {**ground(), "sheets": [sheet(sheet="bw-01")]}
    (fault,) = faults_of(data, KnownNames(sheets={"BW-01"}))
    assert "differs from sheet 'BW-01' in capitals only" in fault
    assert load_data(data, KnownNames(sheets={"bw-01"})).sheets
    (fault,) = faults_of({**ground(), "sheets": [sheet(sheet="bw-01"), sheet(sheet="BW-01")]})
    assert "'BW-01' stands in this file already as sheets[0]" in fault


def test_names_may_come_from_the_archive_or_from_any_file_of_the_command(tmp_path):
    lens = Lens.model_validate({"name": "Brinmoor 90", "cells": [{"cell": "all", "focal_mm": 90}]})
    known = KnownNames(films={"Kiln 100"}, lenses={"Brinmoor 90": lens})
    assert load_data({"sheets": [sheet()]}, known).sheets
    (tmp_path / "sheets.json").write_text(json.dumps({"sheets": [sheet()]}), encoding="utf-8")
    (tmp_path / "ground.yaml").write_text(GROUND, encoding="utf-8")
    first, second = load_files([tmp_path / "sheets.json", tmp_path / "ground.yaml"])
    assert (len(first.sheets), len(second.lenses)) == (1, 3)


def test_a_lens_in_the_files_rules_over_the_archive():
    old = Lens.model_validate({"name": "Brinmoor 90", "cells": [{"cell": "old", "focal_mm": 90}]})
    known = KnownNames(lenses={"Brinmoor 90": old})
    assert load_data({**ground(), "sheets": [sheet(cell="all")]}, known).sheets
    (fault,) = faults_of({**ground(), "sheets": [sheet(cell="old")]}, known)
    assert "has no cell 'old'" in fault


def test_a_batch_may_be_written_anew_and_give_its_sheets_away():
    known = KnownNames(sheets={"A", "B"}, developed={"A": "D", "B": "D"})

    def batch(name, *sheets):
        return {"batch": name, "developer": "x", "time": "11m", "sheets": list(sheets)}

    assert load_data({"developments": [batch("D", "A", "B")]}, known).developments
    assert load_data({"developments": [batch("D", "A"), batch("E", "B")]}, known).developments
    (fault,) = faults_of({"developments": [batch("E", "B")]}, known)
    assert "sheet 'B' is in batch 'D' already" in fault


def test_a_lens_keeps_the_cells_its_sheets_were_made_with():
    known = KnownNames(cells_in_use={"L": {"rear", None}})
    lens = {"name": "L", "cells": [{"cell": "whole", "focal_mm": 180}, {"cell": "front", "focal_mm": 305}]}
    gone, unsaid = faults_of({"lenses": [lens]}, known)
    assert "the cell 'rear' is gone, and sheets of the archive name it" in gone
    assert "don't say with which cell" in unsaid


def test_at_most_200_faults_are_listed_and_the_rest_counted():
    faults = faults_of({**ground(), "sheets": [sheet(sheet=f"S{n}", stop="x", film="y") for n in range(150)]})
    assert len(faults) == 201
    assert faults[-1] == ": and 100 more faults from here on; mend these first"
    assert "(sheet S99)" in faults[-2]


def test_a_sentence_shows_no_control_marks():
    twins = {"1/15": 1, "1/15\ns": 1}
    for data in (
        {**ground(), "sheets": [sheet(stop="\ud800\x1b[31m22\nx")]},
        {"shutters": [{"name": "a", "measured": twins}]},
    ):
        (fault,) = faults_of(data)
        assert fault.isprintable()
        assert fault.encode()


def test_data_without_an_end_gets_a_sentence(tmp_path):
    deep = "[" * 800 + "]" * 800
    assert (
        "is no list"
        in faults_in(tmp_path, '{"lenses": [{"name": {"a": ' + deep + '}, "cells": 1}]}', "a.json")[1]
    )
    endless: list = []
    endless.append(endless)
    assert "too many lists" in faults_of({"films": endless})[0]


def test_a_form_may_send_blanks_and_numbers():
    records = load_data({"films": [{"name": "Kiln", "box_speed": 100, "lot": "", "base_fog": None}]})
    assert records.films[0].lot is None
    assert records.counts() == {"films": 1}
