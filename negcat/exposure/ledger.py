"""The ledger of stops of a sheet: its record, its figures, and the ledger in words.

Everything between the meter and the film is a line of its own, in stops, and the lines add up: what the stop
and time as marked give beyond what the placement asks, filter, bellows, the cell's scale, the cell's pupil,
the shutter, reciprocity. Their sum is the *decision*: by how much the placed reading really falls beside the
zone it was placed on, before film and developer have their say.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal, TypeAlias

from negcat.exposure.lenses import Lens
from negcat.notation import format_stop, format_time, format_zone
from negcat.reciprocity import NoLaw, PowerLaw, Reciprocity

__all__ = ["Exposure", "LedgerItem", "LedgerLine", "MeteredReading", "PlannedReading", "Setting", "Way"]

LedgerItem: TypeAlias = Literal[
    "setting", "filter", "bellows", "cell_scale", "cell_pupil", "shutter", "reciprocity", "decision"
]


@dataclass(frozen=True, slots=True)
class MeteredReading:
    """A reading as recorded.

    Parameters
    ----------
    name : what was metered.
    role : ``shadow``, ``middle``, ``highlight`` or ``other``.
    ev : the reading at the meter's film speed.
    stops_from_placed : or its distance from the placed reading, in stops, brighter positive.
    zone : the exposure zone the placed reading was placed on; of any other, the print zone wanted.
    placed : the one the exposure was made for. With none marked, it is the first shadow.
    """

    name: str
    role: str = "other"
    ev: float | None = None
    stops_from_placed: float | None = None
    zone: float | None = None
    placed: bool = False


@dataclass(frozen=True, slots=True)
class Setting:
    """All that the record of a sheet says about its exposure, in exact values.

    Parameters
    ----------
    readings : what was metered.
    exposure_index : the film's index as used, ISO arithmetic, more than 0.
    meter_iso : the film speed the meter was set to, more than 0.
    indicated : the stop and seconds that a meter set to the exposure index showed for the placement.
    f_number : the exact value of the marked stop.
    time_s : the exact value of the marked time, in seconds.
    lens, cell : the lens, and which of its cells; an ordinary lens needs no cell.
    stop_scale : the cell whose scale the stop was read from.
    shutter : marked seconds to measured seconds.
    reciprocity : the film's law.
    filter_factor, filter_name : the filter.
    bellows_mm : extension from lens to film in mm.
    n : the development planned, the number after N.
    """

    readings: Sequence[MeteredReading]
    exposure_index: float
    f_number: float
    time_s: float
    meter_iso: float = 100.0
    indicated: tuple[float, float] | None = None
    lens: Lens | None = None
    cell: str | None = None
    stop_scale: str | None = None
    shutter: Mapping[float, float] = field(default_factory=dict)
    reciprocity: Reciprocity = field(default_factory=NoLaw)
    filter_factor: float | None = None
    filter_name: str | None = None
    bellows_mm: float | None = None
    n: float = 0.0

    @property
    def cell_in_use(self) -> str | None:
        """The name of the cell used: the one recorded, or an ordinary lens's only one; None if unclear."""
        if self.lens is None:
            return None
        if self.cell is not None:
            return self.cell if self.cell in self.lens.cells else None
        return next(iter(self.lens.cells)) if len(self.lens.cells) == 1 else None


@dataclass(frozen=True, slots=True)
class LedgerLine:
    """One line of the ledger.

    Parameters
    ----------
    item : what it is about.
    stops : more light positive; None where unknown.
    text : the line's words, for people.
    """

    item: LedgerItem
    stops: float | None
    text: str


@dataclass(frozen=True)
class Way:
    """What the light meets between meter and film, whatever was metered. Whatever can't be known is None.

    It is the same for every sheet made with the same stop, time, filter, extension, lens, shutter and film.

    Parameters
    ----------
    setting : a record of it; its readings, film speeds and development bear on nothing here.
    effective_f_number : what the stop amounts to with the cell in use (its scale's error and its pupil).
    shutter_time_s, effective_time_s : as the shutter gives it; less reciprocity failure.
    filter_stops, bellows_stops, cell_stops, shutter_stops, reciprocity_stops : light lost (negative) or won.
    cell_scale_stops, cell_pupil_stops : the two parts of the cell's.
    stops : the sum of the five.
    why : a sentence for everything missing or doubtful.
    """

    setting: Setting
    effective_f_number: float | None
    shutter_time_s: float
    effective_time_s: float
    filter_stops: float
    bellows_stops: float | None
    cell_stops: float | None
    cell_scale_stops: float | None
    cell_pupil_stops: float | None
    shutter_stops: float
    reciprocity_stops: float
    stops: float | None
    why: tuple[str, ...]

    @cached_property
    def lines(self) -> tuple[LedgerLine, ...]:
        """The ledger's lines between the setting and the decision."""
        return (
            LedgerLine("filter", self.filter_stops, _filter_text(self.setting)),
            LedgerLine("bellows", self.bellows_stops, _bellows_text(self.setting)),
            LedgerLine("cell_scale", self.cell_scale_stops, _scale_text(self)),
            LedgerLine("cell_pupil", self.cell_pupil_stops, _pupil_text(self)),
            LedgerLine("shutter", self.shutter_stops, _shutter_text(self)),
            LedgerLine("reciprocity", self.reciprocity_stops, _reciprocity_text(self)),
        )


@dataclass(frozen=True, slots=True)
class PlannedReading:
    """A reading, planned and given. Whatever can't be known is None.

    Parameters
    ----------
    name, role, placed : as recorded.
    ev : the exposure value at the exposure index.
    planned_zone : the exposure zone it was to fall on.
    given_zone : the exposure zone it was really given.
    planned_print_zone : where it was to print.
    wanted : that print zone was asked for in the record, and does not come from the tag.
    """

    name: str
    role: str
    placed: bool
    ev: float | None
    planned_zone: float | None
    given_zone: float | None
    planned_print_zone: float | None
    wanted: bool


@dataclass(frozen=True, slots=True)
class Exposure:
    """What a sheet was planned to get, and what it was given. Whatever can't be known is None.

    Parameters
    ----------
    f_number : the exact value of the marked stop.
    effective_f_number : what the stop amounts to with the cell in use (its scale's error and its pupil).
    time_s, shutter_time_s, effective_time_s : as marked; as the shutter gives it; less reciprocity failure.
    setting_stops : what the marked stop and time give beyond what the placement asks.
    filter_stops, bellows_stops, cell_stops, shutter_stops, reciprocity_stops : light lost (negative) or won.
    decision_stops : the sum of the six.
    setting : the record this came from.
    readings : planned and given.
    why : a sentence for everything missing or doubtful.
    way : what the light met between meter and film.
    """

    f_number: float
    effective_f_number: float | None
    time_s: float
    shutter_time_s: float
    effective_time_s: float
    setting_stops: float | None
    filter_stops: float
    bellows_stops: float | None
    cell_stops: float | None
    cell_scale_stops: float | None
    cell_pupil_stops: float | None
    shutter_stops: float
    reciprocity_stops: float
    decision_stops: float | None
    setting: Setting
    readings: tuple[PlannedReading, ...]
    why: tuple[str, ...]
    way: Way

    @property
    def lines(self) -> tuple[LedgerLine, ...]:
        """The ledger, one line an item, the decision last; written when asked for, as sheets are many."""
        return (
            LedgerLine("setting", self.setting_stops, _setting_text(self)),
            *self.way.lines,
            LedgerLine("decision", self.decision_stops, _decision_text(self)),
        )


def _setting_text(done: Exposure) -> str:
    set_to = f"{format_stop(done.f_number)} and {format_time(done.time_s)} were set"
    placed = next((reading for reading in done.readings if reading.placed), None)
    if placed is None or placed.planned_zone is None or placed.ev is None:
        return f"{set_to}; what the placement asks is not known"
    asked_s = done.f_number**2 / 2 ** (placed.ev - (placed.planned_zone - 5))
    return (
        f"{placed.name}, EV {placed.ev:.1f} at index {done.setting.exposure_index:g}, placed on "
        f"{format_zone(placed.planned_zone)} asks for {format_time(asked_s)} at "
        f"{format_stop(done.f_number)}; {set_to}"
    )


def _filter_text(setting: Setting) -> str:
    if setting.filter_factor is not None:
        return f"{setting.filter_name or 'filter'}, factor {setting.filter_factor:g}"
    if setting.filter_name is not None:
        return f"{setting.filter_name}, factor not recorded"
    return "no filter"


def _bellows_text(setting: Setting) -> str:
    if setting.bellows_mm is None:
        return "no extension recorded: counted as focused far away"
    name = setting.cell_in_use
    if setting.lens is None or name is None:
        return f"{setting.bellows_mm:g} mm with an unknown focal length"
    cell = setting.lens.cells[name]
    pupil = f", pupil ratio {cell.pupil_ratio:g}" if cell.pupil_ratio not in (None, 1) else ""
    return f"{setting.bellows_mm:g} mm with a focal length of {cell.focal_mm:g} mm{pupil}"


def _scale_text(way: Way) -> str:
    name = way.setting.cell_in_use
    if way.setting.lens is None or name is None:
        return "cell not known"
    if way.cell_scale_stops == 0:
        return f"{name}: no error of its stop scale on record"
    return f"{name}: the known error of its stop scale"


def _pupil_text(way: Way) -> str:
    setting, name = way.setting, way.setting.cell_in_use
    if setting.lens is None or name is None:
        return "cell not known"
    scale = setting.stop_scale
    if scale is None:
        scale = name if setting.lens.cells[name].own_scale else setting.lens.whole
    if scale == name:
        return f"{name}: the stop was read from its own scale"
    if scale is None or way.cell_pupil_stops is None:
        return f"{name}: what the stop amounts to is not known"
    true_stop = format_stop(way.setting.f_number * 2 ** (-way.cell_pupil_stops / 2))
    return f"{name}: {format_stop(way.setting.f_number)} read from the scale of {scale} is {true_stop} here"


def _shutter_text(way: Way) -> str:
    if way.shutter_stops != 0:
        return f"{format_time(way.setting.time_s)} as marked is {format_time(way.shutter_time_s)} as measured"
    if way.setting.shutter:
        return f"{format_time(way.setting.time_s)} as marked"
    return f"{format_time(way.setting.time_s)} as marked, the shutter not measured"


def _reciprocity_text(way: Way) -> str:
    law = way.setting.reciprocity
    if isinstance(law, NoLaw):
        return "no reciprocity law on record"
    if way.reciprocity_stops == 0:
        return f"{format_time(way.shutter_time_s)} loses nothing"
    by = f"exponent {law.exponent:g}" if isinstance(law, PowerLaw) else "the film's table"
    return f"{format_time(way.shutter_time_s)} counts as {format_time(way.effective_time_s)} ({by})"


def _decision_text(done: Exposure) -> str:
    placed = next((reading for reading in done.readings if reading.placed), None)
    if (
        done.decision_stops is None
        or placed is None
        or placed.planned_zone is None
        or placed.given_zone is None
    ):
        return "not known: something above is missing"
    return (
        f"{placed.name}, planned on {format_zone(placed.planned_zone)}, was given "
        f"{format_zone(placed.given_zone)}"
    )
