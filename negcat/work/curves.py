"""A film's characteristic curves and development times, as its film tests tell them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from negcat import sensitometry
from negcat.errors import QuantityError
from negcat.notation import format_tag
from negcat.sensitometry import ContrastLaw, ContrastTest, Figure, FilmCurve, FilmFigures, TargetCurve
from negcat.work.archive import Archive
from negcat.work.film_tests import ReadTest, read_film_test
from negcat.work.naming import known_name
from negcat.work.planning import Equipment

__all__ = [
    "CURVE_STEP",
    "CurveTest",
    "FilmCurves",
    "Process",
    "curves_json",
    "film_curves",
    "times_from_sheets",
]

CURVE_STEP = 0.05
"""Log exposure between the points that a curve is written down at."""

_CONTRAST_POINTS = 41
_ONE_TIME = (
    "the tests were all developed for one time; another test of half as long again, or two thirds of it, would give "
    "times"
)


@dataclass(frozen=True)
class CurveTest:
    """One test, with its curve and figures.

    Parameters
    ----------
    read : what was read of it.
    curve, figures : None with the `reason`.
    contrast : reached by its development, 1 for N.
    reason : why there is no curve, a sentence.
    """

    read: ReadTest
    curve: FilmCurve | None
    figures: FilmFigures | None
    contrast: Figure
    reason: str = ""


@dataclass(frozen=True)
class Process:
    """A developer and its dilution.

    Parameters
    ----------
    developer, dilution : which.
    tests : developed in it, by temperature and time.
    law : contrast against time; None with the `reason`.
    reason : why there is no law.
    """

    developer: str
    dilution: str | None
    tests: tuple[CurveTest, ...]
    law: ContrastLaw | None
    reason: str


@dataclass(frozen=True)
class FilmCurves:
    """All that a film's tests tell.

    Parameters
    ----------
    film : its name.
    exposure_index : in use for it.
    target : the print target that contrast is held against.
    temperature_c : that times are asked for; None: that of the tests.
    processes : by developer and dilution.
    """

    film: str
    exposure_index: float
    target: TargetCurve
    temperature_c: float | None
    processes: tuple[Process, ...]


def film_curves(
    archive: Archive, film: str, *, developer: str | None = None, temperature_c: float | None = None
) -> FilmCurves:
    """Fit every test of a film, and its contrast against time.

    Parameters
    ----------
    archive : the archive.
    film : the film's name, case aside.
    developer : only tests in this developer, case aside; None for all.
    temperature_c : temperature that times are given for; None for that of the tests.

    Raises
    ------
    UnknownNameError : no such film.
    """
    catalogue = archive.catalogue
    film = known_name(catalogue, "film", film)
    record = catalogue.film(film)
    assert record is not None  # it was just found
    target = Equipment(catalogue).target(None)
    groups: dict[tuple[str, str | None], list[CurveTest]] = {}
    for test in catalogue.film_tests_of(film):
        if developer is not None and test.developer.casefold() != developer.strip().casefold():
            continue
        one = _fitted(read_film_test(archive, test), record.base_fog, target)
        groups.setdefault((test.developer, test.dilution), []).append(one)
    return FilmCurves(
        film,
        record.exposure_index or record.box_speed,
        target,
        temperature_c,
        tuple(
            _process(key, tests)
            for key, tests in sorted(groups.items(), key=lambda one: (one[0][0].casefold(), one[0][1] or ""))
        ),
    )


def _fitted(read: ReadTest, base_fog: float | None, target: TargetCurve) -> CurveTest:
    if read.reason:
        return CurveTest(read, None, None, Figure(None, None, read.reason), read.reason)
    shared = None if read.shared is None else tuple(tuple(float(x) for x in row) for row in read.shared)
    try:
        curve, figures, contrast = _fit(
            read.log_h, read.densities, read.sds, read.absolute, shared, base_fog, target
        )
    except QuantityError as error:
        reason = f"test '{read.record.test}': {error}"
        return CurveTest(read, None, None, Figure(None, None, reason), reason)
    return CurveTest(read, curve, figures, contrast)


@lru_cache(maxsize=256)
def _fit(
    log_h: tuple[float, ...],
    densities: tuple[float | None, ...],
    sds: tuple[float | None, ...],
    absolute: bool,
    shared: tuple[tuple[float, ...], ...] | None,
    base_fog: float | None,
    target: TargetCurve,
) -> tuple[FilmCurve, FilmFigures, Figure]:
    """Fit a test; kept, as a page asks for the same tests again and again and each takes a tenth of a second."""
    curve = sensitometry.fit_film_curve(
        log_h,
        [math.nan if value is None else value for value in densities],
        [math.nan if value is None else value for value in sds],
        absolute=absolute,
        shared=None if shared is None else np.array(shared),
        recorded_base_fog=base_fog,
    )
    return curve, sensitometry.film_figures(curve), sensitometry.contrast_of(curve, target)


def _process(key: tuple[str, str | None], tests: Sequence[CurveTest]) -> Process:
    ordered = sorted(
        tests, key=lambda one: (one.read.record.temperature_c or 0.0, one.read.record.time.seconds)
    )
    known = [
        ContrastTest(
            one.read.record.time.seconds, one.read.record.temperature_c, one.contrast.value, one.contrast.sd
        )
        for one in ordered
        if one.contrast.value is not None and one.contrast.sd is not None
    ]
    law = sensitometry.fit_contrast(known)
    reason = ""
    if law is None:
        reason = _ONE_TIME if known else "no test in this developer tells its contrast"
    return Process(key[0], key[1], tuple(ordered), law, reason)


def curves_json(found: FilmCurves) -> dict[str, Any]:
    """Give what ``negcat curve --json`` prints and ``/film/NAME.json`` holds.

    Notes
    -----
    Every figure is ``value``, ``sd``, ``note`` and ``at_least``; without a value the note says why.
    """
    return {
        "film": found.film,
        "exposure_index": found.exposure_index,
        "print_target": found.target.name,
        "processes": [_process_json(process, found) for process in found.processes],
    }


def _process_json(process: Process, found: FilmCurves) -> dict[str, Any]:
    law, temperature_c = process.law, found.temperature_c
    return {
        "developer": process.developer,
        "dilution": process.dilution,
        "zones": _zones(process, found.exposure_index),
        "tests": [_test_json(test) for test in process.tests],
        "contrast_law": None if law is None else _law_json(law),
        "times_at_c": None
        if law is None
        else temperature_c
        if temperature_c is not None
        else law.reference_c,
        "times": [] if law is None else _times_json(law, temperature_c),
        "reason": process.reason,
    }


def _zones(process: Process, index: float) -> list[dict[str, Any]]:
    """Place the zones on the scales of log exposure that a process's tests have.

    Exposures in lux·s put them where the index in use does: zone I at 0.63 of 0.8/index lux·s. Without lux·s zone
    I is point m of the first test that has one.
    """
    scales = []
    for absolute in sorted({test.read.absolute for test in process.tests}, reverse=True):
        first, by = None, ""
        if absolute:
            first = math.log10(sensitometry.ZONE_I_SHARE * 0.8 / index)
            by = f"at exposure index {index:g}"
        else:
            for test in process.tests:
                if not test.read.absolute and test.figures and test.figures.log_h_m.value is not None:
                    first = test.figures.log_h_m.value
                    by = f"with zone I at 0.10 above base+fog of test {test.read.record.test}"
                    break
        if first is not None:
            places = [first + sensitometry.STOP * (zone - 1) for zone in range(11)]
            scales.append({"absolute": absolute, "by": by, "log_h": places})
    return scales


def _law_json(law: ContrastLaw) -> dict[str, Any]:
    times = np.geomspace(law.tried_s[0], law.tried_s[1], _CONTRAST_POINTS)
    logs, sds = law.log_contrast(times)
    return {
        "form": law.form,
        "limit": asdict(law.limit),
        "rate_per_min": asdict(law.rate_per_min),
        "q10": asdict(law.q10),
        "q10_fitted": law.q10_fitted,
        "batch_sd": law.batch_sd,
        "tests": law.tests,
        "reference_c": law.reference_c,
        "tried_s": list(law.tried_s),
        "line": [
            {"time_s": float(time), "contrast": float(np.exp(log)), "sd": float(np.exp(log) * sd)}
            for time, log, sd in zip(times, logs, sds, strict=True)
        ],
    }


def _times_json(law: ContrastLaw, temperature_c: float | None) -> list[dict[str, Any]]:
    return [{"tag": format_tag(n), **asdict(law.time_for(n, temperature_c))} for n in sensitometry.TAGS]


def _test_json(test: CurveTest) -> dict[str, Any]:
    record, curve = test.read.record, test.curve
    fog = None if curve is None else curve.base_fog.value
    n = None
    if test.contrast.value is not None:
        sd = None if test.contrast.sd is None else 7.0 * test.contrast.sd / test.contrast.value**2
        n = Figure(7.0 - 7.0 / test.contrast.value, sd, test.contrast.note)
    return {
        "test": record.test,
        "tablet": record.tablet,
        "temperature_c": record.temperature_c,
        "time": record.time.text,
        "time_s": record.time.seconds,
        "log_exposure": record.log_exposure,
        "absolute": test.read.absolute,
        "read_from": test.read.read_from,
        "scan": record.scan,
        "region": None if record.region is None else list(record.region),
        "steps": [
            {
                "step": number,
                "log_h": log_h,
                "density": density,
                "sd": sd,
                "net_density": None if density is None or fog is None else density - fog,
            }
            for number, (log_h, density, sd) in enumerate(
                zip(test.read.log_h, test.read.densities, test.read.sds, strict=False), start=1
            )
        ],
        "curve": [] if curve is None else _points(curve),
        "scatter": None if curve is None else curve.scatter,
        "figures": None if test.figures is None else asdict(test.figures),
        "contrast": asdict(test.contrast),
        "found_n": asdict(n if n is not None else Figure(None, None, test.contrast.note)),
        "notes": list(test.read.notes),
        "reason": test.reason,
    }


def _points(curve: FilmCurve) -> list[dict[str, Any]]:
    every = max(round(CURVE_STEP / (curve.log_h[1] - curve.log_h[0])), 1)
    places = sorted({*range(0, len(curve.log_h), every), len(curve.log_h) - 1})
    fog = curve.base_fog.value
    return [
        {
            "log_h": curve.log_h[place],
            "density": curve.densities[place],
            "net_density": None if fog is None else curve.densities[place] - fog,
            "sd": curve.sds[place],
        }
        for place in places
    ]


def times_from_sheets(archive: Archive, film: str, developer: str | None = None) -> list[dict[str, Any]]:
    """Give the development times that the film's ordinary sheets advise, its film tests joined in where typed.

    Parameters
    ----------
    archive : the archive.
    film : its name.
    developer : only in this developer, case aside.

    Returns
    -------
    As ``development`` of ``negcat review --json``, one for each developer and tag; empty without sheets measured.
    """
    # Imported here: learning from the sheets takes longer to load than the tests take to read.
    from negcat.catalogue import Query
    from negcat.work.reviewing import review, review_json

    done = review(archive, Query(film=film, developer=developer, limit=None))
    return [one for one in review_json(done)["development"] if one["film"] == film]
