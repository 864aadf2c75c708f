"""How a record lies in the tables, and comes back from them as it was.

A field is kept in a column of its own name. Notation takes two columns, the marked text and the exact value,
and comes back from both without being read again, so that a later way of reading marks doesn't change what
an old record says. A spot takes four columns. What is truly nested is kept as JSON text. A list of records
inside a record (cells, readings) or of ids (a batch's sheets) is a table of its own, in the file's order.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel

from negcat.notation import Stop, Tag, Time, Zone
from negcat.records import (
    Development,
    Film,
    FilmTest,
    Holder,
    Indicated,
    Lens,
    PrintTarget,
    Record,
    Scanner,
    Sheet,
    Shutter,
    Spot,
    Tablet,
)

__all__ = ["KINDS", "Inner", "Kept", "Kind", "as_json", "kind_named"]

Row = tuple[Any, ...]


@dataclass(frozen=True)
class Kept:
    """One field and the columns it is kept in.

    Parameters
    ----------
    field : the model's field.
    columns : its columns, in order.
    to_row : from the field's value to the columns' values; None where the value is its column's.
    from_row : the way back; None where the column's value is the field's.
    """

    field: str
    columns: tuple[str, ...]
    to_row: Callable[[Any], Row] | None = None
    from_row: Callable[[Row], Any] | None = None


def _as_it_is(*fields: str) -> list[Kept]:
    return [Kept(field, (field,)) for field in fields]


def _flag(field: str) -> Kept:
    return Kept(
        field,
        (field,),
        lambda value: (None if value is None else int(value),),
        lambda row: None if row[0] is None else bool(row[0]),
    )


def _notation(
    field: str, value_column: str, kind: type[Stop] | type[Time] | type[Tag] | type[Zone], attribute: str
) -> Kept:
    return Kept(
        field,
        (field, value_column),
        lambda mark: (None, None) if mark is None else (mark.text, getattr(mark, attribute)),
        lambda row: None if row[0] is None else kind(row[0], row[1]),
    )


def _stop(field: str, value_column: str = "f_number") -> Kept:
    return _notation(field, value_column, Stop, "f_number")


def _time(field: str = "time") -> Kept:
    return _notation(field, f"{field}_s", Time, "seconds")


def _tag() -> Kept:
    return _notation("tag", "tag_n", Tag, "n")


def _spot(field: str) -> Kept:
    return Kept(
        field,
        (f"{field}_x", f"{field}_y", f"{field}_diameter_mm", f"{field}_scan"),
        lambda spot: (
            (None, None, None, None) if spot is None else (spot.x, spot.y, spot.diameter_mm, spot.scan)
        ),
        lambda row: None if row[0] is None else Spot(x=row[0], y=row[1], diameter_mm=row[2], scan=row[3]),
    )


def _indicated() -> Kept:
    def to_row(shown: Indicated | None) -> Row:
        if shown is None:
            return (None, None, None, None)
        return (shown.stop.text, shown.stop.f_number, shown.time.text, shown.time.seconds)

    def from_row(row: Row) -> Indicated | None:
        return None if row[0] is None else Indicated(stop=Stop(row[0], row[1]), time=Time(row[2], row[3]))

    columns = ("indicated_stop", "indicated_f_number", "indicated_time", "indicated_time_s")
    return Kept("indicated", columns, to_row, from_row)


def _plain(value: Any) -> Any:
    """Make what JSON has a way of writing from what a model holds."""
    if isinstance(value, BaseModel):
        return value.model_dump(mode="json", exclude_none=True)
    if isinstance(value, Mapping):
        return {getattr(key, "text", key): _plain(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    return value


def _nested(field: str) -> Kept:
    return Kept(
        field,
        (field,),
        lambda value: (None if value is None else json.dumps(_plain(value), ensure_ascii=False),),
        lambda row: None if row[0] is None else json.loads(row[0]),
    )


def _to_row(kept: Sequence[Kept], record: object) -> Row:
    row: list[Any] = []
    for part in kept:
        value = getattr(record, part.field)
        if part.to_row is None:
            row.append(value)
        else:
            row += part.to_row(value)
    return tuple(row)


def _from_row(kept: Sequence[Kept], row: Row) -> dict[str, Any]:
    fields: dict[str, Any] = {}
    at = 0
    for part in kept:
        if part.from_row is None:
            value = row[at]
            at += 1
        else:
            value = part.from_row(row[at : at + len(part.columns)])
            at += len(part.columns)
        # What was left out is left to the model's own default.
        if value is not None:
            fields[part.field] = value
    return fields


@dataclass(frozen=True)
class Inner:
    """A list inside a record, kept as a table of its own.

    Parameters
    ----------
    field : the record's field.
    table : its table, whose first column names the record and whose second is the place in the list.
    owner : that first column.
    kept : the fields of one item; for a list of plain ids a single one.
    plain : whether the items are plain ids and no records.
    """

    field: str
    table: str
    owner: str
    kept: tuple[Kept, ...]
    plain: bool = False

    @property
    def columns(self) -> tuple[str, ...]:
        """The columns of an item, without those of its owner and place."""
        return tuple(column for part in self.kept for column in part.columns)

    def to_rows(self, record: object) -> list[Row]:
        """Give one row an item, in order."""
        items = getattr(record, self.field)
        return [(item,) for item in items] if self.plain else [_to_row(self.kept, item) for item in items]

    def from_rows(self, rows: Sequence[Row]) -> list[Any]:
        """Give the items back, as what the record's model reads."""
        return [row[0] if self.plain else _from_row(self.kept, row) for row in rows]


@dataclass(frozen=True)
class Kind:
    """A kind of record: its model, its table and how the one lies in the other.

    Parameters
    ----------
    name : the list it stands in in a record file, which is also its table: ``films``.
    one : the word for one of it: ``film``.
    model : its model.
    key : the field that names a record.
    kept : its fields, the key first.
    inner : the list inside it, if it has one.
    """

    name: str
    one: str
    model: type[Record]
    kept: tuple[Kept, ...]
    inner: Inner | None = None

    @property
    def key(self) -> str:
        """The field and column that names a record."""
        return self.kept[0].field

    @property
    def columns(self) -> tuple[str, ...]:
        """The columns of the table that come from the record."""
        return tuple(column for part in self.kept for column in part.columns)

    def to_row(self, record: object) -> Row:
        """Give the record's row, without the list inside it."""
        return _to_row(self.kept, record)

    def from_row(self, row: Row, inner: Sequence[Row] = ()) -> Record:
        """Give the record back."""
        fields = _from_row(self.kept, row)
        if self.inner is not None:
            fields[self.inner.field] = self.inner.from_rows(inner)
            if self.inner.plain and not inner:
                # A batch whose sheets were all removed: it was developed all the same.
                return self.model.model_construct(**{**fields, self.inner.field: ()})
        return self.model.model_validate(fields)


KINDS: tuple[Kind, ...] = (
    Kind(
        "films",
        "film",
        Film,
        (
            *_as_it_is("name", "box_speed", "exposure_index", "lot", "base_fog", "channel"),
            _nested("reciprocity"),
        ),
    ),
    Kind("shutters", "shutter", Shutter, (*_as_it_is("name"), _nested("measured"))),
    Kind("print_targets", "print target", PrintTarget, (*_as_it_is("name"), _nested("densities"))),
    Kind("scanners", "scanner", Scanner, tuple(_as_it_is("name", "make", "model", "software"))),
    Kind("tablets", "tablet", Tablet, (*_as_it_is("name"), _nested("densities"))),
    Kind(
        "lenses",
        "lens",
        Lens,
        tuple(_as_it_is("name", "shutter")),
        Inner(
            "cells",
            "cells",
            "lens",
            (
                *_as_it_is("cell", "focal_mm"),
                _stop("widest_stop", "widest_f_number"),
                *_as_it_is("mounted"),
                _flag("own_scale"),
                *_as_it_is("cell_to_stop_mm", "pupil_ratio", "scale_error_stops"),
            ),
        ),
    ),
    Kind(
        "holders",
        "holder",
        Holder,
        tuple(_as_it_is("holder", "format", "notes")),
        Inner("sides", "holder_sides", "holder", tuple(_as_it_is("side", "film", "loaded_at"))),
    ),
    Kind(
        "film_tests",
        "film test",
        FilmTest,
        (
            *_as_it_is("test", "film", "tablet", "developer", "dilution", "temperature_c"),
            _time(),
            *_as_it_is("log_exposure", "scan"),
            _nested("region"),
            _nested("densities"),
        ),
    ),
    Kind(
        "developments",
        "batch",
        Development,
        (
            *_as_it_is("batch", "date", "developer", "dilution", "temperature_c"),
            _time(),
            *_as_it_is("method", "agitation"),
            _tag(),
            *_as_it_is("base_fog", "notes"),
        ),
        Inner("sheets", "development_sheets", "batch", tuple(_as_it_is("sheet")), plain=True),
    ),
    Kind(
        "sheets",
        "sheet",
        Sheet,
        (
            *_as_it_is("sheet", "film", "exposure_index", "format", "holder", "side", "exposed_at", "place"),
            *_as_it_is("subject", "lens", "cell"),
            _stop("stop"),
            *_as_it_is("stop_scale"),
            _time(),
            *_as_it_is("bellows_mm", "filter", "filter_factor"),
            _nested("movements"),
            *_as_it_is("weather"),
            _tag(),
            *_as_it_is("meter_iso"),
            _indicated(),
            *_as_it_is("print_target"),
            _spot("base_fog_spot"),
            *_as_it_is("location", "notes"),
        ),
        Inner(
            "readings",
            "readings",
            "sheet",
            (
                *_as_it_is("name", "role", "ev", "stops_from_placed"),
                _notation("zone", "zone_value", Zone, "value"),
                _flag("placed"),
                _spot("spot"),
            ),
        ),
    ),
)
"""Every kind of record, in the order in which they are written: what is referred to comes first, and a sheet
last, when everything it is searched by is there already."""

_NAMED = {kind.name: kind for kind in KINDS} | {kind.one: kind for kind in KINDS}
_NAMED |= {"development": _NAMED["developments"], "cell": _NAMED["lenses"]}
_NAMED |= {name.replace(" ", "_"): kind for name, kind in _NAMED.items()}


def kind_named(name: str) -> Kind:
    """Give a kind by the name of its list (``sheets``) or by the word for one (``sheet``).

    Raises
    ------
    KeyError : no such kind.

    Examples
    --------
    >>> kind_named("sheet").name, kind_named("print_target").name, kind_named("batch").name
    ('sheets', 'print_targets', 'developments')
    """
    return _NAMED[name]


def as_json(record: Record) -> str:
    """Write a record as history keeps it: what its record file would say, as JSON."""
    return json.dumps(record.model_dump(mode="json", exclude_none=True), ensure_ascii=False)
