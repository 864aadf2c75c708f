"""Whatever an archive holds, the record file that leaves it makes the same archive again."""

from __future__ import annotations

import tempfile
from pathlib import Path

from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from negcat.records import Records, load_data
from negcat.work.archive import Archive
from negcat.work.export_records import export_records
from negcat.work.export_tables import SHEETS, export_tables
from negcat.work.taking import take_record_files
from tests.properties.test_records_properties import IDS, NOTES, TEXTS, TIMES, seasons

DENSITIES = (
    st.lists(st.floats(0, 6), min_size=5, max_size=6).map(sorted).filter(lambda found: found[0] < found[-1])
)
MOMENTS = st.sampled_from(
    ["2026-04-01", "2026-04-01T07:40", "2026-04-01 07:40:12 +02", "2026-04-01T07:40:12.25Z"]
)
TARGETS = st.lists(st.floats(0, 6), min_size=3, max_size=3, unique=True).map(
    lambda found: dict(zip(("I", "V", "VIII½"), sorted(found), strict=True))
)
ACCEPTED = {"sentence": NOTES, "advice": TEXTS, "accepted_via": TEXTS}


def optional(**fields):
    return st.fixed_dictionaries({}, optional=fields)


@st.composite
def archives(draw):
    """Draw every list of a record file."""
    season = draw(seasons())
    tablet, densities = draw(TEXTS), draw(DENSITIES)
    shutter = season["shutters"][0]["name"]
    law = st.sampled_from([{"law": "power", "exponent": 1.3, "from_s": 2}, {"law": "none"}])
    data = season | {
        "lenses": [season["lenses"][0] | {"shutter": shutter}],
        "scanners": [{"name": draw(TEXTS), **draw(optional(make=TEXTS, model=TEXTS, software=TEXTS))}],
        "tablets": [{"name": tablet, "densities": densities}],
        "print_targets": [{"name": draw(TEXTS | st.just("silver, diffusion")), "densities": draw(TARGETS)}],
        "holders": [
            {"holder": draw(TEXTS), "sides": [{"side": "A", **draw(optional(film=st.just("F"), loaded_at=MOMENTS))}]}
        ],
        "film_tests": [
            {"test": draw(TEXTS), "film": "F", "tablet": tablet, "developer": draw(TEXTS), "time": draw(TIMES),
             "densities": densities, **draw(optional(dilution=TEXTS, temperature_c=st.floats(5, 45)))}
        ],
        "dated_changes": [
            {"film": "F", "field": "reciprocity", **draw(optional(before=law, after=law))},
            {"film": "F", "field": "exposure_index", "before": draw(st.floats(0.1, 1e5))},
            {"lens": "L", "cell": season["lenses"][0]["cells"][0]["cell"], "field": "scale_error_stops", "before": 0.0,
             "after": draw(st.floats(-4, 4))},
            {"shutter": shutter, "marked_time": draw(TIMES), "field": "measured", "after": draw(st.floats(1e-5, 7200))},
        ],
        "advised_times": [
            {"film": "F", "tag": "N-1½", "low_s": 1, "time_s": draw(st.floats(1, 9000)), "high_s": 9001, "sheets": 3,
             **draw(optional(developer=TEXTS))}
        ],
    }  # fmt: skip
    for accepted in (*data["dated_changes"], *data["advised_times"]):
        accepted |= {
            "effective_from": draw(MOMENTS),
            "accepted_at": "2026-05-01T10:00:00Z",
            **draw(optional(**ACCEPTED)),
        }
    return data


@given(archives(), st.sampled_from(["yaml", "json"]), IDS)
@settings(
    max_examples=8,
    deadline=None,
    # Making a failing example smaller takes minutes, as each one is two archives.
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
    suppress_health_check=[HealthCheck.too_slow],
)
def test_the_record_file_that_leaves_makes_the_same_archive_again(data, ending, name):
    assert set(data) == set(Records.MODELS)
    with tempfile.TemporaryDirectory() as folder:
        first, second = Path(folder) / f"first.{ending}", Path(folder) / f"{name}.{ending}"
        with Archive.create(Path(folder) / "a") as archive:
            archive.catalogue.take([load_data(data)], "a test")
            export_records(archive, first)
            # In a table its sheets are taken as they are, too.
            export_tables(archive, Path(folder) / "tables")
            table = take_record_files(archive, [Path(folder) / "tables" / SHEETS])
            assert (table.added, table.updated) == ({}, {})
        with Archive.create(Path(folder) / "b") as archive:
            take_record_files(archive, [first])
            export_records(archive, second, overwrite=True)
            assert second.read_bytes() == first.read_bytes()
            assert dict(take_record_files(archive, [second]).updated) == {}
