"""The wall counts what is there now, whichever program wrote it and whatever became of the archive meanwhile."""

import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import yaml

from negcat.web.serving import assemble

pytestmark = pytest.mark.asyncio

RECORD = {
    "sheet": "QU-1",
    "film": "Marl Pan 100",
    "lens": "Corrin 150",
    "stop": "22",
    "time": "1",
    "tag": "N+1",
    "place": "Old quay",
    "exposed_at": "2026-05-01",
}


async def counted(site: Any, query: str = "") -> tuple[int, dict[str, int]]:
    """Read how many sheets a page of the wall names, and the numbers in its list of places."""
    answer = await site.client.get(f"/{query}")
    assert answer.status_code == 200, answer.text
    count = re.search(r'role="status">([\d,]+) sheet', answer.text)
    assert count
    places = re.search(r'<datalist id="places">(.*?)</datalist>', answer.text, re.DOTALL)
    assert places
    assert len(re.findall('class="plate"', answer.text)) == int(count.group(1))
    return int(count.group(1)), {
        place: int(number) for place, number in re.findall(r">([^<>]+) \((\d+)\)</option>", places.group(1))
    }


def record(archive: Path, folder: Path, **changes: str) -> None:
    """Take a record as the command line does, in another process."""
    file = folder / "record.yaml"
    file.write_text(yaml.safe_dump({"sheets": [{**RECORD, **changes}]}), encoding="utf-8")
    negcat = Path(sys.executable).with_name("negcat")
    subprocess.run([negcat, "record", "-a", archive, file], check=True, capture_output=True)


async def test_another_program_writes_between_two_requests(own: Path, tmp_path: Path) -> None:
    site = assemble(own)
    assert await counted(site) == (4, {"Clay pit": 1, "North kiln": 2, "Tidal creek": 1})
    assert (await counted(site, "?text=quay"))[0] == 0
    record(own, tmp_path)
    assert await counted(site) == (5, {"Clay pit": 1, "North kiln": 2, "Old quay": 1, "Tidal creek": 1})
    assert await counted(site, "?text=quay") == (1, {"Old quay": 1})
    assert (await counted(site, "?tag=N%2B1&since=2026-05"))[0] == 1
    record(own, tmp_path, place="New quay", tag="N-1")
    assert await counted(site, "?text=quay") == (1, {"New quay": 1})
    assert (await counted(site, "?tag=N%2B1&since=2026-05"))[0] == 0
    film = (await site.client.get("/film/Marl%20Pan%20100.json")).json()
    assert film["sheets"] == 5
    record(own, tmp_path, sheet="QU-2", stop="32")
    film = (await site.client.get("/film/Marl%20Pan%20100.json")).json()
    assert film["sheets"] == 6
    assert sum(tag["sheets"] for tag in film["tags"]) == 6


async def test_the_archive_is_taken_away_and_another_put_there(own: Path, tmp_path: Path) -> None:
    site = assemble(own)
    assert (await counted(site))[0] == 4
    shutil.copytree(own, tmp_path / "other")
    record(tmp_path / "other", tmp_path)
    own.rename(tmp_path / "away")
    answer = await site.client.get("/")
    assert answer.status_code == 500
    assert "is no archive" in answer.text
    (tmp_path / "other").rename(own)
    assert (await counted(site))[0] == 5


@pytest.mark.parametrize("path", ["/lens/Haldane%20240", "/sheets.json"])
async def test_every_page_sees_what_was_written(own: Path, tmp_path: Path, path: str) -> None:
    site = assemble(own)
    before = (await site.client.get(path)).text
    assert (await site.client.get(path)).text == before
    record(
        own,
        tmp_path,
        sheet="BW-02",
        lens="Haldane 240",
        cell="whole",
        exposed_at="2026-03-07",
        place="Upstream",
    )
    after = (await site.client.get(path)).text
    assert after != before
