"""What a scan's histogram tells of its making: its true depth, and tone curves laid over it afterwards.

A curve laid over whole numbers leaves codes that no pixel can have. Where it is steep the gaps are wide,
where it is flat there are none; a plain scan, whatever its depth, uses codes at one even distance.
"""

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from negcat.densitometry.profile import FULL_SCALE, ScannerProfile

__all__ = ["Tonality", "blocks_seen", "read_histogram", "usual_power"]

_POPULATED = 12.0  # pixels a code: then one that none has is no accident
_FEWEST_CODES = 12
_EVEN = 1.15
_TWO_SPACINGS = 0.06
_BLOCK = 8  # pixels: JPEG's
_BLOCKY = 1.06


@dataclass(frozen=True)
class Tonality:
    """What a histogram tells.

    Parameters
    ----------
    levels : how many different codes there are.
    spacing : usual distance of one used code from the next, where they lie at one even distance; None where
        they don't or the pixels are too few to tell.
    power : the power (gamma) of a tone curve that the gaps bear witness to; None where there is none.
    stretched : whether even gaps that no depth leaves show levels multiplied after the scan.
    """

    levels: int
    spacing: int | None
    power: float | None
    stretched: bool


def read_histogram(histogram: NDArray[Any]) -> Tonality:
    """Tell depth and tone curves from a histogram.

    Parameters
    ----------
    histogram : array (65536,), pixels of each 16-bit code of one channel, unreduced.

    Returns
    -------
    What it tells; nothing is claimed from few pixels.

    Notes
    -----
    A curve code = light^(1/g) makes the distance of neighbours d(code)/d(light), which goes with
    code^(1 - g): g is one less the slope of log distance over log code.

    Examples
    --------
    >>> light = np.arange(200, 65536)
    >>> toned = np.round(65535 * (light / 65535) ** (1 / 2.2)).astype(int)
    >>> seen = read_histogram(np.bincount(np.repeat(toned, 20), minlength=65536))
    >>> round(seen.power, 1)
    2.2
    >>> read_histogram(np.bincount(np.repeat(light // 16 * 16, 20), minlength=65536)).spacing
    16
    """
    counts = np.asarray(histogram, dtype=np.float64)
    used = np.flatnonzero(counts[1:-1] > 0) + 1
    levels = int(np.count_nonzero(counts))
    if used.size < 2 * _FEWEST_CODES:
        return Tonality(levels, None, None, False)
    edges = np.unique(np.round(np.logspace(np.log10(24), np.log10(65534), 40)).astype(int))
    places, spacings, mixed = [], [], []
    for low, high in pairwise(edges.tolist()):
        inside = used[(used >= low) & (used < high)]
        if inside.size < _FEWEST_CODES or counts[inside].mean() < _POPULATED:
            continue
        # Stray pixels of another making (a reduced edge, a repaired speck) sit in the gaps one by one.
        inside = inside[counts[inside] > 0.1 * np.median(counts[inside])]
        gaps = np.diff(inside)
        if gaps.size < _FEWEST_CODES - 1:
            continue
        places.append(float(np.sqrt(float(low) * high)))
        spacings.append(float(gaps.mean()))
        mixed.append(float(np.mean(gaps != np.median(gaps))))
    if len(places) < 4:
        return Tonality(levels, None, None, False)
    spread = np.array(spacings)
    if spread.max() < _EVEN * spread.min():
        even = float(np.median(spread))
        stretched = bool(np.median(mixed) > _TWO_SPACINGS) and even < 200
        return Tonality(levels, None if stretched else round(even), None, stretched)
    # Where the curve is flat every code is used, so that the gaps tell nothing there.
    telling = spread > 1.5 * max(spread.min(), 1.0) if spread.min() < _EVEN else np.ones(spread.size, bool)
    if telling.sum() < 3 or np.ptp(np.log10(np.array(places)[telling])) < 0.25:
        return Tonality(levels, None, None, False)
    slope = float(np.polyfit(np.log10(np.array(places)[telling]), np.log10(spread[telling]), 1)[0])
    power = 1.0 - slope
    return Tonality(levels, None, power if abs(power - 1.0) > 0.25 else None, False)


def usual_power(profile: ScannerProfile) -> float:
    """Return the power (gamma) of the tone curve that a profile was made with, from its middle densities.

    Parameters
    ----------
    profile : the profile.

    Returns
    -------
    About 1 for a linear scanner, 2.2 for one that corrects for a screen.
    """
    low, high = profile.density_range
    ends = np.array([low + 0.15 * (high - low), low + 0.45 * (high - low)])
    codes = np.log10(profile.code(ends))
    return float(-np.diff(ends)[0] / np.diff(codes)[0])


def blocks_seen(patch: NDArray[Any]) -> bool:
    """Return whether a piece of a scan at full size shows the blocks of lossy compression.

    Parameters
    ----------
    patch : array (h, w), codes at full size, best 128 pixels a side or more.

    Returns
    -------
    True where every eighth step from pixel to pixel is larger than the others, across and along.

    Examples
    --------
    >>> grain = np.random.default_rng(1).normal(30000, 300, (160, 160))
    >>> blocks_seen(grain)
    False
    >>> blocks_seen(grain + np.kron(np.random.default_rng(2).normal(0, 500, (20, 20)), np.ones((8, 8))))
    True
    """
    codes = np.asarray(patch, dtype=np.float64)
    if codes.ndim != 2 or min(codes.shape) < 8 * _BLOCK:
        return False
    codes = np.log10(np.minimum(codes, FULL_SCALE) + 100.0)
    for axis in (0, 1):
        steps = np.abs(np.diff(codes, 2, axis=axis))
        # Edges of the picture mustn't outvote grain.
        steps = np.minimum(steps, 4.0 * np.median(steps) + 1e-9).mean(axis=1 - axis)
        size = steps.size // _BLOCK * _BLOCK
        phases = steps[:size].reshape(-1, _BLOCK)
        means = phases.mean(axis=0)
        # A step at a block's border stands in two neighbouring second differences.
        pairs = means + np.roll(means, -1)
        best = int(np.argmax(pairs))
        rest = np.delete(means, [best, (best + 1) % _BLOCK])
        error = float(phases.std(axis=0).mean()) / np.sqrt(phases.shape[0])
        if pairs[best] / 2 < _BLOCKY * rest.mean() or pairs[best] / 2 - rest.mean() < 5.0 * error:
            return False
    return True
