"""The archive as pages that need no server: whole, joined by relative addresses, and silent about this machine."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

import pytest

from negcat.catalogue import Catalogue
from negcat.site import site_of
from negcat.web import site_lists
from negcat.work.archive import Archive
from tests.cli.test_export_records import run


class Links(HTMLParser):
    """What a page leads to, and the text it shows."""

    def __init__(self, page: Path) -> None:
        super().__init__()
        self.addresses: list[str] = []
        self.ids: list[str] = []
        self.text: list[str] = []
        self.feed(page.read_text(encoding="utf-8"))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.addresses += [
            str(given[name]) for name in ("href", "src", "data-sheets", "action") if name in given
        ]
        self.ids += [given["id"]] if given.get("id") else []

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def reached(folder: Path) -> dict[Path, Links]:
    """Go from the first page to every other; every address must be relative and lead to a file of the folder."""
    seen: dict[Path, Links] = {}
    files: set[Path] = set()
    waiting = [folder / "index.html"]
    while waiting:
        page = waiting.pop()
        if page in seen:
            continue
        seen[page] = links = Links(page)
        assert len(links.ids) == len(set(links.ids)), page
        for address in links.addresses:
            parts = urlsplit(address)
            assert (parts.scheme, parts.netloc, parts.query) == ("", "", ""), (page, address)
            assert not address.startswith("/"), (page, address)
            if not parts.path:
                assert parts.fragment in links.ids
                continue
            target = (page.parent / unquote(parts.path)).resolve()
            assert target.is_relative_to(folder.resolve()), (page, address)
            assert target.is_file(), (page, address)
            files.add(target)
            if target.suffix == ".html":
                waiting.append(folder / target.relative_to(folder.resolve()))
    there = {path.resolve() for path in folder.rglob("*") if path.is_file()}
    # Stylesheets and the page's own script aside, nothing lies there that nobody comes to.
    unreached = {path for path in there - files if path.parent.name != "style"}
    assert unreached <= {(folder / "index.html").resolve()}
    return seen


Exported = tuple[Path, dict[str, Any]]


@pytest.fixture(scope="module")
def exported(sample: Path, tmp_path_factory: pytest.TempPathFactory) -> Exported:
    """The sample's site, with few sheets on a page, and what was told of it; only to be read."""
    folder = tmp_path_factory.mktemp("exported") / "a site"
    with pytest.MonkeyPatch.context() as few:
        few.setattr(site_lists, "PLATES", 5)
        return folder, json.loads(run("export", "site", folder, "-a", sample, "--json").stdout)


@pytest.mark.parametrize("archive", ["sample", "full_of_markup", "scanned_twice"])
def test_every_page_is_there_and_leads_only_to_others(archive, exported, tmp_path, request):
    root = request.getfixturevalue(archive)
    folder, told = exported
    if archive != "sample":
        folder = tmp_path / "a site"
        told = json.loads(run("export", "site", folder, "-a", root, "--json").stdout)
    pages = reached(folder)
    with Catalogue.open(root / "negcat.db", readonly=True) as catalogue:
        sheets, scanned = catalogue.sheet_ids(), {row["sheet"] for row in catalogue.scans() if row["sheet"]}
        names = [name for kind in ("film", "lens", "batch") for name in catalogue.names(kind)]
    assert (told["sheets"], told["pages"], told["pictures"]) == (len(sheets), len(pages), 2 * len(scanned))
    assert told["without_picture"] == []
    for sheet in sheets:
        shown = " ".join(pages[folder / "sheet" / f"{sheet}.html"].text)
        assert sheet in shown
        assert "The ledger" in shown
    headings = " ".join(" ".join(page.text) for page in pages.values())
    assert [name for name in names if name not in headings] == []

    # Neither this machine's folders nor anything that asks for a server.
    for file in folder.rglob("*"):
        if file.suffix in (".html", ".js", ".css"):
            content = file.read_text(encoding="utf-8")
            assert str(root) not in content
            assert str(root.parent) not in content
            assert "<form" not in content


def test_a_sheet_shows_what_the_archive_says_of_it(sample, exported):
    folder, _ = exported
    shown = json.loads(run("show", "BW-10", "-a", sample, "--json").stdout)
    text = " ".join(" ".join(Links(folder / "sheet" / "BW-10.html").text).split())
    for part in (
        shown["subject"],
        shown["place"],
        shown["notes"],
        shown["result"]["verdict"],
        *shown["result"]["why"],
        *(reading["name"] for reading in shown["readings"]),
        *(f"{reading['net_density']:.2f}" for reading in shown["readings"]),
        *(f"{reading['given_zone']:.2f}" for reading in shown["readings"]),
        shown["development"]["developer"],
        shown["scans"][0]["sha256"],
    ):
        assert part in text
    for way in ("Edit the record", "Sign in", "Review", "Remove this sheet", "PDF"):
        assert way not in text
    scan = shown["scans"][0]["scan"]
    kept = sample / "previews" / scan[:2] / f"{scan}-page.jpg"
    assert (folder / "pictures" / scan[:2] / kept.name).read_bytes() == kept.read_bytes()


def test_lists_are_paged_and_hold_each_sheet_once(sample, exported):
    folder, _ = exported
    found = json.loads(run("find", "-a", sample, "--json").stdout)["sheets"]

    def listed(first: Path) -> list[str]:
        sheets: list[str] = []
        page: Path | None = first
        while page is not None:
            text = page.read_text(encoding="utf-8")
            here = re.findall(r'<span class="plate-id">(.*?)</span>', text)
            assert 0 < len(here) <= 5
            sheets += here
            further = re.search(r'rel="next" href="([^"]+)"', text)
            page = page.parent / further[1] if further else None
        return sheets

    assert listed(folder / "index.html") == [sheet["sheet"] for sheet in found]
    for cell in ("rear", "whole"):
        made = [sheet["sheet"] for sheet in found if sheet["cell"] == cell]
        assert len(made) > 5
        assert listed(folder / "by" / "cell" / cell / "1.html") == made


def test_the_filter_has_every_sheet(sample, exported):
    folder, _ = exported
    text = (folder / "style" / "sheets.js").read_text(encoding="utf-8")
    rows = json.loads(text.removeprefix("negcatSheets(").removesuffix(",\n]);\n") + "]")
    found = json.loads(run("find", "-a", sample, "--json").stdout)["sheets"]
    assert [row[1] for row in rows] == [sheet["sheet"] for sheet in found]
    for (address, _, shown, more), sheet in zip(rows, found, strict=True):
        assert (folder / unquote(address)).is_file()
        for name in ("place", "tag", "verdict", "film", "lens"):
            assert sheet[name] in f"{shown} {more}"


def test_pictures_are_made_again_and_those_that_cannot_be_are_named(measured, tmp_path):
    gone, _ = measured.scan_sheet("scans/BW-02.tif", seed=2)
    measured.run("ingest", gone)
    gone.unlink()
    for kept in (tmp_path / "previews").rglob("*.*"):
        kept.unlink()
    (missing,) = measured.json("show", "BW-02")["scans"]
    (mended,) = measured.json("show", "BW-01")["scans"]
    folder = tmp_path / "site"
    result = measured.run("export", "site", folder, "--json", status=1)
    told = json.loads(result.stdout)
    ((sheet, scan, reason),) = [tuple(one.values()) for one in told["without_picture"]]
    assert (sheet, scan) == ("BW-02", missing["scan"])
    assert f"no picture of BW-02: {reason}" in result.stderr
    pages = reached(folder)
    assert "its picture couldn’t be made" in " ".join(pages[folder / "sheet" / "BW-02.html"].text)
    scan = mended["scan"]
    assert (folder / "pictures" / scan[:2] / f"{scan}-page.jpg").stat().st_size > 1000
    assert str(tmp_path) not in (folder / "sheet" / "BW-02.html").read_text(encoding="utf-8")


def test_masters_elsewhere_are_named_without_their_folder(archive, tmp_path):
    elsewhere = tmp_path / "somewhere <else>" / "scans & more"
    archive.scan_sheet("BW-01.tif")
    elsewhere.mkdir(parents=True)
    (tmp_path / "BW-01.tif").rename(elsewhere / "BW-01.tif")
    root = tmp_path / "other"
    run("init", root)
    run("record", tmp_path / "records.yaml", "-a", root)
    run("ingest", elsewhere, "-a", root)
    folder = tmp_path / "site"
    run("export", "site", folder, "-a", root)
    text = (folder / "sheet" / "BW-01.html").read_text(encoding="utf-8")
    assert "BW-01.tif" in text
    for file in folder.rglob("*.html"):
        content = file.read_text(encoding="utf-8")
        assert "somewhere" not in content
        assert str(tmp_path) not in content


def test_never_into_a_folder_that_holds_something_and_whole_or_not_at_all(measured, tmp_path):
    filled = tmp_path / "filled"
    filled.mkdir()
    (filled / "mine.txt").write_text("mine", encoding="utf-8")
    for wrong, why in (
        (filled, "holds something already"),
        (filled / "mine.txt", "is there already and no folder"),
        (tmp_path / "nowhere" / "site", "there is no folder"),
    ):
        assert why in measured.run("export", "site", wrong, status=2).stderr
    assert [path.name for path in filled.iterdir()] == ["mine.txt"]

    # Broken off at any sheet, nothing is left.
    before = set(tmp_path.iterdir())
    with Archive.open(measured.archive, readonly=True) as archive:
        sheets = iter(site_of(archive, tmp_path / "site"))
        next(sheets)
        assert set(tmp_path.iterdir()) > before
        assert not (tmp_path / "site").exists()
        sheets.close()
    assert set(tmp_path.iterdir()) - before <= {tmp_path / "negcat.db-wal", tmp_path / "negcat.db-shm"}


def test_an_empty_archive_has_pages_too(tmp_path):
    run("init", tmp_path / "empty")
    told = json.loads(run("export", "site", tmp_path / "site", "-a", tmp_path / "empty", "--json").stdout)
    assert told["sheets"] == 0
    assert "The archive holds no sheets yet." in " ".join(
        reached(tmp_path / "site")[tmp_path / "site" / "index.html"].text
    )
