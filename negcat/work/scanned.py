"""What a scan shows before anyone asks for a sheet's figures: its scanner, profile, margin and condition."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from negcat import densitometry, records
from negcat.catalogue import Catalogue
from negcat.densitometry import Condition, NoRebate, Rebate, ScannerProfile
from negcat.densitometry.boxes import Box
from negcat.scans import Reduced

__all__ = [
    "Profile",
    "channel_of",
    "codes_are_linear",
    "examine",
    "look_over",
    "matching_scanner",
    "pixels_per_mm",
    "profile_of",
    "rebate_of",
]

MM_PER_INCH = 25.4


@dataclass(frozen=True)
class Profile:
    """A scanner profile as the catalogue keeps it.

    Parameters
    ----------
    number : its number in the catalogue.
    fitted : the profile.
    made_at : when it was made, ISO 8601.
    tablet : the step tablet it was made from.
    """

    number: int
    fitted: ScannerProfile
    made_at: str
    tablet: str


def matching_scanner(scanners: Sequence[records.Scanner], tags: Mapping[str, Any]) -> str | None:
    """Tell the scanner from a scan's own tags.

    Parameters
    ----------
    scanners : the scanners on record.
    tags : the scan's ``make``, ``model`` and ``software``, each a text or None.

    Returns
    -------
    The one scanner of which every recorded tag is the scan's; the one with most tags where several fit;
    None where none does, or two equally well.
    """
    fitting: list[tuple[int, str]] = []
    for scanner in scanners:
        wanted = {
            field: value
            for field in ("make", "model", "software")
            if (value := getattr(scanner, field)) is not None
        }
        if wanted and all(_same(value, tags.get(field)) for field, value in wanted.items()):
            fitting.append((len(wanted), scanner.name))
    best = max((count for count, _ in fitting), default=0)
    names = [name for count, name in fitting if count == best]
    return names[0] if len(names) == 1 else None


def _same(recorded: str, tag: str | None) -> bool:
    return tag is not None and " ".join(recorded.casefold().split()) == " ".join(tag.casefold().split())


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
    return ("red", "green", "blue").index(name), name


def profile_of(
    catalogue: Catalogue, scanner: str | None, bits: int, mode: str, channel: str
) -> Profile | None:
    """Give the profile that a scan is measured with: its own scanner's, bit depth's and mode's, or none."""
    if scanner is None:
        return None
    row = catalogue.profile_for(scanner, bits, mode, channel)
    if row is None:
        return None
    return Profile(row["id"], ScannerProfile.from_json(row["profile"]), row["made_at"], row["tablet"])


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
    reduced: Reduced, channel: int, px_per_mm: float | None, profile: ScannerProfile | None
) -> tuple[Rebate | NoRebate, Condition]:
    """Look a whole scan over: find the film's clear margin, and what is wrong with the scan.

    Parameters
    ----------
    reduced : the scan made small.
    channel : the channel's place.
    px_per_mm : full-size pixels per millimetre; None where it isn't known, and then no margin is looked for.
    profile : the scanner's, None without one.
    """
    image = np.ascontiguousarray(reduced.codes[:, :, channel])
    rebate: Rebate | NoRebate
    if px_per_mm is None:
        rebate = NoRebate("the scan doesn't say its resolution and the film's format isn't recorded")
    else:
        rebate = densitometry.find_rebate(image, px_per_mm / reduced.factor, profile)
    return rebate, densitometry.assess(image, rebate, profile)


def look_over(
    catalogue: Catalogue,
    row: Mapping[str, Any],
    reduced: Callable[[], Reduced],
    *,
    channel: int,
    px_per_mm: float | None,
    profile: Profile | None,
) -> tuple[Rebate | NoRebate, Mapping[str, Any]]:
    """Give a scan's margin and condition, from the catalogue where it was looked over just so before.

    Parameters
    ----------
    catalogue : what is seen is kept there.
    row : the scan as the catalogue has it.
    reduced : reads the scan and makes it small; called only where it has to be looked over.
    channel, px_per_mm, profile : see :func:`examine`.
    """
    basis = {"profile": profile.number if profile else None, "channel": channel, "px_per_mm": px_per_mm}
    known, condition = rebate_of(row), row["condition"]
    if known is not None and condition is not None and condition.get("looked_over_with") == basis:
        return known, condition
    rebate, seen = examine(reduced(), channel, px_per_mm, profile.fitted if profile else None)
    condition = {**asdict(seen), "looked_over_with": basis}
    catalogue.save_scan({"sha256": row["sha256"], **_rebate_columns(rebate), "condition": condition})
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
