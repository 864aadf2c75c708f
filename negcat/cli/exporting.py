"""Commands that take something out of the archive: a group that each kind of export adds itself to."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path

import click

from negcat.cli.exporting_site import site
from negcat.cli.exporting_xmp import xmp
from negcat.cli.options import archive_option, json_option, open_archive
from negcat.cli.output import print_json, progress, table, warn
from negcat.cli.taking import counted
from negcat.work.writing_files import refuse_existing, write_file


@click.group()
def export() -> None:
    """Take the archive out: its records, its tables, all of it in a bag, a form for the field.

    \b
    Examples:
      negcat export records records.yaml
      negcat export csv tables
      negcat export bag /mnt/safe/negatives-2026
      negcat export xmp side-files
      negcat export site /media/stick/negatives
      negcat export form field.html
    """


export.add_command(xmp)
export.add_command(site)


@export.command()
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--overwrite", is_flag=True, help="Replace FILE where it is there already.")
@json_option
@archive_option
def records(file: Path, overwrite: bool, as_json: bool, archive_dir: Path | None) -> None:
    """Write all records to FILE, a record file in YAML or JSON, by its ending.

    A new archive that takes it has the same records, and exports the same file again. Scans and scanner profiles are
    not in it: 'negcat ingest' and 'negcat calibrate' make them anew. What is too much for one file goes on in further
    ones beside it.

    \b
    Examples:
      negcat export records records.yaml
      negcat export records records.json --overwrite
    """
    from negcat.work.export_records import export_records

    with open_archive(archive_dir, readonly=True) as archive:
        left = export_records(archive, file, overwrite=overwrite)
    if as_json:
        print_json(left.as_json())
    else:
        click.echo(f"{' '.join(map(str, left.files))}: {counted(left.counts)}.")
        if len(left.files) > 1:
            click.echo("They belong together: take them by one 'negcat record'.")


@export.command("csv")
@click.argument("directory", metavar="DIR", type=click.Path(path_type=Path))
@json_option
@archive_option
def tables(directory: Path, as_json: bool, archive_dir: Path | None) -> None:
    """Write the archive's tables into the new folder DIR: CSV files, and what their columns hold.

    Records, readings, developments, scans and all that was found and computed; README.txt tells what each column
    holds, in which unit. What was written stands there letter by letter: have a spreadsheet take the columns as text.
    sheets_record.csv is what 'negcat record' takes.

    \b
    Example:
      negcat export csv tables
    """
    from negcat.work.export_tables import export_tables

    with open_archive(archive_dir, readonly=True) as archive:
        left = export_tables(archive, directory)
    if as_json:
        print_json(left.as_json())
    else:
        click.echo(
            f"{directory}: {len(left.rows)} tables, {sum(left.rows.values())} rows; README.txt describes them."
        )
    for name, cells in left.like_formulas.items():
        warn(
            f"{name}: a spreadsheet could take {cells} of its cells for formulas, as they begin with = + - or @; have "
            "it take the columns as text"
        )


@export.command()
@click.argument("directory", metavar="DIR", type=click.Path(path_type=Path))
@click.option(
    "--masters/--no-masters",
    default=True,
    show_default=True,
    help="Copy the masters too; else the bag lists where they are to be fetched from, and is whole when they are.",
)
@json_option
@archive_option
def bag(directory: Path, masters: bool, as_json: bool, archive_dir: Path | None) -> None:
    """Pack the archive into the new folder DIR: a bag (BagIt, RFC 8493) that any BagIt program can check.

    Catalogue (SQLite and SQL text), records, tables and masters, each with its SHA-256 and SHA-512. Masters are copied
    and seen to be what was taken; one that is missing or was changed is named, here and in the bag. Previews are left
    out: they are made anew.

    \b
    Examples:
      negcat export bag /mnt/safe/negatives-2026
      negcat export bag lists-only --no-masters
    """
    from negcat.work.export_bag import export_bag

    with open_archive(archive_dir, readonly=True) as archive:
        left = export_bag(
            archive,
            directory,
            masters=masters,
            watch=lambda items, number: progress(items, number, "Packing masters"),
        )
    if as_json:
        print_json(left.as_json())
    else:
        if left.failed:
            click.echo(
                table(
                    ["scan", "shows", "status", "path", "reason"],
                    [[one.scan, one.shows, one.status, one.path, one.reason] for one in left.failed],
                )
            )
        packed = ", ".join(f"{number} {status}" for status, number in left.counts.items()) or "none"
        click.echo(f"{directory}: {left.size_bytes / 1e6:.1f} MB; masters: {packed}.")
    if left.failed:
        sys.exit(1)


@export.command()
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--overwrite", is_flag=True, help="Replace FILE where it is there already.")
@json_option
@archive_option
def form(file: Path, overwrite: bool, as_json: bool, archive_dir: Path | None) -> None:
    """Write a form for the field to FILE: one HTML page that needs no network.

    Opened on a phone it takes sheet records with the archive's films, lenses, cells and holders, keeps them through
    reloads and empty batteries, and saves a record file that `negcat record` takes.

    \b
    Example:
      negcat export form field.html
    """
    from negcat.work.field_form import field_form

    refuse_existing(file, overwrite=overwrite)
    with open_archive(archive_dir, readonly=True) as archive:
        page = field_form(archive, made=datetime.now(tz=UTC).astimezone())
    write_file(file, page, overwrite=overwrite)
    if as_json:
        print_json({"file": str(file), "bytes": len(page)})
    else:
        click.echo(f"{file}: {round(len(page) / 1000)} kB; open it on the phone that comes along.")
