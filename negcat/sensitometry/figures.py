"""A figure and how well it is known."""

from dataclasses import dataclass

__all__ = ["Figure"]


@dataclass(frozen=True, slots=True)
class Figure:
    """A quantity with its standard deviation, or why it can't be had.

    Parameters
    ----------
    value : the quantity; None where it can't be had.
    sd : one standard deviation; None where there is none.
    note : without a value, why; with one, what must be known about it, may be empty.
    at_least : the value is a lower bound.
    """

    value: float | None
    sd: float | None
    note: str = ""
    at_least: bool = False
