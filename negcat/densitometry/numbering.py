"""Which steps of a tablet are seen: one hidden at an end shifts all the others, so nothing is guessed."""

import numpy as np
from numpy.typing import NDArray

from negcat.densitometry.profile import FULL_SCALE
from negcat.densitometry.slots import REGION, Band, Slot
from negcat.errors import CalibrationError

__all__ = ["FEWEST_STEPS", "numbered"]

_Floats = NDArray[np.float64]

FEWEST_STEPS = 5
_LARGEST_MISS = 0.08  # density
_CLIPPED_LEVEL = float(np.log10(0.98 * FULL_SCALE))


def numbered(band: Band, known: _Floats) -> tuple[int, list[Slot | None], str]:
    """Tell which steps of a tablet are seen.

    Parameters
    ----------
    band : the tablet.
    known : its densities, lightest first.

    Returns
    -------
    The number of the first step seen, the slots from there on (None for a covered one), and a note.

    Raises
    ------
    CalibrationError
        No row of patches that get darker, one that does not go with the densities, or steps hidden of which
        it can't be told which they are: nothing is guessed.
    """
    gaps = np.diff(known)
    used = _row(band, 2.0 + 1.5 * float(gaps.max() / np.median(gaps)))
    if not used:
        raise CalibrationError(f"no step tablet was found: no two even patches lie side by side; {REGION}")
    start, stop = used[0], used[-1]
    run: list[Slot | None] = [band.slots[k] if k in used else None for k in range(start, stop + 1)]
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
    if count < max(FEWEST_STEPS, known.size // 2 if known.size < 12 else known.size // 3):
        raise CalibrationError(
            f"no step tablet of {known.size} steps was found: at best {count} even patches in a row get "
            "darker one "
            f"after the other; {REGION}"
        )
    if len(run) > known.size:
        raise CalibrationError(
            f"the scan shows a tablet of {len(run)} steps, its record has {known.size}: name the right "
            "tablet, or "
            f"{REGION}"
        )
    if len(run) == known.size:
        _check_fit(run, 0, known)
        return 0, run, ""
    shift, note = _shift(band, run, start, stop, known)
    return shift, run, note


def _likeness(slot: Slot | None) -> float:
    return 0.0 if slot is None else slot.contrast


def _row(band: Band, largest: float) -> list[int]:
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


def _miss(run: list[Slot | None], shift: int, known: _Floats) -> float:
    """Return by how much, in density, the slots stand off a smooth curve over their densities."""
    pairs = [(known[shift + k], slot.level) for k, slot in enumerate(run) if slot is not None]
    densities, levels = (np.array(values) for values in zip(*pairs, strict=True))
    slopes = np.gradient(levels, densities)
    # The flat ends tell nothing and would bend the curve.
    useful = slopes < 0.25 * float(np.median(slopes))
    if useful.sum() < FEWEST_STEPS:
        return float("inf")
    densities, levels = densities[useful], levels[useful]
    degree = min(5, densities.size // 3)
    terms = np.vander((densities - densities.mean()) / np.ptp(densities), degree + 1)
    hat = terms @ np.linalg.pinv(terms)
    rest = (levels - hat @ levels) / np.maximum(1.0 - np.diag(hat), 0.2)
    return float(np.sqrt(np.mean((rest / slopes[useful]) ** 2)))


def _check_fit(run: list[Slot | None], shift: int, known: _Floats) -> None:
    if _miss(run, shift, known) > _LARGEST_MISS:
        raise CalibrationError(
            "patches in a row were found, but they do not follow the tablet's densities: this is no scan of "
            "that "
            f"tablet, or not with its levels as scanned; {REGION}"
        )


def _shift(band: Band, run: list[Slot | None], start: int, stop: int, known: _Floats) -> tuple[int, str]:
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
            f"{REGION}"
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
    possible = _told_by_glass(band, run, start, stop, known)
    if choice is not None and choice not in possible:
        choice = None
    if choice is None and len(possible) == 1 and (fitting is None or possible[0] in fitting):
        choice, note = possible[0], "Which steps are missing was told from the open glass beside the tablet."
    if choice == 0 and not glass_before:
        note = (
            "Which steps are missing was told from where the tablet ends in the scan, taking it that its lightest "
            "step isn't covered."
        )
    misses = np.array([_miss(run, shift, known) for shift in range(spare + 1)])
    best = int(np.argmin(misses))
    # A real tablet's steps are a little uneven; where the codes follow that unevenness it settles the matter.
    if best in possible and misses[best] < 0.5 * np.delete(misses, best).min() and misses[best] < 0.02:
        return best, ""
    if choice is None or misses[choice] > _LARGEST_MISS:
        raise CalibrationError(
            f"{len(run)} of the tablet's {known.size} steps are seen and it can't be told which ones are "
            "hidden: scan "
            "the whole tablet, or show its lightest end on open glass"
        )
    return choice, note


def _told_by_glass(band: Band, run: list[Slot | None], start: int, stop: int, known: _Floats) -> list[int]:
    """Return the steps that the first one seen may be, by the open glass beyond the tablet's ends.

    Glass tells where the tablet ends, covered or not, and how much light the first step seen keeps back.
    """
    spare = known.size - len(run)
    possible = list(range(spare + 1))
    first, last = run[0], run[-1]
    assert first is not None
    assert last is not None  # ends of the run are seen
    glass = max(slot.level for slot in band.slots if slot.seen)
    if glass <= first.level + 0.004:
        return possible
    # From either end of the run outward: covered places, then glass.
    for outward, at_light_end in ((band.slots[:start][::-1], True), (band.slots[stop + 1 :], False)):
        if at_light_end and glass > _CLIPPED_LEVEL:
            continue  # light steps may have drowned in it
        for covered, slot in enumerate(outward):
            if not np.isfinite(slot.level):
                break
            if slot.seen and slot.level > glass - 0.02:
                shift = covered if at_light_end else spare - covered
                possible = [k for k in possible if k == shift]
                break
    if glass > _CLIPPED_LEVEL:
        return possible
    head = [(k, slot.level) for k, slot in enumerate(run[:5]) if slot is not None]
    (begin, bright), (end, dark) = head[0], head[-1]
    kept = []
    for shift in possible:
        slope = (bright - dark) / (known[shift + end] - known[shift + begin])
        # What is brightest may also be clear film beside the steps.
        if -0.04 < known[shift] - (glass - bright) / slope < 0.12:
            kept.append(shift)
    return kept


def _told_by_light(run: list[Slot | None], known: _Floats, spare: int) -> list[int]:
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
