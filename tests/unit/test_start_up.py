"""What is asked often starts at once: libraries are loaded only where they are used."""

import ast
import importlib
import subprocess
import sys
from pathlib import Path

import pytest

import negcat.catalogue
from negcat.catalogue.migrations import migrations
from negcat.catalogue.steps import STEPS

HEAVY = {
    "altair",
    "datasette",
    "distributed",
    "fsspec",
    "numpy",
    "PIL",
    "pydantic",
    "scipy",
    "sqlite_utils",
    "tifffile",
    "yaml",
}


def loaded_by(*words: str) -> set[str]:
    """Run a command in a Python of its own, and tell which heavy libraries it has loaded."""
    script = (
        "import sys\n"
        "from negcat.cli import main\n"
        "try:\n"
        f"    main({list(words)!r})\n"
        "except SystemExit as end:\n"
        "    assert not end.code, end.code\n"
        "print('\\n' + ' '.join(sys.modules))\n"
    )
    ran = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    return HEAVY & set(ran.stdout.splitlines()[-1].split())


@pytest.mark.parametrize(
    "words",
    [
        ("--help",),
        ("find", "--help"),
        ("find", "--cell", "rear", "--tag", "N+1"),
        ("find", "kiln", "--suits", "long-scale", "--json"),
    ],
)
def test_a_question_loads_no_heavy_library(sample: Path, words: tuple[str, ...]) -> None:
    in_archive = () if "--help" in words else ("--archive", str(sample))
    assert loaded_by(*words, *in_archive) == set()


def test_what_computes_does_load_them(sample: Path) -> None:
    assert "numpy" in loaded_by("show", "BW-10", "--archive", str(sample))


def test_the_names_of_the_steps_are_those_of_the_steps() -> None:
    assert tuple(step.name for step in migrations._migrations) == STEPS


def test_what_the_catalogue_names_is_where_it_says() -> None:
    source = Path(negcat.catalogue.__file__).read_text(encoding="utf-8")
    block = next(node for node in ast.parse(source).body if isinstance(node, ast.If))
    for_types = {
        node.module.rpartition(".")[2]: tuple(sorted(alias.name for alias in node.names))
        for node in block.body
        if isinstance(node, ast.ImportFrom) and node.module
    }
    assert {module: tuple(sorted(names)) for module, names in negcat.catalogue._WHERE.items()} == for_types
    named = {name for names in negcat.catalogue._WHERE.values() for name in names}
    assert named == set(negcat.catalogue.__all__)
    for name in named:
        assert getattr(negcat.catalogue, name) is not None
        # A name that is a module's too would be the module as soon as that is loaded.
        assert not isinstance(getattr(negcat.catalogue, name), type(importlib)), name
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        negcat.catalogue.nothing  # noqa: B018
