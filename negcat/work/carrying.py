"""Spots carried from the scan they were set on to another scan of the same sheet.

A spot is a place on a scan. Where its record doesn't name the scan, that is the first one of the sheet that
isn't a positive, and stays it. On any other scan of the sheet the place is found by laying the two pictures
on each other; such a spot is measured all the same, and marked until somebody has looked.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from negcat import records
from negcat.densitometry import Rebate
from negcat.densitometry.registration import NoRegistration, Registration, View, register
from negcat.errors import ScanError
from negcat.work import scanned
from negcat.work.archive import Archive
from negcat.work.previews import pyramid_of

__all__ = [
    "Carrier",
    "PlacedSpot",
    "SpotStatus",
    "how_it_lies",
    "kept_registration",
    "known_place",
    "lay",
    "lay_once",
    "source_scan",
]

SpotStatus = Literal["set", "carried"]

_MOST_LAID = 64
_laid: OrderedDict[tuple[str | None, str, str], Registration | NoRegistration] = OrderedDict()
_laying = threading.Lock()

COMPARED_SIDE = 900
"""Longest side, in pixels, of the pictures that are laid on each other."""


@dataclass(frozen=True)
class PlacedSpot:
    """A spot on the scan that is measured.

    Parameters
    ----------
    spot : where it lies there; None where that can't be told.
    status : whether it was set there or carried over; None without a place.
    reason : why there is no place, else empty.
    """

    spot: records.Spot | None
    status: SpotStatus | None
    reason: str = ""


class Carrier:
    """Places a sheet's spots on one of its scans.

    Parameters
    ----------
    archive : the archive; which scan the spots were set on, and how the scans lie, is kept in its catalogue,
        unless it is open for reading only.
    record : the sheet's record.
    row : the scan that is measured.
    fresh : lay the pictures on each other anew, whatever is known.
    """

    def __init__(
        self, archive: Archive, record: records.Sheet, row: Mapping[str, Any], *, fresh: bool = False
    ) -> None:
        self._archive = archive
        self._record = record
        self._row = row
        self._fresh = fresh
        self._laid: dict[str, Registration | NoRegistration] = {}
        self._carried: dict[str, list[str]] = {}

    @property
    def scan(self) -> str:
        """The id of the scan that is measured."""
        return str(self._row["scan"])

    def place(self, name: str, spot: records.Spot) -> PlacedSpot:
        """Place a spot.

        Parameters
        ----------
        name : of its reading.
        spot : as the record has it.
        """
        source = spot.scan or self._default()
        here = self._row["scan"]
        if source == here:
            return PlacedSpot(spot, "set")
        laid = self._registration(source)
        if isinstance(laid, NoRegistration):
            return PlacedSpot(
                None,
                None,
                f"its spot was set on scan {source} and can't be carried over: {laid.reason}; "
                f'set it on this scan with negcat measure {self._record.sheet} --spot "{name}=X,Y"',
            )
        x, y = laid.place(spot.x, spot.y)
        if not (0 <= x <= 1 and 0 <= y <= 1):
            return PlacedSpot(
                None, None, f"its spot, set on scan {source}, lies outside what scan {here} shows"
            )
        self._carried.setdefault(source, []).append(name)
        return PlacedSpot(spot.model_copy(update={"x": x, "y": y}), "carried")

    def sentences(self) -> list[str]:
        """Say which spots were carried over, and how surely."""
        said = []
        for source, names in self._carried.items():
            laid = self._laid[source]
            assert isinstance(laid, Registration)
            listed = ", ".join(f"'{name}'" for name in names)
            said.append(
                f"Carried over from scan {source}: {listed}; that scan lies {how_it_lies(laid)} on this one "
                f"(correlation {laid.correlation:.2f}). Check the spots on the picture, then "
                f"'negcat measure {self._record.sheet} --confirm'."
            )
        return said

    def _default(self) -> str:
        """Give the scan that the record's spots are places on where they don't say."""
        catalogue = self._archive.catalogue
        known = catalogue.spot_scan(self._record.sheet)
        if known is not None:
            return known
        chosen = source_scan(self._archive, self._record) or self.scan
        if not catalogue.readonly:
            catalogue.save_spot_scan(self._record.sheet, chosen)
        return chosen

    def _registration(self, source: str) -> Registration | NoRegistration:
        """Lay the scan on the one that spots were set on, or give what is known of it."""
        if source not in self._laid:
            self._laid[source] = self._find(source)
        return self._laid[source]

    def _find(self, source: str) -> Registration | NoRegistration:
        catalogue, here = self._archive.catalogue, self._row["scan"]
        kept = None if self._fresh else kept_registration(self._archive, here, source)
        if kept is not None:
            return kept
        first = catalogue.scan(source)
        if first is None:
            return NoRegistration(f"the archive holds no scan {source}")
        try:
            laying = lay_once if catalogue.readonly else lay
            found = laying(self._archive, self._record, first, catalogue.scan(here) or self._row)
        except ScanError as error:
            # Not kept: the master may be back tomorrow, the record's format be filled in.
            return NoRegistration(str(error))
        if not catalogue.readonly:
            catalogue.save_registration(here, source, _written(found))
        return found


def source_scan(archive: Archive, record: records.Sheet) -> str | None:
    """Tell the scan that a sheet's spots are places on where they don't say; None while it has no such scan."""
    known = archive.catalogue.spot_scan(record.sheet)
    if known is not None:
        return known
    rows = sorted(archive.catalogue.scans_of(record.sheet), key=lambda row: int(row["taken_order"]))
    negatives = [row for row in rows if not (row["condition"] or {}).get("positive")]
    return str(negatives[0]["scan"]) if negatives else None


def kept_registration(archive: Archive, scan: str, source: str) -> Registration | NoRegistration | None:
    """Give how a scan lies on another one as the catalogue keeps it; None where it doesn't.

    Parameters
    ----------
    archive : the archive.
    scan : the scan that places are wanted on.
    source : the scan that places are known on.
    """
    kept = archive.catalogue.registration(scan, source)
    return None if kept is None else _read(kept)


def known_place(archive: Archive, record: records.Sheet, spot: records.Spot, scan: str) -> PlacedSpot:
    """Place a spot on any scan of its sheet, as far as the catalogue knows how the scans lie.

    Parameters
    ----------
    archive : the archive, which is only read.
    record : the sheet's.
    spot : as the record has it.
    scan : where its place is wanted.
    """
    source = spot.scan or source_scan(archive, record) or scan
    if source == scan:
        return PlacedSpot(spot, "set")
    laid = kept_registration(archive, scan, source)
    if laid is None:
        other = kept_registration(archive, source, scan)
        laid = other.back() if isinstance(other, Registration) else other
    if not isinstance(laid, Registration):
        return PlacedSpot(
            None, None, f"its spot was set on scan {source}, and where that is on this one isn't known"
        )
    x, y = laid.place(spot.x, spot.y)
    if not (0 <= x <= 1 and 0 <= y <= 1):
        return PlacedSpot(None, None, f"its spot, set on scan {source}, lies outside what this one shows")
    return PlacedSpot(spot.model_copy(update={"x": x, "y": y}), "carried")


def lay(
    archive: Archive, record: records.Sheet, first: Mapping[str, Any], second: Mapping[str, Any]
) -> Registration | NoRegistration:
    """Lay a scan of a sheet on another one; nothing is kept.

    Parameters
    ----------
    archive : the archive, which is only read.
    record : the sheet's.
    first : the scan on which places are known, as the catalogue has it.
    second : the scan on which they are wanted.

    Raises
    ------
    ScanError : a master is away, or a scan's scale isn't known.
    """
    return register(_view(archive, record, first), _view(archive, record, second))


def lay_once(
    archive: Archive, record: records.Sheet, first: Mapping[str, Any], second: Mapping[str, Any]
) -> Registration | NoRegistration:
    """Lay a scan of a sheet on another one as :func:`lay` does, once for as long as this program runs."""
    # A scan's id stands for what it holds, so what was found of two holds for good.
    key = (record.format, str(first["scan"]), str(second["scan"]))
    with _laying:
        if key not in _laid:
            _laid[key] = lay(archive, record, first, second)
            if len(_laid) > _MOST_LAID:
                _laid.popitem(last=False)
        _laid.move_to_end(key)
        return _laid[key]


def _view(archive: Archive, record: records.Sheet, row: Mapping[str, Any]) -> View:
    """Draw a scan small, for comparing."""
    film_mm = records.film_size_mm(record.format) if record.format else None
    px_per_mm = scanned.pixels_per_mm(row["dpi"], row["width"], row["height"], film_mm)
    if px_per_mm is None:
        raise ScanError(
            f"scan {row['scan']} doesn't say its resolution and the sheet's record names no format"
        )
    factor = min(1.0, COMPARED_SIDE / max(row["width"], row["height"]))
    width, height = max(16, round(row["width"] * factor)), max(16, round(row["height"] * factor))
    tones = pyramid_of(archive, row["scan"]).draw(width, height)
    picture = np.asarray(tones, dtype=np.float64).mean(axis=2) if tones.ndim == 3 else tones
    rebate = scanned.rebate_of(row)
    frame = rebate.picture_frame if isinstance(rebate, Rebate) else None
    return View(
        picture,
        px_per_mm * width / row["width"],
        frame,
        rebate.tilt_deg if isinstance(rebate, Rebate) and frame is not None else None,
        sure_scale=row["dpi"] is not None,
    )


def how_it_lies(laid: Registration) -> str:
    """Say how a scan lies on another one."""
    turn = f"turned by {laid.turn_deg}°" if laid.turn_deg else ""
    mirrored = "mirrored" if laid.mirrored else ""
    return " and ".join(part for part in (mirrored, turn) if part) or "the same way round"


def _written(found: Registration | NoRegistration) -> dict[str, Any]:
    if isinstance(found, NoRegistration):
        return {"reason": found.reason, "correlation": found.correlation}
    return {
        "places": [list(row) for row in found.places],
        "turn_deg": found.turn_deg,
        "mirrored": found.mirrored,
        "correlation": found.correlation,
        "next_correlation": found.next_correlation,
    }


def _read(kept: Mapping[str, Any]) -> Registration | NoRegistration:
    if "places" not in kept:
        return NoRegistration(kept["reason"], kept["correlation"])
    (a, b, c), (d, e, f) = kept["places"]
    return Registration(
        ((a, b, c), (d, e, f)),
        int(kept["turn_deg"]),
        bool(kept["mirrored"]),
        float(kept["correlation"]),
        float(kept["next_correlation"]),
    )
