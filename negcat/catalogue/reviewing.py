"""What a review reads of many sheets at once, and the dated changes that came of it.

A dated change says what a record held until then and holds from then on. The record itself is what is
believed now; what was believed when a sheet was made is the record with every later change taken back.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, fields
from typing import Any, Literal

from negcat.catalogue.connection import now
from negcat.catalogue.queries import Query, Questions

__all__ = ["AdvisedTime", "DatedChange", "Reviewed"]

ChangedField = Literal["exposure_index", "reciprocity", "scale_error_stops", "measured"]


@dataclass(frozen=True, kw_only=True)
class DatedChange:
    """A figure of a record that holds from a day on.

    Parameters
    ----------
    film, lens, cell, shutter, marked_time : what was changed: a film; a cell of a lens; a marked time of a
        shutter.
    field : which figure of it.
    before, after : what it was and what it is, as the record has it; None for none.
    effective_from : date, or date and time, ISO 8601: sheets exposed before it were made with `before`.
    advice : the key of the advice that was accepted.
    sentence : the advice as it was given.
    accepted_at : when it was accepted, UTC; accepted_via : the way in.
    """

    field: ChangedField
    before: Any
    after: Any
    effective_from: str
    film: str | None = None
    lens: str | None = None
    cell: str | None = None
    shutter: str | None = None
    marked_time: str | None = None
    advice: str = ""
    sentence: str = ""
    accepted_at: str = ""
    accepted_via: str = ""

    @property
    def figure(self) -> tuple[str | None, ...]:
        """Which figure of which record it is about."""
        return self.film, self.lens, self.cell, self.shutter, self.marked_time, self.field


@dataclass(frozen=True, kw_only=True)
class AdvisedTime:
    """A developing time that was accepted: what to develop a film for, to reach a tag.

    Parameters
    ----------
    film, developer, dilution, temperature_c, tag : which development; None where the batches don't say.
    tag_n : the number after N.
    time_s, low_s, high_s : the time and its 90 % interval, in seconds.
    sheets : how many sheets it rests on.
    effective_from, advice, sentence, accepted_at, accepted_via : as :class:`DatedChange`.
    """

    film: str
    developer: str | None
    dilution: str | None
    temperature_c: float | None
    tag: str
    tag_n: float
    time_s: float
    low_s: float
    high_s: float
    sheets: int
    effective_from: str
    advice: str = ""
    sentence: str = ""
    accepted_at: str = ""
    accepted_via: str = ""


_CHANGE = tuple(field.name for field in fields(DatedChange))
_TIME = tuple(field.name for field in fields(AdvisedTime))

_SHEETS = """
with chosen as materialized (
  select id, sheet, film, lens, cell, tag, developer, batch, exposed_at from sheet_search{where}
)
select c.sheet as sheet, c.film as film, c.lens as lens, c.cell as cell, c.tag as tag, s.tag_n as tag_n,
  nullif(c.developer, '') as developer, nullif(c.batch, '') as batch, nullif(c.exposed_at, '') as exposed_at,
  s.recorded_at as recorded_at, s.exposure_index as exposure_index, s.stop as stop, s.f_number as f_number,
  s.time as time, s.time_s as time_s, l.shutter as shutter,
  d.dilution as dilution, d.time_s as development_s, d.temperature_c as temperature_c,
  e.shutter_time_s as shutter_time_s, e.effective_time_s as effective_time_s,
  e.decision_stops as decision_stops, e.reciprocity_stops as reciprocity_stops,
  r.exposure_error_stops as exposure_error_stops, r.exposure_error_density_sd as exposure_error_sd,
  r.found_n as found_n, r.found_n_density_sd as found_n_sd, r.exposure_verdict as exposure_verdict,
  r.development_verdict as development_verdict, r.verdict as verdict, f.base_fog as base_fog
from chosen c join sheets s on s.sheet = c.sheet join lenses l on l.name = s.lens
left join developments d on d.batch = c.batch left join exposures e on e.sheet = c.sheet
left join results r on r.sheet = c.sheet left join findings f on f.sheet = c.sheet
order by c.exposed_at, c.id
"""

_READINGS = """
with chosen as materialized (select sheet from sheet_search{where})
select g.sheet, g.name, g.placed, g.planned_zone, g.given_zone, g.net_density, g.sd, g.print_zone, g.print_zone_sd,
  case when g.net_density is null then json_extract(g.more, '$.bound') end,
  case when g.net_density is null then json_extract(g.more, '$.limit') end
from found_readings g where g.sheet in (select sheet from chosen) order by g.sheet, g.position
"""


class Reviewed(Questions):
    """How what a review needs is read, and what was accepted is kept."""

    def sheets_to_review(self, query: Query) -> list[dict[str, Any]]:
        """Read the sheets that fit a question, the oldest first, with all that a review asks of each.

        Returns
        -------
        One row a sheet, whatever the question's limit; None for what there isn't.

        Raises
        ------
        NotationError : a tag or date that can't be read.
        """
        conditions = self.conditions(query)
        return self.rows(_SHEETS.format(where=conditions.where), conditions.parameters)

    def readings_to_review(self, query: Query) -> list[tuple[Any, ...]]:
        """Read the readings of the sheets that fit a question.

        Returns
        -------
        (sheet, name, placed, planned zone, given zone, net density, its deviation, print zone, its deviation,
        ``clearer`` or ``denser``, the density it is clearer or denser than), sheet by sheet in their order.
        """
        conditions = self.conditions(query)
        return self.tuples(_READINGS.format(where=conditions.where), conditions.parameters)

    def recorded_at(self, sheet: str) -> str | None:
        """Tell when a sheet was first recorded, UTC; None where there is no such sheet."""
        found = self.value("select recorded_at from sheets where sheet = ?", [sheet])
        return None if found is None else str(found)

    def dated_changes(self) -> list[DatedChange]:
        """List every dated change, the earliest accepted first."""
        return [
            DatedChange(**{**row, "before": _read(row["before"]), "after": _read(row["after"])})
            for row in self.rows(f"select {', '.join(_CHANGE)} from dated_changes order by id")
        ]

    def keep_change(self, change: DatedChange, via: str) -> None:
        """Keep a dated change, as part of whatever is being written."""
        values = {
            **{name: getattr(change, name) for name in _CHANGE},
            "before": _written(change.before),
            "after": _written(change.after),
            "accepted_at": now(),
            "accepted_via": via,
        }
        with self.writing() as database:
            database.table("dated_changes").insert(values)

    def advised_times(self) -> list[AdvisedTime]:
        """List every developing time that was accepted, the earliest first."""
        return [
            AdvisedTime(**row)
            for row in self.rows(f"select {', '.join(_TIME)} from advised_times order by id")
        ]

    def keep_advised_time(self, time: AdvisedTime, via: str) -> None:
        """Keep a developing time that was accepted."""
        values = {name: getattr(time, name) for name in _TIME}
        with self.writing() as database:
            database.table("advised_times").insert({**values, "accepted_at": now(), "accepted_via": via})

    def leave_as_computed(self, sheets: list[str]) -> None:
        """Note that the findings of sheets need not be computed anew after all."""
        with self.writing() as database:
            database.conn.execute(
                "delete from out_of_date where sheet in (select value from json_each(?))",
                [json.dumps(sheets)],
            )


def _written(value: Any) -> str | None:
    return None if value is None else json.dumps(value, ensure_ascii=False)


def _read(text: str | None) -> Any:
    return None if text is None else json.loads(text)
