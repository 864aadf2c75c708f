"""Finding the steps of a tablet in a scan."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from negcat.densitometry.boxes import Box, reduced
from negcat.densitometry.comb import Comb, find_combs
from negcat.densitometry.numbering import FEWEST_STEPS, numbered
from negcat.densitometry.profile import FULL_SCALE
from negcat.densitometry.slots import REGION, Band, Slot, band_of
from negcat.errors import CalibrationError

__all__ = ["FoundSteps", "find_steps", "step_codes"]

_Levels = NDArray[np.float32]
_Floats = NDArray[np.float64]

MOST_PIXELS = 1100
_INVERTED = 3.0
_ENOUGH = 0.6  # of the steps: then other combs in the scan are not looked at
_NEXT = 1.6  # usual steps: by how much the next one may be darker
_NOISY = 0.3  # of the last step's code: noise in which the next step drowns
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
    lost : numbers of the darkest steps that are no longer told apart for the scanner's noise; they have a place
        and a code all the same.
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
    lost: tuple[int, ...] = ()


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
    if known.size < FEWEST_STEPS or np.any(np.diff(known) <= 0):
        raise CalibrationError(
            f"a tablet needs at least {FEWEST_STEPS} densities, lightest step first, rising; its record has "
            f"{known.size}"
        )
    if image.ndim != 2 or min(image.shape) < 16:
        raise CalibrationError(f"a tablet is looked for in one channel of 16 pixels a side or more; {REGION}")
    part, corner = part_of(image, region)
    small, factor = reduced(part, MOST_PIXELS)
    levels = log_levels(small)
    comb, band, first, slots, note = _found(levels, known)
    boxes: list[Box | None] = [None] * known.size
    for number, slot in enumerate(slots):
        if slot is not None:
            boxes[first + number] = step_box(
                slot, band, comb, levels.shape, factor, part.shape, corner, image.shape
            )
    lost: list[int] = []
    for slot in _beyond(band, slots)[: known.size - first - len(slots)]:
        number = first + len(slots) + len(lost)
        box = step_box(slot, band, comb, levels.shape, factor, part.shape, corner, image.shape)
        last = boxes[number - 1]
        if last is None or not _drowned(image, box, last, band.step):
            break
        lost.append(number)
        boxes[number] = box
    codes, clipped = step_codes(image, boxes)
    _check_order(codes, known)
    missing = tuple(k for k, box in enumerate(boxes) if box is None)
    notes = [note] if note and (missing or not lost) else []
    if lost:
        names = ", ".join(f"{k + 1} ({known[k]:.2f})" for k in lost)
        notes.append(f"Steps {names} are lost in the scanner's noise at the dark end.")
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
        lost=tuple(lost),
    )


def log_levels(codes: NDArray[Any]) -> _Levels:
    """Return log10 of codes, levelled off where they drown in the scanner's noise; shape of `codes`."""
    return np.asarray(np.log10(np.maximum(codes, 0.0) + _FLOOR), dtype=np.float32)


def _found(levels: _Levels, known: _Floats) -> tuple[Comb, Band, int, list[Slot | None], str]:
    """Return the first comb that turns out to be the tablet, its slots and which step the first one is."""
    fault: tuple[int, CalibrationError] | None = None
    best: tuple[int, Comb, Band, int, list[Slot | None], str] | None = None
    for comb in find_combs(levels, known.size - 1):
        try:
            band = band_of(levels, comb, known.size)
            first, slots, note = numbered(band, known)
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
        f"{REGION}"
    )


def _beyond(band: Band, run: Sequence[Slot | None]) -> list[Slot]:
    """Return the places beyond the darkest step told apart, as far as they lie whole in the scan."""
    last = run[-1]
    assert last is not None  # ends of the run are seen
    places = []
    for slot in band.slots[band.slots.index(last) + 1 :]:
        if not np.isfinite(slot.level):
            break
        places.append(slot)
    return places


def _drowned(image: NDArray[Any], box: Box, last: Box, step: float) -> bool:
    """Return whether the next step is there but can't be told apart for the scanner's noise.

    A cover is far darker than the next step would be, and even; glass and the film beside a tablet are
    brighter.
    """
    here, before = (image[place.pixels(*image.shape)].astype(np.float64) + _FLOOR for place in (box, last))
    fall = float(np.log10(before.mean() / here.mean()))
    noisy = float(here.std()) > _NOISY * float(before.mean())
    return -0.6 * step < fall < _NEXT * step or (noisy and -0.6 * step < fall)


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


def part_of(
    image: NDArray[Any], region: tuple[float, float, float, float] | None
) -> tuple[NDArray[Any], tuple[int, int]]:
    """Return the part of an image that is looked at, and where its top left corner lies: row, column."""
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


def step_box(
    slot: Slot,
    band: Band,
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
