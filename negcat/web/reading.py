"""What the pages read of the archive, through the work functions.

Every function takes the archive open for reading for itself alone, so that each may run in a thread of its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from weakref import WeakKeyDictionary

from negcat import catalogue
from negcat.catalogue.connection import APPLICATION_ID
from negcat.work import finding, keeping, previews, show
from negcat.work import pending as waiting
from negcat.work.archive import CATALOGUE_NAME, Archive
from negcat.work.drawing import Size
from negcat.work.planning import Equipment

__all__ = [
    "Attached",
    "Target",
    "Wall",
    "attached",
    "described",
    "dossier",
    "found",
    "often_asked",
    "pending",
    "prepare",
    "preview",
    "searching",
    "target",
    "wall",
]


@dataclass(frozen=True)
class Attached:
    """The archive behind the attached databases.

    Parameters
    ----------
    database : Datasette's name for the catalogue.
    root : the archive's folder.
    """

    database: str
    root: Path


@dataclass(frozen=True)
class Wall:
    """One page of the wall.

    Parameters
    ----------
    count : all sheets that fit, whatever the page.
    rows : the sheets of this page, with the fields of ``negcat find --json`` and some more.
    choices : for each filter its values with the number of sheets behind each.
    suiting : the least and the most density range that the search chooses by; None where it doesn't.
    """

    count: int
    rows: Sequence[Mapping[str, Any]]
    choices: Mapping[str, Sequence[tuple[str, int]]]
    suiting: tuple[float, float] | None = None


_known: WeakKeyDictionary[Any, Attached | None] = WeakKeyDictionary()


def attached(datasette: Any) -> Attached | None:
    """Find the first attached database that is an archive's catalogue.

    Looked for once, when Datasette puts itself together: what is attached then decides whether the pages are
    there.
    """
    if datasette not in _known:
        _known[datasette] = next(
            (
                Attached(name, Path(database.path).absolute().parent)
                for name, database in datasette.databases.items()
                if database.path and _is_catalogue(Path(database.path))
            ),
            None,
        )
    return _known[datasette]


def _is_catalogue(path: Path) -> bool:
    """Tell a catalogue by the mark in its header, which even an older or newer negcat's bears."""
    if path.name != CATALOGUE_NAME:
        return False
    try:
        with path.open("rb") as file:
            header = file.read(100)
    except OSError:
        return False
    # SQLite's file format, 1.3: the application's mark is four bytes from byte 68 on.
    return header.startswith(b"SQLite format 3\0") and header[68:72] == APPLICATION_ID.to_bytes(4, "big")


def wall(
    root: Path, chosen: Mapping[str, str], *, sort: str = "newest", limit: int = 48, offset: int = 0
) -> Wall:
    """Search the archive.

    Parameters
    ----------
    root : the archive's folder.
    chosen : filter → value, as in the address.
    sort, limit, offset : order, how many sheets and how many to pass over.

    Raises
    ------
    NotationError : a tag or a date that can't be read.
    UnknownNameError : a print target that isn't on record.
    """
    query = finding.query_of({**chosen, "sort": sort, "limit": limit, "offset": offset})
    with keeping.reading(root) as archive:
        page, choices = finding.find_with_choices(archive, query)
        suiting = archive.catalogue.ranges_suiting_target(query.suits) if query.suits else None
        return Wall(page.count, page.rows, choices, suiting)


def found(
    root: Path, chosen: Mapping[str, str], *, sort: str = "newest", limit: int = 48, offset: int = 0
) -> dict[str, Any]:
    """Search the archive as :func:`wall`, without counting what else could be chosen.

    Returns
    -------
    What ``negcat find --json`` prints.
    """
    query = finding.query_of({**chosen, "sort": sort, "limit": limit, "offset": offset})
    with keeping.reading(root) as archive:
        return finding.page_json(finding.find(archive, query))


def dossier(root: Path, name: str) -> dict[str, Any]:
    """Gather all that is known of a sheet.

    Raises
    ------
    UnknownNameError : there is no such sheet.
    """
    with keeping.reading(root) as archive:
        return show.dossier(archive, name)


@dataclass(frozen=True)
class Target:
    """A print target, drawn out from zone 0 to zone X.

    Parameters
    ----------
    name : the target's.
    zones, densities : of its curve, smooth enough to draw; densities are above base+fog.
    """

    name: str
    zones: tuple[float, ...]
    densities: tuple[float, ...]


def target(archive: Archive, name: str) -> Target:
    """Draw a print target out.

    Parameters
    ----------
    archive : the archive.
    name : of a target that it has.
    """
    curve = Equipment(archive.catalogue).target(name)
    zones = tuple(tenth / 10 for tenth in range(101))
    return Target(curve.name, zones, tuple(float(curve.density(zone)) for zone in zones))


def pending(root: Path) -> dict[str, Any]:
    """Gather what waits."""
    with keeping.reading(root) as archive:
        return waiting.pending(archive)


def preview(root: Path, scan: str, size: Size) -> Path:
    """Find a scan's preview, which is made again where it is missing.

    Raises
    ------
    UnknownNameError : there is no such scan.
    ScanError : its master can't be read any more.
    """
    with keeping.reading(root) as archive:
        return previews.preview_path(archive, scan, size)


def described() -> Mapping[str, Any]:
    """Describe the catalogue's tables and columns."""
    return catalogue.describe()


def often_asked() -> Sequence[catalogue.Asked]:
    """List what is often asked of the catalogue's tables."""
    return catalogue.OFTEN_ASKED


def searching(text: str) -> tuple[str, Mapping[str, str]]:
    """Write the condition that a table of sheets is searched by words with, and its parameters."""
    return catalogue.searching(text)


def prepare(connection: Any) -> None:
    """Give a connection to the catalogue what the questions often asked of it need."""
    catalogue.prepare(connection)
