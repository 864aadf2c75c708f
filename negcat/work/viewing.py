"""A scan under the eye: how its tones are drawn as a print and by zone, and what its density is at a point.

The tables are for the tones of the pyramid's tiles, 256 of them; the point is measured on the master.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import isfinite
from typing import Any

import numpy as np

from negcat import densitometry, records, scans
from negcat.densitometry import Rebate
from negcat.errors import QuantityError, UnknownNameError
from negcat.scans import Pyramid
from negcat.sensitometry import TargetCurve
from negcat.work import scanned
from negcat.work.archive import Archive
from negcat.work.drawing import printed_tones
from negcat.work.masters import header_of
from negcat.work.naming import known_sheet
from negcat.work.planning import Equipment
from negcat.work.scanned import Profile

__all__ = ["APERTURES_MM", "Probed", "Sight", "Tables", "look", "measure_at", "tables"]

APERTURES_MM = (0.05, 20.0)
"""Least and greatest diameter of the probe on the film."""

LOST_BELOW = 0.03
"""Net density below which a tone can't be told from base+fog."""


@dataclass(frozen=True)
class Sight:
    """A scan of a sheet, with what is needed to tell densities and print zones on it.

    Parameters
    ----------
    sheet : the sheet's id.
    row : the scan, as the catalogue has it.
    target : the print target that the sheet is held against.
    profile : the scanner's; None where nothing can be measured.
    channel : place of the measured channel in the scan.
    px_per_mm : on the film; None where it isn't known.
    base_fog, base_fog_sd : density; None where it isn't known.
    base_fog_profile : whether base+fog was measured through the same profile.
    reason : a sentence on why there are no densities, or no net ones; empty where there are.
    spots : (reading's place among the sheet's readings, x, y, diameter_mm) on this scan.
    frame : the picture's edges (x0, y0, x1, y1) as fractions; None where it wasn't found.
    """

    sheet: str
    row: Mapping[str, Any]
    target: TargetCurve
    profile: Profile | None
    channel: int
    px_per_mm: float | None
    base_fog: float | None
    base_fog_sd: float | None
    base_fog_profile: bool
    reason: str
    spots: tuple[tuple[int, float, float, float], ...]
    frame: tuple[float, float, float, float] | None

    @property
    def measurable(self) -> bool:
        """Whether a point of the scan has a density."""
        return self.profile is not None and self.px_per_mm is not None


def look(archive: Archive, sheet: str, scan: str) -> Sight:
    """Look up what is known of a scan of a sheet.

    Parameters
    ----------
    archive : the archive, which is only read.
    sheet, scan : ids.

    Raises
    ------
    UnknownNameError : there is no such sheet, or the scan isn't one of it.
    """
    catalogue = archive.catalogue
    record = known_sheet(catalogue, sheet)
    row = catalogue.scan(scan)
    if row is None or row["sheet"] != record.sheet:
        raise UnknownNameError(f"sheet {record.sheet} has no scan '{scan}'")
    stored = catalogue.profile(row["profile"]) if row["profile"] is not None else None
    profile = scanned.profile_from(stored) if stored and row["unmeasured"] is None else None
    rebate = scanned.rebate_of(row)
    findings = catalogue.findings(record.sheet)
    own = findings is not None and findings.scan == row["scan"]
    base_fog = base_fog_sd = None
    through_profile = False
    if own and findings is not None and findings.base_fog is not None:
        base_fog, base_fog_sd = findings.base_fog["density"], findings.base_fog["sd"]
        through_profile = findings.base_fog["source"] in ("rebate", "spot")
    elif isinstance(rebate, Rebate):
        base_fog, base_fog_sd, through_profile = rebate.density, rebate.sd, True
    spots = tuple(
        (index, float(spot["x"]), float(spot["y"]), float(spot["diameter_mm"]))
        for index, reading in enumerate(findings.readings if own and findings is not None else ())
        if (spot := reading.get("spot")) and spot.get("x") is not None
    )
    box = rebate.picture_frame if isinstance(rebate, Rebate) else None
    return Sight(
        sheet=record.sheet,
        row=row,
        target=Equipment(catalogue).target(record.print_target),
        profile=profile,
        channel=scanned.CHANNELS[row["mode"]].index(profile.fitted.channel) if profile else 0,
        px_per_mm=scanned.pixels_per_mm(
            row["dpi"],
            row["width"],
            row["height"],
            records.film_size_mm(record.format) if record.format else None,
        ),
        base_fog=base_fog,
        base_fog_sd=base_fog_sd,
        base_fog_profile=through_profile,
        reason=_reason(row, profile, base_fog),
        spots=spots,
        frame=(box.x0, box.y0, box.x1, box.y1) if box is not None else None,
    )


def _reason(row: Mapping[str, Any], profile: Profile | None, base_fog: float | None) -> str:
    if profile is None:
        why = row["unmeasured"] or "it has no profile of its scanner"
        return f"This scan has no densities: {str(why).rstrip('.')}."
    if base_fog is None:
        return "Base+fog isn’t known, so there are no net densities and no print zones."
    return ""


@dataclass(frozen=True)
class Tables:
    """How the 256 tones of a pyramid's tiles are drawn.

    Parameters
    ----------
    printed : the grey (0 to 255, sRGB) in which each tone prints.
    zones : the nearest print zone (0 to 10) of each tone; None for one that stands for no known density.
    channel : place of the channel whose tones these are.
    """

    printed: tuple[int, ...]
    zones: tuple[int | None, ...]
    channel: int


def tables(sight: Sight, pyramid: Pyramid) -> Tables | None:
    """Make the tables of a scan; None where its densities or base+fog aren't known.

    Parameters
    ----------
    sight : see :func:`look`.
    pyramid : whose tones are to be drawn.
    """
    if sight.profile is None or sight.base_fog is None:
        return None
    printed = printed_tones(sight.profile.fitted, sight.base_fog, sight.target)[pyramid.codes]
    net = sight.profile.fitted.density(pyramid.codes) - sight.base_fog
    known = np.isfinite(net)
    zones = np.clip(np.rint(sight.target.zone(np.where(known, net, 0.0))), 0, 10)
    return Tables(
        printed=tuple(int(tone) for tone in printed),
        zones=tuple(int(zone) if there else None for zone, there in zip(zones, known, strict=True)),
        channel=sight.channel,
    )


@dataclass(frozen=True)
class Probed:
    """What was measured at a point; one standard deviation each, None where it can't be had.

    Parameters
    ----------
    x, y : the point as fractions of the upright scan's width and height.
    diameter_mm : of the aperture on the film.
    density, sd : transmission density.
    net_density, net_sd : above base+fog.
    print_zone, print_zone_sd : by the sheet's print target.
    lost : the net density can't be told from base+fog; there is no print zone then.
    bound, limit : ``denser`` or ``clearer`` than the density where the profile ends.
    reason : a sentence on what can't be had, else empty.
    """

    x: float
    y: float
    diameter_mm: float
    density: float | None = None
    sd: float | None = None
    net_density: float | None = None
    net_sd: float | None = None
    print_zone: float | None = None
    print_zone_sd: float | None = None
    lost: bool = False
    bound: str | None = None
    limit: float | None = None
    reason: str = ""


def measure_at(archive: Archive, sight: Sight, x: float, y: float, diameter_mm: float) -> Probed:
    """Measure the density at a point, on the master and through its profile.

    Parameters
    ----------
    archive : the archive.
    sight : see :func:`look`.
    x, y : fractions of the upright scan's width and height from its top left, 0 to 1.
    diameter_mm : of the round aperture on the film, within :data:`APERTURES_MM`.

    Raises
    ------
    QuantityError : a point outside the scan, an aperture outside its limits.
    ScanError : the master is away or changed.
    """
    if not (isfinite(x) and isfinite(y) and 0 <= x <= 1 and 0 <= y <= 1):
        raise QuantityError("The point lies outside the scan: x and y are fractions from 0 to 1.")
    if not APERTURES_MM[0] <= diameter_mm <= APERTURES_MM[1]:
        raise QuantityError(
            f"The aperture must be {APERTURES_MM[0]:g} to {APERTURES_MM[1]:g} mm wide on the film."
        )
    nothing = Probed(x, y, diameter_mm)
    if sight.profile is None:
        return replace(nothing, reason=sight.reason)
    if sight.px_per_mm is None:
        return replace(
            nothing, reason="The scan’s resolution isn’t known, so the aperture has no size on it."
        )
    row = sight.row
    radius = diameter_mm * sight.px_per_mm / 2
    centre = x * row["width"], y * row["height"]
    left, top = (min(max(int(c - radius) - 1, 0), row[s] - 1) for c, s in zip(centre, _SIDES, strict=True))
    right, bottom = (
        max(min(int(c + radius) + 2, row[s]), start + 1)
        for c, s, start in zip(centre, _SIDES, (left, top), strict=True)
    )
    patch = scans.read_patch(header_of(archive, row), left, top, right, bottom)
    fitted = sight.profile.fitted
    spot = densitometry.measure_spot(
        patch[:, :, sight.channel], (centre[0] - left, centre[1] - top), radius, fitted
    )
    if spot.density is None or spot.sd is None:
        return replace(nothing, bound=spot.bound, limit=spot.limit, reason=spot.reason)
    if sight.base_fog is None:
        return replace(nothing, density=spot.density, sd=spot.sd, reason=sight.reason)
    net = densitometry.net_density(
        spot.density,
        spot.sd,
        sight.base_fog,
        sight.base_fog_sd or 0.0,
        fitted if sight.base_fog_profile else None,
    )
    lost = net.density < LOST_BELOW
    zone = float(sight.target.zone(net.density))
    return replace(
        nothing,
        density=spot.density,
        sd=spot.sd,
        net_density=net.density,
        net_sd=net.sd,
        print_zone=None if lost else zone,
        print_zone_sd=None if lost else net.sd / float(sight.target.slope(zone)),
        lost=lost,
    )


_SIDES = ("width", "height")
