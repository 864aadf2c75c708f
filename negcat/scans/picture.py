"""A picture as it lies in its file: its geometry, its parts, and the way to upright.

Two frames are used. *Stored* is the order of rows and columns in the file. *Upright* is what the orientation
tag makes of it, and the only frame that leaves this package.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, Protocol, TypeVar

import numpy.typing as npt

from negcat.scans.files import Master
from negcat.scans.model import FileFormat

__all__ = ["Geometry", "Part", "Picture", "Pixels", "Told"]

T = TypeVar("T")
Pixels = npt.NDArray[Any]
"""uint8 or uint16, (rows, columns, channels)."""


@dataclass(frozen=True)
class Geometry:
    """A picture's shape as stored.

    Parameters
    ----------
    width, height : stored columns and rows.
    channels : 1 (grey) or 3 (red, green, blue), without alpha.
    bits : 8 or 16.
    inverted : the file counts darkness (white is zero).
    orientation : the tag, 1 to 8 (Exif 2.32, tag 0x0112).
    """

    width: int
    height: int
    channels: int
    bits: int
    inverted: bool = False
    orientation: int = 1

    @property
    def transposed(self) -> bool:
        """Whether stored rows stand upright as columns."""
        return self.orientation >= 5

    @property
    def flips(self) -> tuple[bool, bool]:
        """Whether (rows, columns) as stored run backwards, before any transposing."""
        return self.orientation in {3, 4, 6, 7}, self.orientation in {2, 3, 7, 8}

    @property
    def upright_size(self) -> tuple[int, int]:
        """Upright (width, height)."""
        return (self.height, self.width) if self.transposed else (self.width, self.height)

    def upright(self, stored: Pixels) -> Pixels:
        """Turn an array of stored (rows, columns, …) upright; a view, nothing is copied."""
        rows, columns = self.flips
        turned = stored[:: -1 if rows else 1, :: -1 if columns else 1]
        return turned.swapaxes(0, 1) if self.transposed else turned

    def stored_box(self, x0: int, y0: int, x1: int, y1: int) -> tuple[int, int, int, int]:
        """Find the stored (x0, y0, x1, y1) of an upright box, ends exclusive."""
        if self.transposed:
            x0, y0, x1, y1 = y0, x0, y1, x1
        rows, columns = self.flips
        if columns:
            x0, x1 = self.width - x1, self.width - x0
        if rows:
            y0, y1 = self.height - y1, self.height - y0
        return x0, y0, x1, y1

    @property
    def nbytes(self) -> int:
        """Bytes of the whole decoded picture."""
        return self.width * self.height * self.channels * self.bits // 8


@dataclass(frozen=True)
class Part:
    """A rectangle of decoded pixels: its stored place and its first channel.

    `pixels` is (rows, columns, channels) of uint8 or uint16 in native byte order, without alpha, as stored
    (not yet inverted).
    """

    x: int
    y: int
    channel: int
    pixels: Pixels


@dataclass(frozen=True)
class Told:
    """What a file's tags tell, with nothing believed or refused yet.

    `values` maps the tag names of Exif and TIFF to what they hold; `texts` are further texts, in order.
    """

    values: dict[str, object]
    texts: tuple[str, ...] = ()
    xmp: bytes = b""
    icc: bytes = b""
    notes: tuple[str, ...] = ()
    density: tuple[float, float] | None = None
    """Pixels per inch along stored x and y where the format says so itself."""


class Picture(Protocol):
    """A picture that can be read part by part. One class for each format."""

    @property
    def geometry(self) -> Geometry:
        """Its shape as stored."""
        ...

    @property
    def file_format(self) -> FileFormat:
        """Of the file it lies in."""
        ...

    @property
    def compression(self) -> str:
        """As `ScanHeader.compression`."""
        ...

    @property
    def pages(self) -> int:
        """Pages in the file."""
        ...

    @property
    def told(self) -> Told:
        """What its tags tell."""
        ...

    def stream(self, master: Master, work: Callable[[Part], T]) -> Iterator[T]:
        """Decode the whole picture, each pixel once, and yield `work` of each part.

        `work` may run in a thread of its own. Damaged where any of the picture is missing or broken.
        """
        ...

    def boxes(self, master: Master, boxes: list[tuple[int, int, int, int]]) -> list[Pixels]:
        """Decode stored boxes (x0, y0, x1, y1), touching only what they need."""
        ...
