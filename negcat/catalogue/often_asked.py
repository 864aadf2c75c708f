"""What is often asked of the tables, each question with the statement that answers it.

For whoever reads the catalogue by plain SQL: the statements are shown, may be copied and changed. Every mean
stands beside its standard error from the scatter of what went into it, which is empty where a single sheet
went in. A parameter left empty narrows nothing. What goes through all sheets reads them as they lie (``not indexed``):
they were recorded together with what is looked up of each.
"""

from __future__ import annotations

import math
import sqlite3
from dataclasses import dataclass, field

from negcat.catalogue.queries import full_text

__all__ = ["OFTEN_ASKED", "Asked", "prepare", "searching"]


@dataclass(frozen=True)
class Asked:
    """One question.

    Parameters
    ----------
    name : what it is called in an address.
    question : as one asks it.
    description : what the answer holds, and in which units.
    sql : the statement.
    parameters : what may be filled in, in this order.
    """

    name: str
    question: str
    description: str
    sql: str
    parameters: tuple[str, ...] = field(default=())


def _error_of_mean(value: str) -> str:
    """Write the standard error of a mean; empty for fewer than two values, or in a sum's rounding."""
    return (
        f"case when count({value}) > 1 then round(sqrt(max(0.0, sum({value} * {value})"
        f" - sum({value}) * sum({value}) / count({value})) / (count({value}) - 1) / count({value})), 2) end"
    )


def _mean(value: str, name: str) -> str:
    return f"round(avg({value}), 2) as {name},\n  {_error_of_mean(value)} as {name}_se"


_VERDICTS = """
  sum(r.exposure_verdict = 'thin') as thin,
  sum(r.exposure_verdict = 'as planned') as as_planned,
  sum(r.exposure_verdict = 'dense') as dense,
  sum(r.exposure_verdict = 'unsure') as unsure,
  sum(r.exposure_verdict is null or r.exposure_verdict = 'not measured') as not_measured"""

_NOT_JUDGED = "Unsure sheets and sheets without a measurement are counted, not left out."

OFTEN_ASKED = (
    Asked(
        "cells_at_tags",
        "Which sheets were made with each cell at each tag, and how did they come out?",
        "One row a cell and tag: sheets, the verdicts on their exposure, the mean distance from plan in stops "
        f"(+ is dense), the mean N found. {_NOT_JUDGED} A number of sheets leads to those sheets.",
        f"""
select
  k.lens as lens, k.cell as cell, k.tag as tag, count(*) as sheets,{_VERDICTS},
  {_mean("r.exposure_error_stops", "exposure_error_stops")},
  {_mean("r.found_n", "found_n")}
from sheet_search k not indexed
left join results r on r.sheet = k.sheet
where (:lens = '' or k.lens = :lens) and (:film = '' or k.film = :film)
group by k.lens, k.cell, k.tag
order by k.lens, k.cell, k.tag""",
        ("lens", "film"),
    ),
    Asked(
        "batches_denser_than_planned",
        "Which batches came out denser than planned?",
        "One row a batch whose judged sheets got more exposure than planned in the mean, by more than at_least "
        "stops (0 if left empty), the 300 densest first. What all sheets of a batch share, such as a warm developer, "
        "shows here; what each sheet was given by mistake does too.",
        f"""
select
  d.batch as batch, d.date as date, d.developer as developer, d.tag as tag,
  count(r.exposure_error_stops) as judged_sheets,
  {_mean("r.exposure_error_stops", "exposure_error_stops")},
  {_mean("r.residual_stops", "residual_stops")},
  {_mean("r.found_n - r.planned_n", "found_less_planned_n")}
from developments d
join development_sheets s on s.batch = d.batch
join results r on r.sheet = s.sheet
where :developer = '' or d.developer = :developer
group by d.batch
having avg(r.exposure_error_stops) > 0 + :at_least
order by avg(r.exposure_error_stops) desc, d.batch
limit 300""",
        ("developer", "at_least"),
    ),
    Asked(
        "spots",
        "What did each spot measure?",
        "One row a spot that was measured: its density, the density above base+fog with its standard deviation, "
        "what the print target asks for there, the print zone it makes. Of one sheet, or the first 500 of all "
        "by their ids.",
        """
select
  f.sheet as sheet, f.name as reading, f.role as role,
  round(f.density, 3) as density,
  round(f.net_density, 3) as net_density, round(f.sd, 3) as net_density_sd,
  round(f.target_density, 3) as target_density, round(f.error_density, 3) as found_less_target_density,
  round(f.planned_print_zone, 2) as planned_print_zone,
  round(f.print_zone, 2) as print_zone, round(f.print_zone_sd, 2) as print_zone_sd
from found_readings f
where f.density is not null and (:sheet = '' or f.sheet = :sheet)
order by f.sheet, f.position
limit 500""",
        ("sheet",),
    ),
    Asked(
        "masters_unchecked_longest",
        "Which masters haven't been checked for the longest?",
        "The 300 masters that were longest ago found unchanged or, never checked since, taken in (UTC). "
        "negcat verify checks them.",
        """
select
  c.scan as scan, c.sheet as sheet, c.path as path, c.size_bytes as size_bytes,
  c.added_at as added_at, c.checked_at as checked_at,
  cast(julianday('now') - julianday(coalesce(c.checked_at, c.added_at)) as integer) as days_since
from scans c
order by coalesce(c.checked_at, c.added_at), c.taken_order
limit 300""",
    ),
    Asked(
        "cells_off_their_scale",
        "Which cells give more or less light than their scale says?",
        "One row a cell with judged sheets: the scale error on record (+ is more light than marked), and the "
        "mean of what film, cell, shutter, meter and batch did to its sheets, in stops. Only sheets apart in "
        "film, batch and shutter tell the cell from the rest.",
        f"""
select
  k.lens as lens, k.cell as cell, c.focal_mm as focal_mm,
  round(c.scale_error_stops, 2) as scale_error_on_record_stops,
  count(r.residual_stops) as judged_sheets, count(distinct k.film) as films, count(distinct k.batch) as batches,
  {_mean("r.residual_stops", "residual_stops")}
from sheet_search k not indexed
join results r on r.sheet = k.sheet
left join cells c on c.lens = k.lens and c.cell = k.cell
where r.residual_stops is not null
group by k.lens, k.cell
order by abs(avg(r.residual_stops)) desc""",
    ),
    Asked(
        "furthest_from_plan",
        "Which sheets came out furthest from plan?",
        "The 200 sheets furthest from the exposure planned, in stops with their standard deviation (+ is dense), "
        "and the N found. Give a film or tag to narrow it.",
        """
select
  k.sheet as sheet, k.exposed_at as exposed_at, k.film as film, k.lens as lens, k.cell as cell, k.tag as tag,
  k.batch as batch, r.verdict as verdict,
  round(r.exposure_error_stops, 2) as exposure_error_stops,
  round(r.exposure_error_sd, 2) as exposure_error_sd,
  round(r.found_n, 2) as found_n, round(r.found_n_sd, 2) as found_n_sd
from results r
join sheet_search k on k.sheet = r.sheet
where r.exposure_error_stops is not null and (:film = '' or k.film = :film) and (:tag = '' or k.tag = :tag)
order by abs(r.exposure_error_stops) desc, k.sheet
limit 200""",
        ("film", "tag"),
    ),
    Asked(
        "development_by_tag",
        "What N did each developer make of each tag?",
        "One row a film, developer and tag: the N planned and the mean N found over its judged sheets.",
        f"""
select
  k.film as film, k.developer as developer, k.tag as tag,
  count(r.found_n) as judged_sheets, round(avg(r.planned_n), 2) as planned_n,
  {_mean("r.found_n", "found_n")}
from sheet_search k not indexed
join results r on r.sheet = k.sheet
where r.found_n is not null and (:film = '' or k.film = :film) and (:developer = '' or k.developer = :developer)
group by k.film, k.developer, k.tag
order by k.film, k.developer, avg(r.planned_n)""",
        ("film", "developer"),
    ),
    Asked(
        "why_not_judged",
        "Which sheets could not be judged, and why?",
        "The newest 300 sheets without a verdict of their own: what they wait for, what keeps their scan from "
        "being measured, and what the judgement said (JSON list).",
        """
select
  k.sheet as sheet, k.exposed_at as exposed_at, k.stage as stage, k.verdict as verdict,
  (select c.unmeasured from scans c where c.sheet = k.sheet order by c.taken_order desc limit 1) as scan_unmeasured,
  r.why as why
from sheet_search k
left join results r on r.sheet = k.sheet
where k.verdict in ('unsure', 'not measured')
order by k.exposed_at desc, k.id desc
limit 300""",
    ),
    Asked(
        "what_waits",
        "How many sheets wait, and for what?",
        "One row a stage, film and tag of sheets that are not measured yet. A number leads to those sheets.",
        """
select stage, film, tag, sum(sheets) as sheets
from sheet_counts
where stage <> 'measured' and sheets > 0
group by stage, film, tag
order by case stage when 'to develop' then 0 when 'to scan' then 1 else 2 end, film, tag""",
    ),
    Asked(
        "scans_without_sheet",
        "Which scans belong to no sheet yet, and why?",
        "The newest 500 scans that no record or file name joins to a sheet.",
        """
select c.scan as scan, c.path as path, c.added_at as added_at, c.reason as reason
from scans c
where c.sheet is null
order by c.taken_order desc
limit 500""",
    ),
    Asked(
        "places",
        "Where were sheets made, and how did they come out?",
        f"One row a place, the 300 with most sheets. {_NOT_JUDGED}",
        f"""
select
  k.place as place, count(*) as sheets, min(k.exposed_at) as first, max(k.exposed_at) as last,{_VERDICTS}
from sheet_search k not indexed
left join results r on r.sheet = k.sheet
where k.place <> '' and (:place = '' or k.place = :place)
group by k.place
order by count(*) desc, k.place
limit 300""",
        ("place",),
    ),
    Asked(
        "changes",
        "What was changed in the records, and when?",
        "The newest 200 changes, with the record before and after (JSON). Give the id or name of a record to see "
        "only its own.",
        """
select h.at as at, h.kind as kind, h.name as name, h.via as via, h.old as old, h.new as new
from history h
where :name = '' or h.name = :name
order by h.id desc
limit 200""",
        ("name",),
    ),
)


def searching(text: str) -> tuple[str, dict[str, str]]:
    """Write the condition that a table or view with a column ``sheet`` is searched by.

    Parameters
    ----------
    text : as typed: every word must stand in what a sheet is searched by, or begin a word there.

    Returns
    -------
    The condition, and its parameters.

    Examples
    --------
    >>> searching("kiln")[1]
    {'searched': '"kiln"*'}
    >>> searching(" ")
    ('1', {})
    """
    if not text.strip():
        return "1", {}
    match = full_text(text)
    if match is None:
        return "0", {}
    condition = (
        "sheet in (select k.sheet from sheet_search k where k.id in"
        " (select rowid from sheet_search_fts where sheet_search_fts match :searched))"
    )
    return condition, {"searched": match}


def prepare(connection: sqlite3.Connection) -> None:
    """Give a connection what the statements call and its SQLite may have been built without."""
    try:
        connection.execute("select sqrt(4.0)")
    except sqlite3.OperationalError:
        connection.create_function("sqrt", 1, _square_root, deterministic=True)


def _square_root(value: float | None) -> float | None:
    return math.sqrt(value) if value is not None and value >= 0 else None
