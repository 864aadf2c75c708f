"""The printed tone: how light a zone looks on the print.

Sources
-------
CIE 15 : CIE 15:2004, Colorimetry: lightness L* of a luminance factor.
D1535 : ASTM D1535: luminance factor of a Munsell value.
Fritsch : F. N. Fritsch, R. E. Carlson, Monotone piecewise cubic interpolation, SIAM J. Num. Anal. 17 (1980).
White : M. White, R. Zakia, P. Lorenz, The New Zone System Manual (1976): print values as Munsell values.
"""

from typing import overload

import numpy as np
from numpy.typing import NDArray

from negcat.sensitometry.targets import TargetCurve

__all__ = ["print_lightness"]

_PAPER_BLACK_DENSITY = 2.10
_PAPER_WHITE_DENSITY = 0.05


def _lightness(luminance_factor: float) -> float:
    """CIE 1976 lightness L* of a luminance factor 0 to 1 (CIE 15)."""
    if luminance_factor > (6.0 / 29.0) ** 3:
        return float(116.0 * luminance_factor ** (1.0 / 3.0) - 16.0)
    return luminance_factor * (29.0 / 3.0) ** 3


def _munsell_luminance_factor(value: float) -> float:
    """Luminance factor 0 to 1 of a Munsell value 0 to 10 (D1535)."""
    return (
        value
        * (1.1914 + value * (-0.22533 + value * (0.23352 + value * (-0.020484 + value * 0.00081939))))
        / 100
    )


_LIGHTNESS_CURVE = TargetCurve(
    "printed tone",
    tuple(float(zone) for zone in range(11)),
    (
        _lightness(10**-_PAPER_BLACK_DENSITY),
        *(_lightness(_munsell_luminance_factor(float(zone))) for zone in range(1, 10)),
        _lightness(10**-_PAPER_WHITE_DENSITY),
    ),
)


@overload
def print_lightness(zone: float) -> float: ...
@overload
def print_lightness(zone: NDArray[np.float64]) -> NDArray[np.float64]: ...
def print_lightness(zone: float | NDArray[np.float64]) -> float | NDArray[np.float64]:
    """CIE lightness L* of the tone in which a zone prints.

    Parameters
    ----------
    zone : print zone, or an array of them of any shape.

    Returns
    -------
    L*, 0 to 100 by definition, here from the paper's black (7.2) to its white (95.6), rising in between.

    Notes
    -----
    Zones I to IX are taken as the Munsell values 1 to 9 (White), that is as steps that look equal, through
    the luminance factor of a Munsell value (D1535) and L* (CIE 15). Zone 0 is the black of a glossy paper
    of density 2.10, zone X a paper white of 0.05; beyond them a print has nothing to give. Between the
    zones a monotone cubic (Fritsch).

    Examples
    --------
    >>> round(print_lightness(5.0), 1), round(print_lightness(0.0), 1), round(print_lightness(12.0), 1)
    (51.0, 7.2, 95.6)
    """
    if isinstance(zone, np.ndarray):
        return _LIGHTNESS_CURVE.density(np.clip(zone, 0.0, 10.0))
    return _LIGHTNESS_CURVE.density(min(max(zone, 0.0), 10.0))
