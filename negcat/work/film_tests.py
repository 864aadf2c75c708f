"""A film test read: the density under each step of the tablet, typed in or measured in the test's scan.

What was measured in a scan is kept in ``previews/film_tests/`` until the scan, the profile or the record changes;
like every derivative it may be deleted, and is measured again.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from negcat import densitometry, records, scans
from negcat.errors import NegcatError
from negcat.whole_files import written_whole
from negcat.work import scanned
from negcat.work.archive import Archive
from negcat.work.calibrate import TABLET_SIDE
from negcat.work.reading_apart import read_apart

__all__ = ["DENSITOMETER_SD", "ReadTest", "read_film_test"]

DENSITOMETER_SD = 0.01
"""What a transmission densitometer repeats to, in density: taken for densities that were typed in."""

_VERSION = 1


@dataclass(frozen=True)
class ReadTest:
    """A film test with what was read of it.

    Parameters
    ----------
    record : the test.
    log_h : log10 exposure under each step of the tablet, the clearest first, lux·s where `absolute`.
    absolute : whether the exposure under the clearest step is on record.
    densities : of the film under each step, base+fog in it; None where it couldn't be read.
    sds : one standard deviation of each by itself.
    shared : errors that all have in common, covariance, shape (n, n); None for densities typed in.
    read_from : ``densities`` or ``scan``.
    notes : what the user should know, sentences.
    reason : why there are no densities, a sentence; empty where there are.
    """

    record: records.FilmTest
    log_h: tuple[float, ...]
    absolute: bool
    densities: tuple[float | None, ...]
    sds: tuple[float | None, ...]
    shared: NDArray[np.float64] | None
    read_from: Literal["densities", "scan"]
    notes: tuple[str, ...] = ()
    reason: str = ""


def read_film_test(archive: Archive, record: records.FilmTest) -> ReadTest:
    """Read a film test.

    Parameters
    ----------
    archive : the archive; only a derivative may be written.
    record : the test's.

    Returns
    -------
    The test with its densities, or with the reason why there are none; a fault of the scan is such a reason and
    no error, as the other tests of the film are to be read all the same.
    """
    tablet = archive.catalogue.tablet(record.tablet)
    assert tablet is not None  # the record refers to it
    clearest = record.log_exposure if record.log_exposure is not None else 0.0
    log_h = tuple(clearest - (density - tablet.densities[0]) for density in tablet.densities)
    absolute = record.log_exposure is not None
    if record.densities is not None:
        reason = ""
        if len(record.densities) != len(tablet.densities):
            reason = (
                f"the record of test '{record.test}' lists {len(record.densities)} densities, the tablet "
                f"'{record.tablet}' has {len(tablet.densities)} steps; record the test again with one density a step"
            )
        count = len(record.densities)
        return ReadTest(
            record,
            log_h,
            absolute,
            tuple(float(density) for density in record.densities) if not reason else (),
            (DENSITOMETER_SD,) * count if not reason else (),
            None,
            "densities",
            reason=reason,
        )
    try:
        measured = _measured(archive, record, len(tablet.densities))
    except NegcatError as error:
        return ReadTest(record, log_h, absolute, (), (), None, "scan", reason=str(error))
    return ReadTest(
        record,
        log_h,
        absolute,
        tuple(measured["densities"]),
        tuple(measured["sds"]),
        np.array(measured["shared"], dtype=np.float64),
        "scan",
        notes=tuple(measured["notes"]),
    )


class _UnreadScanError(NegcatError):
    """The scan of a film test that can't be measured."""


def _measured(archive: Archive, record: records.FilmTest, steps: int) -> dict[str, Any]:
    """Give what was measured in a test's scan, measuring it where that isn't kept."""
    assert record.scan is not None  # the model holds this
    path = archive.recorded_path(record.scan)
    try:
        status = path.stat()
    except OSError as error:
        raise _UnreadScanError(
            f"the scan of test '{record.test}' is not at {path}; put it there, or record where it lies"
        ) from error
    film = archive.catalogue.film(record.film)
    assert film is not None  # the record refers to it
    header = scans.read_header(path)
    row = archive.catalogue.scan_at(archive.stored_path(path))
    scanner = row["scanner"] if row is not None else None
    if scanner is None:
        scanner = scanned.matching_scanner(
            archive.catalogue.scanners(),
            {"make": header.make, "model": header.model, "software": header.software},
        )
    profile, place = _profile(archive, record, header, scanner, film.channel)
    basis = {
        "version": _VERSION,
        "path": str(path),
        "size": status.st_size,
        "modified_ns": status.st_mtime_ns,
        "profile": profile.number,
        "channel": place,
        "steps": steps,
        "region": None if record.region is None else list(record.region),
    }
    kept = _kept(archive, record.test)
    if kept is not None and kept.get("basis") == basis:
        return kept
    if header.lossy:
        raise _UnreadScanError(
            f"{path} is a JPEG, whose compression moves the codes of the steps; scan the film test to a 16-bit TIFF"
        )
    _, reduced = read_apart(path, scans.take, path, max_side=TABLET_SIDE)
    image = np.ascontiguousarray(reduced.codes[:, :, place])
    try:
        found = densitometry.find_film_steps(image, steps, region=_box(record))
    except NegcatError as error:
        raise _UnreadScanError(f"{path}: {error}") from error
    densities, sds, shared = densitometry.measure_film_steps(image, found, profile.fitted)
    outside = [
        number + 1
        for number, box in enumerate(found.boxes)
        if box is not None and not math.isfinite(densities[number])
    ]
    notes = [found.note] if found.note else []
    if outside:
        low, high = profile.fitted.density_range
        notes.append(
            f"{len(outside)} of the steps lie outside what the scanner's profile reaches, {low:.2f} to {high:.2f}: "
            "they have no density."
        )
    measured = {
        "basis": basis,
        "densities": [float(value) if math.isfinite(value) else None for value in densities],
        "sds": [float(value) if math.isfinite(value) else None for value in sds],
        "shared": [[float(f"{value:.6g}") for value in line] for line in shared],
        "notes": notes,
    }
    _keep(archive, record.test, measured)
    return measured


def _box(record: records.FilmTest) -> tuple[float, float, float, float] | None:
    if record.region is None:
        return None
    left, top, right, bottom = record.region
    return left, top, right, bottom


def _profile(
    archive: Archive,
    record: records.FilmTest,
    header: scans.ScanHeader,
    scanner: str | None,
    film_channel: str,
) -> tuple[scanned.Profile, int]:
    """Choose the profile, and the channel's place, that a test's scan is measured with."""
    if scanner is None:
        raise _UnreadScanError(
            f"the scan of test '{record.test}' names no scanner that is on record; take it once with 'negcat ingest "
            "--scanner NAME' so that its scanner is known"
        )
    channel = scanned.channel_of(film_channel, header.mode)
    if channel is None:
        raise _UnreadScanError(
            f"the film '{record.film}' is measured in {film_channel}, which the grey scan of test '{record.test}' "
            "hasn't got; scan it in colour"
        )
    on, _ = scanned.scan_date(header.taken_at, header.modified_ns)
    profile = scanned.profile_of(archive.catalogue, scanner, header.bits, header.mode, channel[1], on=on)
    if profile is None:
        raise _UnreadScanError(
            f"there is no profile of {scanner} for {header.bits} bits {header.mode}, as the scan of test "
            f"'{record.test}' is; calibrate the scanner with 'negcat calibrate'"
        )
    return profile, channel[0]


def _place(archive: Archive, test: str) -> Path:
    name = hashlib.sha256(test.encode()).hexdigest()[:16]
    return archive.previews / "film_tests" / f"{name}.json"


def _kept(archive: Archive, test: str) -> dict[str, Any] | None:
    try:
        kept = json.loads(_place(archive, test).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return kept if isinstance(kept, Mapping) else None  # type: ignore[return-value]


def _keep(archive: Archive, test: str, measured: Mapping[str, Any]) -> None:
    """Keep what was measured; where the folder can't be written, it is measured again next time."""
    path = _place(archive, test)
    with suppress(OSError):
        archive.previews.mkdir(exist_ok=True)
        path.parent.mkdir(exist_ok=True)
        with written_whole(path) as unfinished:
            unfinished.write_text(json.dumps(measured), encoding="utf-8")
