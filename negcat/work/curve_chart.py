"""The plot of a film's characteristic curves: density against log10 H, with the zones marked."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from negcat.work.fit_chart import INK, RULE, SOFT, styled

__all__ = ["apart", "draw_curves"]

WIDTH, HEIGHT = 560, 400
LABEL_APART = 0.075
"""Density between two curves' names at their ends, lest they lie on each other."""

_NUMERALS = ("0", "I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX", "X")
_DASHES: tuple[list[int], ...] = ([1, 0], [7, 3], [2, 2], [9, 3, 2, 3], [4, 4], [12, 4])


def draw_curves(document: Mapping[str, Any]) -> Any | None:
    """Draw a film's curves, a panel for each developer and scale of exposure.

    Parameters
    ----------
    document : of :func:`negcat.work.curves.curves_json`.

    Returns
    -------
    The chart; None where no test has a curve.
    """
    import altair as alt

    panels = [
        panel
        for process in document["processes"]
        for absolute in (True, False)
        if (panel := _panel(process, absolute)) is not None
    ]
    if not panels:
        return None
    return styled(
        alt.vconcat(*panels, spacing=34),
        title=f"{document['film']}: characteristic curves",
        subtitle="Density against log10 H; circles are the readings of the tablet’s steps.",
    )


def _panel(process: Mapping[str, Any], absolute: bool) -> Any | None:
    import altair as alt

    tests = [test for test in process["tests"] if test["curve"] and test["absolute"] is absolute]
    if not tests:
        return None
    lines: list[dict[str, Any]] = []
    points: list[dict[str, Any]] = []
    labels: list[dict[str, Any]] = []
    for test in tests:
        name = _name(test)
        lines += [{"test": name, "x": at["log_h"], "y": at["density"]} for at in test["curve"]]
        points += [
            {"x": step["log_h"], "y": step["density"]}
            for step in test["steps"]
            if step["density"] is not None
        ]
        labels.append(
            {
                "text": name,
                "x": test["curve"][-1]["log_h"],
                "y": test["curve"][-1]["density"],
            }
        )
    for label, place in zip(labels, apart([float(one["y"]) for one in labels], LABEL_APART), strict=True):
        label["y"] = place
    left, right = min(one["x"] for one in lines), max(one["x"] for one in lines)
    top = 0.5 * math.ceil((max(one["y"] for one in (*lines, *points, *labels)) + 0.05) / 0.5)
    across, up = (
        alt.Scale(domain=[left - 0.1, right + 0.1], nice=False),
        alt.Scale(domain=[0, top], nice=False),
    )
    title = "log10 H, lux·s" if absolute else "log10 H, 0 under the tablet’s clearest step"
    x = alt.X("x:Q", scale=across, title=title, axis=alt.Axis(format=".1f", grid=False))
    y = alt.Y("y:Q", scale=up, title="density", axis=alt.Axis(format=".1f"))
    layers = [
        alt.Chart(_rows(lines))
        .mark_line(color=INK, strokeWidth=1.4)
        .encode(
            x=x,
            y=y,
            detail="test:N",
            strokeDash=alt.StrokeDash(
                "test:N",
                scale=alt.Scale(
                    domain=[_name(test) for test in tests],
                    range=[_DASHES[number % len(_DASHES)] for number in range(len(tests))],
                ),
                legend=None,
            ),
        ),
        alt.Chart(_rows(points))
        .mark_point(size=22, strokeWidth=1, stroke=INK, opacity=1)
        .encode(x="x:Q", y="y:Q"),
        alt.Chart(_rows(labels))
        .mark_text(align="left", dx=8, color=INK, fontSize=12)
        .encode(x="x:Q", y="y:Q", text="text:N"),
    ]
    zones = next((scale for scale in process["zones"] if scale["absolute"] is absolute), None)
    if zones is not None:
        marks = [
            {"x": place, "text": _NUMERALS[zone], "top": top}
            for zone, place in enumerate(zones["log_h"])
            if left - 0.1 <= place <= right + 0.1
        ]
        layers.insert(0, alt.Chart(_rows(marks)).mark_rule(color=RULE).encode(x=alt.X("x:Q", scale=across)))
        layers.append(
            alt.Chart(_rows(marks))
            .mark_text(baseline="bottom", dy=-4, color=SOFT, fontSize=12)
            .encode(x="x:Q", y="top:Q", text="text:N")
        )
    heading = " ".join(part for part in (process["developer"], process["dilution"]) if part)
    if zones is not None:
        heading += f" · zones {zones['by']}"
    return alt.layer(*layers).properties(
        width=WIDTH, height=HEIGHT, title=alt.TitleParams(heading, anchor="start", fontSize=14, offset=22)
    )


def _name(test: Mapping[str, Any]) -> str:
    minutes, rest = divmod(round(test["time_s"]), 60)
    return f"{test['test']} · {minutes}:{rest:02}"


def _rows(values: list[dict[str, Any]]) -> Any:
    """Hand rows to a chart."""
    import altair as alt

    return alt.Data(values=values)  # type: ignore[no-untyped-call]


def apart(places: Sequence[float], least: float) -> list[float]:
    """Move places apart until no two are nearer than they may be, keeping their order and their mean.

    Parameters
    ----------
    places : along a line.
    least : distance that must lie between neighbours.

    Examples
    --------
    >>> [round(place, 2) for place in apart([1.0, 1.02, 2.0], 0.1)]
    [0.96, 1.06, 2.0]
    """
    order = sorted(range(len(places)), key=lambda number: places[number])
    groups: list[list[int]] = []
    middles: list[float] = []
    for number in order:
        groups.append([number])
        middles.append(places[number])
        while (
            len(groups) > 1 and middles[-1] - middles[-2] < least * (len(groups[-1]) + len(groups[-2])) / 2.0
        ):
            joined = groups[-2] + groups[-1]
            groups[-2:] = [joined]
            middles[-2:] = [sum(places[one] for one in joined) / len(joined)]
    moved = list(places)
    for group, middle in zip(groups, middles, strict=True):
        for rank, number in enumerate(group):
            moved[number] = middle + least * (rank - (len(group) - 1) / 2.0)
    return moved
