"""How a film behaves: its record, its law of reciprocity, and what the sheets made on it say."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from itertools import groupby
from math import log2
from typing import Any

from negcat import records
from negcat.catalogue import Catalogue
from negcat.errors import QuantityError
from negcat.exposure import print_zone_of
from negcat.notation import parse_tag
from negcat.reciprocity import PowerLaw, Reciprocity, given_time
from negcat.work.archive import Archive
from negcat.work.naming import known_name
from negcat.work.planning import Equipment
from negcat.work.summing import as_document, tells_development

__all__ = ["METERED_S", "SHEETS_A_TAG", "film_story"]

METERED_S = (1.0, 2.0, 4.0, 8.0, 15.0, 30.0, 60.0, 120.0)
"""Metered times that the table of reciprocity answers, in seconds."""

SHEETS_A_TAG = 40
"""The newest measured sheets of a tag whose readings are drawn; more would only be black."""

BATCHES_NAMED = 4
"""Batches named of those that were developed alike; the newest."""

_STEPS = 60

_Result = tuple[str, str, float | None, float | None, float | None, float | None]


def film_story(archive: Archive, name: str) -> dict[str, Any]:
    """Gather what is known of a film.

    Parameters
    ----------
    archive : the archive, which is only read.
    name : the film's, case aside.

    Returns
    -------
    What ``/film/NAME.json`` answers.

    Raises
    ------
    UnknownNameError : no such film.
    """
    catalogue = archive.catalogue
    name = known_name(catalogue, "film", name)
    film = catalogue.film(name)
    assert film is not None  # it was just found
    equipment = Equipment(catalogue)
    counted = catalogue.counted("film", name)
    results = catalogue.results_of_film(name)
    fogs = [row[5] for row in results if row[5] is not None]
    return {
        "film": name,
        "box_speed": film.box_speed,
        "exposure_index": film.exposure_index or film.box_speed,
        "exposure_index_recorded": film.exposure_index is not None,
        "exposure_indexes": [
            {"exposure_index": index, "sheets": sheets} for index, sheets in catalogue.indexes_of_film(name)
        ],
        "lot": film.lot,
        "channel": film.channel,
        "base_fog": film.base_fog,
        "base_fog_found": {
            **as_document(fogs),
            "least": min(fogs, default=None),
            "greatest": max(fogs, default=None),
        },
        "reciprocity": _reciprocity(film, equipment),
        "sheets": sum(row["sheets"] for row in counted),
        "tags": _tags(results),
        "developments": _developments(catalogue, name, results),
        "film_tests": [
            {**test.model_dump(mode="json"), "time_s": test.time.seconds}
            for test in catalogue.film_tests_of(name)
        ],
        "behaviour": _behaviour(catalogue, equipment, name, counted),
        "lenses": _by(counted, "lens"),
        "films": [
            {"film": other, "sheets": sheets}
            for other, sheets in catalogue.sheets_by("film").items()
            if other != name
        ],
    }


def _by(counted: Sequence[Mapping[str, Any]], what: str) -> list[dict[str, Any]]:
    counts: Counter[str] = Counter()
    for row in counted:
        counts[row[what]] += row["sheets"]
    return [{what: name, "sheets": sheets} for name, sheets in counts.most_common() if name]


def _reciprocity(film: records.Film, equipment: Equipment) -> dict[str, Any]:
    """Write the law and what it makes of metered times; ``law`` is None where none is on record."""
    recorded = film.reciprocity
    written: dict[str, Any] = {
        "law": recorded.law if recorded else None,
        "exponent": recorded.exponent if recorded else None,
        "from_s": None,
        "points": [list(point) for point in recorded.points] if recorded and recorded.points else None,
        "times": [],
        "line": [],
        "reason": "",
    }
    try:
        law = equipment.law(film.name)
    except QuantityError as error:
        return {**written, "reason": str(error)}
    return {
        **written,
        "from_s": law.from_s if isinstance(law, PowerLaw) else None,
        "times": [_given(law, metered) for metered in METERED_S],
        "line": [
            _given(law, METERED_S[0] * (METERED_S[-1] / METERED_S[0]) ** (step / _STEPS))
            for step in range(_STEPS + 1)
        ],
    }


def _given(law: Reciprocity, metered_s: float) -> dict[str, Any]:
    given = given_time(law, metered_s)
    return {
        "metered_s": metered_s,
        "given_s": given.seconds,
        "stops": log2(given.seconds / metered_s),
        "extrapolated": given.extrapolated,
    }


def _n_of(results: Sequence[_Result]) -> list[float]:
    return [row[3] for row in results if row[3] is not None and tells_development(row[3], row[4])]


def _tags(results: Sequence[_Result]) -> list[dict[str, Any]]:
    """Sum up by tag what was found of the N and of the exposure."""
    groups: dict[str, list[_Result]] = defaultdict(list)
    for row in results:
        groups[row[0]].append(row)
    return [
        {
            "tag": tag,
            "planned_n": parse_tag(tag).n,
            "sheets": len(rows),
            "measured": sum(row[2] is not None for row in rows),
            "found_n": as_document(_n_of(rows)),
            "only_the_tag": sum(row[3] is not None and not tells_development(row[3], row[4]) for row in rows),
            "residual_stops": as_document([row[2] for row in rows if row[2] is not None]),
        }
        for tag, rows in sorted(groups.items(), key=lambda group: parse_tag(group[0]).n)
    ]


def _developments(catalogue: Catalogue, film: str, results: Sequence[_Result]) -> list[dict[str, Any]]:
    """Sum up by developer, its dilution and temperature, tag and time, what N was found."""
    batches = {row["batch"]: row for row in catalogue.batches_of_film(film)}
    order = {batch: place for place, batch in enumerate(batches)}
    groups: dict[tuple[Any, ...], list[_Result]] = defaultdict(list)
    for result in results:
        batch = batches.get(result[1])
        if batch is not None:
            key = (batch["developer"], batch["dilution"], batch["temperature_c"], result[0], batch["time_s"])
            groups[key].append(result)
    developed = []
    for (developer, dilution, temperature, tag, time_s), rows in groups.items():
        used = sorted({row[1] for row in rows}, key=order.__getitem__)
        developed.append(
            {
                "developer": developer,
                "dilution": dilution,
                "temperature_c": temperature,
                "tag": tag,
                "planned_n": parse_tag(tag).n,
                "time": batches[used[0]]["time"],
                "time_s": time_s,
                "sheets": len(rows),
                "batches": used[:BATCHES_NAMED],
                "batch_count": len(used),
                "found_n": as_document(_n_of(rows)),
            }
        )
    return sorted(
        developed,
        key=lambda row: (
            row["developer"].casefold(),
            row["dilution"] or "",
            row["temperature_c"] or 0.0,
            row["planned_n"],
            row["time_s"],
        ),
    )


def _behaviour(
    catalogue: Catalogue, equipment: Equipment, film: str, counted: Sequence[Mapping[str, Any]]
) -> dict[str, Any]:
    """Gather the readings of the newest sheets tag by tag: net density where so much was given.

    Beside each tag stands the print target as that tag's development is meant to fill it: its density at the
    print zone that an exposure zone is planned to become.
    """
    measured: Counter[str] = Counter()
    for row in counted:
        if row["stage"] == "measured":
            measured[row["tag"]] += row["sheets"]
    rows = catalogue.newest_readings_of_film(film, SHEETS_A_TAG)
    tags = []
    for tag, group in groupby(rows, key=lambda row: str(row["tag"])):
        readings = list(group)
        sheets = {row["sheet"]: row["print_target"] for row in readings}
        held_against, held = Counter(sheets.values()).most_common(1)[0]
        n = parse_tag(tag).n
        target = equipment.target(held_against)
        points = [
            {name: row[name] for name in ("sheet", "name", "given_zone", "net_density", "sd")}
            for row in readings
            if row["given_zone"] is not None and row["net_density"] is not None
        ]
        tags.append(
            {
                "tag": tag,
                "n": n,
                "measured": measured[tag],
                "sheets": len(sheets),
                "target": target.name,
                "other_targets": len(sheets) - held,
                "line": [
                    {"given_zone": tenth / 10, "density": float(target.density(print_zone_of(tenth / 10, n)))}
                    for tenth in range(0, 101, 2)
                ],
                "points": points,
                "without_figures": len(readings) - len(points),
            }
        )
    return {"sheets_a_tag": SHEETS_A_TAG, "tags": sorted(tags, key=lambda one: one["n"])}
