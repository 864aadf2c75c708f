"""Sheets that are just being recorded: what is found of them is kept along with their records.

A sheet that comes new has no scan, so all there is to find out is what its record says. Done while it is in hand,
in the transaction that takes it, a collection costs no second reading, and no run that is stopped leaves a sheet
that is recorded and not computed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from negcat.catalogue import Catalogue, Findings
from negcat.errors import NegcatError
from negcat.records import Sheet
from negcat.work.on_scan import UNSCANNED
from negcat.work.planning import Equipment
from negcat.work.writing_findings import findings_from

__all__ = ["FindingsOfNew"]


class FindingsOfNew:
    """Computes sheets while they are taken.

    Parameters
    ----------
    catalogue : the catalogue that takes them; what they refer to is looked up when the first of them comes.
    """

    def __init__(self, catalogue: Catalogue) -> None:
        self._catalogue = catalogue
        self._equipment: Equipment | None = None

    def __call__(self, sheets: Sequence[Sheet], at: str) -> Iterator[Findings]:
        """Give the findings of sheets that are not in the catalogue yet.

        Parameters
        ----------
        sheets : their records; what they refer to is in the catalogue.
        at : when they are recorded.

        Yields
        ------
        The findings, in the order of the sheets; a sheet that can't be computed is left out, and whoever computes it
        again says why.
        """
        if self._equipment is None:
            self._equipment = Equipment(self._catalogue, recording_at=at)
        for sheet in sheets:
            try:
                yield findings_from(self._equipment, sheet, UNSCANNED, None)
            except NegcatError:
                continue
