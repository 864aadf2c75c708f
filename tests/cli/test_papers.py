"""Papers printed by the command line."""

from __future__ import annotations

import io
import re
import shutil
from pathlib import Path

import pypdf
import pypdfium2
import pytest
import zxingcpp
from click.testing import CliRunner

from negcat.cli import main
from tests.cli.conftest import Bench

HOLDERS = """\
holders:
  - holder: "5"
    format: 4x5
    sides:
      - {side: A, film: Brickdust 100, loaded_at: 2026-06-10}
      - {side: B}
  - holder: "6"
    sides: [{side: A, film: Brickdust 100, loaded_at: 2026-06-10}]
"""


def said(path: Path) -> str:
    return "\n".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(path.read_bytes())).pages)


def codes(path: Path) -> list[str]:
    with pypdfium2.PdfDocument(path) as document:
        pages = [page.render(scale=200 / 72, grayscale=True).to_numpy() for page in document]
        return [code.text for page in pages for code in zxingcpp.read_barcodes(page)]


def contents(folder: Path) -> dict[Path, bytes]:
    """Read every file but those that SQLite keeps beside an open catalogue."""
    files = (
        path for path in folder.rglob("*") if path.is_file() and not path.name.endswith(("-shm", "-wal"))
    )
    return {path: path.read_bytes() for path in files}


@pytest.fixture
def paper(archive: Bench) -> Path:
    return archive.folder / "paper.pdf"


def test_every_paper_is_written_and_nothing_but_it(archive: Bench, paper: Path):
    before = contents(archive.folder)
    for words in (
        ("field-sheet", paper),
        ("crib", paper),
        ("labels", paper, "BW-01", "BW-02"),
        ("sleeve", paper, "bw-01"),
        ("batch-sheet", paper, "--batch", "B1"),
        ("batch-sheet", paper, "--film", "brickdust 100", "--tag", "N+1"),
    ):
        for size, points in (("a4", 595), ("letter", 612)):
            told = archive.json("print", *words, "--paper", size)
            pages = pypdf.PdfReader(io.BytesIO(paper.read_bytes())).pages
            assert told == {"file": str(paper), "pages": len(pages), "paper": size, "letters_wanting": ""}
            page = pages[0]
            assert round(float(page.mediabox.width)) == points
            paper.unlink()
    assert contents(archive.folder) == before


def test_a_file_is_only_replaced_when_told_so(archive: Bench, paper: Path):
    paper.write_text("mine", encoding="utf-8")
    refused = archive.run("print", "crib", paper, status=2)
    assert refused.stderr.strip() == (
        f"negcat: {paper} is there already; name another file, or add --overwrite to replace it"
    )
    assert paper.read_text(encoding="utf-8") == "mine"
    archive.run("print", "crib", paper, "--overwrite")
    assert paper.read_bytes().startswith(b"%PDF")
    assert [path.name for path in archive.folder.iterdir() if path.name.startswith(".")] == []


def test_a_folder_that_is_not_there_is_said_before_anything_is_drawn(archive: Bench):
    refused = archive.run("print", "crib", archive.folder / "absent" / "crib.pdf", status=2)
    assert f"there is no folder {archive.folder / 'absent'}" in refused.stderr


def test_the_crib_works_out_what_the_records_say(archive: Bench, paper: Path):
    archive.run("print", "crib", paper)
    text = said(paper)
    # 8 s to the power 1.3 is 14.9 s, 60 s is 205 s; the rear cell of 300 mm on the scale of the whole one of 180 mm
    # loses 2·log2(300/180) = 1.47 stops; a bellows of 180·√2 = 255 mm costs one stop.
    assert "give 1 s 2.5 s 6.1 s 15 s 34 s 1:23 3:25 8:25 20:42" in text
    assert "Read on the scale of the whole cell: open up 1½ (+1.47 stops)." in text
    assert "bellows, mm 202 227 255 286 321 360 404 454 509" in text
    assert "N 9:30 used Slip, 1+49 20 1 not measured" in text
    assert text.count("the archive knows no time for this tag") == 4
    archive.run("print", "crib", paper, "--lens", "aldwater", "--overwrite")
    assert "Brickdust" not in said(paper)


def test_a_field_sheet_knows_what_is_loaded(archive: Bench, paper: Path):
    archive.run("record", archive.records(HOLDERS, "holders.yaml"))
    archive.run("print", "field-sheet", paper, "--loaded", "--first", "BW-03b")
    text = said(paper)
    assert text.count("Brickdust 100") == 2
    assert "BW-03b" in text
    assert "BW-04b" in text
    archive.run("print", "field-sheet", paper, "--holder", "5", "--holder", "9", "--overwrite")
    assert len(pypdf.PdfReader(io.BytesIO(paper.read_bytes())).pages) == 2
    assert said(paper).count("Brickdust 100") == 1  # side B is empty, holder 9 is not on record


def test_labels_and_sleeves_hold_the_codes_of_their_sheets(archive: Bench, paper: Path):
    archive.run("print", "labels", paper, "BW-02", "bw-03", "BW-02", "--skip", "3")
    assert codes(paper) == ["BW-02", "BW-03"]
    archive.run("print", "sleeve", paper, "BW-01", "BW-03", "--overwrite")
    assert codes(paper) == ["BW-01", "BW-03"]
    assert "B1, Slip, 1+49, 9:30 min, 20 °C" in said(paper)


def test_a_batch_sheet_names_what_waits(archive: Bench, paper: Path):
    archive.run("print", "batch-sheet", paper, "--film", "Brickdust 100", "--tag", "N+1")
    text = said(paper)
    assert "BW-02" in text
    assert "The archive knows no time for this film and tag." in text
    assert "Gloves and eye protection" in text


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("field-sheet", "--loaded"), "no holder on record is loaded and unexposed"),
        (("field-sheet", "--first", "BW-01"), "sheet 'BW-01' is in the archive already; the next free id is BW-04"),
        (("field-sheet", "--first", "no id"), "'no id' is no sheet id"),
        (("crib", "--film", "Brickdust 10"), "no film 'Brickdust 10'; the nearest known: Brickdust 100"),
        (("labels", "BW-9"), "the archive holds no sheet 'BW-9'"),
        (("batch-sheet",), "Say which: --batch B, or --film F and --tag T."),
        (("batch-sheet", "--batch", "B1", "--tag", "N"), "not both"),
        (("batch-sheet", "--film", "Brickdust 100", "--tag", "N-3"), "no sheet on Brickdust 100 waits"),
        (("batch-sheet", "BW-01", "--film", "Brickdust 100", "--tag", "N+1"), "BW-01 doesn’t wait"),
    ],
)  # fmt: skip
def test_what_cannot_be_printed_is_said(archive: Bench, paper: Path, words: tuple[str, ...], sentence: str):
    refused = archive.run("print", words[0], paper, *words[1:], status=2)
    assert sentence in refused.stderr
    assert not paper.exists()


def test_letters_that_no_font_has_are_named(archive: Bench, paper: Path):
    record = "sheets: [{sheet: X-1, film: Brickdust 100, lens: Aldwater, cell: whole, stop: 22, time: 1, place: 𒀀}]"
    archive.run("record", archive.records(record, "more.yaml"))
    warned = archive.run("print", "sleeve", paper, "X-1")
    assert "no font at hand has the letters 𒀀" in warned.stderr
    assert paper.exists()


def test_the_crib_of_the_sample_says_where_its_times_are_from(sample: Path, tmp_path: Path):
    paper = tmp_path / "crib.pdf"
    own = Path(shutil.copytree(sample, tmp_path / "own"))
    for command in (("review", "--accept", "time-sorrel-100-ousel-n+1"), ("print", "crib", str(paper))):
        result = CliRunner().invoke(main, [*command, "-a", str(own)])
        assert result.exit_code == 0, result.stderr
    text = " ".join(said(paper).split())
    sorrel, marl = text[: text.index("Marl 400")], text[text.index("Marl 400") :]
    # Nobody used N−2: only film tests tell of it, and on Marl 400 none was developed for so short a time.
    assert re.search(r"N−2 \d+:\d\d film tests Ousel, 1\+25 20 \d+:\d\d to \d+:\d\d N−1", sorrel)
    assert re.search(r"N−2 \d+:\d\d\* film tests", marl)
    assert "* No time like it was tried yet: go there in two steps." in marl
    # What was used stands behind what the sheets say; an accepted time takes its place.
    assert re.search(r"N−1 \d+:\d\d sheets Ousel, 1\+25 20 3 \d+:\d\d to \d+:\d\d 7:30 used Ousel", sorrel)
    assert re.search(r"N\+1 11:\d\d accepted Ousel, 1\+25 20 5 \d+:\d\d to \d+:\d\d 10:00 used Ousel", sorrel)
    assert re.search(r"N\+1 14:\d\d sheets Ousel, 1\+25 20 3", marl)
