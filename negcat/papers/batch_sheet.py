"""The batch sheet for the sink: what is developed, for how long, and what to mind."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from negcat.notation import format_clock
from negcat.papers.figures import decimal
from negcat.papers.page import BODY, CAPTION, MARGIN, RULE, Cell, Column, Drawn, Paper, PaperSize

__all__ = ["CAUTIONS", "BatchSheet", "InBatch", "UsedBefore", "draw_batch_sheet"]

CAUTIONS: Final = (
    "Each product’s safety data sheet rules, and local codes for handling and disposal.",
    "Gloves and eye protection; darkroom chemicals harm skin, eyes and lungs.",
    "Air the room; no food or drink, no children in it.",
    "Acid into water, never water into acid; never mix chemicals that their sheets keep apart.",
    "Wipe up spills at once; dry hands before anything electric.",
)
"""What is to be minded at the sink."""

_USED_SHOWN: Final = 4
_BATHS: Final = ("Water before", "Developer", "Stop", "Fixer", "Wash")


@dataclass(frozen=True)
class InBatch:
    """A sheet to be developed: its id, holder and side, format, subject, and its tag where it is another one's."""

    sheet: str
    holder: str = ""
    format: str = ""
    subject: str = ""
    tag: str = ""


@dataclass(frozen=True)
class UsedBefore:
    """A time that was used before for this film and tag.

    Parameters
    ----------
    process : developer, dilution and temperature in words.
    time_s : in seconds.
    sheets : so developed.
    found_n, low_n, high_n : mean N found and its 90 % interval; None where none was.
    """

    process: str
    time_s: float
    sheets: int
    found_n: float | None = None
    low_n: float | None = None
    high_n: float | None = None


@dataclass(frozen=True)
class BatchSheet:
    """A batch.

    Parameters
    ----------
    batch : its id; blank where it has none yet.
    film, tag : in words.
    developer, dilution, temperature, method, agitation, date : as written; blank: to be filled in.
    time_s : of the record; None: to be filled in.
    advised_s : a time that was worked out for this film and tag, with its 90 % interval; None where there is none.
    sheets : in it.
    used : times used before.
    """

    batch: str
    film: str
    tag: str
    developer: str = ""
    dilution: str = ""
    temperature: str = ""
    method: str = ""
    agitation: str = ""
    date: str = ""
    time_s: float | None = None
    advised_s: tuple[float, float, float] | None = None
    sheets: Sequence[InBatch] = ()
    used: Sequence[UsedBefore] = ()


def draw_batch_sheet(batch: BatchSheet, *, size: PaperSize, archive: str, printed: date) -> Drawn:
    """Draw the batch sheet.

    Parameters
    ----------
    batch : what is developed.
    size : of the paper.
    archive : its name, for the foot.
    printed : the day, for the foot.
    """
    paper = Paper(size, "Batch sheet", archive, printed)
    title = f"Batch {batch.batch}" if batch.batch else "Batch"
    paper.heading(title, 20)
    paper.paragraph(f"{batch.film} · {batch.tag}", 15, bold=True, gap=2)
    _draw_process(paper, batch)
    _draw_time(paper, batch)
    paper.heading("Sheets")
    paper.table(
        [
            Column("Done", 1.1),
            Column("Sheet", 4),
            Column("Holder, side", 2.4),
            Column("Format", 1.6),
            Column("Subject", 6),
            Column("Tag", 1.4),
        ],
        [
            ["□", Cell(sheet.sheet, bold=True), sheet.holder, sheet.format, sheet.subject, sheet.tag]
            for sheet in batch.sheets
        ],
    )
    _draw_baths(paper, batch)
    _draw_cautions(paper)
    return paper.finish()


def _draw_process(paper: Paper, batch: BatchSheet) -> None:
    lines = (
        (
            ("Developer", batch.developer, 3.0),
            ("Dilution", batch.dilution, 2.0),
            ("Temperature, °C", batch.temperature, 1.5),
        ),
        (("Method", batch.method, 2.0), ("Agitation", batch.agitation, 3.0), ("Date", batch.date, 1.5)),
    )
    for fields in lines:
        share = paper.inner / sum(width for _, _, width in fields)
        height = 13.0
        for _, value, width in fields:
            lines_needed = paper.lines_of(value, width * share - 1.5, 13, bold=True)
            height = max(height, paper.line_height(CAPTION) + lines_needed * paper.line_height(13) + 0.6)
        paper.room_for(height)
        x = MARGIN
        for name, value, width in fields:
            room = width * share - 1.5
            paper.text(x, paper.y, room, name, CAPTION, most_lines=1)
            paper.text(x, paper.y + paper.line_height(CAPTION), room, value, 13, bold=True)
            paper.rule(x, paper.y + height, x + room, paper.y + height)
            x += width * share
        paper.skip(height + 1.5)
    paper.skip(2)


def _draw_time(paper: Paper, batch: BatchSheet) -> None:
    """Set the time large; where none is decided, a field for it and what is known beside."""
    room = 52.0
    width = paper.inner - room - 4
    known = _known_times(batch)
    line = paper.line_height(BODY)
    height = sum(paper.lines_of(text, width, BODY, bold=bold) * line for text, bold in known)
    paper.room_for(max(height, 20) + 4)
    paper.box(MARGIN, paper.y, room, 20, RULE)
    paper.text(MARGIN + 2, paper.y + 1, room - 4, "Time in the developer, min:s", CAPTION)
    if batch.time_s is not None:
        paper.text(MARGIN + 2, paper.y + 5.4, room - 4, format_clock(batch.time_s), 28, bold=True)
    y = paper.y
    for text, bold in known:
        y += paper.text(MARGIN + room + 4, y, width, text, bold=bold)
    paper.skip(max(height, 20) + 4)


def _known_times(batch: BatchSheet) -> list[tuple[str, bool]]:
    """Say what is known of the time; with each sentence whether it is set bold."""
    known = []
    if batch.advised_s is not None:
        time_s, low_s, high_s = (format_clock(time) for time in batch.advised_s)
        known.append((f"Worked out and accepted: {time_s} (90 %: {low_s} to {high_s}).", True))
    for used in batch.used[:_USED_SHOWN]:
        found = "no N found yet"
        if used.found_n is not None:
            found = f"N found {decimal(used.found_n, 1, signed=True)}"
            if used.low_n is not None and used.high_n is not None:
                low, high = decimal(used.low_n, 1, signed=True), decimal(used.high_n, 1, signed=True)
                found += f" (90 %: {low} to {high})"
        sheets = "1 sheet" if used.sheets == 1 else f"{used.sheets} sheets"
        known.append((f"{format_clock(used.time_s)} before: {used.process}; {sheets}, {found}.", False))
    if batch.time_s is None and not known:
        known.append(("The archive knows no time for this film and tag.", False))
    return known


def _draw_baths(paper: Paper, batch: BatchSheet) -> None:
    paper.heading("At the sink", keep=62)
    paper.table(
        [
            Column("Bath", 3),
            Column("Time, min:s", 2, "R"),
            Column("", 0.4),
            Column("°C measured", 2.2),
            Column("Begun", 2.2),
            Column("Ended", 2.2),
            Column("Remarks", 4),
        ],
        [
            [
                bath,
                Cell(format_clock(batch.time_s), bold=True)
                if bath == "Developer" and batch.time_s is not None
                else "",
                *("",) * 5,
            ]
            for bath in _BATHS
        ],
        least_height=7.5,
    )


def _draw_cautions(paper: Paper) -> None:
    line = paper.line_height(BODY)
    width = paper.inner - 6
    height = 4 + line + sum(paper.lines_of(f"– {text}", width, BODY) * line for text in CAUTIONS)
    paper.room_for(height)
    paper.box(MARGIN, paper.y, paper.inner, height, RULE)
    y = paper.y + 2
    y += paper.text(MARGIN + 3, y, width, "Caution", bold=True)
    for text in CAUTIONS:
        y += paper.text(MARGIN + 3, y, width, f"– {text}")
    paper.skip(height + 3)
