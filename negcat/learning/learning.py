"""From a season to what it taught."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from typing import Final, Literal, cast

import numpy as np
from numpy.typing import NDArray

from negcat.learning.accidents import accidents_of
from negcat.learning.developing import (
    contrast_combination,
    contrasts_of,
    curves_of,
    developments_of,
)
from negcat.learning.estimates import entanglements, factors_of, indices_of, reciprocity_of
from negcat.learning.fitting import Fit, Fitter
from negcat.learning.gauge import Quantity, quantities_of, tag_level
from negcat.learning.layout import Layout, lay_out, measured_sheets, process_of
from negcat.learning.learned import (
    DevelopmentEstimate,
    FactorEstimate,
    Learned,
    NoiseLevel,
    ReciprocityEstimate,
    SheetEffect,
)
from negcat.learning.noise import Weighted, integrate, likeliest_noise
from negcat.learning.posterior import moments, sum_up
from negcat.learning.prediction import stops_of_rows
from negcat.learning.season import Season, Sheet
from negcat.learning.settling import Open, settle
from negcat.learning.unknowns import Process
from negcat.notation import format_tag

__all__ = ["LEARNING_VERSION", "learn"]

Array = NDArray[np.float64]

LEARNING_VERSION: Final = 1
"""Raised whenever the same season would teach something else."""

_ENOUGH_FOR_NOISE: Final = 600
"""From so many sheets on, noise is known far better than it matters: it is learnt from some, whole batches each."""

_OPEN_STOPS: Final = 1 / 6
_OPEN_EXPONENT: Final = 0.06
_OPEN_N: Final = 0.35
"""An estimate without advice is open where its interval reaches beyond these."""


def learn(season: Season) -> Learned:
    """Fit a season's sheets together.

    Parameters
    ----------
    season : the sheets, and what is on record about films, lenses and tests. Zones given must all be reckoned
        with the record as it is believed now, except that each sheet names the exposure index it was
        reckoned with.

    Returns
    -------
    Estimates with their intervals, entanglements and advice; of a season without a single density, empty
    lists and `why`.

    Raises
    ------
    QuantityError
        Where a sheet names a film, lens or cell that the season doesn't hold, a number is no finite number,
        or two sheets have one id.

    Notes
    -----
    Net density = curve(zone given + film + lens + cell + shutter time + reciprocity + tag + batch + sheet;
    contrast(time, temperature)), see `prediction`; priors in `unknowns`; accidents as a mixture, see
    `sheets_together`; mode and curvature in `fitting`; noise levels and how they widen the intervals in `noise`;
    the terms in which it is told in `gauge`.
    """
    measured = measured_sheets(season)
    ids = tuple(sheet.sheet for sheet in season.sheets)
    if not measured:
        why = (
            ("No sheet has a density yet, so there is nothing to learn from.",)
            if ids
            else ("There are no sheets yet.",)
        )
        return Learned(ids, (), (), (), (), (), (), (), (), (), (), (), why, LEARNING_VERSION)
    layout = lay_out(season)
    fitter = Fitter(layout)
    points = _fits(season, measured, fitter)
    fit = points[0].fit
    quantities = quantities_of(layout)
    combinations = np.array(
        [quantity.combination for quantity in quantities if quantity.combination is not None]
    )
    summed = sum_up(points, combinations)
    entangled = entanglements(quantities, summed)
    factors = factors_of(quantities, summed, entangled)
    reciprocity = reciprocity_of(layout, quantities, summed, entangled)
    development = developments_of(layout, points)
    films = {
        quantity.level: quantity.combination
        for quantity in quantities
        if quantity.factor == "film" and quantity.combination is not None
    }
    mean, covariance = moments(points)
    open_questions = _open(layout, quantities, factors, reciprocity, development, mean)
    return Learned(
        sheets=ids,
        measured=tuple(sheet.sheet for sheet in measured),
        factors=factors,
        exposure_index=indices_of(layout, factors),
        reciprocity=reciprocity,
        development=development,
        spoiled=accidents_of(layout, fitter, fit),
        settling=settle(layout, fit, mean, covariance, open_questions),
        noise=_noise_levels(points, fitter),
        curves=curves_of(layout, points, films),
        contrast=contrasts_of(layout, points),
        effects=_effects(layout, fitter, fit),
        why=_why(season, measured),
        version=LEARNING_VERSION,
    )


def _fits(season: Season, measured: Sequence[Sheet], fitter: Fitter) -> tuple[Weighted, ...]:
    """Fit around the likeliest noise; of a large archive the noise from some of it, then one fit of all."""
    if len(measured) <= _ENOUGH_FOR_NOISE:
        return integrate(fitter)
    of_batch: dict[str, list[Sheet]] = defaultdict(list)
    for sheet in measured:
        of_batch[sheet.batch or f"sheet {sheet.sheet}"].append(sheet)
    # Every so many-th batch, until there are enough: spread evenly over the archive, always the same ones.
    names = sorted(of_batch)
    every = max(len(measured) // _ENOUGH_FOR_NOISE, 1)
    some = [sheet for name in names[::every] for sheet in of_batch[name]]
    noise = likeliest_noise(Fitter(lay_out(replace(season, sheets=tuple(some)))))
    rough = replace(noise, sheet=max(noise.sheet, 0.3), accidents=False)
    state = fitter.climb(fitter.start(), rough, steps=10, near=0.1)
    return (Weighted(fitter.fit(state, noise, steps=12, near=5e-3), 1.0),)


def _open(
    layout: Layout,
    quantities: Sequence[Quantity],
    factors: Sequence[FactorEstimate],
    reciprocity: Sequence[ReciprocityEstimate],
    development: Sequence[DevelopmentEstimate],
    mean: Array,
) -> list[Open]:
    """Gather what has no advice but might: its interval holds zero and reaches far from it."""
    wide = {
        f"{factor.factor}: {factor.level}"
        for factor in factors
        if factor.factor in ("film", "lens", "cell", "shutter_time")
        and not factor.is_reference
        and not factor.advised
        and max(-factor.low, factor.high) > _OPEN_STOPS
    }
    for film in reciprocity:
        used = layout.exponents[film.film]
        if not film.advised and max(used - film.low, film.high - used) > _OPEN_EXPONENT:
            wide.add(f"reciprocity: {film.film}")
    found = [
        Open(quantity.key, quantity.combination)
        for quantity in quantities
        if quantity.key in wide and quantity.combination is not None
    ]
    of_tag: dict[tuple[Process, str], list[Sheet]] = defaultdict(list)
    for sheet in layout.sheets:
        of_tag[process_of(sheet), format_tag(sheet.planned_n)].append(sheet)
    for tag in development:
        if tag.advised or tag.high_n - tag.low_n < 2.0 * _OPEN_N:
            continue
        process = Process(tag.film, tag.developer, tag.dilution)
        combination = contrast_combination(layout, process, tag.tag, of_tag[process, tag.tag])
        reached = max(float(combination @ mean), 0.3)
        key = f"development: {tag_level(layout, process, tag.tag)}"
        found.append(Open(key, combination, 7.0 / reached**2))
    return found


def _noise_levels(points: Sequence[Weighted], fitter: Fitter) -> tuple[NoiseLevel, ...]:
    """Return the noise levels; the interval is lognormal over the design's points."""
    shares = np.array([point.share for point in points])
    found = []
    for name in ("reading", "sheet", "batch", "batch_contrast"):
        if not fitter.has(name):
            continue
        logs = np.log([getattr(point.fit.noise, name) for point in points])
        middle = float(shares @ logs)
        wide = 1.645 * float(np.sqrt(shares @ (logs - middle) ** 2))
        word = cast('Literal["reading", "sheet", "batch", "batch contrast"]', name.replace("_", " "))
        ends = np.exp([middle, middle - wide, middle + wide])
        found.append(NoiseLevel(word, *(float(end) for end in ends)))
    return tuple(found)


def _effects(layout: Layout, fitter: Fitter, fit: Fit) -> tuple[SheetEffect, ...]:
    """Return what was learnt of every sheet: its own shift by the normal posterior of a hierarchy's level."""
    together, weighed, count = fitter.together, fit.weighed, layout.densities
    residual = together.padded((layout.rows.density - fit.predicted.density)[:count])
    own = together.padded(1.0 / weighed.variance[:count]) * (1.0 - weighed.mistaken)
    k = weighed.by_stop
    precision = fit.noise.sheet**-2.0 + (own * k * k).sum(axis=1)
    shift = (own * k * residual).sum(axis=1) / precision
    stops = stops_of_rows(layout.rows, fit.state.unknowns, fit.state.batches)
    contrast = fit.predicted.contrast
    first = {int(sheet): i for i, sheet in reversed(list(enumerate(layout.rows.sheet))) if sheet >= 0}
    return tuple(
        SheetEffect(
            sheet=sheet.sheet,
            factors_stops=float(stops[first[i]]),
            own_stops=float(shift[i]),
            own_sd=float(precision[i] ** -0.5),
            contrast=float(contrast[first[i]]),
            belongs=float(weighed.belongs[i]),
        )
        for i, sheet in enumerate(layout.sheets)
    )


def _why(season: Season, measured: Sequence[Sheet]) -> tuple[str, ...]:
    found = []
    left = len(season.sheets) - len(measured)
    if left:
        found.append(f"{left} of {len(season.sheets)} sheets have no density yet and teach nothing.")
    undeveloped = sum(1 for sheet in measured if sheet.development_s is None)
    if undeveloped:
        found.append(
            f"{undeveloped} sheets have no developing time on record: their contrast is learnt for their tag, "
            "but leads to no time."
        )
    return tuple(found)
