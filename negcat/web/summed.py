"""How a mean, its interval and a median are set."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from negcat.web.typesetting import fixed

__all__ = ["Summed", "duration", "number", "set_summary"]


@dataclass(frozen=True)
class Summed:
    """Several values in a few figures, empty where there is none.

    Parameters
    ----------
    count : of how many values.
    mean, median : in the values' unit.
    interval : the mean's 90 % interval, in words.
    reason : why there is no interval.
    """

    count: int
    mean: str
    interval: str
    median: str
    reason: str


def set_summary(summary: Mapping[str, Any], places: int = 2, *, signed: bool = True) -> Summed:
    """Set a summary as the work functions write it.

    Parameters
    ----------
    summary : ``count``, ``mean``, ``median``, ``low``, ``high``, ``reason``.
    places : decimals.
    signed : whether plus is written too.

    Examples
    --------
    >>> one = {"count": 3, "mean": -0.5, "median": -0.5, "low": -0.67, "high": 0.04, "reason": ""}
    >>> set_summary(one).mean, set_summary(one).interval
    ('−0.50', '−0.67 to +0.04')
    """
    low = fixed(summary["low"], places, signed=signed)
    return Summed(
        count=int(summary["count"]),
        mean=fixed(summary["mean"], places, signed=signed),
        interval=f"{low} to {fixed(summary['high'], places, signed=signed)}" if low else "",
        median=fixed(summary["median"], places, signed=signed),
        reason=str(summary["reason"]),
    )


def number(value: float | None) -> str:
    """Set a number without decimals that say nothing; nothing for None.

    Examples
    --------
    >>> number(195.0), number(0.12), number(1.08), number(None)
    ('195', '0.12', '1.08', '')
    """
    return "" if value is None else fixed(value, 6).rstrip("0").rstrip(".") or "0"


def duration(seconds: float) -> str:
    """Set a time in minutes and seconds as one counts it, in seconds below one minute.

    Examples
    --------
    >>> duration(2.5), duration(31.5), duration(433.5), duration(540)
    ('2.5 s', '32 s', '7 min 14 s', '9 min')
    """
    if seconds < 9.95:
        return f"{number(round(seconds, 1))} s"
    minutes, rest = divmod(round(seconds), 60)
    if not minutes:
        return f"{rest} s"
    return f"{minutes} min" + (f" {rest} s" if rest else "")
