"""Base+fog: the clear, even strip along the film's edge that the holder's rails kept from the light."""

from dataclasses import dataclass
from typing import Any, Literal

from numpy.typing import NDArray

from negcat.densitometry.boxes import Box
from negcat.densitometry.profile import ScannerProfile

__all__ = ["NoRebate", "Rebate", "find_rebate"]


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
    """

    code: float
    density: float | None
    sd: float | None
    boxes: tuple[Box, ...]
    picture_frame: Box | None
    film_edge: Box | None
    tilt_deg: float
    edges: tuple[Literal["left", "right", "top", "bottom"], ...] = ()
    surround: Literal["glass", "mask"] | None = None
    code_sd: float = 0.0
    reason: str = ""


@dataclass(frozen=True)
class NoRebate:
    """No margin could be found, and why.

    Parameters
    ----------
    reason : a sentence.
    film_edge : the film inside the scan, where that much was found.
    surround : what lies outside the film, as in `Rebate`.
    tilt_deg : how far the film lies askew, in degrees, where its edges were found.
    """

    reason: str
    film_edge: Box | None = None
    surround: Literal["glass", "mask"] | None = None
    tilt_deg: float = 0.0


def find_rebate(
    image: NDArray[Any], px_per_mm: float, profile: ScannerProfile | None = None
) -> Rebate | NoRebate:
    """Find the film's clear margin. In the making: says that there is none."""
    return NoRebate("the margin is not looked for yet")
