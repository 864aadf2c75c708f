"""How a lens behaves: its cells, its shutter, and what the sheets made with each cell say."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from math import log2
from typing import Any

import numpy as np
import numpy.typing as npt

from negcat import records
from negcat.catalogue import Outcomes
from negcat.work.archive import Archive
from negcat.work.naming import known_name
from negcat.work.summing import as_document, parted

__all__ = ["ENOUGH_AT_A_STOP", "SHEETS_SHOWN", "lens_story"]

ENOUGH_AT_A_STOP = 3
"""Measured sheets at one stop from which on they are summed up by themselves."""

SHEETS_SHOWN = 60
"""Measured sheets of a cell up to which each one's residual is listed; more could not be told apart."""


def lens_story(archive: Archive, name: str) -> dict[str, Any]:
    """Gather what is known of a lens.

    Parameters
    ----------
    archive : the archive, which is only read.
    name : the lens's, case aside.

    Returns
    -------
    What ``/lens/NAME.json`` answers. ``residual_stops`` is what came after the decision on the sheets as they
    stand: the film's, the developing's and the meter's share is in it as well as the cell's.

    Raises
    ------
    UnknownNameError : no such lens.
    """
    catalogue = archive.catalogue
    name = known_name(catalogue, "lens", name)
    lens = catalogue.lens(name)
    assert lens is not None  # it was just found
    shutter = catalogue.shutter(lens.shutter) if lens.shutter else None
    counted = catalogue.counted("lens", name, "film", "cell", "verdict")
    measured = catalogue.outcomes("lens", name)
    measured = measured.of(np.flatnonzero(np.isfinite(measured.figures["residual_stops"])))
    return {
        "lens": name,
        "sheets": sum(row["sheets"] for row in counted),
        "shutter": lens.shutter,
        "shutter_times": _shutter_times(shutter),
        "cells": [_cell(lens, cell, counted, measured.of(_made_with(measured, cell))) for cell in lens.cells],
        "films": _films(counted),
        "lenses": [
            {"lens": other, "sheets": sheets}
            for other, sheets in catalogue.sheets_by("lens").items()
            if other != name
        ],
    }


def _shutter_times(shutter: records.Shutter | None) -> list[dict[str, Any]]:
    """List the marked and measured times, the shortest first, and how much more light the measured one is."""
    if shutter is None:
        return []
    return [
        {
            "marked": time.text,
            "marked_s": time.seconds,
            "measured_s": seconds,
            "stops": log2(seconds / time.seconds),
        }
        for time, seconds in sorted(shutter.measured.items(), key=lambda pair: pair[0].seconds)
    ]


def _films(counted: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    films: Counter[str] = Counter()
    for row in counted:
        films[row["film"]] += row["sheets"]
    return [{"film": film, "sheets": sheets} for film, sheets in films.most_common()]


def _made_with(measured: Outcomes, cell: records.Cell) -> npt.NDArray[np.intp]:
    return np.flatnonzero(measured.words["cell"].among([cell.cell]))


def _cell(
    lens: records.Lens,
    cell: records.Cell,
    counted: Sequence[Mapping[str, Any]],
    measured: Outcomes,
) -> dict[str, Any]:
    own = [row for row in counted if row["cell"] == cell.cell]
    verdicts: Counter[str] = Counter()
    for row in own:
        verdicts[row["verdict"]] += row["sheets"]
    scale = cell.cell if cell.own_scale else lens.whole
    residuals = np.sort(measured.figures["residual_stops"])
    return {
        "cell": cell.cell,
        "focal_mm": cell.focal_mm,
        "widest_stop": cell.widest_stop.text if cell.widest_stop else None,
        "mounted": cell.mounted,
        "own_scale": cell.own_scale,
        "scale": scale,
        "cell_to_stop_mm": cell.cell_to_stop_mm,
        "pupil_ratio": cell.pupil_ratio,
        "scale_error_stops": cell.scale_error_stops,
        "sheets": sum(row["sheets"] for row in own),
        "verdicts": dict(verdicts.most_common()),
        "residuals": residuals.tolist() if len(residuals) <= SHEETS_SHOWN else None,
        "residual_stops": as_document(residuals),
        "stops": _stops(measured, scale),
    }


def _stops(measured: Outcomes, scale: str | None) -> list[dict[str, Any]]:
    """Sum the sheets up stop by stop and scale by scale, where there are enough of them."""
    # The same stop is written in several ways; its value is exact to many more places.
    f_numbers, f_number_of = np.unique(np.round(measured.figures["f_number"], 6), return_inverse=True)
    scales = [word or scale or "" for word in measured.words["stop_scale"].words]
    different = sorted(set(scales))
    scale_of = np.array([different.index(one) for one in scales], int)[measured.words["stop_scale"].numbers]
    return [
        {
            "stop": _as_marked(rows),
            "f_number": float(f_numbers[f_number_of[places[0]]]),
            "scale": different[scale_of[places[0]]] or None,
            "residual_stops": as_document(rows.figures["residual_stops"]),
        }
        for places in parted(scale_of, f_number_of)
        if len(places) >= ENOUGH_AT_A_STOP
        for rows in (measured.of(places),)
    ]


def _as_marked(rows: Outcomes) -> str:
    """Give the way in which a stop is written most often."""
    written: Counter[str] = Counter()
    for word, times in rows.words["stop"].counts():
        written[word.removeprefix("f/")] += times
    return written.most_common(1)[0][0]
