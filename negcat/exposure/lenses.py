"""Lenses and their cells, and what they do to the light that the stop scale promises.

A convertible lens is several lenses in one shutter: the whole, and each of its cells alone, in front of the
diaphragm or behind it. The diaphragm is the same, so one engraved scale can't be right for all of them.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, NamedTuple, TypeAlias

from negcat.errors import QuantityError

__all__ = ["Cell", "Lens", "Mounted", "StopsLost", "bellows_stops", "pupil_stops"]

Mounted: TypeAlias = Literal["whole", "front", "behind"]

_MAY_HIDE = "up to half a stop may hide there"


@dataclass(frozen=True, slots=True)
class Cell:
    """One way of using a lens.

    Parameters
    ----------
    focal_mm : focal length in mm, more than 0.
    mounted : the ``whole`` lens, or a cell alone in ``front`` of the diaphragm or ``behind`` it.
    own_scale : a stop scale is engraved for this cell.
    cell_to_stop_mm : the cell's distance to the diaphragm in mm, 0 or more.
    pupil_ratio : diameter of the exit pupil over that of the entrance pupil; 1 where not known.
    scale_error_stops : what the scale is already known to be off by; +0.5 is half a stop more light than
        marked.

    Raises
    ------
    QuantityError
        Where a number is outside its range.
    """

    focal_mm: float
    mounted: Mounted | None = None
    own_scale: bool = True
    cell_to_stop_mm: float | None = None
    pupil_ratio: float | None = None
    scale_error_stops: float = 0.0

    def __post_init__(self) -> None:
        if not 0 < self.focal_mm < math.inf:
            raise QuantityError(f"the focal length {self.focal_mm:g} mm must be more than 0.")
        if self.cell_to_stop_mm is not None and not 0 <= self.cell_to_stop_mm < math.inf:
            raise QuantityError(
                f"the cell's distance to the stop, {self.cell_to_stop_mm:g} mm, can't be less than 0."
            )
        if self.pupil_ratio is not None and not 0 < self.pupil_ratio < math.inf:
            raise QuantityError(f"the pupil ratio {self.pupil_ratio:g} must be more than 0.")
        if not math.isfinite(self.scale_error_stops):
            raise QuantityError("the error of the stop scale must be a number of stops.")


@dataclass(frozen=True, slots=True)
class Lens:
    """A lens and the cells it may be used with.

    Parameters
    ----------
    name : the lens's name.
    cells : its cells by name; an ordinary lens has one.
    """

    name: str
    cells: Mapping[str, Cell]

    @property
    def whole(self) -> str | None:
        """The name of the whole lens among the cells: its only cell, or the one so mounted, or so named."""
        if len(self.cells) == 1:
            return next(iter(self.cells))
        return self._one_cell("whole")

    @property
    def front(self) -> str | None:
        """The name of the whole lens's front cell: the one so mounted, or else so named; None if unclear."""
        return self._one_cell("front")

    def _one_cell(self, place: Mounted) -> str | None:
        found = [name for name, cell in self.cells.items() if cell.mounted == place]
        if not found:
            found = [name for name in self.cells if name.casefold().lstrip().startswith(place)]
        return found[0] if len(found) == 1 else None


class StopsLost(NamedTuple):
    """Light lost or won on the way through the lens.

    Parameters
    ----------
    stops : losses negative; None where it can't be known.
    why : a sentence where something is missing or doubtful.
    """

    stops: float | None
    why: str | None = None


def bellows_stops(bellows_mm: float, focal_mm: float, pupil_ratio: float = 1.0) -> StopsLost:
    """Return the light lost by extending the bellows, −2·log2(1 + m/P), m = v/f − 1.

    Parameters
    ----------
    bellows_mm : extension v from lens to film in mm, more than 0.
    focal_mm : focal length f in mm, more than 0.
    pupil_ratio : P, exit over entrance pupil; with P = 1 the loss is −2·log2(v/f).

    Returns
    -------
    StopsLost; with a ``why`` where the bellows is shorter than the focal length, and without stops where it
    is so short that the formula has no meaning.

    Raises
    ------
    QuantityError
        Where a length or the ratio is not more than 0.

    Notes
    -----
    Ray, *Applied Photographic Optics*: effective f-number N·(1 + m/P).

    Examples
    --------
    >>> bellows_stops(600, 300)
    StopsLost(stops=-2.0, why=None)
    """
    if not (0 < bellows_mm < math.inf and 0 < focal_mm < math.inf and 0 < pupil_ratio < math.inf):
        raise QuantityError(
            f"a bellows of {bellows_mm:g} mm with {focal_mm:g} mm and a pupil ratio of {pupil_ratio:g} "
            "can't be: all three must be more than 0."
        )
    ratio = 1 + (bellows_mm / focal_mm - 1) / pupil_ratio
    if bellows_mm < focal_mm / 2 or ratio <= 0:
        return StopsLost(
            None,
            f"The bellows extension of {bellows_mm:g} mm is far too short for {focal_mm:g} mm: "
            "is it in millimetres, from lens to film?",
        )
    why = None
    if bellows_mm < 0.99 * focal_mm:
        why = (
            f"The bellows extension of {bellows_mm:g} mm is shorter than the focal length of {focal_mm:g} "
            "mm, which counts as a gain: was it measured from the lens to the film?"
        )
    return StopsLost(-2 * math.log2(ratio), why)


def pupil_stops(lens: Lens, cell: str, stop_scale: str | None = None) -> StopsLost:
    """Return the light lost or won because the stop was read from another cell's scale.

    Parameters
    ----------
    lens : the lens.
    cell : the cell in use.
    stop_scale : the cell whose scale the stop was read from; None is its own, or the whole lens's where it
        has none.

    Returns
    -------
    StopsLost, −2·log2(N/N_marked), 0 for its own scale.

    Notes
    -----
    Every scale marks the one diaphragm, so the true N follows through the bare diaphragm. Seen from in
    front the whole lens and a cell mounted in front show the pupil that the front cell forms; a cell behind
    shows the bare diaphragm, smaller by (f1 − s1)/f1, f1 the front cell's focal length and s1 its distance
    to the diaphragm. So N/N_marked is the ratio of the focal lengths, times f1/(f1 − s1) where the cell in
    use is behind, divided by it where the scale's cell is. Thin-lens pupils; Wall's *Dictionary of
    Photography* gives the same correction for the front lens. With s1 unknown it is left out, and ``why``
    says so.

    Examples
    --------
    >>> cells = {"whole": Cell(300, "whole"), "rear": Cell(500, "behind", own_scale=False),
    ...          "front": Cell(600, "front", cell_to_stop_mm=30)}
    >>> round(pupil_stops(Lens("Convertible", cells), "rear").stops, 3)
    -1.622
    """
    used = lens.cells[cell]
    scale_name = stop_scale
    if scale_name is None:
        if used.own_scale:
            return StopsLost(0.0)
        scale_name = lens.whole
        if scale_name is None:
            return StopsLost(
                None,
                f"The {cell} cell of {lens.name} has no scale of its own, and none of its cells is "
                f"recorded as "
                "mounted: whole, so the true stop is unknown.",
            )
    if scale_name == cell:
        return StopsLost(0.0)
    scale = lens.cells.get(scale_name)
    if scale is None:
        return StopsLost(
            None,
            f"{lens.name} has no cell {scale_name}, whose scale the stop was read from: the true "
            f"stop is unknown.",
        )
    ratio = used.focal_mm / scale.focal_mm
    places = ["whole" if name == lens.whole else lens.cells[name].mounted for name in (cell, scale_name)]
    why = None
    if None in places:
        unknown = cell if places[0] is None else scale_name
        why = f"Where the {unknown} cell of {lens.name} is mounted is not recorded: {_MAY_HIDE}."
    elif (places[0] == "behind") != (places[1] == "behind"):
        front = lens.cells[lens.front] if lens.front is not None else None
        if front is None or front.cell_to_stop_mm is None:
            why = (
                f"How far the front cell of {lens.name} stands from the diaphragm (cell_to_stop_mm) is not "
                f"recorded: {_MAY_HIDE}."
            )
        elif front.cell_to_stop_mm >= front.focal_mm:
            return StopsLost(
                None,
                f"The front cell of {lens.name} can't stand {front.cell_to_stop_mm:g} mm from the "
                f"diaphragm with a "
                f"focal length of {front.focal_mm:g} mm: the true stop is unknown.",
            )
        else:
            bare = front.focal_mm / (front.focal_mm - front.cell_to_stop_mm)
            ratio = ratio * bare if places[0] == "behind" else ratio / bare
    return StopsLost(-2 * math.log2(ratio), why)
