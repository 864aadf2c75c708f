"""Every page of an archive, found as a reader finds them: by following its links."""

from __future__ import annotations

import re
import shutil
from collections import Counter
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from urllib.parse import urljoin, urlsplit

from datasette.app import Datasette

# Addresses of one page that differ in what is asked of it: so many of each are looked at.
ASKED_OF_EACH = 4
# Pages that stand at no link, whatever the archive holds.
UNLINKED = (
    "/?text=nothing+of+that+name",
    "/?tag=askew&since=yesterday&limit=7",
    "/?text=%3Cb%3E%26amp%3B&place=%22%3E%3Ci%3E",
    "/new",
    "/pending",
    "/sheet/none",
    "/sheet/none/edit",
    "/sheet/none/compare",
    "/film/none",
    "/lens/none",
    "/batch/none",
    "/no/%3Cb%3Esuch%3C/b%3E/page",
)


class Links(HTMLParser):
    """Where a page's links and its further forms of itself lead."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        # What is to be kept is no page of the archive.
        if tag in ("a", "link") and "download" not in dict(attrs) and (href := dict(attrs).get("href")):
            self.found.append(href)


def signed_in(site: Any) -> dict[str, str]:
    """What a browser holds that has opened the sign-in link."""
    return {"ds_actor": site.sign({"a": {"id": "root"}}, "actor")}


def _ours(address: str) -> bool:
    path = urlsplit(address).path
    if path.endswith(".pdf"):
        return False  # a paper is no page, and drawing every one takes longer than all the pages
    first = path.split("/")[1]
    return address.startswith("/") and not address.startswith("//") and first not in ("-", "negcat", "iiif")


async def every_page(site: Any, *, writing: bool = False) -> tuple[dict[str, Any], dict[str, Any]]:
    """Ask for every page that a link leads to from the wall, and for those that no link leads to.

    Parameters
    ----------
    writing : look as somebody who has signed in.

    Returns
    -------
    address → answer of the pages, and of the JSON documents that they link.
    """
    cookies = signed_in(site) if writing else {}
    pages: dict[str, Any] = {}
    documents: dict[str, Any] = {}
    asked: Counter[str] = Counter()
    waiting = ["/", *UNLINKED]
    while waiting:
        address = waiting.pop(0)
        path = urlsplit(address).path
        if address in pages or address in documents or asked[path] >= ASKED_OF_EACH:
            continue
        asked[path] += 1
        answer = await site.client.get(address, cookies=cookies)
        if answer.is_redirect:
            waiting.append(urljoin(address, answer.headers["location"]))
            continue
        if answer.headers["content-type"].startswith("application/json"):
            documents[address] = answer
            continue
        if not answer.headers["content-type"].startswith("text/html"):
            continue
        pages[address] = answer
        links = Links()
        links.feed(answer.text)
        whole = (urljoin(address, link).partition("#")[0] for link in links.found)
        waiting.extend(link for link in whole if _ours(link))
        if path.startswith("/sheet/") and path.count("/") == 2 and answer.status_code == 200:
            waiting.append(f"{path}/edit")
    return pages, documents


async def refused_forms(root: Path, sheet: str, folder: Path) -> dict[str, Any]:
    """Send forms that can't be taken, as somebody who has signed in; gives what they come back as.

    Parameters
    ----------
    root : the archive, which stays as it is.
    sheet : id of a sheet of the archive.
    folder : where a copy of its catalogue goes, as what is refused is in the log of the door.
    """
    folder.mkdir()
    shutil.copy(root / "negcat.db", folder)
    site = Datasette([str(folder / "negcat.db")])
    cookies = signed_in(site)
    first = await site.client.get("/new", cookies=cookies)
    token = re.search(r'name="csrftoken" value="([^"]+)"', first.text)
    assert token is not None
    cookies |= dict(first.cookies)
    typed = "<mkx onmk=1>\"'><script>window.mkran=1</script>&lt;"
    fields = (
        "sheet",
        "film",
        "lens",
        "cell",
        "stop",
        "time",
        "tag",
        "exposed_at",
        "notes",
        "place",
        "filter_factor",
    )
    fields += ("readings.0.name", "readings.0.ev", "readings.0.zone", "readings.0.spot.x", "base_fog_spot.x")
    wrong = {"csrftoken": token[1], **dict.fromkeys(fields, typed)}
    answers = {}
    for address in ("/new", "/new/worked", f"/sheet/{sheet}/edit", f"/sheet/{sheet}/edit/worked"):
        form = await site.client.get(address.removesuffix("/worked"), cookies=cookies)
        hidden = dict(re.findall(r'type="hidden" name="([^"]+)" value="([^"]*)"', form.text))
        answers[f"POST {address}"] = await site.client.post(
            address, data={**hidden, **wrong}, cookies=cookies
        )
    waiting = (await site.client.get("/pending", cookies=cookies)).text
    for scan in re.findall(r'action="(/scan/[0-9a-f]{12}/join)"', waiting)[:1]:
        answers[f"POST {scan}"] = await site.client.post(
            scan, data={"csrftoken": token[1], "sheet": typed}, cookies=cookies
        )
    return answers
