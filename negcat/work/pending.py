"""What waits: to be developed, scanned, joined, measured."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from negcat.catalogue import AdvisedTime, Catalogue
from negcat.notation import parse_tag
from negcat.places import Address
from negcat.work.archive import Archive
from negcat.work.review_words import minutes

__all__ = ["advised_for", "pending"]


def pending(archive: Archive) -> dict[str, Any]:
    """List what waits for someone.

    Returns
    -------
    ``develop``: groups by film and tag with their sheets, and the times that were accepted for them;
    ``scan``: developed sheets without a scan; ``join``: scans without a sheet and of no film test, with the
    reason; ``measure``: sheets whose scan gave no density, with the reason.
    """
    catalogue = archive.catalogue
    waiting: dict[str, Any] = catalogue.pending()
    for group in waiting["develop"]:
        group["advised"] = advised_for(catalogue, group["film"], group["tag"])
    tested = _film_test_scans(archive)
    waiting["join"] = [scan for scan in waiting["join"] if scan["path"] not in tested]
    return waiting


def _film_test_scans(archive: Archive) -> set[str]:
    """List the scans of film tests as the catalogue keeps paths, however their records write them."""
    real_root = Path(os.path.realpath(archive.root))
    stored = set()
    for written in archive.catalogue.film_test_scans():
        path = archive.master_path(written)
        stored.add(archive.stored_path(path))
        if isinstance(path, Address):
            continue
        # A link on the way there gives the same file another path.
        real = Path(os.path.realpath(path))
        stored.add(str(real))
        if real.is_relative_to(real_root):
            stored.add(real.relative_to(real_root).as_posix())
    return stored


def advised_for(catalogue: Catalogue, film: str, tag: str) -> list[dict[str, Any]]:
    """List the developing times that were accepted for a film and a tag, the latest of each process.

    Returns
    -------
    ``{"developer", "dilution", "temperature_c", "time", "time_s", "low_s", "high_s", "sheets", "effective_from",
    "sentence"}``.
    """
    n = parse_tag(tag).n
    latest: dict[tuple[Any, ...], AdvisedTime] = {}
    for time in catalogue.advised_times():
        if time.film == film and time.tag_n == n:
            latest[time.developer, time.dilution, time.temperature_c] = time
    return [
        {
            "developer": time.developer,
            "dilution": time.dilution,
            "temperature_c": time.temperature_c,
            "time": minutes(time.time_s),
            "time_s": time.time_s,
            "low_s": time.low_s,
            "high_s": time.high_s,
            "sheets": time.sheets,
            "effective_from": time.effective_from,
            "sentence": _advised_words(time),
        }
        for time in latest.values()
    ]


def _advised_words(time: AdvisedTime) -> str:
    process = " ".join(part for part in (time.developer, time.dilution) if part)
    warmth = f", {time.temperature_c:g} °C" if time.temperature_c is not None else ""
    return (
        f"advised {minutes(time.time_s)}{f' in {process}{warmth}' if process else ''} "
        f"({minutes(time.low_s)} to {minutes(time.high_s)})"
    )
