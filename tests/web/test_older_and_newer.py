"""Pages of an archive that another version of negcat laid out: a sentence, or the archive brought up to date."""

import sqlite3
from html import unescape
from pathlib import Path

import pytest
from datasette.app import Datasette

from negcat.catalogue import Catalogue
from tests.unit.catalogue.upgrading import make

pytestmark = pytest.mark.asyncio

OLDER = make.FOLDER / "m009_holders.sql"


def laid(root: Path, more: str = "") -> Path:
    path = root / "negcat.db"
    with sqlite3.connect(path) as database:
        database.executescript(OLDER.read_text(encoding="utf-8") + more)
    database.close()
    return path


async def page(path: Path) -> tuple[int, str]:
    datasette = Datasette([str(path)])
    await datasette.invoke_startup()
    answer = await datasette.client.get("/pending")
    return answer.status_code, unescape(answer.text)


async def test_an_older_one_says_what_brings_it_up_to_date(tmp_path: Path) -> None:
    path = laid(tmp_path)
    status, text = await page(path)
    assert status >= 400
    assert "made by an older negcat" in text
    assert "brings it up to date" in text
    Catalogue.open(path).close()
    assert (await page(path))[0] == 200


async def test_a_newer_one_says_so(tmp_path: Path) -> None:
    path = laid(
        tmp_path,
        "insert into _sqlite_migrations (migration_set, name, applied_at) values ('negcat', 'm999_later', '2030');",
    )
    status, text = await page(path)
    assert status >= 400
    assert "newer negcat" in text
    assert "bring this negcat up to date" in text
    assert "Traceback" not in text
