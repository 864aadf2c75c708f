"""The ring-around: where each sheet lies between thin and dense, flat and contrasty, and where it would lie."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import log, log2, sqrt
from typing import Any

from negcat import learning
from negcat.errors import NotationError, UnknownNameError
from negcat.judgement import METERING_SD
from negcat.judgement.line import ZONE_FLOOR_SD, Point, fit_line
from negcat.notation import parse_number, parse_time
from negcat.work.summing import tells_development

__all__ = ["MOST_POINTS", "Placed", "Ring", "WhatIf", "ring_around", "what_if_of"]

MOST_POINTS = 300
"""Sheets that are drawn, the newest; more could not be told apart."""

_HIGHEST_ZONE = 9.0

Row = Mapping[str, Any]


@dataclass(frozen=True)
class WhatIf:
    """Another way of doing it, to be worked out on the sheets as they are.

    Parameters
    ----------
    film : whose sheets are moved.
    index : the exposure index they would have been exposed at; None: as they were.
    tag : whose development would have been another; None: none.
    time_s : for how long it would have been developed, in seconds.
    """

    film: str
    index: float | None = None
    tag: str | None = None
    time_s: float | None = None


@dataclass(frozen=True)
class Placed:
    """A sheet on the ring-around.

    Parameters
    ----------
    sheet : its id.
    error_stops, found_n : distance of its exposure from plan, in stops; N found less N planned.
    error_sd, found_sd, correlation : how well the two are measured, and how their errors hang together.
    verdict : in words.
    told : whether its readings tell the development; else it stands where its tag put it.
    moved_stops, moved_n : where it would stand by what was asked; None where it wouldn't move.
    """

    sheet: str
    error_stops: float
    found_n: float
    error_sd: float
    found_sd: float
    correlation: float
    verdict: str
    told: bool
    moved_stops: float | None = None
    moved_n: float | None = None


@dataclass(frozen=True)
class Ring:
    """The ring-around.

    Parameters
    ----------
    points : the oldest first.
    measured : how many sheets there are to be drawn; those beyond :data:`MOST_POINTS` are left out.
    asked : what was asked to be worked out; None for nothing.
    reason : why something that was asked can't be, else empty.
    """

    points: tuple[Placed, ...]
    measured: int
    asked: WhatIf | None = None
    reason: str = ""


def what_if_of(fields: Mapping[str, str], films: Iterable[str]) -> WhatIf | None:
    """Read what is asked to be worked out.

    Parameters
    ----------
    fields : ``film``, ``index``, ``tag`` and ``time`` as typed; blank ones ask nothing.
    films : that there are.

    Returns
    -------
    None where nothing is asked.

    Raises
    ------
    NotationError : an index or a time that can't be read.
    UnknownNameError : a film that none of the sheets was made on.
    """
    index, time = fields.get("index", "").strip(), fields.get("time", "").strip()
    if not index and not time:
        return None
    known = {name.casefold(): name for name in films}
    written = fields.get("film", "").strip()
    film = known.get(written.casefold()) if written else next(iter(known.values()), None)
    if film is None:
        raise UnknownNameError(f"none of these sheets was made on a film '{written}'; choose one that was")
    value = None
    if index:
        value = parse_number(index)
        if not 0.1 <= value <= 100_000:
            raise NotationError(
                f"{index!r} is no exposure index; write one from 0.1 to 100000, for example 250"
            )
    return WhatIf(
        film, value, fields.get("tag", "").strip() or None, parse_time(time).seconds if time else None
    )


def ring_around(
    rows: Sequence[Row],
    readings: Mapping[str, Sequence[tuple[Any, ...]]],
    season: learning.Season,
    learned: learning.Learned,
    asked: WhatIf | None = None,
) -> Ring:
    """Place sheets on the ring-around.

    Parameters
    ----------
    rows, readings, season : as :func:`negcat.work.review_gathering.gather` gives them.
    learned : what they taught, for the way from time to contrast.
    asked : what to work out beside.
    """
    measured = [
        row
        for row in rows
        if row["exposure_error_stops"] is not None and row["exposure_error_sd"] is not None
    ]
    indexes = {sheet.sheet: sheet.exposure_index for sheet in season.sheets}
    reason = ""
    shifts: dict[tuple[str | None, str | None], _Way | str] = {}
    points = []
    for row in measured[-MOST_POINTS:]:
        moved_stops = moved_n = None
        if asked is not None and row["film"] == asked.film:
            if asked.index is not None and row["sheet"] in indexes:
                moved_stops = row["exposure_error_stops"] + log2(indexes[row["sheet"]] / asked.index)
            if asked.time_s is not None and row["development_s"] and asked.tag in (None, row["tag"]):
                process = (row["developer"], row["dilution"])
                if process not in shifts:
                    shifts[process] = _way(learned, asked.film, *process)
                way = shifts[process]
                if isinstance(way, str):
                    reason = way
                else:
                    moved_n = (
                        row["found_n"]
                        - row["tag_n"]
                        + way.n(asked.time_s)
                        - way.n(float(row["development_s"]))
                    )
        points.append(_placed(row, readings.get(row["sheet"], ()), moved_stops, moved_n))
    if asked is not None and not reason and not any(_moves(point) for point in points):
        reason = "None of the sheets drawn is one that this would move."
    return Ring(tuple(points), len(measured), asked, reason)


def _moves(point: Placed) -> bool:
    return point.moved_stops is not None or point.moved_n is not None


@dataclass(frozen=True)
class _Way:
    """The way from time to N: straight in the logarithm of the time between points, and on past them."""

    logs: Sequence[float]
    ns: Sequence[float]

    def n(self, seconds: float) -> float:
        at = log(seconds)
        place = sum(at > edge for edge in self.logs[1:-1])
        (x0, x1), (y0, y1) = self.logs[place : place + 2], self.ns[place : place + 2]
        return y0 + (at - x0) / (x1 - x0) * (y1 - y0)


def _way(learned: learning.Learned, film: str, developer: str | None, dilution: str | None) -> _Way | str:
    for curve in learned.contrast:
        if (curve.film, curve.developer, curve.dilution) == (film, developer, dilution):
            pairs = [(log(time), n) for time, n in zip(curve.times_s, curve.found_n, strict=True)]
            if len({at for at, _ in pairs}) >= 2:
                return _Way([at for at, _ in pairs], [n for _, n in pairs])
    process = " ".join(part for part in (developer, dilution) if part) or "its developer"
    return f"What another time would do to {film} in {process} isn’t known: it takes sheets developed for two times."


def _placed(
    row: Row, readings: Sequence[tuple[Any, ...]], moved_stops: float | None, moved_n: float | None
) -> Placed:
    return Placed(
        sheet=row["sheet"],
        error_stops=row["exposure_error_stops"],
        found_n=row["found_n"] - row["tag_n"],
        error_sd=row["exposure_error_sd"],
        found_sd=row["found_n_sd"],
        correlation=_correlation(readings, row["tag_n"]),
        verdict=row["verdict"],
        told=tells_development(row["found_n"], row["found_n_sd"]),
        moved_stops=moved_stops,
        moved_n=moved_n,
    )


def _correlation(readings: Sequence[tuple[Any, ...]], tag_n: float) -> float:
    """Correlation of the errors of exposure and development: of the line through the same readings."""
    given_known = any(given is not None for _, _, _, given, *_ in readings)
    points = []
    for name, _, planned, given, _, _, print_zone, print_zone_sd, *_ in readings:
        zone = given if given_known else planned
        if zone is None or print_zone is None or print_zone_sd is None:
            continue
        if zone <= _HIGHEST_ZONE and print_zone <= _HIGHEST_ZONE:
            points.append(Point(name, zone, print_zone, print_zone_sd**2 + ZONE_FLOOR_SD**2))
    if not points:
        return 0.0
    line = fit_line(points, tag_n, METERING_SD)
    return line.rn_density_covariance / sqrt(line.r_density_variance * line.n_density_variance)
