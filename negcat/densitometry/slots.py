"""The places of a tablet's steps along its comb, and what stands in each."""

import warnings
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from negcat.densitometry.comb import Comb, straightened
from negcat.errors import CalibrationError

__all__ = ["REGION", "Band", "Slot", "band_of"]

_Levels = NDArray[np.float32]
_Floats = NDArray[np.float64]

REGION = "tell where the tablet lies (--region x0,y0,x1,y1, or a film test's region), or scan it whole and straight"


@dataclass(frozen=True)
class Slot:
    """One place of the comb where a step may be.

    Parameters
    ----------
    place : its middle along the comb, pixels from the first edge.
    level : mean log10 code in its middle, nan outside the scan.
    seen : whether it lies whole in the scan and is even.
    contrast : by how much it differs from what lies beside the tablet there, in log10 code.
    alone : whether that is enough for it to be no background.
    partly : whether it is inside the scan but cut, or covered in part.
    """

    place: float
    level: float
    seen: bool
    contrast: float
    alone: bool
    partly: bool


@dataclass(frozen=True)
class Band:
    """A tablet, lying level.

    Parameters
    ----------
    slots : the places of its steps and as many beyond either end, lightest end first.
    centre : its middle across, pixels from the comb's line.
    width : across, pixels.
    pitch : from step to step, pixels.
    step : usual fall of level from step to step, log10 code, above 0.
    """

    slots: tuple[Slot, ...]
    centre: float
    width: float
    pitch: float
    step: float


def band_of(levels: _Levels, comb: Comb, steps: int) -> Band:
    """Return the tablet that a comb belongs to: its width, its slots and what stands in them.

    Parameters
    ----------
    levels : array (h, w), log10 codes.
    comb : the comb.
    steps : how many the tablet has.

    Returns
    -------
    The tablet.

    Raises
    ------
    CalibrationError
        Where the comb turns out to be no tablet.
    """
    reach = min(4.0 * comb.pitch, max(levels.shape) / 2.0)
    flat, along, across = straightened(levels, comb, reach)
    core = (along > -comb.pitch) & (along < (comb.places[-1] + 1) * comb.pitch)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # a column wholly outside the scan has no median
        centre_line = np.nanmedian(flat[np.abs(across) <= max(0.25 * comb.pitch, 1.0)], axis=0)
        off = np.nanmedian(np.abs(flat[:, core] - centre_line[core]), axis=1)
    like = np.nan_to_num(off, nan=9.0) < 0.35 * _usual_step(centre_line, comb, along) + 0.01
    middle = int(np.argmin(np.abs(across)))
    first = last = middle
    while first > 0 and like[first - 1]:
        first -= 1
    while last < across.size - 1 and like[last + 1]:
        last += 1
    width = float(last - first + 1)
    centre = float(across[first] + across[last]) / 2
    if width < 4:
        raise CalibrationError(f"what looks like a step tablet is too narrow to be measured; {REGION}")
    inner = np.abs(across - centre) <= max(0.3 * width, 1.0)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        profile = _middle_mean(flat[inner])
        beside = [
            np.nanmedian(flat[(across > low) & (across < high)], axis=0)
            if np.any((across > low) & (across < high))
            else np.full(along.size, np.nan)
            for low, high in (
                (centre - 0.95 * width, centre - 0.6 * width),
                (centre + 0.6 * width, centre + 0.95 * width),
            )
        ]
    start, pitch = _grid(profile, along, comb)
    step = _usual_step(profile, comb, along)
    if step <= 0:
        raise CalibrationError(f"no step tablet was found: what looks like one has no steps; {REGION}")
    slots = []
    lowest = int(np.floor((along[0] - start) / pitch))
    highest = int(np.ceil((along[-1] - start) / pitch))
    for number in range(max(lowest, -steps - 2), min(highest, comb.places[-1] + steps + 2) + 1):
        slots.append(_slot(start + (number + 0.5) * pitch, pitch, profile, along, beside, step))
    if comb.sign > 0:
        slots.reverse()
    return Band(tuple(slots), centre, width, pitch, step)


def _middle_mean(rows: _Levels) -> _Levels:
    """Return the mean of the middle three fifths down each column, in which dust has no say."""
    ordered = np.sort(rows, axis=0)
    skip = rows.shape[0] // 5
    return np.asarray(ordered[skip : rows.shape[0] - skip].mean(axis=0), dtype=np.float32)


def _usual_step(profile: _Levels, comb: Comb, along: _Floats) -> float:
    drops = []
    for place in comb.places:
        at = place * comb.pitch
        before = profile[(along > at - 0.7 * comb.pitch) & (along < at - 0.3 * comb.pitch)]
        after = profile[(along > at + 0.3 * comb.pitch) & (along < at + 0.7 * comb.pitch)]
        if before.size and after.size and np.isfinite(before).any() and np.isfinite(after).any():
            drops.append(abs(float(np.nanmedian(after) - np.nanmedian(before))))
    return float(np.median(drops)) if drops else 0.01


def _grid(profile: _Levels, along: _Floats, comb: Comb) -> tuple[float, float]:
    """Return start and pitch of the comb's edges, fitted to the mean over the tablet's width."""
    steep = comb.sign * gaussian_filter1d(np.nan_to_num(profile), 1.0, order=1)
    numbers, places, weights = [], [], []
    for place in comb.places:
        near = np.abs(along - place * comb.pitch) < 0.3 * comb.pitch
        pull = np.clip(steep[near], 0.0, None) ** 2
        if pull.sum() > 0:
            numbers.append(place)
            places.append(float((pull * along[near]).sum() / pull.sum()))
            weights.append(1.0)
    if len(numbers) < 4:
        return 0.0, comb.pitch
    weight = np.ones(len(numbers))
    pitch, start = comb.pitch, 0.0
    for _ in range(4):
        pitch, start = np.polyfit(numbers, places, 1, w=weight)
        miss = np.abs(np.polyval((pitch, start), numbers) - places)
        weight = 1.0 / np.sqrt(1.0 + (miss / max(1.4826 * float(np.median(miss)), 0.2)) ** 2)
    return float(start), float(pitch)


def _slot(
    middle: float, pitch: float, profile: _Levels, along: _Floats, beside: list[_Levels], step: float
) -> Slot:
    wide = np.abs(along - middle) <= 0.36 * pitch
    narrow = np.abs(along - middle) <= 0.25 * pitch
    seen = profile[wide]
    finite = np.isfinite(seen)
    if finite.sum() < 0.9 * 0.72 * pitch - 1 or not np.isfinite(profile[narrow]).any():
        return Slot(middle, float("nan"), False, 0.0, False, bool(finite.any()))
    level = float(np.nanmean(profile[narrow]))
    even = float(np.nanpercentile(seen, 85) - np.nanpercentile(seen, 15)) < max(0.35 * step, 0.012)
    others = [float(np.nanmedian(side[narrow])) for side in beside if np.isfinite(side[narrow]).any()]
    contrast = max((abs(level - other) for other in others), default=0.0)
    # Columns of a slot are neighbours and not independent: a third of them counts.
    noise = float(np.nanstd(profile[narrow])) / np.sqrt(max(narrow.sum() / 3.0, 1.0))
    return Slot(middle, level, even, contrast, contrast > max(0.06 * step, 0.003, 6.0 * noise), not even)
