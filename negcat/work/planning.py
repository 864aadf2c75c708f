"""From records to the computed plan: what was metered, placed and given.

:class:`Equipment` looks up what a sheet's record refers to, each thing once, so that many sheets cost no more
look-ups than there are films and lenses. A sheet is computed with what was believed when it was made: the
records as they are, with every dated change that came after it taken back.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property, lru_cache
from typing import Any

from negcat import exposure, records, sensitometry
from negcat.catalogue import Catalogue, DatedChange
from negcat.errors import UnknownNameError
from negcat.notation import parse_time
from negcat.reciprocity import NoLaw, PowerLaw, Reciprocity, TableLaw

__all__ = ["Equipment"]

DEFAULT_FROM_S = 1.0
"""Longest time that a power law leaves as it is, where the record doesn't say."""


class Equipment:
    """The films, lenses, shutters and print targets that sheets refer to.

    Parameters
    ----------
    catalogue : the open catalogue; what is looked up is kept for as long as this object lives.
    as_now : compute every sheet with what is believed now, whenever it was made.
    recording_at : when sheets that are not on record yet are recorded; None: after all that is.
    """

    def __init__(
        self, catalogue: Catalogue, *, as_now: bool = False, recording_at: str | None = None
    ) -> None:
        self._catalogue = catalogue
        self._as_now = as_now
        self._recording_at = recording_at
        self.film = lru_cache(maxsize=None)(self._film)
        self.target = lru_cache(maxsize=None)(self._target)
        self._law = lru_cache(maxsize=None)(self._reciprocity)
        self._lens = lru_cache(maxsize=None)(self._lens_record)
        self._optics = lru_cache(maxsize=None)(self._lens_and_shutter)
        self._way = lru_cache(maxsize=10_000)(self._way_of)

    @cached_property
    def changes(self) -> tuple[DatedChange, ...]:
        """Every dated change, the earliest first."""
        return tuple(self._catalogue.dated_changes())

    def later_changes(self, sheet: records.Sheet) -> tuple[int, ...]:
        """Find the dated changes about what a sheet was made with that came after it.

        Returns
        -------
        Their places in :attr:`changes`.
        """
        if not self.changes:
            return ()
        later: dict[tuple[str | None, ...], list[int]] = {}
        for place, change in enumerate(self.changes):
            if not self.concerns(change, sheet):
                continue
            of_the_figure = later.setdefault(change.figure, [])
            if self._made_before(sheet, change):
                of_the_figure.append(place)
            else:
                # What was accepted last rules from its day on, whatever was accepted before it for a later one.
                of_the_figure.clear()
        return tuple(sorted(place for places in later.values() for place in places))

    def concerns(self, change: DatedChange, sheet: records.Sheet) -> bool:
        """Tell whether a dated change is about something that a sheet was made with, whenever that was."""
        if change.film is not None:
            own_index = change.field == "exposure_index" and sheet.exposure_index is not None
            return change.film == sheet.film and not own_index
        if change.lens is not None:
            return change.lens == sheet.lens and change.cell == self.cell_of(sheet)
        if change.shutter is None or change.shutter != self._lens(sheet.lens).shutter:
            return False
        return parse_time(change.marked_time or "").seconds == sheet.time.seconds

    def _made_before(self, sheet: records.Sheet, change: DatedChange) -> bool:
        made, since = sheet.exposed_at, change.effective_from
        if made is not None and (made == since or not since.startswith(made)):
            return made < since
        # Without a date, or without the hour on that very day, by when it was recorded; one that isn't recorded
        # yet is being made now.
        recorded_at = self._catalogue.recorded_at(sheet.sheet) or self._recording_at
        return recorded_at is not None and recorded_at <= change.accepted_at

    def _undone(self, sheet: records.Sheet) -> tuple[int, ...]:
        return () if self._as_now else self.later_changes(sheet)

    def _taken_back(self, undone: Iterable[int]) -> list[DatedChange]:
        """Give changes in the order in which they are taken back: the latest first."""
        return [self.changes[place] for place in sorted(undone, reverse=True)]

    def law(self, film: str) -> Reciprocity:
        """Give a film's law of reciprocity as it is believed now."""
        return self._law(film, ())

    def optics(self, lens: str) -> exposure.Lens:
        """Give a lens with its cells as they are believed now."""
        return self._optics(lens, ())[0]

    def _lens_record(self, name: str) -> records.Lens:
        lens = self._catalogue.lens(name)
        if lens is None:
            raise UnknownNameError(f"the archive holds no lens '{name}'; record it first")
        return lens

    def _film(self, name: str) -> records.Film:
        film = self._catalogue.film(name)
        if film is None:
            raise UnknownNameError(f"the archive holds no film '{name}'; record it first")
        return film

    def _target(self, name: str | None) -> sensitometry.TargetCurve:
        wanted = name or sensitometry.DEFAULT_TARGET
        curve = self._catalogue.target_curves().get(wanted)
        if curve is None:
            raise UnknownNameError(f"the archive holds no print target '{wanted}'; record it first")
        return curve

    def _reciprocity(self, film: str, undone: tuple[int, ...]) -> Reciprocity:
        law = self.film(film).reciprocity
        for change in self._taken_back(undone):
            if change.film == film and change.field == "reciprocity":
                law = None if change.before is None else records.Reciprocity.model_validate(change.before)
        if law is None or law.law == "none":
            return NoLaw()
        if law.law == "power":
            assert law.exponent is not None  # the model holds this
            return PowerLaw(law.exponent, law.from_s if law.from_s is not None else DEFAULT_FROM_S)
        assert law.points is not None  # the model holds this
        return TableLaw(law.points)

    def _lens_and_shutter(
        self, name: str, undone: tuple[int, ...]
    ) -> tuple[exposure.Lens, dict[float, float]]:
        lens = self._lens(name)
        errors = {cell.cell: cell.scale_error_stops for cell in lens.cells}
        shutter = self._catalogue.shutter(lens.shutter) if lens.shutter else None
        measured: dict[float, Any] = (
            {time.seconds: seconds for time, seconds in shutter.measured.items()} if shutter else {}
        )
        for change in self._taken_back(undone):
            if change.lens == name and change.field == "scale_error_stops" and change.cell in errors:
                errors[change.cell] = float(change.before)
            elif shutter is not None and change.shutter == shutter.name and change.marked_time is not None:
                measured[parse_time(change.marked_time).seconds] = change.before
        cells = {
            cell.cell: exposure.Cell(
                focal_mm=cell.focal_mm,
                mounted=cell.mounted,
                own_scale=cell.own_scale,
                cell_to_stop_mm=cell.cell_to_stop_mm,
                pupil_ratio=cell.pupil_ratio,
                scale_error_stops=errors[cell.cell],
            )
            for cell in lens.cells
        }
        times = {seconds: float(found) for seconds, found in measured.items() if found is not None}
        return exposure.Lens(lens.name, cells), times

    def exposure_index(self, sheet: records.Sheet) -> float:
        """Give the index a sheet was exposed at: its own, else the film's of then, else the box speed."""
        if sheet.exposure_index:
            return sheet.exposure_index
        film = self.film(sheet.film)
        index = film.exposure_index
        for change in self._taken_back(self._undone(sheet)):
            if change.film == film.name and change.field == "exposure_index":
                index = None if change.before is None else float(change.before)
        return index or film.box_speed

    def _way_of(self, film: str, undone: tuple[int, ...], lens: str, *marked: Any) -> exposure.Way:
        """Look up what the light met; `marked` as :meth:`expose` gives it."""
        optics, shutter = self._optics(lens, undone)
        cell, stop_scale, f_number, time_s, filter_factor, filter_name, bellows_mm = marked
        return exposure.way_of(
            exposure.Setting(
                readings=(),
                exposure_index=1.0,
                f_number=f_number,
                time_s=time_s,
                lens=optics,
                cell=cell,
                stop_scale=stop_scale,
                shutter=shutter,
                reciprocity=self._law(film, undone),
                filter_factor=filter_factor,
                filter_name=filter_name,
                bellows_mm=bellows_mm,
            )
        )

    def cell_of(self, sheet: records.Sheet) -> str:
        """Name the cell a sheet was made with: the recorded one, else the lens's only one."""
        if sheet.cell is not None:
            return sheet.cell
        return next(iter(self._optics(sheet.lens, ())[0].cells))

    def expose(self, sheet: records.Sheet) -> exposure.Exposure:
        """Compute what a sheet was planned to get and what it was given, as it was believed then.

        Parameters
        ----------
        sheet : the field record.

        Returns
        -------
        The ledger in stops and each reading's zones; what couldn't be had is None and `why` says why.
        """
        undone = self._undone(sheet)
        way = self._way(
            sheet.film,
            undone,
            sheet.lens,
            self.cell_of(sheet),
            sheet.stop_scale,
            sheet.stop.f_number,
            sheet.time.seconds,
            sheet.filter_factor,
            sheet.filter,
            sheet.bellows_mm,
        )
        placed = sheet.placed_reading
        indicated = sheet.indicated
        return exposure.expose(
            exposure.Setting(
                readings=tuple(
                    [
                        exposure.MeteredReading(
                            reading.name,
                            reading.role,
                            reading.ev,
                            reading.stops_from_placed,
                            reading.zone.value if reading.zone is not None else None,
                            reading is placed,
                        )
                        for reading in sheet.readings
                    ]
                ),
                exposure_index=self.exposure_index(sheet),
                f_number=way.setting.f_number,
                time_s=way.setting.time_s,
                meter_iso=sheet.meter_iso,
                indicated=(indicated.stop.f_number, indicated.time.seconds) if indicated else None,
                lens=way.setting.lens,
                cell=way.setting.cell,
                stop_scale=way.setting.stop_scale,
                shutter=way.setting.shutter,
                reciprocity=way.setting.reciprocity,
                filter_factor=way.setting.filter_factor,
                filter_name=way.setting.filter_name,
                bellows_mm=way.setting.bellows_mm,
                n=sheet.tag.n,
            ),
            way,
        )
