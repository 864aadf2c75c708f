"""The rooms import one way, and each outside library has one room."""

import ast
import sys
from pathlib import Path

import pytest

import negcat

PACKAGE = Path(negcat.__file__).parent

COMPUTING = {
    "exposure",
    "reciprocity",
    "sensitometry",
    "densitometry",
    "judgement",
    "learning",
    "summaries",
}
# A room may import from the groups to its left and from its own. `serving` and `site` hand over from cli to web.
GROUPS = [
    {"errors"},
    {"notation"},
    COMPUTING,
    {"whole_files", "places"},
    {"records", "scans", "catalogue", "papers", "fieldform"},
    {"work"},
    {"web"},
    {"serving", "site"},
    {"cli"},
]
GROUP_OF = {room: place for place, rooms in enumerate(GROUPS) for room in rooms}
STRANGERS = {("cli", "web"), ("web", "cli")}

ONE_ROOM_LIBRARIES = {
    "click": "cli",
    "datasette": "web",
    "jinja2": "web",
    "markupsafe": "web",
    "sqlite3": "catalogue",
    "sqlite_utils": "catalogue",
    "tifffile": "scans",
    "imagecodecs": "scans",
    "PIL": "scans",
    "exifread": "scans",
    "fsspec": "places",
    "pyvips": "scans",
    "fpdf": "papers",
    "segno": "papers",
    "fontTools": "papers",
}
PURE_LIBRARIES = {"numpy", "scipy"}
# What knows a path, a clock, a log, the machine or chance has no place where figures are computed.
IMPURE_STANDARD = {
    "asyncio", "calendar", "datetime", "glob", "io", "locale", "logging", "multiprocessing", "os", "pathlib",
    "random", "shutil", "signal", "socket", "sqlite3", "subprocess", "sys", "tempfile", "threading", "time",
    "urllib", "zoneinfo",
}  # fmt: skip


def imports_of(module: str, source: str, *, is_package: bool = False) -> set[str]:
    """Return every module that a source imports, wherever in it, with relative imports made absolute."""
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            base = module.split(".")
            base = base[: len(base) - node.level + is_package] if node.level else []
            origin = ".".join([*base, *([node.module] if node.module else [])])
            # `from negcat import exposure` names the room in what is imported
            found |= {f"{origin}.{alias.name}" for alias in node.names} if origin == "negcat" else {origin}
    return found


def room_of(module: str) -> str | None:
    parts = module.split(".")
    return parts[1] if parts[0] == "negcat" and len(parts) > 1 else None


def faults_of(module: str, source: str, *, is_package: bool = False) -> list[str]:
    """Return what a module imports against the rules of the house."""
    room = room_of(module)
    faults = []
    if room is None:
        return [f"{module} imports {name}" for name in imports_of(module, source, is_package=is_package)]
    if room not in GROUP_OF:
        return [f"{module} is in no room: give {room} its place in GROUPS"]
    for name in sorted(imports_of(module, source, is_package=is_package)):
        top, other = name.split(".")[0], room_of(name)
        if top == "negcat":
            if other is None or other == "__version__":
                continue
            if other not in GROUP_OF:
                faults.append(f"{module} imports {name}, which is in no room")
            elif GROUP_OF[other] > GROUP_OF[room] or (room, other) in STRANGERS:
                faults.append(f"{module} imports {name}, against the one way")
            continue
        if ONE_ROOM_LIBRARIES.get(top, room) != room:
            faults.append(f"{module} imports {top}, which belongs to {ONE_ROOM_LIBRARIES[top]}")
        if room in COMPUTING | {"errors", "notation"}:
            from_outside = top not in STANDARD and top not in (PURE_LIBRARIES if room in COMPUTING else set())
            if from_outside or top in IMPURE_STANDARD:
                faults.append(f"{module} imports {top}: a computing room knows numbers only")
    return faults


def _modules() -> list[tuple[str, Path]]:
    found = []
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
        found.append((".".join(parts[:-1] if parts[-1] == "__init__" else parts), path))
    return found


STANDARD = sys.stdlib_module_names
MODULES = _modules()


def test_the_house_is_found():
    rooms = {room_of(module) for module, _ in MODULES}
    assert {"errors", "notation", "exposure", "reciprocity"} <= rooms


@pytest.mark.parametrize(("module", "path"), MODULES, ids=[module for module, _ in MODULES])
def test_imports_go_one_way(module: str, path: Path):
    faults = faults_of(module, path.read_text(encoding="utf-8"), is_package=path.name == "__init__.py")
    assert faults == []


def test_rooms_of_one_group_do_not_go_round_in_a_circle():
    edges: dict[str, set[str]] = {room: set() for room in GROUP_OF}
    for module, path in MODULES:
        room = room_of(module)
        if room in GROUP_OF:
            named = imports_of(
                module, path.read_text(encoding="utf-8"), is_package=path.name == "__init__.py"
            )
            edges[room] |= {other for name in named if (other := room_of(name)) in GROUP_OF and other != room}
    assert circle_in(edges) is None


def circle_in(edges: dict[str, set[str]]) -> list[str] | None:
    """Return a circle of rooms, or None."""

    def walk(room: str, trail: list[str]) -> list[str] | None:
        if room in trail:
            return [*trail[trail.index(room) :], room]
        return next((found for other in sorted(edges[room]) if (found := walk(other, [*trail, room]))), None)

    return next((found for room in edges if (found := walk(room, []))), None)


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("negcat.exposure.light", "from negcat.records import Sheet"),
        ("negcat.exposure.light", "import negcat.work.measure"),
        ("negcat.exposure.light", "from negcat import catalogue"),
        ("negcat.exposure.light", "from ..scans import model"),
        ("negcat.exposure.light", "def f():\n    import pathlib"),
        ("negcat.judgement", "import time"),
        ("negcat.densitometry.spots", "from PIL import Image"),
        ("negcat.densitometry.spots", "import tifffile"),
        ("negcat.sensitometry", "import pydantic"),
        ("negcat.notation.stops", "import numpy"),
        ("negcat.notation.stops", "from negcat.exposure import expose"),
        ("negcat.errors", "from negcat import notation"),
        ("negcat.work.ingest", "import click"),
        ("negcat.work.ingest", "import sqlite3"),
        ("negcat.catalogue.store", "from negcat.work import archive"),
        ("negcat.catalogue.store", "import datasette"),
        ("negcat.cli.looking", "from negcat.web import routes"),
        ("negcat.web.routes", "from negcat.cli import output"),
        ("negcat.web.routes", "from sqlite_utils.db import Database"),
        ("negcat.helpers", "import math"),
        ("negcat", "import click"),
    ],
)
def test_the_rules_bite(module: str, source: str):
    assert faults_of(module, source) != []


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("negcat.exposure.light", "import math\nimport numpy as np\nfrom negcat.errors import QuantityError"),
        ("negcat.judgement.line", "from negcat.exposure import print_zone_of\nfrom scipy.stats import norm"),
        ("negcat.scans.tiff", "import os\nimport tifffile\nfrom .model import ScanInfo"),
        (
            "negcat.cli.serving",
            "import click\nfrom negcat.serving import serve\nfrom negcat import __version__",
        ),
        ("negcat.serving", "def f():\n    from negcat.web.serving import serve"),
    ],
)
def test_the_rules_let_good_imports_be(module: str, source: str):
    assert faults_of(module, source) == []


def test_a_circle_would_be_found():
    assert circle_in({"records": {"scans"}, "scans": {"catalogue"}, "catalogue": {"records"}}) is not None
    assert circle_in({"records": set(), "scans": {"records"}, "catalogue": {"records", "scans"}}) is None
