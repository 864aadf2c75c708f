"""The program: its commands, loaded when called, and what becomes of an error."""

from __future__ import annotations

import importlib
import io
import os
import sys
from typing import Any

import click

from negcat import __version__
from negcat.errors import NegcatError

__all__ = ["main"]

# Read by numpy when it is first imported. Matrices here are small: further threads for them only wait for each
# other, and on a busy machine they wait long.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# Command → where it is. A command's module is imported when the command runs, so that `--help` and
# `find` don't wait for libraries that they don't use.
COMMANDS = {
    "init": ("negcat.cli.taking", "Make an archive."),
    "record": ("negcat.cli.taking", "Take record files: films, lenses, sheets, developments …"),
    "calibrate": ("negcat.cli.scanning", "Fit a scanner's profile from a scanned step tablet."),
    "ingest": ("negcat.cli.scanning", "Take scans: identify, join to the sheet, measure."),
    "match": ("negcat.cli.scanning", "Join a scan that ingest could not join."),
    "measure": ("negcat.cli.scanning", "Set spots and measure again."),
    "show": ("negcat.cli.showing", "One sheet: planned, given, found, and the result."),
    "history": ("negcat.cli.history", "What was changed of a record, and when."),
    "revert": ("negcat.cli.history", "Bring a record back to what it was."),
    "remove": ("negcat.cli.history", "Remove a sheet, or bring it back."),
    "find": ("negcat.cli.looking", "Find sheets by text, cell, tag, film, verdict …"),
    "holders": ("negcat.cli.holders", "What is loaded in which film holder."),
    "pending": ("negcat.cli.looking", "What waits: to develop, to scan, to join, to measure."),
    "curve": ("negcat.cli.curves", "A film's characteristic curves, and the time for each N."),
    "review": ("negcat.cli.reviewing", "Which decisions worked, and what to change."),
    "print": ("negcat.cli.papers", "Papers for the bag, the sink and the sleeve, as PDF."),
    "export": ("negcat.cli.exporting", "Take it out: records, tables, all in a bag, a form for the field …"),
    "backup": ("negcat.cli.backing_up", "Copy the catalogue to a file, sound and of one moment."),
    "restore": ("negcat.cli.backing_up", "Put the catalogue back from a backup."),
    "verify": ("negcat.cli.keeping", "Check that every master is there and unchanged."),
    "serve": ("negcat.cli.serving", "Show the archive as web pages."),
    "demo": ("negcat.cli.serving", "Build an archive from the sample and show it."),
}

GROUPS = {"print": "print_papers"}


class Program(click.Group):
    """A group whose commands are imported when they are called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Give the commands in the order of the work."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and give a command."""
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(COMMANDS[cmd_name][0])
        # A function of ours can't well be named print.
        command: click.Command = getattr(module, GROUPS.get(cmd_name, cmd_name))
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in COMMANDS.items()])

    def main(self, *args: Any, **kwargs: Any) -> Any:
        """Run; turn every error into one readable sentence and its exit status."""
        if isinstance(sys.stdout, io.TextIOWrapper):
            # A terminal without a proper minus, a file name that is no UTF-8: written as \u2212, not fallen over.
            sys.stdout.reconfigure(errors="backslashreplace")
        try:
            return super().main(*args, **kwargs)
        except NegcatError as error:
            self._stop(str(error))
        except OSError as error:
            where = f"{error.filename}: " if error.filename else ""
            self._stop(
                f"{where}{error.strerror or error}; the archive stays as it was: mend this and run it again"
            )
        except Exception as error:
            if os.environ.get("NEGCAT_TRACEBACK"):
                raise
            self._stop(
                f"negcat failed in a way it should not ({type(error).__name__}: {' '.join(str(error).split())}); "
                "run it again with NEGCAT_TRACEBACK=1 set and report what it prints"
            )

    @staticmethod
    def _stop(sentence: str) -> None:
        click.echo(f"negcat: {sentence}", err=True)
        sys.exit(2)


@click.group(
    cls=Program,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Each command has its own help with examples: negcat COMMAND --help",
)
@click.version_option(__version__, prog_name="negcat")
def main() -> None:
    """negcat, the negative archive of a large-format photographer.

    Joins each scanned negative to its field record, measures its densities, holds them against what was
    planned, and says whether the decision worked.
    """
