"""Where a step tablet lies in a scan: a comb of evenly spaced edges that all get darker the same way.

Lines are laid through the scan; on each the places where the code changes are looked for,
and the longest row of
them with one sign and an even spacing is kept. No picture has ten of those in a row.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import (
    gaussian_filter1d,
    grey_closing,
    grey_opening,
    map_coordinates,
    maximum_filter1d,
    uniform_filter1d,
)

__all__ = ["Comb", "find_combs", "straightened"]

_Levels = NDArray[np.float32]
_Floats = NDArray[np.float64]

Ruled = Literal["no", "clear", "black"]
_RULES: tuple[Ruled, ...] = ("no", "clear", "black")

_LINES = 48
_LEANINGS = (0.0, 0.04, -0.04)  # tangents: 2.3° to either side reaches 3.5°
_LEAST_EDGE = 0.004
_WEAKEST = (
    0.25  # of a line's stronger edges: what is weaker is grain or the dense end, which is looked at later
)
_FILLED = 0.7  # of a comb's places must hold an edge
_UNEVEN = 0.2  # of the spacing: by how much an edge may stand off its place
_SHARP = 5.0  # times the usual slope between its edges: what the edges of a tablet stand out by
_RULED = 9  # pixels: lines between the steps of a tablet are narrower
_MOST_LEANING = 0.066  # tangent of 3.8°
_SHORTEST = 0.12  # of the scan's length: a smaller comb wants a region
_LONGEST_GAP = 3  # spacings: how much of a comb may be covered in one piece


@dataclass(frozen=True)
class Comb:
    """A comb of edges found on one line through the scan.

    Parameters
    ----------
    axis : whether the line runs along ``x`` or ``y``.
    edges : number of edges that fit.
    start : place of the first edge along the axis, pixels.
    pitch : spacing of the edges, pixels.
    places : number of each edge counted from the first, so that covered ones leave a gap.
    sign : -1 where it gets darker along the axis, +1 where it gets lighter.
    across : place of the line across the axis, in pixels, at the first edge.
    leaning : tangent of the comb's tilt: pixels across a pixel along.
    """

    axis: Literal["x", "y"]
    edges: int
    start: float
    pitch: float
    places: tuple[int, ...]
    sign: int
    across: float
    leaning: float


def find_combs(levels: _Levels, wanted: int) -> Iterator[Comb]:
    """Find combs in a scan, the likelier first.

    Parameters
    ----------
    levels : array (h, w), log10 codes.
    wanted : edges that a whole tablet has.

    Yields
    ------
    Combs of four edges or more, one a direction; what lies between the edges is not looked at.
    """
    for ruled in _RULES:
        for leaning in _LEANINGS if ruled == "no" else _LEANINGS[:1]:
            found = []
            for axis, turned in _both(levels):
                comb = _best_on_lines(turned, leaning, axis, wanted, ruled)
                if comb is not None:
                    found.append(comb)
            for comb in sorted(found, key=lambda comb: -comb.edges):
                straight = _leaned(comb, levels)
                if abs(straight.leaning) < _MOST_LEANING:
                    yield straight


def _both(levels: _Levels) -> tuple[tuple[Literal["x", "y"], _Levels], ...]:
    return (("x", levels), ("y", levels.T))


def _best_on_lines(
    levels: _Levels, leaning: float, axis: Literal["x", "y"], wanted: int, ruled: Ruled
) -> Comb | None:
    height, width = levels.shape
    apart = max(2, height // _LINES)
    calm = uniform_filter1d(levels, min(apart + 1, 7), axis=0, mode="nearest")
    along = np.arange(width)
    lean = np.rint(leaning * (along - width / 2)).astype(np.int64)
    rows = np.arange(apart // 2, height, apart)
    at = rows[:, None] + lean[None, :]
    inside = (at >= 0) & (at < height)
    lines = calm[np.clip(at, 0, height - 1), along[None, :]]
    # Clear or black lines between the steps are narrower than any step and vanish here.
    if ruled == "clear":
        lines = grey_opening(lines, size=(1, _RULED), mode="nearest")
    elif ruled == "black":
        lines = grey_closing(lines, size=(1, _RULED), mode="nearest")
    blur = max(1.0, width / 700.0)
    steep = gaussian_filter1d(lines, blur, axis=1, order=1, mode="nearest")
    steep[~inside] = 0.0
    strength = np.abs(steep)
    noise = np.median(strength, axis=1, keepdims=True)
    peak = strength >= maximum_filter1d(strength, 5, axis=1)
    ranked = -np.sort(-np.where(peak, strength, 0.0), axis=1)
    strong = ranked[:, min(max(wanted // 2, 2), width - 1)][:, None]
    peak &= strength > np.maximum(np.maximum(_LEAST_EDGE / (2.5 * blur), 2.5 * noise), _WEAKEST * strong)
    peak[:, :2] = peak[:, -2:] = False
    best: Comb | None = None
    row_of_best = 0
    # The lines with most peaks of one sign first: later ones then can't win and are passed over at once.
    falls, rises = (peak & (steep < 0)).sum(axis=1), (peak & (steep > 0)).sum(axis=1)
    for row in np.argsort(-np.maximum(falls, rises)):
        if best is not None and max(falls[row], rises[row]) <= best.edges:
            break
        places = np.flatnonzero(peak[row])
        signs = np.sign(steep[row, places]).astype(int)
        for sign in (-1, 1):
            chain = _chain(places.astype(np.float64), signs, sign, 0 if best is None else best.edges)
            if chain is None:
                continue
            start, pitch, numbers = chain
            if numbers[-1] * pitch < _SHORTEST * width:
                continue
            teeth = np.clip(np.rint(start + np.array(numbers) * pitch).astype(int), 1, width - 2)
            tooth = np.median(
                np.maximum(
                    np.maximum(strength[row, teeth - 1], strength[row, teeth]), strength[row, teeth + 1]
                )
            )
            # Few edges in a row come about by chance sooner than many.
            sharp = _SHARP if wanted >= 8 else 2.0 * _SHARP
            if tooth < sharp * np.median(strength[row, teeth[0] : teeth[-1]]):
                continue
            row_of_best = int(row)
            best = Comb(axis, len(numbers), start, pitch, numbers, sign, 0.0, leaning)
        if best is not None and best.edges >= wanted:
            break
    if best is None:
        return None
    # The line found first may only graze the tablet: the middle of its neighbours that see the same comb
    # serves.
    near = np.rint(best.start + np.array(best.places) * best.pitch).astype(int)
    slack = max(2, int(0.25 * best.pitch))
    window = np.clip(near[:, None] + np.arange(-slack, slack + 1), 0, width - 1)
    own = (steep * best.sign)[:, window].max(axis=2)
    alike = (own > 0.5 * own[row_of_best]).mean(axis=1) > 0.75
    first = last = row_of_best
    while first > 0 and alike[first - 1]:
        first -= 1
    while last < rows.size - 1 and alike[last + 1]:
        last += 1
    across = (rows[first] + rows[last]) / 2 + leaning * (best.start - width / 2)
    # Askew, the middle line meets the edges elsewhere than the line that found them.
    return replace(best, across=float(across))


def _chain(
    places: _Floats, signs: NDArray[np.int64], sign: int, beat: int
) -> tuple[float, float, tuple[int, ...]] | None:
    """Return start, pitch and numbers of the longest even row of edges of one sign, longer than `beat`."""
    own = places[signs == sign]
    other = places[signs == -sign]
    best: tuple[float, float, tuple[int, ...]] | None = None
    longest = max(beat, 3)
    for first in range(own.size - longest):
        for second in range(first + 1, min(first + 4, own.size)):
            pitch = own[second] - own[first]
            if pitch < 5.0 or (own.size and pitch > (own[-1] - own[first]) / longest * 1.3):
                continue
            numbers, matched = [0, 1], [own[first], own[second]]
            missed = 0
            while missed < _LONGEST_GAP:
                wanted = matched[-1] + (missed + 1) * pitch
                nearest = int(np.searchsorted(own, wanted))
                near = [own[k] for k in (nearest - 1, nearest) if 0 <= k < own.size]
                hit = min(near, key=lambda place: abs(place - wanted), default=None)
                if hit is None or abs(hit - wanted) > _UNEVEN * pitch:
                    missed += 1
                    if wanted > own[-1]:
                        break
                    continue
                numbers.append(numbers[-1] + missed + 1)
                matched.append(hit)
                pitch = (matched[-1] - matched[0]) / numbers[-1]
                missed = 0
            if len(numbers) <= longest or len(numbers) < _FILLED * (numbers[-1] + 1):
                continue
            # Edges the other way between the teeth: a texture, not a tablet.
            between = np.count_nonzero((other > matched[0]) & (other < matched[-1]))
            if between > max(2, 0.4 * len(numbers)):
                continue
            slope, start = np.polyfit(numbers, matched, 1)
            if np.sqrt(np.mean((np.polyval((slope, start), numbers) - matched) ** 2)) > 0.1 * slope:
                continue
            longest = len(numbers)
            best = (float(start), float(slope), tuple(numbers))
    return best


def _leaned(comb: Comb, levels: _Levels) -> Comb:
    """Return the comb with its tilt measured, and its line laid along the middle of the tablet."""
    for _ in range(2):
        flat, along, across = straightened(levels, comb, min(3.0 * comb.pitch, max(levels.shape) / 2.0))
        middle = across.size // 2
        places, centres = [], []
        for number in range(comb.places[-1]):
            columns = np.abs(along - (number + 0.5) * comb.pitch) < 0.25 * comb.pitch
            if not columns.any() or not np.isfinite(flat[middle, columns]).all():
                continue
            column = np.median(flat[:, columns], axis=1)
            like = np.abs(column - np.median(column[middle - 1 : middle + 2])) < 0.04
            # nan, outside the scan, is like nothing.
            above, below = np.flatnonzero(~like[:middle]), np.flatnonzero(~like[middle:])
            if above.size and below.size:
                places.append((number + 0.5) * comb.pitch)
                centres.append((float(across[above[-1]]) + float(across[middle + below[0]])) / 2)
        if len(places) < 3:
            return comb
        at, centre = np.array(places), np.array(centres)
        weight = np.ones(at.size)
        slope = offset = 0.0
        for _ in range(6):
            slope, offset = np.polyfit(at, centre, 1, w=weight)
            miss = np.abs(centre - offset - slope * at)
            weight = 1.0 / np.sqrt(1.0 + (miss / max(1.4826 * float(np.median(miss)), 0.3)) ** 2)
        slope = float(np.clip(slope, -0.06, 0.06))
        centre_line = float(np.median(centre - slope * at))
        # The first edge, moved along its own direction onto the new line.
        comb = replace(
            comb,
            leaning=comb.leaning + slope,
            across=comb.across + centre_line,
            start=comb.start - comb.leaning * centre_line,
        )
    return comb


def straightened(levels: _Levels, comb: Comb, reach: float) -> tuple[_Levels, _Floats, _Floats]:
    """Return the scan around a comb, turned so that the comb lies level.

    Parameters
    ----------
    levels : array (h, w), log10 codes.
    comb : the comb.
    reach : pixels to either side of the comb's line.

    Returns
    -------
    Array (2·reach + 1, n), nan outside the scan; the place of every column along the comb,
    measured from its first
    edge in pixels; of every row across it, from its line.
    """
    turned = levels if comb.axis == "x" else levels.T
    height, width = turned.shape
    length = np.hypot(1.0, comb.leaning)
    cosine, sine = 1.0 / length, comb.leaning / length
    along = np.arange(np.floor(-comb.start / cosine), np.ceil((width - comb.start) / cosine))
    across = np.arange(-np.ceil(reach), np.ceil(reach) + 1)
    x = comb.start + along[None, :] * cosine - across[:, None] * sine
    y = comb.across + along[None, :] * sine + across[:, None] * cosine
    flat = map_coordinates(turned, [y, x], order=1, mode="nearest", output=np.float32)
    flat[(x < -0.5) | (x > width - 0.5) | (y < -0.5) | (y > height - 0.5)] = np.nan
    return flat, along, across
