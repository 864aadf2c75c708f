"""What a photographer works with: films, shutters, lenses, scanners, step tablets, print targets."""

from collections.abc import Iterator
from itertools import pairwise
from typing import Annotated, Literal

from pydantic import Field, PlainSerializer, WithJsonSchema

from negcat.notation import Time, Zone, parse_time, parse_zone
from negcat.records.base import (
    CheckedRecord,
    Inconsistency,
    Path,
    Record,
    as_text_keys,
    marked_map,
    once_each,
)
from negcat.records.fields import (
    Flag,
    Name,
    Number,
    PageName,
    Seconds,
    StopField,
    one_word,
    quantity,
    read_number,
    read_seconds,
)

__all__ = ["Cell", "Film", "Lens", "PrintTarget", "Reciprocity", "Scanner", "Shutter", "Tablet"]


class Reciprocity(CheckedRecord):
    """How a film answers to long times: which time has to be given for a metered one."""

    law: Annotated[
        Literal["none", "power", "table"],
        one_word,
        Field(
            description="none: long times need nothing; power: above from_s given = "
            "from_s·(metered/from_s)^exponent; table: a smooth curve through points",
            examples=["power"],
        ),
    ]
    exponent: Annotated[Number | None, quantity("Exponent of the power law", "", 1.0, 3.0, "1.3")] = None
    from_s: Annotated[
        Seconds | None,
        quantity("Longest time that needs no correction in the power law (default 1)", "s", 0.001, 3600, "1"),
    ] = None
    points: Annotated[
        tuple[tuple[Seconds, Seconds], ...] | None,
        Field(
            description="Table of [metered, given] times, s, metered times rising and no given time shorter",
            min_length=1,
            examples=[[["1", "1.2"], ["10", "20"], ["100", "350"]]],
        ),
    ] = None

    def _inconsistencies(self) -> Iterator[Inconsistency]:
        needed = {"power": "exponent", "table": "points"}.get(self.law)
        if needed and getattr(self, needed) is None:
            example = "exponent: 1.3" if needed == "exponent" else "points: [[1, 1.2], [10, 20]]"
            yield (needed,), f"the law '{self.law}' needs {needed}; add for example {example}"
        belongs = {"power": ("exponent", "from_s"), "table": ("points",)}.get(self.law, ())
        for name in ("exponent", "from_s", "points"):
            if name not in belongs and getattr(self, name) is not None:
                yield (name,), f"{name} has no place in the law '{self.law}'; take it out or change the law"
        before = (0.0, 0.0)
        for place, (metered, given) in enumerate(self.points or ()):
            path: Path = ("points", place)
            if not 0 < metered <= 172_800 or not 0 < given <= 172_800:
                yield path, f"[{metered:g}, {given:g}] holds a time outside 0 … 172800 s; write seconds"
            elif given < metered:
                yield (
                    path,
                    f"the given time {given:g} s is shorter than the metered {metered:g} s; check the two",
                )
            elif metered <= before[0] or given <= before[1]:
                yield (
                    path,
                    (
                        f"[{metered:g}, {given:g}] doesn't rise past [{before[0]:g}, {before[1]:g}]; "
                        "put the points in order, each time longer than the one before"
                    ),
                )
            before = (metered, given)


class Film(Record):
    """A film, or one lot of it."""

    name: Annotated[PageName, Field(description="Name of the film, unique", examples=["Kiln 100"])]
    box_speed: Annotated[Number, quantity("Speed on the box", "ISO", 0.1, 100_000, "100")]
    exposure_index: Annotated[
        Number | None,
        quantity("Index the meter is set to for this film (default: box speed)", "ISO", 0.1, 100_000, "64"),
    ] = None
    lot: Annotated[Name | None, Field(description="Lot or emulsion number", examples=["0417"])] = None
    base_fog: Annotated[
        Number | None, quantity("Density of base plus fog", "transmission density", 0, 3, "0.12")
    ] = None
    channel: Annotated[
        Literal["grey", "red", "green", "blue"],
        one_word,
        Field(
            description="Channel of the scan in which this film is measured; a stained film in blue",
            examples=["grey"],
        ),
    ] = "grey"
    reciprocity: Annotated[
        Reciprocity | None, Field(description="Law of reciprocity failure; absent: not known, none assumed")
    ] = None


class Shutter(Record):
    """A shutter and the times measured on it."""

    name: Annotated[
        Name, Field(description="Name of the shutter, unique", examples=["No. 3 of the long lens"])
    ]
    measured: Annotated[
        dict[Time, float],
        marked_map(parse_time, read_seconds, 0.000_01, 7200),
        PlainSerializer(as_text_keys, return_type=dict[str, float]),
        WithJsonSchema(
            {
                "type": "object",
                "additionalProperties": {"type": "number", "minimum": 0.000_01, "maximum": 7200},
                "default": {},
            }
        ),
        Field(description="Marked time → measured time, s, 0.00001 to 7200", examples=[{"1/15": "0.071"}]),
    ] = Field(default_factory=dict)


class Cell(CheckedRecord):
    """One way of using a lens: the whole of it, or one of its cells alone."""

    cell: Annotated[Name, Field(description="Name of the cell, unique in its lens", examples=["whole"])]
    focal_mm: Annotated[Number, quantity("Focal length", "mm", 5, 5000, "180")]
    widest_stop: Annotated[
        StopField | None, Field(description="Widest stop, f-number as marked", examples=["6.8"])
    ] = None
    mounted: Annotated[
        Literal["whole", "front", "behind"] | None,
        one_word,
        Field(description="The whole lens, or this cell alone in front of or behind the diaphragm"),
    ] = None
    own_scale: Annotated[
        Flag, Field(description="The shutter has a stop scale engraved for this cell", examples=["true"])
    ] = True
    cell_to_stop_mm: Annotated[
        Number | None, quantity("Distance from this cell to the diaphragm", "mm", 0, 1000, "12")
    ] = None
    pupil_ratio: Annotated[
        Number | None,
        quantity("Exit pupil over entrance pupil (default 1)", "", 0.1, 10, "1"),
    ] = None
    scale_error_stops: Annotated[
        Number,
        quantity(
            "Known error of this cell's stop scale, more light than marked positive (default 0)",
            "stops",
            -4,
            4,
            "0.5",
        ),
    ] = 0.0

    def _inconsistencies(self) -> Iterator[Inconsistency]:
        if self.cell_to_stop_mm is not None and self.cell_to_stop_mm >= self.focal_mm:
            yield (
                ("cell_to_stop_mm",),
                (
                    f"{self.cell_to_stop_mm:g} mm from cell to diaphragm is not less than the focal length, "
                    f"{self.focal_mm:g} mm; check the two"
                ),
            )


class Lens(CheckedRecord):
    """A lens: one cell if it is an ordinary one, several if it is convertible."""

    name: Annotated[PageName, Field(description="Name of the lens, unique", examples=["Aldwater 180"])]
    shutter: Annotated[Name | None, Field(description="Name of the shutter it sits in")] = None
    cells: Annotated[
        tuple[Cell, ...],
        Field(
            description="The ways it can be used",
            min_length=1,
            max_length=50,
            examples=[[{"cell": "whole", "focal_mm": "180"}]],
        ),
    ]

    @property
    def whole(self) -> str | None:
        """The cell that is the whole lens: the only one, the one mounted so, else the one named so; else None."""
        if len(self.cells) == 1:
            return self.cells[0].cell
        wholes = [cell.cell for cell in self.cells if cell.mounted == "whole"]
        if not wholes:
            wholes = [cell.cell for cell in self.cells if cell.cell.casefold().startswith("whole")]
        return wholes[0] if len(wholes) == 1 else None

    def cell_named(self, name: str | None) -> Cell | None:
        """Return the cell of that name; without a name the only cell, if there is but one."""
        if name is None:
            return self.cells[0] if len(self.cells) == 1 else None
        return next((cell for cell in self.cells if cell.cell == name), None)

    def _inconsistencies(self) -> Iterator[Inconsistency]:
        yield from once_each(
            "the cell", ((("cells", place, "cell"), cell.cell) for place, cell in enumerate(self.cells))
        )
        wholes = [place for place, cell in enumerate(self.cells) if cell.mounted == "whole"]
        for place in wholes[1:]:
            yield (
                ("cells", place, "mounted"),
                f"'{self.cells[wholes[0]].cell}' is mounted whole already; a lens is whole in one way only",
            )
        if len(self.cells) > 1 and self.whole is None:
            for place, cell in enumerate(self.cells):
                if not cell.own_scale and not any(other.own_scale for other in self.cells):
                    yield (
                        ("cells", place, "own_scale"),
                        (
                            f"'{cell.cell}' has no stop scale of its own and there is no other to read; "
                            "write mounted: whole at the cell that is the whole lens"
                        ),
                    )


class Scanner(Record):
    """A scanner, known again by what it writes into its files."""

    name: Annotated[Name, Field(description="Name of the scanner, unique", examples=["the flatbed"])]
    make: Annotated[Name | None, Field(description="Maker as written in the scan's tags")] = None
    model: Annotated[Name | None, Field(description="Model as written in the scan's tags")] = None
    software: Annotated[Name | None, Field(description="Software as written in the scan's tags")] = None


class Tablet(CheckedRecord):
    """A calibrated step tablet."""

    name: Annotated[Name, Field(description="Name of the tablet, unique", examples=["tablet 21"])]
    densities: Annotated[
        tuple[Annotated[Number, Field(ge=0, le=6)], ...],
        Field(
            description="Transmission densities of its steps, lightest first, 0 to 6, at least 5",
            min_length=5,
            max_length=200,
            examples=[["0.05", "0.20", "0.35", "0.50", "0.65"]],
        ),
    ]

    def _inconsistencies(self) -> Iterator[Inconsistency]:
        for place, (before, after) in enumerate(pairwise(self.densities), 1):
            if after < before:
                yield (
                    ("densities", place),
                    (
                        f"step {place + 1} with {after:g} is lighter than step {place} with {before:g}; "
                        "list the steps from the lightest to the densest"
                    ),
                )
        if self.densities and min(self.densities) == max(self.densities):
            yield ("densities",), "all steps have the same density; write the calibrated density of each step"


class PrintTarget(CheckedRecord):
    """The net densities a negative should have in each zone for one way of printing."""

    name: Annotated[Name, Field(description="Name of the print target, unique", examples=["salted paper"])]
    densities: Annotated[
        dict[Zone, float],
        marked_map(parse_zone, read_number, 0, 6),
        PlainSerializer(as_text_keys, return_type=dict[str, float]),
        WithJsonSchema(
            {
                "type": "object",
                "additionalProperties": {"type": "number", "minimum": 0, "maximum": 6},
                "minProperties": 3,
            }
        ),
        Field(
            description="Zone → density above base plus fog, 0 to 6, at least 3 zones, rising",
            examples=[{"I": "0.10", "V": "0.72", "VIII": "1.35"}],
        ),
    ]

    def _inconsistencies(self) -> Iterator[Inconsistency]:
        if len(self.densities) < 3:
            yield (
                ("densities",),
                f"{len(self.densities)} zones are too few; write at least 3, for example I, V and VIII",
            )
        points = sorted(self.densities.items(), key=lambda point: point[0].value)
        for (zone, density), (next_zone, next_density) in pairwise(points):
            if next_density <= density:
                yield (
                    ("densities", next_zone.text),
                    (
                        f"zone {next_zone.text} with {next_density:g} is no denser than zone {zone.text}, "
                        f"{density:g}; densities rise with the zones"
                    ),
                )
