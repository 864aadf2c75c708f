"""Commands that show the archive as web pages."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from negcat.cli.options import archive_option, json_option, open_archive
from negcat.cli.output import figure, print_json, signed, table
from negcat.cli.review_text import review_text
from negcat.serving import serve as serve_archive
from negcat.work.demo import build_demo

DEFAULT_PORT = 8421

port_option = click.option(
    "--port",
    metavar="P",
    type=click.IntRange(0, 65535),
    default=DEFAULT_PORT,
    show_default=True,
    help="The port; 0 takes a free one.",
)


@click.command()
@port_option
@click.option("--host", metavar="H", default="127.0.0.1", show_default=True, help="The address listened on.")
@click.option(
    "--public-read",
    is_flag=True,
    help="With --host or --behind: let anyone read the pages without signing in, but not the tables.",
)
@click.option(
    "--behind",
    metavar="URL",
    default="",
    help="The address, with https, under which a reverse proxy hands requests on to this server.",
)
@archive_option
def serve(port: int, host: str, public_read: bool, behind: str, archive_dir: Path | None) -> None:
    """Show the archive as web pages, on this machine only unless --host says otherwise.

    Reading on this machine needs no account. Writing needs the sign-in link that is printed; so does reading
    from other machines. The link works once, within 15 minutes; the page "Sign in" has a new one printed here.
    One stays signed in for 12 hours, or until signing out or stopping the server.

    What is sent to --host goes in the clear. Beyond one's own network use a tunnel of SSH to this machine, or a
    reverse proxy with https and --behind.

    \b
    Examples:
      negcat serve --port 8500
      negcat serve --host 192.168.0.20
      negcat serve --behind https://negatives.example/
    """
    with open_archive(archive_dir) as archive:
        root = archive.root
    serve_archive(root, host, port, say=click.echo, public_read=public_read, behind=behind)


@click.command()
@click.argument("directory", metavar="[DIR]", default="negcat-demo", type=click.Path(path_type=Path))
@click.option("--serve/--no-serve", "serving", default=True, help="Show it as web pages afterwards.")
@port_option
@json_option
def demo(directory: Path, serving: bool, port: int, as_json: bool) -> None:
    """Build an archive in DIR from the sample archive, print what came out, and show it.

    The sample is a closed brickworks, its clay pits and its tidal creek: 31 made-up sheets, film tests, scans.

    \b
    Examples:
      negcat demo
      negcat demo /tmp/brickworks --no-serve
    """
    outcome = build_demo(directory, announce=None if as_json else click.echo)
    if as_json:
        print_json(outcome.as_json())
    else:
        click.echo("")
        click.echo(
            table(
                ["sheet", "film", "cell", "tag", "exposure", "± sd", "found N", "± sd", "verdict"],
                [_row(sheet) for sheet in outcome.sheets],
                right=(4, 5, 6, 7),
            )
        )
        click.echo("")
        for verdict, number in outcome.verdicts.items():
            click.echo(f"{number:4d}  {verdict}")
        click.echo("")
        example = outcome.sheets[0]["sheet"]
        click.echo(review_text(outcome.review, brief=True))
        click.echo("")
        click.echo(f"Read one sheet's story with: negcat show --archive {directory} {example}")
        click.echo(f"and all that the sheets teach with: negcat review --archive {directory}")
    if serving:
        serve_archive(outcome.root, "127.0.0.1", port, say=lambda text: click.echo(text, err=as_json))


def _row(sheet: dict[str, Any]) -> list[str | None]:
    return [
        sheet["sheet"],
        sheet["film"],
        sheet["cell"],
        sheet["tag"],
        signed(sheet["exposure_error_stops"]),
        figure(sheet["exposure_error_density_sd"]),
        signed(sheet["found_n"]),
        figure(sheet["found_n_density_sd"]),
        sheet["verdict"],
    ]
