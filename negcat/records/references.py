"""What records refer to: names, cells, stop scales, sheets, and names given twice."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache, partial
from typing import Any

from negcat.records.accepted import AcceptedChange, AcceptedTime
from negcat.records.base import Path, Record
from negcat.records.equipment import Lens, Tablet
from negcat.records.faults import FaultList
from negcat.records.holders import Holder
from negcat.records.known import KnownNames
from negcat.records.models import KEYS
from negcat.records.nearest import nearest_name
from negcat.records.processing import Development, FilmTest
from negcat.records.sheet import Sheet

__all__ = ["Entry", "check_references"]

_WHAT = {
    "films": "film",
    "shutters": "shutter",
    "lenses": "lens",
    "tablets": "tablet",
    "print_targets": "print target",
    "sheets": "sheet",
}


@dataclass(frozen=True)
class Entry:
    """One record where it stands.

    Parameters
    ----------
    document : number of the document.
    kind : name of the list.
    place : index in the list.
    record : the record; with stand-ins in its faulty fields, None where it can't be read at all.
    item : what was written.
    faulty : the fields that are wrong, each as a path of one step.
    """

    document: int
    kind: str
    place: int
    record: Record | None
    item: Mapping[str, Any]
    faulty: frozenset[Path] = field(default=frozenset())

    def is_faulty(self, name: str) -> bool:
        """Say whether what stands in that field is not what was meant."""
        return (name,) in self.faulty

    def name(self) -> str | None:
        """Return the name the record goes by; None where that can't be said."""
        key = KEYS.get(self.kind)
        if key is None:
            return None
        if self.record is not None and not self.is_faulty(key):
            return str(getattr(self.record, key))
        written = self.item.get(key)
        return written.strip() if isinstance(written, str) else None


def check_references(entries: Sequence[Entry], known: KnownNames, faults: FaultList) -> None:
    """Find names given twice and references to nothing.

    Parameters
    ----------
    entries : every record of every file.
    known : the archive.
    faults : takes what is found.
    """
    _check_twice(entries, faults)
    _check_removed(entries, known, faults)
    _check_case(entries, known, faults)
    names = _Names(entries, known)
    for entry in entries:
        for path, sentence in _unknown_references(entry, names):
            faults.add(entry.document, (entry.kind, entry.place, *path), sentence)
    _check_batches(entries, known, faults)
    _check_cells_in_use(entries, known, faults)


class _Names:
    """All names that may be referred to: the archive's and those of the files, the latter ruling."""

    def __init__(self, entries: Iterable[Entry], known: KnownNames) -> None:
        self.films: set[str] = set(known.films)
        self.shutters = set(known.shutters)
        self.print_targets = set(known.print_targets) | _built_in_targets()
        self.sheets = set(known.sheets)
        self.removed = known.removed
        self.lenses: dict[str, Lens | None] = dict(known.lenses)
        self.tablets: dict[str, int | None] = dict(known.tablets)
        sets = {
            "films": self.films,
            "shutters": self.shutters,
            "print_targets": self.print_targets,
            "sheets": self.sheets,
        }
        for entry in entries:
            name = entry.name()
            if name is None:
                continue
            if entry.kind in sets:
                sets[entry.kind].add(name)
            elif entry.kind == "lenses":
                # A lens with a fault in its cells is known by name; which cells it has can't be said.
                lens = entry.record
                self.lenses[name] = lens if isinstance(lens, Lens) and not entry.is_faulty("cells") else None
            elif entry.kind == "tablets":
                tablet = entry.record
                whole = isinstance(tablet, Tablet) and not entry.is_faulty("densities")
                self.tablets[name] = len(tablet.densities) if whole and isinstance(tablet, Tablet) else None

    def of(self, kind: str) -> Collection[str]:
        return getattr(self, kind)  # type: ignore[no-any-return]


@lru_cache(maxsize=1)
def _built_in_targets() -> frozenset[str]:
    # Late, because it loads the numerics, which a mere look at a record file doesn't need before.
    from negcat.sensitometry import BUILT_IN_TARGETS

    return frozenset(BUILT_IN_TARGETS)


def _unknown(kind: str, name: str, names: Collection[str]) -> str:
    what = _WHAT[kind]
    sentence = f"{what} '{name}' is not in the archive nor in these files; "
    if near := nearest_name(name, names):
        return f"{sentence}the nearest known is '{near}'"
    if not names:
        return f"{sentence}no {what} is known yet, write it under {kind}"
    if len(names) <= 8:
        return f"{sentence}known are {', '.join(repr(known) for known in sorted(names))}"
    return f"{sentence}write it under {kind}, or one of the {len(names)} known"


def _reference(entry: Entry, field_name: str, kind: str, names: _Names) -> Iterator[tuple[Path, Any]]:
    name = getattr(entry.record, field_name)
    if name is not None and not entry.is_faulty(field_name) and name not in names.of(kind):
        yield (field_name,), partial(_unknown, kind, name, names.of(kind))


def _unknown_references(entry: Entry, names: _Names) -> Iterator[tuple[Path, Any]]:
    record = entry.record
    if isinstance(record, Sheet):
        yield from _reference(entry, "film", "films", names)
        yield from _reference(entry, "lens", "lenses", names)
        yield from _reference(entry, "print_target", "print_targets", names)
        lens = names.lenses.get(record.lens)
        if lens is not None and not entry.is_faulty("lens") and not entry.is_faulty("cell"):
            scale = None if entry.is_faulty("stop_scale") else record.stop_scale
            yield from _cell_faults(lens, record.cell, scale)
    elif isinstance(record, Lens):
        yield from _reference(entry, "shutter", "shutters", names)
    elif isinstance(record, Development):
        if not entry.is_faulty("sheets"):
            yield from (
                (
                    ("sheets", place),
                    f"{_removed(sheet)}, or take it out of the batch"
                    if sheet in names.removed
                    else partial(_unknown, "sheets", sheet, names.sheets),
                )
                for place, sheet in enumerate(record.sheets)
                if sheet not in names.sheets or sheet in names.removed
            )
    elif isinstance(record, Holder):
        if not entry.is_faulty("sides"):
            yield from (
                (("sides", place, "film"), partial(_unknown, "films", side.film, names.films))
                for place, side in enumerate(record.sides)
                if side.film is not None and side.film not in names.films
            )
    elif isinstance(record, AcceptedChange | AcceptedTime):
        yield from _reference(entry, "film", "films", names)
        if isinstance(record, AcceptedChange):
            yield from _reference(entry, "shutter", "shutters", names)
            yield from _reference(entry, "lens", "lenses", names)
    elif isinstance(record, FilmTest):
        yield from _reference(entry, "film", "films", names)
        yield from _reference(entry, "tablet", "tablets", names)
        steps = None if entry.is_faulty("tablet") else names.tablets.get(record.tablet)
        if steps is not None and record.densities is not None and not entry.is_faulty("densities"):
            given = len(record.densities)
            if given != steps:
                yield (
                    ("densities",),
                    f"{given} densities for the {steps} steps of tablet '{record.tablet}'; write one each",
                )


def _cell_faults(lens: Lens, cell_name: str | None, scale: str | None) -> Iterator[tuple[Path, str]]:
    """Check the cell a sheet was made with and the stop scale it was read from."""
    cells = {cell.cell: cell for cell in lens.cells}
    listed = ", ".join(cells)

    def no_such(what: str, name: str) -> str:
        near = nearest_name(name, cells)
        return f"lens '{lens.name}' has no {what} '{name}'; " + (
            f"did you mean '{near}'?" if near else f"it has {listed}"
        )

    cell = lens.cell_named(cell_name)
    if cell_name is None and len(cells) > 1:
        example = lens.cells[0].cell
        what = f"lens '{lens.name}' has the cells {listed}; write which one was used, as in cell: {example}"
        yield ("cell",), what
    elif cell_name is not None and cell is None:
        yield ("cell",), no_such("cell", cell_name)
    if scale is not None:
        read_from = cells.get(scale)
        if read_from is None:
            yield ("stop_scale",), no_such("cell", scale)
        elif not read_from.own_scale and scale != lens.whole:
            own = [name for name, other in cells.items() if other.own_scale or name == lens.whole]
            what = (
                f"'{scale}' of lens '{lens.name}' has no stop scale of its own to read from; "
                f"write one that has: {', '.join(own)}"
            )
            yield ("stop_scale",), what
    elif cell is not None and not cell.own_scale and lens.whole is None:
        what = (
            f"'{cell.cell}' of lens '{lens.name}' has no stop scale of its own, and no cell is mounted "
            "whole to read from; write stop_scale, or mounted: whole at the lens"
        )
        yield ("stop_scale",), what


def _check_twice(entries: Iterable[Entry], faults: FaultList) -> None:
    """Find names that stand twice in one file."""
    seen: dict[tuple[int, str, str], Entry] = {}
    for entry in entries:
        name = entry.name()
        if not name:
            continue
        # Ids of sheets are found in file names, case aside.
        folded = name.casefold() if entry.kind == "sheets" else name
        first = seen.setdefault((entry.document, entry.kind, folded), entry)
        if first is not entry:
            faults.add(
                entry.document,
                (entry.kind, entry.place, KEYS[entry.kind]),
                f"'{name}' stands in this file already as {entry.kind}[{first.place}]; give it a name of "
                "its own or keep one of the two",
            )


def _removed(sheet: str) -> str:
    return f"sheet '{sheet}' was removed; bring it back with 'negcat remove --undo {sheet}'"


def _check_removed(entries: Iterable[Entry], known: KnownNames, faults: FaultList) -> None:
    """Find sheets that were removed from the archive, whose ids are given to no other."""
    removed = {sheet.casefold(): sheet for sheet in known.removed}
    for entry in entries if removed else ():
        name = entry.name() if entry.kind == "sheets" else None
        if name and name.casefold() in removed:
            sentence = f"{_removed(removed[name.casefold()])}, or give this one another id"
            faults.add(entry.document, (entry.kind, entry.place, "sheet"), sentence)


def _check_case(entries: Iterable[Entry], known: KnownNames, faults: FaultList) -> None:
    """Find ids of sheets that differ only in case from one of the archive or of another file."""
    folded = {sheet.casefold(): sheet for sheet in known.sheets}
    origin: dict[str, int] = {}
    for entry in entries:
        name = entry.name() if entry.kind == "sheets" else None
        if not name:
            continue
        other = folded.setdefault(name.casefold(), name)
        if other != name and origin.get(other) != entry.document:
            faults.add(
                entry.document,
                (entry.kind, entry.place, "sheet"),
                f"'{name}' differs from sheet '{other}' in capitals only; write both alike, or another id",
            )
        origin.setdefault(name, entry.document)


def _check_batches(entries: Sequence[Entry], known: KnownNames, faults: FaultList) -> None:
    """Find sheets that are in two batches."""
    batches: dict[str, Entry] = {}
    for entry in entries:
        if isinstance(entry.record, Development) and not entry.is_faulty("sheets") and (name := entry.name()):
            batches[name] = entry  # of a batch written twice the last one rules
    developed = {sheet: batch for sheet, batch in known.developed.items() if batch not in batches}
    for name, entry in batches.items():
        sheets = entry.record.sheets if isinstance(entry.record, Development) else ()
        for place, sheet in enumerate(sheets):
            other = developed.setdefault(sheet, name)
            if other != name:
                faults.add(
                    entry.document,
                    (entry.kind, entry.place, "sheets", place),
                    f"sheet '{sheet}' is in batch '{other}' already and a sheet is developed once; take it "
                    "out of one of the two",
                )


def _check_cells_in_use(entries: Iterable[Entry], known: KnownNames, faults: FaultList) -> None:
    """Find lenses that would lose a cell with which sheets of the archive were made."""
    rewritten = {
        name for entry in entries if entry.kind == "sheets" and (name := entry.name()) in known.sheets
    }
    for entry in entries:
        lens = entry.record
        if not isinstance(lens, Lens) or entry.is_faulty("cells") or rewritten:
            continue
        in_use = known.cells_in_use.get(lens.name, frozenset())
        cells = {cell.cell for cell in lens.cells}
        for cell in sorted(name for name in in_use if name is not None and name not in cells):
            faults.add(
                entry.document,
                (entry.kind, entry.place, "cells"),
                f"the cell '{cell}' is gone, and sheets of the archive name it; keep it, or write the "
                "sheets anew in the same command",
            )
        if None in in_use and len(cells) > 1:
            faults.add(
                entry.document,
                (entry.kind, entry.place, "cells"),
                "sheets of the archive were made with this lens and don't say with which cell; write the "
                "sheets with their cell in the same command",
            )
