"""The names a record may refer to: those of the archive."""

from collections.abc import Mapping, Set
from dataclasses import dataclass, field

from negcat.records.equipment import Lens

__all__ = ["KnownNames"]


@dataclass(frozen=True)
class KnownNames:
    """What the archive holds already, as far as a record can refer to it.

    Parameters
    ----------
    films, shutters, scanners, print_targets : names.
    lenses : name → its record, for its cells.
    tablets : name → number of steps.
    sheets : ids.
    removed : ids of sheets that were removed, and keep their ids.
    developed : id of a sheet → the batch it was developed in.
    cells_in_use : lens → the cells and stop scales that the archive's sheets name; None among them where a
        sheet names no cell.

    Notes
    -----
    The built-in print targets are known in any case.
    """

    films: Set[str] = frozenset()
    shutters: Set[str] = frozenset()
    lenses: Mapping[str, Lens] = field(default_factory=dict)
    scanners: Set[str] = frozenset()
    tablets: Mapping[str, int] = field(default_factory=dict)
    print_targets: Set[str] = frozenset()
    sheets: Set[str] = frozenset()
    removed: Set[str] = frozenset()
    developed: Mapping[str, str] = field(default_factory=dict)
    cells_in_use: Mapping[str, Set[str | None]] = field(default_factory=dict)
