"""Placing a reading on a zone, and what it was really given."""

import math
from collections.abc import Mapping, Sequence
from typing import Final

from negcat.errors import QuantityError
from negcat.exposure.ledger import Exposure, MeteredReading, PlannedReading, Setting, Way
from negcat.exposure.lenses import bellows_stops, pupil_stops
from negcat.exposure.light import ev100, exposure_value, print_zone_of
from negcat.notation import format_stops, format_tag, format_time, format_zone
from negcat.reciprocity import TableLaw, effective_time

__all__ = ["expose", "way_of"]

_THIRD: Final = 1 / 3 + 1e-9
_HALF_ZONE: Final = 0.5 + 1e-9
_SAME_TIME: Final = 0.001
_MOST_STOPS: Final = 60.0


def way_of(setting: Setting) -> Way:
    """Work out what the light meets between meter and film: worth keeping where many sheets are made alike.

    Parameters
    ----------
    setting : the record, in exact values; of readings, film speeds and development nothing is used.

    Returns
    -------
    Way

    Raises
    ------
    QuantityError
        Where a stop, time, filter factor or length is not more than 0.
    """
    _require_positive(setting.f_number, "the f-number")
    _require_positive(setting.time_s, "the time")
    why: list[str] = []
    filter_lost = _filter_stops(setting, why)
    bellows_lost, scale_lost, pupil_lost = _lens_stops(setting, why)
    cell_lost = None if scale_lost is None or pupil_lost is None else scale_lost + pupil_lost

    shutter_s = _measured(setting.shutter, setting.time_s)
    shutter_lost = math.log2(shutter_s / setting.time_s)
    effective = effective_time(setting.reciprocity, shutter_s)
    reciprocity_lost = math.log2(effective.seconds / shutter_s)
    if effective.extrapolated and isinstance(setting.reciprocity, TableLaw):
        why.append(
            f"{format_time(shutter_s)} lies past the last point of the film's reciprocity table "
            f"({format_time(setting.reciprocity.points[-1][1])}), which was carried straight on."
        )
    lost = (filter_lost, bellows_lost, cell_lost, shutter_lost, reciprocity_lost)
    return Way(
        setting=setting,
        effective_f_number=None if cell_lost is None else setting.f_number * 2 ** (-cell_lost / 2),
        shutter_time_s=shutter_s,
        effective_time_s=effective.seconds,
        filter_stops=filter_lost,
        bellows_stops=bellows_lost,
        cell_stops=cell_lost,
        cell_scale_stops=scale_lost,
        cell_pupil_stops=pupil_lost,
        shutter_stops=shutter_lost,
        reciprocity_stops=reciprocity_lost,
        stops=None if bellows_lost is None or cell_lost is None else sum(x for x in lost if x is not None),
        why=tuple(why),
    )


def expose(setting: Setting, way: Way | None = None) -> Exposure:
    """Work out what a sheet was planned to get and what it was given.

    Parameters
    ----------
    setting : the record, in exact values.
    way : what :func:`way_of` gave for the like; worked out where it is None.

    Returns
    -------
    Exposure. ``decision_stops`` is given zone − planned zone of the placed reading and, exactly, the sum of
    the setting, filter, bellows, cell, shutter and reciprocity stops.

    Raises
    ------
    QuantityError
        Where a stop, time, film speed, filter factor or length is not more than 0.

    Notes
    -----
    Placing a reading on zone z asks for N²/t = 2^(EV − (z − 5)), EV at the exposure index; the zone given
    is z = 5 + EV − log2(N²/t_e) + filter + bellows + cell, losses negative, with t_e the effective time
    (Adams, *The Negative*; Ray, *Applied Photographic Optics*).

    Examples
    --------
    A shadow of EV 8 placed on IV asks for EV 9, 1 s at f/22.6 and film of ISO 100; a yellow filter of
    factor 2 was forgotten:

    >>> shadow = MeteredReading("under the kiln arch", "shadow", ev=8.0, zone=4.0, placed=True)
    >>> done = expose(Setting([shadow], 100, f_number=2**4.5, time_s=1.0, filter_factor=2.0))
    >>> done.decision_stops, done.readings[0].given_zone
    (-1.0, 3.0)
    """
    _require_positive(setting.exposure_index, "the exposure index")
    way = way or way_of(setting)
    why = list(way.why)
    placed = _placed(setting.readings, why)
    placed_ev = _placed_ev(setting, placed, why)
    marked_ev = exposure_value(setting.f_number, setting.time_s)
    asked = None
    if placed is not None and placed.zone is not None and placed_ev is not None:
        asked = placed_ev - (placed.zone - 5)
    setting_stops = None if asked is None else asked - marked_ev
    readings = tuple(
        _planned(reading, setting, placed, placed_ev, marked_ev, way.stops, why)
        for reading in setting.readings
    )
    return Exposure(
        f_number=setting.f_number,
        effective_f_number=way.effective_f_number,
        time_s=setting.time_s,
        shutter_time_s=way.shutter_time_s,
        effective_time_s=way.effective_time_s,
        setting_stops=setting_stops,
        filter_stops=way.filter_stops,
        bellows_stops=way.bellows_stops,
        cell_stops=way.cell_stops,
        cell_scale_stops=way.cell_scale_stops,
        cell_pupil_stops=way.cell_pupil_stops,
        shutter_stops=way.shutter_stops,
        reciprocity_stops=way.reciprocity_stops,
        decision_stops=None if setting_stops is None or way.stops is None else setting_stops + way.stops,
        setting=setting,
        readings=readings,
        why=tuple(why),
        way=way,
    )


def _require_positive(value: float, what: str) -> None:
    if not 0 < value < math.inf:
        raise QuantityError(f"{what} {value:g} can't be: it must be more than 0.")


def _require_stops(value: float, what: str) -> None:
    if not abs(value) <= _MOST_STOPS:
        raise QuantityError(f"{what}, {value:g}, is no number of stops that light can have.")


def _filter_stops(setting: Setting, why: list[str]) -> float:
    if setting.filter_factor is None:
        if setting.filter_name is not None:
            why.append(
                f"The filter ({setting.filter_name}) has no factor on record: it is counted as "
                f"taking no light."
            )
        return 0.0
    _require_positive(setting.filter_factor, "the filter factor")
    return -math.log2(setting.filter_factor) + 0.0


def _lens_stops(setting: Setting, why: list[str]) -> tuple[float | None, float | None, float | None]:
    """Return the stops lost to the bellows, the cell's scale error and the cell's pupil."""
    lens, name = setting.lens, setting.cell_in_use
    if lens is None:
        if setting.bellows_mm is None:
            return 0.0, 0.0, 0.0
        why.append("What the bellows took can't be known without a lens and its focal length.")
        return None, 0.0, 0.0
    if name is None:
        which = "which of its cells was used is not recorded"
        if setting.cell is not None:
            which = f"it has no cell {setting.cell}"
        why.append(f"The light that {lens.name} passed is unknown: {which}.")
        return (0.0 if setting.bellows_mm is None else None), None, None
    cell = lens.cells[name]
    bellows: float | None = 0.0
    if setting.bellows_mm is not None:
        bellows, doubt = bellows_stops(setting.bellows_mm, cell.focal_mm, cell.pupil_ratio or 1.0)
        why.extend([doubt] if doubt else [])
    pupil, doubt = pupil_stops(lens, name, setting.stop_scale)
    why.extend([doubt] if doubt else [])
    return bellows, cell.scale_error_stops, pupil


def _measured(shutter: Mapping[float, float], marked_s: float) -> float:
    """Return what the shutter gives for a marked time: the time itself where it was never measured."""
    measured = shutter.get(marked_s)
    if measured is None:
        near = (own for marked, own in shutter.items() if abs(marked / marked_s - 1) <= _SAME_TIME)
        measured = next(near, marked_s)
    _require_positive(measured, "the measured shutter time")
    return measured


def _placed(readings: Sequence[MeteredReading], why: list[str]) -> MeteredReading | None:
    marked = [reading for reading in readings if reading.placed]
    if len(marked) == 1:
        return marked[0]
    if marked:
        names = ", ".join(reading.name for reading in marked)
        why.append(
            f"More than one reading is recorded as placed ({names}), so there is no plan to compare with."
        )
        return None
    shadow = next((reading for reading in readings if reading.role == "shadow"), None)
    if shadow is None:
        why.append("No reading was placed on a zone, so there is no plan to compare with.")
    return shadow


def _placed_ev(setting: Setting, placed: MeteredReading | None, why: list[str]) -> float | None:
    """Return the placed reading's exposure value at the exposure index."""
    if placed is None:
        return None
    if placed.zone is None:
        why.append(f"The zone on which {placed.name} was placed is not recorded.")
    ev = _own_ev(placed, setting)
    shown = None
    if setting.indicated is not None and placed.zone is not None:
        f_number, seconds = setting.indicated
        _require_positive(f_number, "the indicated f-number")
        _require_positive(seconds, "the indicated time")
        shown = exposure_value(f_number, seconds) + (placed.zone - 5)
    if ev is not None and shown is not None and abs(shown - ev) > _THIRD:
        why.append(
            f"The stop and time that the meter showed differ from the reading of {placed.name} by "
            f"{format_stops(shown - ev)} stops; the reading is used."
        )
    if ev is None:
        ev = shown
    if ev is None:
        for reading in setting.readings:
            other = _own_ev(reading, setting)
            if other is not None and reading.stops_from_placed is not None:
                return other - reading.stops_from_placed
        why.append(f"Neither a reading nor a meter's stop and time is recorded for {placed.name}.")
    return ev


def _own_ev(reading: MeteredReading, setting: Setting) -> float | None:
    if reading.ev is None:
        return None
    _require_stops(reading.ev, f"the reading of {reading.name}")
    return ev100(reading.ev, setting.meter_iso) + math.log2(setting.exposure_index / 100)


def _planned(
    reading: MeteredReading,
    setting: Setting,
    placed: MeteredReading | None,
    placed_ev: float | None,
    marked_ev: float,
    on_the_way: float | None,
    why: list[str],
) -> PlannedReading:
    is_placed = reading is placed
    ev = placed_ev if is_placed else _own_ev(reading, setting)
    apart = 0.0 if is_placed else reading.stops_from_placed
    if apart is not None:
        _require_stops(apart, f"the distance of {reading.name} from the placed reading")
    if not is_placed and ev is not None and placed_ev is not None:
        if apart is not None and abs(ev - placed_ev - apart) > _THIRD:
            why.append(
                f"{reading.name} is recorded as {format_stops(apart)} stops from the placed "
                f"reading, but its own "
                f"reading says {format_stops(ev - placed_ev)}; its own reading is used."
            )
        apart = ev - placed_ev
    if ev is None and apart is not None and placed_ev is not None:
        ev = placed_ev + apart
    zone = (
        placed.zone + apart if placed is not None and placed.zone is not None and apart is not None else None
    )
    given = None if ev is None or on_the_way is None else 5 + ev - marked_ev + on_the_way
    print_zone = None if zone is None else print_zone_of(zone, setting.n)
    wanted = not is_placed and reading.zone is not None
    if wanted and reading.zone is not None:
        if print_zone is not None and abs(print_zone - reading.zone) > _HALF_ZONE:
            why.append(
                f"{reading.name} is wanted on {format_zone(reading.zone)}, but "
                f"{format_tag(setting.n)} will print it "
                f"on {format_zone(print_zone)}."
            )
        print_zone = reading.zone
    return PlannedReading(reading.name, reading.role, is_placed, ev, zone, given, print_zone, wanted)
