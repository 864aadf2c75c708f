"""What leaves the catalogue: records in the order they were taken, bit by bit whatever their number."""

from __future__ import annotations

from collections.abc import Iterator

from negcat.catalogue.store import Catalogue
from negcat.records import KEYS, Record, Records, Sheet, Spot

__all__ = ["leaving", "most_readings"]

_AT_ONCE = 500


def leaving(catalogue: Catalogue, *, naming_scans: bool = True) -> Iterator[tuple[str, Iterator[Record]]]:
    """Give every list of a record file, with its records in the order they were taken.

    Parameters
    ----------
    catalogue : the open catalogue.
    naming_scans : where a sheet has several scans, say at its spots which one they were set on, which the order of
        the scans alone would no longer tell elsewhere.

    Yields
    ------
    A list's name and its records.
    """
    for name in Records.MODELS:
        yield name, _records(catalogue, name, naming_scans=naming_scans)


def most_readings(catalogue: Catalogue) -> int:
    """Tell how many readings the sheet with most of them has."""
    return int(catalogue.value("select coalesce(max(position) + 1, 0) from readings"))


def _records(catalogue: Catalogue, name: str, *, naming_scans: bool) -> Iterator[Record]:
    if name not in KEYS:
        yield from catalogue.accepted(name)
        return
    names = catalogue.names(name)
    set_on = _set_on(catalogue) if name == "sheets" and naming_scans else {}
    for start in range(0, len(names), _AT_ONCE):
        for record in catalogue.records(name, names[start : start + _AT_ONCE]):
            scan = set_on.get(record.sheet) if isinstance(record, Sheet) else None
            yield _naming(record, scan) if isinstance(record, Sheet) and scan else record


def _set_on(catalogue: Catalogue) -> dict[str, str]:
    """Tell the scan that the spots of each sheet with several scans were set on."""
    return dict(
        catalogue.tuples(
            "select k.sheet, k.scan from spot_scans k join scans n on n.scan = k.scan and n.sheet = k.sheet"
            " where (select count(*) from scans o where o.sheet = k.sheet) > 1"
        )
    )


def _naming(sheet: Sheet, scan: str) -> Sheet:
    """Say of every spot that doesn't which scan it was set on."""

    def named(spot: Spot | None) -> Spot | None:
        return spot if spot is None or spot.scan else spot.model_copy(update={"scan": scan})

    readings = tuple(one.model_copy(update={"spot": named(one.spot)}) for one in sheet.readings)
    return sheet.model_copy(update={"readings": readings, "base_fog_spot": named(sheet.base_fog_spot)})
