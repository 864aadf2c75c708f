"""The chart of what several groups of sheets scatter: a line a group, each sheet a point on it.

The drawing is worked out here in user units of an SVG; the template only writes it down. The labels stand
above the lines, so that a long name has room on a narrow screen too.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from negcat.web.curve import Ground, Tick
from negcat.web.typesetting import fixed

__all__ = ["Drawn", "Group", "Spread", "draw_spread"]

WIDTH, LEFT, RIGHT = 640.0, 16.0, 16.0
TOP, ROW, BOTTOM = 6.0, 58.0, 54.0
_LINE_AT, _LABEL_AT = 40.0, 18.0
_LONGEST_LABEL = 46


@dataclass(frozen=True)
class Group:
    """What is drawn on one line.

    Parameters
    ----------
    label : stands above it.
    values : of each sheet; each a point.
    mean : drawn as an upright stroke; None for none.
    low, high : ends of the bar: the mean's interval, or a single sheet's deviation; None for none.
    """

    label: str
    values: tuple[float, ...]
    mean: float | None = None
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class Drawn:
    """A line in user units."""

    label: str
    label_y: float
    y: float
    points: tuple[float, ...]
    mean: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, kw_only=True)
class Spread(Ground):
    """The whole drawing.

    Parameters
    ----------
    rows : the lines, from above.
    ticks : of the scale across; one of them is nought.
    zero : where nought is.
    axis : what the scale says, with its unit.
    title : what the chart shows.
    """

    rows: tuple[Drawn, ...]
    ticks: tuple[Tick, ...]
    zero: float
    axis: str
    title: str


def draw_spread(groups: Sequence[Group], *, title: str, axis: str, unit: str) -> Spread | None:
    """Draw groups under each other on one scale, which always holds nought.

    Parameters
    ----------
    groups : those without any value are left out.
    title : what the chart shows.
    axis : what stands at its scale.
    unit : of the values, for the summary.

    Returns
    -------
    Spread, or None where there is nothing to draw.
    """
    groups = [group for group in groups if group.values or group.mean is not None]
    if not groups:
        return None
    ends = [0.0]
    for group in groups:
        ends += [value for value in (*group.values, group.mean, group.low, group.high) if value is not None]
    step = _step(max(ends) - min(ends))
    first, last = math.floor(min(ends) / step), math.ceil(max(ends) / step)
    first, last = (first - 1, last + 1) if first == last else (first, last)

    def x_of(value: float) -> float:
        return round(LEFT + (value / step - first) / (last - first) * (WIDTH - LEFT - RIGHT), 1)

    def maybe(value: float | None) -> float | None:
        return None if value is None else x_of(value)

    bottom = TOP + ROW * len(groups) + 8.0
    return Spread(
        width=WIDTH,
        height=bottom + BOTTOM,
        left=LEFT,
        right=WIDTH - RIGHT,
        top=TOP,
        bottom=bottom,
        rows=tuple(
            Drawn(
                label=_short(group.label),
                label_y=TOP + ROW * place + _LABEL_AT,
                y=TOP + ROW * place + _LINE_AT,
                points=tuple(x_of(value) for value in group.values),
                mean=maybe(group.mean),
                low=maybe(group.low),
                high=maybe(group.high),
            )
            for place, group in enumerate(groups)
        ),
        ticks=tuple(
            Tick(x_of(step * count), fixed(step * count, 2 if step < 0.5 else 1, signed=True))
            for count in range(first, last + 1)
        ),
        zero=x_of(0.0),
        axis=axis,
        title=title,
        summary="; ".join(_words(group, unit) for group in groups) + ".",
    )


def _step(width: float) -> float:
    """Choose the distance of the ticks, so that there are at most eight of them."""
    step = 0.25
    while width / step > 7:
        step *= 2
    return step


def _short(label: str) -> str:
    return label if len(label) <= _LONGEST_LABEL else f"{label[: _LONGEST_LABEL - 1].rstrip()}…"


def _words(group: Group, unit: str) -> str:
    figure = group.mean if group.mean is not None else group.values[0]
    text = f"{group.label}: {fixed(figure, signed=True)} {unit}"
    if group.low is not None and group.high is not None:
        text += f", {fixed(group.low, signed=True)} to {fixed(group.high, signed=True)}"
    return text
