"""The archive as files: pages that need no server, for a shelf or a stick.

They are made by the templates of the served pages, from the same documents, with `still` set: what only a server can do
(search, forms, tiles) is left out there, and every address is relative.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, datetime
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any

from jinja2 import ChoiceLoader, DictLoader, Environment, FileSystemLoader
from markupsafe import escape

from negcat.errors import ScanError
from negcat.places import Address, is_address
from negcat.web import batch, film, film_tests, lens, reading, spotting
from negcat.web.sheet import Page, scan_looked_at, set_page
from negcat.web.site_lists import List, Part, lists_of
from negcat.web.site_places import LISTED, STYLE, WALL, Addresses, ListPlace, Places, places
from negcat.web.typesetting import date
from negcat.web.wall import Plate, plates
from negcat.work import finding, show, trying
from negcat.work.archive import Archive
from negcat.work.batch_story import batch_story
from negcat.work.drawing import SIZES
from negcat.work.lens_story import lens_story
from negcat.work.previews import preview_path
from negcat.work.writing_files import written_folder

__all__ = ["Site", "SiteLeft"]

_STYLES = (
    "mark.svg", "colours.css", "page.css", "equipment.css", "curves.css", "print.css", "site.css", "site.js",
)  # fmt: skip
_ROWS = 96


@dataclass(frozen=True)
class Unpictured:
    """A scan whose picture can't be shown.

    Parameters
    ----------
    sheet, scan : whose it is.
    reason : a sentence.
    """

    sheet: str
    scan: str
    reason: str


@dataclass
class SiteLeft:
    """What was written.

    Parameters
    ----------
    folder : where.
    sheets, pages, pictures : how many.
    unpictured : what has no picture, and why.
    """

    folder: Path
    sheets: int = 0
    pages: int = 0
    pictures: int = 0
    unpictured: list[Unpictured] = field(default_factory=list)

    def as_json(self) -> dict[str, Any]:
        """Give what ``negcat export site --json`` prints."""
        return {
            "folder": str(self.folder),
            "sheets": self.sheets,
            "pages": self.pages,
            "pictures": self.pictures,
            "without_picture": [asdict(one) for one in self.unpictured],
        }


@dataclass(frozen=True)
class _Still:
    """What the templates ask of a page that leaves the archive as a file."""

    addresses: Addresses
    unpictured: Mapping[str, str]

    def listed(self, search: Mapping[str, str]) -> str:
        """Give the address of the list of what a search finds; empty where there is none."""
        return self.addresses.listed(search)

    def without_picture(self, sheet: str) -> str:
        """Say why a sheet has no picture."""
        return "its picture couldn’t be made" if sheet in self.unpictured else "no scan yet"


class Site:
    """A site being written as it is iterated: sheet by sheet, and what is about many of them at last.

    Parameters
    ----------
    archive : the archive, which is only read; pictures that are missing are made again in it.
    folder : where to: nothing is there, or an empty folder. It is there when all is written.

    Attributes
    ----------
    left : what was written.
    """

    def __init__(self, archive: Archive, folder: Path) -> None:
        self._archive = archive
        self.left = SiteLeft(folder)
        self._written = date(datetime.now(tz=UTC).astimezone().date().isoformat())
        self._templates = _templates()
        self._target = lru_cache(maxsize=None)(lambda name: reading.target(archive, name))
        self._places = Places()
        self._unpictured: dict[str, str] = {}
        self._folder = folder
        # Where masters lie outside the archive: no matter for those who get the site.
        self._machine: set[str] = {f"{archive.root}/"}

    def __iter__(self) -> Iterator[str]:
        """Write it.

        Yields
        ------
        The id of each sheet, when its page is written.

        Raises
        ------
        FileThereError : there is something in the folder, or it can't be made.
        """
        with written_folder(self.left.folder) as unfinished, self._archive.catalogue.at_once():
            self._folder = unfinished
            yield from self._all()

    def _all(self) -> Iterator[str]:
        catalogue = self._archive.catalogue
        named = {kind: catalogue.names(kind) for kind in ("film", "lens", "batch")}
        counts = finding.counts(self._archive, finding.query_of({}))
        listed = {kind: counts.get(kind, ()) for kind in LISTED}
        names = {kind: [str(value) for value, _ in values] for kind, values in listed.items()}
        self._places = places(catalogue.sheet_ids(), named, names)
        for name in _STYLES:
            self._put(f"{STYLE}/{name}", _static(name))
        lists = {
            (kind, str(value)): List(
                kind, str(value), count, self._places.lists[kind, str(value)], self._list_page
            )
            for kind, values in listed.items()
            for value, count in values
        }

        def wall_page(part: Part, place: ListPlace, shown: list[Plate]) -> None:
            self._list_page(part, place, shown, listed if part.number == 1 else None)

        wall = List("", "", len(self._places.sheets), WALL, wall_page)
        with (self._folder / STYLE / "sheets.js").open("w", encoding="utf-8") as searched:
            searched.write("negcatSheets([\n")
            for row in self._rows():
                self._sheet(row["sheet"])
                (plate,) = plates([self._as_shown(row)])
                searched.write(_searched(self._places.sheets[row["sheet"]], row, plate))
                for one in (wall, *(lists[key] for key in lists_of(row, LISTED))):
                    one.add(plate)
                yield str(row["sheet"])
            searched.write("]);\n")
        for one in (wall, *lists.values()):
            one.end()
        self._about_many(named, listed)

    def _rows(self) -> Iterator[dict[str, Any]]:
        """Give the sheets, the newest first."""
        after = None
        while True:
            query = finding.query_of({"sort": "newest", "limit": _ROWS, "after": after})
            page = finding.find(self._archive, query)
            yield from page.rows
            after = page.after
            if after is None:
                return

    def _sheet(self, sheet: str) -> None:
        now = trying.standing(self._archive, sheet)
        dossier = show.dossier_of(self._archive, now.record, now.findings)
        for scan in dossier["scans"]:
            if is_address(scan["path"]):
                self._machine.add(f"{Address(scan['path']).folder}/")
            elif scan["path"].startswith("/"):
                self._machine.add(f"{Path(scan['path']).parent}/")
        scan = str(scan_looked_at(dossier).get("scan") or "")
        lying = trying.lying_on(self._archive, now.record, scan) if scan else ()
        page: Page = set_page(dossier, self._target(dossier["print_target"]), scan, spotting.marks(lying))
        if scan and not self._pictured(sheet, scan):
            page = replace(page, scan=None)
        self._page(self._places.sheets[sheet], "sheet.html", page=page)
        self.left.sheets += 1

    def _pictured(self, sheet: str, scan: str) -> bool:
        """Copy a scan's pictures; tell whether that could be done."""
        try:
            for size in SIZES:
                there = self._folder / self._places.picture(scan, size)
                there.parent.mkdir(parents=True, exist_ok=True)
                shutil.copyfile(preview_path(self._archive, scan, size), there)
                self.left.pictures += 1
        except ScanError as error:
            self._unpictured[sheet] = scan
            self.left.unpictured.append(Unpictured(sheet, scan, str(error)))
            return False
        return True

    def _as_shown(self, row: Mapping[str, Any]) -> dict[str, Any]:
        """Take the picture out of a row where it couldn't be made."""
        return {**row, "scan": None} if row["sheet"] in self._unpictured else dict(row)

    def _list_page(
        self,
        part: Part,
        place: ListPlace,
        shown: list[Plate],
        listed: Mapping[str, Any] | None = None,
    ) -> None:
        here = place.page(part.number)
        addresses = Addresses(self._places, here, place)
        choices = [
            (kind, [(name, count, addresses.listed({kind: str(name)})) for name, count in values])
            for kind, values in (listed or {}).items()
            if values
        ]
        self._page(here, "site/wall.html", addresses, part=part, plates=shown, choices=choices)

    def _about_many(self, named: Mapping[str, list[str]], listed: Mapping[str, Any]) -> None:
        """Write the pages of films, lenses and batches, and what leads to them."""
        archive = self._archive
        for name in named["film"]:
            self._page(
                self._places.named["film", name],
                "film.html",
                page=film.set_page(film_tests.story(archive, name)),
            )
        for name in named["lens"]:
            self._page(
                self._places.named["lens", name], "lens.html", page=lens.set_page(lens_story(archive, name))
            )
        for name in named["batch"]:
            story = batch_story(archive, name)
            shown = {**story, "sheets": [self._as_shown(sheet) for sheet in story["sheets"]]}
            self._page(self._places.named["batch", name], "batch.html", page=batch.set_page(shown))
        counted = {kind: {str(name): count for name, count in listed[kind]} for kind in ("film", "lens")}

        def names(kind: str) -> list[tuple[str, int | None]]:
            ordered = sorted(named[kind], key=str.casefold)
            return [(name, counted[kind].get(name, 0) if kind in counted else None) for name in ordered]

        for place, here, title, parts in (
            ("equipment.html", "equipment", "Films and lenses", {"film": "Films", "lens": "Lenses"}),
            ("batches.html", "batches", "Batches", {"batch": "Developed together"}),
        ):
            self._page(
                place,
                "site/names.html",
                title=title,
                here=here,
                parts=[(kind, heading, names(kind)) for kind, heading in parts.items()],
            )

    def _page(self, place: str, template: str, addresses: Addresses | None = None, **context: Any) -> None:
        addresses = addresses or Addresses(self._places, place)
        text = self._templates.get_template(f"negcat/{template}").render(
            **context,
            archive=self._archive.root.name,
            written=self._written,
            urls=addresses,
            still=_Still(addresses, self._unpictured),
        )
        for folder in self._machine:
            text = text.replace(str(escape(folder)), "")
        self._put(place, text.encode("utf-8"))
        self.left.pages += 1

    def _put(self, place: str, content: bytes) -> None:
        file = self._folder / place
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(content)


def _templates() -> Environment:
    """Load the served pages' templates, with a site's own head and foot around them."""
    folder = Path(str(resources.files("negcat.web") / "templates"))
    own = (folder / "negcat" / "site" / "page.html").read_text(encoding="utf-8")
    return Environment(
        loader=ChoiceLoader([DictLoader({"negcat/page.html": own}), FileSystemLoader(folder)]),
        autoescape=True,
    )


def _static(name: str) -> bytes:
    return (resources.files("negcat.web") / "static" / name).read_bytes()


def _searched(place: str, row: Mapping[str, Any], plate: Plate) -> str:
    """Write a sheet's line of the list that the filter looks through: place, id, words shown, further words."""
    shown = " · ".join(part for part in (plate.made, plate.place, *plate.setting, plate.verdict) if part)
    more = " ".join(
        str(row[name]) for name in ("film", "lens", "developer", "batch", "exposed_at") if row.get(name)
    )
    return json.dumps([place, plate.sheet, shown, more]) + ",\n"
