"""The records a photographer keeps: films, shutters, lenses, scanners, tablets, targets, sheets, developments.

Every field says in its description what it is and in which unit; the range of every number is part of its
field. Records are frozen. Fields that are written in the trade's notation hold the parsed value with its marked
text (:mod:`negcat.notation`) and are written back as that text, so that
``Model.model_validate(record.model_dump(mode="json", exclude_none=True)) == record``.

A record checks here what it can tell by itself; what it refers to is checked in
:mod:`negcat.records.checking`, which is also where faults become sentences.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Annotated, Any, ClassVar, Literal, Self, TypeVar

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    PlainSerializer,
    PlainValidator,
    WithJsonSchema,
    model_validator,
)

from negcat.notation import Tag, Time, Zone, parse_time, parse_zone
from negcat.records.fields import (
    Flag,
    Format,
    Name,
    Note,
    Number,
    Seconds,
    SheetId,
    StopField,
    TagField,
    TimeField,
    When,
    ZoneField,
    quantity,
    read_number,
    read_seconds,
    shown,
)

__all__ = [
    "KEYS",
    "Cell",
    "Development",
    "Film",
    "FilmTest",
    "Inconsistency",
    "InconsistentRecordError",
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

Path = tuple[str | int, ...]
"""The way to a field inside a record: ``("readings", 0, "zone")``."""

Inconsistency = tuple[Path, str]
"""A field and the sentence that says what is wrong with it and how to mend it."""

_K = TypeVar("_K", Time, Zone)


class InconsistentRecordError(ValueError):
    """Fields that are each well written but don't go together.

    Parameters
    ----------
    found : at least one (path, sentence).
    """

    def __init__(self, found: Iterable[Inconsistency]) -> None:
        self.found = tuple(found)
        super().__init__("; ".join(sentence for _, sentence in self.found))


class Record(BaseModel):
    """What all records share: frozen, no unknown fields, checked across their fields."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class _CheckedRecord(Record):
    def _inconsistencies(self) -> Iterator[Inconsistency]:
        yield from ()

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if found := tuple(self._inconsistencies()):
            raise InconsistentRecordError(found)
        return self


def _once_each(what: str, pairs: Iterable[tuple[Path, str]]) -> Iterator[Inconsistency]:
    """Find names that stand twice, case aside."""
    seen: dict[str, str] = {}
    for path, name in pairs:
        if (first := seen.setdefault(name.casefold(), name)) is not name:
            yield path, f"{what} '{first}' stands there twice; give each a name of its own, or keep one"


def _marked_map(
    parse: Callable[[str | int | float], _K], read: Callable[[object], float], low: float, high: float
) -> Any:
    """Make the validator of a map from marks of the trade to numbers from low to high."""

    def validate(values: object) -> dict[_K, float]:
        if not isinstance(values, Mapping):
            raise ValueError(f"{shown(values)} is no mapping; write one line each, as in I: 0.10")
        parsed: dict[_K, float] = {}
        texts: dict[float, str] = {}
        found: list[Inconsistency] = []
        for key, written in values.items():
            path: Path = (key if isinstance(key, str) else str(key),)
            try:
                mark = parse(key) if isinstance(key, str | int | float) else key
                value = read(written)
            except ValueError as fault:
                found.append((path, str(fault)))
                continue
            if twin := texts.get(_value_of(mark)):
                found.append((path, f"'{twin}' and '{mark.text}' are the same; keep one of them"))
            elif not low <= value <= high:
                found.append((path, f"{value:g} is outside {low:g} … {high:g}; check the figure"))
            else:
                parsed[mark] = value
            texts[_value_of(mark)] = mark.text
        if found:
            raise InconsistentRecordError(found)
        return parsed

    return PlainValidator(validate)


def _value_of(mark: Time | Zone) -> float:
    return mark.seconds if isinstance(mark, Time) else mark.value


def _as_text_keys(values: Mapping[_K, float]) -> dict[str, float]:
    return {mark.text: value for mark, value in values.items()}


# --- film, shutter, lens, scanner, tablet, target -----------------------------------------------------------


class Reciprocity(_CheckedRecord):
    """How a film answers to long times: which time has to be given for a metered one."""

    law: Annotated[
        Literal["none", "power", "table"],
        Field(
            description="none: long times need nothing; power: given = from_s·(metered/from_s)^exponent above "
            "from_s; table: a smooth curve through points",
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
            yield ("law",), f"the law '{self.law}' needs {needed}; add for example {example}"
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
                    f"[{metered:g}, {given:g}] doesn't rise past [{before[0]:g}, {before[1]:g}]; put the points "
                    "in order, each time longer than the one before",
                )
            before = (metered, given)


class Film(Record):
    """A film, or one lot of it."""

    name: Annotated[Name, Field(description="Name of the film, unique", examples=["Kiln 100"])]
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
        _marked_map(parse_time, read_seconds, 0.000_01, 7200),
        PlainSerializer(_as_text_keys, return_type=dict[str, float]),
        WithJsonSchema(
            {
                "type": "object",
                "additionalProperties": {"type": "number", "minimum": 0.000_01, "maximum": 7200},
                "default": {},
            }
        ),
        Field(description="Marked time → measured time, s, 0.00001 to 7200", examples=[{"1/15": "0.071"}]),
    ] = {}  # noqa: RUF012 (pydantic copies defaults)


class Cell(_CheckedRecord):
    """One way of using a lens: the whole of it, or one of its cells alone."""

    cell: Annotated[Name, Field(description="Name of the cell, unique in its lens", examples=["whole"])]
    focal_mm: Annotated[Number, quantity("Focal length", "mm", 5, 5000, "180")]
    widest_stop: Annotated[
        StopField | None, Field(description="Widest stop, f-number as marked", examples=["6.8"])
    ] = None
    mounted: Annotated[
        Literal["whole", "front", "behind"] | None,
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
                f"the cell lies {self.cell_to_stop_mm:g} mm from the diaphragm, not less than its focal length of "
                f"{self.focal_mm:g} mm; check the two",
            )


class Lens(_CheckedRecord):
    """A lens: one cell if it is an ordinary one, several if it is convertible."""

    name: Annotated[Name, Field(description="Name of the lens, unique", examples=["Aldwater 180"])]
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
        """The cell that is the whole lens: the one mounted so, or the only one; None where that is open."""
        if len(self.cells) == 1:
            return self.cells[0].cell
        wholes = [cell.cell for cell in self.cells if cell.mounted == "whole"]
        return wholes[0] if len(wholes) == 1 else None

    def cell_named(self, name: str | None) -> Cell | None:
        """Return the cell of that name; without a name the only cell, if there is but one."""
        if name is None:
            return self.cells[0] if len(self.cells) == 1 else None
        return next((cell for cell in self.cells if cell.cell == name), None)

    def _inconsistencies(self) -> Iterator[Inconsistency]:
        yield from _once_each(
            "the cell", ((("cells", place, "cell"), cell.cell) for place, cell in enumerate(self.cells))
        )
        for mounted in ("whole", "front", "behind"):
            places = [place for place, cell in enumerate(self.cells) if cell.mounted == mounted]
            if mounted == "whole" and len(places) > 1:
                yield (
                    ("cells", places[1], "mounted"),
                    f"'{self.cells[places[0]].cell}' is mounted whole already; a lens is whole in one way only",
                )
        if len(self.cells) > 1 and self.whole is None:
            for place, cell in enumerate(self.cells):
                if not cell.own_scale and not any(other.own_scale for other in self.cells):
                    yield (
                        ("cells", place, "own_scale"),
                        f"'{cell.cell}' has no stop scale of its own, and there is none to read its stops from; write "
                        "mounted: whole at the cell that is the whole lens",
                    )


class Scanner(Record):
    """A scanner, known again by what it writes into its files."""

    name: Annotated[Name, Field(description="Name of the scanner, unique", examples=["the flatbed"])]
    make: Annotated[Name | None, Field(description="Maker as written in the scan's tags")] = None
    model: Annotated[Name | None, Field(description="Model as written in the scan's tags")] = None
    software: Annotated[Name | None, Field(description="Software as written in the scan's tags")] = None


class Tablet(_CheckedRecord):
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
        for place, (before, after) in enumerate(zip(self.densities, self.densities[1:], strict=False), 1):
            if after < before:
                yield (
                    ("densities", place),
                    f"step {place + 1} with {after:g} is lighter than step {place} with {before:g}; list the steps "
                    "from the lightest to the densest",
                )
        if self.densities and min(self.densities) == max(self.densities):
            yield ("densities",), "all steps have the same density; write the calibrated density of each step"


class PrintTarget(_CheckedRecord):
    """The net densities a negative should have in each zone for one way of printing."""

    name: Annotated[Name, Field(description="Name of the print target, unique", examples=["salted paper"])]
    densities: Annotated[
        dict[Zone, float],
        _marked_map(parse_zone, read_number, 0, 6),
        PlainSerializer(_as_text_keys, return_type=dict[str, float]),
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
        for (zone, density), (next_zone, next_density) in zip(points, points[1:], strict=False):
            if next_density <= density:
                yield (
                    ("densities", next_zone.text),
                    f"zone {next_zone.text} with {next_density:g} is not denser than zone {zone.text} with {density:g}; "
                    "densities rise with the zones",
                )


# --- the sheet ------------------------------------------------------------------------------------------------

_X = quantity("From the left edge of the upright scan, fraction of its width", "", 0, 1, "0.5")
_Y = quantity("From the top edge of the upright scan, fraction of its height", "", 0, 1, "0.5")
_DIAMETER = quantity("Diameter of the round aperture on the film (default 2)", "mm", 0.05, 50, "2")


class Spot(Record):
    """Where on a sheet a density is measured."""

    x: Annotated[Number, _X]
    y: Annotated[Number, _Y]
    diameter_mm: Annotated[Number, _DIAMETER] = 2.0


class Reading(_CheckedRecord):
    """One metered part of the subject."""

    name: Annotated[Name, Field(description="What was metered, unique in the sheet", examples=["kiln mouth"])]
    role: Annotated[
        Literal["shadow", "middle", "highlight", "other"],
        Field(description="What it is in the picture", examples=["shadow"]),
    ] = "other"
    ev: Annotated[Number | None, quantity("Exposure value metered at meter_iso", "EV", -15, 30, "9.5")] = None
    stops_from_placed: Annotated[
        Number | None, quantity("Brighter than the placed reading by", "stops", -20, 20, "+3")
    ] = None
    zone: Annotated[
        ZoneField | None,
        Field(
            description="Placed reading: exposure zone it was placed on; any other: print zone wanted for it, 0 to 10"
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


class Sheet(_CheckedRecord):
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
            description="Cell whose stop scale the stop was read from (default: its own, else the whole lens's)"
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
        yield from _once_each(
            "the reading",
            ((("readings", place, "name"), reading.name) for place, reading in enumerate(readings)),
        )
        marked = [place for place, reading in enumerate(readings) if reading.placed]
        for place in marked[1:]:
            yield (
                ("readings", place, "placed"),
                f"'{readings[marked[0]].name}' is the placed reading already; keep placed: true at one reading only",
            )
        at = self._placed_at()
        if at is None:
            yield (
                ("readings",),
                "no reading is the placed one; write placed: true, or role: shadow, at the reading the exposure "
                "was placed by",
            )
            return
        placed = readings[at]
        if placed.zone is None:
            yield (
                ("readings", at, "zone"),
                f"the placed reading '{placed.name}' has no zone; write the zone it was placed on, for example zone: III",
            )
        if placed.stops_from_placed:
            yield (
                ("readings", at, "stops_from_placed"),
                f"'{placed.name}' is the placed reading itself and can't lie {placed.stops_from_placed:g} stops from it; "
                "write its ev, or place another reading",
            )


# --- development and tests ------------------------------------------------------------------------------------


class Development(_CheckedRecord):
    """One batch of sheets developed together."""

    batch: Annotated[Name, Field(description="Id of the batch, unique", examples=["D-07"])]
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
        yield from _once_each(
            "the sheet", ((("sheets", place), sheet) for place, sheet in enumerate(self.sheets))
        )


class FilmTest(_CheckedRecord):
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
    scan: Annotated[Note | None, Field(description="Path of its scan")] = None
    densities: Annotated[
        tuple[Annotated[Number, Field(ge=0, le=6)], ...] | None,
        Field(
            description="Densities read on a densitometer, 0 to 6, one for each step of the tablet in its order; "
            "they rule where there is a scan too",
            min_length=5,
            max_length=200,
        ),
    ] = None

    def _inconsistencies(self) -> Iterator[Inconsistency]:
        if self.scan is None and self.densities is None:
            yield (
                (),
                "the test has neither scan nor densities; write the path of its scan, or the densities read on a "
                "densitometer",
            )


class Records(Record):
    """All records of one file."""

    films: Annotated[tuple[Film, ...], Field(description="Films")] = ()
    shutters: Annotated[tuple[Shutter, ...], Field(description="Shutters")] = ()
    lenses: Annotated[tuple[Lens, ...], Field(description="Lenses")] = ()
    scanners: Annotated[tuple[Scanner, ...], Field(description="Scanners")] = ()
    tablets: Annotated[tuple[Tablet, ...], Field(description="Step tablets")] = ()
    print_targets: Annotated[tuple[PrintTarget, ...], Field(description="Print targets")] = ()
    sheets: Annotated[tuple[Sheet, ...], Field(description="Sheets: the field records")] = ()
    developments: Annotated[tuple[Development, ...], Field(description="Batches of development")] = ()
    film_tests: Annotated[tuple[FilmTest, ...], Field(description="Step tablets exposed on film")] = ()

    MODELS: ClassVar[Mapping[str, type[Record]]] = {
        "films": Film,
        "shutters": Shutter,
        "lenses": Lens,
        "scanners": Scanner,
        "tablets": Tablet,
        "print_targets": PrintTarget,
        "sheets": Sheet,
        "developments": Development,
        "film_tests": FilmTest,
    }

    def counts(self) -> dict[str, int]:
        """Count the records of every list that holds any."""
        return {name: len(found) for name in self.MODELS if (found := getattr(self, name))}


KEYS: Mapping[str, str] = {
    "films": "name",
    "shutters": "name",
    "lenses": "name",
    "scanners": "name",
    "tablets": "name",
    "print_targets": "name",
    "sheets": "sheet",
    "developments": "batch",
    "film_tests": "test",
}
"""The field of every list that names its records."""
