"""Writing down that a side of a film holder was loaded or emptied."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from negcat.work.archive import Archive
from negcat.work.taking import Outcome, take_record_data
from negcat.work.writing_out import written_out

__all__ = ["load_side"]


def load_side(
    archive: Archive, holder: str, side: str, film: str | None, loaded_at: str, *, via: str
) -> Outcome:
    """Write down that a side of a holder was loaded, or emptied.

    Parameters
    ----------
    archive : the archive, open for writing.
    holder, side : which; a new holder or side is added.
    film : the film loaded; None: emptied.
    loaded_at : when, ISO 8601.
    via : the way in, kept in the history.

    Raises
    ------
    RecordError : there is no such film, or the time can't be read.
    """
    names = {one.holder.casefold(): one for one in archive.catalogue.holders()}
    known = names.get(holder.casefold())
    record: dict[str, Any] = written_out(known) if known else {"holder": holder}
    now = {"side": side, "loaded_at": loaded_at, **({"film": film} if film else {})}
    record["sides"] = _with_side(record.get("sides", ()), now)
    return take_record_data(archive, {"holders": [record]}, via=via, name="the holder")


def _with_side(sides: Sequence[Mapping[str, Any]], now: Mapping[str, Any]) -> list[dict[str, Any]]:
    loaded = [dict(one) for one in sides]
    for place, one in enumerate(loaded):
        if str(one["side"]).casefold() == str(now["side"]).casefold():
            loaded[place] = {**now, "side": one["side"]}
            return loaded
    return [*loaded, dict(now)]
