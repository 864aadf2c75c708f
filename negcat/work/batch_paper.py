"""The batch sheet for the sink, drawn from the archive: of a batch on record, or of sheets that wait."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from typing import Any

from negcat import records
from negcat.catalogue import Catalogue
from negcat.errors import UnknownNameError
from negcat.notation import format_tag, parse_tag
from negcat.papers import BatchSheet, Drawn, InBatch, PaperSize, UsedBefore, draw_batch_sheet
from negcat.work.archive import Archive
from negcat.work.film_story import film_story
from negcat.work.naming import known_name, known_sheet
from negcat.work.paper_words import figure, joined, one_line, tag_words

__all__ = ["batch_sheet", "waiting_sheet"]


def batch_sheet(archive: Archive, batch: str, *, size: PaperSize, printed: date) -> Drawn:
    """Draw the sheet of a batch on record.

    Parameters
    ----------
    archive : the archive, which is only read.
    batch : its id, case aside.
    size : of the paper.
    printed : the day.

    Raises
    ------
    UnknownNameError : no such batch.
    """
    catalogue = archive.catalogue
    record = catalogue.development(known_name(catalogue, "batch", batch))
    assert record is not None  # it was just found
    sheets = [sheet for sheet in catalogue.sheets(list(record.sheets)) if sheet is not None]
    films = list(dict.fromkeys(sheet.film for sheet in sheets))
    tag = record.tag.text if record.tag else None
    tags = [tag] if tag else list(dict.fromkeys(sheet.tag.text for sheet in sheets))
    drawn = BatchSheet(
        batch=record.batch,
        film=" and ".join(films) or "film not on record",
        tag=" and ".join(tag_words(one) for one in tags) or "tag not on record",
        developer=record.developer,
        dilution=record.dilution or "",
        temperature=figure(record.temperature_c),
        method=record.method or "",
        agitation=record.agitation or "",
        date=record.date or "",
        time_s=record.time.seconds,
        advised_s=_advised(catalogue, films[0], tags[0]) if len(films) == len(tags) == 1 else None,
        sheets=list(_in_batch(sheets, tag)),
    )
    return draw_batch_sheet(drawn, size=size, archive=archive.root.name, printed=printed)


def waiting_sheet(
    archive: Archive,
    film: str,
    tag: str,
    *,
    size: PaperSize,
    printed: date,
    sheets: Sequence[str] = (),
) -> Drawn:
    """Draw the sheet of a batch that waits to be developed.

    Parameters
    ----------
    archive : the archive, which is only read.
    film, tag : whose sheets.
    size : of the paper.
    printed : the day.
    sheets : which of those that wait; all of them where none is named.

    Raises
    ------
    UnknownNameError : no such film or sheet, or none that waits with this film and tag.
    NotationError : the tag can't be read.
    """
    catalogue = archive.catalogue
    film = known_name(catalogue, "film", film)
    tag = format_tag(parse_tag(tag).n)
    groups = catalogue.to_develop()
    waiting = [
        str(sheet)
        for group in groups
        if group["film"] == film and format_tag(parse_tag(group["tag"]).n) == tag
        for sheet in group["sheets"]
    ]
    if not waiting:
        raise UnknownNameError(
            f"no sheet on {film} waits to be developed {tag}; 'negcat pending' lists what waits, by film and tag"
        )
    if sheets:
        chosen = [known_sheet(catalogue, sheet).sheet for sheet in sheets]
        others = [sheet for sheet in chosen if sheet not in waiting]
        if others:
            raise UnknownNameError(
                f"{', '.join(others)} doesn’t wait to be developed on {film} {tag}; 'negcat pending' lists what waits"
            )
        waiting = list(dict.fromkeys(chosen))
    used = [one for one in film_story(archive, film)["developments"] if _n(one["tag"]) == _n(tag)]
    drawn = BatchSheet(
        batch="",
        film=film,
        tag=tag_words(tag),
        advised_s=_advised(catalogue, film, tag),
        sheets=list(_in_batch(catalogue.sheets(waiting), tag)),
        used=[_used(one) for one in used],
    )
    return draw_batch_sheet(drawn, size=size, archive=archive.root.name, printed=printed)


def _n(tag: str) -> float:
    return parse_tag(tag).n


def _advised(catalogue: Catalogue, film: str, tag: str) -> tuple[float, float, float] | None:
    """Give the time accepted last for a film and tag, s, with its interval; None where there is none, or several."""
    found = [time for time in catalogue.advised_times() if time.film == film and time.tag_n == _n(tag)]
    if len({(time.developer, time.dilution, time.temperature_c) for time in found}) != 1:
        return None
    return found[-1].time_s, found[-1].low_s, found[-1].high_s


def _used(one: Mapping[str, Any]) -> UsedBefore:
    temperature = one["temperature_c"]
    return UsedBefore(
        process=joined(
            one["developer"], one["dilution"], "" if temperature is None else f"{temperature:g} °C"
        ),
        time_s=one["time_s"],
        sheets=one["sheets"],
        found_n=one["found_n"]["mean"],
        low_n=one["found_n"]["low"],
        high_n=one["found_n"]["high"],
    )


def _in_batch(sheets: Sequence[records.Sheet], tag: str | None) -> Iterator[InBatch]:
    for sheet in sheets:
        own = sheet.tag.text
        yield InBatch(
            sheet=sheet.sheet,
            holder=joined(sheet.holder, sheet.side),
            format=sheet.format or "",
            subject=one_line(sheet.subject),
            tag=tag_words(own) if tag is None or _n(own) != _n(tag) else "",
        )
