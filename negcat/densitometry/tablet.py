"""Finding the steps of a tablet in a scan."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from numpy.typing import NDArray

from negcat.densitometry.boxes import Box
from negcat.errors import CalibrationError

__all__ = ["FoundSteps", "find_steps", "step_codes"]


@dataclass(frozen=True)
class FoundSteps:
    """A tablet's steps in a scan, lightest first.

    Parameters
    ----------
    codes : mean 16-bit code in the middle of each step, nan where the step was not seen.
    boxes : the middle of each step; None where it was not seen.
    missing : numbers of the steps not seen, 0 for the lightest.
    axis : whether the steps follow each other along ``x`` or ``y``.
    reversed : whether the lightest step lies at the right or bottom end.
    note : what the user should know, one or more sentences, may be empty.
    tilt_deg : how far the tablet lies askew, in degrees, clockwise positive.
    clipped : share of each step's pixels at 0 or full scale.
    """

    codes: tuple[float, ...]
    boxes: tuple[Box | None, ...]
    missing: tuple[int, ...]
    axis: Literal["x", "y"]
    reversed: bool
    note: str
    tilt_deg: float = 0.0
    clipped: tuple[float, ...] = ()


def find_steps(
    image: NDArray[Any],
    densities: Sequence[float],
    *,
    region: tuple[float, float, float, float] | None = None,
) -> FoundSteps:
    """Find the steps of a tablet. In the making: finds none."""
    raise CalibrationError("steps are not looked for yet")


def step_codes(
    image: NDArray[Any], boxes: Sequence[Box | None]
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return the mean code and clipped share in each box. In the making."""
    raise CalibrationError("steps are not looked for yet")
