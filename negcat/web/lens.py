"""The page of a lens: its cells side by side, its shutter, and what the sheets made with it say."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from negcat.web.spread import Group, Spread, draw_spread
from negcat.web.summed import Summed, number, set_summary
from negcat.web.typesetting import fixed, shutter_time, stop, stops

__all__ = ["Cell", "Page", "StopRow", "set_page"]

Story = Mapping[str, Any]

_MOUNTED = {
    "whole": "the whole lens",
    "front": "in front of the diaphragm",
    "behind": "behind the diaphragm",
}


@dataclass(frozen=True)
class Cell:
    """One way of using the lens.

    Parameters
    ----------
    cell : its name.
    record : name and value of what is on record.
    sheets : how many were made with it.
    verdicts : word and count, the most frequent first.
    residual : what came after the decision, in stops.
    """

    cell: str
    record: tuple[tuple[str, str], ...]
    sheets: int
    verdicts: tuple[tuple[str, int], ...]
    residual: Summed


@dataclass(frozen=True)
class StopRow:
    """A stop of a cell that enough sheets were made at."""

    cell: str
    stop: str
    scale: str
    residual: Summed


@dataclass(frozen=True)
class Page:
    """All that the template writes down."""

    lens: str
    sheets: int
    cells: tuple[Cell, ...]
    chart: Spread | None
    stops: tuple[StopRow, ...]
    shutter: str
    shutter_times: tuple[tuple[str, str, str], ...]
    films: tuple[tuple[str, int], ...]
    lenses: tuple[tuple[str, int], ...]


def set_page(story: Story) -> Page:
    """Set a lens's story for reading."""
    cells: Sequence[Story] = story["cells"]
    said = [
        name for name in ("cell_to_stop_mm", "pupil_ratio") if any(cell[name] is not None for cell in cells)
    ]
    return Page(
        lens=str(story["lens"]),
        sheets=int(story["sheets"]),
        cells=tuple(_cell(cell, said) for cell in cells),
        chart=draw_spread(
            [_group(cell) for cell in cells],
            title="What came after the decision, by cell",
            axis="stops; + is denser than what was set and corrected makes it",
            unit="stop in the mean",
        ),
        stops=tuple(
            StopRow(
                cell=str(cell["cell"]),
                stop=stop(row["stop"]),
                scale="its own" if row["scale"] == cell["cell"] else f"that of {row['scale']}",
                residual=set_summary(row["residual_stops"]),
            )
            for cell in cells
            for row in cell["stops"]
        ),
        shutter=str(story["shutter"] or ""),
        shutter_times=tuple(
            (shutter_time(time["marked"]), fixed(time["measured_s"], 4), stops(time["stops"]))
            for time in story["shutter_times"]
        ),
        films=tuple((str(one["film"]), int(one["sheets"])) for one in story["films"]),
        lenses=tuple((str(one["lens"]), int(one["sheets"])) for one in story["lenses"]),
    )


def _cell(cell: Story, said: Container[str]) -> Cell:
    scale = f"none; read from that of {cell['scale']}" if cell["scale"] else "none"
    if cell["own_scale"]:
        scale = "its own"
    error = cell["scale_error_stops"]
    record = [
        ("Focal length", f"{number(cell['focal_mm'])}\u00a0mm"),
        ("Mounted", _MOUNTED.get(cell["mounted"] or "", "not recorded")),
        ("Widest stop", stop(cell["widest_stop"]) or "not recorded"),
        ("Stop scale", scale),
        ("Known scale error", f"{stops(error)}\u00a0stop" if error else "none on record"),
    ]
    # What one cell has is said of all of them, so that they stand side by side line by line.
    if "cell_to_stop_mm" in said:
        distance = cell["cell_to_stop_mm"]
        unknown = "not needed" if cell["mounted"] == "whole" else "not recorded"
        record.append(("Cell to diaphragm", unknown if distance is None else f"{number(distance)}\u00a0mm"))
    if "pupil_ratio" in said:
        record.append(("Exit to entrance pupil", number(cell["pupil_ratio"]) or "not recorded, taken as 1"))
    return Cell(
        cell=str(cell["cell"]),
        record=tuple(record),
        sheets=int(cell["sheets"]),
        verdicts=tuple((str(word), int(count)) for word, count in cell["verdicts"].items()),
        residual=set_summary(cell["residual_stops"]),
    )


def _group(cell: Story) -> Group:
    summary = cell["residual_stops"]
    sheets = "sheet" if summary["count"] == 1 else "sheets"
    return Group(
        label=f"{cell['cell']}, {summary['count']} {sheets}",
        values=tuple(cell["residuals"] or ()),
        mean=summary["mean"],
        low=summary["low"],
        high=summary["high"],
    )
