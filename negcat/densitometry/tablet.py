"""Finding the steps of a tablet in a scan, and telling which of them are there."""

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from negcat.densitometry.boxes import Box
from negcat.densitometry.comb import Comb, find_combs, straightened
from negcat.densitometry.profile import FULL_SCALE
from negcat.errors import CalibrationError

__all__ = ["FoundSteps", "find_steps", "step_codes"]

_Levels = NDArray[np.float32]
_Floats = NDArray[np.float64]

_MOST_PIXELS = 1100
_FEWEST_STEPS = 5
_REGION = "give --region x0,y0,x1,y1 around the tablet alone, or scan it again whole and straight"
_INVERTED = 3.0
_ENOUGH = 0.6  # of the steps: then other combs in the scan are not looked at
_LARGEST_MISS = 0.08  # density
_CLIPPED_LEVEL = float(np.log10(0.98 * FULL_SCALE))
_FLOOR = 4.0  # codes added before the logarithm, lest a black mask's noise look like texture


@dataclass(frozen=True)
class FoundSteps:
    """A tablet's steps in a scan, lightest first.

    Parameters
    ----------
    codes : mean 16-bit code in the middle of each step, nan where the step was not seen.
    boxes : the middle of each step; None where it was not seen.
    missing : numbers of the steps not seen, 0 for the lightest.
    axis : whether the steps follow each other along ``x`` or ``y``.
    reversed : whether the lightest step lies at the right or bottom end.
    note : what the user should know, one or more sentences, may be empty.
    tilt_deg : how far the tablet lies askew, in degrees, clockwise positive.
    clipped : share of each step's pixels at 0 or full scale.
    """

    codes: tuple[float, ...]
    boxes: tuple[Box | None, ...]
    missing: tuple[int, ...]
    axis: Literal["x", "y"]
    reversed: bool
    note: str
    tilt_deg: float = 0.0
    clipped: tuple[float, ...] = ()


@dataclass(frozen=True)
class _Slot:
    """One place of the comb where a step may be, lightest end first."""

    place: float  # its middle along the comb, pixels from the first edge
    level: float
    seen: bool  # whole and even
    contrast: float  # by how much it differs from what lies beside the tablet there
    alone: bool  # by enough to be no background
    partly: bool  # inside the scan, but cut or covered in part


@dataclass(frozen=True)
class _Band:
    """The tablet, lying level: slots and its width."""

    slots: tuple[_Slot, ...]
    centre: float  # across, pixels from the comb's line
    width: float
    pitch: float
    step: float  # usual fall of level from step to step, above 0


def find_steps(
    image: NDArray[Any],
    densities: Sequence[float],
    *,
    region: tuple[float, float, float, float] | None = None,
) -> FoundSteps:
    """Find the steps of a tablet in a scan.

    Parameters
    ----------
    image : array (h, w), 16-bit-scaled codes of one channel.
    densities : the tablet's known densities, lightest first, at least five.
    region : x0, y0, x1, y1 as fractions of width and height: look only there.

    Returns
    -------
    The steps. Along or across, either way round and up to 3° askew makes no difference.

    Raises
    ------
    CalibrationError
        No tablet, one with more steps than the record names, or one of which it can't be told which steps are
        missing.
    """
    known = np.asarray(densities, dtype=np.float64)
    if known.size < _FEWEST_STEPS or np.any(np.diff(known) <= 0):
        raise CalibrationError(
            f"a tablet needs at least {_FEWEST_STEPS} densities, lightest step first, rising; its record has "
            f"{known.size}"
        )
    if image.ndim != 2 or min(image.shape) < 16:
        raise CalibrationError(
            f"a tablet is looked for in one channel of 16 pixels a side or more; {_REGION}"
        )
    part, corner = _part(image, region)
    reduced, factor = _reduced(part)
    levels = np.log10(np.maximum(reduced, 0.0) + _FLOOR).astype(np.float32)
    comb, band, first, slots, note = _found(levels, known)
    boxes: list[Box | None] = [None] * known.size
    for number, slot in enumerate(slots):
        if slot is not None:
            boxes[first + number] = _step_box(
                slot, band, comb, levels.shape, factor, part.shape, corner, image.shape
            )
    codes, clipped = step_codes(image, boxes)
    _check_order(codes, known)
    missing = tuple(k for k, box in enumerate(boxes) if box is None)
    notes = [note] if note else []
    if missing:
        names = ", ".join(f"{k + 1} ({known[k]:.2f})" for k in missing)
        notes.append(f"{len(missing)} of {known.size} steps are not seen: {names}.")
    # The comb runs along x or y; a tilt is clockwise positive for both.
    tilt = float(np.degrees(np.arctan(comb.leaning))) * (1 if comb.axis == "x" else -1)
    return FoundSteps(
        codes=codes,
        boxes=tuple(boxes),
        missing=missing,
        axis=comb.axis,
        reversed=comb.sign > 0,
        note=" ".join(notes),
        tilt_deg=tilt,
        clipped=clipped,
    )


def _found(levels: _Levels, known: _Floats) -> tuple[Comb, _Band, int, list[_Slot | None], str]:
    """Return the first comb that turns out to be the tablet, its slots and which step the first one is."""
    fault: tuple[int, CalibrationError] | None = None
    best: tuple[int, Comb, _Band, int, list[_Slot | None], str] | None = None
    for comb in find_combs(levels, known.size - 1):
        try:
            band = _band(levels, comb, known.size)
            first, slots, note = _assigned(band, known)
        except CalibrationError as error:
            if comb.edges >= (known.size - 1) / 2 and (fault is None or comb.edges > fault[0]):
                fault = (comb.edges, error)
            continue
        count = sum(slot is not None for slot in slots)
        if best is None or count > best[0]:
            best = (count, comb, band, first, slots, note)
        if count >= _ENOUGH * known.size:
            break
    if best is not None:
        return best[1:]
    if fault is not None:
        raise fault[1]
    raise CalibrationError(
        "no step tablet was found: nowhere do at least five even patches in a row get darker one after the "
        "other; "
        f"{_REGION}"
    )


def step_codes(
    image: NDArray[Any], boxes: Sequence[Box | None]
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return the mean code of each step, from boxes found in another channel or at another reduction.

    Parameters
    ----------
    image : array (h, w), 16-bit-scaled codes of one channel of the scan that `boxes` belong to.
    boxes : of each step, None for one that was not seen.

    Returns
    -------
    Mean codes, nan for steps not seen, specks of dust left out; and the share of pixels at 0 or full scale.
    """
    codes, clipped = [], []
    for box in boxes:
        if box is None:
            codes.append(float("nan"))
            clipped.append(0.0)
            continue
        rows, columns = box.pixels(*image.shape)
        patch = image[rows, columns].astype(np.float64)
        middle = float(np.median(patch))
        spread = 1.4826 * float(np.median(np.abs(patch - middle)))
        kept = patch[np.abs(patch - middle) <= max(5.0 * spread, 0.02 * middle, 1.0)]
        codes.append(float(kept.mean()))
        clipped.append(float(np.mean((patch <= 0) | (patch >= FULL_SCALE))))
    return tuple(codes), tuple(clipped)


def _part(
    image: NDArray[Any], region: tuple[float, float, float, float] | None
) -> tuple[NDArray[Any], tuple[int, int]]:
    if region is None:
        return image, (0, 0)
    x0, y0, x1, y1 = region
    if not (0 <= x0 < x1 <= 1 and 0 <= y0 < y1 <= 1):
        raise CalibrationError(
            "a region is x0,y0,x1,y1 as fractions of the scan, 0 to 1, left before right and top before "
            "bottom, not "
            f"{x0:g},{y0:g},{x1:g},{y1:g}"
        )
    height, width = image.shape
    top, bottom = int(y0 * height), max(int(np.ceil(y1 * height)), int(y0 * height) + 1)
    left, right = int(x0 * width), max(int(np.ceil(x1 * width)), int(x0 * width) + 1)
    part = image[top:bottom, left:right]
    if min(part.shape) < 8:
        raise CalibrationError(f"the region is only {part.shape[1]} × {part.shape[0]} pixels: widen it")
    return part, (top, left)


def _reduced(image: NDArray[Any]) -> tuple[NDArray[np.float32], int]:
    factor = max(1, -(-max(image.shape) // _MOST_PIXELS))
    if factor == 1:
        return image.astype(np.float32), 1
    height, width = (size // factor * factor for size in image.shape)
    rows = image[:height, :width].reshape(height // factor, factor, width).sum(axis=1, dtype=np.float32)
    return rows.reshape(rows.shape[0], width // factor, factor).sum(axis=2) / np.float32(factor**2), factor


def _band(levels: _Levels, comb: Comb, steps: int) -> _Band:
    """Return the comb's tablet: its width, its slots and what stands in them."""
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
        raise CalibrationError(f"what looks like a step tablet is too narrow to be measured; {_REGION}")
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
        raise CalibrationError(f"no step tablet was found: what looks like one has no steps; {_REGION}")
    slots = []
    lowest = int(np.floor((along[0] - start) / pitch))
    highest = int(np.ceil((along[-1] - start) / pitch))
    for number in range(max(lowest, -steps - 2), min(highest, comb.places[-1] + steps + 2) + 1):
        slots.append(_slot(start + (number + 0.5) * pitch, pitch, profile, along, beside, step))
    if comb.sign > 0:
        slots.reverse()
    return _Band(tuple(slots), centre, width, pitch, step)


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
) -> _Slot:
    wide = np.abs(along - middle) <= 0.36 * pitch
    narrow = np.abs(along - middle) <= 0.25 * pitch
    seen = profile[wide]
    finite = np.isfinite(seen)
    if finite.sum() < 0.9 * 0.72 * pitch - 1 or not np.isfinite(profile[narrow]).any():
        return _Slot(middle, float("nan"), False, 0.0, False, bool(finite.any()))
    level = float(np.nanmean(profile[narrow]))
    even = float(np.nanpercentile(seen, 85) - np.nanpercentile(seen, 15)) < max(0.35 * step, 0.012)
    others = [float(np.nanmedian(side[narrow])) for side in beside if np.isfinite(side[narrow]).any()]
    contrast = max((abs(level - other) for other in others), default=0.0)
    # Columns of a slot are neighbours and not independent: a third of them counts.
    noise = float(np.nanstd(profile[narrow])) / np.sqrt(max(narrow.sum() / 3.0, 1.0))
    return _Slot(middle, level, even, contrast, contrast > max(0.06 * step, 0.003, 6.0 * noise), not even)


def _assigned(band: _Band, known: _Floats) -> tuple[int, list[_Slot | None], str]:
    """Return the number of the first step seen, the slots from there on (None: covered), and a note."""
    gaps = np.diff(known)
    used = _row(band, 2.0 + 1.5 * float(gaps.max() / np.median(gaps)))
    if not used:
        raise CalibrationError(f"no step tablet was found: no two even patches lie side by side; {_REGION}")
    start, stop = used[0], used[-1]
    run: list[_Slot | None] = [band.slots[k] if k in used else None for k in range(start, stop + 1)]
    # One too many: the end that is most like what lies beside it is glass or mask.
    while len(run) > known.size:
        ends = [_likeness(run[0]), _likeness(run[-1])]
        if min(ends) > 0.3 * band.step:
            break
        if ends[0] <= ends[1]:
            run.pop(0)
            start += 1
        else:
            run.pop()
            stop -= 1
    while run and run[0] is None:
        run.pop(0)
        start += 1
    while run and run[-1] is None:
        run.pop()
        stop -= 1
    count = sum(slot is not None for slot in run)
    if count < max(_FEWEST_STEPS, known.size // 2 if known.size < 12 else known.size // 3):
        raise CalibrationError(
            f"no step tablet of {known.size} steps was found: at best {count} even patches in a row get "
            "darker one "
            f"after the other; {_REGION}"
        )
    if len(run) > known.size:
        raise CalibrationError(
            f"the scan shows a tablet of {len(run)} steps, its record has {known.size}: name the right "
            "tablet, or "
            f"{_REGION}"
        )
    if len(run) == known.size:
        _check_fit(run, 0, known)
        return 0, run, ""
    shift, note = _shift(band, run, start, stop, known)
    return shift, run, note


def _likeness(slot: _Slot | None) -> float:
    return 0.0 if slot is None else slot.contrast


def _row(band: _Band, largest: float) -> list[int]:
    """Return the slots of the longest row that gets darker step by step, covered ones bridged.

    `largest` is the greatest fall from one step to the next, in usual steps: a greater one is a cover's edge
    or the tablet's end.
    """
    slots = band.slots
    best: list[int] = []
    for first, begin in enumerate(slots):
        if not begin.seen:
            continue
        row = [first]
        for index in range(first + 1, len(slots)):
            slot, last = slots[index], slots[row[-1]]
            gap = index - row[-1]
            if gap > 4:
                break
            fall = (last.level - slot.level) / band.step
            if not slot.seen or not 0.02 < fall < (largest if gap == 1 else 1.8 * gap):
                continue
            # Beyond a cover the tablet must show again: neither more of the cover nor what lies beside the
            # tablet.
            covers = [slots[k].level for k in range(row[-1] + 1, index) if slots[k].seen]
            if gap > 1 and (
                not slot.alone or any(abs(slot.level - level) < 0.5 * band.step for level in covers)
            ):
                continue
            row.append(index)
        if len(row) > len(best):
            best = row
    # Background at the ends: even and in order, but the same beside the tablet.
    while len(best) > 1 and not slots[best[0]].alone:
        best = best[1:]
    while (
        len(best) > 1
        and not slots[best[-1]].alone
        and slots[best[-2]].level - slots[best[-1]].level > 2.0 * band.step
    ):
        best = best[:-1]
    return best


def _miss(run: list[_Slot | None], shift: int, known: _Floats) -> float:
    """Return by how much, in density, the slots stand off a smooth curve over their densities."""
    pairs = [(known[shift + k], slot.level) for k, slot in enumerate(run) if slot is not None]
    densities, levels = (np.array(values) for values in zip(*pairs, strict=True))
    slopes = np.gradient(levels, densities)
    # The flat ends tell nothing and would bend the curve.
    useful = slopes < 0.25 * float(np.median(slopes))
    if useful.sum() < _FEWEST_STEPS:
        return float("inf")
    densities, levels = densities[useful], levels[useful]
    degree = min(5, densities.size // 3)
    terms = np.vander((densities - densities.mean()) / np.ptp(densities), degree + 1)
    hat = terms @ np.linalg.pinv(terms)
    rest = (levels - hat @ levels) / np.maximum(1.0 - np.diag(hat), 0.2)
    return float(np.sqrt(np.mean((rest / slopes[useful]) ** 2)))


def _check_fit(run: list[_Slot | None], shift: int, known: _Floats) -> None:
    if _miss(run, shift, known) > _LARGEST_MISS:
        raise CalibrationError(
            "patches in a row were found, but they do not follow the tablet's densities: this is no scan of "
            "that "
            f"tablet, or not with its levels as scanned; {_REGION}"
        )


def _shift(band: _Band, run: list[_Slot | None], start: int, stop: int, known: _Floats) -> tuple[int, str]:
    """Return which step the first one seen is, where some are missing at the ends."""
    spare = known.size - len(run)
    first, last = run[0], run[-1]
    assert first is not None
    assert last is not None  # ends of the run are seen
    before = band.slots[start - 1] if start > 0 else None
    after = band.slots[stop + 1] if stop + 1 < len(band.slots) else None
    seen = [slot for slot in run if slot is not None]
    # A step beyond the darkest would not show if the mask beside the tablet is as dark as it would be.
    floor = 1.3 * (seen[-2].level - seen[-1].level)
    glass_before = before is not None and before.seen and before.level > first.level
    glass_after = after is not None and after.seen and after.level > first.level
    cut_light = before is None or not np.isfinite(before.level) or (before.partly and before.alone)
    cut_dark = after is None or not np.isfinite(after.level) or (after.partly and after.alone)
    sunk = after is not None and after.seen and 0 <= last.level - after.level < floor
    # In glass at full scale the lightest steps may be lost.
    drowned = glass_before and before is not None and before.level > _CLIPPED_LEVEL
    glass_before = glass_before and not drowned and not cut_light
    glass_after = glass_after and not cut_dark
    if glass_before and glass_after:
        raise CalibrationError(
            f"the scan shows a tablet of {len(run)} steps, its record has {known.size}: name the right "
            "tablet, or "
            f"{_REGION}"
        )
    fitting = None if drowned else _told_by_light(run, known, spare)
    choice: int | None = None
    note = "Which steps are missing was told from where the tablet ends in the scan."
    if glass_before:
        choice = 0
    elif glass_after or (cut_light and not (cut_dark or sunk)):
        choice = spare
    elif (cut_dark or sunk) and not (cut_light or drowned) and (fitting is None or 0 in fitting):
        choice = 0
    elif not cut_light and not cut_dark and fitting is not None and len(fitting) == 1:
        choice = fitting[0]
        note = (
            "Which steps are missing was told by the brightest one, taking it that open glass is not clipped."
        )
    misses = np.array([_miss(run, shift, known) for shift in range(spare + 1)])
    best = int(np.argmin(misses))
    # A real tablet's steps are a little uneven; where the codes follow that unevenness it settles the matter.
    if misses[best] < 0.5 * np.delete(misses, best).min() and misses[best] < 0.02:
        return best, ""
    if choice is None or misses[choice] > _LARGEST_MISS:
        raise CalibrationError(
            f"{len(run)} of the tablet's {known.size} steps are seen and it can't be told which ones are "
            "hidden: scan "
            "the whole tablet, or show its lightest end on open glass"
        )
    return choice, note


def _told_by_light(run: list[_Slot | None], known: _Floats, spare: int) -> list[int]:
    """Return the steps that the brightest one seen may be, by how far it lies below full scale.

    A scan is exposed so that open glass comes to between half of full scale and all of it.
    """
    head = [(k, slot.level) for k, slot in enumerate(run[:5]) if slot is not None]
    (first, bright), (last, dark) = head[0], head[-1]
    if bright > _CLIPPED_LEVEL:
        return list(range(spare + 1))
    fitting = []
    for shift in range(spare + 1):
        slope = (bright - dark) / (known[shift + last] - known[shift + first])
        room = (np.log10(FULL_SCALE) - bright) / slope
        if room - 0.3 <= known[shift] <= room + 0.03:
            fitting.append(shift)
    return fitting


def _check_order(codes: tuple[float, ...], known: _Floats) -> None:
    seen = np.array(codes)
    finite = np.isfinite(seen)
    logs, steps = np.log10(np.maximum(seen[finite], 1.0)), known[finite]
    answer = -np.diff(logs) / np.diff(steps)
    third = max(answer.size // 3, 2)
    light, dark = float(np.median(answer[:third])), float(np.median(answer[-third:]))
    if dark > _INVERTED * max(light, 1e-3) and dark > 0.3:
        raise CalibrationError(
            "the steps answer the wrong way round, least at the bright end: the scan is a positive "
            "(inverted); scan "
            "the tablet as a plain transparency, with the settings of the negatives"
        )


def _step_box(
    slot: _Slot,
    band: _Band,
    comb: Comb,
    shape: tuple[int, ...],
    factor: int,
    part: tuple[int, ...],
    corner: tuple[int, int],
    whole: tuple[int, ...],
) -> Box:
    """Return the upright box inside a step, as fractions of the whole scan."""
    length = float(np.hypot(1.0, comb.leaning))
    cosine, sine = 1.0 / length, comb.leaning / length
    # straightened() gives pixel centres whole numbers; a pixel's own centre is at ½ here.
    x = comb.start + slot.place * cosine - band.centre * sine + 0.5
    y = comb.across + slot.place * sine + band.centre * cosine + 0.5
    half_x = 0.28 * band.pitch
    half_y = min(0.3 * band.width, max((0.4 * band.pitch - half_x) / max(abs(sine), 1e-6), 1.0))
    if comb.axis == "y":
        x, y, half_x, half_y = y, x, half_y, half_x
    top, left = corner
    height, width = whole[0], whole[1]
    return Box(
        (left + (x - half_x) * factor) / width,
        (top + (y - half_y) * factor) / height,
        (left + (x + half_x) * factor) / width,
        (top + (y + half_y) * factor) / height,
    )
