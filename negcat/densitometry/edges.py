"""Straight edges that run along a side of a scan: of the film, of its picture, of a mask.

A side is looked at from outside: ``u`` runs inward from the scan's edge, ``v`` along it, both in pixels. For
every small tilt the picture is sheared so that edges of that tilt stand upright, and the derivative across is
averaged along the side: texture averages out, a straight edge stays (a projection of the gradient, after
Radon).
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, maximum_filter

__all__ = ["SIDES", "Line", "SideName", "SideView", "side_view", "straight_edges"]

_Floats = NDArray[np.float32]
SideName = Literal["left", "right", "top", "bottom"]
SIDES: tuple[SideName, ...] = ("left", "right", "top", "bottom")

_STEEPEST = 0.046  # tangent of 2.6°
_CLIP = 0.05  # of the derivative in log10 code a pixel: one strong corner must not outvote the side
_LEAST_SCORE = 7.0
_LEAST_MEAN = 0.0006
_MOST_LINES = 14


@dataclass(frozen=True)
class Line:
    """An edge ``u = at + slope * (v - middle)``.

    Parameters
    ----------
    at : where it crosses the middle of the side, pixels inward.
    slope : its tilt, pixels inward a pixel along.
    middle : the side's middle, pixels along.
    sign : -1 where it gets darker inward, +1 where it gets lighter, 0 for the scan's own edge.
    score : mean of the derivative over its own standard error.
    agreed : share of the side, 0 to 1, over which the derivative has that sign.
    """

    at: float
    slope: float
    middle: float
    sign: int
    score: float = 0.0
    agreed: float = 1.0

    def u(self, v: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return where it lies, pixels inward, at places v pixels along."""
        return self.at + self.slope * (v - self.middle)


@dataclass(frozen=True)
class SideView:
    """One side of a scan in segments along it.

    Parameters
    ----------
    name : which side.
    levels : array (segments, depth), mean log10 code of each segment at each depth inward.
    along : array (segments,), middle of each segment, pixels along the side.
    segment : length of a segment in pixels.
    length : of the whole side in pixels.
    sums : array (segments, depth + 1), running sums of `levels` inward.
    """

    name: SideName
    levels: _Floats
    along: NDArray[np.float64]
    segment: int
    length: int
    sums: NDArray[np.float64]

    def mean(self, start: NDArray[np.float64], stop: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return each segment's mean level from `start` to `stop` pixels inward; nan where that is empty."""
        depth = self.levels.shape[1]
        first = np.clip(np.ceil(start - 1e-6), 0, depth).astype(np.int64)
        last = np.clip(np.floor(stop + 1e-6), 0, depth).astype(np.int64)
        rows = np.arange(self.along.size)
        count = last - first
        total = self.sums[rows, np.maximum(last, first)] - self.sums[rows, first]
        return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def side_view(levels: _Floats, name: SideName, within: tuple[int, int], segment: int, depth: int) -> SideView:
    """Look at a scan from one side.

    Parameters
    ----------
    levels : array (h, w), log10 codes.
    name : the side.
    within : first and last pixel along the side to look at.
    segment : pixels along the side that are averaged.
    depth : pixels inward to look.

    Returns
    -------
    The view.
    """
    turned = {
        "left": levels,
        "right": levels[:, ::-1],
        "top": levels.T,
        "bottom": levels[::-1].T,
    }[name]
    start, stop = within
    count = max((stop - start) // segment, 1)
    part = turned[start : start + count * segment, :depth]
    means = part.reshape(count, -1, part.shape[1]).mean(axis=1, dtype=np.float32)
    along = np.asarray(start + (np.arange(count) + 0.5) * segment, dtype=np.float64)
    sums = np.zeros((count, means.shape[1] + 1))
    np.cumsum(means, axis=1, dtype=np.float64, out=sums[:, 1:])
    return SideView(name, means, along, segment, turned.shape[0], sums)


def straight_edges(view: SideView, blur: float, apart: float) -> list[Line]:
    """Find the straight edges that run along a side.

    Parameters
    ----------
    view : the side.
    blur : width in pixels (standard deviation) over which the derivative is taken.
    apart : edges nearer to each other than this many pixels count as one.

    Returns
    -------
    The edges from outside inward.
    """
    depth = view.levels.shape[1]
    steep = gaussian_filter1d(view.levels, blur, axis=1, order=1, mode="nearest")
    sharp = steep
    steep = np.clip(steep, -_CLIP, _CLIP)
    middle = view.length / 2.0
    offset = view.along - middle
    reach = max(float(np.abs(offset).max()), 1.0)
    slopes = np.linspace(-_STEEPEST, _STEEPEST, 2 * int(np.ceil(_STEEPEST * reach / 0.8)) + 1)
    places = np.arange(depth)
    pad = int(np.ceil(_STEEPEST * reach)) + 1
    padded = np.pad(steep, ((0, 0), (pad, pad)))
    rows = np.arange(view.along.size)[:, None]
    means = np.empty((slopes.size, depth), dtype=np.float32)
    scores = np.empty((slopes.size, depth), dtype=np.float32)
    flat = padded.ravel()
    starts = rows[:, 0] * padded.shape[1] + pad
    for index, slope in enumerate(slopes):
        shifts = np.rint(slope * offset).astype(np.int64)
        sheared = flat[(starts + shifts)[:, None] + places]
        mean = sheared.mean(axis=0)
        spread = np.sqrt(np.maximum((sheared * sheared).mean(axis=0) - mean * mean, 0.0))
        means[index] = mean
        scores[index] = mean / (spread / np.sqrt(view.along.size) + 1.5e-4)
    size = (max(3, slopes.size // 6), max(3, int(apart)))
    strength = np.abs(scores)
    peak = (strength >= maximum_filter(strength, size=size)) & (strength > _LEAST_SCORE)
    peak &= np.abs(means) > _LEAST_MEAN
    found = []
    for index, place in zip(*np.nonzero(peak), strict=True):
        if 1 <= place < depth - 1:
            sign = 1 if means[index, place] > 0 else -1
            line = Line(float(place) + 0.5, float(slopes[index]), middle, sign, float(strength[index, place]))
            found.append(_refined(line, view, sharp, apart))
    found.sort(key=lambda line: -line.score)
    kept: list[Line] = []
    ends = np.array([view.along[0], view.along[-1]])
    for line in found:
        if all(np.min(np.abs(line.u(ends) - other.u(ends))) > apart / 2 for other in kept):
            kept.append(line)
    return sorted(kept[:_MOST_LINES], key=lambda line: line.at)


def _refined(line: Line, view: SideView, steep: _Floats, apart: float) -> Line:
    """Return the line moved onto the segments' own edges, by a robust fit."""
    reach = max(2, int(apart / 2) + 1)
    window = np.arange(-reach, reach + 1)
    at = np.rint(line.u(view.along) - 0.5).astype(np.int64)[:, None] + window
    inside = (at >= 0) & (at < steep.shape[1])
    pull = steep[np.arange(view.along.size)[:, None], np.clip(at, 0, steep.shape[1] - 1)] * inside * line.sign
    agreed = float(np.mean(pull[:, reach - 1 : reach + 2].max(axis=1) > 0.15 * np.median(pull.max(axis=1))))
    weight = np.clip(pull, 0.0, None) ** 2
    total = weight.sum(axis=1)
    usable = total > 0
    if usable.sum() < 6:
        return line
    places = (weight * (at + 0.5)).sum(axis=1)[usable] / total[usable]
    offset = view.along[usable] - line.middle
    strength = np.ones(places.size)
    slope, centre = line.slope, line.at
    for _ in range(4):
        terms = np.stack([np.ones_like(offset), offset], axis=1) * strength[:, None]
        centre, slope = np.linalg.lstsq(terms, places * strength, rcond=None)[0]
        miss = np.abs(places - centre - slope * offset)
        scale = max(1.4826 * float(np.median(miss)), 0.15)
        strength = np.sqrt(1.0 / (1.0 + (miss / (1.5 * scale)) ** 2))
    if abs(slope) > _STEEPEST * 1.1 or abs(centre - line.at) > apart:
        return Line(line.at, line.slope, line.middle, line.sign, line.score, agreed)
    return Line(float(centre), float(slope), line.middle, line.sign, line.score, agreed)
