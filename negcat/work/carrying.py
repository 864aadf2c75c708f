"""Spots carried from the scan they were set on to another scan of the same sheet.

A spot is a place on a scan. Where its record doesn't name the scan, that is the first one of the sheet that
isn't a positive, and stays it. On any other scan of the sheet the place is found by laying the two pictures
on each other; such a spot is measured all the same, and marked until somebody has looked.
"""

from __future__ import annotations

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

__all__ = ["Carrier", "PlacedSpot", "SpotStatus"]

SpotStatus = Literal["set", "carried"]

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
    archive : the archive; which scan the spots were set on, and how the scans lie, is kept in its catalogue.
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
                f"Carried over from scan {source}: {listed}; that scan lies {_how(laid)} on this one "
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
        rows: list[Mapping[str, Any]] = sorted(
            catalogue.scans_of(self._record.sheet), key=lambda row: int(row["taken_order"])
        )
        negatives = [row for row in rows if not (row["condition"] or {}).get("positive")]
        chosen: str = (negatives or [self._row])[0]["scan"]
        catalogue.save_spot_scan(self._record.sheet, chosen)
        return chosen

    def _registration(self, source: str) -> Registration | NoRegistration:
        """Lay the scan on the one that spots were set on, or give what is known of it."""
        if source not in self._laid:
            self._laid[source] = self._find(source)
        return self._laid[source]

    def _find(self, source: str) -> Registration | NoRegistration:
        catalogue, here = self._archive.catalogue, self._row["scan"]
        kept = None if self._fresh else catalogue.registration(here, source)
        if kept is not None:
            return _read(kept)
        first = catalogue.scan(source)
        if first is None:
            return NoRegistration(f"the archive holds no scan {source}")
        views = []
        for row in (first, catalogue.scan(here) or self._row):
            try:
                view = self._view(row)
            except ScanError as error:
                # Not kept: the master may be back tomorrow.
                return NoRegistration(str(error))
            if view is None:
                return NoRegistration(
                    f"scan {row['scan']} doesn't say its resolution and the sheet's record names no format"
                )
            views.append(view)
        found = register(*views)
        catalogue.save_registration(here, source, _written(found))
        return found

    def _view(self, row: Mapping[str, Any]) -> View | None:
        """Draw a scan small, for comparing; None where its scale isn't known."""
        size = self._record.format
        film_mm = records.film_size_mm(size) if size else None
        px_per_mm = scanned.pixels_per_mm(row["dpi"], row["width"], row["height"], film_mm)
        if px_per_mm is None:
            return None
        factor = min(1.0, COMPARED_SIDE / max(row["width"], row["height"]))
        width, height = max(16, round(row["width"] * factor)), max(16, round(row["height"] * factor))
        tones = pyramid_of(self._archive, row["scan"]).draw(width, height)
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


def _how(laid: Registration) -> str:
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
