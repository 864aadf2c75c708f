"""CSV → plain data: one sheet a row, nested fields in columns of their own."""

import csv
import io
import re
from collections.abc import Iterator
from typing import Any

from negcat.records.base import Path, Record
from negcat.records.nearest import did_you_mean
from negcat.records.sheet import Indicated, Movements, Reading, Sheet, Spot
from negcat.records.unreadable import MAX_FIELDS, MAX_RECORDS, UnreadableError

__all__ = ["COLUMNS", "READING_COLUMNS", "CsvTable", "parse_csv"]

_ROLES = ("shadow", "highlight")
_NUMBERED = re.compile(r"(reading_[1-9][0-9]{0,2})_([a-z_]+)")


def _columns() -> dict[str, Path]:
    """Name every column and the field of a sheet that it fills; a reading's under the name of its role."""
    nested: dict[str, type[Record]] = {"movements": Movements, "indicated": Indicated, "base_fog_spot": Spot}
    columns: dict[str, Path] = {}
    for name in Sheet.model_fields:
        if name in nested:
            columns |= {f"{name}_{part}": (name, part) for part in nested[name].model_fields}
        elif name != "readings":
            columns[name] = (name,)
    for role in _ROLES:
        columns |= {
            f"{role}_{name}": (role, *path) for name, path in READING_COLUMNS.items() if name != "role"
        }
    return columns


def _reading_columns() -> dict[str, Path]:
    columns: dict[str, Path] = {name: (name,) for name in Reading.model_fields if name != "spot"}
    return columns | {f"spot_{part}": ("spot", part) for part in Spot.model_fields}


READING_COLUMNS = _reading_columns()
"""What stands behind ``shadow_``, ``highlight_`` or ``reading_3_`` in a column's name → field of that reading."""


COLUMNS = _columns()
"""Column → field of the sheet; ``("shadow", "ev")`` is the ``ev`` of the reading whose role is shadow.

Besides there are ``reading_1_name``, ``reading_1_role`` … for any number of readings."""


class CsvTable:
    """The rows of a CSV record file.

    Parameters
    ----------
    sheets : the plain data of every sheet.
    rows : the row of each, as a spreadsheet counts them: the header is row 1.
    names : field of the sheet → column name as written.
    readings : for every sheet, what the columns of each of its readings begin with.
    faults : (where, what) of everything wrong with the table itself.
    """

    def __init__(self) -> None:
        self.sheets: list[dict[str, Any]] = []
        self.rows: list[int] = []
        self.names: dict[Path, str] = {}
        self.readings: list[list[str]] = []
        self.faults: list[tuple[str, str]] = []

    def where(self, path: Path) -> str:
        """Name the row and column of a field: ``row 14, column stop``."""
        if len(path) < 2 or not isinstance(path[1], int):
            return ""
        row = f"row {self.rows[path[1]]}"
        field = path[2:]
        if field[:1] == ("readings",):
            starts = self.readings[path[1]]
            number = field[1] if len(field) > 1 else None
            start = starts[number] if isinstance(number, int) and number < len(starts) else "shadow"
            field = (start, *field[2:])
        for length in range(len(field), 0, -1):
            if column := self.names.get(field[:length]):
                return f"{row}, column {column}"
        missing = next((column for column, filled in COLUMNS.items() if filled == field), None)
        return f"{row}, column {missing}" if missing else row


def parse_csv(text: str) -> CsvTable:
    r"""Read a table of sheets, its columns parted by commas or semicolons.

    Parameters
    ----------
    text : the whole file; its first row that isn't blank is the header.

    Returns
    -------
    CsvTable

    Raises
    ------
    UnreadableError
        Where it is no table, or its header names no field of a sheet.

    Examples
    --------
    >>> parse_csv("sheet;film;shadow_name;shadow_zone\nBW-01;Kiln;arch;III").sheets
    [{'sheet': 'BW-01', 'film': 'Kiln', 'readings': [{'role': 'shadow', 'name': 'arch', 'zone': 'III'}]}]
    """
    table = CsvTable()
    fields: list[Path | None] | None = None
    nameless: set[int] = set()
    for number, cells in _rows(text):
        if not any(cell.strip() for cell in cells):
            continue
        if fields is None:
            fields = _read_header(cells, number, table)
            nameless = {place for place, cell in enumerate(cells) if not cell.strip()}
            continue
        for place in sorted(nameless):
            if place < len(cells) and cells[place].strip():
                nameless.discard(place)
                table.faults.append(
                    (
                        f"row {number}, column {place + 1}",
                        "the header gives this column no name; write one there",
                    )
                )
        if any(cell.strip() for cell in cells[len(fields) :]):
            table.faults.append(
                (
                    f"row {number}",
                    f"{len(cells)} cells under a header of {len(fields)}; quote texts holding the delimiter",
                )
            )
        if len(table.sheets) == MAX_RECORDS:
            raise UnreadableError(
                f"it has more than {MAX_RECORDS:,} rows; share the records among several files",
                f"row {number}",
            )
        sheet, starts = _sheet(cells, fields)
        table.sheets.append(sheet)
        table.readings.append(starts)
        table.rows.append(number)
    if fields is None:
        raise UnreadableError("it is empty; the first row names the columns: sheet, film, lens, stop, time …")
    return table


def _rows(text: str) -> Iterator[tuple[int, list[str]]]:
    first = next((line for line in text.splitlines() if line.strip()), "")
    delimiter = ";" if first.count(";") > first.count(",") else ","
    number = 0
    lines = io.StringIO(text, newline="")
    try:
        for number, cells in enumerate(csv.reader(lines, delimiter=delimiter, strict=True), 1):
            yield number, cells
    except csv.Error as fault:
        raise UnreadableError(
            f"this row can't be parted into cells ({fault}); look at its double quotes", f"row {number + 1}"
        ) from None


def _read_header(cells: list[str], number: int, table: CsvTable) -> list[Path | None]:
    fields: list[Path | None] = []
    if len(cells) > MAX_FIELDS:
        raise UnreadableError(
            f"its first row has {len(cells):,} columns, more than {MAX_FIELDS:,}; write there sheet, film, lens, stop …"
        )
    for place, cell in enumerate(cells, 1):
        written = cell.strip()
        name = written.casefold().replace(".", "_").replace(" ", "_").replace("-", "_")
        field = COLUMNS.get(name) or _of_numbered(name)
        fields.append(field)
        if field is None and written:
            table.faults.append(
                (
                    f"row {number}, column {place}",
                    f"unknown column '{written[:60]}'; {did_you_mean(name, COLUMNS)}",
                )
            )
        elif field is not None and field in table.names:
            table.faults.append(
                (
                    f"row {number}, column {place}",
                    f"the column '{written}' stands there twice; keep one of them",
                )
            )
        elif field is not None:
            table.names[field] = written
    if not table.names:
        raise UnreadableError(
            "its first row names no field of a sheet; write there sheet, film, lens, stop, time …"
        )
    return fields


def _order(start: str) -> int:
    """Put the readings of a role first, then the numbered ones by their numbers."""
    return _ROLES.index(start) if start in _ROLES else len(_ROLES) + int(start.removeprefix("reading_"))


def _of_numbered(name: str) -> Path | None:
    """Find the field of a column that belongs to the first, second … reading, whatever its role."""
    match = _NUMBERED.fullmatch(name)
    inside = READING_COLUMNS.get(match[2]) if match else None
    return (match[1], *inside) if match and inside else None


def _sheet(cells: list[str], fields: list[Path | None]) -> tuple[dict[str, Any], list[str]]:
    sheet: dict[str, Any] = {}
    readings: dict[str, dict[str, Any]] = {}
    for cell, field in zip(cells, fields, strict=False):
        if field is None or not (value := cell.strip()):
            continue
        if len(field) == 1:
            sheet[str(field[0])] = value
            continue
        first, *middle, last = map(str, field)
        if first in _ROLES or first.startswith("reading_"):
            inside = readings.setdefault(
                first, {"role": first, "name": first} if first in _ROLES else {"role": "other"}
            )
            if middle:
                inside = inside.setdefault(middle[0], {})
        else:
            inside = sheet.setdefault(first, {})
        inside[last] = value
    starts = sorted(readings, key=_order)
    if readings:
        sheet["readings"] = [readings[start] for start in starts]
    return sheet, starts
