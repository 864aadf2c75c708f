"""Bringing a catalogue that an older negcat laid out up to date, with what it was kept beside it.

All steps are taken in one transaction: stopped in the midst, or on a full disk, the catalogue is what it was. That
helps against no fault in a step itself, and an older negcat can't open what a newer one has brought up to date. So
a copy of the whole catalogue is kept from just before, of the last time only. There must be room for it.
"""

from __future__ import annotations

import contextlib
import re
import sqlite3
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import quote

from negcat.catalogue.migrations import migrations
from negcat.whole_files import written_whole

if TYPE_CHECKING:
    from sqlite_utils import Database

__all__ = ["bring_up_to_date", "copies_kept", "keep_only"]

_KEPT = re.compile(r"\.before-m\d+$")


def copies_kept(catalogue: Path) -> list[Path]:
    """List the copies that are kept of a catalogue as it was before it was brought up to date."""
    return sorted(
        found
        for found in catalogue.parent.glob(f"{catalogue.name}.before-m*")
        if _KEPT.fullmatch(found.name.removeprefix(catalogue.name))
    )


def bring_up_to_date(database: Database, catalogue: Path) -> Path | None:
    """Take the steps that are missing.

    Parameters
    ----------
    database : open for writing and inside a transaction, so that nobody else writes.
    catalogue : its file. The copy gets its name and the first step that was missing: ``negcat.db.before-m010``.

    Returns
    -------
    The copy; None where another program has taken the steps meanwhile.

    Raises
    ------
    OSError : the copy can't be written.
    sqlite3.Error : likewise, or a step can't be taken.
    """
    missing = migrations.pending(database)
    if not missing:
        return None
    before = catalogue.with_name(f"{catalogue.name}.before-{missing[0].name.partition('_')[0]}")
    with written_whole(before, lasting=True) as copy:
        _copy(catalogue, copy)
    migrations.apply(database)
    if any(step.name == "m006_searching" for step in missing):
        # That step took catalogues to have no sheets yet; the triggers do the rest.
        facts = ", ".join(column.name for column in database["sheet_search"].columns if column.name != "id")
        database.execute(
            f"insert into sheet_search ({facts}) select {facts} from sheet_facts"
            " where sheet not in (select sheet from sheet_search)"
        )
    return before


def keep_only(copy: Path, catalogue: Path) -> None:
    """Let go of the copies from earlier times; called when the catalogue is up to date for good."""
    for old in copies_kept(catalogue):
        if old != copy:
            with contextlib.suppress(OSError):
                old.unlink()


def _copy(catalogue: Path, copy: Path) -> None:
    """Copy what was last written for good, which is all there is: by SQLite's online backup, page by page."""
    uri = f"file:{quote(str(catalogue.absolute()))}?mode=ro"
    with (
        contextlib.closing(sqlite3.connect(uri, uri=True)) as source,
        contextlib.closing(sqlite3.connect(copy, isolation_level=None)) as target,
    ):
        # It becomes a file only when it is whole: it needs no journal of its own, which a killed program would leave.
        target.execute("pragma journal_mode=off")
        source.backup(target)
