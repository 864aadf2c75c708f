"""Which sheet a scan belongs to: what its file name, its side files and its own tags say.

Nothing is guessed. A scan that names no sheet, or two, waits until someone says which it is.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any
from xml.etree import ElementTree

import yaml

from negcat.places import Address, Place
from negcat.work.export_xmp_fields import OWN

__all__ = ["Claim", "Join", "SheetIds", "decide", "side_file_texts"]

SIDE_FILE_SUFFIXES = (".yaml", ".yml", ".json", ".txt", ".xmp")
SIDE_FILE_LIMIT = 1 << 20
"""Bytes of a side file that are looked at: an id stands in a few lines, not in a megabyte."""

MOST_NAMED = 100
"""Ids found in one text that are compared with each other; a text that names more is a list of sheets."""

MOST_LISTED = 6


@dataclass(frozen=True)
class Claim:
    """What one source says a scan belongs to.

    Parameters
    ----------
    source : the source in words: ``its file name``.
    sheets : every sheet id it names, none of which holds another.
    verb : what the source does, ``names`` or ``name``.
    """

    source: str
    sheets: frozenset[str]
    verb: str = "names"

    def __str__(self) -> str:
        """Say it: ``its file name names BW-1 and BW-2``."""
        return f"{self.source} {self.verb} {_listed(self.sheets)}"


@dataclass(frozen=True)
class Join:
    """A scan's sheet, or why it has none.

    Parameters
    ----------
    sheet : the sheet's id, None while the scan waits.
    source : which source decided.
    reason : why it waits; None when joined.
    """

    sheet: str | None
    source: str | None
    reason: str | None


class SheetIds:
    """The archive's sheet ids, made to be found inside other text.

    Parameters
    ----------
    ids : every sheet's id.

    Examples
    --------
    >>> ids = SheetIds(["BW-1", "BW-1-2", "BW-12"])
    >>> sorted(ids.named_in("2026-05-18_bw-12_scan"))
    ['BW-12']
    >>> sorted(ids.named_in("BW-1-2"))  # the longest wins
    ['BW-1-2']
    >>> sorted(ids.named_in("BW-123"))  # a digit touches it
    []
    """

    def __init__(self, ids: Iterable[str]) -> None:
        self._ids: dict[str, list[str]] = {}
        lengths, beginnings = set(), set()
        for sheet in ids:
            self._ids.setdefault(sheet.casefold(), []).append(sheet)
            lengths.add(len(sheet))
            beginnings.add(sheet[:1].casefold())
        self._lengths = sorted(lengths)
        self._beginnings = frozenset(beginnings)

    def named_in(self, text: str) -> frozenset[str]:
        """Find the ids that stand in a text with no letter or digit touching them, case aside.

        An id that another found one holds is left out, where no more than a hundred are found.
        """
        found: set[str] = set()
        for start, letter in enumerate(text):
            if letter.casefold() not in self._beginnings or (start and text[start - 1].isalnum()):
                continue
            for length in self._lengths:
                end = start + length
                if end > len(text) or text[end : end + 1].isalnum():
                    continue
                written = text[start:end]
                spelt = self._ids.get(written.casefold())
                if spelt is not None:
                    found.update([written] if written in spelt else spelt)
        if len(found) > MOST_NAMED:
            return frozenset(found)
        folded = {sheet: sheet.casefold() for sheet in found}
        return frozenset(
            sheet
            for sheet in found
            if not any(folded[sheet] != folded[other] and folded[sheet] in folded[other] for other in found)
        )


def _texts_of_side_file(path: Place) -> list[str]:
    """Read the texts of a side file in which a sheet may be named; [] where it can't be read."""
    try:
        if isinstance(path, Address):
            head = path.beginning(SIDE_FILE_LIMIT)
        else:
            with path.open("rb") as file:
                head = file.read(SIDE_FILE_LIMIT)
    except OSError:
        return []
    text = head.decode("utf-8-sig", errors="replace")
    # A structured side file says which sheet it is for in its `sheet` field; other fields may name
    # other sheets ("taken right after BW-06") without claiming them.
    content: Any = None
    if path.suffix.lower() in (".yaml", ".yml"):
        try:
            content = yaml.load(text, Loader=yaml.CBaseLoader)
        except (yaml.YAMLError, RecursionError):
            content = None
    elif path.suffix.lower() == ".json":
        try:
            content = json.loads(text)
        except (ValueError, RecursionError):
            content = None
    elif path.suffix.lower() == ".xmp":
        content = {"sheets": [{"sheet": sheet} for sheet in _sheets_in_xmp(text)]}
    if isinstance(content, Mapping):
        named = [content.get("sheet")]
        sheets = content.get("sheets")
        if isinstance(sheets, list):
            named += [item.get("sheet") for item in sheets if isinstance(item, Mapping)]
        claims = [str(sheet) for sheet in named if isinstance(sheet, str | int)]
        if claims:
            return claims
    return [text]


def _sheets_in_xmp(text: str) -> list[str]:
    """Read which sheet an XMP side file of negcat's own is for."""
    # Nothing is to be declared: an entity may stand for any number of others.
    if OWN not in text or "<!DOCTYPE" in text or "<!ENTITY" in text:
        return []
    try:
        root = ElementTree.fromstring(text.encode())
    except (ElementTree.ParseError, ValueError):
        return []
    return [node.text for node in root.iter(f"{{{OWN}}}sheet") if node.text]


def side_file_texts(scan: Place) -> list[str]:
    """Read what the side files of a scan say: files of the same stem beside it.

    Parameters
    ----------
    scan : the scan's path, or its address; ``IMG_4.yaml`` and ``IMG_4.tif.xmp`` both belong to ``IMG_4.tif``.

    Returns
    -------
    Texts in which a sheet may be named.
    """
    texts: list[str] = []
    for base in (scan.with_suffix(""), scan):
        for suffix in SIDE_FILE_SUFFIXES:
            # One file may answer to both spellings, on a disk that doesn't tell capitals.
            for spelt in (suffix, suffix.upper()):
                side = base.with_name(base.name + spelt)
                # Unlike Path.is_file, isfile only says no where the folder may not be entered.
                if side.name in side.beside() if isinstance(side, Address) else os.path.isfile(side):  # noqa: PTH113
                    texts += _texts_of_side_file(side)
                    break
    return texts


def decide(ids: SheetIds, *, stem: str, side_texts: Iterable[str], descriptions: Iterable[str]) -> Join:
    """Decide which sheet a scan belongs to.

    Parameters
    ----------
    ids : the archive's sheet ids.
    stem : the scan's file name without its ending.
    side_texts : what side files of the same stem say.
    descriptions : the texts of the scan's own description tags.

    Returns
    -------
    The sheet that the file name names, else the side file, else the tags; none where a source names
    two, where two sources differ, or where nothing names a sheet.
    """
    claims = [
        Claim("its file name", ids.named_in(stem)),
        Claim("its side file", frozenset().union(*(ids.named_in(text) for text in side_texts))),
        Claim(
            "its description tags",
            frozenset().union(*(ids.named_in(text) for text in descriptions)),
            "name",
        ),
    ]
    claims = [claim for claim in claims if claim.sheets]
    if not claims:
        return Join(None, None, "neither its file name, a side file nor its description tags name a sheet")
    first = claims[0]
    if len(first.sheets) > 1:
        return Join(None, None, str(first))
    (sheet,) = first.sheets
    for other in claims[1:]:
        # A source that names this sheet among others agrees; only one that leaves it out contradicts.
        if sheet not in other.sheets:
            return Join(None, None, f"{first}, but {other}")
    return Join(sheet, first.source, None)


def _listed(sheets: Iterable[str]) -> str:
    """Write ids as a phrase: ``BW-1 and BW-2``."""
    names = sorted(sheets)
    if len(names) > MOST_LISTED:
        return ", ".join(names[: MOST_LISTED - 1]) + f" and {len(names) - MOST_LISTED + 1} more"
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]
