"""A scan's pyramid: the whole scan and its halvings as JPEG tiles of 8-bit tones, one tiled TIFF file.

The file is an ordinary TIFF 6.0 with JPEG tiles after TechNote 2, its first page the scan upright at full size, every
further one half of the one before (NewSubfileType 1). Each tile is a complete JPEG of its own, so it can be
handed on as it lies in the file. The first page's ImageDescription is JSON:

    {"pyramid": 1,            version of this layout
     "sha256": "…",           of the master
     "linear": true,          the master's codes are proportional to light, and were encoded by IEC 61966-2-1
     "reason": "…",           how that is known
     "codes": [4, 19, …]}     for each of the 256 tones the 16-bit code in the master that it stands for

so that densities can be drawn from tiles through a table of 256 entries. They are for looking: what is measured
is measured on the master.
"""

import json
import os
import threading
import weakref
from collections import OrderedDict
from dataclasses import dataclass
from pathlib import Path

import imagecodecs
import numpy as np
import numpy.typing as npt
import tifffile
from PIL import Image

from negcat.errors import QuantityError, ScanError

__all__ = ["PYRAMID_VERSION", "Level", "Pyramid", "open_pyramid", "pyramid_path"]

PYRAMID_VERSION = 1
PYRAMIDS_KEPT = 64
"""Indices kept in memory: some 16 bytes a tile, and an open file each."""


def pyramid_path(previews: Path, scan: str) -> Path:
    """Tell where the pyramid of a scan lies.

    Parameters
    ----------
    previews : the folder of derivatives.
    scan : the scan's id.
    """
    return previews / scan[:2] / f"{scan}.tif"


@dataclass(frozen=True)
class Level:
    """One size of the picture.

    Parameters
    ----------
    width, height : in pixels of this level.
    factor : pixels of the scan along a side of one of this level's: 1, 2, 4, …
    across, down : tiles.
    offsets, counts : of each tile's bytes in the file, row after row.
    """

    width: int
    height: int
    factor: int
    across: int
    down: int
    offsets: npt.NDArray[np.int64]
    counts: npt.NDArray[np.int64]


class Pyramid:
    """An open pyramid; safe between threads, and closed when it is forgotten.

    Parameters
    ----------
    path : the file; see `open_pyramid`, which keeps the last ones.

    Attributes
    ----------
    levels : from full size down; the last fits into one tile.
    tile : pixels along a tile's side.
    channels : 1 (grey) or 3 (red, green, blue).
    sha256 : of the master.
    linear : whether the master's codes are proportional to light, and were encoded by IEC 61966-2-1.
    reason : a clause that says how that is known.
    codes : uint16 (256,), the master's code value that each tone stands for; never falling.
    colour_profile : the ICC profile that the tones are in; empty for sRGB.

    Raises
    ------
    ScanError
        The file is missing, not a pyramid, or of another layout: make it again.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        try:
            self._descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_CLOEXEC", 0))
        except OSError as error:
            reason = (error.strerror or str(error)).lower()
            msg = f"{path}: the pyramid can't be read ({reason}); make it again."
            raise ScanError(msg) from error
        self._close = weakref.finalize(self, os.close, self._descriptor)
        try:
            self._read_index()
        except Exception as error:
            # a broken directory leads tifffile to whatever error it likes
            self._close()
            msg = f"{path}: this is no pyramid, or a damaged one; make it again."
            raise ScanError(msg) from error

    def _read_index(self) -> None:
        levels = []
        with (
            os.fdopen(os.dup(self._descriptor), "rb") as handle,
            tifffile.TiffFile(handle, name=self.path.name) as tif,
        ):
            first = tif.pages[0]
            assert isinstance(first, tifffile.TiffPage)
            told = json.loads(first.description)
            if told["pyramid"] != PYRAMID_VERSION:
                raise ValueError
            for number in range(len(tif.pages)):
                page = tif.pages[number].aspage()
                tile = page.tilewidth
                across, down = -(-page.imagewidth // tile), -(-page.imagelength // tile)
                offsets, counts = np.array(page.dataoffsets), np.array(page.databytecounts)
                if offsets.size != across * down or counts.size != across * down:
                    raise ValueError
                size = page.imagewidth, page.imagelength
                levels.append(Level(*size, 1 << number, across, down, offsets, counts))
            self.tile = int(first.tilewidth)
            self.channels = int(first.samplesperpixel)
            icc = first.tags.valueof(34675)
        self.levels: tuple[Level, ...] = tuple(levels)
        self.sha256 = str(told["sha256"])
        self.linear = bool(told["linear"])
        self.reason = str(told["reason"])
        self.codes = np.array(told["codes"], np.uint16)
        self.codes.flags.writeable = False
        if self.codes.shape != (256,):
            raise ValueError
        self.colour_profile: bytes = icc if isinstance(icc, bytes) else b""

    def close(self) -> None:
        """Close the file; only where no other thread has it."""
        self._close()

    @property
    def width(self) -> int:
        """Pixels of the scan across."""
        return self.levels[0].width

    @property
    def height(self) -> int:
        """Pixels of the scan down."""
        return self.levels[0].height

    def tile_size(self, level: int, column: int, row: int) -> tuple[int, int]:
        """Give the width and height of what the picture has of a tile; less than `tile` at its edges."""
        found = self.levels[level]
        return min(self.tile, found.width - column * self.tile), min(
            self.tile, found.height - row * self.tile
        )

    def tile_bytes(self, level: int, column: int, row: int) -> bytes:
        """Read a tile as it lies in the file: a complete JPEG of `tile` × `tile` pixels, not decoded.

        A tile at the right or bottom edge is filled up with the picture's last column and row; `tile_size`
        says where the picture ends.

        Raises
        ------
        QuantityError
            There is no such tile.
        ScanError
            The file is damaged.
        """
        if not 0 <= level < len(self.levels):
            msg = f"{self.path}: it has no level {level}, only 0 to {len(self.levels) - 1}"
            raise QuantityError(msg)
        found = self.levels[level]
        if not (0 <= column < found.across and 0 <= row < found.down):
            msg = (
                f"{self.path}: level {level} has {found.across} × {found.down} tiles, none at {column}, {row}"
            )
            raise QuantityError(msg)
        index = row * found.across + column
        count = int(found.counts[index])
        data = os.pread(self._descriptor, count, int(found.offsets[index]))
        if len(data) != count:
            msg = f"{self.path}: the pyramid is cut short; make it again."
            raise ScanError(msg)
        return data

    def read_tile(self, level: int, column: int, row: int) -> npt.NDArray[np.uint8]:
        """Decode what the picture has of a tile; uint8 (rows, columns, channels).

        Raises
        ------
        QuantityError, ScanError
            As `tile_bytes`.
        """
        data = self.tile_bytes(level, column, row)
        try:
            tones: npt.NDArray[np.uint8] = imagecodecs.jpeg8_decode(data)
        except Exception as error:
            msg = f"{self.path}: the pyramid is damaged; make it again."
            raise ScanError(msg) from error
        width, height = self.tile_size(level, column, row)
        return tones.reshape(self.tile, self.tile, self.channels)[:height, :width]

    def read(self, level: int, x0: int, y0: int, x1: int, y1: int) -> npt.NDArray[np.uint8]:
        """Read a rectangle of a level, decoding the tiles it touches.

        Parameters
        ----------
        level : index into `levels`.
        x0, y0, x1, y1 : in pixels of that level, ends exclusive; cut down to the picture.

        Returns
        -------
        uint8 (rows, columns, channels).

        Raises
        ------
        QuantityError
            There is no such level, or nothing of the picture lies in the rectangle.
        ScanError
            The file is damaged.
        """
        if not 0 <= level < len(self.levels):
            msg = f"{self.path}: it has no level {level}, only 0 to {len(self.levels) - 1}"
            raise QuantityError(msg)
        found = self.levels[level]
        x0, y0, x1, y1 = max(0, x0), max(0, y0), min(found.width, x1), min(found.height, y1)
        if x0 >= x1 or y0 >= y1:
            msg = f"{self.path}: the rectangle is empty or outside the {found.width} × {found.height} pixels"
            raise QuantityError(msg)
        tones = np.empty((y1 - y0, x1 - x0, self.channels), np.uint8)
        for row in range(y0 // self.tile, (y1 - 1) // self.tile + 1):
            for column in range(x0 // self.tile, (x1 - 1) // self.tile + 1):
                piece = self.read_tile(level, column, row)
                left, top = column * self.tile, row * self.tile
                inner = piece[max(0, y0 - top) : y1 - top, max(0, x0 - left) : x1 - left]
                y, x = max(top, y0) - y0, max(left, x0) - x0
                tones[y : y + inner.shape[0], x : x + inner.shape[1]] = inner
        return tones

    def level_for(self, factor: float) -> int:
        """Choose the smallest level that still has a pixel for every `factor` pixels of the scan."""
        fitting = [number for number, level in enumerate(self.levels) if level.factor <= factor]
        return fitting[-1] if fitting else 0

    def draw(
        self, width: int, height: int, box: tuple[int, int, int, int] | None = None
    ) -> npt.NDArray[np.uint8]:
        """Draw the scan, or a part of it, in any size.

        Parameters
        ----------
        width, height : of the result in pixels; the proportions may change.
        box : (x0, y0, x1, y1) in pixels of the scan, ends exclusive, inside it; None for the whole.

        Returns
        -------
        uint8 (height, width, channels): from the nearest larger level, brought to size by Lanczos filtering.

        Raises
        ------
        QuantityError
            The size or the box is empty, or the box lies outside.
        ScanError
            The file is damaged.
        """
        x0, y0, x1, y1 = box or (0, 0, self.width, self.height)
        if width < 1 or height < 1 or not (0 <= x0 < x1 <= self.width and 0 <= y0 < y1 <= self.height):
            msg = f"{self.path}: a part {box} in {width} × {height} pixels can't be drawn"
            raise QuantityError(msg)
        number = self.level_for(min((x1 - x0) / width, (y1 - y0) / height))
        factor = self.levels[number].factor
        left, top = x0 // factor, y0 // factor
        tones = self.read(number, left, top, -(-x1 // factor), -(-y1 // factor))
        edges = (
            x0 / factor - left,
            y0 / factor - top,
            min(x1 / factor - left, tones.shape[1]),
            min(y1 / factor - top, tones.shape[0]),
        )
        if (edges[2] - edges[0], edges[3] - edges[1]) == (width, height) == tones.shape[1::-1]:
            return tones
        picture = Image.fromarray(tones[..., 0] if self.channels == 1 else tones)
        drawn = picture.resize((width, height), Image.Resampling.LANCZOS, box=edges)
        return np.asarray(drawn).reshape(height, width, self.channels)


_Key = tuple[str, int, int, int]
_lock = threading.Lock()
_kept: OrderedDict[_Key, Pyramid] = OrderedDict()


def open_pyramid(path: Path) -> Pyramid:
    """Open a pyramid, or give it as it was opened before; one that was made again is opened anew.

    Raises
    ------
    ScanError
        See `Pyramid`.
    """
    try:
        status = path.stat()
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        msg = f"{path}: the pyramid can't be read ({reason}); make it again."
        raise ScanError(msg) from error
    key = (str(path), status.st_ino, status.st_size, status.st_mtime_ns)
    with _lock:
        if key in _kept:
            _kept.move_to_end(key)
            return _kept[key]
    pyramid = Pyramid(path)
    with _lock:
        _kept[key] = pyramid
        while len(_kept) > PYRAMIDS_KEPT:
            # whoever still reads in it keeps it open
            _kept.popitem(last=False)
    return pyramid
