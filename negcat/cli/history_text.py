"""A history as text for a terminal, and the list of removed sheets."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

from negcat.cli.output import table
from negcat.work.history import Change, Difference, way_in

__all__ = ["history_text", "removed_text"]

_WIDTH = 98


def history_text(kind: str, name: str, changes: Sequence[Change]) -> str:
    """Set a history, the newest change first.

    Parameters
    ----------
    kind, name : of the record.
    changes : its changes, the newest first.
    """
    count = "one entry" if len(changes) == 1 else f"{len(changes)} entries, the newest first"
    lines = [f"{kind.capitalize()} {name}: {count}"]
    wide = len(str(len(changes)))
    for change in changes:
        head = f"{change.at.replace('T', ' ').removesuffix('Z')} UTC  {_what(change)}{way_in(change.via)}"
        lines.append(f"{change.number:>{wide + 2}}  {head}".rstrip())
        lines += [_line(one, " " * (wide + 6)) for one in change.differences]
    return "\n".join(lines)


def _what(change: Change) -> str:
    return "" if change.what in ("changed", "scan") else f"{change.what} "


def _line(one: Difference, indent: str) -> str:
    was, became = ("nothing" if value is None else " ".join(value.split()) for value in (one.was, one.became))
    return textwrap.fill(
        f"{one.field}: {was} → {became}",
        width=_WIDTH,
        initial_indent=indent,
        subsequent_indent=indent + "  ",
        break_on_hyphens=False,
        break_long_words=False,
    )


def removed_text(sheets: Sequence[Mapping[str, Any]]) -> str:
    """Set the list of removed sheets."""
    if not sheets:
        return "No sheet is removed."
    rows = [
        [
            one["sheet"],
            one["removed_at"][:10],
            one["record"]["film"],
            one["record"].get("place"),
            one["record"].get("subject"),
            ", ".join(one["scans"]),
        ]
        for one in sheets
    ]
    listed = table(["sheet", "removed", "film", "place", "subject", "scans that wait"], rows)
    return f"{listed}\n'negcat remove --undo SHEET' brings one back."
