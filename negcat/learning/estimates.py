"""From posterior to estimates: factors, exposure indices, exponents; what is entangled; what is advised."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from negcat.learning.gauge import Quantity
from negcat.learning.layout import Layout
from negcat.learning.learned import FactorEstimate, IndexEstimate, ReciprocityEstimate
from negcat.learning.posterior import Summed

__all__ = ["ENTANGLED", "entanglements", "factors_of", "indices_of", "reciprocity_of"]

ENTANGLED: Final = 0.7
"""Correlation in size beyond which two things can't be told from each other."""

_HOLDS_ZERO: Final = "no change is called for: the interval holds zero"
_REFERENCE: Final = "the others are held against it"
_NOTHING_TO_DO: Final = {
    "tag": "it is counted with the developing, there is nothing to set",
    "batch": "it is over and done with",
}


def entanglements(quantities: Sequence[Quantity], summed: Summed) -> tuple[tuple[str, ...], ...]:
    """Name, for every quantity, what it can't be told from.

    Parameters
    ----------
    quantities : as summed up, in the same order.
    summed : their posterior.
    """
    close = np.abs(summed.correlation) > ENTANGLED
    np.fill_diagonal(close, False)
    reference = np.array([quantity.is_reference for quantity in quantities])
    close[reference] = False
    close[:, reference] = False
    return tuple(
        tuple(quantities[j].key for j in np.flatnonzero(close[i]).tolist()) for i in range(len(quantities))
    )


def factors_of(
    quantities: Sequence[Quantity], summed: Summed, entangled: Sequence[tuple[str, ...]]
) -> tuple[FactorEstimate, ...]:
    """Return the factors' estimates; parameters in one order."""
    found = []
    for i, quantity in enumerate(quantities):
        if quantity.factor is None:
            continue
        mean, sd, low, high = (
            (0.0, 0.0, 0.0, 0.0)
            if quantity.is_reference
            else (float(part[i]) for part in (summed.mean, summed.sd, summed.low, summed.high))
        )
        clear = low > 0.0 or high < 0.0
        reason = (
            _REFERENCE
            if quantity.is_reference
            else _NOTHING_TO_DO.get(quantity.factor, "" if clear else _HOLDS_ZERO)
        )
        found.append(
            FactorEstimate(
                factor=quantity.factor,
                level=quantity.level,
                names=quantity.names,
                sheets=quantity.sheets,
                error_stops=mean,
                sd=sd,
                low=low,
                high=high,
                entangled_with=entangled[i],
                is_reference=quantity.is_reference,
                advised=not reason,
                reason=reason,
            )
        )
    return tuple(found)


def indices_of(layout: Layout, factors: Sequence[FactorEstimate]) -> tuple[IndexEstimate, ...]:
    """Turn the films' errors into exposure indices: used · 2^error."""
    found = []
    for factor in factors:
        if factor.factor != "film":
            continue
        used = layout.films[factor.level].exposure_index
        indicated, low, high = (used * 2.0**stops for stops in (factor.error_stops, factor.low, factor.high))
        found.append(
            IndexEstimate(
                film=factor.level,
                used=used,
                indicated=indicated,
                low=low,
                high=high,
                sd_stops=factor.sd,
                sheets=factor.sheets,
                entangled_with=factor.entangled_with,
                advised=factor.advised,
                reason=factor.reason,
            )
        )
    return tuple(found)


def reciprocity_of(
    layout: Layout, quantities: Sequence[Quantity], summed: Summed, entangled: Sequence[tuple[str, ...]]
) -> tuple[ReciprocityEstimate, ...]:
    """Return the films' exponents; parameters as :func:`factors_of`."""
    found = []
    for i, quantity in enumerate(quantities):
        if quantity.factor is not None:
            continue
        film = quantity.level
        base = layout.exponents[film]
        low, high = float(summed.low[i]), float(summed.high[i])
        clear = low > 0.0 or high < 0.0
        found.append(
            ReciprocityEstimate(
                film=film,
                exponent_used=None if layout.films[film].law == "table" else base,
                exponent_indicated=base + float(summed.mean[i]),
                low=base + low,
                high=base + high,
                sd=float(summed.sd[i]),
                sheets=quantity.sheets,
                entangled_with=entangled[i],
                advised=clear,
                reason="" if clear else _HOLDS_ZERO,
            )
        )
    return tuple(found)
