"""What is searched and counted, the triggers that keep it true, and the views for plain SQL.

``sheet_facts`` is a view that says of each sheet everything it can be found by, drawn from the records and
the findings. ``sheet_search`` holds its rows, so that every filter has an index; every trigger does the one
thing: write the rows of the sheets concerned anew from the view. ``sheet_counts`` counts the sheets of each
combination of film, lens, cell, tag, developer, verdict and stage, so that the wall's counts cost the same
at any number of sheets. The two full-text indexes read their text from ``sheet_search`` and ``places``.

This is part of a released migration step: a later change is a step of its own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sqlite_utils import Database

__all__ = [
    "COUNTED",
    "FACTS",
    "FACTS_VIEW",
    "GLANCE_VIEW",
    "READINGS_VIEW",
    "TEXTS",
    "create",
    "write_on_changes",
]

COUNTED = ("film", "lens", "cell", "tag", "developer", "verdict", "stage")
"""What sheets are counted by."""

FACTS = (
    "sheet",
    "film",
    "lens",
    "cell",
    "tag",
    "developer",
    "batch",
    "place",
    "exposed_at",
    "verdict",
    "stage",
    "subject",
    "notes",
    "reading_names",
)
"""The columns of ``sheet_search`` after its id; empty text stands for nothing, so that pages can be keyed."""

TEXTS = ("sheet", "place", "subject", "notes", "reading_names", "developer", "lens", "film")
"""What a text search looks into."""

FACTS_VIEW = """
create view sheet_facts as
select
  s.sheet as sheet,
  s.film as film,
  s.lens as lens,
  coalesce(
    s.cell, (select case when count(*) = 1 then min(c.cell) end from cells c where c.lens = s.lens), ''
  ) as cell,
  s.tag as tag,
  coalesce(d.developer, '') as developer,
  coalesce(d.batch, '') as batch,
  coalesce(s.place, '') as place,
  coalesce(s.exposed_at, '') as exposed_at,
  coalesce(r.verdict, 'not measured') as verdict,
  case
    when exists (select 1 from scans n where n.sheet = s.sheet)
      then case when f.measured_readings > 0 then 'measured' else 'to measure' end
    when d.batch is null then 'to develop'
    else 'to scan'
  end as stage,
  coalesce(s.subject, '') as subject,
  coalesce(s.notes, '') as notes,
  coalesce((
    select group_concat(name, ' · ')
    from (select g.name from readings g where g.sheet = s.sheet order by g.position)
  ), '') as reading_names
from sheets s
left join developments d on d.batch = (
  select ds.batch from development_sheets ds join developments dd on dd.batch = ds.batch
  where ds.sheet = s.sheet order by dd.date desc, dd.rowid desc limit 1
)
left join results r on r.sheet = s.sheet
left join findings f on f.sheet = s.sheet
"""

GLANCE_VIEW = """
create view sheets_at_a_glance as
select
  s.sheet as sheet,
  s.exposed_at as exposed_at,
  s.place as place,
  s.subject as subject,
  s.film as film,
  s.lens as lens,
  nullif(k.cell, '') as cell,
  s.stop as stop,
  s.time as time,
  s.tag as tag,
  nullif(k.batch, '') as batch,
  nullif(k.developer, '') as developer,
  k.verdict as verdict,
  round(r.exposure_error_stops, 2) as exposure_error_stops,
  round(r.exposure_error_sd, 2) as exposure_error_sd,
  round(r.found_n, 2) as found_n,
  round(r.found_n_sd, 2) as found_n_sd,
  k.stage as stage
from sheet_search k
join sheets s on s.sheet = k.sheet
left join results r on r.sheet = k.sheet
"""

READINGS_VIEW = """
create view readings_planned_given_found as
select
  f.sheet as sheet,
  f.name as reading,
  f.role as role,
  f.placed as placed,
  f.ev as ev,
  round(f.planned_zone, 2) as planned_zone,
  round(f.given_zone, 2) as given_zone,
  round(f.planned_print_zone, 2) as planned_print_zone,
  round(f.print_zone, 2) as found_print_zone,
  round(f.print_zone_sd, 2) as found_print_zone_sd,
  round(f.error_zones, 2) as error_zones,
  round(f.target_density, 3) as target_density,
  round(f.net_density, 3) as net_density,
  round(f.density, 3) as density,
  round(f.sd, 3) as density_sd,
  round(f.error_density, 3) as error_density
from found_readings f
order by f.sheet, f.position
"""


def _columns(names: tuple[str, ...], prefix: str = "") -> str:
    return ", ".join(f"{prefix}{name}" for name in names)


def _write_anew(which: str, facts: tuple[str, ...] = FACTS[1:]) -> str:
    """Write facts of the sheets that a condition on ``sheet`` chooses anew from the view.

    Only the facts that can have changed: every index that holds a column written costs as much as the row.
    """
    return (
        f"update sheet_search set ({_columns(facts)}) = "
        f"(select {_columns(facts, 'v.')} from sheet_facts v where v.sheet = sheet_search.sheet) "
        # A sheet that is being deleted takes its readings along, and has no facts any more.
        f"where {which} and exists (select 1 from sheets s where s.sheet = sheet_search.sheet);"
    )


def _trigger(db: Database, name: str, event: str, body: str, when: str = "") -> None:
    db.execute(f"create trigger {name} after {event} {f'when {when} ' if when else ''}begin {body} end")


def _changed(names: tuple[str, ...]) -> str:
    """Say that at least one of the columns has changed: a row written as it was costs nothing more."""
    return "(" + " or ".join(f"old.{name} is not new.{name}" for name in names) + ")"


def write_on_changes(db: Database, table: str, columns: tuple[str, ...], which: str, *facts: str) -> None:
    """Write facts anew of the sheets that a row of a table is about, before and after its change."""
    new, old = (_write_anew(which.format(row), facts) for row in ("new", "old"))
    _trigger(db, f"{table}_searched_inserted", f"insert on {table}", new)
    _trigger(db, f"{table}_searched_deleted", f"delete on {table}", old)
    event = f"update of {', '.join(columns)} on {table}"
    _trigger(db, f"{table}_searched_updated", event, old + new, _changed(columns))


def _create_search(db: Database) -> None:
    db.table("sheet_search").create(
        {"id": int, **dict.fromkeys(FACTS, str)},
        pk="id",
        not_null=set(FACTS),
    )
    db.execute("create unique index idx_sheet_search_sheet on sheet_search (sheet)")
    db.execute("create index idx_sheet_search_exposed_at on sheet_search (exposed_at, id)")
    # The same order after each filter: a page is then a walk along the index, whatever its number.
    for filtered in ("film", "lens", "cell", "tag", "developer", "batch", "place", "verdict", "stage"):
        db.execute(f"create index idx_sheet_search_{filtered} on sheet_search ({filtered}, exposed_at, id)")
    # The two choices most often made together.
    db.execute("create index idx_sheet_search_cell_tag on sheet_search (cell, tag, exposed_at, id)")
    db.table("sheet_counts").create(
        {**dict.fromkeys(COUNTED, str), "sheets": int}, pk=COUNTED, not_null={*COUNTED, "sheets"}
    )
    db.table("places").create({"id": int, "place": str, "sheets": int}, pk="id", not_null={"place", "sheets"})
    db.execute("create unique index idx_places_place on places (place)")
    db.execute(
        "create virtual table sheet_search_fts using fts5 "
        f"({_columns(TEXTS)}, content=sheet_search, content_rowid=id, "
        "tokenize='unicode61 remove_diacritics 2')"
    )
    # Any part of a place, of three letters or more, in any case.
    db.execute(
        "create virtual table places_fts using fts5 "
        "(place, content=places, content_rowid=id, tokenize=trigram)"
    )


def _create_search_triggers(db: Database) -> None:
    """Keep counts, places and full text in step with ``sheet_search`` itself."""

    def text_out(row: str) -> str:
        return (
            f"insert into sheet_search_fts (sheet_search_fts, rowid, {_columns(TEXTS)}) "
            f"values ('delete', {row}.id, {_columns(TEXTS, row + '.')});"
        )

    def text_in(row: str) -> str:
        return (
            f"insert into sheet_search_fts (rowid, {_columns(TEXTS)}) "
            f"values ({row}.id, {_columns(TEXTS, row + '.')});"
        )

    def counted(row: str, change: int) -> str:
        if change > 0:
            return (
                f"insert into sheet_counts ({_columns(COUNTED)}, sheets) "
                f"values ({_columns(COUNTED, row + '.')}, 1) "
                f"on conflict ({_columns(COUNTED)}) do update set sheets = sheets + 1;"
            )
        same = " and ".join(f"{name} = {row}.{name}" for name in COUNTED)
        return (
            f"update sheet_counts set sheets = sheets - 1 where {same};"
            f"delete from sheet_counts where {same} and sheets = 0;"
        )

    def placed(row: str, change: int) -> str:
        if change > 0:
            return (
                f"insert into places (place, sheets) select {row}.place, 1 where {row}.place <> '' "
                "on conflict (place) do update set sheets = sheets + 1;"
            )
        return (
            f"update places set sheets = sheets - 1 where place = {row}.place;"
            f"delete from places where place = {row}.place and sheets = 0;"
        )

    table = "sheet_search"
    inserted = text_in("new") + counted("new", 1) + placed("new", 1)
    deleted = text_out("old") + counted("old", -1) + placed("old", -1)
    _trigger(db, "sheet_search_inserted", f"insert on {table}", inserted)
    _trigger(db, "sheet_search_deleted", f"delete on {table}", deleted)
    of = f"update of {{}} on {table}"
    _trigger(
        db,
        "sheet_search_text",
        of.format(_columns(TEXTS)),
        text_out("old") + text_in("new"),
        _changed(TEXTS),
    )
    _trigger(
        db,
        "sheet_search_counts",
        of.format(_columns(COUNTED)),
        counted("old", -1) + counted("new", 1),
        _changed(COUNTED),
    )
    _trigger(
        db,
        "sheet_search_place",
        of.format("place"),
        placed("old", -1) + placed("new", 1),
        _changed(("place",)),
    )
    _trigger(
        db,
        "places_inserted",
        "insert on places",
        "insert into places_fts (rowid, place) values (new.id, new.place);",
    )
    _trigger(
        db,
        "places_deleted",
        "delete on places",
        "insert into places_fts (places_fts, rowid, place) values ('delete', old.id, old.place);",
    )


def _create_record_triggers(db: Database) -> None:
    """Keep ``sheet_search`` in step with the records, the scans and the findings."""
    insert = (
        f"insert into sheet_search ({_columns(FACTS)}) select {_columns(FACTS)} from sheet_facts "
        "where sheet = new.sheet;"
    )
    _trigger(db, "sheets_inserted", "insert on sheets", insert)
    _trigger(db, "sheets_deleted", "delete on sheets", "delete from sheet_search where sheet = old.sheet;")
    _trigger(
        db,
        "sheets_renamed",
        "update of sheet on sheets",
        "update sheet_search set sheet = new.sheet where sheet = old.sheet;",
        _changed(("sheet",)),
    )
    shown = ("film", "lens", "cell", "tag", "place", "exposed_at", "subject", "notes")
    _trigger(
        db,
        "sheets_updated",
        f"update of {_columns(shown)} on sheets",
        _write_anew("sheet = new.sheet"),
        _changed(shown),
    )

    of_sheet = "sheet = {}.sheet"
    in_batch = "sheet in (select ds.sheet from development_sheets ds where ds.batch = {}.batch)"
    developed = ("developer", "batch", "stage")
    write_on_changes(db, "readings", ("sheet", "position", "name"), of_sheet, "reading_names")
    write_on_changes(db, "development_sheets", ("batch", "sheet"), of_sheet, *developed)
    write_on_changes(db, "developments", ("batch", "date", "developer"), in_batch, *developed)
    write_on_changes(db, "results", ("sheet", "verdict"), of_sheet, "verdict")
    write_on_changes(db, "findings", ("sheet", "measured_readings"), of_sheet, "stage")
    write_on_changes(db, "scans", ("sheet",), of_sheet, "stage")
    # A lens that comes to have one cell, or no longer one, names the cell of its sheets anew.
    write_on_changes(db, "cells", ("lens", "cell"), "lens = {}.lens", "cell")


def create(db: Database) -> None:
    """Create what is searched and read, in a catalogue that holds the records' tables.

    Parameters
    ----------
    db : the open database, inside a transaction.
    """
    db.execute(FACTS_VIEW)
    _create_search(db)
    _create_search_triggers(db)
    _create_record_triggers(db)
    db.execute(GLANCE_VIEW)
    db.execute(READINGS_VIEW)
