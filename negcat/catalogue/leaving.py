"""What leaves the catalogue: records in the order they were taken, bit by bit whatever their number."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass

from negcat.catalogue.store import Catalogue
from negcat.records import KEYS, Development, Record, Records, Sheet, Spot

__all__ = ["Master", "masters_leaving", "most_readings", "records_leaving"]

_AT_ONCE = 500


def records_leaving(
    catalogue: Catalogue, *, naming_scans: bool = True
) -> Iterator[tuple[str, Iterator[Record]]]:
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
            if isinstance(record, Development) and not record.sheets:
                continue  # its sheets were all removed, and a batch of none is no record
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


@dataclass(frozen=True)
class Master:
    """A picture file that the catalogue rests on.

    Parameters
    ----------
    what : ``negative``, ``tablet`` or ``film test``.
    scan : the scan's id; None where it has none.
    shows : the sheet, tablet or film test that it shows; None where that isn't known.
    paths : where it was seen, as the catalogue keeps paths, the likeliest first.
    sha256, size_bytes : of what was taken; None where that isn't known.
    """

    what: str
    scan: str | None
    shows: str | None
    paths: tuple[str, ...]
    sha256: str | None
    size_bytes: int | None


def masters_leaving(catalogue: Catalogue) -> Iterator[Master]:
    """Give every picture file that the catalogue rests on: scans, tablets' scans, film tests' scans."""
    for part in catalogue.in_parts(
        "select n.scan, n.sheet, n.path, n.sha256, n.size_bytes, (select json_group_array(p.path) from scan_paths p"
        " where p.scan = n.scan and p.path <> n.path) from scans n order by n.taken_order",
        (),
        _AT_ONCE,
    ):
        for scan, sheet, path, sha256, size_bytes, others in part:
            yield Master("negative", scan, sheet, (path, *json.loads(others)), sha256, size_bytes)
    for tablet, path, sha256 in catalogue.tuples(
        "select min(tablet), scan_path, scan_sha256 from profiles where scan_path is not null and scan_sha256 is not"
        " null and scan_sha256 not in (select sha256 from scans) group by scan_sha256 order by min(id)"
    ):
        yield Master("tablet", sha256[:12], tablet, (path,), sha256, None)
    for test, path in catalogue.tuples(
        "select test, scan from film_tests where scan is not null and scan not in (select path from scan_paths)"
        " and scan not in (select path from scans) order by rowid"
    ):
        yield Master("film test", None, test, (path,), None, None)
