"""Raw DNG, linear and uncompressed (DNG 1.4): its strips or tiles are read as they lie in the file.

The directory is read by tifffile, for the tags and to see that the picture lies whole inside the file. Nothing is done
to the values but what the file says of them: the black level is taken off and the white level brought to 65,535, in a
straight line, each channel for itself. No white balance, no colour matrix, no curve.
"""

import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from itertools import islice
from typing import Any

import numpy as np
import tifffile

from negcat.scans.bounds import check_size, check_whole
from negcat.scans.decoded import DecodedWhole
from negcat.scans.directory import MOST_DIRECTORIES
from negcat.scans.files import Damaged, Master
from negcat.scans.model import FileFormat
from negcat.scans.picture import Geometry, Pixels, Told
from negcat.scans.tags import orientation_of
from negcat.scans.tiff import check_segments, told_by

__all__ = ["DngPicture", "is_dng", "read_dng"]

LINEAR, MOSAIC = 34892, 32803
"""Kinds of raw picture, by the tag PhotometricInterpretation (DNG 1.4)."""

DNG_VERSION, UNIQUE_MODEL, ACTIVE_AREA = 50706, 50708, 50829
TABLE, REPEAT, BLACK, BLACK_ACROSS, BLACK_DOWN, WHITE = 50712, 50713, 50714, 50715, 50716, 50717


@dataclass(frozen=True)
class Stored:
    """How the values of a raw picture lie in the file: in strips, which end with the picture, or in tiles."""

    width: int
    height: int
    kind: np.dtype[Any]
    channels: int
    tiled: bool
    across: int
    """Pixels of a strip or tile across."""
    down: int
    offsets: tuple[int, ...]

    def read(self, master: Master) -> Pixels:
        """Read all of them; (height, width, channels)."""
        values = np.empty((self.height, self.width, self.channels), self.kind.newbyteorder("="))
        beside = -(-self.width // self.across)
        for index, offset in enumerate(self.offsets):
            y, x = index // beside * self.down, index % beside * self.across
            rows = self.down if self.tiled else min(self.down, self.height - y)
            shape = (rows, self.across, self.channels)
            piece = np.frombuffer(
                master.read(math.prod(shape) * self.kind.itemsize, offset), self.kind
            ).reshape(shape)
            values[y : y + rows, x : x + self.across] = piece[: self.height - y, : self.width - x]
        return values


@dataclass(frozen=True)
class DngPicture(DecodedWhole):
    """The linear raw picture of a DNG, decoded whole."""

    geometry: Geometry
    told: Told
    raw: Stored
    top: int
    """Rows of it above the active area."""
    left: int
    black: tuple[float, ...]
    """Stored code of no light, for each channel."""
    white: tuple[float, ...]
    """Stored code of full scale, for each channel."""
    compression: str = "none"
    pages: int = 1
    file_format: FileFormat = "DNG"

    def _decode(self, master: Master) -> Pixels:
        raw, geometry = self.raw, self.geometry
        try:
            codes = np.empty((geometry.height, geometry.width, geometry.channels), np.uint16)
            stored = raw.read(master)[self.top :, self.left :]
        except MemoryError as error:
            msg = "its raw picture is larger than the memory there is; save it as a linear 16-bit TIFF"
            raise Damaged(msg) from error
        every = np.arange(65536, dtype=np.float64)
        for channel, (black, white) in enumerate(zip(self.black, self.white, strict=True)):
            line = np.clip(np.rint((every - black) * (65535 / (white - black))), 0, 65535).astype(np.uint16)
            codes[..., channel] = line[stored[: geometry.height, : geometry.width, channel]]
        return codes


@contextmanager
def _directory(master: Master) -> Iterator[tifffile.TiffFile]:
    """Open a master as a TIFF."""
    with master.as_file() as handle, tifffile.TiffFile(handle, name=master.path.name) as tif:
        yield tif


def is_dng(master: Master) -> bool:
    """Tell whether a TIFF's first directory says that it is a DNG; False where it can't be read."""
    try:
        with _directory(master) as tif:
            return DNG_VERSION in tif.pages.first.tags
    except Exception:
        # what is wrong with the directory is told by `read_tiff`
        return False


def read_dng(master: Master) -> DngPicture:
    """Read a DNG's directories and check that its raw picture lies inside the file.

    Raises Damaged for what can't be taken: broken, cut short, compressed, a colour filter mosaic.
    """
    try:
        with _directory(master) as tif:
            return _picture(master, tif)
    except Damaged:
        raise
    except Exception as error:
        # tifffile meets a broken directory with TiffFileError, struct.error, IndexError, KeyError …
        msg = "its DNG directory is damaged or cut short; copy or scan it again"
        raise Damaged(msg) from error


def _directories(tif: tifffile.TiffFile) -> list[Any]:
    """List the directories and those below them; the raw picture mostly lies below a small preview."""
    found: list[Any] = []
    for page in tif.pages:
        whole = page if isinstance(page, tifffile.TiffPage) else page.aspage()
        below: list[Any] = list(islice(whole.pages or [], MOST_DIRECTORIES))
        for entry in (whole, *(item for item in below if isinstance(item, tifffile.TiffPage))):
            found.append(entry)
            if len(found) == MOST_DIRECTORIES:
                return found
    return found


def _numbers(page: Any, code: int) -> list[float]:
    """Read a tag's numbers; rationals come as pairs."""
    tag = page.tags.get(code)
    if tag is None:
        return []
    flat = [float(number) for number in np.ravel(np.asarray(tag.value, dtype=np.float64))]
    if int(tag.dtype) in {5, 10}:
        return [over / under for over, under in zip(flat[::2], flat[1::2], strict=True)]
    return flat


def _levels(page: Any, code: int, channels: int, otherwise: float) -> tuple[float, ...]:
    found = _numbers(page, code) or [otherwise]
    found = found * channels if len(found) == 1 else found
    if len(found) != channels:
        msg = "its black and white levels don't fit its channels; save it as a linear 16-bit TIFF"
        raise Damaged(msg)
    return tuple(found)


def _refuse_unmeasurable(page: Any) -> None:
    compression, bits = int(page.compression), page.bitspersample
    if compression != 1:
        name = getattr(page.compression, "name", str(compression)).lower()
        msg = (
            f"its raw picture is compressed ({name}); save it as an uncompressed DNG or a linear 16-bit TIFF"
        )
        raise Damaged(msg)
    if int(page.predictor) != 1 or int(page.fillorder) != 1:
        msg = "its raw values are stored as differences or with their bits turned; save it as a linear 16-bit TIFF"
        raise Damaged(msg)
    if int(page.sampleformat) != 1 or bits not in {8, 16}:
        msg = (
            f"its raw values are not whole numbers of 8 or 16 bits ({bits}); save it as a linear 16-bit TIFF"
        )
        raise Damaged(msg)
    if int(page.samplesperpixel) not in {1, 3} or (
        int(page.planarconfig) == 2 and int(page.samplesperpixel) > 1
    ):
        msg = "its raw picture is neither grey nor RGB side by side; save it as a linear 16-bit TIFF"
        raise Damaged(msg)
    if (
        TABLE in page.tags
        or any(number != 1 for number in _numbers(page, REPEAT))
        or any(_numbers(page, BLACK_ACROSS))
        or any(_numbers(page, BLACK_DOWN))
    ):
        msg = "its values need more than a black and a white level to be linear; save it as a linear 16-bit TIFF"
        raise Damaged(msg)


def _picture(master: Master, tif: tifffile.TiffFile) -> DngPicture:
    directories = _directories(tif)
    raws = [page for page in directories if int(page.photometric) in {LINEAR, MOSAIC}]
    whole = [page for page in raws if not int(page.subfiletype) & 1] or raws
    if not whole:
        msg = "it has no raw picture in it; save it as a linear 16-bit TIFF"
        raise Damaged(msg)
    page = whole[0]
    if int(page.photometric) == MOSAIC:
        msg = (
            "it is a raw file with a colour filter mosaic, and densities aren't to be interpolated between "
            "filters; take a linear DNG or a linear 16-bit TIFF"
        )
        raise Damaged(msg)
    _refuse_unmeasurable(page)
    stored_width, stored_height = int(page.imagewidth), int(page.imagelength)
    area = [int(number) for number in _numbers(page, ACTIVE_AREA)]
    top, left, bottom, right = area or (0, 0, stored_height, stored_width)
    if not (0 <= top < bottom <= stored_height and 0 <= left < right <= stored_width):
        msg = "its active area lies outside its picture; the file is damaged"
        raise Damaged(msg)
    check_size(right - left, bottom - top)
    channels, bits = int(page.samplesperpixel), int(page.bitspersample)
    check_whole(stored_width * stored_height * channels * 2, "a raw picture")
    black = _levels(page, BLACK, channels, 0.0)
    white = _levels(page, WHITE, channels, float((1 << bits) - 1))
    if any(low >= high for low, high in zip(black, white, strict=True)):
        msg = "its white level is not above its black level; the file is damaged"
        raise Damaged(msg)
    raw = _stored(master, tif, page)
    first = directories[0]
    notes = ["raw, linear", "decoded whole: the memory it takes follows the size of the picture"]
    orientation = orientation_of(first.tags.valueof(274, 1), notes)
    told = told_by(master, first, tuple(notes))
    values = dict(told.values)
    if page.tags.valueof(282) is not None:
        # the raw picture's own resolution goes before that of a preview
        for name, code in (("XResolution", 282), ("YResolution", 283), ("ResolutionUnit", 296)):
            values[name] = page.tags.valueof(code)
    values["Model"] = values["Model"] or first.tags.valueof(UNIQUE_MODEL)
    values["Gamma"] = 1.0  # the codes are proportional to light
    return DngPicture(
        geometry=Geometry(right - left, bottom - top, channels, 16, False, orientation),
        told=replace(told, values=values, icc=b""),  # a profile there is the preview's
        raw=raw,
        top=top,
        left=left,
        black=black,
        white=white,
    )


def _stored(master: Master, tif: tifffile.TiffFile, page: Any) -> Stored:
    """Find where the values lie; Damaged where a strip or tile is missing, too short or beyond the file's end."""
    channels, bits = int(page.samplesperpixel), int(page.bitspersample)
    pixel_bytes = channels * bits // 8
    width, height = int(page.imagewidth), int(page.imagelength)
    tiled = bool(page.is_tiled)
    across = int(page.tilewidth) if tiled else width
    down = int(page.tilelength) if tiled else min(int(page.rowsperstrip), height)
    if across < 1 or down < 1:
        msg = "its strips or tiles have no size; the file is damaged"
        raise Damaged(msg)
    counts = tuple(int(count) for count in page.databytecounts)
    wanted = -(-width // across) * -(-height // down)
    offsets = tuple(int(offset) for offset in page.dataoffsets)
    check_segments(master, offsets, counts, wanted, across * down * pixel_bytes, "none")
    for index in range(wanted):
        rows = down if tiled else min(down, height - index * down)
        if counts[index] < rows * across * pixel_bytes:
            msg = f"piece {index + 1} of {wanted} of its picture is shorter than its rows; copy or scan it again"
            raise Damaged(msg)
    kind = np.dtype(np.uint8 if bits == 8 else np.uint16).newbyteorder(tif.byteorder)
    return Stored(width, height, kind, channels, tiled, across, down, offsets[:wanted])
