"""Measuring a sheet on a scan: its spots and its base+fog, through the profile that holds for the scan.

A density once read stays valid while its spot, its scan and the scanner's profile stay the same; it is then
taken from the findings, so that a changed record is judged anew without opening the master.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from functools import partial
from typing import Any

from negcat import records, scans
from negcat.catalogue import Catalogue, Findings
from negcat.densitometry import NoRebate, Rebate, SpotDensity
from negcat.work import scanned
from negcat.work.archive import Archive
from negcat.work.carrying import Carrier, PlacedSpot
from negcat.work.in_hand import InHand
from negcat.work.looking_ahead import Aperture
from negcat.work.masters import header_of, reduced_of
from negcat.work.planning import Equipment
from negcat.work.reading_apart import read_apart
from negcat.work.scanned import Basis, Profile

__all__ = ["BASE_FOG_SPOT", "BaseFog", "Measured", "measure_on_scans"]

BASE_FOG_SPOT = "base+fog"
"""The name under which the spot of base+fog is set."""

RECORDED_BATCH_SD = 0.02
RECORDED_FILM_SD = 0.04
"""Deviation of a recorded base+fog: one densitometer reading for a batch (readings repeat to ±0.02 at worst by
ISO 5-2's tolerance for instruments in use); twice that for a film's, which moves with developer and age."""


@dataclass(frozen=True)
class BaseFog:
    """Base+fog of a sheet: density, its deviation, where it comes from, and where its own spot lies."""

    density: float
    sd: float
    source: str
    detail: str
    spot: Mapping[str, Any] | None = None
    spot_status: str | None = None
    measured: Mapping[str, Any] | None = None


@dataclass(frozen=True)
class Measured:
    """What a scan gave for a sheet.

    Parameters
    ----------
    scan : the scan's id; None where no scan is there.
    profile : the profile it was measured with.
    base_fog : None where it can't be had.
    spots : reading name → density; only readings whose spot lies on the scan.
    placed : reading name → where its spot lies on the scan; only readings with a spot.
    why : sentences on what could not be had.
    """

    scan: str | None = None
    profile: Profile | None = None
    base_fog: BaseFog | None = None
    spots: Mapping[str, SpotDensity] | None = None
    placed: Mapping[str, PlacedSpot] | None = None
    why: tuple[str, ...] = ()


UNSCANNED = Measured(why=("No scan is joined to this sheet.",))
"""What is measured of a sheet without scans."""


def measure_on_scans(
    archive: Archive,
    equipment: Equipment,
    record: records.Sheet,
    in_hand: Mapping[str, InHand],
    before: Findings | None,
    *,
    fresh: bool,
) -> Measured:
    """Measure a sheet on the newest of its scans that can be measured."""
    rows = archive.catalogue.scans_of(record.sheet)
    if not rows:
        return UNSCANNED
    reasons: list[str] = []
    found: Measured | None = None
    for row in sorted(rows, key=lambda scan: scan["taken_order"], reverse=True):
        sight = _Sight.of(archive, equipment, record, row)
        if found is not None:
            # Older scans are not measured, but what stands against it is kept up to date.
            sight.reason(row["condition"] or {})
            continue
        scan = in_hand.get(row["scan"]) or InHand(partial(reduced_of, archive, row))
        measured = _measure_scan(archive, equipment, sight, scan, before, fresh=fresh)
        if isinstance(measured, Measured):
            found = measured
        else:
            reasons.append(f"Scan {row['scan']} is not measured: {measured}.")
    return found or Measured(why=tuple(reasons))


@dataclass(frozen=True)
class _Sight:
    """A scan of a sheet with all that is needed to measure on it.

    Parameters
    ----------
    catalogue : knows the scan.
    record : the sheet's.
    row : the scan.
    film_channel : what the film is measured in.
    channel : the channel's place in the scan and its name; None where the scan hasn't got it.
    profile : the one that holds for the scan; None without one.
    px_per_mm : on the film; None where it isn't known.
    """

    catalogue: Catalogue
    record: records.Sheet
    row: Mapping[str, Any]
    film_channel: str
    channel: tuple[int, str] | None
    profile: Profile | None
    px_per_mm: float | None

    @classmethod
    def of(
        cls, archive: Archive, equipment: Equipment, record: records.Sheet, row: Mapping[str, Any]
    ) -> _Sight:
        """Look up what a scan is measured with."""
        film_channel = equipment.film(record.film).channel
        channel = scanned.channel_of(film_channel, row["mode"])
        film_mm = records.film_size_mm(record.format) if record.format else None
        return cls(
            archive.catalogue,
            record,
            row,
            film_channel,
            channel,
            scanned.profile_of_scan(archive.catalogue, row, channel[1]) if channel else None,
            scanned.pixels_per_mm(row["dpi"], row["width"], row["height"], film_mm),
        )

    def reason(self, condition: Mapping[str, Any]) -> str | None:
        """Say why the scan can't be measured, None where it can, and keep that unless the archive is only read."""
        reason = self._reason(condition)
        if self.catalogue.readonly:
            return reason
        self.catalogue.save_scan(
            {
                "sha256": self.row["sha256"],
                "unmeasured": reason,
                "calibrated": self.profile is not None,
                "profile": self.profile.number if self.profile else None,
            }
        )
        return reason

    def _reason(self, condition: Mapping[str, Any]) -> str | None:
        row = self.row
        if condition.get("measurable") is False:
            return str(condition["reason"]).rstrip(".")
        if self.channel is None:
            return (
                f"{self.record.film} is measured in the {self.film_channel} channel and this is a grey scan; "
                "scan it in colour"
            )
        if row["scanner"] is None:
            return (
                "its scanner isn't known: its own tags fit no scanner on record; take it again with --scanner "
                "NAME, or record the scanner with the make, model or software that the scan names"
            )
        if self.profile is None:
            return (
                f"there is no profile of {row['scanner']} for {row['bits']} bits {row['mode']}; make one with "
                "'negcat calibrate' from a step tablet scanned with the same settings"
            )
        if self.px_per_mm is None:
            return (
                "its resolution isn't known: the scan doesn't say it, and the sheet's record names no format"
            )
        return None


def _measure_scan(
    archive: Archive,
    equipment: Equipment,
    sight: _Sight,
    scan: InHand,
    before: Findings | None,
    *,
    fresh: bool,
) -> Measured | str:
    """Measure a sheet on one scan; the reason where that can't be done."""
    record, row = sight.record, sight.row
    basis = Basis(
        sight.profile.number if sight.profile else None,
        sight.channel[0] if sight.channel else 0,
        sight.px_per_mm,
    )
    rebate, condition = scanned.look_over(
        archive.catalogue, row, basis, lambda: scan.examined(row, basis, sight.profile), fresh=fresh
    )
    reason = sight.reason(condition)
    profile, channel, px_per_mm = sight.profile, sight.channel, sight.px_per_mm
    if reason is not None or profile is None or channel is None or px_per_mm is None:
        return reason or "its profile is missing"

    why: list[str] = []
    spots: dict[str, SpotDensity] = {}
    placed: dict[str, PlacedSpot] = {}
    known = _known_spots(before, row["scan"], profile.number)
    carrier = Carrier(archive, record, row, fresh=fresh)

    def read(name: str, spot: records.Spot) -> SpotDensity:
        aperture = Aperture(spot.x, spot.y, spot.diameter_mm)
        return (
            known.get((name, aperture))
            or scan.density(basis, aperture)
            or _read_spot(archive, row, aperture, channel[0], px_per_mm, profile)
        )

    for reading in record.readings:
        if reading.spot is None:
            why.append(
                f"No spot is set for '{reading.name}', so it has no density: set it with "
                f'negcat measure {record.sheet} --spot "{reading.name}=X,Y".'
            )
            continue
        place = placed[reading.name] = carrier.place(reading.name, reading.spot)
        if place.spot is None:
            why.append(f"'{reading.name}' has no density: {place.reason}.")
        else:
            spots[reading.name] = read(reading.name, place.spot)
    base_fog = _base_fog(archive, equipment, record, rebate, profile, carrier, read, why)
    why = [*scanned.profile_doubts(archive.catalogue, row, profile), *carrier.sentences(), *why]
    return Measured(row["scan"], profile, base_fog, spots, placed, tuple(why))


def _known_spots(before: Findings | None, scan: str, profile: int) -> dict[tuple[str, Aperture], SpotDensity]:
    """Collect the densities measured before that still hold."""
    if before is None or before.scan != scan or before.provenance.get("profile") != profile:
        return {}
    known = {}
    measured = [(r["name"], r) for r in before.readings]
    if before.base_fog and before.base_fog.get("measured"):
        measured.append((BASE_FOG_SPOT, dict(before.base_fog)))
    for name, reading in measured:
        kept = reading.get("measured")
        if kept:
            spot = kept["spot"]
            aperture = Aperture(spot["x"], spot["y"], spot["diameter_mm"])
            known[name, aperture] = SpotDensity(**kept["density"])
    return known


def _read_spot(
    archive: Archive,
    row: Mapping[str, Any],
    aperture: Aperture,
    channel: int,
    px_per_mm: float,
    profile: Profile,
) -> SpotDensity:
    """Measure one spot on the master."""
    size = row["width"], row["height"]
    header = header_of(archive, row)
    patch = read_apart(header.path, scans.read_patch, header, *aperture.box(*size, px_per_mm))
    return aperture.density(patch, *size, channel, px_per_mm, profile.fitted)


def _base_fog(
    archive: Archive,
    equipment: Equipment,
    record: records.Sheet,
    rebate: Rebate | NoRebate,
    profile: Profile,
    carrier: Carrier,
    read: Callable[[str, records.Spot], SpotDensity],
    why: list[str],
) -> BaseFog | None:
    """Find base+fog: the sheet's own spot, the scan's rebate, the batch's, the film's record."""
    if record.base_fog_spot is not None:
        place = carrier.place(BASE_FOG_SPOT, record.base_fog_spot)
        if place.spot is None:
            why.append(f"The base+fog spot gives no density: {place.reason}.")
        else:
            spot = read(BASE_FOG_SPOT, place.spot)
            if spot.density is not None and spot.sd is not None:
                return BaseFog(
                    spot.density,
                    spot.sd,
                    "spot",
                    "the sheet's own spot",
                    {**place.spot.model_dump(), "scan": carrier.scan},
                    place.status,
                    {"spot": place.spot.model_dump(), "density": asdict(spot)},
                )
            why.append(f"The base+fog spot gives no density: {spot.reason}.")
    if isinstance(rebate, Rebate):
        if rebate.density is not None and rebate.sd is not None:
            return BaseFog(rebate.density, rebate.sd, "rebate", "the scan's rebate")
        why.append(f"The scan's rebate gives no base+fog: {rebate.reason.rstrip('.')}.")
    else:
        why.append(f"The scan shows no rebate to read base+fog from: {rebate.reason.rstrip('.')}.")
    development = archive.catalogue.development_of(record.sheet)
    if development is not None:
        if development.base_fog is not None:
            return BaseFog(development.base_fog, RECORDED_BATCH_SD, "batch", "recorded for the batch")
        median = archive.catalogue.batch_base_fog(
            development.batch, film=record.film, without=record.sheet, channel=profile.fitted.channel
        )
        if median is not None:
            return BaseFog(
                median["density"],
                median["sd"],
                "batch",
                f"the median of {median['sheets']} rebates of batch {development.batch}",
            )
    film = equipment.film(record.film)
    if film.base_fog is not None:
        return BaseFog(film.base_fog, RECORDED_FILM_SD, "film", "recorded for the film")
    why.append("Base+fog is recorded neither for the batch nor for the film, so there are no net densities.")
    return None
