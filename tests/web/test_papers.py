"""Papers from the pages: each link gives a PDF of what it names."""

from __future__ import annotations

import io
import re
from pathlib import Path

import pypdf
import pytest
from datasette.app import Datasette

from tests.web.test_html import errors


def text_of(pdf: bytes) -> str:
    return "\n".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages)


@pytest.mark.asyncio
@pytest.mark.parametrize(
    ("page", "paper", "said"),
    [
        ("/sheet/BW-01", "/sheet/BW-01/sleeve.pdf", "fire holes"),
        ("/sheet/BW-01", "/sheet/BW-01/label.pdf", "Marl Pan 100"),
        ("/batch/B1", "/batch/B1/sheet.pdf", "two-bath"),
        (
            "/film/Marl%20Pan%20100",
            "/film/Marl%20Pan%20100/crib.pdf",
            "the archive knows no time for this tag",
        ),
        ("/lens/Haldane%20240", "/lens/Haldane%20240/crib.pdf", "open up ½ (+0.50 stops)"),
        ("/new", "/crib.pdf", "Corrin 150"),
        ("/new", "/field-sheet.pdf", "Bellows, mm"),
        (
            "/pending/develop?film=Marl+Pan+100&tag=N%2B1",
            "/pending/develop.pdf?film=Marl+Pan+100&tag=N%2B1",
            "BW-04",
        ),
    ],
)
async def test_a_page_leads_to_its_paper(site: Datasette, page: str, paper: str, said: str):
    shown = await site.client.get(page)
    assert shown.status_code == 200
    links = [link.replace("&amp;", "&") for link in re.findall(r'href="([^"]+\.pdf[^"]*)"', shown.text)]
    assert paper in links
    answer = await site.client.get(paper)
    assert (answer.status_code, answer.headers["content-type"]) == (200, "application/pdf")
    assert answer.headers["content-disposition"].startswith("inline; filename*=UTF-8''")
    assert said in text_of(answer.content)


@pytest.mark.asyncio
@pytest.mark.parametrize(("asked", "width"), [("", 595), ("?paper=a4", 595), ("?paper=letter", 612)])
async def test_the_paper_asked_for_is_drawn(site: Datasette, asked: str, width: int):
    answer = await site.client.get("/field-sheet.pdf" + asked)
    assert round(float(pypdf.PdfReader(io.BytesIO(answer.content)).pages[0].mediabox.width)) == width


@pytest.mark.asyncio
@pytest.mark.parametrize(
    ("path", "status", "said"),
    [
        ("/crib.pdf?paper=foolscap", 400, "write a4 or letter"),
        ("/sheet/BW-99/sleeve.pdf", 404, "no sheet &#39;BW-99&#39;"),
        ("/film/Nowhere/crib.pdf", 404, "no film"),
        ("/pending/develop.pdf?film=Marl+Pan+100&tag=N-3", 404, "no sheet on Marl Pan 100 waits"),
        ("/pending/develop.pdf?film=Marl+Pan+100&tag=often", 400, "often"),
    ],
)
async def test_what_cannot_be_printed_is_said(site: Datasette, path: str, status: int, said: str):
    answer = await site.client.get(path)
    assert answer.status_code == status
    assert said in answer.text


@pytest.mark.asyncio
async def test_a_paper_is_only_read(site: Datasette):
    assert (await site.client.post("/crib.pdf")).status_code == 405


@pytest.mark.asyncio
async def test_the_field_form_is_given_to_be_kept(site: Datasette):
    assert 'href="/field-form.html" download' in (await site.client.get("/new")).text
    answer = await site.client.get("/field-form.html")
    assert answer.status_code == 200
    assert answer.headers["content-disposition"].startswith("attachment")
    assert "Marl Pan 100" in answer.text
    assert (
        "script-src 'self'" in answer.headers["content-security-policy"]
    )  # here its inline script may not run


@pytest.mark.slow
@pytest.mark.asyncio
async def test_the_field_form_is_valid(site: Datasette, tmp_path: Path):
    (tmp_path / "form.html").write_text((await site.client.get("/field-form.html")).text, encoding="utf-8")
    # The checker's notion of CSS is older than what the form is written in.
    assert [error for error in errors(tmp_path) if " CSS: " not in error] == []
