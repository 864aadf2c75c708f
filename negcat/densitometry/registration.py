"""How one scan of a sheet lies on another: turned, mirrored, moved, a little askew, at another resolution.

Two scans of a negative show the same picture, whatever their resolution and crop and whichever way round the
film lay. The pictures are laid on each other in each of the eight ways that a sheet can lie on the glass; the
way in which they agree is the one, and where none stands out, nothing is claimed.
"""

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import fft
from scipy.ndimage import affine_transform, gaussian_filter

from negcat.densitometry.boxes import Box
from negcat.errors import QuantityError

__all__ = ["NoRegistration", "Registration", "View", "register"]

_Floats = NDArray[np.float64]

_COARSE_SIDE = 104
_FINE_SIDE = 720
_WIDEST_TURN_DEG = 4.0
_STEP_DEG = 1.0  # half of it moves the side of the coarse picture by half a pixel
_LEAST_OVERLAP = 0.35  # of the smaller picture
_LEAST_CORRELATION = 0.45
_LEAST_WITH_FRAMES = 0.3
_STANDS_OUT = 0.2  # by which the best way must agree better than the next, lest that one is looked at too
_BLOCKS = 6
_BLOCK_AGREES = 0.5
_LEAST_PARTS, _LEAST_SHARE = 4, 0.35  # of the blocks: must agree one by one, and about where they lie
_PART_MM = 0.6
_RIVAL = 0.6


@dataclass(frozen=True)
class View:
    """A scan made small, for comparing.

    Parameters
    ----------
    picture : array (h, w), tones or codes, above or at 0, that rise (or fall) with the light.
    px_per_mm : pixels of `picture` a millimetre of film.
    frame : the picture inside the film's margins, fractions; None where it isn't known.
    tilt_deg : how far the film lies askew, clockwise positive; None where it isn't known.
    sure_scale : whether `px_per_mm` is stated, not guessed from the film filling the scan.
    """

    picture: NDArray[Any]
    px_per_mm: float
    frame: Box | None = None
    tilt_deg: float | None = None
    sure_scale: bool = True


@dataclass(frozen=True)
class Registration:
    """How a second scan lies on a first one.

    Parameters
    ----------
    places : 2 × 3: a place (x, y) of the first scan lies at ``places @ (x, y, 1)`` of the second, both as
        fractions of width and height.
    turn_deg : by how much the second is turned against the first, clockwise: 0, 90, 180 or 270.
    mirrored : whether the second shows the film from its other side.
    correlation : of the two pictures laid on each other, 0 to 1.
    next_correlation : of the next best of the ways in which a sheet can lie.
    """

    places: tuple[tuple[float, float, float], tuple[float, float, float]]
    turn_deg: int
    mirrored: bool
    correlation: float
    next_correlation: float

    def place(self, x: float, y: float) -> tuple[float, float]:
        """Tell where a place of the first scan lies on the second.

        Parameters
        ----------
        x, y : fractions of the first scan's width and height.

        Returns
        -------
        Fractions of the second scan's width and height; below 0 or above 1 where it doesn't show the place.

        Examples
        --------
        >>> Registration(((-1, 0, 1), (0, -1, 1)), 180, False, 0.9, 0.1).place(0.25, 0.5)
        (0.75, 0.5)
        """
        (a, b, c), (d, e, f) = self.places
        return a * x + b * y + c, d * x + e * y + f

    def back(self) -> "Registration":
        """Tell how the first scan lies on the second.

        Examples
        --------
        >>> there = Registration(((0, -0.5, 1), (2, 0, -0.25)), 90, False, 0.9, 0.1)
        >>> there.back().place(*there.place(0.25, 0.5)), there.back().turn_deg
        ((0.25, 0.5), 270)
        """
        (a, b, c), (d, e, f) = self.places
        size = a * e - b * d
        x = (e / size, -b / size, (b * f - e * c) / size)
        y = (-d / size, a / size, (d * c - a * f) / size)
        # What mirrors and then turns is undone by doing it again.
        turn = self.turn_deg if self.mirrored else -self.turn_deg % 360
        return Registration((x, y), turn, self.mirrored, self.correlation, self.next_correlation)


@dataclass(frozen=True)
class NoRegistration:
    """Two scans that can't be laid on each other, and why."""

    reason: str
    correlation: float | None = None


@dataclass(frozen=True)
class _Way:
    """One way to lie: an affine map from the first picture's pixels to the second's, (x, y)."""

    matrix: _Floats  # 2 × 2
    offset: _Floats  # 2
    turn_deg: int
    mirrored: bool
    correlation: float


def register(first: View, second: View) -> Registration | NoRegistration:
    """Find how a scan lies on another scan of the same sheet.

    Parameters
    ----------
    first : the scan on which places are known.
    second : the scan on which they are wanted.

    Returns
    -------
    How they lie on each other; or why that can't be told: nothing to compare, pictures that differ, or a
    picture that agrees with itself turned round.

    Raises
    ------
    QuantityError
        A picture that is not two-dimensional or has fewer than 16 pixels a side, a scale not above 0.

    Notes
    -----
    Normalised cross-correlation of band-passed log tones over the part that both show (Padfield 2012, Masked
    object registration in the Fourier domain, IEEE Trans. Image Process. 21), first small, in all ways and
    angles; then in blocks, through whose shifts an affine map is fitted.
    """
    for view in (first, second):
        if view.picture.ndim != 2 or min(view.picture.shape) < 16 or not view.px_per_mm > 0:
            raise QuantityError(
                "scans are compared in one channel of 16 pixels a side or more, at a scale above 0 pixels a mm, "
                f"not {view.picture.shape} at {view.px_per_mm}"
            )
    ratio = _ratio(first, second)
    ways = _coarse(first, second, ratio)
    best = ways[0]
    other = next(
        (way for way in ways if (way.turn_deg, way.mirrored) != (best.turn_deg, best.mirrored)), None
    )
    following = other.correlation if other is not None else 0.0
    least = _LEAST_WITH_FRAMES if first.frame and second.frame else _LEAST_CORRELATION
    if best.correlation < least:
        return NoRegistration(
            f"the two pictures don't agree however they are laid (correlation {best.correlation:.2f})",
            best.correlation,
        )
    fine, agreeing, parts = _fine(first, second, best)
    if agreeing < max(_LEAST_PARTS, _LEAST_SHARE * parts):
        return NoRegistration(
            f"the pictures agree in outline (correlation {best.correlation:.2f}) but in only {agreeing} of {parts} "
            "parts: they show different sheets, or too little detail",
            best.correlation,
        )
    # The film's own outline alone agrees well when it is turned round; the picture's parts then don't.
    if other is not None and best.correlation - following < _STANDS_OUT:
        rival = _fine(first, second, other)[1]
        if rival > _RIVAL * agreeing:
            return NoRegistration(
                f"the pictures agree about as well in two ways (correlations {best.correlation:.2f} and "
                f"{following:.2f}), so it can't be told which way round the film lay",
                best.correlation,
            )
    return Registration(
        _in_fractions(fine, first.picture.shape, second.picture.shape),
        best.turn_deg,
        best.mirrored,
        fine.correlation,
        following,
    )


def _ratio(first: View, second: View) -> list[float]:
    """Tell by how many pixels of the second a pixel of the first is drawn; several where that isn't sure."""
    stated = second.px_per_mm / first.px_per_mm
    if first.frame is not None and second.frame is not None:
        sizes = []
        for view in (first, second):
            box, (h, w) = view.frame, view.picture.shape
            assert box is not None
            sizes.append(sorted(((box.x1 - box.x0) * w, (box.y1 - box.y0) * h)))
        short, long = (b / a for a, b in zip(*sizes, strict=True))
        # Only whole frames keep their shape; where a margin was cropped away, the frame ends at the crop.
        if abs(short / long - 1) < 0.015:
            return [(short + long) / 2]
    if first.sure_scale and second.sure_scale:
        return [stated]
    return [stated * (1 + 0.03 * step) for step in range(-4, 5)]


def _features(picture: NDArray[Any], frame: Box | None, scale: float) -> tuple[_Floats, _Floats]:
    """Draw a picture's detail, freed of tone and contrast, and where it counts.

    Parameters
    ----------
    picture : tones.
    frame : where the picture is.
    scale : the finest detail that counts, in pixels.
    """
    logs = np.log(np.maximum(np.asarray(picture, dtype=np.float64), 0.0) + 3.0)
    mask = np.ones(logs.shape)
    if frame is not None:
        # The margin's own edges look alike in every way the film may lie.
        mask = np.zeros(logs.shape)
        inset = max(1, round(0.015 * min(logs.shape)))
        rows, columns = frame.pixels(*logs.shape)
        mask[rows.start + inset : rows.stop - inset, columns.start + inset : columns.stop - inset] = 1.0
    weight = np.maximum(gaussian_filter(mask, 8 * scale), 1e-6)
    calm = gaussian_filter(logs, scale)
    detail = (calm - gaussian_filter(logs * mask, 8 * scale) / weight) * mask
    strength = np.sqrt(np.maximum(gaussian_filter(detail**2, 8 * scale) / weight, 0.0))
    middle = float(np.median(strength[mask > 0])) if mask.any() else 0.0
    detail = np.clip(detail / (strength + 0.3 * middle + 1e-3), -2.5, 2.5) * mask
    return detail, mask


def _resampled(picture: NDArray[Any], factor: float) -> _Floats:
    """Draw a picture `factor` times as large, without aliases."""
    source = np.asarray(picture, dtype=np.float64)
    if factor < 1:
        source = gaussian_filter(source, 0.4 / factor)
    h, w = (max(8, round(side * factor)) for side in source.shape)
    return np.asarray(
        affine_transform(
            source,
            np.array([1 / factor, 1 / factor]),
            offset=np.array([0.5 / factor - 0.5] * 2),
            output_shape=(h, w),
            order=1,
            mode="nearest",
        ),
        dtype=np.float64,
    )


def _coarse(first: View, second: View, ratios: list[float]) -> list[_Way]:
    """Lay the pictures on each other in every way, small; the best first."""
    small = min(1.0, _COARSE_SIDE / max(second.picture.shape))
    there = _resampled(second.picture, small)
    wanted, wanted_mask = _features(there, second.frame, 1.0)
    size = tuple(2 * side for side in there.shape)
    if first.tilt_deg is not None and second.tilt_deg is not None:
        askew = None
    else:
        steps = round(_WIDEST_TURN_DEG / _STEP_DEG)
        askew = [_STEP_DEG * step for step in range(-steps, steps + 1)]
    ways = []
    for ratio in ratios:
        here = _resampled(first.picture, ratio * small)
        own, own_mask = _features(here, first.frame, 1.0)
        shape = tuple(fft.next_fast_len(max(a, 2 * max(own.shape)), real=True) for a in size)
        known = _spectra(wanted, wanted_mask, shape)
        for mirrored in (False, True):
            for quarter in range(4):
                if _frames_differ(first, second, quarter):
                    continue
                angles = askew
                if angles is None:
                    before = -(first.tilt_deg or 0.0) if mirrored else (first.tilt_deg or 0.0)
                    angles = [(second.tilt_deg or 0.0) - before]
                for angle in angles:
                    matrix = _turned(quarter, mirrored, angle)
                    drawn, mask, corner = _drawn(own, own_mask, matrix)
                    correlation, shift = _laid(drawn, mask, known, shape)
                    # From the first's pixels to the second's: made small, turned, moved, made large.
                    offset = (
                        (shift - corner) / small
                        + 0.5 * (1 / small - 1)
                        - matrix @ (np.full(2, 0.5 * (1 / (ratio * small) - 1)) * ratio)
                    )
                    ways.append(_Way(matrix * ratio, offset, 90 * quarter, mirrored, correlation))
    return sorted(ways, key=lambda way: -way.correlation)


def _frames_differ(first: View, second: View, quarter: int) -> bool:
    """Tell whether the frames' shapes forbid a turn."""
    if first.frame is None or second.frame is None:
        return False
    aspects = []
    for view in (first, second):
        box, (h, w) = view.frame, view.picture.shape
        assert box is not None
        aspects.append(np.log((box.x1 - box.x0) * w / ((box.y1 - box.y0) * h)))
    if min(abs(aspects[0]), abs(aspects[1])) < 0.1:
        return False
    return bool((aspects[0] * aspects[1] > 0) == (quarter % 2 == 1))


def _turned(quarter: int, mirrored: bool, angle_deg: float) -> _Floats:
    """Make the 2 × 2 map of (x, y), y down: mirrored left to right, then turned clockwise."""
    angle = np.radians(90.0 * quarter + angle_deg)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    return turn @ np.diag([-1.0 if mirrored else 1.0, 1.0])


def _drawn(picture: _Floats, mask: _Floats, matrix: _Floats) -> tuple[_Floats, _Floats, _Floats]:
    """Draw a picture turned by a map without scale, on a ground that holds it; its first pixel's place."""
    h, w = picture.shape
    corners = matrix @ np.array([[0, w - 1, 0, w - 1], [0, 0, h - 1, h - 1]], dtype=np.float64)
    low, high = np.floor(corners.min(axis=1) + 1e-9), np.ceil(corners.max(axis=1) - 1e-9)
    back = np.linalg.inv(matrix)
    # ndimage counts (row, column); the map is of (x, y).
    swapped = back[::-1, ::-1]
    offset = (back @ low)[::-1]
    shape = (int(high[1] - low[1]) + 1, int(high[0] - low[0]) + 1)
    drawn, seen = (
        affine_transform(layer, swapped, offset=offset, output_shape=shape, order=1, cval=0.0)
        for layer in (picture, mask)
    )
    return np.where(seen > 0.5, drawn, 0.0), (seen > 0.5).astype(np.float64), low


def _spectra(features: _Floats, mask: _Floats, shape: tuple[int, ...]) -> tuple[NDArray[np.complex128], ...]:
    return tuple(fft.rfft2(layer, shape) for layer in (features * mask, features**2 * mask, mask))


def _laid(
    drawn: _Floats, mask: _Floats, known: tuple[NDArray[np.complex128], ...], shape: tuple[int, ...]
) -> tuple[float, _Floats]:
    """Move a picture over the other; the best correlation and the (x, y) by which to move it there."""
    own = [np.conj(spectrum) for spectrum in _spectra(drawn, mask, shape)]
    product = fft.irfft2(known[0] * own[0], shape)
    theirs = fft.irfft2(known[1] * own[2], shape)
    ours = fft.irfft2(known[2] * own[1], shape)
    overlap = fft.irfft2(known[2] * own[2], shape)
    enough = _LEAST_OVERLAP * min(float(mask.sum()), float(known[2][0, 0].real))
    power = np.sqrt(np.maximum(theirs, 0) * np.maximum(ours, 0))
    agrees = np.where(overlap > max(enough, 16.0), np.abs(product) / np.maximum(power, 1e-9), 0.0)
    row, column = np.unravel_index(int(np.argmax(agrees)), agrees.shape)
    move = [
        float(at) + _vertex(line, int(at)) for at, line in ((column, agrees[row]), (row, agrees[:, column]))
    ]
    sides = (shape[1], shape[0])
    shift = np.array([at - side if at > side / 2 else at for at, side in zip(move, sides, strict=True)])
    return min(1.0, float(agrees[row, column])), shift


def _vertex(line: _Floats, at: int) -> float:
    """Tell by how much of a pixel the top of a parabola through three points lies beside the middle one."""
    before, here, after = (float(line[(at + step) % line.size]) for step in (-1, 0, 1))
    bend = before - 2 * here + after
    return 0.0 if bend >= 0 else float(np.clip(0.5 * (before - after) / bend, -0.5, 0.5))


def _fine(first: View, second: View, way: _Way) -> tuple[_Way, int, int]:
    """Make the map better by the shifts of blocks.

    Returns
    -------
    The map with the correlation of the pictures by it, how many blocks agree one by one and where the map
    lays them, and how many there are.
    """
    small = min(1.0, _FINE_SIDE / max(second.picture.shape))
    there = _resampled(second.picture, small)
    wanted, wanted_mask = _features(there, second.frame, 2.0)
    reach = 2.0 * second.px_per_mm * small  # in pixels: 2 mm, twice what the coarse map may be off
    agreeing = parts = 0
    for wide in (reach, 0.4 * reach):
        drawn, mask = _warped(first, way, there.shape, small)
        places, moves, parts = _block_shifts(drawn, mask, wanted, wanted_mask, max(3, round(wide)))
        near = _PART_MM * second.px_per_mm * small
        agreeing = 0
        if len(places) < 3:
            break
        middle = np.median(np.array(moves), axis=0)
        agreeing = int((np.hypot(*(np.array(moves) - middle).T) < near).sum())
        way = _moved(way, places, moves, small)
    drawn, mask = _warped(first, way, there.shape, small)
    both = (mask > 0) & (wanted_mask > 0)
    power = float(np.sqrt((drawn[both] ** 2).sum() * (wanted[both] ** 2).sum()))
    correlation = abs(float((drawn[both] * wanted[both]).sum())) / power if power > 0 else 0.0
    fine = _Way(way.matrix, way.offset, way.turn_deg, way.mirrored, correlation)
    return fine, agreeing, parts


def _warped(first: View, way: _Way, shape: tuple[int, ...], small: float) -> tuple[_Floats, _Floats]:
    """Draw the first picture's detail where the map lays it on the second made small."""
    matrix, offset = way.matrix * small, (way.offset + 0.5) * small - 0.5
    scale = float(np.sqrt(abs(np.linalg.det(matrix))))
    source = np.asarray(first.picture, dtype=np.float64)
    if scale < 1:
        source = gaussian_filter(source, 0.4 / scale)
    ground = np.zeros(source.shape)
    rows, columns = (first.frame or Box(0, 0, 1, 1)).pixels(*source.shape)
    ground[rows, columns] = 1.0
    back = np.linalg.inv(matrix)
    there = (-(back @ offset))[::-1]
    swapped = back[::-1, ::-1]
    drawn = affine_transform(source, swapped, offset=there, output_shape=shape, order=1, mode="nearest")
    seen = affine_transform(ground, swapped, offset=there, output_shape=shape, order=1, cval=0.0)
    detail, _ = _features(drawn, None, 2.0)
    mask = (gaussian_filter((seen > 0.99).astype(np.float64), 3.0) > 0.98).astype(np.float64)
    return detail * mask, mask


def _block_shifts(
    drawn: _Floats, mask: _Floats, wanted: _Floats, wanted_mask: _Floats, reach: int
) -> tuple[list[tuple[float, float]], list[tuple[float, float]], int]:
    """Find by how much each block of the drawn picture has to move.

    Returns
    -------
    Where the blocks lie that agree, and by what they move, both (x, y); how many blocks were looked at.
    """
    both = (mask > 0) & (wanted_mask > 0)
    live_rows, live_columns = np.flatnonzero(both.any(axis=1)), np.flatnonzero(both.any(axis=0))
    places: list[tuple[float, float]] = []
    moves: list[tuple[float, float]] = []
    parts = 0
    if live_rows.size < 40 or live_columns.size < 40:
        return places, moves, parts
    rows = np.linspace(live_rows[0], live_rows[-1] + 1, _BLOCKS + 1).astype(int)
    columns = np.linspace(live_columns[0], live_columns[-1] + 1, _BLOCKS + 1).astype(int)
    for top, bottom in pairwise(rows):
        for left, right in pairwise(columns):
            t, b = max(top, reach), min(bottom, drawn.shape[0] - reach)
            l, r = max(left, reach), min(right, drawn.shape[1] - reach)  # noqa: E741
            if b - t < 2 * reach or r - l < 2 * reach or both[t:b, l:r].mean() < 0.7:
                continue
            parts += 1
            found = _shift(drawn[t:b, l:r], wanted[t - reach : b + reach, l - reach : r + reach])
            if found is not None:
                places.append(((l + r - 1) / 2, (t + b - 1) / 2))
                moves.append((found[0] - reach, found[1] - reach))
    return places, moves, parts


def _shift(block: _Floats, ground: _Floats) -> tuple[float, float] | None:
    """Find a block in a larger ground: its (x, y) there; None where it agrees with no part of it."""
    shape = tuple(fft.next_fast_len(side, real=True) for side in ground.shape)
    own = np.conj(fft.rfft2(block, shape))
    ones = np.conj(fft.rfft2(np.ones(block.shape), shape))
    product = fft.irfft2(fft.rfft2(ground, shape) * own, shape)
    power = fft.irfft2(fft.rfft2(ground**2, shape) * ones, shape)
    h, w = (a - b + 1 for a, b in zip(ground.shape, block.shape, strict=True))
    agrees = np.abs(product[:h, :w]) / np.sqrt(np.maximum(power[:h, :w], 1e-9) * max((block**2).sum(), 1e-9))
    row, column = np.unravel_index(int(np.argmax(agrees)), agrees.shape)
    # A top at the rim of what was looked at is no top.
    if agrees[row, column] < _BLOCK_AGREES or not (0 < row < h - 1 and 0 < column < w - 1):
        return None
    return (
        float(column) + _vertex(agrees[row], int(column)),
        float(row) + _vertex(agrees[:, column], int(row)),
    )


def _moved(
    way: _Way, places: list[tuple[float, float]], moves: list[tuple[float, float]], small: float
) -> _Way:
    """Put the blocks' shifts into the map: by an affine fit where they are many, else by their median."""
    at, by = np.array(places), np.array(moves)
    ground = np.column_stack([at, np.ones(len(at))])
    change = np.vstack([np.zeros((2, 2)), np.median(by, axis=0)])
    good = np.ones(len(at), dtype=bool)
    for _ in range(3):
        residual = np.hypot(*(by - ground @ change).T)
        good = residual <= max(3 * float(np.median(residual)), 0.5)
        if good.sum() >= 8:
            change = np.linalg.lstsq(ground[good], by[good], rcond=None)[0]
        else:
            change = np.vstack([np.zeros((2, 2)), np.median(by[good], axis=0)])
    linear, shift = np.eye(2) + change[:2].T, change[2]
    # The change is of the second made small: p' = linear · p + shift, p = small · (q + ½) − ½.
    matrix = linear @ way.matrix
    moved = linear @ ((way.offset + 0.5) * small - 0.5) + shift
    return _Way(matrix, (moved + 0.5) / small - 0.5, way.turn_deg, way.mirrored, way.correlation)


def _in_fractions(
    way: _Way, first: tuple[int, ...], second: tuple[int, ...]
) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
    """Write a map of pixels, counted by their middles, as one of fractions of width and height."""
    (h1, w1), (h2, w2) = first, second
    size1, size2 = np.array([w1, h1], dtype=np.float64), np.array([w2, h2], dtype=np.float64)
    matrix = way.matrix * size1[None, :] / size2[:, None]
    offset = (way.offset + 0.5 - way.matrix @ np.full(2, 0.5)) / size2
    rows = [(float(row[0]), float(row[1]), float(end)) for row, end in zip(matrix, offset, strict=True)]
    return rows[0], rows[1]
