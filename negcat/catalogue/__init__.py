"""SQLite: what the archive holds, how it comes in and how it is found again."""

from negcat.catalogue.checks import Due, Way
from negcat.catalogue.columns import Memory
from negcat.catalogue.copying import (
    beside,
    brought_up_to_date,
    copy_catalogue,
    is_catalogue,
    is_whole,
    put_into,
)
from negcat.catalogue.describing import describe
from negcat.catalogue.dumping import sql_text
from negcat.catalogue.finding import Page
from negcat.catalogue.findings import EXPOSURE, Findings
from negcat.catalogue.gathering import Outcomes
from negcat.catalogue.leaving import Master, masters_leaving, most_readings, records_leaving
from negcat.catalogue.often_asked import OFTEN_ASKED, Asked, prepare, searching
from negcat.catalogue.queries import Query
from negcat.catalogue.reviewing import AdvisedTime, DatedChange
from negcat.catalogue.store import Catalogue
from negcat.catalogue.tables import Column, Table, rows_leaving, tables_leaving
from negcat.catalogue.taking import Taken

__all__ = [
    "EXPOSURE",
    "OFTEN_ASKED",
    "AdvisedTime",
    "Asked",
    "Catalogue",
    "Column",
    "DatedChange",
    "Due",
    "Findings",
    "Master",
    "Memory",
    "Outcomes",
    "Page",
    "Query",
    "Table",
    "Taken",
    "Way",
    "beside",
    "brought_up_to_date",
    "copy_catalogue",
    "describe",
    "is_catalogue",
    "is_whole",
    "masters_leaving",
    "most_readings",
    "prepare",
    "put_into",
    "records_leaving",
    "rows_leaving",
    "searching",
    "sql_text",
    "tables_leaving",
]
