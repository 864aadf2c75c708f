"""How what several sheets say is written down."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from math import sqrt
from typing import Any

from negcat.summaries import summarise

__all__ = ["ONLY_THE_TAG_SD", "as_document", "tells_development"]

ONLY_THE_TAG_SD = 0.5 / sqrt(2.0)
"""Deviation of a found N, by the densities alone, from which on more than half of it is only the tag's.

The line of a sheet begins from its tag ± 0.5 N; a single reading leaves it there.
"""


def as_document(values: Sequence[float]) -> dict[str, Any]:
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
