"""What lies on the bed: one sheet or several, and which way round by the film's code notches."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_opening, label

from negcat.densitometry.boxes import reduced
from negcat.densitometry.edges import SIDES, SideName
from negcat.densitometry.rebate import Rebate

__all__ = ["Notches", "find_notches", "sheets_seen"]

_Floats = NDArray[np.float64]

_MOST_PIXELS = 400
_RING = 0.012  # of the scan's size: what is taken for the bed, if it is even
_SAME = 0.02  # in log10 code
_LEAST_SHARE = 0.12  # of the scan: less is a scrap or a tablet
_NEAREST_MM, _FARTHEST_MM = 4.0, 38.0
_NARROWEST_MM, _WIDEST_MM = 0.8, 6.5
_SHALLOWEST_MM = 0.6
_FLOOR = 100.0


@dataclass(frozen=True)
class Notches:
    """Code notches found in a film's edge.

    Parameters
    ----------
    side : the edge of the scan that they are in.
    at : their places along it, fractions from its left or top end.
    mirrored : whether the scan shows the film from its emulsion side, and the picture reversed.
    """

    side: SideName
    at: tuple[float, ...]
    mirrored: bool


def sheets_seen(image: NDArray[Any]) -> int:
    """Count the sheets of film in a scan that shows the bed all round.

    Parameters
    ----------
    image : array (h, w), 16-bit-scaled codes of one channel of the whole scan.

    Returns
    -------
    How many pieces of film, each at least an eighth of the scan, lie apart from each other on open glass or
    in a black mask; 1 where no bed is seen between pieces.

    Examples
    --------
    >>> bed = np.full((200, 420), 60000.0)
    >>> bed[20:180, 20:200] = bed[20:180, 220:400] = 9000.0
    >>> sheets_seen(bed)
    2
    """
    small, _ = reduced(image, _MOST_PIXELS)
    levels = np.log10(np.maximum(small, 0.0) + _FLOOR)
    height, width = levels.shape
    ring = max(2, round(_RING * max(height, width)))
    sides = [levels[:ring], levels[-ring:], levels[:, :ring], levels[:, -ring:]]
    middles = np.array([float(np.median(side)) for side in sides])
    bed = float(np.median(middles))
    if np.count_nonzero(np.abs(middles - bed) < _SAME) < 3:
        return 1  # the film reaches the scan's edges
    bright = bed >= float(np.percentile(levels, 97)) - _SAME
    dark = bed <= float(np.percentile(levels, 3)) + 3 * _SAME
    if not (bright or dark):
        return 1
    film = levels < bed - _SAME if bright else levels > bed + 5 * _SAME
    film = binary_opening(film, np.ones((3, 3), dtype=bool))
    pieces, count = label(film)
    if count < 2:
        return 1
    large = []
    for piece in range(1, count + 1):
        rows, columns = np.nonzero(pieces == piece)
        box = (columns.min(), rows.min(), columns.max() + 1, rows.max() + 1)
        area = (box[2] - box[0]) * (box[3] - box[1])
        # A sheet fills its own box; a picture's dark parts in a mask are ragged.
        if area >= _LEAST_SHARE * levels.size and rows.size > 0.85 * area:
            large.append(box)
    apart = [
        box
        for k, box in enumerate(large)
        if all(
            min(box[2], other[2]) - max(box[0], other[0]) <= 0.05 * width
            or min(box[3], other[3]) - max(box[1], other[1]) <= 0.05 * height
            for other in large[:k]
        )
    ]
    return max(len(apart), 1)


def find_notches(image: NDArray[Any], rebate: Rebate, px_per_mm: float) -> Notches | None:
    """Find the code notches in a film's short edge, on open glass.

    Parameters
    ----------
    image : array (h, w), 16-bit-scaled codes of one channel of the whole scan.
    rebate : the film's margin in it.
    px_per_mm : pixels of `image` a millimetre, 4 or more serve.

    Returns
    -------
    The notches; None where none are seen, or at more than one corner.

    Notes
    -----
    Code notches lie at the right end of the top short edge of a sheet held upright with its emulsion towards
    one: at the end of that edge, going round clockwise. Seen from the film's back, where the picture reads
    right, they lie at its beginning.
    """
    edge = rebate.film_edge
    if edge is None or rebate.surround != "glass" or px_per_mm < 3.5:
        return None
    height, width = image.shape
    wide, high = (edge.x1 - edge.x0) * width, (edge.y1 - edge.y0) * height
    if 0.9 < wide / high < 1.1:
        return None
    middle = rebate.code
    found: list[Notches] = []
    for side in SIDES:
        upright = side in ("left", "right")
        if upright != (wide > high):
            continue  # a long edge
        strip = _along(image, edge, side, rebate.tilt_deg, px_per_mm)
        if strip is None:
            continue
        glass = float(np.percentile(strip[: max(2, strip.shape[0] // 3)], 80))
        if glass < middle * 1.03:
            continue
        open_here = strip > (glass + middle) / 2
        depth = np.count_nonzero(open_here, axis=0)
        usual = float(np.median(depth))
        deep = depth > usual + _SHALLOWEST_MM * px_per_mm
        places = _runs(deep, px_per_mm)
        length = deep.size
        near_begin = [p for p in places if _NEAREST_MM < p / px_per_mm < _FARTHEST_MM]
        near_end = [p for p in places if _NEAREST_MM < (length - p) / px_per_mm < _FARTHEST_MM]
        # A strip runs left to right or top to bottom; clockwise is that along the top and the right edge.
        clockwise = side in ("top", "right")
        offset = edge.y0 * height if upright else edge.x0 * width
        whole = height if upright else width
        for places_there, at_end in ((near_begin, False), (near_end, True)):
            if places_there:
                at = tuple(float((offset + p) / whole) for p in places_there)
                found.append(Notches(side, at, mirrored=at_end == clockwise))
    return found[0] if len(found) == 1 else None


def _along(
    image: NDArray[Any], edge: Any, side: SideName, tilt_deg: float, px_per_mm: float
) -> _Floats | None:
    """Return the codes along one edge of the film, (depth, length), from outside inward, laid straight."""
    height, width = image.shape
    lean = float(np.tan(np.deg2rad(tilt_deg)))
    x0, y0, x1, y1 = edge.x0 * width, edge.y0 * height, edge.x1 * width, edge.y1 * height
    out, deep = 1.5 * px_per_mm, 2.2 * px_per_mm
    depth = np.arange(-out, deep)
    if side in ("top", "bottom"):
        along = np.arange(x0 + 2, x1 - 2)
        base = (y0 if side == "top" else y1) + lean * (along - (x0 + x1) / 2)
        rows = base[None, :] + (depth if side == "top" else -depth)[:, None]
        columns = np.broadcast_to(along[None, :], rows.shape)
    else:
        along = np.arange(y0 + 2, y1 - 2)
        base = (x0 if side == "left" else x1) - lean * (along - (y0 + y1) / 2)
        columns = base[None, :] + (depth if side == "left" else -depth)[:, None]
        rows = np.broadcast_to(along[None, :], columns.shape)
    if rows.min() < 0 or columns.min() < 0 or rows.max() >= height or columns.max() >= width:
        rows, columns = np.clip(rows, 0, height - 1), np.clip(columns, 0, width - 1)
    if rows.size == 0:
        return None
    return np.asarray(image[rows.astype(int), columns.astype(int)], dtype=np.float64)


def _runs(deep: NDArray[np.bool_], px_per_mm: float) -> list[float]:
    """Return the middles of runs that are as wide as a notch."""
    ends = np.flatnonzero(np.diff(np.concatenate([[0], deep.astype(int), [0]])))
    return [
        (first + last) / 2
        for first, last in zip(ends[::2], ends[1::2], strict=True)
        if _NARROWEST_MM <= (last - first) / px_per_mm <= _WIDEST_MM
    ]
