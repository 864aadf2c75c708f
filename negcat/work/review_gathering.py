"""A season gathered from the catalogue: the chosen sheets in numbers, as they are believed now."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

from negcat import learning
from negcat.catalogue import DatedChange, Query
from negcat.notation import format_time
from negcat.reciprocity import NoLaw, PowerLaw
from negcat.work.archive import Archive
from negcat.work.film_tests import read_film_test
from negcat.work.planning import Equipment

__all__ = ["Gathered", "gather"]

COUNTED_FROM_S = 1.0
"""Times from here on are counted by hand, unless the shutter was timed at them."""

Row = Mapping[str, Any]


@dataclass(frozen=True)
class Gathered:
    """The chosen sheets.

    Parameters
    ----------
    rows : one a sheet, the oldest first, as :meth:`negcat.catalogue.Catalogue.sheets_to_review` gives them.
    readings : sheet → its readings, as :meth:`negcat.catalogue.Catalogue.readings_to_review` gives them,
        without the sheet.
    season : what is learnt from.
    """

    rows: Sequence[Row]
    readings: Mapping[str, Sequence[tuple[Any, ...]]]
    season: learning.Season


def gather(archive: Archive, query: Query) -> Gathered:
    """Gather the sheets that fit a question.

    Parameters
    ----------
    archive : the archive, which is only read.
    query : its limit is not looked at.

    Raises
    ------
    NotationError : a tag or date that can't be read.
    """
    catalogue = archive.catalogue
    rows = catalogue.sheets_to_review(query)
    readings: dict[str, list[tuple[Any, ...]]] = defaultdict(list)
    for sheet, *reading in catalogue.readings_to_review(query):
        readings[sheet].append(tuple(reading))
    equipment = Equipment(catalogue, as_now=True)
    again = _exposed_again(archive, equipment, rows)
    sheets = [
        _sheet(row, readings.get(row["sheet"], ()), equipment, again.get(row["sheet"]))
        for row in rows
        if row["effective_time_s"] is not None and row["cell"]
    ]
    return Gathered(
        rows,
        readings,
        learning.Season(
            sheets=sheets,
            films=[_film(equipment, name) for name in dict.fromkeys(sheet.film for sheet in sheets)],
            lenses=[_lens(archive, name) for name in dict.fromkeys(sheet.lens for sheet in sheets)],
            target=equipment.target(None),
            tests=_tests(archive, rows),
        ),
    )


@dataclass(frozen=True)
class _Again:
    """A sheet's exposure as it is believed now."""

    shutter_time_s: float
    effective_time_s: float
    zones: Sequence[float | None]


def _exposed_again(archive: Archive, equipment: Equipment, rows: Sequence[Row]) -> dict[str, _Again]:
    """Expose anew the sheets made with what has a dated change: their findings say what was believed then."""
    changes: Sequence[DatedChange] = equipment.changes
    if not changes:
        return {}
    films = {change.film for change in changes if change.film}
    lenses = {change.lens for change in changes if change.lens}
    shutters = {change.shutter for change in changes if change.shutter}
    touched = [
        row["sheet"]
        for row in rows
        if row["film"] in films or row["lens"] in lenses or row["shutter"] in shutters
    ]
    again = {}
    for record in archive.catalogue.sheets(touched):
        exposed = equipment.expose(record)
        again[record.sheet] = _Again(
            exposed.shutter_time_s,
            exposed.effective_time_s,
            [reading.given_zone for reading in exposed.readings],
        )
    return again


def _sheet(
    row: Row, readings: Iterable[tuple[Any, ...]], equipment: Equipment, again: _Again | None
) -> learning.Sheet:
    film = equipment.film(row["film"])
    time_s = float(again.shutter_time_s if again else row["shutter_time_s"])
    timed = time_s != row["time_s"]
    return learning.Sheet(
        sheet=row["sheet"],
        film=row["film"],
        lens=row["lens"],
        cell=row["cell"],
        shutter=row["shutter"] or row["lens"],
        marked_time=format_time(row["time_s"]),
        time_s=time_s,
        by_hand=row["time_s"] >= COUNTED_FROM_S and not timed,
        exposure_index=row["exposure_index"] or film.exposure_index or film.box_speed,
        planned_n=row["tag_n"],
        effective_s=float(again.effective_time_s if again else row["effective_time_s"]),
        readings=_readings(readings, row["base_fog"], again.zones if again else None),
        developer=row["developer"],
        dilution=row["dilution"],
        batch=row["batch"],
        development_s=row["development_s"],
        temperature_c=row["temperature_c"],
    )


def _readings(
    readings: Iterable[tuple[Any, ...]], base_fog: float | None, zones: Sequence[float | None] | None
) -> list[learning.Reading]:
    """Write down the readings that tell something: with a zone, and with a density or a bound of it."""
    told = []
    for place, (name, _, _, given, net, sd, _, _, bound, limit) in enumerate(readings):
        zone = zones[place] if zones is not None and place < len(zones) else given
        if zone is None:
            continue
        if net is not None and sd is not None:
            told.append(learning.Reading(zone, net, sd, name))
        elif bound in ("clearer", "denser") and limit is not None and base_fog is not None:
            told.append(
                learning.Reading(zone, name=name, bound=bound, bound_density=max(limit - base_fog, 0.0))
            )
    return told


def _film(equipment: Equipment, name: str) -> learning.Film:
    record = equipment.film(name)
    index = record.exposure_index or record.box_speed
    law = equipment.law(name)
    if isinstance(law, NoLaw):
        return learning.Film(name, index)
    if isinstance(law, PowerLaw):
        return learning.Film(name, index, "power", law.exponent, law.from_s)
    return learning.Film(name, index, "table", from_s=law.points[0][0])


def _lens(archive: Archive, name: str) -> learning.Lens:
    record = archive.catalogue.lens(name)
    assert record is not None  # its sheets refer to it
    return learning.Lens(name, [cell.cell for cell in record.cells], record.whole)


def _tests(archive: Archive, rows: Sequence[Row]) -> list[learning.FilmTest]:
    """Write down the film tests that have densities: above base+fog, over the light through each step."""
    catalogue = archive.catalogue
    fogs: dict[str, list[float]] = defaultdict(list)
    for row in rows:
        if row["base_fog"] is not None:
            fogs[row["film"]].append(row["base_fog"])
    tests = []
    for film in dict.fromkeys(row["film"] for row in rows):
        record = catalogue.film(film)
        assert record is not None  # its sheets refer to it
        for test in catalogue.film_tests_of(film):
            read = read_film_test(archive, test)
            steps = [
                (log_h, density)
                for log_h, density in zip(read.log_h, read.densities, strict=False)
                if density is not None
            ]
            if not steps:
                continue
            # The film's own clear margin isn't among a test's steps: what is known of it comes first.
            fog = record.base_fog
            if fog is None:
                fog = median(fogs[film]) if fogs[film] else min(density for _, density in steps)
            tests.append(
                learning.FilmTest(
                    test=test.test,
                    film=film,
                    log_exposure=[log_h for log_h, _ in steps],
                    net_density=[density - fog for _, density in steps],
                    absolute=read.absolute,
                    developer=test.developer,
                    dilution=test.dilution,
                    development_s=test.time.seconds,
                    temperature_c=test.temperature_c,
                )
            )
    return tests
