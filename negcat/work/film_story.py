"""How a film behaves: its record, its law of reciprocity, and what the sheets made on it say."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from itertools import groupby
from math import log2
from typing import Any

import numpy as np
import numpy.typing as npt

from negcat import records
from negcat.catalogue import Catalogue, Outcomes
from negcat.errors import QuantityError
from negcat.exposure import print_zone_of
from negcat.notation import parse_tag
from negcat.reciprocity import PowerLaw, Reciprocity, given_time
from negcat.work.archive import Archive
from negcat.work.naming import known_name
from negcat.work.planning import Equipment
from negcat.work.summing import as_document, known, parted, telling_development

__all__ = ["METERED_S", "SHEETS_A_TAG", "film_story"]

METERED_S = (1.0, 2.0, 4.0, 8.0, 15.0, 30.0, 60.0, 120.0)
"""Metered times that the table of reciprocity answers, in seconds."""

SHEETS_A_TAG = 40
"""The newest measured sheets of a tag whose readings are drawn; more would only be black."""

BATCHES_NAMED = 4
"""Batches named of those that were developed alike; the newest."""

_STEPS = 60


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
    counted = catalogue.counted("film", name, "lens", "tag", "stage")
    results = catalogue.outcomes("film", name)
    fogs = known(results.figures["own_base_fog"])
    index = film.exposure_index or film.box_speed
    return {
        "film": name,
        "box_speed": film.box_speed,
        "exposure_index": index,
        "exposure_index_recorded": film.exposure_index is not None,
        "exposure_indexes": _indexes(results, index),
        "lot": film.lot,
        "channel": film.channel,
        "base_fog": film.base_fog,
        "base_fog_found": {
            **as_document(fogs),
            "least": float(fogs.min()) if len(fogs) else None,
            "greatest": float(fogs.max()) if len(fogs) else None,
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


def _indexes(results: Outcomes, index: float) -> list[dict[str, Any]]:
    """List the exposure indexes at which sheets were made, with how many, most first."""
    used = results.figures["exposure_index"]
    indexes, sheets = np.unique(np.where(np.isfinite(used), used, index), return_counts=True)
    return [
        {"exposure_index": float(indexes[place]), "sheets": int(sheets[place])}
        for place in np.argsort(-sheets, kind="stable")
    ]


def _tells(results: Outcomes) -> npt.NDArray[np.bool_]:
    return telling_development(results.figures["found_n"], results.figures["found_n_density_sd"])


def _tags(results: Outcomes) -> list[dict[str, Any]]:
    """Sum up by tag what was found of the N and of the exposure."""
    column = results.words["tag"]
    tags = []
    for places in parted(column.numbers):
        rows = results.of(places)
        tag = column.words[column.numbers[places[0]]]
        residuals, found_n = known(rows.figures["residual_stops"]), rows.figures["found_n"][_tells(rows)]
        tags.append(
            {
                "tag": tag,
                "planned_n": parse_tag(tag).n,
                "sheets": len(rows),
                "measured": len(residuals),
                "found_n": as_document(found_n),
                "only_the_tag": len(known(rows.figures["found_n"])) - len(found_n),
                "residual_stops": as_document(residuals),
            }
        )
    return sorted(tags, key=lambda row: row["planned_n"])


def _developments(catalogue: Catalogue, film: str, results: Outcomes) -> list[dict[str, Any]]:
    """Sum up by developer, its dilution and temperature, tag and time, what N was found."""
    batches = catalogue.batches_of_film(film)
    order = {row["batch"]: place for place, row in enumerate(batches)}
    ways: dict[tuple[Any, ...], int] = {}
    way_of = np.array(
        [
            ways.setdefault(
                (row["developer"], row["dilution"], row["temperature_c"], row["time_s"]), len(ways)
            )
            for row in batches
        ],
        int,
    )
    hows = list(ways)
    batch_of = np.array([order.get(batch, -1) for batch in results.words["batch"].words], int)[
        results.words["batch"].numbers
    ]
    developed_ones = np.flatnonzero(batch_of >= 0)
    results, batch_of = results.of(developed_ones), batch_of[developed_ones]
    tags, tag_of = results.words["tag"].words, results.words["tag"].numbers
    found_n = np.where(_tells(results), results.figures["found_n"], np.nan)
    developed = []
    for places in parted(way_of[batch_of], tag_of):
        used = np.unique(batch_of[places])
        developer, dilution, temperature, time_s = hows[way_of[used[0]]]
        tag = tags[tag_of[places[0]]]
        developed.append(
            {
                "developer": developer,
                "dilution": dilution,
                "temperature_c": temperature,
                "tag": tag,
                "planned_n": parse_tag(tag).n,
                "time": batches[used[0]]["time"],
                "time_s": time_s,
                "sheets": len(places),
                "batches": [batches[place]["batch"] for place in used[:BATCHES_NAMED]],
                "batch_count": len(used),
                "found_n": as_document(known(found_n[places])),
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
