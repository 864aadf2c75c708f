"""Commands that print papers, as PDF files."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import click

from negcat.cli.options import archive_option, json_option, open_archive
from negcat.cli.output import print_json, warn
from negcat.work.archive import Archive
from negcat.work.writing_files import refuse_existing, write_file

if TYPE_CHECKING:
    from negcat.papers import Drawn, PaperSize

Draw = Callable[[Archive, "PaperSize", date], "Drawn"]
Decorated = Callable[..., Any]

# What draws is imported where it is called: its libraries take longest of all to load, and --help needs none.


@click.group("print")
def print_papers() -> None:
    """Print papers for the bag, the sink and the sleeve, as PDF files.

    \b
    Examples:
      negcat print field-sheet field.pdf
      negcat print crib crib.pdf --paper letter
      negcat print labels labels.pdf BW-01 BW-02
    """


def _paper_options(command: Decorated) -> Decorated:
    """Give a command FILE, --paper, --overwrite, --archive and --json."""
    options = (
        click.argument("file", type=click.Path(path_type=Path, dir_okay=False)),
        click.option(
            "--paper",
            type=click.Choice(("a4", "letter")),
            default="a4",
            show_default=True,
            help="Size of the paper: A4, or US Letter.",
        ),
        click.option("--overwrite", is_flag=True, help="Replace FILE where it is there already."),
        json_option,
        archive_option,
    )
    for option in reversed(options):
        command = option(command)
    return command


def _write(
    archive_dir: Path | None, file: Path, paper: str, overwrite: bool, as_json: bool, draw: Draw
) -> None:
    """Draw a paper, write it, and say so."""
    refuse_existing(file, overwrite=overwrite)
    size = cast("PaperSize", paper)
    with open_archive(archive_dir, readonly=True) as archive:
        drawn = draw(archive, size, datetime.now(tz=UTC).astimezone().date())
    write_file(file, drawn.pdf, overwrite=overwrite)
    wanting = "".join(sorted(drawn.wanting))
    if wanting:
        warn(
            f"no font at hand has the letters {wanting}, which stand as � on the paper; for Chinese, Japanese and "
            "Korean install negcat with its extra 'cjk'"
        )
    if as_json:
        print_json({"file": str(file), "pages": drawn.pages, "paper": paper, "letters_wanting": wanting})
    else:
        click.echo(f"{file}: {drawn.pages} {'page' if drawn.pages == 1 else 'pages'}, {paper}.")


@print_papers.command("field-sheet")
@_paper_options
@click.option(
    "--records",
    metavar="N",
    type=click.IntRange(1, 200),
    default=2,
    show_default=True,
    help="How many blank records; a page takes two.",
)
@click.option("--loaded", is_flag=True, help="A record for every side that is loaded and not exposed.")
@click.option("--holder", "holders", metavar="H", multiple=True, help="Records for this holder's sides.")
@click.option("--first", metavar="ID", help="Number the records, beginning with this id.")
def field_sheet(
    file: Path,
    paper: str,
    overwrite: bool,
    as_json: bool,
    archive_dir: Path | None,
    records: int,
    loaded: bool,
    holders: tuple[str, ...],
    first: str | None,
) -> None:
    """Print a field sheet to be filled in by pencil to FILE: blank, or with holder, side and film filled in.

    \b
    Examples:
      negcat print field-sheet field.pdf --records 8
      negcat print field-sheet field.pdf --loaded --first BW-25
      negcat print field-sheet field.pdf --holder 5 --holder 6
    """
    from negcat.work import papers

    _write(
        archive_dir,
        file,
        paper,
        overwrite,
        as_json,
        lambda archive, size, printed: papers.field_sheet(
            archive, size=size, printed=printed, count=records, loaded=loaded, named=holders, first=first
        ),
    )


@print_papers.command()
@_paper_options
@click.option("--film", "films", metavar="F", multiple=True, help="Only this film.")
@click.option("--lens", "lenses", metavar="L", multiple=True, help="Only this lens.")
def crib(
    file: Path,
    paper: str,
    overwrite: bool,
    as_json: bool,
    archive_dir: Path | None,
    films: tuple[str, ...],
    lenses: tuple[str, ...],
) -> None:
    """Print the crib for the bag to FILE: indexes, long times, developing times, cells, close focus.

    Without --film and --lens it tells of all there are.

    \b
    Example:
      negcat print crib crib.pdf --film "Marl 400" --lens "Tressick 150"
    """
    from negcat.work.crib import crib as draw_crib

    _write(
        archive_dir,
        file,
        paper,
        overwrite,
        as_json,
        lambda archive, size, printed: draw_crib(
            archive, size=size, printed=printed, films=films, lenses=lenses, learn=True
        ),
    )


@print_papers.command()
@_paper_options
@click.argument("sheets", nargs=-1, required=True)
@click.option(
    "--skip",
    metavar="N",
    type=click.IntRange(0, 1000),
    default=0,
    help="Leave so many places free, on a page of labels that was begun.",
)
def labels(
    file: Path,
    paper: str,
    overwrite: bool,
    as_json: bool,
    archive_dir: Path | None,
    sheets: tuple[str, ...],
    skip: int,
) -> None:
    """Print labels of SHEETS to FILE, 90 by 36 mm, each with a QR code of the sheet's id.

    \b
    Example:
      negcat print labels labels.pdf BW-01 BW-02 BW-03
    """
    from negcat.work import papers

    _write(
        archive_dir,
        file,
        paper,
        overwrite,
        as_json,
        lambda archive, size, printed: papers.labels(archive, sheets, size=size, printed=printed, skip=skip),
    )


@print_papers.command()
@_paper_options
@click.argument("sheets", nargs=-1, required=True)
def sleeve(
    file: Path,
    paper: str,
    overwrite: bool,
    as_json: bool,
    archive_dir: Path | None,
    sheets: tuple[str, ...],
) -> None:
    """Print a sleeve sheet for each of SHEETS to FILE: a QR code of its id, the facts, and what came out.

    \b
    Example:
      negcat print sleeve sleeve.pdf BW-01
    """
    from negcat.work import papers

    _write(
        archive_dir,
        file,
        paper,
        overwrite,
        as_json,
        lambda archive, size, printed: papers.sleeves(archive, sheets, size=size, printed=printed),
    )


@print_papers.command("batch-sheet")
@_paper_options
@click.argument("sheets", nargs=-1)
@click.option("--batch", metavar="B", help="A batch on record.")
@click.option("--film", metavar="F", help="With --tag: the sheets on this film that wait to be developed.")
@click.option("--tag", metavar="T", help="With --film: of these the ones with this tag.")
def batch_sheet(
    file: Path,
    paper: str,
    overwrite: bool,
    as_json: bool,
    archive_dir: Path | None,
    sheets: tuple[str, ...],
    batch: str | None,
    film: str | None,
    tag: str | None,
) -> None:
    """Print a batch sheet for the sink to FILE: the sheets, developer, times, and what to mind.

    Of a batch on record, or of sheets that wait to be developed: all of a film and tag, or only SHEETS of them.

    \b
    Examples:
      negcat print batch-sheet sink.pdf --film "Marl 400" --tag N+1
      negcat print batch-sheet sink.pdf --batch D-61
    """
    from negcat.work import batch_paper

    if batch is not None and (film is not None or tag is not None or sheets):
        raise click.UsageError("Give --batch, or --film and --tag, not both.")
    if batch is None and (film is None or tag is None):
        raise click.UsageError("Say which: --batch B, or --film F and --tag T.")

    def draw(archive: Archive, size: PaperSize, printed: date) -> Drawn:
        if batch is not None:
            return batch_paper.batch_sheet(archive, batch, size=size, printed=printed)
        assert film is not None
        assert tag is not None
        return batch_paper.waiting_sheet(archive, film, tag, size=size, printed=printed, sheets=sheets)

    _write(archive_dir, file, paper, overwrite, as_json, draw)
