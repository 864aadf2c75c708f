"""No folder of the machine, and no bucket, in what strangers are shown.

A master outside the archive is kept by its whole path or its address, and a fault names the file it is about. Whoever
has not signed in on a server for others gets the file's name and nothing of where it lies.
"""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

__all__ = ["veiled"]


@cache
def _folders(heads: frozenset[str]) -> re.Pattern[str]:
    """Match the folders of a path of this machine, written in a page, a JSON document or a sentence."""
    tops = "|".join(re.escape(entry.name) for entry in Path("/").iterdir() if entry.name not in heads)
    # Up to the last slash of a line of text or of a string of JSON, whose escapes may belong to a name. Names
    # may hold blanks, so a sentence may lose some words with them.
    rest = r'(?:[^"<>\n\\]|\\(?!["n]))*/'
    folders = rf"(?:(?<=file://)|(?<![\w.~/-]))/(?:{tops})/(?:{rest})?"
    return re.compile(rf"{folders}|\b(?!https?:|file:)[a-z][a-z0-9+.-]+://{rest}")


def veiled(text: str, heads: frozenset[str]) -> str:
    """Cut the folders off every path of this machine, and off every address but those of web pages.

    Parameters
    ----------
    text : a page, a document or a sentence.
    heads : with what the addresses of pages begin; those are no folders, whatever lies at the machine's root.

    Examples
    --------
    >>> veiled("the master is not at /usr/share/kiln scans/BW-01.tif any more", frozenset())
    'the master is not at BW-01.tif any more'
    >>> veiled('"path":"s3://kilns/2026/BW-01.tif"', frozenset())
    '"path":"BW-01.tif"'
    >>> veiled('<a href="/sheet/BW-01/edit">', frozenset({"sheet"}))
    '<a href="/sheet/BW-01/edit">'
    """
    return _folders(heads).sub("", text)
