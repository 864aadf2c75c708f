"""What is done to the film afterwards: batches of development, film tests."""

from collections.abc import Iterator
from typing import Annotated

from pydantic import Field

from negcat.records.base import CheckedRecord, Inconsistency, once_each
from negcat.records.fields import Name, Note, Number, PageName, SheetId, TagField, TimeField, When, quantity

__all__ = ["Development", "FilmTest"]


class Development(CheckedRecord):
    """One batch of sheets developed together."""

    batch: Annotated[PageName, Field(description="Id of the batch, unique", examples=["D-07"])]
    date: Annotated[
        When | None, Field(description="Date, or date and time, ISO 8601", examples=["2026-05-10"])
    ] = None
    developer: Annotated[Name, Field(description="Developer", examples=["pyrocatechin"])]
    dilution: Annotated[Name | None, Field(description="Dilution", examples=["1+1+100"])] = None
    temperature_c: Annotated[Number | None, quantity("Temperature of the developer", "°C", 5, 45, "20")] = (
        None
    )
    time: Annotated[TimeField, Field(description="Developing time, min and s", examples=["11m"])]
    method: Annotated[Name | None, Field(description="Tray, tank, drum …", examples=["tray"])] = None
    agitation: Annotated[Name | None, Field(description="Agitation")] = None
    tag: Annotated[TagField | None, Field(description="Development aimed at", examples=["N+1"])] = None
    sheets: Annotated[
        tuple[SheetId, ...],
        Field(
            description="Ids of the sheets in the batch",
            min_length=1,
            max_length=10_000,
            examples=[["BW-01"]],
        ),
    ]
    base_fog: Annotated[
        Number | None,
        quantity("Density of base plus fog of this batch", "transmission density", 0, 3, "0.14"),
    ] = None
    notes: Annotated[Note | None, Field(description="Anything else")] = None

    def _inconsistencies(self) -> Iterator[Inconsistency]:
        yield from once_each(
            "the sheet", ((("sheets", place), sheet) for place, sheet in enumerate(self.sheets))
        )


class FilmTest(CheckedRecord):
    """A step tablet exposed on film and developed."""

    test: Annotated[Name, Field(description="Id of the test, unique", examples=["T-03"])]
    film: Annotated[Name, Field(description="Name of the film", examples=["Kiln 100"])]
    tablet: Annotated[
        Name, Field(description="Name of the tablet it was exposed through", examples=["tablet 21"])
    ]
    developer: Annotated[Name, Field(description="Developer", examples=["pyrocatechin"])]
    dilution: Annotated[Name | None, Field(description="Dilution")] = None
    temperature_c: Annotated[Number | None, quantity("Temperature of the developer", "°C", 5, 45, "20")] = (
        None
    )
    time: Annotated[TimeField, Field(description="Developing time, min and s", examples=["11m"])]
    log_exposure: Annotated[
        Number | None,
        quantity("Exposure at the film under the clearest step, where known", "log10 lux·s", -6, 6, "-0.5"),
    ] = None
    scan: Annotated[
        Note | None,
        Field(
            description="Path of its scan, relative to the archive, or absolute",
            examples=["film_tests/T-03.tif"],
        ),
    ] = None
    region: Annotated[
        tuple[Annotated[Number, Field(ge=0, le=1)], ...] | None,
        Field(
            description="Where in its scan the film of this test lies, needed where the steps aren't found without or "
            "the scan shows several tests: left, top, right, bottom, as fractions from 0 to 1 of the upright scan's "
            "width and height",
            min_length=4,
            max_length=4,
            examples=[["0.1", "0.2", "0.9", "0.5"]],
        ),
    ] = None
    densities: Annotated[
        tuple[Annotated[Number, Field(ge=0, le=6)], ...] | None,
        Field(
            description="Densities read on a densitometer, 0 to 6, one for each step of the tablet in "
            "its order; they rule where there is a scan too",
            min_length=5,
            max_length=200,
        ),
    ] = None

    def _inconsistencies(self) -> Iterator[Inconsistency]:
        if self.scan is None and self.densities is None:
            yield (
                ("densities",),
                (
                    "the test has neither scan nor densities; write its scan's path, or the densities read "
                    "on a densitometer"
                ),
            )
        if self.region is None:
            return
        left, top, right, bottom = self.region
        if self.scan is None:
            yield (
                ("region",),
                "a region lies in a scan, and the test has none; write its scan's path, or leave it out",
            )
        if not (left < right and top < bottom):
            yield (
                ("region",),
                (
                    f"[{left:g}, {top:g}, {right:g}, {bottom:g}] encloses nothing; write left, top, right, bottom, "
                    "left before right and top before bottom"
                ),
            )
