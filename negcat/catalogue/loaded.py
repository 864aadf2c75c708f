"""What was exposed in which film holder."""

from __future__ import annotations

from dataclasses import dataclass

from negcat.catalogue.connection import CatalogueFile

__all__ = ["ExposedIn", "Loaded"]


@dataclass(frozen=True)
class ExposedIn:
    """A sheet that was exposed in a holder.

    Parameters
    ----------
    sheet, film : the sheet and its film.
    holder, side : as its record names them; side None where it doesn't.
    exposed_at : date, or date and time, ISO 8601; None where it isn't recorded.
    developed : whether it is in a batch.
    """

    sheet: str
    film: str
    holder: str
    side: str | None
    exposed_at: str | None
    developed: bool


class Loaded(CatalogueFile):
    """How the sheets of a holder are found."""

    def exposed_in(self, holder: str) -> list[ExposedIn]:
        """List the sheets exposed in a holder, capitals aside, in the order they were made."""
        return [
            ExposedIn(sheet, film, named, side, exposed_at, bool(developed))
            for sheet, film, named, side, exposed_at, developed in self.tuples(
                "select sheet, film, holder, side, exposed_at,"
                " exists (select 1 from development_sheets d where d.sheet = s.sheet)"
                " from sheets s where holder = ? collate nocase order by exposed_at, rowid",
                [holder],
            )
        ]
