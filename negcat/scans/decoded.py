"""Pictures that can only be decoded whole, handed on in parts all the same."""

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator
from typing import TypeVar

from negcat.scans.files import Master
from negcat.scans.kept import kept
from negcat.scans.picture import Geometry, Part, Pixels

__all__ = ["DecodedWhole"]

T = TypeVar("T")

ROWS_AT_ONCE = 256


class DecodedWhole(ABC):
    """What a `Picture` does, by decoding all of it."""

    geometry: Geometry

    @abstractmethod
    def _decode(self, master: Master) -> Pixels:
        """Decode the picture."""

    def stream(self, master: Master, work: Callable[[Part], T]) -> Iterator[T]:
        """Decode the whole picture, then hand it on in bands; see `Picture.stream`."""
        pixels = self._decode(master)
        for y in range(0, self.geometry.height, ROWS_AT_ONCE):
            yield work(Part(0, y, 0, pixels[y : y + ROWS_AT_ONCE]))

    def boxes(self, master: Master, boxes: list[tuple[int, int, int, int]]) -> list[Pixels]:
        """Cut stored boxes out of the decoded picture; the last picture is kept for the next look."""
        pixels = kept(master, 0, lambda: self._decode(master))
        return [pixels[y0:y1, x0:x1] for x0, y0, x1, y1 in boxes]
