"""A picture and its halvings, gathered while its parts stream by, and given away as tiles of 8-bit tones.

Parts come in the file's own order and shape. Their codes become tones at once and are laid into the row of tiles
they belong to. A row of tiles that is full is handed on tile by tile, and its halving is laid into the level
above. So nothing is held but a row of tiles or two of each level.

All this is in the frame of the file; each tile is turned upright at the end. Tiles and pairs of pixels are counted
from the upright picture's own corner, wherever in the file that is.

Tones are halved, not codes: it costs half, and at the grain of film (0.03 of density) the difference is below 0.001.
"""

from collections.abc import Callable
from dataclasses import dataclass
from threading import Lock
from typing import Any

import numpy as np
import numpy.typing as npt

from negcat.scans.picture import Geometry, Part, Pixels

__all__ = ["TILE", "Levels", "halved", "level_sizes"]

TILE = 512
"""Pixels along a tile's side."""

Tones = npt.NDArray[np.uint8]
TakeTile = Callable[[int, int, int, Tones], None]

LOOKED_UP = 1 << 15
"""Samples whose tones are looked up at once: their indices stay in the processor's cache."""

HALVED_ROWS = 32
"""Rows halved at once, for the same reason; even."""


def level_sizes(width: int, height: int) -> list[tuple[int, int]]:
    """List (width, height) of a picture and its halvings, down to the first that fits into one tile.

    Examples
    --------
    >>> level_sizes(1501, 900)
    [(1501, 900), (751, 450), (376, 225)]
    """
    sizes = [(width, height)]
    while max(sizes[-1]) > TILE:
        sizes.append((-(-sizes[-1][0] // 2), -(-sizes[-1][1] // 2)))
    return sizes


def halved(tones: Tones, level: int = 0) -> Tones:
    """Make means of 2 × 2 tones, rounded.

    Parameters
    ----------
    tones : (rows, columns, channels), both sides even.
    level : halves go up from an even level and down from an odd one; else every level would be an eighth of a tone
        lighter than the one below it.

    Examples
    --------
    >>> halved(np.array([[[10], [20]], [[30], [41]]], np.uint8)).tolist()
    [[[25]]]
    """
    rows, columns, channels = tones.shape
    result = np.empty((rows // 2, columns // 2, channels), np.uint8)
    half = np.uint16(1 if level % 2 else 2)
    for row in range(0, rows, HALVED_ROWS):
        band = tones[row : row + HALVED_ROWS]
        sums: Pixels
        if channels == 1:
            # two neighbours read as one number of 16 bits: adding its halves keeps the processor's lanes full
            pairs: Any = np.ascontiguousarray(band)[..., 0].view(np.uint16)
            across = pairs & np.uint16(255)
            across += pairs >> np.uint16(8)
            sums = (across[0::2] + across[1::2])[..., None]
        else:
            down = np.add(band[0::2], band[1::2], dtype=np.uint16)
            down = down.reshape(-1, columns // 2, 2, channels)
            sums = down[:, :, 0] + down[:, :, 1]
        sums += half
        sums >>= np.uint16(2)
        result[row // 2 : row // 2 + len(sums)] = sums
    return result


@dataclass
class _TileRow:
    tones: Tones
    missing: int
    """Samples that haven't come yet."""


class _Level:
    """One level's place in the frame of tiles, and the rows of tiles being gathered.

    `y`, `x` : of its first stored pixel in that frame, which begins where the first tile does.
    """

    def __init__(self, number: int, width: int, height: int, geometry: Geometry) -> None:
        rows, columns = geometry.flips
        self.number, self.height, self.width = number, height, width
        self.y = -height % TILE if rows else 0
        self.x = -width % TILE if columns else 0
        self.down, self.across = -(-height // TILE), -(-width // TILE)
        self.channels = geometry.channels
        self.gathering: dict[int, _TileRow] = {}
        # What was used is used again: to touch fresh memory costs more than the work that is done in it.
        self._spare: list[Tones] = []

    def rows_of(self, index: int) -> tuple[int, int]:
        """Find the first and the end of the rows that the picture has in a row of tiles."""
        start = index * TILE
        return max(0, self.y - start), min(TILE, self.y + self.height - start)

    def tile_row(self, index: int) -> _TileRow:
        """Give a row of tiles; begin it where it isn't."""
        found = self.gathering.get(index)
        if found is None:
            top, bottom = self.rows_of(index)
            shape = (TILE, self.across * TILE, self.channels)
            tones = self._spare.pop() if self._spare else np.empty(shape, np.uint8)
            found = self.gathering[index] = _TileRow(tones, (bottom - top) * self.width * self.channels)
        return found

    def give_back(self, tones: Tones) -> None:
        """Keep a row's memory for the next one."""
        self._spare.append(tones)

    def forget(self) -> None:
        """Let go of all memory."""
        self._spare.clear()


class Levels:
    """Gathers a picture's levels; `add` may be called by several threads at once.

    Parameters
    ----------
    geometry : of the stored picture.
    table : the tone of every 16-bit code, more = more light.
    take : is handed each tile: level, column, row and tones (TILE, TILE, channels), all upright. Tiles at the right
        and bottom edge are filled up by repeating the picture's last column and row. Called in any order,
        by the threads that call `add`.
    """

    def __init__(self, geometry: Geometry, table: Tones, take: TakeTile) -> None:
        self._geometry = geometry
        self._take = take
        if geometry.inverted:
            table = table[::-1]
        if geometry.bits == 8:
            table = table[::257]
        self._table = np.ascontiguousarray(table)
        self._lock = Lock()
        self._levels = [
            _Level(number, width, height, geometry)
            for number, (width, height) in enumerate(level_sizes(geometry.width, geometry.height))
        ]
        self._last_done = 0

    def add(self, part: Part) -> None:
        """Take the part's pixels in; nothing of it is kept."""
        level = self._levels[0]
        rows, columns, _ = part.pixels.shape
        step = max(1, LOOKED_UP // (columns * part.pixels.shape[2]))
        places = np.empty((step, *part.pixels.shape[1:]), np.intp)
        tones = np.empty(part.pixels.shape, np.uint8)
        for row in range(0, rows, step):
            within = places[: min(step, rows - row)]
            np.copyto(within, part.pixels[row : row + step])
            # every code is inside the table; "clip" only spares numpy the copy it makes to be able to raise
            np.take(self._table, within, out=tones[row : row + step], mode="clip")
        self._lay(level, part.y, part.x, part.channel, tones)

    @property
    def complete(self) -> bool:
        """Whether every pixel of every level has come and was handed on."""
        return self._last_done == self._levels[-1].down

    def _lay(self, level: _Level, y: int, x: int, channel: int, tones: Tones) -> None:
        """Lay tones whose first is the level's stored pixel (y, x) into their rows of tiles."""
        rows, columns, channels = tones.shape
        begin, left = y + level.y, x + level.x
        for index in range(begin // TILE, (begin + rows - 1) // TILE + 1):
            start, end = max(begin, index * TILE), min(begin + rows, (index + 1) * TILE)
            with self._lock:
                row = level.tile_row(index)
            row.tones[
                start - index * TILE : end - index * TILE,
                left : left + columns,
                channel : channel + channels,
            ] = tones[start - begin : end - begin]
            with self._lock:
                row.missing -= (end - start) * columns * channels
                full = row.missing == 0
                if full:
                    del level.gathering[index]
            if full:
                self._finish(level, index, row.tones)

    def _finish(self, level: _Level, index: int, tones: Tones) -> None:
        """Hand a full row of tiles on, and its halving to the level above."""
        top, bottom = level.rows_of(index)
        # Beyond the picture's edges its outermost pixels are repeated: they fill tiles up, and a pixel without
        # a neighbour is its own mean.
        end = level.x + level.width
        tones[top:bottom, : level.x] = tones[top:bottom, level.x : level.x + 1]
        tones[top:bottom, end:] = tones[top:bottom, end - 1 : end]
        tones[:top] = tones[top]
        tones[bottom:] = tones[bottom - 1]

        rows, columns = self._geometry.flips
        for place in range(level.across):
            tile = self._geometry.upright(tones[:, place * TILE : (place + 1) * TILE])
            column = level.across - 1 - place if columns else place
            row = level.down - 1 - index if rows else index
            if self._geometry.transposed:
                column, row = row, column
            self._take(level.number, column, row, np.ascontiguousarray(tile))

        if level.number + 1 < len(self._levels):
            above = self._levels[level.number + 1]
            half = halved(tones, level.number)
            half = half[top // 2 : -(-bottom // 2), level.x // 2 : level.x // 2 + above.width]
            y = (index * TILE + top) // 2 - level.y // 2
            with self._lock:
                level.give_back(tones)
            self._lay(above, y, 0, 0, half)
        else:
            with self._lock:
                self._last_done += 1
            if self.complete:
                for below in self._levels:
                    below.forget()
