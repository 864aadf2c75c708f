"""The real server, started as a user starts it, in a real Chromium."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, ConsoleMessage, Page, Playwright, Request, Response, sync_playwright

from tests.conftest import Once
from tests.web.conftest import build

# Everything axe knows, with the rules of WCAG 2.2 that it leaves off by itself.
EVERYTHING = {"resultTypes": ["violations"], "rules": {"target-size": {"enabled": True}}}

CHROMIUM = os.environ.get("NEGCAT_CHROMIUM", "/usr/bin/chromium")
# Each window would load pages of the browser's own for its address bar, which nobody sees here: more work than
# the pages under test. The other features are those that Playwright turns off: a second list replaces the first.
WITHOUT = (
    "WebUIOmniboxPopup",
    "WebUIOmniboxAimPopup",
    "AimEnabled",
    "AvoidUnnecessaryBeforeUnloadCheckSync",
    "DestroyProfileOnBrowserClose",
    "HttpsFirstBalancedModeAutoEnable",
    "HttpsUpgrades",
    "LensOverlay",
    "MediaRouter",
    "NetworkTimeServiceQuerying",
    "OptimizationHints",
    "PaintHolding",
    "PreconnectToSearch",
    "ThirdPartyStoragePartitioning",
)


@pytest.fixture(scope="session")
def built(once: Once) -> Path:
    """The folder of an archive that is only read."""
    return once("small", build)


@pytest.fixture(scope="session")
def address(built: Path) -> Iterator[str]:
    """Where a served archive is, without a slash at the end."""
    yield from serving(built)


def serving(root: Path) -> Iterator[str]:
    """Serve an archive as a user does; gives its address, without a slash at the end."""
    for address, _ in serving_to_write(root):
        yield address


def serving_to_write(root: Path) -> Iterator[tuple[str, str]]:
    """Serve an archive as a user does; gives its address, without a slash at the end, and the sign-in link."""
    command = [
        sys.executable,
        "-c",
        "from negcat.cli import main; main()",
        "serve",
        "--port",
        "0",
        "-a",
        str(root),
    ]
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, text=True, cwd=Path(__file__).parents[2]
    ) as server:
        assert server.stdout is not None
        said = server.stdout.readline().strip()
        assert said.startswith("http://127.0.0.1:"), said
        yield said.rstrip("/"), server.stdout.readline().split()[-1]
        server.terminate()
        assert server.wait(timeout=20) in (0, -15)


# Of a module, not of the session: while Playwright runs, no other loop can, and tests of other kinds follow.
@pytest.fixture(scope="module")
def playwright() -> Iterator[Playwright]:
    with sync_playwright() as running:
        yield running


@pytest.fixture(scope="module")
def browser(playwright: Playwright) -> Iterator[Browser]:
    if not Path(CHROMIUM).exists():
        pytest.skip(f"there is no Chromium at {CHROMIUM}; name one in NEGCAT_CHROMIUM")
    running = playwright.chromium.launch(
        executable_path=CHROMIUM,
        headless=True,
        args=["--no-sandbox", f"--disable-features={','.join(WITHOUT)}"],
    )
    yield running
    running.close()


@dataclass
class Watched:
    """A page, and all that it said and asked for."""

    page: Page
    address: str
    console: list[str] = field(default_factory=list)
    elsewhere: list[str] = field(default_factory=list)
    failed: list[str] = field(default_factory=list)
    under_way: set[Request] = field(default_factory=set)

    def watch(self) -> None:
        self.page.on("console", self._said)
        self.page.on("pageerror", lambda error: self.console.append(str(error)))
        self.page.on("request", self._asked)
        self.page.on("response", self._answered)
        self.page.on("requestfinished", self._ended)
        self.page.on("requestfailed", self._ended)

    def _said(self, message: ConsoleMessage) -> None:
        self.console.append(f"{message.type}: {message.text}")

    def _asked(self, request: Request) -> None:
        self.under_way.add(request)
        if request.url.startswith("data:"):
            return
        if urlsplit(request.url).netloc != urlsplit(self.address).netloc:
            self.elsewhere.append(request.url)

    def _ended(self, request: Request) -> None:
        self.under_way.discard(request)

    def _answered(self, response: Response) -> None:
        if response.status >= 400:
            self.failed.append(f"{response.status} {response.url}")

    def open(self, path: str) -> Page:
        self.under_way.clear()
        self.page.goto(self.address + path, wait_until="load")
        return self.page

    def settle(self) -> None:
        """Wait until all that was asked for is there, and nothing more is asked for within a tenth of a second."""
        end = time.monotonic() + 15
        still = 0
        while still < 4:
            self.page.wait_for_timeout(30)
            still = 0 if self.under_way else still + 1
            assert time.monotonic() < end, [request.url for request in self.under_way]

    def quiet(self) -> bool:
        assert (self.console, self.elsewhere, self.failed) == ([], [], [])
        return True


@dataclass(frozen=True)
class View:
    """How somebody looks at a page."""

    width: int
    scheme: str

    def __str__(self) -> str:
        return f"{self.width}-{self.scheme}"


VIEWS = [View(width, scheme) for width in (1280, 390) for scheme in ("light", "dark")]
EACH_ONCE = [VIEWS[0], VIEWS[3]]
"""Each width and each scheme: what lies where goes by the width, what can be told apart by the scheme."""
WIDE, NARROW = EACH_ONCE


def only(fixture: str, view: View) -> pytest.MarkDecorator:
    """See a test in one view: for what goes by neither width nor scheme."""
    return pytest.mark.parametrize(fixture, [view], indirect=True, ids=str)


def unfold(page: Page) -> None:
    """Open all that can be opened, in a window as high as the page.

    A bar that sticks to the window's lower edge then covers nothing: which field lies under it in a lower window
    is chance, and scrolling brings it out.
    """
    page.evaluate("document.querySelectorAll('main details').forEach(details => { details.open = true; })")
    if page.locator(".save-bar").count():
        width = page.evaluate("window.innerWidth")
        page.set_viewport_size(
            {"width": width, "height": page.evaluate("document.documentElement.scrollHeight")}
        )


def watched(browser: Browser, address: str, view: View, **more: object) -> Iterator[Watched]:
    context = browser.new_context(
        viewport={"width": view.width, "height": 860},
        color_scheme=view.scheme,
        has_touch=view.width < 500,
        **more,
    )
    context.set_default_timeout(15_000)
    seen = Watched(context.new_page(), address)
    seen.watch()
    yield seen
    context.close()


@pytest.fixture(params=EACH_ONCE, ids=str)
def seen(request: pytest.FixtureRequest, browser: Browser, address: str) -> Iterator[Watched]:
    """A page at each width and in each scheme."""
    yield from watched(browser, address, request.param)


@dataclass(frozen=True)
class Writable:
    """A served archive of the tests' own, its folder, and what a browser holds that has signed in."""

    address: str
    root: Path
    state: dict[str, object]


@pytest.fixture(scope="module")
def writable(browser: Browser, tmp_path_factory: pytest.TempPathFactory, built: Path) -> Iterator[Writable]:
    """A copy of the archive that a module's tests may write to."""
    folder = tmp_path_factory.mktemp("writable") / "own"
    shutil.copytree(built.parent, folder)
    root = folder / built.name
    for address, link in serving_to_write(root):
        context = browser.new_context()
        context.new_page().goto(link)
        state = context.storage_state()
        context.close()
        yield Writable(address, root, state)


@pytest.fixture(params=EACH_ONCE, ids=str)
def signed_in(request: pytest.FixtureRequest, browser: Browser, writable: Writable) -> Iterator[Watched]:
    """A page of somebody who has signed in, on a copy of the archive."""
    yield from watched(browser, writable.address, request.param, storage_state=writable.state)


@pytest.fixture
def desk(browser: Browser, address: str) -> Iterator[Watched]:
    """A page on a wide, light screen."""
    yield from watched(browser, address, VIEWS[0])


@pytest.fixture
def without_javascript(browser: Browser, address: str) -> Iterator[Watched]:
    """A page in a browser that runs no JavaScript."""
    yield from watched(browser, address, VIEWS[0], java_script_enabled=False)
