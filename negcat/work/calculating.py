"""The ledger of a record that is still being written.

The record goes through the same models and the same computation as a finished one's. What can't be read yet
is left out, and said; what the ledger can't do without is named.
"""

from __future__ import annotations

import copy
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from negcat.catalogue import Catalogue
from negcat.errors import Fault, NegcatError, RecordError
from negcat.records import KnownNames, Sheet, load_data
from negcat.work.planning import Equipment
from negcat.work.writing_findings import exposure_columns

__all__ = ["Calculation", "Path", "calculate", "names_for_a_sheet"]

Path = tuple[str | int, ...]
"""The way to a field inside a sheet's record: ``("readings", 0, "zone")``."""

NEEDED = ("film", "lens", "cell", "stop", "stop_scale", "time")
"""What no ledger can do without, where it is asked for."""

_BESIDE = (
    "sheet", "format", "holder", "side", "exposed_at", "place", "subject", "movements", "weather",
    "print_target", "base_fog_spot", "location", "notes",
)  # fmt: skip
_STANDING_IN = "0"
_ROUNDS = 12


@dataclass(frozen=True)
class Calculation:
    """What a record in writing amounts to.

    Parameters
    ----------
    exposure : as ``negcat show --json`` gives it; None where it can't be had.
    ledger : its lines, each with item, stops and text.
    readings : planned and given, as ``negcat show --json`` gives them.
    why : a sentence for everything missing or doubtful.
    left_out : fields that can't be read yet and were left out of the calculation.
    wanting : fields that the ledger can't do without and that are blank or can't be read.
    faults : every fault of the record, each with its path inside the sheet.
    """

    exposure: Mapping[str, Any] | None
    ledger: Sequence[Mapping[str, Any]]
    readings: Sequence[Mapping[str, Any]]
    why: Sequence[str]
    left_out: Sequence[Path]
    wanting: Sequence[str]
    faults: Sequence[Fault]


def names_for_a_sheet(catalogue: Catalogue) -> KnownNames:
    """Give the names that a single sheet's record may refer to; it refers to no other sheet."""
    lenses = {name: catalogue.lens(name) for name in catalogue.names("lenses")}
    return KnownNames(
        films=frozenset(catalogue.names("films")),
        lenses={name: lens for name, lens in lenses.items() if lens is not None},
        print_targets=frozenset(catalogue.names("print_targets")),
    )


def calculate(catalogue: Catalogue, written: Mapping[str, Any]) -> Calculation:
    """Calculate as much as a record in writing allows.

    Parameters
    ----------
    catalogue : the open catalogue; nothing in it is changed.
    written : the sheet's record as plain data, as a record file would hold it.

    Returns
    -------
    Calculation
    """
    known = names_for_a_sheet(catalogue)
    faults = _faults(written, known)
    sheet, left_out, wanting = _workable(written, known)
    if sheet is None:
        return Calculation(None, (), (), (), left_out, wanting, faults)
    try:
        exposed = Equipment(catalogue).expose(sheet)
    except NegcatError as error:
        return Calculation(None, (), (), (str(error),), left_out, (), faults)
    columns = exposure_columns(sheet, exposed)
    ledger = columns.pop("ledger")
    # The ev as recorded, not that at the exposure index: it stands for what was read off the meter.
    readings = [
        {**asdict(planned), "ev": reading.ev}
        for reading, planned in zip(sheet.readings, exposed.readings, strict=True)
    ]
    return Calculation(columns, ledger, readings, exposed.why, left_out, (), faults)


def _faults(written: Mapping[str, Any], known: KnownNames) -> list[Fault]:
    try:
        load_data({"sheets": [written]}, known)
    except RecordError as error:
        return list(error.faults)
    return []


def _workable(
    written: Mapping[str, Any], known: KnownNames
) -> tuple[Sheet | None, list[Path], Sequence[str]]:
    """Leave out of a record what can't be read and what the ledger doesn't need.

    Returns
    -------
    The sheet, None where it can't be had; the fields left out; the fields it can't do without.
    """
    record = {name: copy.deepcopy(value) for name, value in written.items() if name not in _BESIDE}
    record["sheet"] = _STANDING_IN
    readings = record.get("readings")
    for reading in readings if isinstance(readings, list) else ():
        if isinstance(reading, dict):
            reading.pop("spot", None)
    left_out: list[Path] = []
    for _ in range(_ROUNDS):
        try:
            return load_data({"sheets": [record]}, known).sheets[0], left_out, ()
        except RecordError as error:
            # A fault's path begins with the list and the place in it.
            paths = list(dict.fromkeys(fault.path[2:] for fault in error.faults))
        wanting = _wanting(paths)
        if wanting:
            return None, left_out, wanting
        mended = [_leave_out(record, path, left_out) for path in paths]
        if not any(mended):
            break
    return None, left_out, ()


def _wanting(paths: Iterable[Path]) -> list[str]:
    first = {path[0] for path in paths if path}
    return [name for name in NEEDED if name in first]


def _leave_out(record: dict[str, Any], path: Path, left_out: list[Path]) -> bool:
    """Take one field out, or put a name in where one is wanting; says whether anything was done."""
    if not path:
        return False
    name = path[0]
    if name != "readings":
        return _drop(record, name, path[:1], left_out)
    readings = record.get("readings")
    place = path[1] if len(path) > 1 else None
    if not isinstance(readings, list) or not isinstance(place, int) or place >= len(readings):
        return _drop(record, name, ("readings",), left_out)
    reading, step = readings[place], path[2] if len(path) > 2 else None
    if not isinstance(reading, dict):
        return _drop(record, name, ("readings",), left_out)
    if step == "name":
        # A reading may be calculated before it has a name.
        stand_in = f"reading {place + 1}"
        if reading.get("name") == stand_in:
            return _drop(record, name, ("readings",), left_out)
        reading["name"] = stand_in
        return True
    if step in reading:
        return _drop(reading, step, path[:3], left_out)
    # What is wanting at the placed reading leaves the others with nothing to be compared with.
    return _drop(record, name, ("readings",), left_out)


def _drop(inside: dict[str, Any], name: Any, path: Path, left_out: list[Path]) -> bool:
    if name not in inside:
        return False
    del inside[name]
    if path not in left_out:
        left_out.append(path)
    return True
