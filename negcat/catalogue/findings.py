"""What was computed of each sheet: kept apart from its record, and replaced as a whole."""

from __future__ import annotations

import json
import marshal
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from negcat.catalogue.connection import CatalogueFile, now

__all__ = ["EXPOSURE", "Findings", "FindingsKept"]

EXPOSURE = (
    "marked_stop",
    "f_number",
    "effective_f_number",
    "time_s",
    "shutter_time_s",
    "effective_time_s",
    "setting_stops",
    "filter_stops",
    "bellows_stops",
    "cell_stops",
    "shutter_stops",
    "reciprocity_stops",
    "decision_stops",
)
"""What is kept of a sheet's exposure, by the names of ``negcat show --json``."""

_READING = (
    "name",
    "role",
    "placed",
    "ev",
    "planned_zone",
    "given_zone",
    "planned_print_zone",
    "target_density",
    "density",
    "sd",
    "net_density",
    "print_zone",
    "print_zone_sd",
    "error_density",
    "error_zones",
)
_RESULT = (
    "exposure_error_stops",
    "exposure_error_sd",
    "exposure_error_density_sd",
    "residual_stops",
    "found_n",
    "found_n_sd",
    "found_n_density_sd",
    "planned_n",
    "printing_range",
    "exposure_verdict",
    "development_verdict",
    "verdict",
    "why",
)

_OWN: Mapping[tuple[str, ...], frozenset[str]] = {
    columns: frozenset(columns) for columns in (EXPOSURE, _READING, _RESULT)
}

_HEAD = (
    "sheet",
    "scan",
    "base_fog",
    "base_fog_sd",
    "base_fog_source",
    "base_fog_more",
    "measured_readings",
    "provenance",
    "computed_at",
)


@dataclass(frozen=True)
class Findings:
    """Everything computed of one sheet.

    Parameters
    ----------
    sheet : its id.
    exposure : the ledger, by the names of ``negcat show --json``; further ones are kept too. None where it
        couldn't be computed.
    base_fog : ``density``, ``sd``, ``source`` and further ones; None where there is none.
    readings : one mapping a reading, in the record's order.
    result : the judgement; None without one. ``why`` is a list of sentences.
    scan : the id of the scan that was measured.
    provenance : what it came from: profile, print target, versions.
    """

    sheet: str
    exposure: Mapping[str, Any] | None = None
    base_fog: Mapping[str, Any] | None = None
    readings: list[dict[str, Any]] = field(default_factory=list)
    result: Mapping[str, Any] | None = None
    scan: str | None = None
    provenance: Mapping[str, Any] = field(default_factory=dict)


_json = json.JSONEncoder(ensure_ascii=False).encode

_REMEMBERED = 4096


class _Texts(dict[bytes, str]):
    """The JSON of what most sheets of a collection have alike, written once."""

    def of(self, value: Any) -> str:
        # Unlike a hash, it tells 1 from 1.0 and true, and it is made in a fifth of the time of the JSON.
        try:
            key = marshal.dumps(value, 2)
        except ValueError:  # JSON knows it, marshal doesn't
            return _json(value)
        text = self.get(key)
        if text is None:
            if len(self) >= _REMEMBERED:
                self.clear()
            text = self[key] = _json(value)
        return text


def _split(
    values: Mapping[str, Any], columns: tuple[str, ...], text: Callable[[object], str] = _json
) -> tuple[list[Any], str | None]:
    """Part what has a column of its own from what hasn't, which is kept as JSON."""
    own = _OWN[columns]
    more = {name: value for name, value in values.items() if name not in own}
    return list(map(values.get, columns)), text(more) if more else None


def _joined(row: Mapping[str, Any], columns: tuple[str, ...]) -> dict[str, Any]:
    """Undo :func:`_split`."""
    values = {name: row[name] for name in columns}
    if row["more"] is not None:
        values |= json.loads(row["more"])
    return values


def _insert(table: str, columns: Sequence[str]) -> str:
    return f"insert into {table} ({', '.join(columns)}) values ({', '.join('?' * len(columns))})"


class _Rows:
    """Findings as they lie in the tables.

    Parameters
    ----------
    findings : each of another sheet.
    at : when they were computed.
    """

    def __init__(self, findings: Iterable[Findings], at: str) -> None:
        self.sheets: list[tuple[str]] = []
        self.heads: list[Sequence[Any]] = []
        self.exposures: list[Sequence[Any]] = []
        self.readings: list[Sequence[Any]] = []
        self.results: list[Sequence[Any]] = []
        self._text = _Texts().of
        for found in findings:
            self._add(found, at)

    def _add(self, found: Findings, at: str) -> None:
        base = dict(found.base_fog or {})
        fog = [base.pop(name, None) for name in ("density", "sd", "source")]
        measured = len([one for one in found.readings if one.get("density") is not None])
        more = _json(base) if base else None
        self.sheets.append((found.sheet,))
        self.heads.append(
            (found.sheet, found.scan, *fog, more, measured, self._text(dict(found.provenance)), at)
        )
        if found.exposure is not None:
            values, more = _split(found.exposure, EXPOSURE)
            self.exposures.append((found.sheet, *values, more))
        for position, reading in enumerate(found.readings):
            values, more = _split(reading, _READING, self._text)
            self.readings.append((found.sheet, position, *values, more))
        if found.result is not None:
            why = self._text(list(found.result.get("why") or ()))
            values, more = _split({**found.result, "why": why}, _RESULT, self._text)
            self.results.append((found.sheet, *values, more))


class FindingsKept(CatalogueFile):
    """What the catalogue knows of what was computed."""

    def save_findings(self, *findings: Findings) -> None:
        """Keep what was computed of sheets in place of what was computed before.

        Parameters
        ----------
        findings : any number, each of another sheet; all are kept in one transaction.
        """
        rows = _Rows(findings, now())
        with self.writing() as database:
            many = database.conn.executemany
            for table in ("exposures", "found_readings", "out_of_date"):
                many(f"delete from {table} where sheet = ?", rows.sheets)
            # Written over in place, so that a verdict that stays is no change to what is searched.
            without = [(found.sheet,) for found in findings if found.result is None]
            many("delete from results where sheet = ?", without)
            self._write_findings(rows, _upsert)

    def add_findings(self, findings: Iterable[Findings], at: str) -> list[str]:
        """Keep what was computed of sheets that have no findings yet, inside a transaction.

        Parameters
        ----------
        findings : each of another sheet, which may be written after them.
        at : when they were computed.

        Returns
        -------
        The sheets.
        """
        rows = _Rows(findings, at)
        self._write_findings(rows, _insert)
        return [sheet for (sheet,) in rows.sheets]

    def _write_findings(self, rows: _Rows, insert: Callable[[str, Sequence[str]], str]) -> None:
        many = self.connection.executemany
        many(_insert("exposures", ("sheet", *EXPOSURE, "more")), rows.exposures)
        many(_insert("found_readings", ("sheet", "position", *_READING, "more")), rows.readings)
        many(insert("results", ("sheet", *_RESULT, "more")), rows.results)
        many(insert("findings", _HEAD), rows.heads)

    def findings(self, sheet: str) -> Findings | None:
        """Give what was computed of a sheet; None where nothing was yet."""
        head = self.row("select * from findings where sheet = ?", [sheet])
        if head is None:
            return None
        exposure = self.row("select * from exposures where sheet = ?", [sheet])
        result = self.row("select * from results where sheet = ?", [sheet])
        readings = self.rows("select * from found_readings where sheet = ? order by position", [sheet])
        base_fog = None
        if head["base_fog"] is not None or head["base_fog_source"] is not None:
            base_fog = {
                "density": head["base_fog"],
                "sd": head["base_fog_sd"],
                "source": head["base_fog_source"],
                **(json.loads(head["base_fog_more"]) if head["base_fog_more"] else {}),
            }
        return Findings(
            sheet=sheet,
            exposure=_joined(exposure, EXPOSURE) if exposure else None,
            base_fog=base_fog,
            readings=[
                {**_joined(row, _READING), "placed": None if row["placed"] is None else bool(row["placed"])}
                for row in readings
            ],
            result={**_joined(result, _RESULT), "why": json.loads(result["why"])} if result else None,
            scan=head["scan"],
            provenance=json.loads(head["provenance"]),
        )

    def mark_out_of_date(self, sheets: Iterable[str]) -> None:
        """Note that the findings of sheets must be computed anew, until :meth:`save_findings` has them."""
        with self.writing() as database:
            at = now()
            database.conn.executemany(
                "insert into out_of_date (sheet, since) values (?, ?) on conflict do nothing",
                [(sheet, at) for sheet in sheets],
            )

    def out_of_date(self) -> list[str]:
        """List the sheets whose findings must be computed anew, the longest waiting first."""
        return [sheet for (sheet,) in self.tuples("select sheet from out_of_date order by since, rowid")]


def _upsert(table: str, columns: Sequence[str]) -> str:
    changes = ", ".join(f"{name} = excluded.{name}" for name in columns[1:])
    return f"{_insert(table, columns)} on conflict ({columns[0]}) do update set {changes}"
