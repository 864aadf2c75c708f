"""README's pictures: real pages of the sample archive. ``python -m tests.browser.pictures`` takes them anew."""

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from click.testing import CliRunner
from PIL import Image
from playwright.sync_api import Page, expect, sync_playwright

from negcat.cli import main

HERE = Path(__file__).parent / "pictures"
CHROMIUM = os.environ.get("NEGCAT_CHROMIUM", "/usr/bin/chromium")
# Name, address, width, height, reader's scheme.
PICTURES = (
    ("wall-1280", "/?sort=oldest", 1280, 1180, "light"),
    ("wall-rear-1280", "/?cell=rear&tag=N%2B1&sort=oldest", 1280, 850, "light"),
    ("sheet-1280", "/sheet/BW-07", 1280, 1900, "light"),
    ("sheet-dark-1280", "/sheet/BW-02", 1280, 1000, "dark"),
    ("zones-1280", "/sheet/BW-06", 1280, 1010, "light"),
    ("spots-1280", "/sheet/BW-01", 1280, 1330, "light"),
    ("review-1280", "/review", 1280, 1500, "light"),
    ("film-1280", "/film/Sorrel%20100", 1280, 1100, "light"),
    ("lens-1280", "/lens/Aldwater%20convertible%20195", 1280, 900, "light"),
    ("wall-390", "/?sort=oldest", 390, 844, "light"),
    ("sheet-390", "/sheet/BW-07", 390, 844, "light"),
    ("form-390", "/sheet/BW-10/edit", 390, 844, "light"),
    ("pending-1280", "/pending", 1280, 900, "light"),
    ("curves-1280", "/film/Marl%20400", 1280, 1400, "light"),
)


def arrange(page: Page, name: str) -> None:
    """Do on a page what its picture is to show."""
    if name.startswith("curves"):
        page.locator("#curves").evaluate("heading => heading.scrollIntoView()")
    if name.startswith("zones"):
        page.get_by_role("radio", name="By zone").check()
        page.wait_for_timeout(500)
    if name.startswith("spots"):
        page.get_by_text("Set or move the spots").click()
        page.locator(".glass").focus()
        for _ in range(6):
            page.keyboard.press("ArrowRight")
        expect(page.locator(".spot-verdict")).to_contain_text("Tried")
        page.wait_for_timeout(500)


def take_pictures() -> None:
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder) / "brickworks"
        result = CliRunner().invoke(main, ["demo", str(root), "--no-serve"])
        assert result.exit_code == 0, result.stderr
        shutil.copy(root / "previews" / "profile-1.svg", HERE / "profile.svg")
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
        with (
            subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as server,
            sync_playwright() as playwright,
        ):
            assert server.stdout is not None
            address = server.stdout.readline().strip().rstrip("/")
            browser = playwright.chromium.launch(
                executable_path=CHROMIUM, headless=True, args=["--no-sandbox"]
            )
            for name, path, width, height, scheme in PICTURES:
                page = browser.new_page(viewport={"width": width, "height": height}, color_scheme=scheme)
                page.goto(address + path)
                page.wait_for_load_state("networkidle")
                arrange(page, name)
                png = HERE / f"{name}.png"
                page.screenshot(path=png)
                with Image.open(png) as picture:
                    picture.convert("RGB").save(HERE / f"{name}.jpg", quality=82, optimize=True)
                png.unlink()
                page.close()
            browser.close()
            server.terminate()


if __name__ == "__main__":
    take_pictures()
