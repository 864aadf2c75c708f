"""The plot of a scanner's profile: density against code with the steps, and what the fit leaves over."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from io import BytesIO, StringIO
from pathlib import Path
from typing import Any

import numpy as np

from negcat.densitometry import ScannerProfile
from negcat.errors import CalibrationError
from negcat.whole_files import written_whole

__all__ = ["INK", "PLOT_SUFFIXES", "RULE", "SOFT", "draw_fit", "styled", "write_plot"]

PLOT_SUFFIXES = (".svg", ".png")
"""What a plot may be written as, by the ending of its name."""

INK, SOFT, RULE, TINT = "#1c1c1a", "#6b6862", "#d9d6cf", "rgba(40, 36, 24, 0.07)"
WIDTH, HEIGHT, LEFTOVER_HEIGHT = 520, 380, 130
PNG_SCALE = 2.0
CURVE_POINTS = 240
EDGE_DECADES = 0.12
KEY = (
    "Above: the steps that the fit rests on (filled) and those it leaves out (open); tinted, the codes it reaches.",
    "Below: fitted less known density (filled), the same from a fit without that step (open); tinted, ± 1 sd.",
)


def draw_fit(profiles: Mapping[str, ScannerProfile], *, title: str, subtitle: str) -> Any:
    """Draw a fit, a column a channel.

    Parameters
    ----------
    profiles : channel → profile.
    title, subtitle : what stands above.

    Returns
    -------
    The chart: above density against log10 of the 16-bit code, filled circles the steps that the profile rests
    on, open ones those that it leaves out, tinted the codes it reaches; below, with its own scale, fitted
    minus known density of every step, and the same from a fit that doesn't know that step.
    """
    # Some 0.7 s to import, and only charts need it.
    import altair as alt

    columns = [
        _column(profile, channel if len(profiles) > 1 else None, first=number == 0)
        for number, (channel, profile) in enumerate(profiles.items())
    ]
    chart = columns[0] if len(columns) == 1 else alt.hconcat(*columns, spacing=36)
    return styled(chart, title=title, subtitle=subtitle, key=KEY)


def styled(chart: Any, *, title: str, subtitle: str, key: Sequence[str] = ()) -> Any:
    """Give a chart the house's look: neutral inks, a title above.

    Parameters
    ----------
    chart : with its panels.
    title, subtitle, key : what stands above.
    """
    # Some 0.7 s to import, and only charts need it.
    import altair as alt

    return (
        chart.properties(
            title=alt.TitleParams(
                title, subtitle=[subtitle, *key], anchor="start", fontSize=17, subtitleFontSize=13, offset=14
            ),
            padding=18,
            background="white",
        )
        .configure(font="Liberation Sans, Arial, sans-serif")
        .configure_axis(
            domainColor=INK,
            tickColor=INK,
            gridColor=RULE,
            gridOpacity=0.6,
            labelColor=INK,
            titleColor=INK,
            labelFontSize=12,
            titleFontSize=13,
            titleFontWeight="normal",
            titlePadding=8,
        )
        .configure_title(color=INK, subtitleColor=SOFT, fontWeight="normal")
        .configure_view(stroke=None)
    )


def _column(profile: ScannerProfile, channel: str | None, *, first: bool) -> Any:
    """Draw one channel: the curve above, what it leaves over below."""
    import altair as alt

    low, high = profile.log_codes[0], profile.log_codes[-1]
    logs = np.linspace(low, high, CURVE_POINTS)
    curve = [
        {"log_code": float(log), "density": float(density)}
        for log, density in zip(logs, profile.density(10.0**logs), strict=True)
        if math.isfinite(density)
    ]
    steps: list[dict[str, Any]] = [
        {
            "step": number,
            "log_code": math.log10(step.code),
            "density": step.density,
            "kind": "step" if step.used else "step left out",
        }
        for number, step in enumerate(profile.steps, start=1)
        if step.code > 0
    ]
    left = min([low, *(step["log_code"] for step in steps)]) - EDGE_DECADES
    right = max([high, *(step["log_code"] for step in steps)]) + EDGE_DECADES
    across = alt.Scale(domain=[left, right], nice=False, zero=False)
    deepest = max(step.density for step in profile.steps)
    up = alt.Scale(domain=[0, 0.25 * math.ceil((deepest + 0.05) / 0.25)], nice=False)

    reach = [{"from": low, "to": high, "text": _reach(profile)}]
    tint = alt.Chart(_rows(reach)).mark_rect(color=TINT)
    tinted = tint.encode(x=alt.X("from:Q", scale=across), x2="to:Q")
    x = alt.X("log_code:Q", scale=across, title=None, axis=alt.Axis(labels=False, values=_ticks(left, right)))
    line = (
        alt.Chart(_rows(curve))
        .mark_line(color=INK, strokeWidth=1.3)
        .encode(x=x, y=alt.Y("density:Q", scale=up))
    )
    points = (
        alt.Chart(_rows(steps))
        .mark_point(size=46, strokeWidth=1.3, stroke=INK, opacity=1)
        .encode(
            x=x,
            y=alt.Y(
                "density:Q",
                scale=up,
                title="transmission density" if first else None,
                axis=alt.Axis(format=".1f", tickCount=7),
            ),
            fill=alt.Fill(
                "kind:N",
                scale=alt.Scale(domain=["step", "step left out"], range=[INK, "white"]),
                legend=None,
            ),
        )
    )
    said = (
        alt.Chart(_rows(reach))
        .mark_text(align="left", baseline="top", dx=7, dy=7, color=SOFT, fontSize=12)
        .encode(x=alt.X("from:Q", scale=across), y=alt.value(HEIGHT - 26), text="text:N")
    )
    above = alt.layer(tinted, line, points, said).properties(width=_width(channel), height=HEIGHT)
    if channel is not None:
        above = above.properties(title=alt.TitleParams(channel, anchor="start", fontSize=14))
    return alt.vconcat(above, _left_over(profile, across, left, right, channel, first=first), spacing=10)


def _rows(values: list[dict[str, Any]]) -> Any:
    """Hand rows to a chart."""
    import altair as alt

    return alt.Data(values=values)  # type: ignore[no-untyped-call]


def _width(channel: str | None) -> int:
    return WIDTH if channel is None else 330


def _reach(profile: ScannerProfile) -> str:
    low, high = profile.density_range
    return f"reaches from density {low:.2f} to {high:.2f}"


def _ticks(left: float, right: float) -> list[float]:
    """Choose where the codes' axis is marked: every half decade."""
    return [0.5 * k for k in range(math.ceil(2 * left), math.floor(2 * right) + 1)]


def _left_over(
    profile: ScannerProfile,
    across: Any,
    left: float,
    right: float,
    channel: str | None,
    *,
    first: bool,
) -> Any:
    """Draw fitted minus known density against code."""
    import altair as alt

    rows: list[dict[str, Any]] = [
        {"log_code": math.log10(step.code), "residual": value, "kind": kind}
        for step in profile.steps
        if step.code > 0 and step.used
        for value, kind in ((step.residual, "fitted"), (step.left_out, "fitted without the step itself"))
        if value is not None
    ]
    most = max([abs(float(row["residual"])) for row in rows] + [profile.residual_sd])
    limit = _rounded_up(1.15 * most)
    up = alt.Scale(domain=[-limit, limit], nice=False)
    band = alt.Chart(
        _rows([{"low": -profile.residual_sd, "high": profile.residual_sd, "from": left, "to": right}])
    )
    x = alt.X(
        "log_code:Q",
        scale=across,
        title="log10 of the 16-bit code",
        axis=alt.Axis(values=_ticks(left, right), format=".1f"),
    )
    y = alt.Y(
        "residual:Q",
        scale=up,
        title="fitted − known density" if first else None,
        axis=alt.Axis(
            values=[-limit, -limit / 2, 0, limit / 2, limit],
            labelExpr="datum.value == 0 ? '0' : format(datum.value, '+.3f')",
        ),
    )
    return alt.layer(
        band.mark_rect(color=TINT).encode(
            x=alt.X("from:Q", scale=across), x2="to:Q", y=alt.Y("low:Q", scale=up), y2="high:Q"
        ),
        alt.Chart(_rows([{"residual": 0}])).mark_rule(color=INK, strokeWidth=0.8).encode(y=y),
        alt.Chart(_rows(rows))
        .mark_point(size=36, strokeWidth=1.2, stroke=INK, opacity=1)
        .encode(
            x=x,
            y=y,
            fill=alt.Fill(
                "kind:N",
                scale=alt.Scale(domain=["fitted", "fitted without the step itself"], range=[INK, "white"]),
                legend=None,
            ),
        ),
    ).properties(width=_width(channel), height=LEFTOVER_HEIGHT)


def _rounded_up(value: float) -> float:
    """Round up to 1, 2, 4 or 6 of a power of ten, at least 0.002.

    Examples
    --------
    >>> _rounded_up(0.0031), _rounded_up(0.0171), _rounded_up(0.0)
    (0.004, 0.02, 0.002)
    """
    value = max(value, 0.002)
    decade = 10.0 ** math.floor(math.log10(value))
    for step in (1.0, 2.0, 4.0, 6.0, 10.0):
        if value <= step * decade * 1.000001:
            return round(step * decade, 12)
    return round(10.0 * decade, 12)


def write_plot(chart: Any, path: Path) -> None:
    """Write a chart as a file, whole or not at all.

    Parameters
    ----------
    chart : of :func:`draw_fit`, or another of the house's.
    path : ends in ``.svg`` or ``.png``.

    Raises
    ------
    CalibrationError : another ending, or the file can't be written.
    """
    kind = path.suffix.lower()
    if kind not in PLOT_SUFFIXES:
        raise CalibrationError(f"{path}: a plot is written as SVG or PNG; let its name end in .svg or .png")
    if kind == ".png":
        picture = BytesIO()
        chart.save(picture, format="png", scale_factor=PNG_SCALE)
        drawn = picture.getvalue()
    else:
        text = StringIO()
        chart.save(text, format="svg")
        drawn = text.getvalue().encode()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with written_whole(path) as unfinished:
            unfinished.write_bytes(drawn)
    except OSError as error:
        raise CalibrationError(
            f"{path}: the plot can't be written: {error.strerror}; name another place with --plot"
        ) from error
