"""The crib for the bag: what each film and each cell asks for, to be read in the field."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final, Literal

from negcat.notation import format_clock
from negcat.papers.figures import counted, decimal, factor, parts, ratio
from negcat.papers.page import BODY, MARGIN, RULE, Cell, Column, Drawn, Paper, PaperSize

__all__ = ["CribCell", "CribFilm", "CribLens", "Developed", "Extension", "Given", "Marked", "draw_crib"]

_FROM: Final = {"used": "used", "accepted": "accepted", "sheets": "sheets", "tests": "film tests"}

_SOURCES: Final = {
    "accepted": "Accepted: worked out from the sheets, and taken over.",
    "sheets": "Sheets: learnt from them, and from film tests where there are any; not accepted yet.",
    "tests": "Film tests: from them alone.",
    "used": "Used: what it came to as N, mean of the sheets measured.",
}
"""What each source of a time means, in the order in which times are to be gone by."""

_A_ROW: Final = 9
"""Figures that stand beside each other in one strip."""


@dataclass(frozen=True)
class Given:
    """A metered time and the time to give for it.

    Parameters
    ----------
    metered_s, given_s : in seconds.
    extrapolated : it lies past the end of the film's table.
    """

    metered_s: float
    given_s: float
    extrapolated: bool = False


@dataclass(frozen=True)
class Developed:
    """How a film is developed for a tag.

    Parameters
    ----------
    tag : as it is written.
    developer, dilution, temperature_c : None where not on record.
    time_s : the developing time, s; None where the archive knows none for the tag.
    low_s, high_s : its 90 % interval where it was worked out, not taken over.
    sheets : that it rests on.
    found_n, low_n, high_n : mean N found on those sheets and its 90 % interval; None where none was.
    source : it was ``used``; or it was worked out, and ``accepted``; or learnt from the ``sheets``, or from film
        ``tests`` alone, and not accepted.
    note : what must be known about it, else empty.
    """

    tag: str
    developer: str = ""
    dilution: str | None = None
    temperature_c: float | None = None
    time_s: float | None = None
    low_s: float | None = None
    high_s: float | None = None
    sheets: int = 0
    found_n: float | None = None
    low_n: float | None = None
    high_n: float | None = None
    source: Literal["used", "accepted", "sheets", "tests"] = "used"
    note: str = ""


@dataclass(frozen=True)
class CribFilm:
    """A film.

    Parameters
    ----------
    name : of the film.
    index : the meter is set to; box_speed : on the box.
    law : the law of reciprocity in words.
    times : metered and given; empty where no law is on record.
    developed : times by tag; of each tag that to go by first.
    left_out : the sheets, too many to learn from here; 0 where they were learnt from.
    """

    name: str
    index: str
    box_speed: str
    law: str
    times: Sequence[Given] = ()
    developed: Sequence[Developed] = ()
    left_out: int = 0


@dataclass(frozen=True)
class Extension:
    """What a drawn-out bellows asks for.

    Parameters
    ----------
    stops : more light to give.
    extension_mm : from lens to film where it is needed.
    scale : size of the picture over that of the subject.
    """

    stops: float
    extension_mm: float
    scale: float


@dataclass(frozen=True)
class CribCell:
    """A way of using a lens.

    Parameters
    ----------
    name : of the cell; focal_mm : its focal length.
    widest_stop : as marked, None where not on record.
    scale : the cell whose stop scale is read; None where it is its own.
    correction : stops of more light to give than the scale says; None where it can't be known.
    why : sentences on what is missing or doubtful.
    found, low, high, sheets : what measured sheets had too much of light (+) with it, stops, the 90 % interval,
        and how many sheets; None where there are none.
    extensions : the close-focus table.
    """

    name: str
    focal_mm: float
    widest_stop: str | None
    scale: str | None
    correction: float | None
    why: Sequence[str] = ()
    found: float | None = None
    low: float | None = None
    high: float | None = None
    sheets: int = 0
    extensions: Sequence[Extension] = ()


@dataclass(frozen=True)
class Marked:
    """A time marked on a shutter and what it was measured to give, s, with the difference in stops."""

    marked: str
    measured_s: float
    stops: float


@dataclass(frozen=True)
class CribLens:
    """A lens with its cells, and its shutter's measured times."""

    name: str
    cells: Sequence[CribCell]
    shutter: str | None = None
    times: Sequence[Marked] = ()


def draw_crib(
    films: Sequence[CribFilm], lenses: Sequence[CribLens], *, size: PaperSize, archive: str, printed: date
) -> Drawn:
    """Draw the crib: films first, then lenses.

    Parameters
    ----------
    films, lenses : in the order in which they are to stand; at least one of the two lists holds something.
    size : of the paper.
    archive : its name, for the foot.
    printed : the day, for the foot.
    """
    paper = Paper(size, "Crib", archive, printed)
    explained: set[str] = set()
    for place, film in enumerate(films):
        if place:
            _between(paper, 70)
        _draw_film(paper, film, explained)
    for place, lens in enumerate(lenses):
        if films and not place:
            paper.begin_page()
        elif place:
            _between(paper, 60)
        _draw_lens(paper, lens)
    return paper.finish()


def _between(paper: Paper, needed: float) -> None:
    """Part two films or lenses: by a line, or a new page where the next one's beginning has no room."""
    if not paper.room_for(needed):
        paper.skip(1)
        paper.rule(MARGIN, paper.y, MARGIN + paper.inner, paper.y, RULE)
        paper.skip(3)


def _draw_film(paper: Paper, film: CribFilm, explained: set[str]) -> None:
    """Draw a film; what was explained on the paper before isn't explained again."""
    paper.heading(film.name, 16)
    paper.paragraph(
        f"Meter at {film.index}" + (f" (box {film.box_speed})" if film.index != film.box_speed else ""), 13
    )
    paper.heading("Long times")
    paper.paragraph(film.law)
    if film.times:
        _strip(
            paper,
            [
                ("metered", [counted(time.metered_s) for time in film.times]),
                ("give", [counted(time.given_s) + ("*" if time.extrapolated else "") for time in film.times]),
            ],
            strong=1,
        )
        if any(time.extrapolated for time in film.times):
            paper.paragraph("* past the last point of the film’s table, which was carried straight on", gap=2)
    paper.heading("Development")
    paper.table(
        [
            Column("Tag", 1.7),
            Column("Time, min:s", 2.2, "R"),
            Column("", 0.3),
            Column("From", 2.2),
            Column("Developer, dilution", 3.9),
            Column("°C", 1.1, "R"),
            Column("Sheets", 1.6, "R"),
            Column("90 % interval", 5.4, "R"),
        ],
        [
            _developed_row(one, first=not place or film.developed[place - 1].tag != one.tag)
            for place, one in enumerate(film.developed)
        ],
    )
    for note in dict.fromkeys(one.note for one in film.developed if one.note):
        paper.paragraph(f"* {note}", gap=0.6)
    new = {one.source for one in film.developed if one.time_s is not None} - explained
    explained |= new
    if new:
        told = (sentence for source, sentence in _SOURCES.items() if source in new)
        paper.paragraph(" ".join(told), gap=0.6)
    if film.left_out:
        paper.paragraph(
            f"Not learnt from the sheets, as there are {film.left_out}: ‘negcat print crib’ learns from them.",
            gap=0.6,
        )
    paper.skip(1.4)


def _developed_row(one: Developed, *, first: bool) -> list[str | Cell]:
    """Set a time; the first of its tag bears the tag, and is that to go by."""
    tag = Cell(one.tag.replace("-", "−") if first else "", bold=True)
    if one.time_s is None:
        return [tag, Cell("the archive knows no time for this tag", spans=True)]
    developer = ", ".join(part for part in (one.developer, one.dilution) if part)
    if one.source != "used":
        found = (
            ""
            if one.low_s is None or one.high_s is None
            else f"{format_clock(one.low_s)} to {format_clock(one.high_s)}"
        )
    elif one.found_n is None:
        found = "not measured"
    else:
        found = f"found {_interval(one.found_n, one.low_n, one.high_n, 1)}"
    return [
        tag,
        Cell(format_clock(one.time_s) + ("*" if one.note else ""), bold=first),
        "",
        _FROM[one.source],
        developer,
        "" if one.temperature_c is None else f"{one.temperature_c:g}",
        "" if one.source == "tests" else str(one.sheets),
        found,
    ]


def _interval(value: float, low: float | None, high: float | None, places: int) -> str:
    said = decimal(value, places, signed=True)
    if low is None or high is None:
        return said
    return f"{said} ({decimal(low, places, signed=True)} to {decimal(high, places, signed=True)})"


def _draw_lens(paper: Paper, lens: CribLens) -> None:
    paper.heading(lens.name, 16, keep=40)
    if lens.times:
        paper.heading(f"Shutter: {lens.shutter}", keep=24)
        _strip(
            paper,
            [
                ("marked", [time.marked for time in lens.times]),
                ("gives, s", [f"{time.measured_s:#.3g}".rstrip(".") for time in lens.times]),
                ("light, stops", [decimal(time.stops, 2, signed=True) for time in lens.times]),
            ],
            strong=2,
        )
    for cell in lens.cells:
        _draw_cell(paper, cell, named=len(lens.cells) > 1)


def _draw_cell(paper: Paper, cell: CribCell, *, named: bool) -> None:
    facts = f"{cell.focal_mm:g} mm" + (f", widest f/{cell.widest_stop}" if cell.widest_stop else "")
    paper.heading(f"{cell.name}, {facts}" if named else facts, keep=44)
    paper.paragraph(_correction(cell), 12, bold=True, gap=0.6)
    if cell.found is not None:
        light = "more" if cell.found > 0 else "less"
        low, high = cell.low, cell.high
        interval = (
            ""
            if low is None or high is None
            else f" (90 %: {decimal(low, signed=True)} to {decimal(high, signed=True)})"
        )
        paper.paragraph(
            f"Its sheets so far, {cell.sheets} measured, had {decimal(abs(cell.found))} stop {light} light than was "
            f"decided{interval}.",
            gap=0.6,
        )
    for sentence in cell.why:
        paper.paragraph(sentence, gap=0.6)
    paper.skip(1)
    _strip(
        paper,
        [
            ("bellows, mm", [f"{one.extension_mm:.0f}" for one in cell.extensions]),
            ("add, stops", [parts(one.stops) for one in cell.extensions]),
            ("or time", [factor(one.stops) for one in cell.extensions]),
            ("life size", [ratio(one.scale) for one in cell.extensions]),
        ],
        strong=1,
    )


def _correction(cell: CribCell) -> str:
    read = f"Read on the scale of the {cell.scale} cell: " if cell.scale else "Own scale: "
    if cell.correction is None:
        return read + "what to correct is not known."
    if round(cell.correction, 2) == 0:
        return read + "nothing to correct."
    way = "open up" if cell.correction > 0 else "close down"
    exact = decimal(cell.correction, signed=True)
    part = parts(cell.correction).lstrip("+−")
    return f"{read}{way} {part} ({exact} stops)." if part != "0" else f"{read}{way} a trifle ({exact} stops)."


def _strip(paper: Paper, lines: Sequence[tuple[str, Sequence[str]]], *, strong: int) -> None:
    """Set figures in strips: what they are at the left, one below the other, in as many strips as they need."""
    count = len(lines[0][1])
    for begin in range(0, count, _A_ROW):
        part = range(begin, min(begin + _A_ROW, count))
        paper.table(
            [Column("", 1.9), *(Column("", 1.1, "R") for _ in range(_A_ROW))],
            [
                [
                    name,
                    *(Cell(values[at], bold=row == strong) for at in part),
                ]
                for row, (name, values) in enumerate(lines)
            ],
            size=BODY,
        )
