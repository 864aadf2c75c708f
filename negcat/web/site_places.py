"""Where each page of a site lies, and how pages name one another: by relative addresses only.

Names of films, lenses and batches are anybody's words; files get names that every disk takes, those of sticks and of
other systems, too: small Latin letters, digits and dashes, no two alike but for their case.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from hashlib import sha256
from urllib.parse import quote, unquote

__all__ = ["FIRST", "LISTED", "STYLE", "Addresses", "ListPlace", "Places", "places"]

FIRST = "index.html"
STYLE = "style"
LISTED = ("cell", "tag", "film", "lens", "verdict")
"""What sheets are listed by."""

_FOLDERFUL = 2000
"""Sheets in one folder; with more they lie in many, since some disks are slow with large ones, or refuse them."""

_LONGEST = 60
_RESERVED = re.compile(r"(?:con|prn|aux|nul|com\d|lpt\d)(?:\..*)?", re.IGNORECASE)


@dataclass(frozen=True)
class ListPlace:
    """Where the pages of a list of sheets lie.

    Parameters
    ----------
    folder : from the site's top.
    first : its first page, from the site's top.
    """

    folder: str
    first: str

    def page(self, number: int) -> str:
        """Give the place of a page, counted from 1."""
        return self.first if number == 1 else f"{self.folder}/{number}.html"


WALL = ListPlace("wall", FIRST)


@dataclass
class Places:
    """Where everything lies, from the site's top.

    Parameters
    ----------
    sheets : id → its page.
    named : ``film``, ``lens`` or ``batch``, and name → its page.
    lists : what sheets are listed by, and its value → the list's pages.
    """

    sheets: dict[str, str] = field(default_factory=dict)
    named: dict[tuple[str, str], str] = field(default_factory=dict)
    lists: dict[tuple[str, str], ListPlace] = field(default_factory=dict)

    @staticmethod
    def picture(scan: str, size: str) -> str:
        """Give the place of a scan's picture."""
        return f"pictures/{scan[:2]}/{scan}-{size}.jpg"

    def of(self, path: str) -> str:
        """Give the place of what the served pages have under an address.

        Raises
        ------
        KeyError : a site has no such page.
        """
        kind, _, rest = path.strip("/").partition("/")
        name = unquote(rest)
        if kind == "preview":
            scan, _, size = name.removesuffix(".jpg").partition("-")
            return self.picture(scan, size)
        if kind == "sheet":
            return self.sheets[name]
        if rest:
            return self.named[kind, name]
        return {"": FIRST, "equipment": "equipment.html", "batches": "batches.html"}[kind]


def places(
    sheets: Iterable[str], named: Mapping[str, Iterable[str]], listed: Mapping[str, Iterable[str]]
) -> Places:
    """Find a place for everything.

    Parameters
    ----------
    sheets : ids.
    named : ``film``, ``lens``, ``batch`` → names.
    listed : what sheets are listed by → its values.

    Examples
    --------
    >>> found = places(["BW-1", "bw-1"], {"film": ["Sorrel 100", "Sorrel–100", "Ё"]}, {"tag": ["N+1"]})
    >>> list(found.sheets.values())
    ['sheet/BW-1.html', 'sheet/bw-1-2.html']
    >>> list(found.named.values())
    ['film/sorrel-100.html', 'film/sorrel-100-2.html', 'film/film.html']
    >>> found.lists["tag", "N+1"].page(2)
    'by/tag/n-plus-1/2.html'
    """
    found = Places()
    ids = list(sheets)
    free = _free_names()
    for sheet in ids:
        folder = f"sheet/{sha256(sheet.encode()).hexdigest()[:2]}" if len(ids) > _FOLDERFUL else "sheet"
        found.sheets[sheet] = f"{folder}/{free(sheet)}.html"
    for kind, names in named.items():
        free = _free_names()
        for name in names:
            found.named[kind, name] = f"{kind}/{free(_plain(name) or kind)}.html"
    for kind, names in listed.items():
        free = _free_names()
        for name in names:
            folder = f"by/{kind}/{free(_plain(name) or kind)}"
            found.lists[kind, name] = ListPlace(folder, f"{folder}/1.html")
    return found


def _plain(name: str) -> str:
    """Write a name in letters that every disk takes.

    Examples
    --------
    >>> _plain("Ålder “Weiß” 8×10, N+1½")
    'alder-weiss-8-10-n-plus-1-1-2'
    """
    spaced = re.sub("([½⅓⅔¼¾])", r" \1", name).replace("+", " plus ")
    letters = "".join(
        mark for mark in unicodedata.normalize("NFKD", spaced.casefold()) if not unicodedata.combining(mark)
    )
    return re.sub("[^a-z0-9]+", "-", letters).strip("-")[:_LONGEST].rstrip("-")


def _free_names() -> Callable[[str], str]:
    """Give a function that makes each name differ from those before it, case aside."""
    used: set[str] = set()

    def free(name: str) -> str:
        if _RESERVED.fullmatch(name):
            name += "-"
        number, chosen = 1, name
        while chosen.casefold() in used:
            number += 1
            chosen = f"{name}-{number}"
        used.add(chosen.casefold())
        return chosen

    return free


@dataclass(frozen=True)
class Addresses:
    """The addresses on one page; has what the templates ask Datasette's for.

    Parameters
    ----------
    of : where everything lies.
    here : where the page lies.
    pages : of the list that the page is one of.
    """

    of: Places
    here: str
    pages: ListPlace = WALL

    def to(self, place: str) -> str:
        """Give the address of a place, from this page."""
        return quote("../" * self.here.count("/") + place)

    def path(self, path: str) -> str:
        """Give the address of what the served pages have under another."""
        return self.to(self.of.of(path))

    def static_plugins(self, plugin: str, name: str) -> str:
        """Give the address of a stylesheet, script or mark."""
        del plugin
        return self.to(f"{STYLE}/{name}")

    def page(self, number: int) -> str:
        """Give the address of another page of this list."""
        return self.to(self.pages.page(number))

    def listed(self, search: Mapping[str, str]) -> str:
        """Give the address of the list of the sheets that a search finds; empty where there is none."""
        if len(search) != 1:
            return ""
        place = self.of.lists.get(next(iter(search.items())))
        return "" if place is None else self.to(place.first)
