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
    lively = np.argsort(-np.maximum((peak & (steep < 0)).sum(axis=1), (peak & (steep > 0)).sum(axis=1)))
    rank = np.argsort(lively)
    chains = [
        (chain, sign)
        for sign in (-1, 1)
        for chain in _chains(peak & (steep * sign > 0), peak & (steep * sign < 0), _SHORTEST * width)
    ]
    # The longest first; of equals that on the line with most edges.
    for chain, sign in sorted(chains, key=lambda pair: (-len(pair[0].places), rank[pair[0].row])):
        teeth = np.clip(np.rint(chain.start + np.array(chain.places) * chain.pitch).astype(int), 1, width - 2)
        at_teeth = strength[chain.row]
        tooth = np.median(np.maximum(np.maximum(at_teeth[teeth - 1], at_teeth[teeth]), at_teeth[teeth + 1]))
        # Few edges in a row come about by chance sooner than many.
        sharp = _SHARP if wanted >= 8 else 2.0 * _SHARP
        if tooth < sharp * np.median(at_teeth[teeth[0] : teeth[-1]]):
            continue
        row_of_best = chain.row
        best = Comb(axis, len(chain.places), chain.start, chain.pitch, chain.places, sign, 0.0, leaning)
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


@dataclass(frozen=True)
class _Chain:
    """An even row of edges on one line: its first edge, spacing and the numbers of the edges in it."""

    row: int
    start: float
    pitch: float
    places: tuple[int, ...]


def _chains(own: NDArray[np.bool_], other: NDArray[np.bool_], shortest: float) -> list[_Chain]:
    """Return each line's longest even row of edges.

    Parameters
    ----------
    own : array (lines, n), where edges of the wanted sign are.
    other : where those of the other sign are.
    shortest : pixels from first to last edge that a row has at least.

    Notes
    -----
    A row begins at every pair of near edges and is followed from edge to edge, all rows of all lines at once:
    in a scan without a tablet there are tens of thousands of them, and nearly all end at once.
    """
    lines, width = own.shape
    # Of every pixel the nearest edge, and how many of the other sign lie before it.
    columns = np.arange(width)
    before = np.maximum.accumulate(np.where(own, columns, -width), axis=1)
    after = np.minimum.accumulate(np.where(own, columns, 2 * width)[:, ::-1], axis=1)[:, ::-1]
    nearest = np.where(columns - before <= after - columns, before, after)
    others = np.concatenate([np.zeros((lines, 1), int), np.cumsum(other, axis=1)], axis=1)
    end = before[:, -1]
    rows, places = np.nonzero(own)
    begins, seconds = [], []
    for step in (1, 2, 3):
        first = np.arange(places.size - step) if places.size > step else np.arange(0)
        same = rows[first] == rows[first + step]
        begins.append(first[same])
        seconds.append(first[same] + step)
    begin, second = np.concatenate(begins), np.concatenate(seconds)
    row, first, last = rows[begin], places[begin].astype(float), places[second].astype(float)
    pitch = last - first
    alive = (pitch >= 5.0) & (pitch <= (end[row] - first) / 3 * 1.3)
    origin = np.flatnonzero(alive)
    row, first, last, pitch = row[alive], first[alive], last[alive], pitch[alive]
    number = np.ones(row.size, dtype=np.int64)
    missed = np.zeros(row.size, dtype=np.int64)
    count = np.full(row.size, 2, dtype=np.int64)
    # Sums over the row's numbers k and offsets p, for the straight line through it.
    k1, k2 = np.ones(row.size), np.ones(row.size)
    p1, p2, kp = last - first, (last - first) ** 2, last - first
    done: list[tuple[NDArray[np.int64], ...]] = []
    finished: list[_Floats] = []
    while row.size:
        wanted = last + (missed + 1) * pitch
        at = np.clip(np.rint(wanted), 0, width - 1).astype(np.int64)
        hit = nearest[row, at].astype(float)
        good = np.abs(hit - wanted) <= _UNEVEN * pitch
        number = number + np.where(good, missed + 1, 0)
        last = np.where(good, hit, last)
        offset = last - first
        count = count + good
        k1, k2 = k1 + good * number, k2 + good * number**2
        p1, p2, kp = p1 + good * offset, p2 + good * offset**2, kp + good * number * offset
        pitch = offset / number
        missed = np.where(good, 0, missed + 1)
        over = (missed >= _LONGEST_GAP) | (wanted > end[row])
        over &= ~good
        if over.any():
            done.append((origin[over], row[over], number[over], count[over]))
            finished.append(np.stack([first, last, k1, k2, p1, p2, kp])[:, over])
            keep = ~over
            origin, row, number, missed, count = (x[keep] for x in (origin, row, number, missed, count))
            first, last, pitch = first[keep], last[keep], pitch[keep]
            k1, k2, p1, p2, kp = (x[keep] for x in (k1, k2, p1, p2, kp))
    if not done:
        return []
    origin, row, number, count = (np.concatenate(parts) for parts in zip(*done, strict=True))
    first, last, k1, k2, p1, p2, kp = np.concatenate(finished, axis=1)
    slope = (count * kp - k1 * p1) / np.maximum(count * k2 - k1**2, 1e-9)
    shift = (p1 - slope * k1) / count
    miss = np.sqrt(np.maximum(p2 - shift * p1 - slope * kp, 0.0) / count)
    # Edges the other way between the teeth: a texture, not a tablet.
    between = others[row, last.astype(int)] - others[row, first.astype(int) + 1]
    fits = (count > 3) & (count >= _FILLED * (number + 1)) & (miss <= 0.1 * slope)
    fits &= (between <= np.maximum(2, 0.4 * count)) & (number * slope >= shortest)
    kept = np.flatnonzero(fits)
    order = kept[np.lexsort((origin[kept], -count[kept], row[kept]))]
    best = order[np.unique(row[order], return_index=True)[1]] if order.size else order
    return [
        _Chain(
            int(row[k]),
            float(first[k] + shift[k]),
            float(slope[k]),
            _places(nearest[row[k]], float(first[k]), begin_pitch=float(pitch_of), numbers=int(number[k])),
        )
        for k, pitch_of in ((k, places[second[origin[k]]] - first[k]) for k in best)
    ]


def _places(nearest: NDArray[np.int64], first: float, *, begin_pitch: float, numbers: int) -> tuple[int, ...]:
    """Return the numbers of a row's edges, followed once more from its first edge."""
    found, last, pitch, missed = [0, 1], first + begin_pitch, begin_pitch, 0
    while found[-1] < numbers:
        wanted = last + (missed + 1) * pitch
        hit = float(nearest[int(np.clip(np.rint(wanted), 0, nearest.size - 1))])
        if abs(hit - wanted) <= _UNEVEN * pitch:
            found.append(found[-1] + missed + 1)
            last, missed = hit, 0
            pitch = (last - first) / found[-1]
        else:
            missed += 1
    return tuple(found)


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
