"""What is wrong with a scan, as far as its codes tell."""

from dataclasses import dataclass
from typing import Any

from numpy.typing import NDArray

from negcat.densitometry.rebate import NoRebate, Rebate

__all__ = ["Condition", "assess"]


@dataclass(frozen=True)
class Condition:
    """A scan's condition.

    Parameters
    ----------
    positive : whether the scan is a positive (inverted); None where it can't be told.
    stretched : whether its levels were stretched over the whole scale, as automatic levels do.
    clipped_low : share of the picture's pixels at zero, 0 to 1.
    clipped_high : share of the picture's pixels at full scale, 0 to 1.
    notes : sentences for the user.
    """

    positive: bool | None
    stretched: bool
    clipped_low: float
    clipped_high: float
    notes: tuple[str, ...]


def assess(image: NDArray[Any], rebate: Rebate | NoRebate) -> Condition:
    """Say what is wrong with a scan. In the making: finds nothing wrong."""
    return Condition(None, False, 0.0, 0.0, ())
