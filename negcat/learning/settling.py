"""Which one sheet would settle an open question best.

Sources
-------
Chaloner : K. Chaloner, I. Verdinelli, Bayesian experimental design: a review, Statistical Science 10 (1995):
    the observation that most reduces the posterior variance of what is asked.
"""

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from math import log, log2
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from negcat.learning.developing import in_use
from negcat.learning.fitting import Fit
from negcat.learning.layout import Layout, Rows, process_of
from negcat.learning.learned import Settling
from negcat.learning.prediction import Derivatives, predict
from negcat.learning.season import Sheet
from negcat.learning.sheets_together import FLOOR_SD
from negcat.learning.unknowns import Process
from negcat.notation import format_tag

__all__ = ["Open", "settle"]

Array = NDArray[np.float64]

T = TypeVar("T")

_ZONES = (3.0, 5.0, 7.0)  # readings of the sheet to come
_DENSITY_SD = 0.015
_MOST_OF_EACH = 8  # films, cells and times that are tried, those used most
_LEAST_GAIN = 0.03  # share of the deviation that a sheet must take away to be worth naming


@dataclass(frozen=True)
class Open:
    """An open question.

    Parameters
    ----------
    key : what it is called.
    combination : of the unknowns, shape (unknowns,).
    unit : what its deviation is to be multiplied with when it is told.
    """

    key: str
    combination: Array
    unit: float = 1.0


@dataclass(frozen=True)
class _Candidate:
    process: Process
    tag: str
    lens: str
    cell: str
    shutter: str
    marked_time: str
    time_s: float


def settle(
    layout: Layout, fit: Fit, mean: Array, covariance: Array, questions: Sequence[Open]
) -> tuple[Settling, ...]:
    """Find, for every open question, the sheet that would reduce its variance most.

    Parameters
    ----------
    layout, fit : the season and its fit at the likeliest noise levels.
    mean, covariance : posterior of the unknowns.
    questions : what is open.

    Notes
    -----
    Every combination of film, tag, cell and time in use is tried, with readings on III, V and VII, a batch of
    its own and the season's noise. One sheet more changes the variance aᵀΣa of a question by
    −aᵀΣJᵀ(V + JΣJᵀ)⁻¹JΣa, J and V its readings' derivatives and covariance: linear, so nothing needs to be
    known of what it will show (Chaloner).
    """
    candidates = _candidates(layout)
    if not candidates or not questions:
        return ()
    each = len(_ZONES)
    rows = _rows(layout, candidates)
    predicted = predict(layout.shape, rows, mean, np.zeros((0, 2)))
    by_unknown, _ = Derivatives(rows, len(mean)).at(predicted, mean)
    k = predicted.by_stop.reshape(-1, each)
    g = predicted.by_contrast.reshape(-1, each)
    noise = fit.noise
    common = (noise.sheet**2 + noise.batch**2) * k[:, :, None] * k[:, None, :]
    common += noise.batch_contrast**2 * g[:, :, None] * g[:, None, :]
    index = np.arange(each)
    common[:, index, index] += _DENSITY_SD**2 + (FLOOR_SD**2 + noise.reading**2) * k**2
    # A reading is touched by few of the unknowns: JΣJᵀ of each candidate, entry by entry.
    reach = np.asarray(by_unknown @ covariance)
    for i in range(each):
        for j in range(each):
            common[:, i, j] += by_unknown[i::each].multiply(reach[j::each]).sum(axis=1)
    told = np.linalg.inv(common)
    found = []
    for question in questions:
        before = float(question.combination @ covariance @ question.combination)
        pull = np.asarray(by_unknown @ (covariance @ question.combination)).reshape(-1, each)
        gain = np.einsum("ci,cij,cj->c", pull, told, pull)
        best = int(np.argmax(gain))
        after = max(before - float(gain[best]), 0.0)
        if after**0.5 > (1.0 - _LEAST_GAIN) * before**0.5:
            continue
        chosen = candidates[best]
        found.append(
            Settling(
                settles=question.key,
                film=chosen.process.film,
                lens=chosen.lens,
                cell=chosen.cell,
                shutter=chosen.shutter,
                marked_time=chosen.marked_time,
                developer=chosen.process.developer,
                dilution=chosen.process.dilution,
                tag=chosen.tag,
                sd_before=before**0.5 * question.unit,
                sd_after=after**0.5 * question.unit,
            )
        )
    return tuple(found)


def _candidates(layout: Layout) -> list[_Candidate]:
    """List what is in use, the most used first: the best of equals is then the most familiar."""
    sheets = layout.sheets
    processes = _most(Counter(process_of(sheet) for sheet in sheets))
    cells = _most(Counter((sheet.lens, sheet.cell) for sheet in sheets))
    tags: dict[Process, Counter[float]] = defaultdict(Counter)
    marks: dict[str, Counter[tuple[str, str, float]]] = defaultdict(Counter)
    for sheet in sheets:
        tags[process_of(sheet)][sheet.planned_n] += 1
        marks[sheet.lens][sheet.shutter, sheet.marked_time, sheet.time_s] += 1
    return [
        _Candidate(process, format_tag(n), lens, cell, *mark)
        for process in processes
        for n in _most(tags[process])
        for lens, cell in cells
        for mark in _most(marks[lens])
    ]


def _most(counted: "Counter[T]") -> "list[T]":
    return sorted(counted, key=lambda thing: (-counted[thing], repr(thing)))[:_MOST_OF_EACH]


def _rows(layout: Layout, candidates: Sequence[_Candidate]) -> Rows:
    find, each = layout.unknowns.find, len(_ZONES)
    of_tag: dict[tuple[Process, str], list[Sheet]] = defaultdict(list)
    for sheet in layout.sheets:
        of_tag[process_of(sheet), format_tag(sheet.planned_n)].append(sheet)
    columns: dict[str, list[object]] = defaultdict(list)
    for candidate in candidates:
        process, film = candidate.process, layout.films[candidate.process.film]
        seconds, degrees = in_use(of_tag[process, candidate.tag])
        reference = layout.reference_time[process]
        timed = seconds is not None and reference is not None
        at = layout.reference_temperature[process]
        beyond = candidate.time_s / film.from_s
        values: dict[str, object] = {
            "stops": [
                find("film", (process.film,)),
                find("process", process),
                find("lens", (candidate.lens,)),
                find("cell", (candidate.lens, candidate.cell)),
                find("shutter_time", (candidate.shutter, candidate.marked_time)),
                find("tag", (process.developer, process.dilution, candidate.tag))
                if candidate.tag != format_tag(layout.reference_tag[process])
                else -1,
            ],
            "lost_log2": log2(beyond) if beyond > 1.02 else 0.0,
            "exponent": layout.exponents[process.film],
            "exponent_column": find("exponent", (process.film,)),
            "contrast": find("contrast", process) if timed else find("untimed", (*process, candidate.tag)),
            "rise": find("rise", process) if timed else -1,
            "rise_bend": find("rise bend", process) if timed else -1,
            "log_q10": find("log q10", process) if timed else -1,
            "log_time": log(seconds / reference) if seconds and reference else 0.0,
            "tens_of_degrees": (degrees - at) / 10.0 if degrees is not None and at is not None else 0.0,
            "bends": find("bend", (*process, "0")),
        }
        for name, value in values.items():
            columns[name].append(value)
    whole = {"stops", "exponent_column", "contrast", "rise", "rise_bend", "log_q10", "bends"}
    arrays = {
        name: np.repeat(np.array(values, np.intp if name in whole else float), each, axis=0)
        for name, values in columns.items()
    }
    count = each * len(candidates)
    none, zero = np.full(count, -1), np.zeros(count)
    return Rows(
        zone=np.tile(np.array(_ZONES), len(candidates)),
        own_contrast=none,
        batch=none,
        sheet=none,
        density=zero,
        sd=zero,
        sign=zero,
        **arrays,
    )
