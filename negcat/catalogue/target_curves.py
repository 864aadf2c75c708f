"""A print target's curve from what its row keeps."""

from __future__ import annotations

import json
from functools import lru_cache

from negcat.notation import parse_zone
from negcat.sensitometry import TargetCurve

__all__ = ["curve_of"]


@lru_cache(maxsize=256)
def curve_of(name: str, densities: str) -> TargetCurve:
    """Give the curve of a print target.

    Parameters
    ----------
    name : the target's.
    densities : zone → density above base+fog, JSON.

    Examples
    --------
    >>> curve_of("salted paper", '{"I": 0.1, "V": 0.9, "VIII": 1.6}').density(5.0)
    0.9
    """
    points = sorted((parse_zone(zone).value, density) for zone, density in json.loads(densities).items())
    return TargetCurve(name, tuple(zone for zone, _ in points), tuple(density for _, density in points))
