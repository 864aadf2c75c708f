"""What was believed when a sheet was made, beside what is believed now."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from negcat import records
from negcat.catalogue import Catalogue, DatedChange
from negcat.work.archive import Archive
from negcat.work.planning import Equipment

__all__ = ["believed_now", "held_now", "set_back"]


def believed_now(archive: Archive, record: records.Sheet) -> dict[str, Any] | None:
    """Compute a sheet's exposure by what is believed now, where that isn't what was believed then.

    Parameters
    ----------
    archive : the archive, which is only read.
    record : the sheet's.

    Returns
    -------
    ``{"changes": [{"sentence", "effective_from", "advice"}], "exposure_index", "decision_stops", "ledger",
    "readings": [{"name", "planned_zone", "given_zone"}]}``; None where nothing the sheet was made with was
    changed after it was made.
    """
    then = Equipment(archive.catalogue)
    later = then.later_changes(record)
    if not later:
        return None
    now = Equipment(archive.catalogue, as_now=True)
    exposed = now.expose(record)
    return {
        "changes": [
            {
                "sentence": then.changes[place].sentence,
                "effective_from": then.changes[place].effective_from,
                "advice": then.changes[place].advice,
            }
            for place in later
        ],
        "exposure_index": now.exposure_index(record),
        "decision_stops": exposed.decision_stops,
        "ledger": [asdict(line) for line in exposed.lines],
        "readings": [
            {"name": one.name, "planned_zone": one.planned_zone, "given_zone": one.given_zone}
            for one in exposed.readings
        ],
    }


def held_now(catalogue: Catalogue, change: DatedChange) -> Any:
    """Give what the record says now of the figure that a dated change is about; None for nothing."""
    if change.film is not None:
        film = catalogue.film(change.film)
        value: Any = getattr(film, change.field, None)
        return (
            value.model_dump(mode="json", exclude_none=True) if isinstance(value, records.Record) else value
        )
    if change.lens is not None:
        lens = catalogue.lens(change.lens)
        cell = lens.cell_named(change.cell) if lens else None
        return cell.scale_error_stops if cell else None
    shutter = catalogue.shutter(change.shutter or "")
    measured = {time.text: seconds for time, seconds in shutter.measured.items()} if shutter else {}
    return measured.get(change.marked_time or "")


def set_back(catalogue: Catalogue, changed: Sequence[tuple[str, str]]) -> list[str]:
    """Say which accepted advice a record just taken has set back to what it was before.

    Parameters
    ----------
    catalogue : the open catalogue.
    changed : (list, name) of the records that were changed.

    Returns
    -------
    A sentence for each.
    """
    touched = set(changed)
    latest: dict[tuple[str | None, ...], DatedChange] = {}
    for change in catalogue.dated_changes():
        kinds = (("films", change.film), ("lenses", change.lens), ("shutters", change.shutter))
        if any((kind, name) in touched for kind, name in kinds):
            latest[change.figure] = change
    return [
        f"The record of {change.film or change.lens or change.shutter} says again what it said before the advice "
        f"{change.advice} was accepted, which holds no longer; write the accepted figure into its file."
        for change in latest.values()
        if change.before != change.after and (held_now(catalogue, change) or 0) == (change.before or 0)
    ]
