"""Commands that back the catalogue up and put it back."""

from __future__ import annotations

from pathlib import Path

import click

from negcat.cli.options import archive_named, archive_option, json_option
from negcat.cli.output import print_json
from negcat.work.archive import locate


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--overwrite", is_flag=True, help="Replace an earlier backup of that name.")
@archive_option
@json_option
def backup(file: Path, overwrite: bool, archive_dir: Path | None, as_json: bool) -> None:
    """Copy the catalogue to FILE: all records, findings and what is known of the scans.

    The copy is of one moment, also while another program writes, and is looked over before it gets its name. It is an
    SQLite file like the catalogue itself. Masters are not in it; 'negcat export bag' packs them too.

    \b
    Examples:
      negcat backup /mnt/backup/negcat-2026-05-03.db
      negcat backup /mnt/backup/negcat.db --overwrite
    """
    from negcat.work.backing_up import back_up

    done = back_up(archive_dir or locate(Path.cwd()), file, overwrite=overwrite)
    if as_json:
        print_json(done.as_json())
    else:
        click.echo(
            f"{file}: {done.sheets} sheets, {done.scans} scans, {done.size_bytes / 1e6:.1f} MB; it is sound."
        )


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@archive_named(
    "The archive, or a folder to be one; without it, the nearest parent of the current folder that is one."
)
@json_option
def restore(file: Path, archive_dir: Path | None, as_json: bool) -> None:
    """Put the catalogue back from FILE, a backup.

    FILE is looked over first. What the catalogue held is kept beside it as negcat.db.replaced-DAY. The change is one
    step: stopped at any moment, the archive has either the old catalogue or the new one. Programs that have the
    archive open, like 'negcat serve', see the new one at once. Masters and previews are not touched.

    \b
    Examples:
      negcat restore /mnt/backup/negcat-2026-05-03.db
      negcat restore /mnt/backup/negcat.db --archive ~/negatives
    """
    from negcat.work.backing_up import restore as put_back

    done = put_back(archive_dir or locate(Path.cwd()), file)
    if as_json:
        print_json(done.as_json())
        return
    click.echo(f"{done.archive} has the catalogue of {file} again: {done.sheets} sheets, {done.scans} scans.")
    if done.replaced:
        click.echo(f"What it held before is kept in {done.replaced}.")
    if done.brought_up_to_date:
        click.echo("It was made by an older negcat, and was brought up to date.")
    click.echo("Scans taken since that backup are not in it: 'negcat ingest' takes them again.")
