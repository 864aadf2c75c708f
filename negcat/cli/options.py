"""Options that many commands share."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from negcat.errors import OlderArchiveError, ScanError
from negcat.places import Address, place_of
from negcat.work.archive import Archive, locate

__all__ = [
    "PlaceType",
    "archive_named",
    "archive_option",
    "brought_up_to_date",
    "json_option",
    "open_archive",
    "sheet_filters",
    "workers_named",
    "workers_options",
]


class PlaceType(click.Path):
    """A path, or an address that fsspec reaches."""

    def __init__(self, *, exists: bool = False) -> None:
        super().__init__(path_type=Path, exists=exists, readable=exists)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Read what was typed."""
        try:
            place = place_of(value)
        except ScanError as error:
            self.fail(str(error), param, ctx)
        return place if isinstance(place, Address) else super().convert(value, param, ctx)


T = TypeVar("T")
Decorated = Callable[..., Any]


def archive_named(meaning: str) -> Callable[[Decorated], Decorated]:
    """Give a command ``--archive DIR``, with what it means there."""
    return click.option(
        "-a",
        "--archive",
        "archive_dir",
        metavar="DIR",
        envvar="NEGCAT_ARCHIVE",
        show_envvar=True,
        type=click.Path(path_type=Path),
        help=meaning,
    )


archive_option = archive_named(
    "The archive; without it, the nearest parent of the current folder that is one."
)


def json_option(command: Decorated) -> Decorated:
    """Give a command ``--json``."""
    return click.option(
        "--json", "as_json", is_flag=True, help="Print one JSON document on standard output."
    )(command)


_FILTERS: tuple[Callable[[Decorated], Decorated], ...] = (
    click.argument("text", required=False),
    click.option("--cell", metavar="C", help="The cell it was made with."),
    click.option("--lens", metavar="L", help="The lens."),
    click.option("--tag", metavar="T", help="The development tag: N, N+1, N-1½ …"),
    click.option("--film", metavar="F", help="The film."),
    click.option("--developer", metavar="D", help="The developer."),
    click.option("--batch", metavar="B", help="The development batch."),
    click.option("--place", metavar="P", help="The place, or a part of its name."),
    click.option(
        "--suits",
        metavar="TARGET",
        help="The print target whose range the negative has, near enough: long-scale, or any on record.",
    ),
    click.option("--since", metavar="DATE", help="Exposed on this date or later."),
    click.option("--until", metavar="DATE", help="Exposed on this date or earlier."),
    click.option(
        "--verdict", metavar="V", help="thin, dense, flat, contrasty, 'as planned', unsure, 'not measured'."
    ),
)


def sheet_filters(command: Decorated) -> Decorated:
    """Give a command the filters that sheets are found by, and TEXT."""
    for filtered in reversed(_FILTERS):
        command = filtered(command)
    return command


def workers_options(what: str) -> Callable[[Decorated], Decorated]:
    """Give a command ``--jobs N`` and ``--workers dask://HOST:PORT``, with what is read by them."""

    def given(command: Decorated) -> Decorated:
        command = click.option(
            "--workers",
            "cluster",
            metavar="dask://HOST:PORT",
            help=f"Read {what} on a Dask cluster, whose workers see them under the same paths or addresses.",
        )(command)
        return click.option(
            "--jobs",
            metavar="N",
            type=click.IntRange(1, 64),
            help=f"How many of {what} are read at once, each in a process of its own; without it, one for each core, "
            "at most eight.",
        )(command)

    return given


def workers_named(jobs: int | None, cluster: str | None) -> int | str:
    """Give what :func:`negcat.work.workers.executor` is asked for.

    Raises
    ------
    click.UsageError : a cluster is named otherwise than ``dask://HOST:PORT``, or with a number of jobs.
    """
    if cluster is not None and (jobs is not None or not cluster.startswith("dask://")):
        raise click.UsageError(
            "--workers names a cluster as dask://HOST:PORT and goes without --jobs: the cluster has as many workers as "
            "were started."
        )
    from negcat.work.workers import usual_workers

    return cluster or jobs or usual_workers()


def open_archive(archive_dir: Path | None, *, readonly: bool = False) -> Archive:
    """Open the archive that the user named or stands in; one that an older negcat made is brought up to date."""
    return brought_up_to_date(archive_dir, lambda root: Archive.open(root, readonly=readonly))


def brought_up_to_date(archive_dir: Path | None, asked: Callable[[Path], T]) -> T:
    """Do something with the archive that the user named or stands in, which is brought up to date where it must be."""
    root = archive_dir if archive_dir is not None else locate(Path.cwd())
    try:
        return asked(root)
    except OlderArchiveError:
        Archive.open(root).close()
        return asked(root)
