"""The field sheet: records to be filled in by pencil, two on a page, and entered at home."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from negcat.papers.page import CAPTION, MARGIN, RULE, Drawn, Paper, PaperSize

__all__ = ["RECORDS_A_PAGE", "FieldRecord", "draw_field_sheet"]

RECORDS_A_PAGE: Final = 2

_READINGS: Final = 5
_LINES: Final[tuple[tuple[tuple[str, str, float], ...], ...]] = (
    (
        ("sheet", "Sheet", 3),
        ("", "Date", 3),
        ("", "Time of day", 2),
        ("holder", "Holder", 2),
        ("side", "Side", 1.5),
    ),
    (("", "Place", 5), ("", "Weather and light", 4)),
    (("", "Subject", 1),),
    (
        ("film", "Film", 4),
        ("index", "Index", 1.4),
        ("format", "Format", 2),
        ("", "Tag (N, N+1, N−1½)", 2.4),
        ("", "Meter at ISO", 1.8),
    ),
    (
        ("", "Lens", 4),
        ("", "Cell", 2),
        ("", "Stop", 1.8),
        ("", "read on the scale of", 2.6),
        ("", "Time", 1.8),
    ),
    (("", "Bellows, mm", 2), ("", "Filter", 2.6), ("", "Factor ×", 1.6), ("", "Print for", 3)),
    (
        ("", "Front: rise, mm", 2),
        ("", "shift, mm", 1.6),
        ("", "tilt, °", 1.4),
        ("", "swing, °", 1.4),
        ("", "Rear: tilt, °", 1.6),
        ("", "swing, °", 1.4),
    ),
)
_READING_COLUMNS: Final = (
    ("Metered", 4.6),
    ("Shadow Middle Highlight", 4.0),
    ("EV", 2.0),
    ("Zone", 2.0),
    ("Placed", 1.4),
)
_HELP: Final = (
    "22½: half a stop past f/22 · times 1/15, 4 s, 1m30s · zones III, III½, 4.5 · the placed reading’s zone is the "
    "exposure’s, any other’s the one wanted in the print"
)


@dataclass(frozen=True)
class FieldRecord:
    """What is known of a sheet before it is exposed; blank where nothing is.

    Parameters
    ----------
    sheet, holder, side, film, index, format : as they are to be written in its record.
    """

    sheet: str = ""
    holder: str = ""
    side: str = ""
    film: str = ""
    index: str = ""
    format: str = ""


def draw_field_sheet(
    records: Sequence[FieldRecord], *, size: PaperSize, archive: str, printed: date
) -> Drawn:
    """Draw a field sheet.

    Parameters
    ----------
    records : one for each sheet of film, blank ones too.
    size : of the paper.
    archive : its name, for the foot.
    printed : the day, for the foot.
    """
    paper = Paper(size, "Field sheet", archive, printed)
    help_height = paper.lines_of(_HELP, paper.inner, CAPTION) * paper.line_height(CAPTION)
    height = (paper.bottom - MARGIN - help_height - 1) / RECORDS_A_PAGE
    for place, record in enumerate(records):
        on_page = place % RECORDS_A_PAGE
        if place and not on_page:
            paper.begin_page()
        _draw_record(paper, MARGIN + on_page * height, height - 4, record)
        if not on_page:
            paper.text(MARGIN, paper.bottom - help_height, paper.inner, _HELP, CAPTION)
            if place + 1 < len(records):
                middle = MARGIN + height - 2
                paper.rule(MARGIN, middle, MARGIN + paper.inner, middle, RULE)
    return paper.finish()


def _draw_record(paper: Paper, top: float, height: float, record: FieldRecord) -> None:
    caption = paper.line_height(CAPTION)
    reading = min(7.0, (height - len(_LINES) * 10.2 - caption) / (_READINGS + 0.5))
    line = (height - caption - _READINGS * reading) / (len(_LINES) + 1)
    y = top
    for fields in _LINES:
        share = paper.inner / sum(width for _, _, width in fields)
        x = MARGIN
        for name, words, width in fields:
            value = getattr(record, name) if name else ""
            paper.field(x, y + 0.6, width * share, line - 0.6, words, value)
            x += width * share
        y += line
    _draw_readings(paper, y + 0.8, caption, reading)
    y += caption + 0.8 + _READINGS * reading
    paper.text(MARGIN, y + 0.5, 30, "Notes", CAPTION)
    paper.rule(MARGIN, top + height, MARGIN + paper.inner - 1.5, top + height)


def _draw_readings(paper: Paper, top: float, caption: float, height: float) -> None:
    share = (paper.inner - 1.5) / sum(width for _, width in _READING_COLUMNS)
    x = MARGIN
    for place, (words, width) in enumerate(_READING_COLUMNS):
        if place != 1:
            paper.text(x + (0 if not place else 1.2), top, width * share - 1.5, words, CAPTION, most_lines=1)
        else:
            paper.text(x + 1.2, top, width * share - 1.5, "Role: circle one", CAPTION, most_lines=1)
        x += width * share
    below = top + caption
    for row in range(_READINGS):
        y = below + row * height
        x = MARGIN
        for place, (words, width) in enumerate(_READING_COLUMNS):
            if place:
                paper.rule(x, y, x, y + height)
            if place == 1:
                each = (width * share) / 3
                for at, word in enumerate(words.split()):
                    paper.text(
                        x + at * each,
                        y + (height - paper.line_height(CAPTION)) / 2,
                        each,
                        word,
                        CAPTION,
                        align="C",
                    )
            elif words == "Placed":
                side = min(4.0, height - 2)
                paper.box(x + (width * share - side) / 2, y + (height - side) / 2, side, side, RULE)
            x += width * share
        paper.rule(MARGIN, y + height, MARGIN + paper.inner - 1.5, y + height)
