"""The whole picture as means of square blocks, gathered while its parts stream by."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from negcat.scans.model import Reduced
from negcat.scans.picture import Geometry, Part, Pixels

__all__ = ["Gatherer", "Gleaned", "glean", "reduction_factor"]

Sums = npt.NDArray[Any]
"""uint32, or uint64 where blocks are large."""

ALL_SAMPLED = 4_000_000
"""Pixels up to which a picture's every pixel goes into its histogram."""

SAMPLE_STEP = 4
"""Of a larger one every fourth pixel of every fourth row: to count them all costs more than all the rest."""

FLUSH = 1 << 20
"""Samples gathered before they are counted: a count runs over 65,536 bins however few the samples."""


def reduction_factor(width: int, height: int, max_side: int) -> int:
    """Find the smallest whole factor by which the longer side comes down to at most `max_side`."""
    return max(1, -(-max(width, height) // max_side))


@dataclass(frozen=True)
class Gleaned:
    """What one part of a picture contributes: sums of blocks from block (row, column) on, and samples."""

    row: int
    column: int
    channel: int
    sums: Sums
    samples: Pixels


def _sum_rows(pixels: Pixels, before: int, factor: int) -> npt.NDArray[np.uint32]:
    """Sum rows over blocks of `factor`, the first having lost `before` rows; (blocks, columns·channels).

    Adding row to row keeps the processor's lanes full; summing along the short axis of an array doesn't.
    """
    rows = len(pixels)
    flat = pixels.reshape(rows, -1)
    blocks = (before + rows - 1) // factor + 1
    sums = np.zeros((blocks, flat.shape[1]), np.uint32)
    first = min((factor - before) % factor, rows)
    if first:
        np.add.reduce(flat[:first], axis=0, dtype=np.uint32, out=sums[0])
    start = 1 if before else 0
    whole = (rows - first) // factor
    if whole:
        stacked = flat[first : first + whole * factor].reshape(whole, factor, -1)
        target = sums[start : start + whole]
        for step in range(factor):
            target += stacked[:, step]
    rest = first + whole * factor
    if rest < rows:
        np.add.reduce(flat[rest:], axis=0, dtype=np.uint32, out=sums[-1])
    return sums


def _wide_enough(factor: int) -> type[np.uint32 | np.uint64]:
    """Choose the type in which the codes of a block can't overflow; the smaller one takes half the memory."""
    return np.uint32 if factor <= 256 else np.uint64


def _sum_columns(sums: npt.NDArray[np.uint32], channels: int, before: int, factor: int) -> Sums:
    """Sum columns over blocks of `factor`, the first having lost `before`; (blocks, blocks, channels)."""
    rows = len(sums)
    columns = sums.shape[1] // channels
    blocks = (before + columns - 1) // factor + 1
    padded = np.zeros((rows, blocks * factor, channels), np.uint32)
    padded[:, before : before + columns] = sums.reshape(rows, columns, channels)
    stacked = padded.reshape(rows, blocks, factor, channels)
    total = np.zeros((rows, blocks, channels), _wide_enough(factor))
    for step in range(factor):
        total += stacked[:, :, step]
    return total


def glean(part: Part, factor: int, offset: tuple[int, int], step: int) -> Gleaned:
    """Sum a part over blocks and take its samples; runs in a worker's thread and keeps nothing of the part.

    Parameters
    ----------
    part : stored pixels.
    factor : side of a block, at most 65,536.
    offset : rows and columns by which the first block is cut short, so that blocks start at the upright
        origin.
    step : 1 to sample all pixels, n for every nth of every nth row.
    """
    y, x = part.y + offset[0], part.x + offset[1]
    channels = part.pixels.shape[2]
    rows = _sum_rows(part.pixels, y % factor, factor)
    sums = _sum_columns(rows, channels, x % factor, factor)
    samples = part.pixels[-part.y % step :: step, -part.x % step :: step].reshape(-1, channels)
    return Gleaned(y // factor, x // factor, part.channel, sums, samples.copy())


@dataclass
class Gatherer:
    """Adds up what parts contribute, and counts the pixels, to know that none was missing.

    Parameters
    ----------
    geometry : of the stored picture.
    factor : side of a block.
    """

    geometry: Geometry
    factor: int
    offset: tuple[int, int] = field(init=False)
    step: int = field(init=False)

    def __post_init__(self) -> None:
        height, width = self.geometry.height, self.geometry.width
        rows, columns = self.geometry.flips
        self.offset = (-height % self.factor if rows else 0, -width % self.factor if columns else 0)
        self.step = 1 if height * width <= ALL_SAMPLED else SAMPLE_STEP
        shape = ((height - 1) // self.factor + 1, (width - 1) // self.factor + 1, self.geometry.channels)
        self._sums: Sums = np.zeros(shape, _wide_enough(self.factor))
        self._bins = 1 << self.geometry.bits
        self._histogram = np.zeros((self.geometry.channels, self._bins), np.int64)
        self._waiting: list[list[Pixels]] = [[] for _ in range(self.geometry.channels)]
        self._waiting_count = 0

    def glean(self, part: Part) -> Gleaned:
        """Take from a part what is needed of it."""
        return glean(part, self.factor, self.offset, self.step)

    def add(self, found: Gleaned) -> None:
        """Add what was taken; in one thread only."""
        rows, columns, channels = found.sums.shape
        self._sums[
            found.row : found.row + rows,
            found.column : found.column + columns,
            found.channel : found.channel + channels,
        ] += found.sums
        for channel in range(channels):
            self._waiting[found.channel + channel].append(found.samples[:, channel])
        self._waiting_count += found.samples.size
        if self._waiting_count >= FLUSH:
            self._count()

    def _count(self) -> None:
        for channel, waiting in enumerate(self._waiting):
            if waiting:
                together = waiting[0] if len(waiting) == 1 else np.concatenate(waiting)
                self._histogram[channel] += np.bincount(together, minlength=self._bins)
                waiting.clear()
        self._waiting_count = 0

    def reduced(self) -> Reduced:
        """Make the means, upright and in 16-bit codes, more = more light."""
        self._count()
        height, width = self.geometry.height, self.geometry.width
        counts = [
            np.bincount((np.arange(length) + before) // self.factor).astype(np.float64)
            for length, before in ((height, self.offset[0]), (width, self.offset[1]))
        ]
        scale = 257 if self.geometry.bits == 8 else 1
        codes = np.empty(self._sums.shape, np.float32)
        for row, rows in enumerate(counts[0]):
            # row by row, so that nothing of the picture's size is made in double precision
            means = self._sums[row].astype(np.float64) * scale / (rows * counts[1][:, None])
            codes[row] = 65535.0 - means if self.geometry.inverted else means
        histogram = np.zeros((self.geometry.channels, 65536), np.int64)
        histogram[:, ::scale] = self._histogram
        if self.geometry.inverted:
            histogram = histogram[:, ::-1].copy()
        upright = np.ascontiguousarray(self.geometry.upright(codes))
        return Reduced(upright, self.factor, histogram, int(histogram[0].sum()))
