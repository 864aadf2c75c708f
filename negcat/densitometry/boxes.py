"""A rectangle in a scan, as fractions of its width and height, and a scan made smaller."""

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

__all__ = ["Box", "reduced"]


class Box(NamedTuple):
    """A rectangle, as fractions (0 to 1) of a scan's width (x) and height (y) from its top left corner.

    Parameters
    ----------
    x0, y0 : its top left corner.
    x1, y1 : its bottom right corner.
    """

    x0: float
    y0: float
    x1: float
    y1: float

    def pixels(self, height: int, width: int) -> tuple[slice, slice]:
        """Return the rows and columns whose pixels lie wholly inside, at least one of each.

        Parameters
        ----------
        height, width : of the image in pixels.

        Returns
        -------
        Slices for ``image[rows, columns]``.

        Examples
        --------
        >>> Box(0.25, 0.5, 0.75, 1.0).pixels(100, 200)
        (slice(50, 100, None), slice(50, 150, None))
        """
        return _inside(self.y0, self.y1, height), _inside(self.x0, self.x1, width)


def _inside(start: float, stop: float, size: int) -> slice:
    # Fractions of a whole pixel edge come back a rounding error off it.
    first = min(max(int(-(-(start * size - 1e-6) // 1)), 0), size - 1)
    last = max(min(int((stop * size + 1e-6) // 1), size), first + 1)
    return slice(first, last)


def reduced(image: NDArray[Any], most: int) -> tuple[NDArray[np.float32], int]:
    """Return an image made smaller by means of square blocks.

    Parameters
    ----------
    image : array (h, w) of codes.
    most : pixels a side that are wanted at most.

    Returns
    -------
    Array (h // factor, w // factor) and the factor; what is left over at the right and bottom is dropped.

    Examples
    --------
    >>> small, factor = reduced(np.arange(16.0).reshape(4, 4), 2)
    >>> small.tolist(), factor
    ([[2.5, 4.5], [10.5, 12.5]], 2)
    """
    factor = max(1, -(-max(image.shape) // most))
    if factor == 1:
        return image.astype(np.float32), 1
    height, width = (size // factor * factor for size in image.shape)
    rows = image[:height, :width].reshape(height // factor, factor, width).sum(axis=1, dtype=np.float32)
    blocks = rows.reshape(rows.shape[0], width // factor, factor).sum(axis=2)
    return np.asarray(blocks / np.float32(factor**2), dtype=np.float32), factor
