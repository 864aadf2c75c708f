"""Names that users type: found in the archive, or a sentence that names the nearest known ones."""

from __future__ import annotations

import unicodedata
from typing import Any

from negcat import records, scans
from negcat.catalogue import Catalogue
from negcat.errors import UnknownNameError
from negcat.places import place_of
from negcat.work.archive import Archive

__all__ = ["RemovedSheetError", "known_name", "known_scan", "known_sheet", "unknown"]

PLURALS = {
    "sheet": "sheets",
    "scanner": "scanners",
    "tablet": "tablets",
    "scan": "scans",
    "lens": "lenses",
    "film": "films",
    "batch": "developments",
    "shutter": "shutters",
    "holder": "holders",
    "print target": "print_targets",
    "film test": "film_tests",
}


class RemovedSheetError(UnknownNameError):
    """A sheet that was removed, and may be brought back.

    Parameters
    ----------
    sheet : its id.
    at : when it was removed, UTC.
    """

    def __init__(self, sheet: str, at: str) -> None:
        super().__init__(
            f"sheet {sheet} was removed on {at[:10]}; 'negcat remove --undo {sheet}' brings it back"
        )
        self.sheet, self.at = sheet, at


def unknown(catalogue: Catalogue, kind: str, name: str) -> UnknownNameError:
    """Make the error that says a name is unknown and which known ones are nearest.

    Parameters
    ----------
    catalogue : the open catalogue.
    kind : the word for one of them: ``sheet``, ``scan``, ``lens``, ``print target`` …
    name : what was asked for.
    """
    nearest = catalogue.nearest(PLURALS[kind], name)
    if nearest:
        hint = f"the nearest known: {', '.join(nearest)}"
    else:
        hint = {
            "sheet": "record it first, or list what there is with 'negcat find'",
            "scan": "'negcat pending' lists the scans that wait",
        }.get(kind, f"record it first, as 'negcat record' takes {PLURALS[kind]}")
    return UnknownNameError(f"the archive holds no {kind} '{name}'; {hint}")


def known_sheet(catalogue: Catalogue, written: str) -> records.Sheet:
    """Give the sheet of an id, case aside where that leaves one.

    Raises
    ------
    RemovedSheetError : it was removed.
    UnknownNameError : no such sheet.
    """
    sheet = catalogue.sheet_id(written)
    record = catalogue.sheet(sheet) if sheet is not None else None
    if record is None:
        removed = catalogue.removed_sheet(written)
        if removed is not None:
            raise RemovedSheetError(removed["sheet"], removed["removed_at"])
        raise unknown(catalogue, "sheet", written)
    return record


def known_name(catalogue: Catalogue, kind: str, written: str) -> str:
    """Give the name of a lens, film, batch … as it is on record, case aside where that leaves one.

    Parameters
    ----------
    catalogue : the open catalogue.
    kind : the word for one of them.
    written : the name as somebody typed it.

    Raises
    ------
    UnknownNameError : no such lens, film, batch …
    """
    wanted = unicodedata.normalize("NFC", written).strip()
    if catalogue.record(kind, wanted) is not None:
        return wanted
    alike = [name for name in catalogue.names(kind) if name.casefold() == wanted.casefold()]
    if len(alike) != 1:
        raise unknown(catalogue, kind, wanted)
    return alike[0]


def known_scan(archive: Archive, written: str) -> dict[str, Any]:
    """Give the scan of an id, of the beginning of one that fits no other, or of a path.

    Raises
    ------
    UnknownNameError : the archive holds no such scan.
    """
    catalogue = archive.catalogue
    place = place_of(written)
    row = catalogue.scan(written) or catalogue.scan_at(archive.stored_path(place))
    if row is None and place.is_file():
        row = catalogue.scan_by_sha256(scans.sha256_of(place))
        if row is None:
            raise UnknownNameError(
                f"{written} was not taken into the archive yet; take it first with 'negcat ingest {written}'"
            )
    if row is None:
        raise unknown(catalogue, "scan", written)
    return row
