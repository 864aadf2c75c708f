"""Scans in hand: what is expected of them before they are read, and what was found of them when they were."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cached_property
from typing import Any

from negcat import records
from negcat.densitometry import Condition, NoRebate, Rebate, SpotDensity
from negcat.places import Address, Place
from negcat.scans import Reduced
from negcat.work import scanned
from negcat.work.archive import Archive
from negcat.work.drawing import Printed, Size
from negcat.work.joining import SheetIds, decide, side_file_texts
from negcat.work.looking_ahead import Aperture, Foreseen, Found
from negcat.work.planning import Equipment
from negcat.work.scanned import Basis, Profile

__all__ = ["Foresight", "InHand"]


class InHand:
    """A scan in hand, so that its master isn't read twice.

    Parameters
    ----------
    reduced : gives the scan made small; asked for it once at most, where something has to be found anew.
    found : what was found of it when it was read; None: nothing yet.
    """

    def __init__(self, reduced: Callable[[], Reduced], found: Found | None = None) -> None:
        self._reduced = reduced
        self._found = found

    @cached_property
    def reduced(self) -> Reduced:
        """The scan made small.

        Raises
        ------
        ScanError : its master can't be read.
        """
        return self._reduced()

    def examined(
        self, row: Mapping[str, Any], basis: Basis, profile: Profile | None
    ) -> tuple[Rebate | NoRebate, Condition]:
        """Look it over, see :func:`negcat.work.scanned.examine`.

        Parameters
        ----------
        row : the scan as the catalogue has it.
        basis : what it is looked over with.
        profile : the one of the basis.
        """
        found = self._found
        if found is not None and found.basis == basis:
            return found.rebate, found.condition
        return scanned.examine(
            self.reduced,
            basis.channel,
            basis.px_per_mm,
            profile.fitted if profile else None,
            bits=row["bits"],
            lossy=row["lossy"],
        )

    def density(self, basis: Basis, aperture: Aperture) -> SpotDensity | None:
        """Give what was measured at a spot; None where that wasn't done with just this."""
        found = self._found
        return found.densities.get(aperture) if found is not None and found.basis == basis else None

    def pictures(self, printed: Printed | None) -> Mapping[Size, bytes] | None:
        """Give the pictures that are printed so; None where they aren't made yet."""
        found = self._found
        return found.pictures if found is not None and found.printed == printed else None


class Foresight:
    """Tells what is to be expected of files, as far as the catalogue knows it before they are read.

    Parameters
    ----------
    archive : the archive.
    ids : its sheet ids.
    scanner : the scanner that the user names; None to tell it from a scan's tags.
    """

    def __init__(self, archive: Archive, ids: SheetIds, scanner: str | None) -> None:
        self._catalogue = archive.catalogue
        self._ids = ids
        self._scanner = scanner
        self._as_of: int | None = None

    def of(self, path: Place) -> Foreseen:
        """Tell what is to be expected of a file: that it is a scan of the sheet that its name says."""
        self._renew()
        sheet = self._named(path)
        record = self._catalogue.sheet(sheet) if sheet is not None else None
        film_channel = self._equipment.film(record.film).channel if record else "grey"
        apertures: tuple[Aperture, ...] = ()
        base_fog = None
        # Spots of a sheet with scans are places on another one of them.
        if record is not None and not self._catalogue.scans_of(record.sheet):
            spots = [reading.spot for reading in record.readings]
            apertures = tuple(
                Aperture(spot.x, spot.y, spot.diameter_mm)
                for spot in (*spots, record.base_fog_spot)
                if spot is not None and spot.scan is None
            )
            if record.base_fog_spot is not None and record.base_fog_spot.scan is None:
                base_fog = apertures[-1]
        return Foreseen(
            record is not None,
            film_channel,
            records.film_size_mm(record.format) if record and record.format else None,
            tuple(dict.fromkeys(apertures)),
            base_fog,
            self._equipment.target(record.print_target if record else None),
            self._profiles(film_channel),
        )

    def _named(self, path: Place) -> str | None:
        join = decide(self._ids, stem=path.stem, side_texts=(), descriptions=())
        if join.sheet is None and not isinstance(path, Address):
            join = decide(self._ids, stem=path.stem, side_texts=side_file_texts(path), descriptions=())
        return join.sheet

    def _renew(self) -> None:
        """Look up again what another program may have changed."""
        now = self._catalogue.writes_of_others()
        if now != self._as_of:
            self._as_of = now
            self._equipment = Equipment(self._catalogue)
            rows = self._catalogue.profiles()
            self._known_profiles = scanned.by_day(map(scanned.profile_from, rows))

    def _profiles(self, film_channel: str) -> tuple[Profile, ...]:
        wanted = [scanned.channel_of(film_channel, mode) for mode in scanned.CHANNELS]
        names = {channel[1] for channel in wanted if channel is not None}
        return tuple(
            profile
            for profile in self._known_profiles
            if profile.fitted.channel in names and self._scanner in (None, profile.scanner)
        )
