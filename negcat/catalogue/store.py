"""The catalogue as the rest of the house uses it."""

from __future__ import annotations

import difflib
from typing import cast

from negcat.catalogue.checks import ChecksKept
from negcat.catalogue.choosing import Chosen
from negcat.catalogue.door_log import DoorLogged
from negcat.catalogue.gathering import Gathered
from negcat.catalogue.loaded import Loaded
from negcat.catalogue.pending import Waiting
from negcat.catalogue.removing import RemovedKept
from negcat.catalogue.reviewing import Reviewed
from negcat.catalogue.rows import kind_named
from negcat.catalogue.soundness import Sound
from negcat.records import (
    Development,
    Film,
    FilmTest,
    Holder,
    KnownNames,
    Lens,
    PrintTarget,
    Scanner,
    Sheet,
    Shutter,
    Tablet,
)

__all__ = ["Catalogue"]

_NEAR_ENOUGH = 0.6
_COMPARED = 2000


class Catalogue(RemovedKept, Chosen, Waiting, Gathered, Reviewed, Loaded, DoorLogged, ChecksKept, Sound):
    """The archive's catalogue: records, masters, findings, and how they are found.

    Open it with :meth:`open` or :meth:`create`, best in a ``with`` statement. Several processes may have it
    open at once; one connection belongs to one thread.
    """

    def film(self, name: str) -> Film | None:
        """Give a film's record; None where there is none of that name."""
        return cast("Film | None", self.record("films", name))

    def shutter(self, name: str) -> Shutter | None:
        """Give a shutter's record; None where there is none of that name."""
        return cast("Shutter | None", self.record("shutters", name))

    def lens(self, name: str) -> Lens | None:
        """Give a lens's record; None where there is none of that name."""
        return cast("Lens | None", self.record("lenses", name))

    def holders(self) -> list[Holder]:
        """Give every holder's record."""
        return cast("list[Holder]", self.records("holders"))

    def scanner(self, name: str) -> Scanner | None:
        """Give a scanner's record; None where there is none of that name."""
        return cast("Scanner | None", self.record("scanners", name))

    def scanners(self) -> list[Scanner]:
        """Give every scanner's record."""
        return cast("list[Scanner]", self.records("scanners"))

    def tablet(self, name: str) -> Tablet | None:
        """Give a tablet's record; None where there is none of that name."""
        return cast("Tablet | None", self.record("tablets", name))

    def print_target(self, name: str) -> PrintTarget | None:
        """Give a print target's record; None where there is none of that name."""
        return cast("PrintTarget | None", self.record("print_targets", name))

    def print_target_source(self, name: str) -> str | None:
        """Say where a built-in print target's figures are from; None for one of the user's own."""
        return cast("str | None", self.value("select source from print_targets where name = ?", [name]))

    def film_test(self, test: str) -> FilmTest | None:
        """Give a film test's record; None where there is none of that name."""
        return cast("FilmTest | None", self.record("film_tests", test))

    def film_tests_of(self, film: str) -> list[FilmTest]:
        """Give the records of a film's tests, in the order they were taken."""
        tests = self.tuples("select test from film_tests where film = ? order by rowid", [film])
        return cast("list[FilmTest]", self.records("film_tests", [test for (test,) in tests]))

    def sheet(self, sheet: str) -> Sheet | None:
        """Give a sheet's record; None where there is none of that id."""
        return cast("Sheet | None", self.record("sheets", sheet))

    def sheets(self, ids: list[str] | None = None) -> list[Sheet]:
        """Give sheets' records, all or those of the ids, in order."""
        return cast("list[Sheet]", self.records("sheets", ids))

    def development(self, batch: str) -> Development | None:
        """Give a batch's record; None where there is none of that id."""
        return cast("Development | None", self.record("developments", batch))

    def developments_of(self, sheet: str) -> list[Development]:
        """Give the batches a sheet was developed in: one, or the last one first."""
        batches = self.tuples(
            "select d.batch from development_sheets s join developments d on d.batch = s.batch"
            " where s.sheet = ? order by d.date desc, d.rowid desc",
            [sheet],
        )
        return cast("list[Development]", self.records("developments", [batch for (batch,) in batches]))

    def development_of(self, sheet: str) -> Development | None:
        """Give the batch a sheet was developed in, the last of several; None where it is undeveloped."""
        return next(iter(self.developments_of(sheet)), None)

    def known_names(self) -> KnownNames:
        """Give the names that records may refer to."""
        developed = dict(
            self.tuples(
                "select s.sheet, s.batch from development_sheets s join developments d on d.batch = s.batch"
                " order by d.date, d.rowid"
            )
        )
        cells_in_use: dict[str, set[str | None]] = {}
        for lens, cell in self.tuples(
            "select distinct lens, cell from sheets"
            " union select distinct lens, stop_scale from sheets where stop_scale is not null"
        ):
            cells_in_use.setdefault(lens, set()).add(cell)
        return KnownNames(
            films=frozenset(self.names("films")),
            shutters=frozenset(self.names("shutters")),
            lenses={lens.name: lens for lens in cast("list[Lens]", self.records("lenses"))},
            scanners=frozenset(self.names("scanners")),
            tablets={
                tablet.name: len(tablet.densities) for tablet in cast("list[Tablet]", self.records("tablets"))
            },
            print_targets=frozenset(self.names("print_targets")),
            sheets=frozenset(self.names("sheets")),
            removed=frozenset(self.removed_ids()),
            developed=developed,
            cells_in_use=cells_in_use,
        )

    def names(self, kind: str) -> list[str]:
        """List the names of every record of a kind, in the order they were taken.

        Parameters
        ----------
        kind : their list, ``films``, or the word for one, ``film``.
        """
        of = kind_named(kind)
        return [name for (name,) in self.tuples(f"select {of.key} from {of.name} order by rowid")]

    def recent(self, field: str, among: int = 500) -> list[str]:
        """List the values that a field of the last sheets taken has, the newest first.

        Parameters
        ----------
        field : a text field of the sheet's record: ``place``, ``filter`` …
        among : how many sheets are looked at, so that a large archive answers as fast as a small one.

        Raises
        ------
        KeyError : no such field.
        """
        if field not in Sheet.model_fields or field not in kind_named("sheets").columns:
            raise KeyError(field)
        return [
            str(value)
            for (value,) in self.tuples(
                f"select {field} from (select rowid as at, {field} from sheets order by rowid desc limit ?)"
                f" where {field} is not null group by {field} order by max(at) desc",
                [among],
            )
        ]

    def sheet_ids(self) -> list[str]:
        """List every sheet's id, in the order they were taken."""
        return self.names("sheets")

    def sheet_id(self, written: str) -> str | None:
        """Find a sheet's id as somebody typed it, case aside where that leaves one; None where it doesn't."""
        found = [
            sheet
            for (sheet,) in self.tuples("select sheet from sheets where sheet = ? collate nocase", [written])
        ]
        if written in found:
            return written
        return found[0] if len(found) == 1 else None

    def has_sheet(self, written: str) -> bool:
        """Tell whether a sheet has this id, or a removed one, case aside."""
        return bool(
            self.value(
                "select exists (select 1 from sheets where sheet = :id collate nocase)"
                " or exists (select 1 from removed_sheets where sheet = :id collate nocase)",
                {"id": written},
            )
        )

    def nearest(self, kind: str, name: str, limit: int = 3) -> list[str]:
        """List the names most like one that isn't there, for the sentence that says so.

        Parameters
        ----------
        kind : their list, ``films``, or the word for one; ``scan`` too.
        name : what was asked for.
        limit : how many at most.
        """
        if kind in ("scan", "scans"):
            table, key = "scans", "scan"
        else:
            table, key = kind_named(kind).name, kind_named(kind).key
        candidates: list[str] = []
        # In a large archive only names that begin alike are compared: as much alike as still leaves some.
        for beginning in range(len(name) - 1, -1, -1):
            candidates = [
                found
                for (found,) in self.tuples(
                    f"select {key} from {table} where {key} >= :start and {key} < :start || char(1114111)"
                    f" or :start = '' order by {key} limit {_COMPARED}",
                    {"start": name[:beginning]},
                )
            ]
            folded = {found.casefold(): found for found in candidates}
            near = difflib.get_close_matches(name.casefold(), folded, limit, _NEAR_ENOUGH)
            if near or len(candidates) >= _COMPARED:
                return [folded[found] for found in near]
        return []
