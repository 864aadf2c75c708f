"""Film holders: what is loaded where, what was exposed in it since, and records that contradict it.

Holders are optional: nothing is said of one that has no record.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from negcat import records
from negcat.catalogue import Catalogue
from negcat.catalogue.loaded import ExposedIn
from negcat.work.archive import Archive

__all__ = ["LoadedSide", "contradictions", "holders", "holders_json"]


@dataclass(frozen=True)
class LoadedSide:
    """One side of a holder, as it stands now.

    Parameters
    ----------
    holder, side, format : which.
    film : the film loaded; None: empty.
    loaded_at : since when; None where the record doesn't say.
    sheets : ids of the sheets exposed in it since.
    developed : those of them that are developed, and so no longer in it.
    """

    holder: str
    side: str
    format: str | None
    film: str | None
    loaded_at: str | None
    sheets: tuple[str, ...]
    developed: tuple[str, ...]

    @property
    def state(self) -> str:
        """``empty``, ``loaded``, ``exposed``, or ``developed`` where it waits to be loaded again."""
        if self.film is None:
            return "empty"
        if not self.sheets:
            return "loaded"
        return "developed" if len(self.developed) == len(self.sheets) else "exposed"


def holders(archive: Archive) -> tuple[LoadedSide, ...]:
    """List every side of every holder on record."""
    catalogue = archive.catalogue
    listed = []
    for holder in catalogue.holders():
        exposed = catalogue.exposed_in(holder.holder)
        for side in holder.sides:
            since = [one for one in exposed if _since(one, side)]
            listed.append(
                LoadedSide(
                    holder=holder.holder,
                    side=side.side,
                    format=holder.format,
                    film=side.film,
                    loaded_at=side.loaded_at,
                    sheets=tuple(one.sheet for one in since),
                    developed=tuple(one.sheet for one in since if one.developed),
                )
            )
    return tuple(listed)


def holders_json(sides: Iterable[LoadedSide]) -> dict[str, Any]:
    """Give what ``negcat holders --json`` prints."""
    return {"holders": [{**asdict(side), "state": side.state} for side in sides]}


def _since(exposed: ExposedIn, side: records.HolderSide) -> bool:
    """Tell whether a sheet was exposed in a side after it was loaded, as far as the two dates say."""
    if (exposed.side or "").casefold() != side.side.casefold():
        return False
    return not _before(exposed.exposed_at, side.loaded_at)


def _before(at: str | None, loaded_at: str | None) -> bool:
    """Tell whether a time was surely before another; of a day without a time of day only the day counts."""
    if at is None or loaded_at is None:
        return False
    length = min(len(at), len(loaded_at), len("2026-04-17T10:30"))
    return at[:length].replace(" ", "T") < loaded_at[:length].replace(" ", "T")


def contradictions(catalogue: Catalogue, sheets: Iterable[records.Sheet]) -> list[str]:
    """Say where the records of sheets contradict what their holders were loaded with.

    Parameters
    ----------
    catalogue : the open catalogue; the sheets may be in it already.
    sheets : their records.

    Returns
    -------
    Sentences; none of a sheet whose holder has no record, or was loaded again since.
    """
    known = {holder.holder.casefold(): holder for holder in catalogue.holders()}
    exposed: dict[str, list[ExposedIn]] = {}
    said = []
    for sheet in sheets if known else ():
        holder = known.get((sheet.holder or "").casefold())
        if holder is not None and sheet.side is not None:
            if holder.holder not in exposed:
                exposed[holder.holder] = catalogue.exposed_in(holder.holder)
            said += [
                f"{sheet.sheet}: {sentence}."
                for sentence in _contradictions(sheet, sheet.side, holder, exposed[holder.holder])
            ]
    return said


def _contradictions(
    sheet: records.Sheet, named: str, holder: records.Holder, exposed: Sequence[ExposedIn]
) -> Iterator[str]:
    again = "if it was loaded again meanwhile, write that down at the holder"
    side = next((one for one in holder.sides if one.side.casefold() == named.casefold()), None)
    if side is None:
        has = ", ".join(one.side for one in holder.sides)
        yield f"holder {holder.holder} has no side {named} on record; it has {has}"
        return
    if _before(sheet.exposed_at, side.loaded_at):
        return  # what was in it before isn't known any more
    where = f"holder {holder.holder}, side {side.side}"
    since = f" since it was loaded on {side.loaded_at[:10]}" if side.loaded_at else ""
    if side.film is None:
        yield f"{where}, is empty on record; {again}"
        return
    if side.film != sheet.film:
        yield f"{where}, holds {side.film}{since}, not {sheet.film}; {again}"
    others = [one.sheet for one in exposed if one.sheet != sheet.sheet and _since(one, side)]
    if others:
        were = "was" if len(others) == 1 else "were"
        yield f"{', '.join(others)} {were} exposed in {where}, already{since}: a double exposure, or else {again}"
