"""Where in a YAML or JSON text a field stands. Looked for only once there is a fault to report."""

from collections.abc import Iterable, Iterator

from negcat.records.base import Path

__all__ = ["Token", "duplicate_keys", "lines_of"]

Token = tuple[str, str, int]
"""Kind (``{ } [ ]``, ``key`` or ``value``), the text of a key, the line it stands in, from 1."""


def _walk(tokens: Iterable[Token]) -> Iterator[tuple[Path, int, int | None]]:
    """Give the path and line of every field and every item, and the line of its first twin if it has one."""
    path: list[str | int] = []
    keys: list[dict[str, int] | None] = []  # of every open mapping; None for a list
    for kind, text, line in tokens:
        if kind == "key":
            path[-1] = text
            seen = keys[-1]
            yield tuple(path), line, seen.get(text) if seen else None
            if seen is not None:
                seen.setdefault(text, line)
            continue
        if kind in "]}":
            keys.pop()
            path.pop()
            continue
        # A value, plain or not, is the next item where it stands in a list; in a mapping its key was given.
        if keys and keys[-1] is None:
            path[-1] = int(path[-1]) + 1
            yield tuple(path), line, None
        if kind in "[{":
            keys.append(None if kind == "[" else {})
            path.append(-1)


def lines_of(tokens: Iterable[Token], wanted: Iterable[Path]) -> dict[Path, int]:
    """Find the lines of fields; of one that isn't there, the line of what it is missing in.

    Parameters
    ----------
    tokens : the whole text.
    wanted : paths of the fields.

    Returns
    -------
    Path → line from 1, for every path of which at least one ancestor is in the text.
    """
    paths = set(wanted)
    sought = {path[:length] for path in paths for length in range(1, len(path) + 1)}
    found: dict[Path, int] = {}
    for path, line, _ in _walk(tokens):
        if path in sought:
            found.setdefault(path, line)
    lines: dict[Path, int] = {}
    for path in paths:
        known = next((path[:length] for length in range(len(path), 0, -1) if path[:length] in found), None)
        if known is not None:
            lines[path] = found[known]
    return lines


def duplicate_keys(tokens: Iterable[Token]) -> list[tuple[Path, int, int]]:
    """Find fields written twice in the same mapping: path, line of the first, line of the second."""
    return [(path, first, line) for path, line, first in _walk(tokens) if first is not None]
