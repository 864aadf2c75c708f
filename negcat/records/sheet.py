"""The field record of one sheet of film, with its readings."""

from collections.abc import Iterator
from typing import Annotated, Any, Literal

from pydantic import Field

from negcat.notation import Tag
from negcat.records.base import CheckedRecord, Inconsistency, Record, once_each
from negcat.records.fields import (
    Flag,
    Format,
    Name,
    Note,
    Number,
    ScanId,
    SheetId,
    StopField,
    TagField,
    TimeField,
    When,
    ZoneField,
    one_word,
    quantity,
)

__all__ = ["Indicated", "Movements", "Reading", "Sheet", "Spot"]

_X = quantity("From the left edge of the upright scan, fraction of its width", "", 0, 1, "0.5")
_Y = quantity("From the top edge of the upright scan, fraction of its height", "", 0, 1, "0.5")
_DIAMETER = quantity("Diameter of the round aperture on the film (default 2)", "mm", 0.05, 50, "2")


class Spot(Record):
    """Where on a sheet a density is measured."""

    x: Annotated[Number, _X]
    y: Annotated[Number, _Y]
    diameter_mm: Annotated[Number, _DIAMETER] = 2.0
    scan: Annotated[
        ScanId | None,
        Field(
            description="Id of the scan that x and y are fractions of: the first 12 hex digits of its SHA-256 "
            "(default the sheet's first scan)",
            examples=["4f1c09aa72d3"],
        ),
    ] = None


class Reading(Record):
    """One metered part of the subject."""

    name: Annotated[Name, Field(description="What was metered, unique in the sheet", examples=["kiln mouth"])]
    role: Annotated[
        Literal["shadow", "middle", "highlight", "other"],
        one_word,
        Field(description="What it is in the picture", examples=["shadow"]),
    ] = "other"
    ev: Annotated[Number | None, quantity("Exposure value metered at meter_iso", "EV", -15, 30, "9.5")] = None
    stops_from_placed: Annotated[
        Number | None, quantity("Brighter than the placed reading by", "stops", -20, 20, "+3")
    ] = None
    zone: Annotated[
        ZoneField | None,
        Field(
            description="Zone the placed reading was placed on; at any other reading the print zone "
            "wanted for it, 0 to 10"
        ),
    ] = None
    placed: Annotated[
        Flag | None,
        Field(description="This is the reading the exposure was placed by (default: the first shadow)"),
    ] = None
    spot: Annotated[Spot | None, Field(description="Where it lies on the scan")] = None


class Indicated(Record):
    """What the meter, set to the exposure index, showed after placing the placed reading."""

    stop: Annotated[StopField, Field(description="Stop the meter showed, f-number", examples=["22"])]
    time: Annotated[TimeField, Field(description="Time the meter showed, s", examples=["1/4"])]


def _movement(description: str, unit: str) -> Any:
    limit = 300 if unit == "mm" else 90
    return quantity(description, unit, -limit, limit, "5")


class Movements(Record):
    """Camera movements."""

    front_rise_mm: Annotated[Number | None, _movement("Front rise, fall negative", "mm")] = None
    front_shift_mm: Annotated[Number | None, _movement("Front shift, right positive", "mm")] = None
    front_tilt_deg: Annotated[Number | None, _movement("Front tilt, forward positive", "degrees")] = None
    front_swing_deg: Annotated[Number | None, _movement("Front swing, right positive", "degrees")] = None
    rear_tilt_deg: Annotated[Number | None, _movement("Rear tilt, forward positive", "degrees")] = None
    rear_swing_deg: Annotated[Number | None, _movement("Rear swing, right positive", "degrees")] = None


class Sheet(CheckedRecord):
    """One sheet of film exposed: the field record."""

    sheet: Annotated[SheetId, Field(description="Id of the sheet, unique in the archive", examples=["BW-01"])]
    film: Annotated[Name, Field(description="Name of the film", examples=["Kiln 100"])]
    exposure_index: Annotated[
        Number | None,
        quantity(
            "Index the meter was set to (default: the film's, then its box speed)", "ISO", 0.1, 100_000, "64"
        ),
    ] = None
    format: Annotated[
        Format | None, Field(description="Film format, inches where bare", examples=["4x5"])
    ] = None
    holder: Annotated[Name | None, Field(description="Film holder", examples=["7"])] = None
    side: Annotated[Name | None, Field(description="Side of the holder", examples=["A"])] = None
    exposed_at: Annotated[
        When | None,
        Field(description="Date, or date and time, of the exposure, ISO 8601", examples=["2026-05-03 07:40"]),
    ] = None
    place: Annotated[Name | None, Field(description="Where", examples=["Old brickworks"])] = None
    subject: Annotated[Note | None, Field(description="What of", examples=["Kiln mouth and chimney"])] = None
    lens: Annotated[Name, Field(description="Name of the lens", examples=["Aldwater 180"])]
    cell: Annotated[
        Name | None, Field(description="Cell of the lens that was used; needed when it has several")
    ] = None
    stop: Annotated[StopField, Field(description="Stop as set, f-number as marked", examples=["22½"])]
    stop_scale: Annotated[
        Name | None,
        Field(
            description="Cell whose stop scale the stop was read from (default: its own, else the "
            "whole lens's)"
        ),
    ] = None
    time: Annotated[
        TimeField, Field(description="Time as set on the shutter or counted, s", examples=["1/4"])
    ]
    bellows_mm: Annotated[
        Number | None, quantity("Extension from lens to film; absent: at infinity", "mm", 5, 10_000, "215")
    ] = None
    filter: Annotated[Name | None, Field(description="Filter", examples=["yellow"])] = None
    filter_factor: Annotated[
        Number | None, quantity("Factor of the filter on the exposure time", "×", 1, 1_000_000, "2")
    ] = None
    movements: Annotated[Movements | None, Field(description="Camera movements")] = None
    weather: Annotated[Name | None, Field(description="Weather and light", examples=["thin cloud, calm"])] = (
        None
    )
    tag: Annotated[
        TagField, Field(description="Development it is meant for (default N)", examples=["N+1"])
    ] = Tag("N", 0.0)
    meter_iso: Annotated[
        Number,
        quantity("Index the meter stood at for the readings' EV (default 100)", "ISO", 0.1, 100_000, "100"),
    ] = 100.0
    indicated: Annotated[
        Indicated | None, Field(description="What the meter showed for the placed reading, instead of its EV")
    ] = None
    readings: Annotated[
        tuple[Reading, ...], Field(description="Metered parts of the subject", max_length=200)
    ] = ()
    print_target: Annotated[
        Name | None, Field(description="Name of the print target (default: silver, diffusion)")
    ] = None
    base_fog_spot: Annotated[Spot | None, Field(description="Where base plus fog is measured")] = None
    location: Annotated[Name | None, Field(description="Where the negative is kept", examples=["box 3"])] = (
        None
    )
    notes: Annotated[Note | None, Field(description="Anything else")] = None

    @property
    def placed_reading(self) -> Reading | None:
        """The reading the exposure was placed by: the one marked so, else the first shadow."""
        place = self._placed_at()
        return None if place is None else self.readings[place]

    def _placed_at(self) -> int | None:
        marked = [place for place, reading in enumerate(self.readings) if reading.placed]
        if marked:
            return marked[0]
        return next(
            (
                place
                for place, reading in enumerate(self.readings)
                if reading.role == "shadow" and reading.placed is not False
            ),
            None,
        )

    def _inconsistencies(self) -> Iterator[Inconsistency]:
        readings = self.readings
        if not readings:
            return
        yield from once_each(
            "the reading",
            ((("readings", place, "name"), reading.name) for place, reading in enumerate(readings)),
        )
        marked = [place for place, reading in enumerate(readings) if reading.placed]
        for place in marked[1:]:
            yield (
                ("readings", place, "placed"),
                f"'{readings[marked[0]].name}' is placed already; keep placed: true at one of the two",
            )
        at = self._placed_at()
        if at is None:
            yield (
                ("readings",),
                (
                    "no reading is the placed one; write placed: true, or role: shadow, at the reading the "
                    "exposure was placed by"
                ),
            )
            return
        placed = readings[at]
        if placed.zone is None:
            yield (
                ("readings", at, "zone"),
                f"the placed reading '{placed.name}' has no zone; write where it was placed, as in zone: III",
            )
        if placed.stops_from_placed:
            yield (
                ("readings", at, "stops_from_placed"),
                (
                    f"'{placed.name}' is the placed reading and can't lie {placed.stops_from_placed:g} stops "
                    "from itself; write its ev, or place another reading"
                ),
            )
