"""A batch of sheets to be developed together: drafted from what waits, and taken when it is done."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date
from typing import Any, Literal

from negcat.catalogue import Catalogue, Query
from negcat.errors import Fault, RecordError
from negcat.notation import format_tag, parse_tag
from negcat.sensitometry.temperature import at_temperature
from negcat.work.archive import Archive
from negcat.work.curves import film_curves, times_from_sheets
from negcat.work.drafting import next_free
from negcat.work.film_story import film_story
from negcat.work.naming import known_name
from negcat.work.pending import advised_for
from negcat.work.review_words import minutes
from negcat.work.taking import Outcome, take_record_data

__all__ = ["DraftBatch", "TimeToTry", "UsedTime", "draft_batch", "record_batch", "times_at", "times_to_try"]

SOURCES = {"accepted": "as accepted", "sheets": "learnt from the sheets", "tests": "from film tests alone"}
"""Where a time to try is from, in words."""

_UNTRIED = "No time like it was tried yet: go there in two steps."

SHEETS_AT_ONCE = 1000
"""Sheets of a film that are learnt from without being asked: some seconds' work at most."""

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
class TimeToTry:
    """A time to develop for, at the temperature asked for.

    Parameters
    ----------
    source : ``accepted``, ``sheets`` (learnt from ordinary sheets, with film tests where there are any) or
        ``tests`` (film tests alone).
    developer, dilution : the process.
    temperature_c : the time is for; None where nobody knows which it was used at.
    time_s, low_s, high_s : the time and its 90 % interval.
    note : what must be known about it, else empty.
    sheets : that it rests on; 0 for film tests alone.
    """

    source: Literal["accepted", "sheets", "tests"]
    developer: str | None
    dilution: str | None
    temperature_c: float | None
    time_s: float
    low_s: float
    high_s: float
    note: str = ""
    sheets: int = 0

    def words(self) -> str:
        """Say it in a line."""
        degrees = f"{self.temperature_c:g} °C" if self.temperature_c is not None else ""
        process = ", ".join(part for part in (self.developer, self.dilution, degrees) if part)
        interval = f"90 % interval {minutes(self.low_s)} to {minutes(self.high_s)}"
        return (
            f"{minutes(self.time_s)} in {process} ({interval}), {SOURCES[self.source]}. {self.note}".strip()
        )


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
    times : times to try, at the temperature asked for.
    temperature_c : that temperature; None where none was asked for and none is on record.
    left_out : whether there are too many sheets to learn from while somebody waits.
    """

    film: str
    tag: str
    record: Mapping[str, str]
    waiting: tuple[str, ...]
    others: tuple[tuple[str, tuple[str, ...]], ...]
    used: tuple[UsedTime, ...]
    times: tuple[TimeToTry, ...]
    temperature_c: float | None
    left_out: bool


def draft_batch(
    archive: Archive,
    film: str,
    tag: str,
    today: date,
    *,
    temperature_c: float | None = None,
    learn: bool = False,
) -> DraftBatch:
    """Draft the batch of the sheets that wait for development with a film and a tag.

    Parameters
    ----------
    archive : the archive, which is only read.
    film, tag : whose sheets.
    today : the day it is developed on.
    temperature_c : that the times are wanted for; None: the last batch's.
    learn : learn from the sheets however many there are.

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
    if temperature_c is not None:
        record["temperature_c"] = f"{temperature_c:g}"
    elif last is not None:
        temperature_c = last.temperature_c
    few = learn or catalogue.find(Query(film=film, limit=0)).count <= SHEETS_AT_ONCE
    return DraftBatch(
        film=film,
        tag=tag,
        record=record,
        waiting=waiting.pop(tag, ()),
        others=tuple(waiting.items()),
        used=_used(film_story(archive, film)["developments"], tag),
        times=tuple(
            times_to_try(archive, film, tag, temperature_c, times_from_sheets(archive, film) if few else ())
        ),
        temperature_c=temperature_c,
        left_out=not few,
    )


def times_to_try(
    archive: Archive,
    film: str,
    tag: str,
    temperature_c: float | None,
    from_sheets: Sequence[Mapping[str, Any]] = (),
) -> Iterator[TimeToTry]:
    """Give the times to develop a film for, to reach a tag: those accepted, then by the sheets, then by film tests.

    Parameters
    ----------
    archive : the archive, which is only read.
    film : its name.
    tag : the development wanted.
    temperature_c : that the times are wanted for; None: that each was used at.
    from_sheets : what the film's sheets say, by :func:`negcat.work.curves.times_from_sheets`.
    """
    n = parse_tag(tag).n
    for one in advised_for(archive.catalogue, film, tag):
        process = (one["developer"], one["dilution"])
        times = (one["time_s"], one["low_s"], one["high_s"])
        time = _try_at("accepted", process, times, one["temperature_c"], temperature_c, "")
        yield replace(time, sheets=one["sheets"])
    for told in from_sheets:
        times = (told["advised_time_s"], told["advised_low_s"], told["advised_high_s"])
        if parse_tag(told["tag"]).n == n and None not in times:
            process = (told["developer"], told["dilution"])
            note = _UNTRIED if told["outside_tried"] else ""
            time = _try_at("sheets", process, times, told["temperature_c"], temperature_c, note)
            yield replace(time, sheets=told["sheets"])
    for tested in film_curves(archive, film, temperature_c=temperature_c).processes:
        if tested.law is None:
            continue
        found = tested.law.time_for(n, temperature_c)
        if found.time_s is not None and found.low_s is not None and found.high_s is not None:
            yield TimeToTry(
                source="tests",
                developer=tested.developer,
                dilution=tested.dilution,
                temperature_c=temperature_c if temperature_c is not None else tested.law.reference_c,
                time_s=found.time_s,
                low_s=found.low_s,
                high_s=found.high_s,
                note=" ".join(part for part in (_UNTRIED if found.outside_tried else "", found.note) if part),
            )


def times_at(archive: Archive, groups: Sequence[dict[str, Any]], temperature_c: float) -> None:
    """Add to groups of waiting sheets the times to develop them for.

    Parameters
    ----------
    archive : the archive, which is only read.
    groups : as ``negcat pending --json`` lists under ``develop``; each gets ``times``.
    temperature_c : that the times are wanted for.
    """
    # To learn from sheets takes long: once a film, whatever the tags.
    films = dict.fromkeys(str(group["film"]) for group in groups)
    from_sheets = {film: times_from_sheets(archive, film) for film in films}
    for group in groups:
        film = group["film"]
        group["times"] = [
            {**asdict(time), "sentence": time.words()}
            for time in times_to_try(archive, film, group["tag"], temperature_c, from_sheets[film])
        ]


def _try_at(
    source: Literal["accepted", "sheets"],
    process: tuple[str | None, str | None],
    times: tuple[float, float, float],
    used_c: float | None,
    wanted_c: float | None,
    note: str,
) -> TimeToTry:
    """Turn a time used at one temperature into one for another, where both are known."""
    if used_c is not None and wanted_c is not None and used_c != wanted_c:
        times = at_temperature(*times, used_c, wanted_c)
        moved = f"Worked out from {used_c:g} °C by the rule that 10 °C more double the speed, 2.0 ± 0.5."
        return TimeToTry(source, *process, wanted_c, *times, f"{note} {moved}".strip())
    if used_c is None and wanted_c is not None:
        note = f"{note} At which temperature it was used isn't recorded.".strip()
    return TimeToTry(source, *process, used_c, *times, note)


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
