"""All record models in one place, and the mapping of lists that a record file is.

Every field says in its description what it is and in which unit; the range of every number is part of its
field. Records are frozen. Fields written in the trade's notation hold the parsed value with its marked text
(:mod:`negcat.notation`) and are written back as that text, so that
``Model.model_validate(record.model_dump(mode="json", exclude_none=True)) == record``.

A record checks by itself whether its fields go together; what it refers to is checked in
:mod:`negcat.records.checking`.
"""

from collections.abc import Mapping
from typing import Annotated, ClassVar

from pydantic import Field

from negcat.records.accepted import AcceptedChange, AcceptedTime
from negcat.records.base import Record
from negcat.records.equipment import Cell, Film, Lens, PrintTarget, Reciprocity, Scanner, Shutter, Tablet
from negcat.records.holders import Holder, HolderSide
from negcat.records.processing import Development, FilmTest
from negcat.records.sheet import Indicated, Movements, Reading, Sheet, Spot

__all__ = [
    "KEYS",
    "AcceptedChange",
    "AcceptedTime",
    "Cell",
    "Development",
    "Film",
    "FilmTest",
    "Holder",
    "HolderSide",
    "Indicated",
    "Lens",
    "Movements",
    "PrintTarget",
    "Reading",
    "Reciprocity",
    "Record",
    "Records",
    "Scanner",
    "Sheet",
    "Shutter",
    "Spot",
    "Tablet",
]


class Records(Record):
    """All records of one file."""

    films: Annotated[tuple[Film, ...], Field(description="Films")] = ()
    shutters: Annotated[tuple[Shutter, ...], Field(description="Shutters")] = ()
    lenses: Annotated[tuple[Lens, ...], Field(description="Lenses")] = ()
    holders: Annotated[tuple[Holder, ...], Field(description="Film holders and what is in them")] = ()
    scanners: Annotated[tuple[Scanner, ...], Field(description="Scanners")] = ()
    tablets: Annotated[tuple[Tablet, ...], Field(description="Step tablets")] = ()
    print_targets: Annotated[tuple[PrintTarget, ...], Field(description="Print targets")] = ()
    sheets: Annotated[tuple[Sheet, ...], Field(description="Sheets: the field records")] = ()
    developments: Annotated[tuple[Development, ...], Field(description="Batches of development")] = ()
    film_tests: Annotated[tuple[FilmTest, ...], Field(description="Step tablets exposed on film")] = ()
    dated_changes: Annotated[
        tuple[AcceptedChange, ...], Field(description="Figures changed from a day on, by accepting advice")
    ] = ()
    advised_times: Annotated[
        tuple[AcceptedTime, ...], Field(description="Developing times accepted for the sheets that wait")
    ] = ()

    MODELS: ClassVar[Mapping[str, type[Record]]] = {
        "films": Film,
        "shutters": Shutter,
        "lenses": Lens,
        "holders": Holder,
        "scanners": Scanner,
        "tablets": Tablet,
        "print_targets": PrintTarget,
        "sheets": Sheet,
        "developments": Development,
        "film_tests": FilmTest,
        "dated_changes": AcceptedChange,
        "advised_times": AcceptedTime,
    }

    def counts(self) -> dict[str, int]:
        """Count the records of every list that holds any."""
        return {name: len(found) for name in self.MODELS if (found := getattr(self, name))}


KEYS: Mapping[str, str] = {
    "films": "name",
    "shutters": "name",
    "lenses": "name",
    "holders": "holder",
    "scanners": "name",
    "tablets": "name",
    "print_targets": "name",
    "sheets": "sheet",
    "developments": "batch",
    "film_tests": "test",
}
"""The field of every list that names its records; what was accepted has no name."""
