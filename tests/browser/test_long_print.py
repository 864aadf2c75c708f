"""A sheet with much to say on paper: pages broken between its parts, and nothing over anything else."""

from __future__ import annotations

import io
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page
from pypdf import PageObject, PdfReader

from negcat.work.archive import Archive
from negcat.work.taking import take_record_data
from tests.browser.conftest import VIEWS, Watched, serving, watched

pytestmark = pytest.mark.browser

METERED = [
    "soot",
    "sky",
    "arch",
    "door",
    "brick",
    "lintel",
    "stack",
    "flue",
    "water",
    "reeds",
    "cloud",
    "mud",
]
LONG_NAME = "{} in the long shade of the drying shed, metered from the tripod"
SUBJECT = f"{'The fire holes of the north kiln, seen through the arch of the drying shed; ' * 4}"[:299] + "."
PARAGRAPHS = [
    f"Of the morning, part {part}: "
    + "the mist lay over the creek until the sun stood above the stack, and drops fell on the bellows. " * 5
    for part in range(1, 8)
]
# Sheet: how many readings its record has, and whether it has the long notes.
SHEETS = {"BW-01": (12, True), "BW-02": (4, True), "BW-04": (12, False)}


@pytest.fixture(scope="module")
def lengthy(tmp_path_factory: pytest.TempPathFactory, built: Path) -> Iterator[str]:
    """Where a copy of the archive is served whose records are as long as anybody's."""
    folder = tmp_path_factory.mktemp("lengthy") / "own"
    shutil.copytree(built.parent, folder)
    root = folder / built.name
    with Archive.open(root) as archive:
        records = []
        for sheet, (count, with_notes) in SHEETS.items():
            record = archive.catalogue.sheet(sheet)
            assert record is not None
            readings = [
                {
                    "name": LONG_NAME.format(name),
                    "role": "shadow" if number == 0 else "other",
                    "ev": 10 + number / 3,
                    **({"zone": "IV"} if number == 0 else {}),
                    "spot": {"x": 0.1 + 0.07 * number, "y": 0.3 + 0.03 * number},
                }
                for number, name in enumerate(METERED[:count])
            ]
            written = record.model_dump(mode="json", exclude_none=True)
            notes = {"notes": "\n".join(PARAGRAPHS)} if with_notes else {}
            records.append({**written, "subject": SUBJECT, "readings": readings, **notes})
        take_record_data(archive, {"sheets": records}, via="record long.json")
    yield from serving(root)


@pytest.fixture
def desk(browser: Browser, lengthy: str) -> Iterator[Watched]:
    yield from watched(browser, lengthy, VIEWS[0])


def printed(page: Page, paper: str) -> list[PageObject]:
    return list(PdfReader(io.BytesIO(page.pdf(format=paper))).pages)


def texts(paper: PageObject) -> list[tuple[float, float, float, str]]:
    """What is written on a page: height, place across and size in points, and the text."""
    found: list[tuple[float, float, float, str]] = []

    def visit(text: str, moved: list[float], placed: list[float], font: object, size: float) -> None:
        del font
        if text.strip():
            x = moved[0] * placed[4] + moved[2] * placed[5] + moved[4]
            y = moved[1] * placed[4] + moved[3] * placed[5] + moved[5]
            found.append((y, x, abs(moved[3] * placed[3]) * size, text.strip()))

    paper.extract_text(visitor_text=visit)
    return found


def written_over(paper: PageObject) -> list[tuple[str, str]]:
    """Texts that lie partly on each other: nearer than half a line, but not on one line."""
    # The chart's own figures stand where its points are.
    found = [part for part in texts(paper) if len(part[3]) > 4]
    return [
        (one[3], other[3])
        for place, one in enumerate(found)
        for other in found[place + 1 :]
        if 0.5 < abs(one[0] - other[0]) < 0.6 * min(one[2], other[2])
        and one[1] < other[1] + 0.4 * other[2] * len(other[3])
        and other[1] < one[1] + 0.4 * one[2] * len(one[3])
    ]


@pytest.mark.parametrize(("sheet", "paper"), [("BW-01", "Letter"), ("BW-02", "A4"), ("BW-04", "A4")])
def test_it_prints_on_few_pages_cleanly_broken_and_whole(desk: Watched, sheet: str, paper: str) -> None:
    count, with_notes = SHEETS[sheet]
    page = desk.open(f"/sheet/{sheet}")
    desk.settle()
    pages = printed(page, paper)
    assert 1 <= len(pages) <= 3
    by_page = [" ".join(part.extract_text().split()) for part in pages]
    whole = " ".join(by_page)
    assert SUBJECT in whole
    assert all(len(words) > 300 for words in by_page), "a page is nearly empty"
    for number, part in enumerate(pages):
        assert written_over(part) == [], (number, by_page[number])
    # Each reading stands on one page with all its lines.
    for name in METERED[:count]:
        lines = re.compile(re.escape(LONG_NAME.format(name)) + r".{,60}planned .{,120}difference")
        assert sum(bool(lines.search(words)) for words in by_page) == 1, name
    # A heading never ends a page.
    for part in pages:
        lowest = min(texts(part))[3]
        assert lowest not in ("The ledger", "On the curve", "The record", "Development", "The scan", "Notes")
    if with_notes:
        for paragraph in PARAGRAPHS:
            assert " ".join(paragraph.split()) in whole
    for heading in ("Planned, given, found", "The ledger", "On the curve", "The record", "The scan"):
        assert whole.count(heading) == 1, heading
    assert desk.quiet()


def test_paragraphs_of_a_note_stay_apart(desk: Watched) -> None:
    page = desk.open("/sheet/BW-01")
    notes = page.locator("section", has=page.locator("#record")).locator("dd").last
    assert notes.inner_text().split("\n") == [paragraph.strip() for paragraph in PARAGRAPHS]
    assert desk.quiet()
