"""Exposure: what a sheet was planned to get, and what it was given, in stops.

``light`` holds exposure values and zones, ``lenses`` what cells and bellows do, ``placement`` puts them
together into what was planned and given, ``ledger`` holds that and says it in words.
"""

from negcat.exposure.ledger import (
    Exposure,
    LedgerItem,
    LedgerLine,
    MeteredReading,
    PlannedReading,
    Setting,
    Way,
)
from negcat.exposure.lenses import Cell, Lens, Mounted, StopsLost, bellows_stops, pupil_stops
from negcat.exposure.light import (
    contrast,
    ev100,
    exposure_value,
    exposure_zone_of,
    luminance,
    n_of_contrast,
    print_zone_of,
)
from negcat.exposure.placement import expose, way_of

__all__ = [
    "Cell",
    "Exposure",
    "LedgerItem",
    "LedgerLine",
    "Lens",
    "MeteredReading",
    "Mounted",
    "PlannedReading",
    "Setting",
    "StopsLost",
    "Way",
    "bellows_stops",
    "contrast",
    "ev100",
    "expose",
    "exposure_value",
    "exposure_zone_of",
    "luminance",
    "n_of_contrast",
    "print_zone_of",
    "pupil_stops",
    "way_of",
]
