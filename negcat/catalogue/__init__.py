"""SQLite: what the archive holds, how it comes in and how it is found again."""

from negcat.catalogue.findings import Findings
from negcat.catalogue.store import Catalogue
from negcat.catalogue.taking import Taken

__all__ = ["Catalogue", "Findings", "Taken"]
