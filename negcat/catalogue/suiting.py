"""Which print targets there are, and the density ranges with which a negative suits each."""

from __future__ import annotations

import json
import unicodedata
from typing import TYPE_CHECKING

from negcat.catalogue.connection import CatalogueFile
from negcat.catalogue.tallying import SUITING
from negcat.errors import UnknownNameError

if TYPE_CHECKING:
    from negcat.sensitometry import TargetCurve

__all__ = ["Suited"]


class Suited(CatalogueFile):
    """How print targets are looked up as curves.

    What suits a target is read from its record when it is asked for: a target that is edited, also by plain SQL,
    suits other negatives at once, and nothing of any sheet is computed anew. What was worked out of the same
    densities before is kept, by what is written there.
    """

    def target_curves(self) -> dict[str, TargetCurve]:
        """Give the curve of every print target on record by its name, in the order they were taken."""
        from negcat.catalogue.target_curves import curve_of

        return {
            name: curve_of(name, densities)
            for name, densities in self.tuples("select name, densities from print_targets order by rowid")
        }

    def ranges_suiting(self) -> dict[str, tuple[float, float]]:
        """Give the least and the most density range between zones II and VIII that suits each print target."""
        written = self.tuples("select name, densities from print_targets order by rowid")
        meaning = self.value("select meaning from sheet_tallies where name = ?", [SUITING])
        kept = json.loads(meaning) if meaning else {}
        if all(densities in kept for _, densities in written):
            return {name: (kept[densities][0], kept[densities][1]) for name, densities in written}
        from negcat.sensitometry import ranges_suiting

        return {name: ranges_suiting(curve) for name, curve in self.target_curves().items()}

    def ranges_suiting_target(self, written: str) -> tuple[float, float]:
        """Give the least and the most density range that suits the print target of a name, case aside.

        Raises
        ------
        UnknownNameError : the archive holds no such print target.
        """
        suiting = self.ranges_suiting()
        wanted = unicodedata.normalize("NFC", written).strip()
        if wanted in suiting:
            return suiting[wanted]
        from negcat.records import nearest_name

        alike = [name for name in suiting if name.casefold() == wanted.casefold()]
        if len(alike) == 1:
            return suiting[alike[0]]
        if near := nearest_name(wanted, suiting):
            hint = f"the nearest known is '{near}'"
        else:
            hint = f"known are {', '.join(repr(name) for name in sorted(suiting))}"
        raise UnknownNameError(f"the archive holds no print target '{wanted}'; {hint}")
