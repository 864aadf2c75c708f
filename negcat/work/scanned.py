"""What a scan shows before anyone asks for a sheet's figures: its scanner, profile, margin and condition."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from negcat import densitometry
from negcat.densitometry import Condition, NoRebate, Rebate, ScannerProfile
from negcat.densitometry.boxes import Box
from negcat.scans import Reduced
from negcat.work.scanner_tags import matching_scanner, same_text

if TYPE_CHECKING:
    from negcat.catalogue import Catalogue

__all__ = [
    "CHANNELS",
    "Basis",
    "Profile",
    "by_day",
    "channel_of",
    "codes_are_linear",
    "densities_sha256",
    "examine",
    "holding",
    "look_over",
    "matching_scanner",
    "pixels_per_mm",
    "profile_doubts",
    "profile_from",
    "profile_of",
    "profile_of_scan",
    "rebate_of",
    "scan_date",
    "tablet_changed",
]

MM_PER_INCH = 25.4

CHANNELS = {"grey": ("grey",), "rgb": ("red", "green", "blue")}
"""The channels of a scan, in order, by its mode."""


@dataclass(frozen=True)
class Profile:
    """A scanner profile as the catalogue keeps it.

    Parameters
    ----------
    number : its number in the catalogue.
    fitted : the profile.
    scanner : the scanner it holds for.
    tablet : the step tablet it was made from.
    made_at : when it was made, ISO 8601, UTC.
    scanned_at : when the tablet was scanned, ISO 8601, the scanner's own time.
    densities_sha256 : of the tablet's densities, see :func:`densities_sha256`.
    settings : what the tablet's scan says of how it was made.
    """

    number: int
    fitted: ScannerProfile
    scanner: str
    tablet: str
    made_at: str
    scanned_at: str
    densities_sha256: str | None
    settings: Mapping[str, Any]


@dataclass(frozen=True)
class Basis:
    """What a scan is looked over with.

    Parameters
    ----------
    profile : number of the scanner's profile; None without one.
    channel : the channel's place in the scan.
    px_per_mm : full-size pixels per millimetre; None where it isn't known.
    """

    profile: int | None
    channel: int
    px_per_mm: float | None


def densities_sha256(densities: Sequence[float]) -> str:
    """Give the SHA-256 of a tablet's densities, by which a changed record is told.

    Parameters
    ----------
    densities : of the steps.

    Examples
    --------
    >>> densities_sha256([0.05, 0.2]) == densities_sha256((0.05, 0.20))
    True
    """
    written = json.dumps([float(density) for density in densities])
    return hashlib.sha256(written.encode()).hexdigest()


def scan_date(taken_at: str | None, modified_ns: int) -> tuple[str, str]:
    """Tell when a scan was made, and by what.

    Parameters
    ----------
    taken_at : what its tags say, ISO 8601.
    modified_ns : when its file was last changed, ns since 1970.

    Returns
    -------
    ISO 8601, in the scanner's or this computer's own time, and ``its tags`` or ``the file's time``.
    """
    if taken_at is not None:
        return taken_at, "its tags"
    # The tags say the scanner's local time; so does this.
    local = datetime.fromtimestamp(modified_ns / 1e9, tz=UTC).astimezone()
    return local.replace(tzinfo=None).isoformat(timespec="seconds"), "the file's time"


def channel_of(film_channel: str, mode: str) -> tuple[int, str] | None:
    """Choose the channel that a film is measured in.

    Parameters
    ----------
    film_channel : what the film's record names: ``grey``, ``red``, ``green`` or ``blue``.
    mode : the scan's: ``grey`` or ``rgb``.

    Returns
    -------
    The channel's place in the scan and its name; None where the scan hasn't got it.

    Examples
    --------
    >>> channel_of("grey", "rgb"), channel_of("blue", "grey")
    ((1, 'green'), None)
    """
    if mode == "grey":
        return (0, "grey") if film_channel == "grey" else None
    # Green lies nearest to the eye's and so to visual density.
    name = "green" if film_channel == "grey" else film_channel
    return CHANNELS["rgb"].index(name), name


def profile_of(
    catalogue: Catalogue, scanner: str | None, bits: int, mode: str, channel: str, *, on: str | None = None
) -> Profile | None:
    """Give the profile that a scan is measured with: its own scanner's, bit depth's and mode's, or none.

    Parameters
    ----------
    catalogue : keeps the profiles.
    scanner, bits, mode : of the scan.
    channel : the one to be measured.
    on : when the scan was made, ISO 8601: the newest profile made by then is given, else the oldest after
        it. None: the newest.
    """
    if scanner is None:
        return None
    row = catalogue.profile_for(scanner, bits, mode, channel, on=on)
    return profile_from(row) if row is not None else None


def by_day(profiles: Iterable[Profile]) -> list[Profile]:
    """Sort profiles by the day that their tablet was scanned on, and those of one day by when they were made."""
    return sorted(profiles, key=lambda profile: (profile.scanned_at[:10], profile.number))


def holding(
    profiles: Sequence[Profile], scanner: str | None, bits: int, mode: str, channel: str, on: str
) -> Profile | None:
    """Choose the profile that a scan is measured with, as :func:`profile_of` does, where no catalogue is at hand.

    Parameters
    ----------
    profiles : sorted :func:`by_day`.
    scanner, bits, mode, channel, on : see :func:`profile_of`.
    """
    fitting = [
        profile
        for profile in profiles
        if (profile.scanner, profile.fitted.bits, profile.fitted.mode, profile.fitted.channel)
        == (scanner, bits, mode, channel)
    ]
    before = [profile for profile in fitting if profile.scanned_at[:10] <= on[:10]]
    if before or not fitting:
        return before[-1] if before else None
    # Of those of the first day, the one made last.
    return [profile for profile in fitting if profile.scanned_at[:10] == fitting[0].scanned_at[:10]][-1]


def profile_from(row: Mapping[str, Any]) -> Profile:
    """Read a profile back from the catalogue's row."""
    return Profile(
        number=row["id"],
        fitted=ScannerProfile.from_json(row["profile"]),
        scanner=row["scanner"],
        tablet=row["tablet"],
        made_at=row["made_at"],
        scanned_at=row["scanned_at"],
        densities_sha256=row["densities_sha256"],
        settings=row["settings"],
    )


def profile_of_scan(catalogue: Catalogue, row: Mapping[str, Any], channel: str) -> Profile | None:
    """Give the profile that holds for a scan of the catalogue, in a channel."""
    on, _ = scan_date(row["taken_at"], row["modified_ns"])
    return profile_of(catalogue, row["scanner"], row["bits"], row["mode"], channel, on=on)


def profile_doubts(catalogue: Catalogue, row: Mapping[str, Any], profile: Profile) -> list[str]:
    """Say what speaks against measuring a scan with a profile, in sentences.

    Parameters
    ----------
    catalogue : keeps the tablets.
    row : the scan.
    profile : the one chosen for it.
    """
    doubts = []
    on, by = scan_date(row["taken_at"], row["modified_ns"])
    if profile.scanned_at[:10] > on[:10]:
        doubts.append(
            f"The profile of {profile.scanner} is later than the scan: its tablet was scanned on "
            f"{profile.scanned_at[:10]}, this scan is of {on[:10]} by {by}; no earlier profile is there."
        )
    if changed := tablet_changed(catalogue, profile):
        doubts.append(changed)
    made_with = profile.settings.get("software")
    if made_with and row["software"] and not same_text(made_with, row["software"]):
        doubts.append(
            f"This scan was made with {row['software']}, the profile's tablet with {made_with}: it holds only if "
            "both leave the codes as the scanner gives them."
        )
    return doubts


def tablet_changed(catalogue: Catalogue, profile: Profile) -> str | None:
    """Say that a tablet's record has changed since a profile was made from it; None where it hasn't."""
    tablet = catalogue.tablet(profile.tablet)
    if (
        tablet is None
        or profile.densities_sha256 is None
        or densities_sha256(tablet.densities) == profile.densities_sha256
    ):
        return None
    return (
        f"The profile of {profile.scanner} was made from other densities than {profile.tablet} now has on record: "
        "calibrate again with 'negcat calibrate'."
    )


LINEAR_SLOPE = 0.8
"""Decades of code to one of light: 1 for linear codes, 0.56 for the flattest encoding in use, of gamma 1.8."""


def codes_are_linear(catalogue: Catalogue, scanner: str | None, bits: int, mode: str) -> bool | None:
    """Tell from the scanner's step tablet whether its codes are proportional to light.

    Parameters
    ----------
    catalogue : keeps the profiles.
    scanner, bits, mode : of the scan.

    Returns
    -------
    None where there is no profile of such scans.
    """
    channel = channel_of("grey", mode)
    assert channel is not None
    profile = profile_of(catalogue, scanner, bits, mode, channel[1])
    if profile is None:
        return None
    slope = np.polyfit(profile.fitted.densities, profile.fitted.log_codes, 1)[0]
    return bool(abs(slope) > LINEAR_SLOPE)


def pixels_per_mm(
    dpi: float | None, width: int, height: int, film_mm: tuple[float, float] | None
) -> float | None:
    """Tell the resolution on the film.

    Parameters
    ----------
    dpi : what the scan says; None where it doesn't.
    width, height : of the upright scan in pixels.
    film_mm : the film's sides, where the sheet's format is known.

    Returns
    -------
    Pixels per millimetre: by the scan's own resolution, else by the film filling the scan; None without both.
    """
    if dpi is not None:
        return dpi / MM_PER_INCH
    if film_mm is None:
        return None
    return max(width, height) / max(film_mm)


def examine(
    reduced: Reduced,
    channel: int,
    px_per_mm: float | None,
    profile: ScannerProfile | None,
    *,
    bits: int | None = None,
    lossy: bool | None = None,
) -> tuple[Rebate | NoRebate, Condition]:
    """Look a whole scan over: find the film's clear margin, and what is wrong with the scan.

    Parameters
    ----------
    reduced : the scan made small.
    channel : the channel's place.
    px_per_mm : full-size pixels per millimetre; None where it isn't known, and then no margin is looked for.
    profile : the scanner's, None without one.
    bits : of the file.
    lossy : whether the file's compression loses detail; None or False: not that it says.
    """
    image = np.ascontiguousarray(reduced.codes[:, :, channel])
    rebate: Rebate | NoRebate
    if px_per_mm is None:
        rebate = NoRebate("the scan doesn't say its resolution and the film's format isn't recorded")
    else:
        rebate = densitometry.find_rebate(image, px_per_mm / reduced.factor, profile)
    condition = densitometry.assess(
        image,
        rebate,
        profile,
        px_per_mm=px_per_mm / reduced.factor if px_per_mm is not None else None,
        histogram=reduced.histogram[channel],
        bits=bits,
        lossy=lossy or None,
    )
    return rebate, condition


def look_over(
    catalogue: Catalogue,
    row: Mapping[str, Any],
    basis: Basis,
    examined: Callable[[], tuple[Rebate | NoRebate, Condition]],
    *,
    fresh: bool = False,
) -> tuple[Rebate | NoRebate, Mapping[str, Any]]:
    """Give a scan's margin and condition, from the catalogue where it was looked over just so before.

    Parameters
    ----------
    catalogue : what is seen is kept there, unless it is open for reading only.
    row : the scan as the catalogue has it.
    basis : what it is looked over with.
    examined : looks it over, see :func:`examine`; called only where that has to be done.
    fresh : look it over whatever is known.
    """
    known, condition = rebate_of(row), row["condition"]
    looked_over = condition is not None and condition.get("looked_over_with") == asdict(basis)
    if known is not None and looked_over and not fresh:
        return known, condition
    rebate, seen = examined()
    condition = {**asdict(seen), "looked_over_with": asdict(basis)}
    if catalogue.readonly:
        return rebate, condition
    catalogue.save_scan(
        {
            "sha256": row["sha256"],
            **_rebate_columns(rebate),
            "channel": CHANNELS[row["mode"]][basis.channel],
            "condition": condition,
        }
    )
    return rebate, condition


def _rebate_columns(rebate: Rebate | NoRebate) -> dict[str, Any]:
    """Write a margin, or why there is none, as the catalogue keeps it."""
    found = isinstance(rebate, Rebate)
    return {
        "rebate": {"found": found, **asdict(rebate)},
        "rebate_density": rebate.density if isinstance(rebate, Rebate) else None,
        "rebate_sd": rebate.sd if isinstance(rebate, Rebate) else None,
    }


def rebate_of(scan: Mapping[str, Any]) -> Rebate | NoRebate | None:
    """Read a scan's margin back; None where none was looked for yet."""
    stored = scan["rebate"]
    if stored is None:
        return None
    values = {name: value for name, value in stored.items() if name != "found"}
    for name in ("film_edge", "picture_frame"):
        if values.get(name) is not None:
            values[name] = Box(*values[name])
    if not stored["found"]:
        return NoRebate(**values)
    values["boxes"] = tuple(Box(*box) for box in values["boxes"])
    values["edges"] = tuple(values["edges"])
    return Rebate(**values)
