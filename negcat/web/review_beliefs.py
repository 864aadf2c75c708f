"""What was believed when a sheet was made, beside what is believed now, as its page shows it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from negcat.web.summed import number
from negcat.web.typesetting import fixed

__all__ = ["Believed", "believed"]


@dataclass(frozen=True)
class Believed:
    """Then and now.

    Parameters
    ----------
    changes : each advice that was accepted since, and from when on it holds.
    rows : what, then, now.
    """

    changes: tuple[tuple[str, str], ...]
    rows: tuple[tuple[str, str, str], ...]


def believed(dossier: Mapping[str, Any]) -> Believed | None:
    """Set what is believed now beside what was believed then; None where it is the same.

    Parameters
    ----------
    dossier : as ``negcat show --json`` prints it.
    """
    now = dossier.get("believed_now")
    if not now:
        return None
    exposure = dossier.get("exposure") or {}
    rows = [
        ("Exposure index", number(dossier.get("exposure_index")), number(now["exposure_index"])),
        (
            "Given beyond plan, stops",
            fixed(exposure.get("decision_stops"), signed=True),
            fixed(now["decision_stops"], signed=True),
        ),
    ]
    for then, later in zip(dossier.get("readings") or (), now["readings"], strict=False):
        rows.append(
            (f"Zone given, {then['name']}", fixed(then.get("given_zone"), 1), fixed(later["given_zone"], 1))
        )
    return Believed(
        tuple((str(one["sentence"]), str(one["effective_from"]).replace("T", " ")) for one in now["changes"]),
        tuple((what, then or "–", later or "–") for what, then, later in rows),
    )
