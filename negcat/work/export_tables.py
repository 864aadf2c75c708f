"""The archive's tables written as CSV, with what their columns hold.

CSV by RFC 4180, described by the W3C's "CSV on the Web" (Metadata Vocabulary for Tabular Data, 2015) and, for people,
by a plain text.
"""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from textwrap import fill
from typing import Any

from negcat.catalogue import Column, Table, most_readings, records_leaving, rows_leaving, tables_leaving
from negcat.records import COLUMNS, READING_COLUMNS, Sheet
from negcat.work.archive import Archive
from negcat.work.writing_files import written_folder
from negcat.work.writing_out import written_out

__all__ = ["TablesLeft", "export_tables", "write_tables"]

SHEETS = "sheets_record.csv"
METADATA = "csv-metadata.json"
READ_ME = "README.txt"

_DATATYPES = {
    "text": "string",
    "json": "json",
    "moment": "dateTime",
    "integer": "integer",
    "number": "number",
}
_FORMULA = re.compile(r"[=@\t\r]|[+-](?![0-9]*[.,]?[0-9]*$)")
"""What a spreadsheet takes for a formula: not a mere number with its sign."""
_ROLES = ("shadow", "highlight")

_READINGS = 90
"""Readings of a sheet that a CSV record file has columns for; what has more isn't cut short but left to the YAML."""

_SHEETS = f"The sheets' records, as a record file has them; without sheets of more than {_READINGS} readings."

_INTRODUCTION = """\
The tables of a negative archive

Each file is a table in CSV (RFC 4180): UTF-8, columns parted by commas, the first row names the columns, a blank cell
is a value that isn't known. Decimals have a point. Dates and times are written by ISO 8601. Stops, times, tags and
zones stand as the photographer wrote them, and beside each the figure that it stands for. csv-metadata.json says the
same as this page for programs (CSV on the Web, W3C 2015).

Records are what the photographer wrote; findings are what was computed from records and scans. Densities are
transmission densities. A figure's standard deviation (sd) stands beside it.

sheets_record.csv holds the sheets' records once more, a row a sheet with all its readings, as 'negcat record' takes
them.

What was written is what stands here, letter by letter. Where a text begins with = + - or @, a spreadsheet may take it
for a formula: when opening a file, have the columns taken as text.
"""


@dataclass
class TablesLeft:
    """What was written.

    Parameters
    ----------
    folder : where.
    rows : file → how many rows.
    like_formulas : file → how many cells a spreadsheet could take for formulas.
    """

    folder: Path
    rows: dict[str, int] = field(default_factory=dict)
    like_formulas: dict[str, int] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        """Give what ``negcat export csv --json`` prints."""
        return {"folder": str(self.folder), "rows": self.rows, "cells_like_formulas": self.like_formulas}


def export_tables(archive: Archive, folder: Path) -> TablesLeft:
    """Write the archive's tables, as they are at one moment, into a new folder.

    Parameters
    ----------
    archive : the archive, which is only read.
    folder : where to: nothing is there, or an empty folder.

    Raises
    ------
    FileThereError : there is something in the folder, or it can't be made.
    """
    with written_folder(folder) as unfinished, archive.catalogue.at_once():
        left = write_tables(archive, unfinished)
    left.folder = folder
    return left


def write_tables(archive: Archive, folder: Path) -> TablesLeft:
    """Write the archive's tables into a folder that is there."""
    left = TablesLeft(folder)
    tables = tables_leaving(archive.catalogue)
    for table in tables:
        _write(left, f"{table.name}.csv", table.columns, rows_leaving(archive.catalogue, table))
    columns, rows = _sheets(archive)
    _write(left, SHEETS, columns, rows)
    (folder / METADATA).write_text(_metadata(tables, columns), encoding="utf-8")
    (folder / READ_ME).write_text(_read_me(left, tables, columns), encoding="utf-8")
    return left


def _write(left: TablesLeft, name: str, columns: Sequence[Column], rows: Iterable[Sequence[Any]]) -> None:
    written = [place for place, column in enumerate(columns) if column.kind == "text"]
    count = like_formulas = 0
    with (left.folder / name).open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow([column.name for column in columns])
        for row in rows:
            writer.writerow(row)
            count += 1
            like_formulas += sum(_FORMULA.match(str(row[place] or "")) is not None for place in written)
    left.rows[name] = count
    if like_formulas:
        left.like_formulas[name] = like_formulas


def _sheets(archive: Archive) -> tuple[list[Column], Iterator[list[str]]]:
    """Give the columns and rows of the sheets as a CSV record file has them."""
    catalogue = archive.catalogue
    paths = {name: path for name, path in COLUMNS.items() if path[0] not in _ROLES}
    most = min(most_readings(catalogue), _READINGS)
    for number in range(1, most + 1):
        paths |= {
            f"reading_{number}_{name}": ("readings", number - 1, *path)
            for name, path in READING_COLUMNS.items()
        }
    columns = [Column(name, _said(path), "", "text", name == "sheet") for name, path in paths.items()]
    # They are taken by the archive they came from, where nothing is to change but what somebody changed in them.
    records = next(
        records for name, records in records_leaving(catalogue, naming_scans=False) if name == "sheets"
    )

    def rows() -> Iterator[list[str]]:
        for record in records:
            written = written_out(record)
            if len(written.get("readings", ())) <= most:
                yield [_at(written, path) for path in paths.values()]

    return columns, rows()


def _said(path: Sequence[str | int]) -> str:
    """Say what a field of a sheet's record is, as its model does."""
    model: Any = Sheet
    said = ""
    for step in path:
        if isinstance(step, str):
            info = model.model_fields[step]
            said, model = info.description, _model_in(info.annotation)
    return said


def _model_in(annotation: Any) -> Any:
    if hasattr(annotation, "model_fields"):
        return annotation
    inner = (_model_in(part) for part in getattr(annotation, "__args__", ()))
    return next((model for model in inner if model), None)


def _at(written: Any, path: Sequence[str | int]) -> str:
    for step in path:
        if isinstance(step, int):
            written = written[step] if step < len(written or ()) else None
        else:
            written = (written or {}).get(step)
    return str(written or "")


def _metadata(tables: Sequence[Table], sheets: Sequence[Column]) -> str:
    described = [_table(f"{table.name}.csv", table.description, table.columns, table) for table in tables]
    described.append(_table(SHEETS, _SHEETS, sheets))
    document = {
        "@context": ["http://www.w3.org/ns/csvw", {"@language": "en"}],
        "dc:title": "The tables of a negative archive",
        "dialect": {
            "encoding": "utf-8",
            "header": True,
            "delimiter": ",",
            "quoteChar": '"',
            "doubleQuote": True,
        },
        "tables": described,
    }
    return json.dumps(document, ensure_ascii=False, indent=2) + "\n"


def _table(url: str, said: str, columns: Sequence[Column], table: Table | None = None) -> Mapping[str, Any]:
    schema: dict[str, Any] = {
        "columns": [
            {
                "name": column.name,
                "titles": column.name,
                "dc:description": column.description,
                "datatype": _DATATYPES[column.kind],
                **({"schema:unitText": column.unit} if column.unit else {}),
                **({"required": True} if column.required else {}),
            }
            for column in columns
        ]
    }
    key = table.key if table else ("sheet",)
    if key:
        schema["primaryKey"] = list(key)
    if table and table.references:
        schema["foreignKeys"] = [
            {
                "columnReference": [column],
                "reference": {"resource": f"{parent}.csv", "columnReference": [named]},
            }
            for column, (parent, named) in table.references.items()
        ]
    return {"url": url, "dc:description": said, "tableSchema": schema}


def _read_me(left: TablesLeft, tables: Sequence[Table], sheets: Sequence[Column]) -> str:
    parts = [_INTRODUCTION]
    described = [(f"{table.name}.csv", table.description, table.columns) for table in tables]
    first = tuple(
        column for column in sheets if not column.name.startswith("reading_") or "_1_" in column.name
    )
    described.append((SHEETS, f"{_SHEETS} Each further reading has columns like those of the first.", first))
    for name, said, columns in described:
        rows = left.rows[name]
        heading = f"{name}, {rows} row{'' if rows == 1 else 's'}"
        lines = ["", heading, "-" * len(heading), fill(said, 110), ""]
        width = max(len(column.name) for column in columns) + 2
        lines += [
            fill(
                column.description,
                110,
                initial_indent=f"  {column.name:<{width}}",
                subsequent_indent=" " * (width + 2),
            )
            or f"  {column.name}"
            for column in columns
        ]
        parts.append("\n".join(lines) + "\n")
    return "".join(parts)
