"""What a sheet that doesn't belong looks like.

Sources
-------
Gelman : A. Gelman et al., Bayesian Data Analysis (2013), 7.4: comparing explanations by their marginal likelihood.
"""

from dataclasses import replace
from math import log, log2
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from negcat.learning.fitting import Fit, Fitter
from negcat.learning.layout import Layout, Rows, process_of
from negcat.learning.learned import LooksLike, Spoiled
from negcat.learning.prediction import predict
from negcat.learning.sheets_together import MISTAKEN_SD, spoiled_directions
from negcat.learning.unknowns import Process

__all__ = ["accidents_of"]

Array = NDArray[np.float64]

_NAMED = 0.5
"""Probability of an accident from which a sheet is named."""

_DOUBLE = (1.0, 0.3)  # stops by which a second exposure of about the same adds, and its deviation
_FOG = (0.2, 0.12)  # density
_UNSURE_STOPS = 0.15  # how well another film's speed and development are known for this
_EACH = 0.25  # of four accidents none is likelier than another beforehand


class _Account(NamedTuple):
    """One explanation of a sheet's readings."""

    looks_like: LooksLike
    log_evidence: float
    amount: float
    unit: Literal["stops", "density"]
    reading: str | None = None
    other_film: str | None = None


def accidents_of(layout: Layout, fitter: Fitter, fit: Fit) -> tuple[Spoiled, ...]:
    """Name the sheets that more likely than not don't belong, likeliest first, and what each looks like.

    Parameters
    ----------
    layout, fitter, fit : the season, and its fit at the likeliest noise levels.

    Notes
    -----
    The explanations are compared by the density they give the sheet's readings (Gelman): all up by one
    density (fog), all up by about a stop (double exposure), as another film of the season would have
    answered (wrong film), one reading off (mistaken), or simply far off together (stands apart).
    """
    state = fit.weighed
    found = []
    for i in np.flatnonzero(state.belongs < 1.0 - _NAMED):
        rows = np.flatnonzero(layout.rows.sheet[: layout.densities] == i)
        accounts = _accounts(layout, fitter, fit, int(i), rows)
        best = max(accounts, key=lambda account: account.log_evidence)
        found.append(
            Spoiled(
                sheet=layout.sheets[i].sheet,
                looks_like=best.looks_like,
                reading=best.reading,
                amount=best.amount,
                unit=best.unit,
                other_film=best.other_film,
                probability=float(1.0 - state.belongs[i]),
            )
        )
    return tuple(sorted(found, key=lambda sheet: (-sheet.probability, sheet.sheet)))


def _accounts(
    layout: Layout, fitter: Fitter, fit: Fit, sheet: int, which: NDArray[np.intp]
) -> list[_Account]:
    rows = layout.rows.take(which)
    predicted = fit.predicted
    k = predicted.by_stop[which]
    residual = rows.density - predicted.density[which]
    own = np.diag(fitter.together.variances(predicted, fit.noise)[which])
    ones = np.ones(len(which))
    common = fit.noise.sheet**2
    covariance = own + common * np.outer(k, k)
    middle = rows.zone - rows.zone.mean()
    directions = spoiled_directions(k[None], ones[None], middle[None])[0]
    shift = _along(residual, covariance, k)
    accounts = [
        _Account(
            "stands apart",
            _log_normal(residual, covariance + directions @ directions.T) + log(_EACH),
            shift,
            "stops",
        )
    ]
    if len(which) > 1:
        fog = residual - _FOG[0]
        accounts.append(
            _Account(
                "fog",
                _log_normal(fog, covariance + _FOG[1] ** 2 * np.outer(ones, ones)) + log(_EACH),
                _along(residual, covariance, ones),
                "density",
            )
        )
        for j in range(len(which)):
            wider = covariance.copy()
            wider[j, j] += MISTAKEN_SD**2
            accounts.append(
                _Account(
                    "mistaken reading",
                    _log_normal(residual, wider) + log(0.5 * _EACH),
                    float(residual[j]),
                    "density",
                    reading=layout.names[which[j]],
                )
            )
    state = fit.state
    doubled = replace(rows, zone=rows.zone + _DOUBLE[0])
    twice = predict(layout.shape, doubled, state.unknowns, state.batches)
    accounts.append(
        _Account(
            "double exposure",
            _log_normal(
                rows.density - twice.density,
                own + (common + _DOUBLE[1] ** 2) * np.outer(twice.by_stop, twice.by_stop),
            )
            + log(_EACH),
            _DOUBLE[0] + _along(rows.density - twice.density, own, twice.by_stop),
            "stops",
        )
    )
    if len(which) > 1:
        accounts += _other_films(layout, fit, sheet, rows, own)
    return accounts


def _other_films(layout: Layout, fit: Fit, sheet: int, rows: Rows, own: Array) -> list[_Account]:
    """Explain a sheet's readings by each other film, in the same developer where it was used in it."""
    recorded = layout.sheets[sheet]
    process, find, state = process_of(recorded), layout.unknowns.find, fit.state
    others = [film for film in layout.main_process if film != recorded.film]
    found = []
    for film in others:
        same = Process(film, recorded.developer, recorded.dilution)
        other = same if find("bend", (*same, "0")) >= 0 else layout.main_process[film]
        stops = rows.stops.copy()
        stops[:, 0], stops[:, 1] = find("film", (film,)), find("process", other)
        stops[:, 5] = -1
        faster = log2(layout.films[film].exposure_index / layout.films[recorded.film].exposure_index)
        there = replace(
            rows,
            zone=rows.zone + faster,
            stops=stops,
            bends=np.full(len(rows), find("bend", (*other, "0"))),
            batch=np.full(len(rows), -1),
        )
        time = layout.reference_time[other]
        if recorded.development_s and time and layout.reference_time[process]:
            contrast, rise, rise_bend, log_q10 = (
                np.full(len(rows), find(kind, other)) for kind in ("contrast", "rise", "rise bend", "log q10")
            )
            there = replace(
                there,
                log_time=np.full(len(rows), log(recorded.development_s / time)),
                contrast=contrast,
                rise=rise,
                rise_bend=rise_bend,
                log_q10=log_q10,
            )
        expected = predict(layout.shape, there, state.unknowns, state.batches)
        k = expected.by_stop
        wide = fit.noise.sheet**2 + _UNSURE_STOPS**2
        speed = faster + float(
            state.unknowns[find("film", (film,))] - state.unknowns[find("film", (recorded.film,))]
        )
        found.append(
            _Account(
                "wrong film",
                _log_normal(rows.density - expected.density, own + wide * np.outer(k, k))
                + log(_EACH / len(others)),
                speed,
                "stops",
                other_film=film,
            )
        )
    return found


def _along(residual: Array, covariance: Array, direction: Array) -> float:
    """Return by how much of a direction a sheet is off, by weighted least squares."""
    weighted = np.linalg.solve(covariance, direction)
    return float(weighted @ residual / (weighted @ direction))


def _log_normal(residual: Array, covariance: Array) -> float:
    factor = np.linalg.cholesky(covariance)
    white = np.linalg.solve(factor, residual)
    return float(
        -0.5 * white @ white - np.log(factor.diagonal()).sum() - 0.5 * len(residual) * log(2.0 * np.pi)
    )
