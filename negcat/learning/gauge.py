"""The gauge: in which terms estimates are told, because only differences can be learnt.

A film's speed and an error common to all cells or all times always move together. An exposure index is
personal by the trade's own meaning, "with my meter, shutter and lens", so such errors are counted as the
film's: each lens's reference cell has error 0, the mean of the times' errors over the measured sheets is 0.
"""

from collections import defaultdict
from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray

from negcat.learning.layout import Layout, process_of, tag_of
from negcat.learning.learned import Factor
from negcat.learning.unknowns import Process

__all__ = ["Quantity", "quantities_of", "tag_level"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Quantity:
    """Something to be told of a factor or an exponent.

    Parameters
    ----------
    factor, level, names : as :class:`negcat.learning.FactorEstimate`; ``reciprocity`` for an exponent.
    sheets : ids it rests on.
    combination : of the unknowns, shape (unknowns,); of a batch None, as batches stand by themselves.
    is_reference : 0 by the gauge.
    """

    factor: Factor | None
    level: str
    names: tuple[str, ...]
    sheets: tuple[str, ...]
    combination: Array | None
    is_reference: bool = False

    @property
    def key(self) -> str:
        """What others call it by."""
        return f"{self.factor or 'reciprocity'}: {self.level}"


def tag_level(layout: Layout, process: Process, tag: str) -> str:
    """Return the words for a film's tag: with the developer where the film was developed in several."""
    several = sum(1 for other in layout.reference_tag if other.film == process.film) > 1
    middle = [_developer(process.developer, process.dilution)] if several else []
    return " / ".join([process.film, *middle, tag])


def _developer(developer: str | None, dilution: str | None) -> str:
    return " ".join(part for part in (developer, dilution) if part) or "developer not recorded"


def quantities_of(layout: Layout) -> tuple[Quantity, ...]:
    """List all that is to be told: films, lenses, cells, times, tags, exponents, then batches.

    Parameters
    ----------
    layout : the season.
    """
    unknowns, sheets = layout.unknowns, layout.sheets
    evidence: dict[tuple[str, tuple[str | None, ...]], list[str]] = defaultdict(list)
    for sheet in sheets:
        process = process_of(sheet)
        evidence["film", (sheet.film,)].append(sheet.sheet)
        evidence["lens", (sheet.lens,)].append(sheet.sheet)
        evidence["cell", (sheet.lens, sheet.cell)].append(sheet.sheet)
        evidence["shutter_time", (sheet.shutter, sheet.marked_time)].append(sheet.sheet)
        evidence["tag", tag_of(process, sheet.planned_n)].append(sheet.sheet)
        if sheet.batch is not None:
            evidence["batch", (sheet.batch,)].append(sheet.sheet)
    for i in np.unique(layout.rows.sheet[layout.rows.lost_log2 > 0.0]):
        evidence["exponent", (sheets[i].film,)].append(sheets[i].sheet)

    def unit(kind: str, of: tuple[str | None, ...]) -> Array:
        found = np.zeros(len(unknowns))
        column = unknowns.find(kind, of)
        if column >= 0:
            found[column] = 1.0
        return found

    # The mean of the times' errors over the measured sheets.
    mean_time = np.zeros(len(unknowns))
    for (kind, of), those in evidence.items():
        if kind == "shutter_time":
            mean_time += unit(kind, of) * len(those) / len(sheets)

    found = []
    order = sorted(evidence, key=lambda key: (_ORDER.index(key[0]), repr(key[1])))
    marks: dict[tuple[str | None, ...], float] = {
        (sheet.shutter, sheet.marked_time): sheet.time_s for sheet in sheets
    }
    times = sorted(
        (key for key in order if key[0] == "shutter_time"), key=lambda key: (repr(key[1][0]), marks[key[1]])
    )
    for kind, of in [*(key for key in order if key[0] in _ORDER[:3]), *times]:
        ids = tuple(evidence[kind, of])
        factor = cast("Factor", kind)
        names = tuple(name or "" for name in of)
        level, combination, reference = " / ".join(names), unit(kind, of), False
        if kind == "film":
            combination = combination + mean_time
        elif kind == "shutter_time":
            combination = combination - mean_time
            reference = len(times) == 1  # the mean of one is that one
        elif kind == "lens":
            # The main lens is what others are tied to; a lens with one cell is told by its cell.
            if of[0] == layout.main_lens or len(layout.lenses[names[0]].cells) == 1:
                continue
        else:
            lens, cell = names
            reference = cell == layout.reference_cell[lens]
            if reference and lens != layout.main_lens and len(layout.lenses[lens].cells) == 1:
                combination, reference = unit("lens", (lens,)), False
        found.append(Quantity(factor, level, names, ids, combination, reference))
    for kind, of in order:
        ids = tuple(evidence[kind, of])
        names = tuple(name or "" for name in of)
        if kind == "tag":
            several = len({key[1][:2] for key in evidence if key[0] == "tag"}) > 1
            developer = _developer(*of[:2]) if several else ""
            level = " / ".join(part for part in (developer, names[2]) if part)
            reference = unknowns.find(kind, of) < 0
            found.append(Quantity("tag", level, names, ids, unit(kind, of), reference))
        elif kind == "exponent":
            found.append(Quantity(None, names[0], names, ids, unit(kind, of)))
        elif kind == "batch":
            found.append(Quantity("batch", names[0], names, ids, None))
    return tuple(found)


_ORDER = ("film", "lens", "cell", "shutter_time", "tag", "exponent", "batch")
