"""Records leave the archive by a record file, and make the same archive again."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
import yaml
from click.testing import CliRunner, Result

from negcat.catalogue import Catalogue, records_leaving, rows
from negcat.cli import main
from negcat.records import KEYS, Records, load_file, writing

FULL = """\
films:
  - {name: Marl 400, box_speed: 400, exposure_index: 250, lot: '007', base_fog: 0.1, channel: blue,
     reciprocity: {law: table, points: [[1, 1.2], [10, 20]]}}
  - {name: 'null', box_speed: 12.5, reciprocity: {law: power, exponent: 1.3, from_s: 2}}
shutters: [{name: No. 3, measured: {1/15: 0.08, 4 s: 4.2}}, {name: unmeasured}]
lenses:
  - {name: Haldane, shutter: No. 3, cells: [{cell: whole, focal_mm: 240, mounted: whole, widest_stop: 6.8},
     {cell: rear, focal_mm: 400, own_scale: false, cell_to_stop_mm: 12, pupil_ratio: 0.9, scale_error_stops: 0.5}]}
holders: [{holder: 5, format: 4x5, sides: [{side: A, film: Marl 400, loaded_at: 2026-04-17}, {side: B}], notes: leaks}]
scanners: [{name: flat-bed, make: Marl, model: 'Flatbed: 4', software: '1.20'}]
tablets: [{name: tablet 5, densities: [0.05, 0.2, 0.35, 0.5, 0.65]}]
print_targets:
  - {name: salted paper, densities: {I: 0.1, V: 0.72, VIII½: 1.35}}
  - {name: 'silver, diffusion', densities: {0: 0.01, I: 0.11, V: 0.8, IX: 1.6}}
sheets:
  - sheet: BW-01
    film: Marl 400
    lens: Haldane
    cell: rear
    stop: 22½
    stop_scale: whole
    time: 1m30s
    exposure_index: 320
    format: 13x18cm
    holder: 5
    side: A
    exposed_at: 2026-05-03 07:40 +02
    place: "Kiln: yard"
    subject: |
      First line

        indented, - "quoted"
      # no comment
    bellows_mm: 215.5
    filter: yellow
    filter_factor: 1 1/3
    movements: {front_rise_mm: -18, rear_swing_deg: 2.5}
    weather: '@ dusk'
    tag: N-1½
    meter_iso: 50
    indicated: {stop: f/22, time: 1/25}
    print_target: salted paper
    base_fog_spot: {x: 0.01, y: 0.02, diameter_mm: 3}
    location: =1+1
    notes: "tab\\there, \\u202eother way\\u202c"
    readings:
      - {name: soot, role: shadow, zone: III½, placed: true, ev: 9.25, spot: {x: 0.1, y: 0.2, scan: 0123456789ab}}
      - {name: sky, role: highlight, stops_from_placed: 3, placed: false}
      - {name: wall, zone: 6}
  - {sheet: BW-02, film: 'null', lens: Haldane, cell: whole, stop: 022, time: 4 s}
developments:
  - {batch: D-1, date: 2026-05-10, developer: Slip, dilution: 1+1+100, temperature_c: 21, time: '11:25', method: tray,
     agitation: 30 s, tag: N-1, sheets: [BW-01], base_fog: 0.12, notes: '-5'}
film_tests:
  - {test: T-1, film: Marl 400, tablet: tablet 5, developer: Slip, dilution: 1+9, temperature_c: 20, time: 9m,
     log_exposure: -0.5, densities: [1.2, 1, 0.8, 0.6, 0.4]}
  - {test: T-2, film: Marl 400, tablet: tablet 5, developer: Slip, time: 9m, scan: tests/T-2.tif,
     region: [0.1, 0.2, 0.9, 0.5]}
dated_changes:
  - {film: Marl 400, field: exposure_index, before: 400, after: 250, effective_from: 2026-04-01, advice: index-marl-400,
     sentence: Expose it at 250., accepted_at: 2026-04-02T10:00:00Z, accepted_via: web}
  - {film: Marl 400, field: reciprocity, after: {law: table, points: [[1, 1.2], [10, 20]]}, effective_from: 2026-04-01,
     accepted_at: 2026-04-02T10:00:00Z, accepted_via: web}
  - {lens: Haldane, cell: rear, field: scale_error_stops, before: 0, after: 0.5, effective_from: 2026-04-01T07:40,
     accepted_at: 2026-04-03T10:00:00Z, accepted_via: record}
  - {shutter: No. 3, marked_time: 1/15, field: measured, after: 0.08, effective_from: 2026-04-01,
     accepted_at: 2026-04-04T10:00:00Z, accepted_via: record}
advised_times:
  - {film: Marl 400, developer: Slip, dilution: 1+9, temperature_c: 20, tag: N-1½, time_s: 412.25, low_s: 380,
     high_s: 450, sheets: 7, effective_from: 2026-05-01, advice: time-marl-400-n-1, sentence: Give it less.,
     accepted_at: 2026-05-01T10:00:00Z, accepted_via: web}
"""


def run(*words: object, status: int = 0) -> Result:
    result = CliRunner().invoke(main, [str(word) for word in words])
    assert result.exit_code == status, f"{words}: {result.exit_code}\n{result.output}\n{result.stderr}"
    return result


def again(file: Path, root: Path) -> Path:
    """Make a new archive of a record file, and export it in its turn."""
    run("init", root)
    run("record", file, "-a", root)
    exported = root / f"again{file.suffix}"
    run("export", "records", exported, "-a", root)
    return exported


@pytest.fixture
def full(tmp_path: Path) -> Path:
    root = tmp_path / "full"
    run("init", root)
    (root / "full.yaml").write_text(FULL, encoding="utf-8")
    run("record", root / "full.yaml", "-a", root)
    return root


@pytest.mark.parametrize(
    ("archive", "ending"),
    [("sample", "yaml"), ("full_of_markup", "yaml"), ("full", "yaml"), ("full", "json")],
)
def test_a_new_archive_exports_the_same_file(archive, ending, tmp_path, request):
    root = request.getfixturevalue(archive)
    file = tmp_path / f"records.{ending}"
    run("export", "records", file, "-a", root)
    assert again(file, tmp_path / "new").read_bytes() == file.read_bytes()
    with (
        Catalogue.open(root / "negcat.db", readonly=True) as old,
        Catalogue.open(tmp_path / "new" / "negcat.db") as new,
    ):
        for (name, ours), (_, theirs) in zip(records_leaving(new), records_leaving(old), strict=True):
            assert list(ours) == list(theirs), name
        assert new.dated_changes() == old.dated_changes()
        assert new.advised_times() == old.advised_times()
        for name in new.names("print_targets"):
            assert new.print_target_source(name) == old.print_target_source(name)


def test_nothing_is_forgotten(full, tmp_path):
    """Every list and every field of every record is in the archive that is tested."""
    run("export", "records", tmp_path / "records.yaml", "-a", full)
    records = load_file(tmp_path / "records.yaml")
    assert [name for name in Records.MODELS if not getattr(records, name)] == []
    assert {kind.name for kind in rows.KINDS} == set(KEYS)

    def unused(model: Any, values: list[Any]) -> set[str]:
        return {
            name
            for name, field in model.model_fields.items()
            if all(getattr(value, name) in (None, field.default) for value in values)
        }

    for name, model in Records.MODELS.items():
        assert unused(model, list(getattr(records, name))) == set(), name
    for values in (
        [cell for lens in records.lenses for cell in lens.cells],
        [reading for sheet in records.sheets for reading in sheet.readings],
        [film.reciprocity for film in records.films],
    ):
        assert unused(type(values[0]), values) == set()


def test_taking_the_file_again_changes_nothing(full, tmp_path):
    run("export", "records", tmp_path / "records.yaml", "-a", full)
    told = json.loads(run("record", tmp_path / "records.yaml", "-a", full, "--json").stdout)
    assert (told["added"], told["updated"]) == ({}, {})
    assert told["unchanged"]["dated_changes"] == 4


def test_any_yaml_reader_reads_it_with_notation_as_it_was_written(full, tmp_path):
    file = tmp_path / "records.yaml"
    told = json.loads(run("export", "records", file, "-a", full, "--json").stdout)
    data = yaml.safe_load(file.read_text(encoding="utf-8"))
    assert told == {"files": [str(file)], "records": {name: len(found) for name, found in data.items()}}
    sheet = data["sheets"][0]
    assert (sheet["stop"], sheet["time"], sheet["tag"], sheet["location"]) == ("22½", "1m30s", "N-1½", "=1+1")
    assert (sheet["holder"], data["sheets"][1]["stop"]) == ("5", "022")
    assert sheet["subject"].splitlines() == ["First line", "", '  indented, - "quoted"', "# no comment"]
    assert "subject: |-\n    First line\n" in file.read_text(encoding="utf-8")
    assert file.read_text(encoding="utf-8").startswith("# The records of a negative archive.")


def test_spots_of_a_sheet_scanned_twice_say_which_scan_they_are_on(scanned_twice, tmp_path):
    run("export", "records", tmp_path / "records.yaml", "-a", scanned_twice)
    with Catalogue.open(scanned_twice / "negcat.db", readonly=True) as catalogue:
        expected = {
            sheet.sheet: catalogue.spot_scan(sheet.sheet)
            for sheet in catalogue.sheets()
            if len(catalogue.scans_of(sheet.sheet)) > 1 and catalogue.spot_scan(sheet.sheet)
        }
    spots = {
        sheet.sheet: {reading.spot.scan for reading in sheet.readings if reading.spot}
        for sheet in load_file(tmp_path / "records.yaml").sheets
    }
    assert expected
    assert {sheet: spots[sheet] for sheet in expected} == {sheet: {scan} for sheet, scan in expected.items()}


def test_what_is_too_much_for_one_file_goes_on_in_others(full, tmp_path, monkeypatch):
    monkeypatch.setattr(writing, "MAX_NODES", 150)
    file = tmp_path / "records.yaml"
    told = json.loads(run("export", "records", file, "-a", full, "--json").stdout)
    files = [Path(name) for name in told["files"]]
    assert files[:2] == [file, tmp_path / "records-2.yaml"]
    assert len(files) >= 3
    new = tmp_path / "new"
    run("init", new)
    run("record", *files, "-a", new)
    run("export", "records", tmp_path / "again.yaml", "-a", new)
    for place, one in enumerate(files, 1):
        twin = tmp_path / ("again.yaml" if place == 1 else f"again-{place}.yaml")
        assert twin.read_bytes() == one.read_bytes()


def test_nothing_is_written_over(full, tmp_path, monkeypatch):
    monkeypatch.setattr(writing, "MAX_NODES", 150)
    second = tmp_path / "records-2.yaml"
    second.write_text("mine", encoding="utf-8")
    assert (
        "is there already" in run("export", "records", tmp_path / "records.yaml", "-a", full, status=2).stderr
    )
    assert second.read_text(encoding="utf-8") == "mine"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["full", "records-2.yaml"]
    run("export", "records", tmp_path / "records.yaml", "-a", full, "--overwrite")
    assert second.read_text(encoding="utf-8").startswith("# This is part 2")
    assert (
        "name it with .yaml"
        in run("export", "records", tmp_path / "records.csv", "-a", full, status=2).stderr
    )


def test_what_was_accepted_is_refused_where_it_says_nothing(full):
    wrong = full / "wrong.yaml"
    wrong.write_text(
        "dated_changes:\n"
        "- {film: Marl 40, field: exposure_index, after: 200, effective_from: 2026-04-01}\n"
        "- {film: Marl 400, field: measured, after: 0.08, effective_from: 2026-04-01}\n"
        "- {film: Marl 400, field: exposure_index, after: {law: power}, effective_from: May}\n"
        "- {film: Marl 400, field: reciprocity, before: 1.3, after: {law: none}, effective_from: 2026-04-01}\n"
        "- {lens: Haldane, cell: rear, field: scale_error_stops, after: 5, effective_from: 2026-04-01}\n",
        encoding="utf-8",
    )
    said = run("record", wrong, "-a", full, status=2).stderr
    for part in (
        "line 2, dated_changes[0].film: film 'Marl 40' is not in the archive",
        "line 3, dated_changes[1].film: a change of measured is about shutter and marked_time",
        "line 4, dated_changes[2].after: a mapping is no law of reciprocity",
        "line 4, dated_changes[2].effective_from: 'May' is no date",
        "line 5, dated_changes[3].before: 1.3 is no law of reciprocity",
        "line 6, dated_changes[4].before: it is missing",
        "line 6, dated_changes[4].after: 5 is outside -4 … 4",
    ):
        assert part in said


def test_sheets_made_before_an_accepted_change_are_computed_as_it_was_believed_then(full):
    before = json.loads(run("show", "BW-01", "-a", full, "--json").stdout)["exposure"]["cell_stops"]
    later = full / "later.yaml"
    later.write_text(
        "dated_changes:\n- {lens: Haldane, cell: rear, field: scale_error_stops, before: 0.25, after: 0.5, "
        "effective_from: 2026-06-01}\n",
        encoding="utf-8",
    )
    told = json.loads(run("record", later, "-a", full, "--json").stdout)
    assert told["added"] == {"dated_changes": 1}
    after = json.loads(run("show", "BW-01", "-a", full, "--json").stdout)["exposure"]["cell_stops"]
    assert after == pytest.approx(before - 0.25)
