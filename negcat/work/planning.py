"""From records to the computed plan: what was metered, placed and given.

:class:`Equipment` looks up what a sheet's record refers to, each thing once, so that many sheets cost no more
look-ups than there are films and lenses.
"""

from __future__ import annotations

from functools import lru_cache

from negcat import exposure, records, sensitometry
from negcat.catalogue import Catalogue
from negcat.errors import UnknownNameError
from negcat.reciprocity import NoLaw, PowerLaw, Reciprocity, TableLaw

__all__ = ["Equipment"]

DEFAULT_FROM_S = 1.0
"""Longest time that a power law leaves as it is, where the record doesn't say."""


class Equipment:
    """The films, lenses, shutters and print targets that sheets refer to.

    Parameters
    ----------
    catalogue : the open catalogue; what is looked up is kept for as long as this object lives.
    """

    def __init__(self, catalogue: Catalogue) -> None:
        self._catalogue = catalogue
        self.film = lru_cache(maxsize=None)(self._film)
        self.target = lru_cache(maxsize=None)(self._target)
        self.law = lru_cache(maxsize=None)(self._reciprocity)
        self._optics = lru_cache(maxsize=None)(self._lens_and_shutter)

    def _film(self, name: str) -> records.Film:
        film = self._catalogue.film(name)
        if film is None:
            raise UnknownNameError(f"the archive holds no film '{name}'; record it first")
        return film

    def _target(self, name: str | None) -> sensitometry.TargetCurve:
        wanted = name or sensitometry.DEFAULT_TARGET
        record = self._catalogue.print_target(wanted)
        if record is None:
            raise UnknownNameError(f"the archive holds no print target '{wanted}'; record it first")
        points = sorted((zone.value, density) for zone, density in record.densities.items())
        return sensitometry.TargetCurve(
            record.name, tuple(zone for zone, _ in points), tuple(density for _, density in points)
        )

    def _reciprocity(self, film: str) -> Reciprocity:
        law = self.film(film).reciprocity
        if law is None or law.law == "none":
            return NoLaw()
        if law.law == "power":
            assert law.exponent is not None  # the model holds this
            return PowerLaw(law.exponent, law.from_s if law.from_s is not None else DEFAULT_FROM_S)
        assert law.points is not None  # the model holds this
        return TableLaw(law.points)

    def _lens_and_shutter(self, name: str) -> tuple[exposure.Lens, dict[float, float]]:
        lens = self._catalogue.lens(name)
        if lens is None:
            raise UnknownNameError(f"the archive holds no lens '{name}'; record it first")
        cells = {
            cell.cell: exposure.Cell(
                focal_mm=cell.focal_mm,
                mounted=cell.mounted,
                own_scale=cell.own_scale,
                cell_to_stop_mm=cell.cell_to_stop_mm,
                pupil_ratio=cell.pupil_ratio,
                scale_error_stops=cell.scale_error_stops,
            )
            for cell in lens.cells
        }
        shutter = self._catalogue.shutter(lens.shutter) if lens.shutter else None
        measured = {time.seconds: seconds for time, seconds in shutter.measured.items()} if shutter else {}
        return exposure.Lens(lens.name, cells), measured

    def exposure_index(self, sheet: records.Sheet) -> float:
        """Give the index a sheet was exposed at: its own, else the film's, else the box speed."""
        film = self.film(sheet.film)
        return sheet.exposure_index or film.exposure_index or film.box_speed

    def cell_of(self, sheet: records.Sheet) -> str:
        """Name the cell a sheet was made with: the recorded one, else the lens's only one."""
        if sheet.cell is not None:
            return sheet.cell
        return next(iter(self._optics(sheet.lens)[0].cells))

    def expose(self, sheet: records.Sheet) -> exposure.Exposure:
        """Compute what a sheet was planned to get and what it was given.

        Parameters
        ----------
        sheet : the field record.

        Returns
        -------
        The ledger in stops and each reading's zones; what couldn't be had is None and `why` says why.
        """
        lens, shutter = self._optics(sheet.lens)
        placed = sheet.placed_reading
        indicated = sheet.indicated
        return exposure.expose(
            exposure.Setting(
                readings=tuple(
                    exposure.MeteredReading(
                        name=reading.name,
                        role=reading.role,
                        ev=reading.ev,
                        stops_from_placed=reading.stops_from_placed,
                        zone=reading.zone.value if reading.zone is not None else None,
                        placed=reading is placed,
                    )
                    for reading in sheet.readings
                ),
                exposure_index=self.exposure_index(sheet),
                meter_iso=sheet.meter_iso,
                indicated=(indicated.stop.f_number, indicated.time.seconds) if indicated else None,
                f_number=sheet.stop.f_number,
                time_s=sheet.time.seconds,
                lens=lens,
                cell=self.cell_of(sheet),
                stop_scale=sheet.stop_scale,
                shutter=shutter,
                reciprocity=self.law(sheet.film),
                filter_factor=sheet.filter_factor,
                filter_name=sheet.filter,
                bellows_mm=sheet.bellows_mm,
                n=sheet.tag.n,
            )
        )
