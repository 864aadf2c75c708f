"""An archive made before ranges were kept has them once it is opened."""

import json
from pathlib import Path

import pytest

from negcat.catalogue import Catalogue, Query
from negcat.catalogue.migrations import migrations
from negcat.sensitometry import built_in_target, paper_exposure_scale, range_wanted
from tests.another_negcat import knows

JUDGED = {
    # sheet: its print target by its record, by what it was judged with, the range it has
    "BW-01": (None, "silver, diffusion", 1.1),
    "BW-02": ("silver, condenser", "silver, condenser", 1.1),
    "BW-03": ("long-scale", "long-scale", 1.5),
    # Its record was changed since, and it waits to be computed anew.
    "BW-04": ("long-scale", "silver, condenser", 0.9),
    "BW-05": (None, "silver, diffusion", None),
}


@pytest.fixture
def older(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = tmp_path / "negcat.db"
    steps = [step for step in migrations._migrations if step.name < "m010"]
    with monkeypatch.context() as before:
        knows(before, steps)
        before.setattr(Catalogue, "close", lambda self: self.database.close())
        with Catalogue.create(path) as catalogue:
            execute = catalogue.database.conn.execute
            execute("insert into films (name, box_speed, channel) values ('Marl 400', 400, 'grey')")
            execute("insert into lenses (name) values ('Tressick 150')")
            for sheet, (own, judged_by, range_) in JUDGED.items():
                execute(
                    "insert into sheets (sheet, film, lens, stop, f_number, time, time_s, tag, tag_n, meter_iso,"
                    " print_target) values (?, 'Marl 400', 'Tressick 150', '22', 22.6, '1', 1, 'N', 0, 100, ?)",
                    [sheet, own],
                )
                execute(
                    "insert into findings (sheet, measured_readings, provenance, computed_at) values (?, 3, ?, 'then')",
                    [sheet, json.dumps({"print_target": judged_by})],
                )
                target = built_in_target(judged_by)
                paper = range_ and {"iso_r": paper_exposure_scale(range_, target)}
                execute(
                    "insert into results (sheet, verdict, why, more) values (?, 'thin', '[]', ?)",
                    [sheet, json.dumps({"paper": paper})],
                )
            execute(
                "insert into sheets (sheet, film, lens, stop, f_number, time, time_s, tag, tag_n, meter_iso)"
                " values ('BW-06', 'Marl 400', 'Tressick 150', '22', 22.6, '1', 1, 'N', 0, 100)"
            )
    return path


def test_ranges_are_worked_out_of_the_results_that_are_there(older: Path) -> None:
    with Catalogue.open(older) as catalogue:
        kept = dict(catalogue.tuples("select sheet, printing_range from sheet_search order by id"))
        assert kept == {
            **{sheet: range_ and pytest.approx(range_) for sheet, (_, _, range_) in JUDGED.items()},
            "BW-06": None,
        }
        assert catalogue.faults() == []
        assert catalogue.out_of_date() == []
        (at_a_glance,) = catalogue.tuples(
            "select printing_range from sheets_at_a_glance where sheet = 'BW-03'"
        )
        assert at_a_glance == (1.5,)
        found = catalogue.find(Query(suits="long-scale"))
        assert [row["sheet"] for row in found.rows] == ["BW-03"]
        assert catalogue.counts(Query())["suits"] == [
            ("long-scale", 1),
            ("silver contact", 2),
            ("silver, diffusion", 2),
        ]


def test_what_is_written_afterwards_is_followed(older: Path) -> None:
    wanted = range_wanted(built_in_target("long-scale"))
    with Catalogue.open(older) as catalogue, Catalogue.open(older, readonly=True) as kept:
        assert kept.counts(Query())["suits"][0] == ("long-scale", 1)
        catalogue.database.execute("update results set printing_range = ? where sheet = 'BW-01'", [wanted])
        assert kept.counts(Query())["suits"][0] == ("long-scale", 2)
        catalogue.database.execute("delete from results where sheet = 'BW-03'")
        assert [row["sheet"] for row in kept.find(Query(suits="long-scale")).rows] == ["BW-01"]
        assert kept.counts(Query())["suits"][0] == ("long-scale", 1)
        assert catalogue.faults() == []
