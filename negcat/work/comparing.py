"""Two scans of one sheet held against each other: how they lie, and what density each gives to the same place.

The film is one; what differs is the scanner, the day, the resolution and the way round the film lay. So a
difference between two densities of one place says how far the scans, and the profiles behind them, can be trusted.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import sqrt
from typing import Any

from negcat import records
from negcat.densitometry.registration import NoRegistration, Registration
from negcat.errors import QuantityError, ScanError, UnknownNameError
from negcat.work import viewing
from negcat.work.archive import Archive
from negcat.work.carrying import kept_registration, lay_once, source_scan
from negcat.work.naming import known_sheet
from negcat.work.viewing import Probed, Sight

__all__ = [
    "Compared",
    "Comparison",
    "Lies",
    "Spot",
    "compare",
    "compare_at",
    "difference",
    "scans_of",
    "spots",
]

ALLOWED_SDS = 2.0
"""Standard deviations of the difference within which two densities agree: some 95 % of the cases (JCGM 100, 6.3.3)."""


@dataclass(frozen=True)
class Lies:
    """How a scan lies against another, in quarter turns and mirrored: enough to show both the same way up.

    Parameters
    ----------
    swapped : its width runs along the other's height.
    flipped_x, flipped_y : its own width (height) runs against the side of the other that it runs along.
    """

    swapped: bool = False
    flipped_x: bool = False
    flipped_y: bool = False


@dataclass(frozen=True)
class Comparison:
    """Two scans of a sheet, laid on each other.

    Parameters
    ----------
    record : the sheet's.
    first, second : the scans.
    laid : how the second lies on the first; by fractions of width and height where that couldn't be told.
    reason : a sentence on why it couldn't be told; empty where it could.
    """

    record: records.Sheet
    first: Sight
    second: Sight
    laid: Registration
    reason: str = ""

    @property
    def placed(self) -> bool:
        """Whether the same place of the film is known on both scans."""
        return not self.reason

    @property
    def lies(self) -> Lies:
        """How the second scan lies against the first."""
        (a, b, _), (d, e, _) = self.laid.places
        w1, h1, w2, _ = (scan.row[side] for scan in (self.first, self.second) for side in ("width", "height"))
        if abs(a) * w2 / w1 >= abs(b) * w2 / h1:
            return Lies(False, a < 0, e < 0)
        return Lies(True, b < 0, d < 0)


@dataclass(frozen=True)
class Compared:
    """What two scans give for one place of the film; one standard deviation each, None where it can't be had.

    Parameters
    ----------
    first, second : what was measured on each; None where the place doesn't lie on that scan.
    difference, sd : the second's density less the first's.
    agrees : whether the difference lies within :data:`ALLOWED_SDS` of its standard deviations.
    reason : a sentence on what can't be had, else empty.
    """

    first: Probed | None
    second: Probed | None
    difference: float | None = None
    sd: float | None = None
    agrees: bool | None = None
    reason: str = ""


@dataclass(frozen=True)
class Spot:
    """A reading's spot on both scans.

    Parameters
    ----------
    index : the reading's place among the sheet's readings.
    name : the reading's.
    compared : what was found.
    """

    index: int
    name: str
    compared: Compared


def scans_of(archive: Archive, sheet: str) -> list[Mapping[str, Any]]:
    """Give a sheet's scans as the catalogue has them, the newest first.

    Raises
    ------
    UnknownNameError : no such sheet.
    """
    record = known_sheet(archive.catalogue, sheet)
    return sorted(
        archive.catalogue.scans_of(record.sheet), key=lambda row: int(row["taken_order"]), reverse=True
    )


def compare(archive: Archive, sheet: str, first: str = "", second: str = "") -> Comparison:
    """Lay two scans of a sheet on each other.

    Parameters
    ----------
    archive : the archive, which is only read.
    sheet : the sheet's id.
    first, second : ids of scans; where one isn't named, the newest that isn't the other.

    Raises
    ------
    UnknownNameError : no such sheet, a scan that isn't one of it, or a sheet with fewer than two scans.
    QuantityError : one scan is named twice.
    """
    rows = scans_of(archive, sheet)
    record = known_sheet(archive.catalogue, sheet)
    if len(rows) < 2:
        count = "one scan" if rows else "no scan"
        raise UnknownNameError(
            f"Sheet {record.sheet} has {count}: two are needed to compare; take another in with 'negcat ingest'."
        )
    if first and first == second:
        raise QuantityError("One scan is named twice: choose two different ones to compare.")
    # The later scan is held against the earlier one.
    others = [str(row["scan"]) for row in rows if row["scan"] not in (first, second)]
    if not second:
        second = others.pop(0)
    if not first:
        first = others.pop(0)
    sights = viewing.look(archive, record.sheet, first), viewing.look(archive, record.sheet, second)
    try:
        laid = _lay(archive, record, first, second)
    except ScanError as error:
        laid = NoRegistration(str(error))
    if isinstance(laid, NoRegistration):
        straight = Registration(((1.0, 0.0, 0.0), (0.0, 1.0, 0.0)), 0, False, 0.0, 0.0)
        reason = (
            "The two scans couldn’t be laid on each other, so their places go by parts of width and height and "
            f"may not be the same on the film: {laid.reason.rstrip('.')}."
        )
        return Comparison(record, *sights, straight, reason)
    return Comparison(record, *sights, laid)


def _lay(archive: Archive, record: records.Sheet, first: str, second: str) -> Registration | NoRegistration:
    """Lay one scan on another: as the catalogue keeps it, either way, else anew, once for as long as this runs."""
    kept = kept_registration(archive, second, first)
    if kept is None:
        other = kept_registration(archive, first, second)
        kept = other.back() if isinstance(other, Registration) else other
    if kept is not None:
        return kept
    rows = [archive.catalogue.scan(scan) for scan in (first, second)]
    if rows[0] is None or rows[1] is None:
        raise ScanError(f"the archive holds no scan {second if rows[0] else first}")
    return lay_once(archive, record, rows[0], rows[1])


def compare_at(
    archive: Archive,
    comparison: Comparison,
    x: float,
    y: float,
    diameter_mm: float,
    *,
    on_second: bool = False,
) -> Compared:
    """Measure the density of one place of the film on both scans.

    Parameters
    ----------
    archive : the archive.
    comparison : see :func:`compare`.
    x, y : fractions of the scan's width and height, 0 to 1.
    diameter_mm : of the round aperture on the film.
    on_second : x and y are of the second scan, not of the first.

    Raises
    ------
    QuantityError : a point outside the scan, an aperture outside its limits.
    """
    laid = comparison.laid
    there = (laid.back() if on_second else laid).place(x, y)
    places = (there, (x, y)) if on_second else ((x, y), there)
    found: list[Probed | None] = []
    reasons: list[str] = []
    for place, sight in zip(places, (comparison.first, comparison.second), strict=True):
        if place is there and not (0 <= place[0] <= 1 and 0 <= place[1] <= 1):
            found.append(None)
            reasons.append(f"Scan {sight.row['scan']} doesn’t show this place.")
            continue
        probed = _measured(archive, sight, *place, diameter_mm)
        found.append(probed)
        if probed.density is None:
            reasons.append(_why(sight, probed))
    first, second = found
    if first is None or second is None or first.density is None or second.density is None:
        return Compared(first, second, reason=" ".join(reasons))
    return difference(comparison, first, second)


def _measured(archive: Archive, sight: Sight, x: float, y: float, diameter_mm: float) -> Probed:
    try:
        return viewing.measure_at(archive, sight, x, y, diameter_mm)
    except ScanError as error:
        # The other scan may be there all the same.
        return Probed(x, y, diameter_mm, reason=str(error))


def _why(sight: Sight, probed: Probed) -> str:
    scan = sight.row["scan"]
    if probed.bound and probed.limit is not None:
        return f"On scan {scan} it is {probed.bound} than {probed.limit:.2f}, where the profile ends."
    reason = probed.reason.rstrip(".") or "not measured"
    return f"Scan {scan}: {reason[:1].lower()}{reason[1:]}."


def difference(comparison: Comparison, first: Probed, second: Probed) -> Compared:
    """Take the difference of two densities, and say whether it lies within what their uncertainties allow.

    Parameters
    ----------
    comparison : the scans; where both were measured through one profile, what its error shifts alike goes out.
    first, second : with a density each.

    Notes
    -----
    var(b − a) = var(a) + var(b) − 2 cov(a, b). Grain that both scans see is counted as if each had its own, so
    that the deviation is rather too great than too small.
    """
    assert first.density is not None
    assert second.density is not None
    sds = first.sd or 0.0, second.sd or 0.0
    one, other = comparison.first.profile, comparison.second.profile
    common = 0.0
    if one is not None and other is not None and one.number == other.number:
        common = min(one.fitted.covariance(first.density, second.density), 0.98 * sds[0] * sds[1])
    apart = second.density - first.density
    sd = sqrt(sds[0] ** 2 + sds[1] ** 2 - 2.0 * common)
    if not comparison.placed:
        return Compared(first, second, apart, sd, None, "Perhaps not the same place of the film.")
    return Compared(first, second, apart, sd, abs(apart) <= ALLOWED_SDS * sd)


def spots(archive: Archive, comparison: Comparison) -> list[Spot]:
    """Compare the densities of a sheet's readings.

    Parameters
    ----------
    archive : the archive.
    comparison : see :func:`compare`.

    Returns
    -------
    One for every reading with a spot.
    """
    found = []
    for index, reading in enumerate(comparison.record.readings):
        if reading.spot is not None:
            found.append(Spot(index, reading.name, _spot(archive, comparison, reading.spot)))
    return found


def _spot(archive: Archive, comparison: Comparison, spot: records.Spot) -> Compared:
    source = spot.scan or source_scan(archive, comparison.record)
    pair = [str(sight.row["scan"]) for sight in (comparison.first, comparison.second)]
    place = spot.x, spot.y
    if source is not None and source not in pair:
        # Set on a third scan: carried to the first, and from there on.
        try:
            laid = _lay(archive, comparison.record, source, pair[0])
        except ScanError as error:
            laid = NoRegistration(str(error))
        if isinstance(laid, NoRegistration):
            return Compared(
                None, None, reason=f"Its spot, set on scan {source}, can’t be carried over: {laid.reason}."
            )
        place = laid.place(*place)
    on_second = source == pair[1]
    if not (0 <= place[0] <= 1 and 0 <= place[1] <= 1):
        return Compared(None, None, reason=f"Its spot lies outside what scan {pair[on_second]} shows.")
    return compare_at(archive, comparison, *place, spot.diameter_mm, on_second=on_second)
