"""How what several sheets say is written down."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from math import sqrt
from typing import Any

import numpy as np
import numpy.typing as npt

from negcat.summaries import summarise

__all__ = ["ONLY_THE_TAG_SD", "as_document", "known", "parted", "telling_development", "tells_development"]

ONLY_THE_TAG_SD = 0.5 / sqrt(2.0)
"""Deviation of a found N, by the densities alone, from which on more than half of it is only the tag's.

The line of a sheet begins from its tag ± 0.5 N; a single reading leaves it there.
"""


def as_document(values: Sequence[float] | npt.NDArray[np.float64]) -> dict[str, Any]:
    """Sum values up, by names: ``count``, ``mean``, ``median``, ``low``, ``high`` (90 %), ``sd``, ``reason``."""
    return asdict(summarise(values))


def tells_development(found_n: float | None, density_sd: float | None) -> bool:
    """Tell whether a sheet's found N is found, and not for the greater part the tag it was meant for.

    Examples
    --------
    >>> tells_development(0.4, 0.12), tells_development(1.0, 0.49), tells_development(None, None)
    (True, False, False)
    """
    return found_n is not None and density_sd is not None and density_sd <= ONLY_THE_TAG_SD


def telling_development(
    found_n: npt.NDArray[np.float64], density_sd: npt.NDArray[np.float64]
) -> npt.NDArray[np.bool_]:
    """Tell of each sheet what :func:`tells_development` tells of one; NaN stands for what there isn't."""
    return np.isfinite(found_n) & (density_sd <= ONLY_THE_TAG_SD)


def known(values: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Leave out what there isn't, which is NaN."""
    return values[np.isfinite(values)]


def parted(*numbers: npt.NDArray[Any]) -> list[npt.NDArray[np.intp]]:
    """Part sheets into groups.

    Parameters
    ----------
    numbers : whole numbers from 0, one a sheet; those of a group agree in all of them.

    Returns
    -------
    The places of each group's sheets, rising; the groups by their numbers.

    Examples
    --------
    >>> [places.tolist() for places in parted(np.array([1, 0, 1]), np.array([2, 5, 2]))]
    [[1], [0, 2]]
    """
    together = np.zeros(len(numbers[0]), np.int64)
    if not len(together):
        return []
    for one in numbers:
        together = together * (int(one.max()) + 1) + one
    order = np.argsort(together, kind="stable")
    return np.split(order, np.flatnonzero(np.diff(together[order])) + 1)
