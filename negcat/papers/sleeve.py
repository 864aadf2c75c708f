"""Labels and the sleeve sheet: what goes with a negative, with a QR code of its sheet's id."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from negcat.papers.codes import draw_code
from negcat.papers.page import BODY, CAPTION, MARGIN, RULE, Column, Drawn, Paper, PaperSize

__all__ = ["LABEL_MM", "SleeveFacts", "draw_labels", "draw_sleeves", "labels_a_page"]

LABEL_MM: Final = (90.0, 36.0)
"""Width and height of a label."""

_CODE_ON_LABEL: Final = 31.0
_CODE_ON_SLEEVE: Final = 42.0
_ACROSS: Final = 2
_ON_LABEL: Final = 10.0


@dataclass(frozen=True)
class SleeveFacts:
    """What stands on a label or a sleeve.

    Parameters
    ----------
    sheet : its id, which the code holds.
    lines : the few facts of a label, the most wanted first.
    titles : subject and place, for the sleeve sheet.
    facts : name and value, for the sleeve sheet.
    readings : of each metered part: name, zone given, print zone planned, print zone found with its deviation.
    result : the verdict and why, in sentences.
    notes : as recorded.
    """

    sheet: str
    lines: Sequence[str]
    titles: Sequence[str]
    facts: Sequence[tuple[str, str]]
    readings: Sequence[tuple[str, str, str, str]] = ()
    result: Sequence[str] = ()
    notes: str = ""


def labels_a_page(size: PaperSize) -> int:
    """Count the labels that a page takes.

    Examples
    --------
    >>> labels_a_page("a4"), labels_a_page("letter")
    (14, 12)
    """
    from negcat.papers.page import PAPERS

    _, height = PAPERS[size]
    return _ACROSS * int((height - 2 * MARGIN - 8) // LABEL_MM[1])


def draw_labels(
    sheets: Sequence[SleeveFacts], *, size: PaperSize, archive: str, printed: date, skip: int = 0
) -> Drawn:
    """Draw labels to be cut out, or printed on a page of labels that was begun.

    Parameters
    ----------
    sheets : one label each.
    size : of the paper.
    archive : its name, for the foot.
    printed : the day, for the foot.
    skip : places left free at the beginning.
    """
    paper = Paper(size, "Labels", archive, printed)
    a_page = labels_a_page(size)
    width, height = LABEL_MM
    for place, sheet in enumerate(sheets, skip % a_page):
        at = place % a_page
        if place > skip % a_page and not at:
            paper.begin_page()
        down, right = divmod(at, _ACROSS)
        _draw_label(paper, MARGIN + right * (width + 3), MARGIN + down * height, sheet)
    return paper.finish()


def _draw_label(paper: Paper, x: float, y: float, sheet: SleeveFacts) -> None:
    width, height = LABEL_MM
    paper.box(x, y, width, height)
    draw_code(paper, x + 1, y + (height - _CODE_ON_LABEL) / 2, _CODE_ON_LABEL, sheet.sheet)
    left = x + 1 + _CODE_ON_LABEL
    room = width - (left - x) - 2
    size = next(
        (size for size in (18.0, 15.0, 12.0) if paper.lines_of(sheet.sheet, room, size, bold=True) == 1), BODY
    )
    at = y + 1.6
    at += paper.text(left, at, room, sheet.sheet, size, bold=True, most_lines=2)
    line = paper.line_height(_ON_LABEL)
    for text in sheet.lines:
        left_over = int((y + height - 1 - at) / line)
        if left_over < 1:
            break
        at += paper.text(
            left, at, room, text, _ON_LABEL, most_lines=min(2, left_over) if text == sheet.lines[-1] else 1
        )


def draw_sleeves(sheets: Sequence[SleeveFacts], *, size: PaperSize, archive: str, printed: date) -> Drawn:
    """Draw a sleeve sheet for each sheet, beginning on a page of its own.

    Parameters
    ----------
    sheets : one sleeve sheet each.
    size : of the paper.
    archive : its name, for the foot.
    printed : the day, for the foot.
    """
    paper = Paper(size, "Sleeve sheet", archive, printed)
    for place, sheet in enumerate(sheets):
        if place:
            paper.begin_page()
        _draw_sleeve(paper, sheet)
    return paper.finish()


def _draw_sleeve(paper: Paper, sheet: SleeveFacts) -> None:
    code_x = MARGIN + paper.inner - _CODE_ON_SLEEVE
    draw_code(paper, code_x, MARGIN - 4, _CODE_ON_SLEEVE, sheet.sheet)
    room = paper.inner - _CODE_ON_SLEEVE - 4
    size = next(
        (size for size in (34.0, 26.0, 20.0) if paper.lines_of(sheet.sheet, room, size, bold=True) == 1), 14.0
    )
    paper.y += paper.text(MARGIN, paper.y, room, sheet.sheet, size, bold=True, most_lines=3) + 1
    for text in sheet.titles:
        paper.y += paper.text(MARGIN, paper.y, room, text, 13, most_lines=4)
    paper.y = max(paper.y + 3, MARGIN + _CODE_ON_SLEEVE - 2)
    paper.rule(MARGIN, paper.y, MARGIN + paper.inner, paper.y, RULE)
    paper.skip(2)
    _draw_facts(paper, sheet.facts)
    if sheet.readings:
        paper.heading("Readings")
        paper.table(
            [
                Column("Metered", 5),
                Column("Zone given", 2, "R"),
                Column("Print zone planned", 2.6, "R"),
                Column("Print zone found", 2.8, "R"),
            ],
            sheet.readings,
        )
    if sheet.result:
        paper.heading("Result")
        for sentence in sheet.result:
            paper.paragraph(sentence, gap=0.5)
        paper.skip(2)
    if sheet.notes:
        paper.heading("Notes")
        paper.paragraph(sheet.notes, gap=2)
    _draw_lines(paper)


def _draw_facts(paper: Paper, facts: Sequence[tuple[str, str]]) -> None:
    """Set facts in two columns, name over value."""
    half = paper.inner / 2
    for place in range(0, len(facts), 2):
        pair = facts[place : place + 2]
        caption = paper.line_height(CAPTION)
        height = max(
            caption + paper.lines_of(value, half - 4, 12) * paper.line_height(12) for _, value in pair
        )
        paper.room_for(height)
        for at, (name, value) in enumerate(pair):
            paper.text(MARGIN + at * half, paper.y, half - 4, name, CAPTION, most_lines=1)
            paper.text(MARGIN + at * half, paper.y + caption, half - 4, value, 12)
        paper.skip(height + 1.8)
    paper.skip(2)


def _draw_lines(paper: Paper) -> None:
    """Leave lines for what is printed of it later, as far as the page has room."""
    left = int((paper.bottom - paper.y - 10) // 9)
    if left < 2:
        return
    paper.heading("Prints", keep=0)
    for _ in range(min(left, 8)):
        paper.skip(8.5)
        paper.rule(MARGIN, paper.y, MARGIN + paper.inner, paper.y)
