"""Any part of a scan in any size, out of its pyramid: for looking, not for measuring.

A part that is just one of the pyramid's tiles is handed on as it lies in the file, undecoded.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt

from negcat import scans
from negcat.errors import ScanError
from negcat.scans import Encoding, Pyramid
from negcat.work.archive import Archive
from negcat.work.previews import pyramid_of

__all__ = ["Drawing", "Quality", "draw", "opened", "stamp_of"]

Quality = Literal["colour", "grey", "bitonal"]

_GREY = np.array([0.299, 0.587, 0.114])
"""Weights of red, green and blue in the luma of encoded tones, ITU-R BT.601."""

_making = threading.Lock()


@dataclass(frozen=True)
class Drawing:
    """What is to be drawn.

    Parameters
    ----------
    box : (x0, y0, x1, y1) in pixels of the scan, ends exclusive, inside it.
    width, height : of the result before it is turned, in pixels.
    mirrored : left and right exchanged, before it is turned.
    quarter_turns : clockwise, 0 to 3.
    quality : ``colour`` (the scan's own tones), ``grey`` or ``bitonal``.
    encoding : ``jpg`` or ``png``.
    """

    box: tuple[int, int, int, int]
    width: int
    height: int
    mirrored: bool = False
    quarter_turns: int = 0
    quality: Quality = "colour"
    encoding: Encoding = "jpg"


def opened(root: Path, scan: str) -> Pyramid:
    """Open the pyramid of a scan, made again where it is missing.

    The catalogue is only asked where the pyramid isn't there, so that a tile costs a few system calls.

    Parameters
    ----------
    root : the archive's folder.
    scan : the scan's whole id.

    Raises
    ------
    UnknownNameError : no such scan.
    ScanError : the pyramid is missing, and its master can't be read.
    """
    try:
        return scans.open_pyramid(scans.pyramid_path(root / "previews", scan))
    except ScanError:
        with _making, Archive.open(root, readonly=True) as archive:
            return pyramid_of(archive, scan)


def stamp_of(pyramid: Pyramid) -> str:
    """Give a text that differs whenever the pyramid was made again."""
    status = pyramid.path.stat()
    return f"{status.st_mtime_ns:x}-{status.st_size:x}"


def draw(pyramid: Pyramid, wanted: Drawing) -> bytes:
    """Draw a part of a scan.

    Returns
    -------
    A JPEG or PNG file's bytes, in the scan's own colours with their profile.

    Raises
    ------
    ScanError : the pyramid is damaged.
    """
    if wanted.quality == "colour" and not (wanted.mirrored or wanted.quarter_turns):
        tile = _stored_tile(pyramid, wanted)
        if tile is not None:
            data = pyramid.tile_bytes(*tile)
            # A profile too long for one segment isn't in the stored tiles.
            if not pyramid.colour_profile or pyramid.colour_profile in data:
                return data
    tones = _tones(pyramid, wanted)
    profile = pyramid.colour_profile
    if wanted.quality != "colour":
        if tones.shape[2] == 3:
            tones = np.rint(tones @ _GREY).astype(np.uint8)[..., None]
            profile = b""  # of three colours
        if wanted.quality == "bitonal":
            tones = np.where(tones >= 128, 255, 0).astype(np.uint8)
    if wanted.mirrored:
        tones = tones[:, ::-1]
    tones = np.rot90(tones, -wanted.quarter_turns)
    bitonal = wanted.quality == "bitonal"
    return scans.encoded(tones, wanted.encoding, bitonal=bitonal, colour_profile=profile)


def _level(pyramid: Pyramid, wanted: Drawing) -> int | None:
    """Find the level whose pixels the part asks for one by one; None where it has to be resampled."""
    x0, y0, x1, y1 = wanted.box
    for number, level in enumerate(pyramid.levels):
        f = level.factor
        if (
            (-(-(x1 - x0) // f), -(-(y1 - y0) // f)) == (wanted.width, wanted.height)
            and not (x0 % f or y0 % f)
            and (x1 % f == 0 or x1 == pyramid.width)
            and (y1 % f == 0 or y1 == pyramid.height)
            and (x0 // f + wanted.width <= level.width and y0 // f + wanted.height <= level.height)
        ):
            return number
    return None


def _stored_tile(pyramid: Pyramid, wanted: Drawing) -> tuple[int, int, int] | None:
    """Find the stored tile that is just what is wanted: its level, column and row."""
    side = pyramid.tile
    if wanted.encoding != "jpg" or (wanted.width, wanted.height) != (side, side):
        return None
    number = _level(pyramid, wanted)
    if number is None:
        return None
    f = pyramid.levels[number].factor
    column, beside = divmod(wanted.box[0] // f, side)
    row, below = divmod(wanted.box[1] // f, side)
    return None if beside or below else (number, column, row)


def _tones(pyramid: Pyramid, wanted: Drawing) -> npt.NDArray[np.uint8]:
    number = _level(pyramid, wanted)
    if number is None:
        return pyramid.draw(wanted.width, wanted.height, wanted.box)
    f = pyramid.levels[number].factor
    left, top = wanted.box[0] // f, wanted.box[1] // f
    return pyramid.read(number, left, top, left + wanted.width, top + wanted.height)
