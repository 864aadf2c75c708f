"""Base+fog: the clear, even strip along the film's edge that the holder's rails kept from the light.

On every side of the scan straight edges are looked for, and between two of them (or the scan's own edge and
one) a strip of a rebate's width. Such a strip is the film's margin if it is even along its whole length, gets
darker on its inner side, is clearer than nearly all of the picture, and if what lies outside it is open
glass, a black mask or nothing. The sides must agree: a film has one base. A thin sky fails by its depth, its
ragged inner side or its shade; open glass fails because a margin lies inside it, or by its density.
"""

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from negcat.densitometry.boxes import Box, reduced
from negcat.densitometry.edges import SIDES, Line, SideName, SideView, side_view, straight_edges
from negcat.densitometry.profile import FULL_SCALE, ScannerProfile
from negcat.errors import QuantityError

__all__ = ["NoRebate", "Rebate", "find_rebate"]

_Floats = NDArray[np.float64]
_Levels = NDArray[np.float32]
Surround = Literal["glass", "mask"]

_MOST_PIXELS = 1000  # a side of the image in which edges are looked for
_NARROWEST_MM, _WIDEST_MM = 1.3, 9.5
_CLEAREST_BASE, _DENSEST_BASE = 0.03, 0.6
_EVEN = 0.012  # in log10 code: what one film's margin may differ by along it
_DARKER = 0.004  # in log10 code: the least by which the picture must be darker than the margin
_GLASS_STEP = 0.006  # in log10 code: the least by which open glass is brighter than a film base
_MASK_STEP = 0.12
_AS_DARK = 0.02
_FLOOR = 100.0  # codes added before the logarithm, lest a black mask's noise look like a host of edges
_BELOW_ALL = 0.15  # in log10 code
_CUT_MM = 1.2  # the film's cut edge may look dark this far
_LEVEL = 0.008  # in log10 code: the most by which a margin's outer half may differ from its inner half
_SAME_BASE = 0.02
_BRIGHTEST = 0.985 * FULL_SCALE
_SQUARE = 0.011  # tangent of 0.6°: a holder's rails are square to each other, and the film has little play
_ALONG = 0.008  # tangent of 0.45°: a film's play in its holder, 0.8 mm in 100
_SAME_ALONG = 0.005  # in log10 code: a base is the same from end to end
_CLEARER = 0.012  # in log10 code: by how much a margin that stands alone must be clearer than the picture


@dataclass(frozen=True)
class Rebate:
    """The film's clear margin, found.

    Parameters
    ----------
    code : mean 16-bit code of the margin.
    density : base+fog through the profile; None without one, or outside its range.
    sd : one standard deviation of `density`.
    boxes : the pieces of the margin that were measured.
    picture_frame : the picture inside the margins.
    film_edge : the film inside the scan; None where the scan was cropped inside the film.
    tilt_deg : how far the film lies askew, in degrees, clockwise positive.
    edges : the film's edges along which the margin was found.
    surround : what lies outside the film: open ``glass``, a black ``mask``, or None where nothing does.
    code_sd : one standard deviation of `code`.
    reason : why `density` is None, else empty.
    outside_code : mean code just outside the film, of the brightest open glass or of the mask; None where
        nothing is seen outside.
    """

    code: float
    density: float | None
    sd: float | None
    boxes: tuple[Box, ...]
    picture_frame: Box | None
    film_edge: Box | None
    tilt_deg: float
    edges: tuple[SideName, ...] = ()
    surround: Surround | None = None
    code_sd: float = 0.0
    reason: str = ""
    outside_code: float | None = None


@dataclass(frozen=True)
class NoRebate:
    """No margin could be found, and why.

    Parameters
    ----------
    reason : a sentence.
    positive : whether the margin's place shows that the scan is a positive; None where it can't be told.
    """

    reason: str
    positive: bool | None = None


@dataclass(frozen=True)
class _Strip:
    """An even strip along one side, between an outer and an inner edge."""

    side: SideName
    outer: Line
    inner: Line
    level: float
    outside: float | None  # level beyond the outer edge; None at the scan's own edge
    inside: float  # level just within the picture
    good: NDArray[np.bool_]
    kind: Surround | None
    even: float
    trend: float  # by how much its level changes from one end to the other

    @property
    def support(self) -> float:
        return float(self.good.mean())


@dataclass(frozen=True)
class _Scene:
    """The reduced scan and what was seen on its sides."""

    levels: _Levels
    px_per_mm: float
    views: dict[SideName, SideView]
    lines: dict[SideName, list[Line]]
    brightest: float  # of the middle of the scan, log10 code
    darkest: float


def find_rebate(
    image: NDArray[Any], px_per_mm: float, profile: ScannerProfile | None = None
) -> Rebate | NoRebate:
    """Find the film's clear margin and measure base+fog in it.

    Parameters
    ----------
    image : array (h, w), 16-bit-scaled codes of one channel of the whole scan, reduced or not; 16 px a side
    or
        more.
    px_per_mm : pixels of `image` a millimetre, above 0; 3 or more serve.
    profile : of that channel; without it only the code and the places are found.

    Returns
    -------
    The margin, or why there is none. A margin is never taken from a thin sky or from open glass.

    Raises
    ------
    QuantityError
        An image that is not two-dimensional, a scale that is not above 0.
    """
    if image.ndim != 2:
        raise QuantityError(
            f"a margin is looked for in one channel, height by width, not in {image.ndim} dimensions"
        )
    if not px_per_mm > 0:
        raise QuantityError(f"a scan's scale must be above 0 pixels a millimetre, not {px_per_mm}")
    if min(image.shape) / px_per_mm < 15 or min(image.shape) < 60:
        return NoRebate("the scan is too small to tell a margin from the picture")
    small, factor = reduced(image, _MOST_PIXELS)
    scene = _scene(_levels_of(small), px_per_mm / factor)
    chosen = _choose(scene, profile)
    if isinstance(chosen, NoRebate) or all(strip.outside is None for strip in chosen):
        # No margin between two edges: perhaps there is one in the scan's negative.
        turned = FULL_SCALE + 1.0 - small
        other = _choose(_scene(_levels_of(turned), scene.px_per_mm), None)
        if not isinstance(other, NoRebate) and sum(strip.outside is not None for strip in other) >= 2:
            return NoRebate(
                "the film's margin is the darkest part of the scan, not the clearest: this is a positive",
                True,
            )
    if isinstance(chosen, NoRebate):
        return chosen
    return _measured(image, scene, chosen, profile)


def _levels_of(codes: _Levels) -> _Levels:
    return np.asarray(np.log10(np.maximum(codes, 0.0) + _FLOOR), dtype=np.float32)


def _code_of(level: float) -> float:
    return float(10.0**level) - _FLOOR


def _scene(levels: _Levels, px_per_mm: float) -> _Scene:
    height, width = levels.shape
    rows, columns = _lively(levels), _lively(levels.T)
    inner = levels[
        rows[0] + (rows[1] - rows[0]) // 6 : rows[1] - (rows[1] - rows[0]) // 6,
        columns[0] + (columns[1] - columns[0]) // 6 : columns[1] - (columns[1] - columns[0]) // 6,
    ]
    h, w = (size // 3 * 3 for size in inner.shape)
    calm = inner[:h, :w].reshape(h // 3, 3, w // 3, 3).mean(axis=(1, 3))
    darkest, brightest = np.percentile(calm, [1.0, 99.0])
    # What is far darker than the whole picture is mask, and its noise would look like a host of edges.
    levels = np.maximum(levels, np.float32(darkest - _BELOW_ALL))
    segment = max(2, round(1.2 * px_per_mm))
    blur = max(0.8, 0.12 * px_per_mm)
    views: dict[SideName, SideView] = {}
    lines: dict[SideName, list[Line]] = {}
    for side in SIDES:
        across, size = (rows, width) if side in ("left", "right") else (columns, height)
        start, stop = across
        spare = int(0.06 * (stop - start))
        # The lively part of the other axis tells how far in this side's film may begin.
        begins, ends = columns if side in ("left", "right") else rows
        outside = begins if side in ("left", "top") else size - ends
        depth = min(int(0.45 * size), outside + int(2.2 * _WIDEST_MM * px_per_mm))
        views[side] = side_view(levels, side, (start + spare, stop - spare), segment, max(depth, 8))
        lines[side] = straight_edges(views[side], blur, max(3.0, 0.7 * px_per_mm))
    return _Scene(levels, px_per_mm, views, lines, float(brightest), float(darkest))


def _lively(levels: _Levels) -> tuple[int, int]:
    """Return the first and last row that is not the same all along: where film and surround both are."""
    sample = np.sort(levels[:, :: max(1, levels.shape[1] // 160)], axis=1)
    count = sample.shape[1]
    spread = sample[:, int(0.92 * (count - 1))] - sample[:, int(0.08 * (count - 1))]
    live = np.flatnonzero(spread > 0.03)
    if live.size < levels.shape[0] // 4:
        return 0, levels.shape[0]
    # A speck of dust makes a row lively too: ends are where a hundredth of all lively rows has begun.
    skip = live.size // 100
    return int(live[skip]), int(live[-1 - skip]) + 1


def _strips(scene: _Scene, side: SideName) -> list[_Strip]:
    """Return all strips of a margin's width, evenness and shade along one side."""
    view, scale = scene.views[side], scene.px_per_mm
    edge = Line(0.0, 0.0, view.length / 2.0, 0)
    found = []
    ends = np.array([view.along[0], view.along[-1]])
    for outer in (edge, *scene.lines[side]):
        for inner in scene.lines[side]:
            width = (inner.u(ends) - outer.u(ends)) / scale
            if inner.sign >= 0 or width.min() < _NARROWEST_MM or width.max() > _WIDEST_MM:
                continue
            strip = _strip(scene, view, outer, inner)
            if strip is not None:
                found.append(strip)
    return found


def _strip(scene: _Scene, view: SideView, outer: Line, inner: Line) -> _Strip | None:
    scale = scene.px_per_mm
    start, stop = outer.u(view.along), inner.u(view.along)
    spare = _spare(float(np.median(stop - start)), scale)
    begin, end = start + (spare if outer.sign else 0.5), stop - spare
    level = view.mean(begin, end)
    centre = (begin + end) / 2
    first, second = view.mean(begin, centre), view.mean(centre, end)
    seen = np.isfinite(level)
    if seen.mean() < 0.7:
        return None
    middle = float(np.median(level[seen]))
    # The clear part of a margin is what counts; a notch, a clip, dust or a light leak spoils some of it.
    good = seen & (np.abs(level - middle) < _EVEN)
    good &= ~(np.abs(first - second) > 2 * _EVEN)
    if good.mean() < 0.6:
        return None
    even = 1.4826 * float(np.median(np.abs(level[good] - middle)))
    trend = abs(float(np.polyfit(view.along[good], level[good], 1)[0])) * float(np.ptp(view.along[good]))
    beyond = view.mean(stop + spare * 0.8, stop + spare * 0.8 + max(2.0, 0.8 * scale))
    darker = middle - beyond[good & np.isfinite(beyond)]
    if darker.size == 0 or np.median(darker) < _DARKER or np.mean(darker > _DARKER / 2) < 0.7:
        return None
    if middle < scene.brightest - 0.01 or _code_of(middle) >= _BRIGHTEST:
        return None
    kind: Surround | None = None
    outside = None
    if outer.sign:
        before = view.mean(start - spare - max(2.0, 0.8 * scale), start - spare)
        before = before[good & np.isfinite(before)]
        if before.size < 0.3 * good.sum():
            return None
        outside = float(np.median(before))
        if outer.sign < 0 and outside - middle > _GLASS_STEP:
            # A sheet that curls off the glass throws a soft shadow beside itself, as wide as a margin.
            if np.median(np.abs(first - second)[good]) > _LEVEL:
                return None
            kind = "glass"
        elif outer.sign > 0 and middle - outside > _MASK_STEP and outside < scene.darkest + _AS_DARK:
            # A mask lets nothing through: what is lighter than the picture's densest part is picture.
            kind = "mask"
        elif outer.sign > 0:
            # The cut edge scatters and may stand as a dark line between margin and glass.
            far = start - spare - _CUT_MM * scale
            before = view.mean(far - max(2.0, 0.8 * scale), far)
            before = before[good & np.isfinite(before)]
            if before.size < 0.3 * good.sum() or np.median(before) - middle < _GLASS_STEP:
                return None
            kind, outside = "glass", float(np.median(before))
        else:
            return None
    return _Strip(
        view.name, outer, inner, middle, outside, middle - float(np.median(darker)), good, kind, even, trend
    )


def _spare(width: float, scale: float) -> float:
    """Return how far to keep from a strip's edges, in pixels: blur of the lens and of the rail's shadow."""
    return min(max(0.45 * scale, 1.5), 0.3 * width)


def _choose(scene: _Scene, profile: ScannerProfile | None) -> list[_Strip] | NoRebate:
    """Return the strips, at most one a side, that are the film's margin."""
    strips = [strip for side in SIDES for strip in _strips(scene, side)]
    if not strips:
        return NoRebate(
            "no clear, even strip runs along any edge of the film: it was cropped away or lies under the mask"
        )
    possible = [strip for strip in strips if _may_be_base(strip.level, profile)]
    if not possible:
        return NoRebate(
            "the only even strips along the edges are open glass or an even part of the picture, not the "
            "film's margin"
        )
    glass = [strip.outside for strip in possible if strip.kind == "glass" and strip.outside is not None]
    if glass:
        # What is as bright as the glass seen beside a margin is glass itself.
        brightest = float(np.median(glass))
        bare = [s for s in possible if s.outside is None]
        sides_bare = {s.side for s in bare} - {s.side for s in possible if s.kind == "glass"}
        # Round a corner only a margin runs, so that what lies outside it is glass whatever a profile says.
        cornered = _round_a_corner({s.side for s in possible if s.kind == "glass"})
        told = (
            profile is not None
            and not cornered
            and np.isfinite(profile.density(_code_of(brightest)))
            and _may_be_base(brightest, profile)
        )
        if told or len(sides_bare) > len({s.side for s in possible if s.kind == "glass"}):
            possible = [s for s in possible if s.kind != "glass"]
        else:
            possible = [s for s in possible if s.level < brightest - _GLASS_STEP]
    best: list[_Strip] = []
    for level in sorted({strip.level for strip in possible}, reverse=True):
        group: dict[SideName, _Strip] = {}
        for strip in possible:
            if abs(strip.level - level) <= _SAME_BASE / 2:
                rival = group.get(strip.side)
                if rival is None or _rank(strip) > _rank(rival):
                    group[strip.side] = strip
        group = _squared(group)
        # Nothing on a film is clearer than its base: a darker group must have far more of the edges to win.
        if sum(map(_rank, group.values())) > 1.5 * sum(map(_rank, best)):
            best = list(group.values())
    if not best:
        return NoRebate("what looks like a margin is as bright as the open glass beside the film")
    if not _borne_out(best) and all(strip.outside is None for strip in best):
        return NoRebate(
            "one edge of the scan, or two opposite ones, are clear and even, but nothing tells that from a thin "
            "sky or a dark post: the film's edge is not in the scan"
        )
    if not _borne_out(best) and best[0].level < scene.brightest + _CLEARER:
        return NoRebate(
            "an even strip runs along one edge or two opposite ones, but parts of the picture are as clear: "
            "nothing tells it from one of them"
        )
    return best


def _borne_out(strips: list[_Strip]) -> bool:
    """Return whether strips bear each other out: round a corner, or along the film's own cut edge.

    A post or a sky in the picture may be straight and even; two square to each other, or one that runs with
    the edge of the film, are the holder's rails.
    """
    sides = {strip.side for strip in strips}
    if _round_a_corner(sides):
        return True
    return any(
        strip.kind == "glass"
        and abs(strip.outer.slope - strip.inner.slope) < _ALONG
        and strip.trend < _SAME_ALONG
        for strip in strips
    )


def _round_a_corner(sides: set[SideName]) -> bool:
    return bool(sides & {"left", "right"} and sides & {"top", "bottom"})


def _leaning(strip: _Strip) -> float:
    """Return the tangent of the tilt that a strip's inner edge gives the picture, clockwise positive."""
    return strip.inner.slope * (-1 if strip.side in ("left", "bottom") else 1)


def _squared(group: dict[SideName, _Strip]) -> dict[SideName, _Strip]:
    """Return the strips of a group that are square to each other: the best set with one tilt."""
    sets = [
        {side: other for side, other in group.items() if abs(_leaning(other) - _leaning(one)) < _SQUARE}
        for one in group.values()
    ]
    return max(sets, key=lambda kept: sum(map(_rank, kept.values())), default={})


def _rank(strip: _Strip) -> float:
    return strip.support + (0.5 if strip.kind else 0.0) - 10.0 * strip.even


def _may_be_base(level: float, profile: ScannerProfile | None) -> bool:
    if profile is None:
        return True
    code = max(_code_of(level), 1.0)
    density = float(profile.density(code))
    if not np.isfinite(density):
        # Just beyond the clear end a base may still lie, measured or not; well beyond it is the glass.
        light = float(profile.transmittance(code))
        density = -float(np.log10(max(light, 1e-6)))
    return _CLEAREST_BASE <= density <= _DENSEST_BASE


def _measured(
    image: NDArray[Any], scene: _Scene, strips: list[_Strip], profile: ScannerProfile | None
) -> Rebate:
    pieces = [piece for strip in strips for piece in _pieces(strip, scene)]
    codes = np.array([_piece_code(image, box) for box in pieces])
    logs = np.log10(np.maximum(codes, 1.0))
    middle = float(np.median(logs))
    spread = 1.4826 * float(np.median(np.abs(logs - middle)))
    kept = np.abs(logs - middle) <= max(3.0 * spread, 0.003)
    boxes = tuple(box for box, keep in zip(pieces, kept, strict=True) if keep)
    code = float(codes[kept].mean())
    # Pieces of one side share whatever tilts that side (flare, drying), so sides count, not pieces alone.
    count = max(float(kept.sum()) / 3.0, 1.0)
    code_sd = float(codes[kept].std()) / np.sqrt(count)
    density = sd = None
    reason = ""
    if profile is not None:
        through = float(profile.density(code))
        if np.isfinite(through):
            density = through
            # A lamp or a lens that lights the bed unevenly shows along the margin; what it does to the
            # margin's mean, or between margin and picture, is of the same size and doesn't average out.
            uneven = float(np.std(logs[kept]))
            step = max(float(np.log10((code + code_sd) / code)), uneven) * _gradient(profile, code)
            sd = float(np.hypot(step, float(profile.sd(through))))
        else:
            reason = (
                f"the margin is clearer than {profile.density_range[0]:.2f}, where the scanner's profile "
                "begins: "
                "calibrate with a tablet whose first step is clearer"
            )
    by_side = {strip.side: strip for strip in strips}
    outlines = {side: _outline(scene, side, by_side.get(side)) for side in SIDES}
    kinds = [strip.kind for strip in strips if strip.kind]
    surround = _commonest(kinds)
    beyond = [_outside_code(image, scene, strip) for strip in strips if strip.kind == surround and surround]
    seen = [code for code in beyond if code is not None]
    tilts = [
        float(np.degrees(np.arctan(strip.inner.slope))) * (-1 if strip.side in ("left", "bottom") else 1)
        for strip in strips
    ]
    whole = all(strip.outside is not None for strip in strips)
    return Rebate(
        code=code,
        density=density,
        sd=sd,
        boxes=boxes,
        picture_frame=_box(scene, {side: pair[1] for side, pair in outlines.items()}),
        film_edge=_box(scene, {side: pair[0] for side, pair in outlines.items()}) if whole else None,
        tilt_deg=float(np.median(tilts)),
        edges=tuple(side for side in SIDES if side in by_side),
        surround=surround,
        code_sd=float(code_sd),
        reason=reason,
        outside_code=(max(seen) if surround == "glass" else min(seen)) if seen else None,
    )


def _outside_code(image: NDArray[Any], scene: _Scene, strip: _Strip) -> float | None:
    """Return the code of what lies outside the film along a strip, 2 to 4 mm off or as far as is seen."""
    view, scale = scene.views[strip.side], scene.px_per_mm
    at = strip.outer.u(view.along)
    last = float(at.min()) - max(_CUT_MM * scale, 2.0)
    first = max(last - 2.0 * scale, 0.0)
    if last - first < 2.0:
        return None
    box = _turned(strip.side, first, last, float(view.along[0]), float(view.along[-1]), *scene.levels.shape)
    return _piece_code(image, box)


def _commonest(kinds: list[Surround]) -> Surround | None:
    if not kinds:
        return None
    return "glass" if kinds.count("glass") >= kinds.count("mask") else "mask"


def _gradient(profile: ScannerProfile, code: float) -> float:
    near = profile.density([code * 0.998, code * 1.002])
    if not np.all(np.isfinite(near)):
        return float(np.ptp(profile.density_range) / np.ptp(profile.log_codes))
    return abs(float(near[0] - near[1])) / float(np.log10(1.002 / 0.998))


def _outline(scene: _Scene, side: SideName, strip: _Strip | None) -> tuple[float, float]:
    """Return how far inward the film and its picture begin on a side, in pixels."""
    if strip is not None:
        return strip.outer.at, strip.inner.at
    # No margin here: the film begins at the strongest edge, if one stands out, else at the scan's own.
    strong = [line for line in scene.lines[side] if line.agreed > 0.8 and line.score > 40]
    at = strong[0].at if strong else 0.0
    return at, at


def _box(scene: _Scene, inward: dict[SideName, float]) -> Box:
    height, width = scene.levels.shape
    return Box(
        inward["left"] / width,
        inward["top"] / height,
        1.0 - inward["right"] / width,
        1.0 - inward["bottom"] / height,
    )


def _pieces(strip: _Strip, scene: _Scene) -> list[Box]:
    """Return upright boxes inside a strip, where it is good, as fractions of the scan."""
    view, scale = scene.views[strip.side], scene.px_per_mm
    height, width = scene.levels.shape
    longest = max(int(6.0 * scale), 3 * view.segment)
    per = max(1, longest // view.segment)
    boxes = []
    for first in range(0, view.along.size - per + 1, per):
        chosen = slice(first, first + per)
        if not strip.good[chosen].all():
            continue
        v0 = view.along[first] - view.segment / 2
        v1 = view.along[first + per - 1] + view.segment / 2
        ends = np.array([v0, v1])
        outer, inner = strip.outer.u(ends), strip.inner.u(ends)
        spare = _spare(float((inner - outer).mean()), scale)
        u0 = float(outer.max()) + (spare if strip.outer.sign else 0.5)
        u1 = float(inner.min()) - spare
        if u1 - u0 < 1.0:
            u0, u1 = float((outer + inner).mean()) / 2 - 0.5, float((outer + inner).mean()) / 2 + 0.5
        boxes.append(_turned(strip.side, u0, u1, v0, v1, height, width))
    return boxes or [_whole(strip, scene)]


def _whole(strip: _Strip, scene: _Scene) -> Box:
    view = scene.views[strip.side]
    good = view.along[strip.good]
    middle = float(np.median(good))
    u0, u1 = float(strip.outer.u(np.array(middle))), float(strip.inner.u(np.array(middle)))
    spare = _spare(u1 - u0, scene.px_per_mm)
    half = view.segment / 2
    return _turned(strip.side, u0 + spare, u1 - spare, middle - half, middle + half, *scene.levels.shape)


def _turned(side: SideName, u0: float, u1: float, v0: float, v1: float, height: int, width: int) -> Box:
    if side == "left":
        return Box(u0 / width, v0 / height, u1 / width, v1 / height)
    if side == "right":
        return Box(1 - u1 / width, v0 / height, 1 - u0 / width, v1 / height)
    if side == "top":
        return Box(v0 / width, u0 / height, v1 / width, u1 / height)
    return Box(v0 / width, 1 - u1 / height, v1 / width, 1 - u0 / height)


def _piece_code(image: NDArray[Any], box: Box) -> float:
    """Return the mean code in a box, specks of dust left out."""
    rows, columns = box.pixels(*image.shape)
    part = image[rows, columns].astype(np.float64).ravel()
    middle = float(np.median(part))
    spread = 1.4826 * float(np.median(np.abs(part - middle)))
    kept = part[np.abs(part - middle) <= max(5.0 * spread, 0.02 * middle)]
    return float(kept.mean()) if kept.size else middle
