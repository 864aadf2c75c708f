"""How a batch came out: what was done in the darkroom, and what its sheets have in common."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from negcat.judgement import DEVELOPMENT_TOLERANCE, EXPOSURE_TOLERANCE
from negcat.summaries import apart
from negcat.work.archive import Archive
from negcat.work.naming import known_name
from negcat.work.summing import as_document, tells_development

__all__ = ["batch_story"]

_FIGURES = (
    "sheet",
    "film",
    "lens",
    "cell",
    "stop",
    "time",
    "tag",
    "place",
    "subject",
    "exposed_at",
    "verdict",
    "stage",
    "scan",
    "width",
    "height",
    "planned_n",
    "found_n",
    "found_n_sd",
    "residual_stops",
    "exposure_error_sd",
    "base_fog",
)


def batch_story(archive: Archive, name: str) -> dict[str, Any]:
    """Gather what is known of a batch.

    Parameters
    ----------
    archive : the archive, which is only read.
    name : the batch's, case aside.

    Returns
    -------
    What ``/batch/ID.json`` answers.

    Raises
    ------
    UnknownNameError : no such batch.
    """
    catalogue = archive.catalogue
    name = known_name(catalogue, "batch", name)
    record = catalogue.development(name)
    assert record is not None  # it was just found
    rows = catalogue.sheets_of_batch(name)
    earlier, later = catalogue.batches_beside(name)
    return {
        **record.model_dump(mode="json", exclude={"sheets"}),
        "time_s": record.time.seconds,
        "base_fog_found": as_document(
            [row["base_fog"] for row in rows if row["base_fog_source"] in ("rebate", "spot")]
        ),
        "sheets": [_sheet(row) for row in rows],
        "residual_stops": _common(
            [(row["sheet"], row["residual_stops"]) for row in rows if row["residual_stops"] is not None],
            EXPOSURE_TOLERANCE,
        ),
        "n_error": _common(
            [
                (row["sheet"], row["found_n"] - row["planned_n"])
                for row in rows
                if row["planned_n"] is not None
                and tells_development(row["found_n"], row["found_n_density_sd"])
            ],
            DEVELOPMENT_TOLERANCE,
        ),
        "films": _distinct(rows, "film"),
        "lenses": _distinct(rows, "lens"),
        "earlier": earlier,
        "later": later,
    }


def _sheet(row: Mapping[str, Any]) -> dict[str, Any]:
    own_fog = row["base_fog_source"] in ("rebate", "spot")
    return {
        **{name: row[name] if row[name] != "" else None for name in _FIGURES},
        "base_fog": row["base_fog"] if own_fog else None,
        "n_is_found": tells_development(row["found_n"], row["found_n_density_sd"]),
    }


def _common(values: Sequence[tuple[str, float]], tolerance: float) -> dict[str, Any]:
    """Sum up what sheets have in common, and name those that stand apart by more than the tolerance."""
    figures = [value for _, value in values]
    return {
        **as_document(figures),
        "apart": [values[place][0] for place in apart(figures, tolerance)],
    }


def _distinct(rows: Sequence[Mapping[str, Any]], what: str) -> list[str]:
    return list(dict.fromkeys(str(row[what]) for row in rows))
