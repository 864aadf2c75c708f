"""A batch of sheets to be developed together: drafted from what waits, and taken when it is done."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from negcat.catalogue import Catalogue
from negcat.errors import Fault, RecordError
from negcat.notation import format_tag, parse_tag
from negcat.work.archive import Archive
from negcat.work.drafting import next_free
from negcat.work.film_story import film_story
from negcat.work.naming import known_name
from negcat.work.pending import advised_for
from negcat.work.taking import Outcome, take_record_data

__all__ = ["DraftBatch", "UsedTime", "draft_batch", "record_batch"]

_NAME = "the form"

_LIKE_THE_LAST = ("developer", "dilution", "temperature_c", "method", "agitation")
"""What stays from one batch of a film to the next. The time doesn't: it is decided by the tag and the day."""


@dataclass(frozen=True)
class UsedTime:
    """What a film was developed for before, for the same tag.

    Parameters
    ----------
    developer, dilution, temperature_c, time, time_s : of the batches that were developed alike.
    batches : their ids, the newest first.
    sheets : how many sheets.
    found_n, low_n, high_n : mean of the N found, with its 90 % interval; None where none was found.
    """

    developer: str
    dilution: str | None
    temperature_c: float | None
    time: str
    time_s: float
    batches: tuple[str, ...]
    sheets: int
    found_n: float | None
    low_n: float | None
    high_n: float | None


@dataclass(frozen=True)
class DraftBatch:
    """What the record of a new batch begins with.

    Parameters
    ----------
    film, tag : whose sheets wait.
    record : the fields of the batch's record that can be foreseen, as they would be written.
    waiting : every sheet of that film and tag that waits, in the order they were taken.
    others : sheets of the same film that wait with another tag: (tag, sheets).
    used : times used before for this film and tag.
    advised : times that were accepted for them, in words.
    """

    film: str
    tag: str
    record: Mapping[str, str]
    waiting: tuple[str, ...]
    others: tuple[tuple[str, tuple[str, ...]], ...]
    used: tuple[UsedTime, ...]
    advised: tuple[str, ...] = ()


def draft_batch(archive: Archive, film: str, tag: str, today: date) -> DraftBatch:
    """Draft the batch of the sheets that wait for development with a film and a tag.

    Parameters
    ----------
    archive : the archive, which is only read.
    film, tag : whose sheets.
    today : the day it is developed on.

    Raises
    ------
    UnknownNameError : no such film.
    NotationError : the tag can't be read.
    """
    catalogue = archive.catalogue
    film = known_name(catalogue, "film", film)
    tag = format_tag(parse_tag(tag).n)
    waiting = {
        format_tag(parse_tag(group["tag"]).n): tuple(map(str, group["sheets"]))
        for group in catalogue.to_develop()
        if group["film"] == film
    }
    batches = catalogue.batches_of_film(film)
    last = catalogue.development(batches[0]["batch"]) if batches else None
    record = {"batch": _next_batch(catalogue), "date": today.isoformat(), "tag": tag}
    for field in _LIKE_THE_LAST:
        value = getattr(last, field, None)
        if value is not None:
            record[field] = f"{value:g}" if isinstance(value, float) else str(value)
    return DraftBatch(
        film=film,
        tag=tag,
        record=record,
        waiting=waiting.pop(tag, ()),
        others=tuple(waiting.items()),
        used=_used(film_story(archive, film)["developments"], tag),
        advised=tuple(str(time["sentence"]) for time in advised_for(catalogue, film, tag)),
    )


def _next_batch(catalogue: Catalogue) -> str:
    names = catalogue.names("developments")
    taken = {name.casefold() for name in names}
    return next_free(names[-1] if names else None, lambda name: name.casefold() in taken)


def _used(developments: Sequence[Mapping[str, Any]], tag: str) -> tuple[UsedTime, ...]:
    return tuple(
        UsedTime(
            developer=str(one["developer"]),
            dilution=one["dilution"],
            temperature_c=one["temperature_c"],
            time=str(one["time"]),
            time_s=float(one["time_s"]),
            batches=tuple(map(str, one["batches"])),
            sheets=int(one["sheets"]),
            found_n=one["found_n"]["mean"],
            low_n=one["found_n"]["low"],
            high_n=one["found_n"]["high"],
        )
        for one in developments
        if format_tag(parse_tag(one["tag"]).n) == tag
    )


def record_batch(archive: Archive, written: Mapping[str, Any], *, via: str) -> tuple[str, Outcome]:
    """Take the record of a batch that was developed.

    Parameters
    ----------
    archive : the archive, open for writing.
    written : the record as plain data.
    via : the way in, kept in the history.

    Returns
    -------
    The batch's id, and what became of it.

    Raises
    ------
    RecordError : the record has faults, names a sheet that is developed already, or bears the id of another
        batch. Nothing is taken then.
    """

    def look() -> None:
        faults = _not_waiting(archive.catalogue, written)
        if faults:
            raise RecordError(faults)

    outcome = take_record_data(archive, {"developments": [written]}, via=via, name=_NAME, look=look)
    return str(written["batch"]).strip(), outcome


def _not_waiting(catalogue: Catalogue, written: Mapping[str, Any]) -> list[Fault]:
    """Name what of a new batch is in the archive already."""
    faults = []
    batch = str(written.get("batch") or "").strip()
    if batch.casefold() in {name.casefold() for name in catalogue.names("developments")}:
        free = _next_batch(catalogue)
        what = f"batch '{batch}' is in the archive already; the next free id is {free}"
        faults.append(Fault(_NAME, "batch", what, ("developments", 0, "batch")))
    waiting = {str(sheet) for group in catalogue.to_develop() for sheet in group["sheets"]}
    for sheet in written.get("sheets") or ():
        if catalogue.has_sheet(str(sheet)) and sheet not in waiting:
            what = f"sheet {sheet} doesn't wait for development any more; leave it out of this batch"
            faults.append(Fault(_NAME, "sheets", what, ("developments", 0, "sheets")))
    return faults
