"""A season laid out in arrays: one row a reading, with the columns of the unknowns that bear on it."""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isfinite, log, log2
from statistics import median
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from negcat.errors import QuantityError
from negcat.learning import unknowns as beliefs
from negcat.learning.season import Film, FilmTest, Lens, Reading, Season, Sheet
from negcat.learning.shape import Shape, shape_of
from negcat.learning.unknowns import Prior, Process, Unknowns
from negcat.notation import format_tag

__all__ = ["LOST", "Layout", "Rows", "lay_out"]

Array = NDArray[np.float64]
Places = NDArray[np.intp]

LOST = 0.03
"""Net density under which a shadow is lost: an upper bound, not a figure."""

_LAST_ZONE = 9.0
_LEAST_SD = 0.004
_TEST_SD = 0.01  # what a densitometer repeats to
_ZONE_I_LUX_S = 0.504  # lux·s that put Zone I at 0.10 on a film whose exposure index is 1: 0.8·0.63
_STOP = log(2.0) / log(10.0)
_SLACK = 1.02  # a time this near to the threshold of a law is at it


@dataclass(frozen=True)
class Rows:
    """Rows of one kind, all arrays of length n.

    Parameters
    ----------
    zone : exposure zone at the film's index in use.
    stops : columns of what shifts the exposure, shape (n, 6); −1 for none.
    lost_log2, exponent, exponent_column : log2(t/from_s), 0 where nothing is lost; exponent on record; column.
    contrast, rise, rise_bend, log_q10, own_contrast : columns.
    log_time, tens_of_degrees : ln(time/reference) and (temperature − reference)/10.
    bends : first column of the process's bends.
    batch : number of the batch, −1 for none.
    sheet : number of the sheet, −1 for a test's.
    density, sd : net density or bound, and deviation.
    sign : 0 a density; +1 denser, −1 clearer than `density`.
    """

    zone: Array
    stops: Places
    lost_log2: Array
    exponent: Array
    exponent_column: Places
    contrast: Places
    rise: Places
    rise_bend: Places
    log_q10: Places
    own_contrast: Places
    log_time: Array
    tens_of_degrees: Array
    bends: Places
    batch: Places
    sheet: Places
    density: Array
    sd: Array
    sign: Array

    def __len__(self) -> int:
        return len(self.zone)

    def take(self, which: Places | NDArray[np.bool_]) -> "Rows":
        """Return some of the rows."""
        return Rows(*(getattr(self, name)[which] for name in self.__dataclass_fields__))


@dataclass(frozen=True)
class Layout:
    """A season ready for the fit.

    Parameters
    ----------
    shape : the target's shape.
    unknowns : all unknowns but the batches'.
    sheets : measured sheets, in order of `Rows.sheet`.
    batches : names, in order of `Rows.batch`.
    rows : densities of sheets (sheet by sheet), bounds of sheets, steps of tests: in this order.
    densities, bounds : how many rows are the sheets' densities and bounds; the rest are the tests'.
    names : the reading's name of each of the sheets' rows.
    films : by name.
    exponents : exponent each film's law amounts to.
    reference_time, reference_temperature : of each process, seconds and °C; None where not recorded.
    reference_tag : the tag of each process from which others shift.
    reference_cell : of each lens.
    main_lens : the lens with most sheets.
    main_process : of each film.
    """

    shape: Shape
    unknowns: Unknowns
    sheets: tuple[Sheet, ...]
    batches: tuple[str, ...]
    rows: Rows
    densities: int
    bounds: int
    names: tuple[str, ...]
    films: Mapping[str, Film]
    lenses: Mapping[str, Lens]
    exponents: Mapping[str, float]
    reference_time: Mapping[Process, float | None]
    reference_temperature: Mapping[Process, float | None]
    reference_tag: Mapping[Process, float]
    reference_cell: Mapping[str, str]
    main_lens: str
    main_process: Mapping[str, Process]
    tests: Mapping[Process, tuple[FilmTest, ...]]


def process_of(thing: Sheet | FilmTest) -> Process:
    """Return the process of a sheet or test."""
    return Process(thing.film, thing.developer, thing.dilution)


def tag_of(process: Process, n: float) -> tuple[str | None, ...]:
    """Return what a tag's shift belongs to: a developer works on all films alike, and does more or less of it."""
    return (process.developer, process.dilution, format_tag(n))


def measured_sheets(season: Season) -> tuple[Sheet, ...]:
    """Return the sheets with at least one density or bound, after looking that they can be computed with."""
    films, lenses = {film.film for film in season.films}, {lens.lens: lens for lens in season.lenses}
    seen = set()
    for sheet in season.sheets:
        if sheet.sheet in seen:
            raise QuantityError(f"Sheet {sheet.sheet} comes twice; give each sheet once.")
        seen.add(sheet.sheet)
        if sheet.film not in films:
            raise QuantityError(f"Sheet {sheet.sheet} is on a film that isn't known here: {sheet.film}.")
        if sheet.lens not in lenses or sheet.cell not in lenses[sheet.lens].cells:
            raise QuantityError(
                f"Sheet {sheet.sheet} names a lens or cell that isn't known here: {sheet.lens} / {sheet.cell}."
            )
        figures = [sheet.time_s, sheet.effective_s, sheet.exposure_index]
        figures += [] if sheet.development_s is None else [sheet.development_s]
        if not all(isfinite(figure) and figure > 0.0 for figure in figures):
            raise QuantityError(f"Sheet {sheet.sheet} has a time or index that isn't more than 0.")
        for reading in sheet.readings:
            for figure in (reading.zone, reading.net_density, reading.sd, reading.bound_density):
                if figure is not None and not isfinite(figure):
                    raise QuantityError(f"Sheet {sheet.sheet} has a reading that is no finite number.")
    return tuple(sheet for sheet in season.sheets if any(_counts(reading) for reading in sheet.readings))


def _counts(reading: Reading) -> bool:
    """Whether a reading tells anything: beyond zone IX no straight curve is to be expected any more."""
    known = reading.net_density is not None or reading.bound_density is not None
    return known and reading.zone <= _LAST_ZONE


def lay_out(season: Season) -> Layout:
    """Lay a season out.

    Parameters
    ----------
    season : with at least one measured sheet.

    Raises
    ------
    QuantityError
        As :func:`negcat.learning.learn`.
    """
    sheets = measured_sheets(season)
    tests = [test for test in season.tests if len(test.net_density) > 0]
    return _Layer(season, sheets, tests).laid_out()


class _Layer:
    """Gathers rows and unknowns; every method adds one kind."""

    def __init__(self, season: Season, sheets: tuple[Sheet, ...], tests: list[FilmTest]) -> None:
        self.season, self.sheets, self.tests = season, sheets, tests
        self.films = {film.film: film for film in season.films}
        self.lenses = {lens.lens: lens for lens in season.lenses}
        self.unknowns = Unknowns()
        self.of_process: dict[Process, list[Sheet]] = defaultdict(list)
        for sheet in sheets:
            self.of_process[process_of(sheet)].append(sheet)
        self.tests_of: dict[Process, list[FilmTest]] = defaultdict(list)
        for test in tests:
            if test.film in {sheet.film for sheet in sheets}:
                self.tests_of[process_of(test)].append(test)
        self.processes = sorted({*self.of_process, *self.tests_of}, key=repr)
        self.batches = tuple(sorted({sheet.batch for sheet in sheets if sheet.batch is not None}))
        self.rows: dict[str, list[object]] = {name: [] for name in Rows.__dataclass_fields__}

    def laid_out(self) -> Layout:
        """Do it all."""
        self.find_references()
        self.add_unknowns()
        names = self.add_sheets()
        densities = sum(1 for sign in self.rows["sign"] if sign == 0)
        # The sheets' densities first, then their bounds; within each, sheet by sheet as they came.
        order = sorted(range(len(names)), key=lambda i: self.rows["sign"][i] != 0)
        bounds = len(names) - densities
        self.add_tests()
        order += range(len(names), len(self.rows["sign"]))
        floats = {"zone", "lost_log2", "exponent", "log_time", "tens_of_degrees", "density", "sd", "sign"}
        arrays = {
            name: np.array(values, float if name in floats else np.intp) for name, values in self.rows.items()
        }
        arrays["stops"] = arrays["stops"].reshape(-1, 6)
        return Layout(
            shape=shape_of(self.season.target),
            unknowns=self.unknowns,
            sheets=self.sheets,
            batches=self.batches,
            rows=Rows(**arrays).take(np.array(order, np.intp)),
            densities=densities,
            bounds=bounds,
            names=tuple(names[i] for i in order[: len(names)]),
            films=self.films,
            lenses=self.lenses,
            exponents=self.exponents,
            reference_time=self.reference_time,
            reference_temperature=self.reference_temperature,
            reference_tag=self.reference_tag,
            reference_cell=self.reference_cell,
            main_lens=self.main_lens,
            main_process=self.main_process,
            tests={process: tuple(tests) for process, tests in self.tests_of.items()},
        )

    def find_references(self) -> None:
        """Find what others are held against: most sheets first, then by name, so that it is always the same."""
        sheets = self.sheets
        lenses = Counter(sheet.lens for sheet in sheets)
        self.main_lens = _most(lenses)
        self.reference_cell = {}
        for lens in lenses:
            used = Counter(sheet.cell for sheet in sheets if sheet.lens == lens)
            whole = self.lenses[lens].whole
            self.reference_cell[lens] = whole if whole is not None and whole in used else _most(used)
        self.main_process = {
            film: _most(Counter(process_of(sheet) for sheet in sheets if sheet.film == film))
            for film in {sheet.film for sheet in sheets}
        }
        self.reference_tag, self.reference_time, self.reference_temperature = {}, {}, {}
        for process in self.processes:
            own = self.of_process[process]
            tags = Counter(sheet.planned_n for sheet in own)
            # N itself, else the nearest to it; a tag hardly used is no footing.
            usual = [n for n, count in tags.items() if 6 * count >= len(own)]
            self.reference_tag[process] = min(usual, key=lambda n: (abs(n), n)) if usual else 0.0
            things: Sequence[Sheet | FilmTest] = [*own, *self.tests_of.get(process, ())]
            times = [
                sheet.development_s
                for sheet in own
                if sheet.planned_n == self.reference_tag[process] and sheet.development_s is not None
            ] or [thing.development_s for thing in things if thing.development_s is not None]
            self.reference_time[process] = median(times) if times else None
            degrees = [thing.temperature_c for thing in things if thing.temperature_c is not None]
            self.reference_temperature[process] = median(degrees) if degrees else None
        self.exponents = {film: self.exponent_on_record(film) for film in self.main_process}

    def exponent_on_record(self, film: str) -> float:
        """Return the exponent of a film's law, of a table the one it amounts to at the times used."""
        known = self.films[film]
        if known.law == "power" and known.exponent is not None:
            return known.exponent
        if known.law == "none":
            return 1.0
        logs = [
            (log(sheet.time_s / known.from_s), log(max(sheet.effective_s / known.from_s, 1.0)))
            for sheet in self.sheets
            if sheet.film == film and sheet.time_s > known.from_s * _SLACK
        ]
        given, effective = sum(pair[0] for pair in logs), sum(pair[1] for pair in logs)
        return min(max(given / effective, 1.0), 3.0) if effective > 0.0 else 1.0

    def add_unknowns(self) -> None:
        """Add every unknown, with its belief."""
        unknowns = self.unknowns
        for film in sorted(self.main_process):
            unknowns.add("film", (film,), Prior(0.0, beliefs.FILM_SD))
        for process in self.processes:
            if process != self.main_process[process.film]:
                unknowns.add("process", process, Prior(0.0, beliefs.PROCESS_SD))
        for lens in sorted(self.reference_cell):
            if lens != self.main_lens:
                unknowns.add("lens", (lens,), Prior(0.0, beliefs.CELL_SD))
        for sheet in sorted(self.sheets, key=lambda sheet: (sheet.lens, sheet.cell, sheet.time_s)):
            if sheet.cell != self.reference_cell[sheet.lens]:
                unknowns.add("cell", (sheet.lens, sheet.cell), Prior(0.0, beliefs.CELL_SD))
        for sheet in sorted(self.sheets, key=lambda sheet: (sheet.shutter, sheet.time_s)):
            prior = Prior(0.0, 1.0, "hand" if sheet.by_hand else "shutter")
            unknowns.add("shutter_time", (sheet.shutter, sheet.marked_time), prior)
        for sheet in sorted(self.sheets, key=lambda sheet: (repr(process_of(sheet)), sheet.planned_n)):
            process = process_of(sheet)
            away = abs(sheet.planned_n - self.reference_tag[process])
            if away > 0.0:
                prior = Prior(0.0, beliefs.TAG_SD * min(away, 1.0))
                unknowns.add("tag", tag_of(process, sheet.planned_n), prior)
        for film in sorted(self.main_process):
            if any(self.lost_log2(sheet) > 0.0 for sheet in self.sheets if sheet.film == film):
                none = self.films[film].law == "none"
                sd = beliefs.UNRECORDED_EXPONENT_SD if none else beliefs.EXPONENT_SD
                unknowns.add("exponent", (film,), Prior(0.0, sd))
        for process in self.processes:
            unknowns.add_shape(process)
            self.add_contrasts(process)

    def add_contrasts(self, process: Process) -> None:
        things: Sequence[Sheet | FilmTest] = [*self.of_process[process], *self.tests_of.get(process, ())]
        if self.reference_time[process] is not None:
            degrees = {thing.temperature_c for thing in things if thing.temperature_c is not None}
            reference = self.reference_tag[process]
            self.unknowns.add_contrast(process, reference, with_temperature=len(degrees) > 1)
        for sheet in self.of_process[process]:
            if sheet.development_s is None:
                tag = format_tag(sheet.planned_n)
                prior = Prior(7.0 / (7.0 - sheet.planned_n), beliefs.CONTRAST_SD)
                self.unknowns.add("untimed", (*process, tag), prior)
        for test in self.tests_of.get(process, ()):
            if test.development_s is None:
                self.unknowns.add("untimed", (*process, f"test {test.test}"), Prior(1.0, 0.25))
            sd = beliefs.ABSOLUTE_TEST_SD if test.absolute else beliefs.RELATIVE_TEST_SD
            self.unknowns.add("test", (test.test,), Prior(0.0, sd))
            self.unknowns.add("test contrast", (test.test,), Prior(0.0, beliefs.TEST_CONTRAST_SD))

    def lost_log2(self, sheet: Sheet) -> float:
        """Return by how many doublings a sheet's time lies beyond what its film takes without loss."""
        from_s = self.films[sheet.film].from_s
        return log2(sheet.time_s / from_s) if sheet.time_s > from_s * _SLACK else 0.0

    def add_sheets(self) -> list[str]:
        """Add the sheets' rows; return the readings' names."""
        find, names = self.unknowns.find, []
        number = {batch: i for i, batch in enumerate(self.batches)}
        for i, sheet in enumerate(self.sheets):
            process, tag = process_of(sheet), format_tag(sheet.planned_n)
            film = self.films[sheet.film]
            stops = [
                find("film", (sheet.film,)),
                find("process", process),
                find("lens", (sheet.lens,)),
                find("cell", (sheet.lens, sheet.cell)),
                find("shutter_time", (sheet.shutter, sheet.marked_time)),
                -1
                if sheet.planned_n == self.reference_tag[process]
                else find("tag", tag_of(process, sheet.planned_n)),
            ]
            shared = {
                "stops": stops,
                "lost_log2": self.lost_log2(sheet),
                "exponent": self.exponents[sheet.film],
                "exponent_column": find("exponent", (sheet.film,)),
                "own_contrast": -1,
                "batch": -1 if sheet.batch is None else number[sheet.batch],
                "sheet": i,
                **self.contrast_of(sheet, tag),
            }
            to_film = log2(film.exposure_index / sheet.exposure_index)
            for reading in sheet.readings:
                if not _counts(reading):
                    continue
                density, sign = reading.net_density, 0.0
                if density is None or density < LOST:
                    bound = LOST if density is not None else reading.bound_density
                    density = LOST if bound is None else bound
                    sign = -1.0 if reading.net_density is not None or reading.bound == "clearer" else 1.0
                sd = max(reading.sd or 0.0, _LEAST_SD)
                own = {"zone": reading.zone + to_film, "density": density, "sd": sd, "sign": sign}
                self.add_row(**shared, **own)
                names.append(reading.name)
        return names

    def add_tests(self) -> None:
        """Add the tests' steps that lie on the curve: none lost, none far past the target's last zone."""
        find = self.unknowns.find
        most = self.season.target.density(11.0)
        for process, tests in self.tests_of.items():
            for test in tests:
                steps = [
                    (float(x), float(y))
                    for x, y in zip(test.log_exposure, test.net_density, strict=True)
                    if LOST <= y <= most
                ]
                index = self.films[process.film].exposure_index
                if test.absolute:
                    start = log(index / _ZONE_I_LUX_S) / log(10.0)
                elif len(steps) > 1:
                    # Any zero will do; one that puts Zone I's density at Zone I spares the fit the way.
                    xs, ys = zip(*sorted(steps, key=lambda step: step[1]), strict=True)
                    start = -float(np.interp(self.season.target.density(1.0), ys, xs))
                else:
                    continue
                bearing = (("film", (test.film,)), ("process", process), ("test", (test.test,)))
                shared = {
                    "stops": [*(find(*one) for one in bearing), -1, -1, -1],
                    "lost_log2": 0.0,
                    "exponent": 1.0,
                    "exponent_column": -1,
                    "own_contrast": find("test contrast", (test.test,)),
                    "batch": -1,
                    "sheet": -1,
                    **self.contrast_of(test, f"test {test.test}"),
                }  # fmt: skip
                for x, y in steps:
                    zone = 1.0 + (x + start) / _STOP
                    self.add_row(**shared, zone=zone, density=y, sd=_TEST_SD, sign=0.0)

    def contrast_of(self, thing: Sheet | FilmTest, untimed: str) -> dict[str, object]:
        process, find = process_of(thing), self.unknowns.find
        time, degrees = self.reference_time[process], self.reference_temperature[process]
        timed = thing.development_s is not None and time is not None
        warmer = 0.0
        if thing.temperature_c is not None and degrees is not None:
            warmer = (thing.temperature_c - degrees) / 10.0
        return {
            "contrast": find("contrast", process) if timed else find("untimed", (*process, untimed)),
            "rise": find("rise", process) if timed else -1,
            "rise_bend": find("rise bend", process) if timed else -1,
            "log_q10": find("log q10", process) if timed else -1,
            "log_time": log(thing.development_s / time) if thing.development_s and time else 0.0,
            "tens_of_degrees": warmer,
            "bends": find("bend", (*process, "0")),
        }

    def add_row(self, **values: object) -> None:
        for name, value in values.items():
            self.rows[name].append(value)


T = TypeVar("T")


def _most(counted: "Counter[T]") -> T:
    return min(counted, key=lambda key: (-counted[key], repr(key)))
