"""Drawing a scan small: as a print where its densities are known, as it is where they aren't.

A measured negative is shown as a print: each density above base+fog prints the tone that the print target gives
it. What can't be measured is shown as the scan is, because a tone that isn't known is not made up.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from negcat import scans, sensitometry
from negcat.densitometry import ScannerProfile
from negcat.scans import Pyramid, Reduced

__all__ = [
    "SIZES",
    "Printed",
    "Size",
    "plain_pictures",
    "preview_size",
    "printed_pictures",
    "printed_tones",
    "zone_tones",
]

Size = Literal["wall", "page"]
SIZES: dict[Size, int] = {"wall": 640, "page": 1600}
"""Longest side of each picture in pixels: twice what a page shows, for screens of double density."""

FULL_CODE = 65535
PREVIEW_QUALITY = 88


@dataclass(frozen=True)
class Printed:
    """What a picture is printed with: all that decides its tones beside the scan.

    Parameters
    ----------
    profile : number of the scanner's profile in the catalogue.
    channel : the channel's place in the scan.
    base_fog : density.
    target : what net density prints as which zone.
    """

    profile: int
    channel: int
    base_fog: float
    target: sensitometry.TargetCurve


def preview_size(width: int, height: int, size: Size) -> tuple[int, int]:
    """Give the width and height of a picture in pixels.

    Examples
    --------
    >>> preview_size(4000, 5000, "wall"), preview_size(300, 200, "page")
    ((512, 640), (300, 200))
    """
    scale = min(1.0, SIZES[size] / max(width, height))
    return max(1, round(width * scale)), max(1, round(height * scale))


def printed_pictures(
    reduced: Reduced, printed: Printed, fitted: ScannerProfile, width: int, height: int
) -> dict[Size, bytes]:
    """Draw a scan as a print, in every size.

    Parameters
    ----------
    reduced : the scan made small.
    printed : what it is printed with.
    fitted : the profile of that number.
    width, height : of the upright scan in pixels.

    Returns
    -------
    The files' bytes, JPEG.
    """
    table = printed_tones(fitted, printed.base_fog, printed.target)
    tones = table[np.clip(np.rint(reduced.codes[:, :, printed.channel]), 0, FULL_CODE).astype(np.intp)]
    return {
        size: scans.preview_of(tones, PREVIEW_QUALITY, size=preview_size(width, height, size))
        for size in SIZES
    }


def plain_pictures(pyramid: Pyramid, width: int, height: int) -> dict[Size, bytes]:
    """Draw a scan as it is, in every size, from its pyramid; see :func:`printed_pictures`."""
    pictures: dict[Size, bytes] = {}
    for size in SIZES:
        wanted = preview_size(width, height, size)
        pictures[size] = scans.preview_of(pyramid.draw(*wanted), PREVIEW_QUALITY, size=wanted)
    return pictures


def printed_tones(
    profile: ScannerProfile, base_fog: float, target: sensitometry.TargetCurve
) -> npt.NDArray[np.uint8]:
    """Make the table from code value to the tone it prints.

    Parameters
    ----------
    profile : of the scanner.
    base_fog : density.
    target : what net density prints as which zone.

    Returns
    -------
    uint8 (65536,): sRGB grey of each code's print lightness. Codes outside the profile's range take the tone
    of its nearest end: a picture is for looking, and no density is told from it.
    """
    codes = np.arange(FULL_CODE + 1, dtype=np.float64)
    low, high = 10.0 ** np.array([profile.log_codes[0], profile.log_codes[-1]])
    inside = np.clip(codes, *sorted((low, high)))
    net = profile.density(inside) - base_fog
    # At the ends of the range, rounding may fall outside by a hair.
    known = np.isfinite(net)
    net = np.interp(codes, codes[known], net[known])
    return zone_tones(target.zone(net))


def zone_tones(zones: npt.NDArray[np.float64]) -> npt.NDArray[np.uint8]:
    """Give the sRGB greys in which print zones print, uint8 of the same shape.

    Examples
    --------
    >>> zone_tones(np.array([0.0, 5.0, 10.0])).tolist()
    [22, 121, 242]
    """
    return np.rint(255 * scans.srgb_encoded(_luminance(sensitometry.print_lightness(zones)))).astype(np.uint8)


def _luminance(lightness: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Give the luminance factor Y (0 to 1) of a CIE 1976 lightness L* (0 to 100), ISO/CIE 11664-4."""
    return np.where(lightness > 8, ((lightness + 16) / 116) ** 3, lightness * 27 / 24389)
