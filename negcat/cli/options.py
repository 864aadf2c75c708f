"""Options that many commands share."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from negcat.work.archive import Archive, locate

__all__ = ["archive_named", "archive_option", "json_option", "open_archive"]

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


def open_archive(archive_dir: Path | None, *, readonly: bool = False) -> Archive:
    """Open the archive that the user named or stands in."""
    return Archive.open(archive_dir if archive_dir is not None else locate(Path.cwd()), readonly=readonly)
