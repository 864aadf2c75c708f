"""What can be found of a scan as soon as it is read, before the catalogue is asked whose it is.

The process that writes the catalogue says what it expects of a file: `Foreseen`. Who reads the file finds with it what
hangs on it, and says what each thing was found with: `Found`. Of that the process that writes takes what was found with
just what it uses itself, and finds the rest anew, so that the outcome never hangs on what was foreseen.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from negcat import densitometry, scans
from negcat.densitometry import Condition, NoRebate, Rebate, ScannerProfile, SpotDensity
from negcat.scans import Reduced, ScanInfo
from negcat.sensitometry import TargetCurve
from negcat.work import scanned
from negcat.work.drawing import Printed, Size, plain_pictures, printed_pictures
from negcat.work.scanned import Basis, Profile

__all__ = ["Aperture", "Foreseen", "Found", "look_ahead"]


class Aperture(NamedTuple):
    """A spot without its name: fractions of the upright scan's width and height, diameter on the film."""

    x: float
    y: float
    diameter_mm: float

    def box(self, width: int, height: int, px_per_mm: float) -> tuple[int, int, int, int]:
        """Give the pixels that hold it, as :func:`negcat.scans.read_patch` takes them."""
        radius = self.diameter_mm * px_per_mm / 2
        x, y = self.x * width, self.y * height
        left, top = max(int(x - radius) - 1, 0), max(int(y - radius) - 1, 0)
        left, top = min(left, width - 1), min(top, height - 1)
        right, bottom = min(int(x + radius) + 2, width), min(int(y + radius) + 2, height)
        return left, top, max(right, left + 1), max(bottom, top + 1)

    def density(
        self,
        patch: npt.NDArray[np.uint16],
        width: int,
        height: int,
        channel: int,
        px_per_mm: float,
        profile: ScannerProfile,
    ) -> SpotDensity:
        """Measure it on the pixels of its :meth:`box`."""
        left, top, _, _ = self.box(width, height, px_per_mm)
        centre = (self.x * width - left, self.y * height - top)
        return densitometry.measure_spot(
            patch[:, :, channel], centre, self.diameter_mm * px_per_mm / 2, profile
        )


@dataclass(frozen=True)
class Foreseen:
    """What is expected of a file.

    Parameters
    ----------
    joined : whether a sheet is foreseen.
    film_channel : what its film is measured in.
    film_mm : the film's sides, where the sheet's format is known.
    apertures : places on this very scan that are to be measured.
    base_fog : the one that base+fog is read from.
    target : what the picture is printed with.
    profiles : of scanners, the earliest first, see :func:`negcat.work.scanned.holding`.
    """

    joined: bool
    film_channel: str
    film_mm: tuple[float, float] | None
    apertures: Sequence[Aperture]
    base_fog: Aperture | None
    target: TargetCurve
    profiles: Sequence[Profile]


@dataclass(frozen=True)
class Found:
    """What was found of a scan.

    Parameters
    ----------
    basis : what it was looked over and measured with.
    rebate, condition : see :func:`negcat.work.scanned.examine`.
    densities : of the apertures.
    printed : what the pictures are printed with; None: it is shown as it is.
    pictures : of every size, JPEG; None where they weren't made.
    sure : nothing of it hangs on what only the catalogue knows.
    """

    basis: Basis
    rebate: Rebate | NoRebate
    condition: Condition
    densities: Mapping[Aperture, SpotDensity]
    printed: Printed | None
    pictures: Mapping[Size, bytes] | None
    sure: bool


def look_ahead(
    info: ScanInfo, reduced: Reduced, pyramid: Path | None, scanner: str | None, foreseen: Foreseen
) -> Found:
    """Find of a scan what can be foreseen.

    Parameters
    ----------
    info : what it is.
    reduced : the scan made small.
    pyramid : its pyramid, None where it wasn't made.
    scanner : that it was made on.
    foreseen : what is expected of it.

    Raises
    ------
    ScanError : the master can't be read again, or its pyramid.
    """
    named = scanned.channel_of(foreseen.film_channel, info.mode)
    on, _ = scanned.scan_date(info.taken_at, info.modified_ns)
    profile = (
        scanned.holding(foreseen.profiles, scanner, info.bits, info.mode, named[1], on) if named else None
    )
    px_per_mm = scanned.pixels_per_mm(info.dpi, info.width, info.height, foreseen.film_mm)
    basis = Basis(profile.number if profile else None, named[0] if named else 0, px_per_mm)
    rebate, condition = scanned.examine(
        reduced,
        basis.channel,
        px_per_mm,
        profile.fitted if profile else None,
        bits=info.bits,
        lossy=info.lossy,
    )
    measurable = condition.measurable and profile is not None and px_per_mm is not None
    densities = {}
    if measurable and foreseen.apertures:
        assert profile is not None
        assert px_per_mm is not None
        size = info.width, info.height
        boxes = [aperture.box(*size, px_per_mm) for aperture in foreseen.apertures]
        densities = {
            aperture: aperture.density(patch, *size, basis.channel, px_per_mm, profile.fitted)
            for aperture, patch in zip(foreseen.apertures, scans.read_patches(info, boxes), strict=True)
        }
    base_fog = _base_fog(rebate, densities.get(foreseen.base_fog) if foreseen.base_fog else None)
    printed = pictures = None
    if (measurable or not foreseen.joined) and profile is not None and base_fog is not None:
        printed = Printed(profile.number, basis.channel, base_fog, foreseen.target)
        pictures = printed_pictures(reduced, printed, profile.fitted, info.width, info.height)
    elif pyramid is not None and not (measurable and foreseen.joined):
        pictures = plain_pictures(scans.open_pyramid(pyramid), info.width, info.height)
    return Found(
        basis,
        rebate,
        condition,
        densities,
        printed,
        pictures,
        # Base+fog that a scan doesn't show may be its batch's; what its tags say may name a sheet.
        sure=not (measurable and foreseen.joined and base_fog is None)
        and (foreseen.joined or not info.description),
    )


def _base_fog(rebate: Rebate | NoRebate, spot: SpotDensity | None) -> float | None:
    if spot is not None and spot.density is not None and spot.sd is not None:
        return spot.density
    return rebate.density if isinstance(rebate, Rebate) else None
