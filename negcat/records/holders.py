"""Film holders: what is loaded on which side, and since when."""

from collections.abc import Iterator
from typing import Annotated

from pydantic import Field

from negcat.records.base import CheckedRecord, Inconsistency, Record, once_each
from negcat.records.fields import Name, Note, When

__all__ = ["Holder", "HolderSide"]


class HolderSide(Record):
    """One side of a holder as it is loaded now; a side without a film is empty."""

    side: Annotated[Name, Field(description="Side of the holder", examples=["A"])]
    film: Annotated[
        Name | None, Field(description="Name of the film in it; blank: empty", examples=["Kiln 100"])
    ] = None
    loaded_at: Annotated[
        When | None,
        Field(description="Since when: date, or date and time, ISO 8601", examples=["2026-04-17"]),
    ] = None


class Holder(CheckedRecord):
    """A film holder. What was in it before stays in the record's history."""

    holder: Annotated[Name, Field(description="What is written on the holder, unique", examples=["5"])]
    format: Annotated[Name | None, Field(description="Film format", examples=["4x5"])] = None
    sides: Annotated[
        tuple[HolderSide, ...],
        Field(
            description="Its sides",
            min_length=1,
            max_length=100,
            examples=[[{"side": "A", "film": "Kiln 100", "loaded_at": "2026-04-17"}]],
        ),
    ]
    notes: Annotated[Note | None, Field(description="Anything else: a light leak, a new dark slide")] = None

    def _inconsistencies(self) -> Iterator[Inconsistency]:
        yield from once_each(
            "the side", ((("sides", place, "side"), side.side) for place, side in enumerate(self.sides))
        )
