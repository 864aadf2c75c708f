"""The names of the steps by which the schema came about, for whoever only wants to know whether one is missing.

The steps themselves are in :mod:`negcat.catalogue.migrations`, which takes longer to load than most questions take.
"""

from __future__ import annotations

__all__ = ["STEPS"]

STEPS = (
    "m001_equipment",
    "m002_sheets",
    "m003_scans",
    "m004_findings",
    "m005_carrying",
    "m006_searching",
    "m007_changes",
    "m008_reviewing",
    "m009_holders",
    "m010_printing",
    "m011_film_test_regions",
    "m012_removing",
    "m013_door_log",
    "m014_checks",
    "m015_tallies",
)
"""In the order in which they are taken."""
