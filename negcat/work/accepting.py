"""Accepting an advice: written as a change that holds from a day on.

The record of the film, lens or shutter is taken anew as any other way in takes it, so that its history is kept;
beside it stands from when on the new figure holds. Sheets made before that day stay computed as it was believed
then. A developing time belongs to no record; it is kept by itself, for the sheets that wait to be developed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from difflib import get_close_matches
from typing import Any

from negcat.catalogue import AdvisedTime, Catalogue, DatedChange, Query
from negcat.errors import NegcatError, NotationError, UnknownNameError
from negcat.records import load_data
from negcat.work.archive import Archive
from negcat.work.catching_up import catch_up
from negcat.work.planning import Equipment
from negcat.work.review_advice import Advice
from negcat.work.review_words import minutes
from negcat.work.reviewing import review

__all__ = ["Accepted", "accept", "accepted_json", "accepted_so_far"]


@dataclass(frozen=True)
class Accepted:
    """What accepting an advice did.

    Parameters
    ----------
    advice : that was accepted.
    effective_from : from when on it holds.
    written : a sentence for each figure that was changed.
    recomputed : how many sheets, exposed since then, were computed anew.
    """

    advice: Advice
    effective_from: str
    written: tuple[str, ...]
    recomputed: int


def accept(
    archive: Archive,
    key: str,
    *,
    via: str,
    query: Query | None = None,
    effective_from: str | None = None,
    shown: str | None = None,
) -> Accepted:
    """Accept an advice.

    Parameters
    ----------
    archive : the archive, open for writing.
    key : the advice's, case aside.
    via : the way in, kept in the history.
    query : the sheets that the advice was read of; all where None.
    effective_from : date, or date and time, ISO 8601, from which on it holds; now where None.
    shown : the sentence that whoever accepts has read; where the sheets say something else by now, nothing is
        written.

    Raises
    ------
    UnknownNameError : there is no such advice.
    NotationError : `effective_from` is no date.
    NegcatError : the advice can't be written, or says something else by now.
    """
    when = _day(effective_from)
    catch_up(archive, via)
    catalogue = archive.catalogue
    accepted = catalogue.dated_changes(), catalogue.advised_times()
    done = review(archive, query or Query())
    advice = _named(done.advice, key, [change.advice for change in accepted[0]])
    if advice.not_accepted:
        raise NegcatError(f"{advice.key} can't be accepted: {advice.not_accepted}")
    if shown is not None and shown.strip() != advice.sentence:
        raise NegcatError(
            f"the sheets say something else by now, so nothing was written: {advice.sentence} Look at it, and accept "
            "that"
        )
    if advice.time is not None:
        if advice.accepted:
            raise NegcatError(f"{advice.key} is accepted already, since {advice.accepted}")
        time = replace(advice.time, effective_from=when, advice=advice.key, sentence=advice.sentence)
        with catalogue.writing():
            _refuse_accepted_meanwhile(catalogue, accepted)
            catalogue.keep_advised_time(time, via)
        said = f"{time.film}, {time.tag}: {minutes(time.time_s)} is advised where it waits to be developed."
        return Accepted(advice, when, (said,), 0)
    with catalogue.writing():
        _refuse_accepted_meanwhile(catalogue, accepted)
        waiting = set(catalogue.out_of_date())
        data, changes, written = _data(catalogue, advice, when)
        taken = catalogue.take([load_data(data, catalogue.known_names(), advice.key)], via=via)
        for change in changes:
            catalogue.keep_change(change, via)
        later = _exposed_since(catalogue, taken.changed_sheets, changes)
        catalogue.leave_as_computed(sorted(taken.changed_sheets - later - waiting))
    catch_up(archive, via)
    return Accepted(advice, when, tuple(written), len(later))


def _day(written: str | None) -> str:
    """Read the day from which on something holds."""
    if written is None or not written.strip():
        # By the clock on the wall, as field records are written.
        return datetime.now().astimezone().replace(tzinfo=None).isoformat(timespec="minutes")
    text = written.strip().replace(" ", "T")
    try:
        datetime.fromisoformat(text)
    except ValueError:
        raise NotationError(
            f"{written!r} is no day from which a change could hold; write it as 2026-05-03 or 2026-05-03 07:40"
        ) from None
    return text


def _refuse_accepted_meanwhile(
    catalogue: Catalogue, accepted: tuple[list[DatedChange], list[AdvisedTime]]
) -> None:
    """Refuse where another program has accepted something since the review was made: it may be the same."""
    if (catalogue.dated_changes(), catalogue.advised_times()) != accepted:
        raise NegcatError(
            "something else was accepted meanwhile, so nothing was written; look at the review again, and accept what "
            "it says now"
        )


def _named(given: Sequence[Advice], key: str, accepted: Sequence[str]) -> Advice:
    wanted = key.strip().casefold()
    for advice in given:
        if advice.key == wanted:
            return advice
    if wanted in accepted:
        raise UnknownNameError(f"{wanted} is accepted already, and the sheets don't advise it again")
    keys = [advice.key for advice in given]
    if not keys:
        raise UnknownNameError(f"there is no advice '{key}': these sheets give none yet")
    near = get_close_matches(wanted, keys, 3, 0.5) or keys
    raise UnknownNameError(f"there is no advice '{key}'; there is {', '.join(near)}")


def _data(
    catalogue: Catalogue, advice: Advice, when: str
) -> tuple[dict[str, Any], list[DatedChange], list[str]]:
    """Write the records with what is advised, the changes with what was, and a sentence for each."""
    records: dict[tuple[str, str], dict[str, Any]] = {}

    def record(kind: str, name: str) -> dict[str, Any]:
        if (kind, name) not in records:
            found = catalogue.record(kind, name)
            assert found is not None  # the advice was read of it
            records[kind, name] = found.model_dump(mode="json", exclude_none=True)
        return records[kind, name]

    changes, written = [], []
    for change in advice.changes:
        if change.film is not None:
            held, place, name = record("films", change.film), str(change.field), change.film
        elif change.lens is not None:
            lens = record("lenses", change.lens)
            held = next(cell for cell in lens["cells"] if cell["cell"] == change.cell)
            place, name = str(change.field), f"{change.lens} / {change.cell}"
        else:
            assert change.shutter is not None  # there is nothing else to change
            assert change.marked_time is not None
            held = record("shutters", change.shutter).setdefault("measured", {})
            place, name = change.marked_time, f"{change.shutter} / {change.marked_time}"
        before = held.get(place)
        held[place] = change.after
        changes.append(
            replace(change, before=before, effective_from=when, advice=advice.key, sentence=advice.sentence)
        )
        written.append(f"{name}: {_figure_words(change.field)} {_plain(before)} → {_plain(change.after)}.")
    data: dict[str, Any] = {}
    for (kind, _), one in records.items():
        data.setdefault(kind, []).append(one)
    return data, changes, written


def _figure_words(field: str) -> str:
    return {
        "exposure_index": "exposure index",
        "reciprocity": "reciprocity",
        "scale_error_stops": "error of the stop scale, stops",
        "measured": "measured, s",
    }[field]


def _plain(value: Any) -> str:
    if value is None:
        return "none on record"
    if isinstance(value, dict):
        if value.get("law") == "power":
            return f"exponent {value['exponent']:g} from {value.get('from_s', 1):g} s"
        return str(value.get("law"))
    return f"{value:g}".replace("-", "−")


def _exposed_since(catalogue: Catalogue, sheets: set[str], changes: Sequence[DatedChange]) -> set[str]:
    """Find the sheets that the changes hold for: those not made before them."""
    equipment = Equipment(catalogue)
    own = {(change.figure, change.effective_from) for change in changes}
    kept = [change for change in equipment.changes if (change.figure, change.effective_from) in own]
    since = set()
    for record in catalogue.sheets(sorted(sheets)):
        undone = [equipment.changes[place] for place in equipment.later_changes(record)]
        if any(equipment.concerns(change, record) and change not in undone for change in kept):
            since.add(record.sheet)
    return since


def accepted_json(done: Accepted) -> dict[str, Any]:
    """Give what ``negcat review --accept NAME --json`` prints."""
    return {
        "accepted": done.advice.key,
        "sentence": done.advice.sentence,
        "effective_from": done.effective_from,
        "written": list(done.written),
        "recomputed": done.recomputed,
    }


def accepted_so_far(archive: Archive) -> list[dict[str, Any]]:
    """List what was accepted, the earliest first.

    Returns
    -------
    ``{"key", "sentence", "holds_from", "accepted_at", "via"}`` for each advice.
    """
    catalogue = archive.catalogue
    kept: list[DatedChange | AdvisedTime] = [*catalogue.dated_changes(), *catalogue.advised_times()]
    # One advice on several cells of a lens is several changes, and was accepted once.
    once = {(one.accepted_at, one.advice): one for one in kept}
    return [
        {
            "key": one.advice,
            "sentence": one.sentence,
            "holds_from": one.effective_from,
            "accepted_at": one.accepted_at,
            "via": one.accepted_via,
        }
        for one in sorted(once.values(), key=lambda one: one.accepted_at)
    ]
