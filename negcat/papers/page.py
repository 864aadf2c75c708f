"""A paper being drawn: its size, its text that wraps and never overflows, its rules and tables, its foot.

Black on white, in millimetres from the top left. Figures are set at 11 points and more, what stands over a field
to be filled in at 9.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final, Literal, cast

from fpdf import FPDF
from fpdf.enums import MethodReturnValue

from negcat.papers.letters import FAMILY, Letters

__all__ = [
    "BODY",
    "CAPTION",
    "HAIR",
    "MARGIN",
    "PAPERS",
    "RULE",
    "TITLE",
    "Cell",
    "Column",
    "Drawn",
    "Paper",
    "PaperSize",
]

PaperSize = Literal["a4", "letter"]

PAPERS: Final[dict[PaperSize, tuple[float, float]]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Width and height of the papers, upright, in mm."""

MARGIN: Final = 13.0
"""Left free on every side, in mm: more than any printer cuts off."""

TITLE: Final = 18.0
HEAD: Final = 13.0
BODY: Final = 11.0
CAPTION: Final = 9.0
FOOT: Final = 9.0

HAIR: Final = 0.15
RULE: Final = 0.35
"""Thickness of fine and ordinary lines, in mm."""

_MM_PER_POINT: Final = 25.4 / 72
_LEADING: Final = 1.28
_FOOT_HEIGHT: Final = 7.0
_PAD: Final = 0.9
_MOST_LINES: Final = 8

Alignment = Literal["L", "R", "C"]


@dataclass(frozen=True)
class Drawn:
    """A finished paper.

    Parameters
    ----------
    pdf : the file.
    pages : how many pages it has.
    wanting : letters that no font at hand has; they stand as � on the paper.
    """

    pdf: bytes
    pages: int
    wanting: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Column:
    """A column of a table.

    Parameters
    ----------
    head : over it.
    width : its share of the table's width; shares are weighed against each other.
    align : how its cells stand.
    """

    head: str
    width: float
    align: Alignment = "L"


@dataclass(frozen=True)
class Cell:
    """A text in a table that is set otherwise than its column: bold, or over all columns that follow."""

    text: str
    bold: bool = False
    spans: bool = False


class _Document(FPDF):
    """The library's document, with the foot that every page has."""

    def __init__(self, size: tuple[float, float]) -> None:
        super().__init__(unit="mm", format=size)
        self.foot = ""

    def footer(self) -> None:
        width, height = self.w, self.h
        self.set_font(FAMILY, "", FOOT)
        line = FOOT * _MM_PER_POINT * _LEADING
        self.set_xy(MARGIN, height - MARGIN - line)
        self.cell(width - 2 * MARGIN - 22, line, self.foot)
        # The number of pages is only known at the end; until then its place is held by a longer text.
        longer = self.get_string_width("{nb}") - self.get_string_width("0")
        self.set_xy(width - MARGIN - 30, height - MARGIN - line)
        self.cell(30 + longer, line, f"{self.page_no()} of {{nb}}", align="R")


class Paper:
    """A paper being drawn, page after page from top to bottom.

    Parameters
    ----------
    size : of the paper.
    title : of the document, as a viewer shows it, and of every page's foot.
    archive : the archive's name, for the foot.
    printed : the day, for the foot: a paper gets old where the archive doesn't.

    Attributes
    ----------
    y : where the next thing is set, mm from the top.
    """

    def __init__(self, size: PaperSize, title: str, archive: str, printed: date) -> None:
        self.width, self.height = PAPERS[size]
        self._pdf = _Document((self.width, self.height))
        self._letters = Letters(self._pdf)
        self._pdf.set_text_shaping(use_shaping_engine=True)
        self._pdf.set_auto_page_break(False)
        self._pdf.set_margin(MARGIN)
        self._pdf.c_margin = 0
        self._pdf.set_title(title)
        self._pdf.set_creator("negcat")
        self._pdf.set_lang("en")
        self.begin_page()
        # Set once there is a page to measure it on; it is drawn when that page is full.
        self._pdf.foot = self._fit(
            f"{title} · {archive} · {printed.day} {printed:%B %Y}", FOOT, self.inner - 24
        )

    @property
    def inner(self) -> float:
        """The width between the margins, in mm."""
        return self.width - 2 * MARGIN

    @property
    def bottom(self) -> float:
        """Where the foot begins, mm from the top."""
        return self.height - MARGIN - _FOOT_HEIGHT

    def begin_page(self) -> None:
        """Go on at the top of a new page."""
        self._pdf.add_page()
        self.y = MARGIN

    def room_for(self, height: float) -> bool:
        """Begin a new page where so many mm aren't left on this one; tells whether it did."""
        if self.y + height <= self.bottom + 0.01 or self.y <= MARGIN:
            return False
        self.begin_page()
        return True

    def skip(self, height: float) -> None:
        """Leave so many mm free."""
        self.y += height

    # Text -------------------------------------------------------------------------------------------------

    @staticmethod
    def line_height(size: float) -> float:
        """Give the height of a line of a size in points, in mm."""
        return size * _MM_PER_POINT * _LEADING

    def lines_of(self, text: str, width: float, size: float, *, bold: bool = False) -> int:
        """Count the lines that a text takes."""
        return len(self._lines(self._letters.of(text), width, size, bold))

    def text(
        self,
        x: float,
        y: float,
        width: float,
        text: str,
        size: float = BODY,
        *,
        bold: bool = False,
        align: Alignment = "L",
        most_lines: int | None = None,
    ) -> float:
        """Set a text in a column; what is longer than the lines it may take ends in an ellipsis.

        Parameters
        ----------
        x, y : its top left, mm.
        width : of the column, mm; a word that is longer is broken.
        most_lines : it may take; any number where None.

        Returns
        -------
        The height it took, mm.
        """
        ready = self._letters.of(text)
        if most_lines is not None:
            ready = self._cut(ready, width, size, bold, most_lines)
        if not ready.strip():
            return 0.0
        count = len(self._lines(ready, width, size, bold))
        line = self.line_height(size)
        self._set(size, bold)
        self._pdf.set_xy(x, y)
        self._pdf.multi_cell(width, line, ready, align=align)
        return count * line

    def paragraph(self, text: str, size: float = BODY, *, bold: bool = False, gap: float = 1.0) -> None:
        """Set a paragraph over the whole width and go on below it, on as many pages as it needs."""
        lines = self._lines(self._letters.of(text), self.inner, size, bold)
        line = self.line_height(size)
        self.room_for(min(len(lines), 3) * line)
        while lines:
            fit = max(int((self.bottom - self.y) / line + 0.01), 1)
            self.y += self.text(MARGIN, self.y, self.inner, "\n".join(lines[:fit]), size, bold=bold)
            lines = lines[fit:]
            if lines:
                self.begin_page()
        self.y += gap

    def heading(self, text: str, size: float = HEAD, *, keep: float = 18.0) -> None:
        """Set a heading, on a new page where less than `keep` mm would be left below it."""
        height = self.lines_of(text, self.inner, size, bold=True) * self.line_height(size)
        self.room_for(height + keep)
        self.y += self.text(MARGIN, self.y, self.inner, text, size, bold=True) + 1.2

    def _set(self, size: float, bold: bool) -> None:
        self._pdf.set_font(FAMILY, "B" if bold else "", size)

    def _lines(self, ready: str, width: float, size: float, bold: bool) -> list[str]:
        if not ready.strip():
            return []
        self._set(size, bold)
        self._pdf.set_x(0)
        lines = self._pdf.multi_cell(
            width, self.line_height(size), ready, dry_run=True, output=MethodReturnValue.LINES
        )
        return cast("list[str]", lines)

    def _cut(self, ready: str, width: float, size: float, bold: bool, most_lines: int) -> str:
        if len(self._lines(ready, width, size, bold)) <= most_lines:
            return ready
        low, high = 0, len(ready)
        while low < high - 1:
            middle = (low + high) // 2
            fits = len(self._lines(ready[:middle].rstrip() + "…", width, size, bold)) <= most_lines
            low, high = (middle, high) if fits else (low, middle)
        return ready[:low].rstrip(" ,;·") + "…"

    def _fit(self, text: str, size: float, width: float) -> str:
        return self._cut(self._letters.of(text), width, size, False, 1)

    # Lines and areas --------------------------------------------------------------------------------------

    def rule(self, x0: float, y0: float, x1: float, y1: float, thickness: float = HAIR) -> None:
        """Draw a straight line."""
        self._pdf.set_line_width(thickness)
        self._pdf.line(x0, y0, x1, y1)

    def box(self, x: float, y: float, width: float, height: float, thickness: float = HAIR) -> None:
        """Draw an empty box."""
        self._pdf.set_line_width(thickness)
        self._pdf.rect(x, y, width, height)

    def black(self, x: float, y: float, width: float, height: float) -> None:
        """Fill an area."""
        self._pdf.set_fill_color(0)
        self._pdf.rect(x, y, width, height, style="F")

    def field(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        caption: str,
        value: str = "",
        size: float = 12.0,
    ) -> None:
        """Draw a field to be filled in: what it is for in small, and a line to write on, with a value or none."""
        self.text(x, y, width - 1, caption, CAPTION, most_lines=1)
        if value:
            line = self.line_height(size)
            self.text(x, y + height - line - 0.2, width - 1.5, value, size, bold=True, most_lines=1)
        self.rule(x, y + height, x + width - 1.5, y + height)

    # Tables -----------------------------------------------------------------------------------------------

    def table(
        self,
        columns: Sequence[Column],
        rows: Sequence[Sequence[str | Cell]],
        *,
        size: float = BODY,
        least_height: float = 0.0,
    ) -> None:
        """Set a table over the whole width, its head on every page; rows grow with their texts up to eight lines.

        Parameters
        ----------
        columns : with their heads and widths.
        rows : one text a column; a :class:`Cell` that spans takes the rest of its row.
        size : of the cells in points; heads are set smaller.
        least_height : of a row, mm, where it is to be written in.
        """
        share = self.inner / sum(column.width for column in columns)
        widths = [column.width * share for column in columns]
        laid = [self._laid_row(columns, widths, row, size, least_height) for row in rows]
        head = self._head_height(columns, widths)
        self.room_for(head + (laid[0][1] if laid else 0))
        if any(column.head for column in columns):
            self._table_head(columns, widths, head)
        for cells, height in laid:
            if self.room_for(height) and any(column.head for column in columns):
                self._table_head(columns, widths, head)
            for x, width, cell, align in cells:
                self.text(
                    x,
                    self.y + _PAD,
                    width,
                    cell.text,
                    size,
                    bold=cell.bold,
                    align=align,
                    most_lines=_MOST_LINES,
                )
            self.y += height
            self.rule(MARGIN, self.y, MARGIN + self.inner, self.y)
        self.skip(3)

    def _laid_row(
        self,
        columns: Sequence[Column],
        widths: Sequence[float],
        row: Sequence[str | Cell],
        size: float,
        least_height: float,
    ) -> tuple[list[tuple[float, float, Cell, Alignment]], float]:
        cells: list[tuple[float, float, Cell, Alignment]] = []
        height = max(least_height, self.line_height(size))
        for place, written in enumerate(row):
            cell = Cell(written) if isinstance(written, str) else written
            x = MARGIN + sum(widths[:place])
            width = (MARGIN + self.inner - x if cell.spans else widths[place]) - 1.5
            cells.append((x, width, cell, "L" if cell.spans else columns[place].align))
            lines = min(self.lines_of(cell.text, width, size, bold=cell.bold), _MOST_LINES)
            height = max(height, lines * self.line_height(size))
        return cells, height + 2 * _PAD

    def _head_height(self, columns: Sequence[Column], widths: Sequence[float]) -> float:
        lines = [
            self.lines_of(column.head, width - 1.5, CAPTION)
            for column, width in zip(columns, widths, strict=True)
        ]
        return max(lines, default=0) * self.line_height(CAPTION) + _PAD

    def _table_head(self, columns: Sequence[Column], widths: Sequence[float], height: float) -> None:
        x = MARGIN
        for column, width in zip(columns, widths, strict=True):
            lines = self.lines_of(column.head, width - 1.5, CAPTION)
            top = self.y + height - _PAD - lines * self.line_height(CAPTION)
            self.text(x, top, width - 1.5, column.head, CAPTION, align=column.align)
            x += width
        self.y += height
        self.rule(MARGIN, self.y, MARGIN + self.inner, self.y, RULE)

    # The end ----------------------------------------------------------------------------------------------

    def finish(self) -> Drawn:
        """Write the paper."""
        pdf = bytes(self._pdf.output())
        self._letters.close()
        return Drawn(pdf, self._pdf.pages_count, frozenset(self._letters.wanting))
