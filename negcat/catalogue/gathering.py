"""What the sheets of a lens, a film or a batch amount to, one question each.

What is summed up over all sheets is held in memory; every other question begins at an index of ``sheet_search`` or
of ``development_sheets``, and readings are read for a bounded number of sheets.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import chain
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from negcat.catalogue.columns import OUTCOMES, SEARCHED, Column, InMemory
from negcat.catalogue.rows import kind_named
from negcat.catalogue.searching_schema import COUNTED

__all__ = ["Gathered", "Outcomes"]


@dataclass(frozen=True)
class Outcomes:
    """What came of some sheets, one value a sheet in every column.

    Parameters
    ----------
    words : ``film``, ``lens``, ``cell``, ``tag``, ``batch`` (empty for what there isn't), ``stop`` as marked,
        ``stop_scale`` (None where the record doesn't say).
    figures : ``f_number``, ``exposure_index`` as on record, ``residual_stops``, ``found_n``,
        ``found_n_density_sd`` (by the densities alone), ``own_base_fog`` (measured on the sheet itself); NaN for
        what there isn't.
    """

    words: Mapping[str, Column]
    figures: Mapping[str, npt.NDArray[np.float64]]

    def of(self, places: npt.NDArray[np.intp]) -> Outcomes:
        """Give those of the sheets at some places."""
        return Outcomes(
            {name: Column(column.known, column.numbers[places]) for name, column in self.words.items()},
            {name: values[places] for name, values in self.figures.items()},
        )

    def __len__(self) -> int:
        return len(self.words["film"].numbers)


class Gathered(InMemory):
    """How what belongs together is gathered."""

    def counted(self, by: Literal["film", "lens"], name: str, *of: str) -> list[dict[str, Any]]:
        """Count the sheets of a film or lens by some of what sheets are counted by.

        Parameters
        ----------
        by, name : whose sheets.
        of : ``film``, ``lens``, ``cell``, ``tag``, ``developer``, ``verdict``, ``stage``, at least one.

        Returns
        -------
        Those, empty text where a sheet has none, and ``sheets``.
        """
        column = {"film": "film", "lens": "lens"}[by]
        columns = ", ".join(COUNTED[COUNTED.index(one)] for one in of)
        return self.rows(
            f"select {columns}, sum(sheets) as sheets from sheet_counts where {column} = ? and sheets > 0"
            f" group by {columns}",
            [name],
        )

    def sheets_by(self, by: Literal["film", "lens"]) -> dict[str, int]:
        """Count the sheets of every film or lens on record, also of one that has none.

        Returns
        -------
        Name → sheets, in the order in which the records were taken.
        """
        column = {"film": "film", "lens": "lens"}[by]
        table = kind_named(by).name
        counts = dict(self.tuples(f"select {column}, sum(sheets) from sheet_counts group by {column}"))
        return {
            name: int(counts.get(name) or 0)
            for (name,) in self.tuples(f"select name from {table} order by rowid")
        }

    def outcomes(self, by: Literal["film", "lens"], name: str) -> Outcomes:
        """Give what came of every sheet of a film or lens, as columns."""
        columns = self.columns(OUTCOMES)
        places = np.flatnonzero(columns.there & columns.words[by].among([name]))
        return Outcomes(columns.words, columns.arrays).of(places)

    def batches_of_film(self, film: str) -> list[dict[str, Any]]:
        """List the batches in which sheets of a film were developed last, the newest first.

        Returns
        -------
        ``{"batch", "date", "developer", "dilution", "temperature_c", "time", "time_s"}``
        """
        columns = self.columns(SEARCHED)
        batches = columns.words["batch"].counts(columns.there & columns.words["film"].among([film]))
        return self.rows(
            "select batch, date, developer, dilution, temperature_c, time, time_s from developments"
            " where batch in (select value from json_each(?)) order by date desc, rowid desc",
            [json.dumps([batch for batch, _ in batches])],
        )

    def newest_readings_of_film(self, film: str, per_tag: int) -> list[dict[str, Any]]:
        """List the readings of the newest measured sheets of a film, so many sheets of each tag.

        Returns
        -------
        ``{"tag", "sheet", "print_target", "name", "given_zone", "net_density", "sd"}``, by tag, the newest
        sheet of a tag first; None for what a reading hasn't.
        """
        columns = self.columns(SEARCHED)
        measured = columns.words["film"].among([film]) & columns.words["stage"].among(["measured"])
        order = columns.in_order("exposed_at")[::-1]
        places = order[(measured & columns.there)[order]]
        tags = columns.words["tag"].numbers[places]
        newest = [columns.ids[places[tags == tag][:per_tag]].tolist() for tag in np.unique(tags)]
        return self.rows(
            "select k.tag as tag, k.sheet as sheet, s.print_target as print_target, f.name as name,"
            " f.given_zone as given_zone, f.net_density as net_density, f.sd as sd from json_each(?) n"
            " join sheet_search k on k.id = n.value"
            " join sheets s on s.sheet = k.sheet join found_readings f on f.sheet = k.sheet"
            " order by k.tag, n.key, f.position",
            [json.dumps(list(chain.from_iterable(newest)))],
        )

    def sheets_of_batch(self, batch: str) -> list[dict[str, Any]]:
        """List the sheets of a batch as they hang on the wall, with what came out, in the record's order.

        Returns
        -------
        ``sheet``, ``film``, ``lens``, ``cell``, ``tag``, ``place``, ``subject``, ``exposed_at``, ``verdict``,
        ``stage``, ``stop``, ``time``; ``residual_stops``, ``exposure_error_sd``, ``found_n``, ``found_n_sd``,
        ``found_n_density_sd``, ``planned_n``; ``base_fog``, ``base_fog_source``; ``scan``, ``width``, ``height``
        of the picture. None for what there isn't.
        """
        return self.rows(
            "select k.sheet as sheet, k.film as film, k.lens as lens, k.cell as cell, k.tag as tag,"
            " k.place as place, k.subject as subject, k.exposed_at as exposed_at, k.verdict as verdict,"
            " k.stage as stage, s.stop as stop, s.time as time,"
            " r.residual_stops as residual_stops, r.exposure_error_sd as exposure_error_sd,"
            " r.found_n as found_n, r.found_n_sd as found_n_sd, r.found_n_density_sd as found_n_density_sd,"
            " r.planned_n as planned_n, f.base_fog as base_fog, f.base_fog_source as base_fog_source,"
            " n.scan as scan, n.width as width, n.height as height from development_sheets d"
            " join sheet_search k on k.sheet = d.sheet join sheets s on s.sheet = d.sheet"
            " left join results r on r.sheet = d.sheet left join findings f on f.sheet = d.sheet"
            " left join scans n on n.scan = coalesce(f.scan, (select m.scan from scans m"
            " where m.sheet = d.sheet order by m.taken_order desc limit 1))"
            " where d.batch = ? order by d.position",
            [batch],
        )

    def batches_beside(self, batch: str) -> tuple[str | None, str | None]:
        """Name the batches before and after one in time; of one day, by the order they were taken in.

        Returns
        -------
        The earlier and the later one; None at the ends, and twice None for a batch without a date.
        """
        asked = (
            "select b.batch from developments a join developments b on b.date is not null"
            " and (b.date, b.rowid) {0} (a.date, a.rowid) where a.batch = ? and a.date is not null"
            " order by b.date {1}, b.rowid {1} limit 1"
        )
        earlier = self.value(asked.format("<", "desc"), [batch])
        return earlier, self.value(asked.format(">", "asc"), [batch])
