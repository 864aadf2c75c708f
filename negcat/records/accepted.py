"""What was accepted of a review: figures that hold from a day on, and developing times.

The record of a film, lens or shutter says what is believed now. What it said before, and until when, is needed to
compute the sheets made then; so it is carried from archive to archive beside the records.
"""

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal

from pydantic import Field, PlainSerializer, PlainValidator, ValidationError, WithJsonSchema

from negcat.records.base import CheckedRecord, Inconsistency, Record
from negcat.records.equipment import Reciprocity
from negcat.records.fields import Name, Note, Number, TagField, When, one_word, quantity, read_number, shown

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
    marked_time: Annotated[Name | None, Field(description="The marked time of that shutter")] = None
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
