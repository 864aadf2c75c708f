"""What was accepted of a review: figures that hold from a day on, and developing times.

The record of a film, lens or shutter says what is believed now. What it said before, and until when, is needed to
compute the sheets made then; so it is carried from archive to archive beside the records.
"""

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal

from pydantic import Field, PlainSerializer, PlainValidator, ValidationError, WithJsonSchema

from negcat.records.base import CheckedRecord, Inconsistency, Record
from negcat.records.equipment import Reciprocity
from negcat.records.fields import (
    Name,
    Note,
    Number,
    TagField,
    TimeField,
    When,
    one_word,
    quantity,
    read_number,
    shown,
)

__all__ = ["AcceptedChange", "AcceptedTime"]


def _figure(value: object) -> float | Reciprocity:
    if isinstance(value, Reciprocity):
        return value
    if isinstance(value, Mapping):
        try:
            return Reciprocity.model_validate(value)
        except ValidationError:
            raise ValueError(
                f"{shown(value)} is no law of reciprocity; write it as a film's record does"
            ) from None
    return read_number(value)


def _plain_figure(value: float | Reciprocity | None) -> Any:
    return value.model_dump(mode="json", exclude_none=True) if isinstance(value, Reciprocity) else value


Figure = Annotated[
    float | Reciprocity,
    PlainValidator(_figure),
    PlainSerializer(_plain_figure),
    WithJsonSchema({"type": ["number", "string", "object"]}),
]
"""A number, or a law of reciprocity."""

_RANGES = {
    "exposure_index": (0.1, 100_000.0),
    "scale_error_stops": (-4.0, 4.0),
    "measured": (0.000_01, 7200.0),
}

_FROM = Field(
    description="From when on it holds, ISO 8601; sheets exposed before it keep what was believed then",
    examples=["2026-06-01"],
)
_ADVICE = Field(description="Key of the advice that was accepted", examples=["index-marl-400"])
_SENTENCE = Field(description="The advice as it was given")
_AT = Field(description="When it was accepted, ISO 8601 (default: now)", examples=["2026-06-01T18:20:00Z"])
_VIA = Field(description="How it came in (default: how this record comes in)")


class AcceptedChange(CheckedRecord):
    """A figure of a film, a cell or a shutter that was changed from a day on."""

    film: Annotated[Name | None, Field(description="Name of the film it is about", examples=["Marl 400"])] = (
        None
    )
    lens: Annotated[Name | None, Field(description="Name of the lens whose cell it is about")] = None
    cell: Annotated[Name | None, Field(description="The cell of that lens")] = None
    shutter: Annotated[Name | None, Field(description="Name of the shutter it is about")] = None
    marked_time: Annotated[TimeField | None, Field(description="The marked time of that shutter")] = None
    field: Annotated[
        Literal["exposure_index", "reciprocity", "scale_error_stops", "measured"],
        one_word,
        Field(description="Which figure of its record", examples=["exposure_index"]),
    ]
    before: Annotated[Figure | None, Field(description="What it was; absent: nothing was on record")] = None
    after: Annotated[Figure | None, Field(description="What it is from then on, as its record says")] = None
    effective_from: Annotated[When, _FROM]
    advice: Annotated[Name | None, _ADVICE] = None
    sentence: Annotated[Note | None, _SENTENCE] = None
    accepted_at: Annotated[When | None, _AT] = None
    accepted_via: Annotated[Note | None, _VIA] = None

    def _inconsistencies(self) -> Iterator[Inconsistency]:
        wanted = {"scale_error_stops": ("lens", "cell"), "measured": ("shutter", "marked_time")}.get(
            self.field, ("film",)
        )
        for name in ("film", "lens", "cell", "shutter", "marked_time"):
            if (getattr(self, name) is not None) != (name in wanted):
                said = "is missing; write it" if name in wanted else "has no place there; take it out"
                yield (name,), f"a change of {self.field} is about {' and '.join(wanted)}, and {name} {said}"
        for name in ("before", "after"):
            if what := self._misfit(getattr(self, name)):
                yield (name,), what

    def _misfit(self, value: float | Reciprocity | None) -> str | None:
        """Say why a figure can't be one of this field; None where it can."""
        if value is None:
            # Every cell's scale has an error, be it 0.
            return (
                "it is missing; write the figure, 0 for none" if self.field == "scale_error_stops" else None
            )
        if isinstance(value, Reciprocity):
            return (
                None
                if self.field == "reciprocity"
                else f"a law of reciprocity is no {self.field}; write a figure"
            )
        if self.field == "reciprocity":
            return f"{value:g} is no law of reciprocity; write it as a film's record does"
        low, high = _RANGES[self.field]
        return None if low <= value <= high else f"{value:g} is outside {low:g} … {high:g}; check the figure"


class AcceptedTime(Record):
    """A developing time that was accepted, for the sheets that wait to be developed."""

    film: Annotated[Name, Field(description="Name of the film", examples=["Marl 400"])]
    developer: Annotated[Name | None, Field(description="Developer")] = None
    dilution: Annotated[Name | None, Field(description="Dilution")] = None
    temperature_c: Annotated[Number | None, quantity("Temperature of the developer", "°C", 5, 45, "20")] = (
        None
    )
    tag: Annotated[TagField, Field(description="Development it is for", examples=["N+1"])]
    time_s: Annotated[Number, quantity("Time to develop for", "s", 1, 172_800, "685")]
    low_s: Annotated[Number, quantity("Lower end of its 90 % interval", "s", 0, 172_800, "650")]
    high_s: Annotated[Number, quantity("Upper end of its 90 % interval", "s", 0, 1_000_000, "745")]
    sheets: Annotated[int, Field(description="How many sheets it rests on", ge=0, examples=[6])]
    effective_from: Annotated[When, _FROM]
    advice: Annotated[Name | None, _ADVICE] = None
    sentence: Annotated[Note | None, _SENTENCE] = None
    accepted_at: Annotated[When | None, _AT] = None
    accepted_via: Annotated[Note | None, _VIA] = None
