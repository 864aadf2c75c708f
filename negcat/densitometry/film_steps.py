"""The steps of a tablet exposed on film, found in the scan of that film.

The film shows the tablet as its negative: densest under the clearest step, and level where the toe has run
out. Its steps can't be told by their densities, which are what is to be measured; they are told by where they
lie, counted from the densest end.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from negcat.densitometry.boxes import Box, reduced
from negcat.densitometry.comb import find_combs
from negcat.densitometry.profile import ScannerProfile
from negcat.densitometry.slots import Band, Slot, band_of
from negcat.densitometry.tablet import MOST_PIXELS, log_levels, part_of, step_box
from negcat.errors import CalibrationError

__all__ = ["FilmSteps", "find_film_steps", "measure_film_steps"]

_Floats = NDArray[np.float64]

_FEWEST = 5
_LEAST_FALL = 0.02  # usual steps: by how much a step must at least be darker than its lighter neighbour
_LEVEL = 0.15  # usual steps: by how much a level one may seem to be lighter
_ENOUGH = 0.5  # of the steps must get darker one after the other
_CELL = 9  # pixels that count as one independent reading
_SD_FLOOR = 0.003
_HINT = (
    "scan the film whole and straight, with some of what lies beyond the densest step, or record as its region where "
    "in the scan it lies, or type the densities in"
)


@dataclass(frozen=True)
class FilmSteps:
    """The steps of a film test in its scan, the tablet's clearest first.

    Parameters
    ----------
    boxes : the middle of each step; None where it was not seen.
    note : what the user should know, may be empty.
    """

    boxes: tuple[Box | None, ...]
    note: str


def find_film_steps(
    image: NDArray[Any], steps: int, *, region: tuple[float, float, float, float] | None = None
) -> FilmSteps:
    """Find the steps of a tablet on film.

    Parameters
    ----------
    image : array (h, w), 16-bit-scaled codes of one channel.
    steps : how many the tablet has.
    region : x0, y0, x1, y1 as fractions of width and height: look only there.

    Returns
    -------
    The steps, the film's densest first; their boxes are fractions of the whole image.

    Raises
    ------
    CalibrationError
        No row of patches that get denser, more of them than the tablet has, or some cut off of which it
        can't be told which they are: nothing is guessed.
    """
    if image.ndim != 2 or min(image.shape) < 16:
        raise CalibrationError("the steps are looked for in one channel of 16 pixels a side or more")
    part, corner = part_of(image, region)
    small, factor = reduced(part, MOST_PIXELS)
    levels = log_levels(small)
    fault: CalibrationError | None = None
    for comb in find_combs(levels, steps - 1):
        try:
            band = band_of(levels, comb, steps)
            places, note = _counted(band, steps)
        except CalibrationError as error:
            fault = fault or error
            continue
        boxes = tuple(
            None
            if slot is None
            else step_box(slot, band, comb, levels.shape, factor, part.shape, corner, image.shape)
            for slot in places
        )
        return FilmSteps(boxes, note)
    if fault is not None:
        raise fault
    raise CalibrationError(f"nowhere on the film do at least five even patches get denser in a row; {_HINT}")


def _counted(band: Band, steps: int) -> tuple[list[Slot | None], str]:
    """Tell which slot is which step, the densest first."""
    slots = band.slots
    run = _run(slots, band.step)
    if len(run) < max(_FEWEST, int(_ENOUGH * steps)):
        raise CalibrationError(
            f"at best {len(run)} patches of the film get denser in a row, of a tablet of {steps} steps; {_HINT}"
        )
    first, last = run[0], run[-1]
    # Outward: what is even and differs from what lies beside it belongs to the tablet's picture.
    while last + 1 < len(slots) and _belongs(slots[last + 1], slots[last], band.step, denser=True):
        last += 1
    while first > 0 and _belongs(slots[first - 1], slots[first], band.step, denser=False):
        first -= 1
    count = last - first + 1
    if count > steps:
        raise CalibrationError(
            f"the film shows {count} steps, the tablet's record has {steps}: name the tablet it was exposed "
            f"through, or {_HINT}"
        )
    beyond = slots[last + 1] if last + 1 < len(slots) else None
    if count < steps and (beyond is None or not np.isfinite(beyond.level) or beyond.partly):
        raise CalibrationError(
            f"{count} of the tablet's {steps} steps are seen, and the densest may be cut off by the scan's edge; "
            f"{_HINT}"
        )
    places: list[Slot | None] = []
    for number in range(steps):
        index = last - number
        slot = slots[index] if index >= 0 else None
        clear = slot is not None and slot.seen and slot.level > slots[first].level - _LEVEL * band.step
        places.append(slot if slot is not None and (index >= first or clear) and slot.seen else None)
    note = ""
    if count < steps:
        note = (
            f"{count} of the tablet's {steps} steps are told from what lies beside them; the others were counted on "
            "from the densest end."
        )
    return places, note


def _run(slots: Sequence[Slot], step: float) -> list[int]:
    """Return the longest row of slots that get denser one after the other and are no background."""
    best: list[int] = []
    row: list[int] = []
    for index, slot in enumerate(slots):
        good = slot.seen and slot.alone
        if good and row and slots[row[-1]].level - slot.level > _LEAST_FALL * step:
            row.append(index)
        else:
            row = [index] if good else []
        if len(row) > len(best):
            best = list(row)
    return best


def _belongs(slot: Slot, neighbour: Slot, step: float, *, denser: bool) -> bool:
    """Tell whether a slot at the end of the row is a step that is as dense as its neighbour, or nearly."""
    if not (slot.seen and slot.alone):
        return False
    gain = neighbour.level - slot.level if denser else slot.level - neighbour.level
    return -_LEVEL * step < gain < 2.0 * step


def measure_film_steps(
    image: NDArray[Any], steps: FilmSteps, profile: ScannerProfile
) -> tuple[_Floats, _Floats, _Floats]:
    """Measure the density of each step through the scanner's profile.

    Parameters
    ----------
    image : array (h, w), codes of the channel that the profile is for.
    steps : of `find_film_steps`.
    profile : the scanner's.

    Returns
    -------
    densities : of each step, nan where it was not seen or lies outside the profile's range, shape (n,).
    sds : its own standard deviation, of grain and noise, shape (n,).
    shared : what the profile's errors have in common, covariance, shape (n, n).

    Notes
    -----
    Transmittances are averaged, then the logarithm is taken; specks of dust are left out.
    """
    densities = np.full(len(steps.boxes), np.nan)
    sds = np.full(len(steps.boxes), np.nan)
    low, high = profile.density_range
    for number, box in enumerate(steps.boxes):
        if box is None:
            continue
        rows, columns = box.pixels(*image.shape)
        light = profile.transmittance(image[rows, columns])
        middle = float(np.median(light))
        spread = 1.4826 * float(np.median(np.abs(light - middle)))
        kept = light[np.abs(light - middle) <= max(5.0 * spread, 0.02 * middle)]
        mean = float(kept.mean())
        if mean <= 0.0 or not low <= -np.log10(mean) <= high:
            continue
        densities[number] = -np.log10(mean)
        relative = float(kept.std()) / mean / np.log(10.0)
        sds[number] = np.hypot(relative / np.sqrt(max(kept.size / _CELL, 1.0)), _SD_FLOOR)
    known = np.isfinite(densities)
    shared = np.zeros((densities.size, densities.size))
    for row in np.flatnonzero(known):
        for column in np.flatnonzero(known):
            here, there = float(densities[row]), float(densities[column])
            shared[row, column] = profile.covariance(here, there)
        if not profile.shared:
            shared[row, row] = float(profile.sd(densities[row])) ** 2
    return densities, sds, shared
