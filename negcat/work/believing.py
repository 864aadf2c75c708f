"""What was believed when a sheet was made, beside what is believed now."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from negcat import records
from negcat.work.archive import Archive
from negcat.work.planning import Equipment

__all__ = ["believed_now"]


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
