"""Commands that make an archive and take records."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import click
from click.core import ParameterSource

from negcat.cli.options import archive_named, archive_option, json_option, open_archive
from negcat.cli.output import print_json, warn
from negcat.work.archive import Archive
from negcat.work.taking import take_record_files

KINDS = {
    "films": "film",
    "shutters": "shutter",
    "lenses": "lens",
    "holders": "holder",
    "scanners": "scanner",
    "tablets": "tablet",
    "print_targets": "print target",
    "sheets": "sheet",
    "developments": "development",
    "film_tests": "film test",
    "dated_changes": "dated change",
    "advised_times": "advised time",
}
PLURALS = {"shutter": "shutters", "lens": "lenses"}


@click.command()
@click.argument("directory", metavar="[DIR]", required=False, type=click.Path(path_type=Path))
@archive_named("The same as DIR.")
@json_option
@click.pass_context
def init(ctx: click.Context, directory: Path | None, archive_dir: Path | None, as_json: bool) -> None:
    """Make an archive in DIR (the current folder, unless given).

    The folder may hold scans already: they are never written to. An archive that is there already is never
    overwritten.

    \b
    Example:
      negcat init ~/negatives
    """
    named = ctx.get_parameter_source("archive_dir") is ParameterSource.COMMANDLINE
    if directory is not None and named:
        raise click.UsageError("name the folder once, as DIR or with --archive.")
    with Archive.create(directory or archive_dir or Path()) as archive:
        root = archive.root
    if as_json:
        print_json({"archive": str(root)})
    else:
        click.echo(f"An archive is ready in {root}.")


@click.command()
@click.argument(
    "files", metavar="FILE...", nargs=-1, required=True, type=click.Path(path_type=Path, readable=False)
)
@archive_option
@json_option
def record(files: tuple[Path, ...], archive_dir: Path | None, as_json: bool) -> None:
    """Take record files, in YAML, JSON or CSV.

    A file is taken whole or not at all; every fault is named with its place. Files of one command may name each
    other's films, lenses and sheets. Taking the same record again changes nothing; a changed one updates the
    archive, which keeps the old values in the record's history.

    \b
    Examples:
      negcat record equipment.yaml may.yaml developments.yaml
      negcat record field-notes.csv
    """
    with open_archive(archive_dir) as archive:
        outcome = take_record_files(archive, files)
    for sentence in outcome.warnings:
        warn(sentence)
    if as_json:
        print_json(outcome.as_json())
        return
    for word, counts in (("Added", outcome.added), ("Changed", outcome.updated)):
        if counts:
            click.echo(f"{word} {counted(counts)}.")
    if not outcome.added and not outcome.updated:
        click.echo(f"Nothing new: {counted(outcome.unchanged)} already so in the archive.")
    for sheet, scan in outcome.joined:
        click.echo(f"Scan {scan}, which was waiting, is joined to {sheet}.")


def counted(counts: Mapping[str, int]) -> str:
    """Write counts as a phrase: ``2 films, 24 sheets``."""
    phrases = []
    for kind, number in counts.items():
        word = KINDS.get(kind, kind)
        phrases.append(f"{number} {word if number == 1 else PLURALS.get(word, word + 's')}")
    return ", ".join(phrases) if phrases else "nothing"
