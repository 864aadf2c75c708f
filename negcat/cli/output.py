"""How commands print: one JSON document, or tables and figures for people."""

from __future__ import annotations

import json
import sys
import textwrap
import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import click

from negcat.notation import format_clock

__all__ = ["clock", "figure", "print_json", "progress", "signed", "table", "warn", "wrapped"]

ABSENT = "–"


def print_json(document: Any) -> None:
    """Print exactly one JSON document; infinities and not-a-numbers are never written."""
    escaped = not (sys.stdout.encoding or "").lower().startswith("utf")
    click.echo(json.dumps(document, ensure_ascii=escaped, indent=2, allow_nan=False))


def warn(sentence: str) -> None:
    """Say something on standard error."""
    click.echo(f"negcat: {sentence}", err=True)


def figure(value: float | None, places: int = 2) -> str:
    """Write a figure with fixed places and the proper minus; a dash where there is none.

    Examples
    --------
    >>> figure(1.234), figure(-0.5, 1), figure(None)
    ('1.23', '−0.5', '–')
    """
    if value is None:
        return ABSENT
    return f"{value:.{places}f}".replace("-", "−")


def signed(value: float | None, places: int = 2) -> str:
    """Write a figure with its sign.

    Examples
    --------
    >>> signed(0.5), signed(-0.25), signed(0.0)
    ('+0.50', '−0.25', '0.00')
    """
    if value is None:
        return ABSENT
    text = f"{value:+.{places}f}"
    if float(text) == 0:
        text = text[1:]
    return text.replace("-", "−")


def clock(seconds: float | None) -> str:
    """Write a developing time as minutes and seconds; a dash where there is none.

    Examples
    --------
    >>> clock(451.6), clock(59.7), clock(None)
    ('7:32', '1:00', '–')
    """
    return ABSENT if seconds is None else format_clock(seconds)


def table(head: Sequence[str], rows: Iterable[Sequence[str | None]], right: Iterable[int] = ()) -> str:
    """Set a table in plain text.

    Parameters
    ----------
    head : the columns' heads.
    rows : the cells' texts.
    right : the columns that are set to the right, as figures are.

    Returns
    -------
    The table, without a line's end after it.
    """
    to_right = set(right)
    cells = [list(head), *([ABSENT if cell in (None, "") else str(cell) for cell in row] for row in rows)]
    widths = [max(len(row[column]) for row in cells) for column in range(len(head))]
    lines = []
    for row in cells:
        parts = [
            cell.rjust(width) if column in to_right else cell.ljust(width)
            for column, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        lines.append("  ".join(parts).rstrip())
    return "\n".join(lines)


def wrapped(text: str, indent: str = "  ") -> str:
    """Fold a sentence to the page, its later lines indented."""
    return textwrap.fill(text, width=98, initial_indent=indent, subsequent_indent=indent)


@contextmanager
def progress(items: Iterable[Any], length: int, label: str, *, rate: bool = False) -> Iterator[Iterable[Any]]:
    """Show a progress bar on standard error where that is a terminal, and nothing elsewhere.

    Parameters
    ----------
    items : what there is to go through.
    length : how many.
    label : what is being done.
    rate : tell how many are done in a minute, too.
    """
    if not sys.stderr.isatty():
        yield items
        return
    begun = time.monotonic()

    def a_minute(_: Any) -> str:
        return f"{60 * bar.pos / max(time.monotonic() - begun, 0.1):.0f} a minute"

    with click.progressbar(
        items,
        length=length,
        label=label,
        file=sys.stderr,
        show_pos=True,
        item_show_func=a_minute if rate else None,
    ) as bar:
        yield bar
