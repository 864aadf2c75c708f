"""Doing what is marked as out of date, whatever stopped the run that should have done it.

What is written marks the sheets it concerns as out of date, in the same transaction. The marks go last, when these
sheets are computed and those that borrow their base+fog too. So a run may be stopped at any moment: its sheets are
known to the next one. Nothing is locked while pixels are read, so another program may write meanwhile; what was
computed then is computed again.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from negcat.work.archive import Archive
from negcat.work.computing import refresh
from negcat.work.waiting import join_waiting

__all__ = ["CaughtUp", "catch_up"]

ROUNDS = 3
"""Times it is tried while another program writes; after that the next run does it."""


@dataclass(frozen=True)
class CaughtUp:
    """What was done.

    Parameters
    ----------
    sheets : that were out of date.
    joined : (sheet, scan) of scans that waited and are joined now.
    away : the sheets that still wait, because their masters are away.
    """

    sheets: list[str]
    joined: list[tuple[str, str]]
    away: list[str]


def catch_up(archive: Archive, via: str, computed: Iterable[str] = (), since: int | None = None) -> CaughtUp:
    """Bring up to date what is out of date.

    Parameters
    ----------
    archive : the archive, open for writing.
    via : the way in, kept in the history of what is joined.
    computed : marked sheets that this run has computed itself, and left marked.
    since : the catalogue's `writes_of_others` from before it did.
    """
    catalogue = archive.catalogue
    done = set(computed) if catalogue.writes_of_others() == since else set[str]()
    # A new sheet is out of date until it is computed: where none is, no scan can have waited for it.
    joined = join_waiting(archive, via) if set(catalogue.out_of_date()) - done else []
    done -= {sheet for sheet, _ in joined}
    touched = catalogue.out_of_date()
    away: set[str] = set()
    for _ in range(ROUNDS):
        seen = catalogue.writes_of_others()
        away.update(refresh(archive, [sheet for sheet in touched if sheet not in done], leave_marked=True))
        borrowing = catalogue.sheets_borrowing_base_fog({*touched, *done})
        away.update(refresh(archive, borrowing, leave_marked=True))
        with catalogue.writing():
            if catalogue.writes_of_others() == seen:
                catalogue.leave_as_computed(sorted({*touched, *done, *borrowing} - away))
                break
            # Somebody else may have changed just these.
            done.clear()
            touched = catalogue.out_of_date()
    return CaughtUp(touched, joined, [sheet for sheet in touched if sheet in away])
