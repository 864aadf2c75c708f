"""What the documents promise is so."""

import re
import subprocess
from pathlib import Path

import pytest

from tests.docs.reference import README, with_outputs, with_reference

ROOT = README.parent


def test_the_command_reference_is_current() -> None:
    text = README.read_text(encoding="utf-8")
    assert text == with_reference(text), "stale: run python -m tests.docs.reference"


def test_what_is_quoted_of_the_sample_archive_is_current(sample: Path) -> None:
    text = README.read_text(encoding="utf-8")
    assert text.count("<!-- output of:") >= 3
    assert text == with_outputs(text, sample), "stale: run python -m tests.docs.reference"


@pytest.mark.parametrize("document", ["README.md", "DEVELOPERS.md"])
def test_every_link_inside_the_project_leads_somewhere(document: str) -> None:
    text = (ROOT / document).read_text(encoding="utf-8")
    targets = re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", text) + re.findall(r'src="([^"]+)"', text)
    assert targets
    for target in targets:
        if "://" not in target:
            assert (ROOT / target).exists(), target


def test_ci_runs_the_test_command_of_the_readme() -> None:
    text = README.read_text(encoding="utf-8")
    command = re.search(r"<!-- test command -->\s*```\w*\n(.+?)\n```\s*<!-- end -->", text, re.DOTALL)
    assert command
    assert "\n" not in command[1], "one line"
    assert "pytest" in command[1]
    assert "<!-- test command -->" in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


def test_the_top_level_holds_what_it_should() -> None:
    tracked = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False
    ).stdout.splitlines()
    if not tracked:
        pytest.skip("not a git checkout")
    top = {Path(name).parts[0] for name in tracked if not name.startswith(".")}
    assert top <= {
        "LICENSE", "README.md", "DEVELOPERS.md", "pyproject.toml", "negcat", "tests", "schemas", "sample_archive",
    }  # fmt: skip


def test_the_sample_is_small_enough_for_git() -> None:
    size = sum(path.stat().st_size for path in (ROOT / "sample_archive").rglob("*") if path.is_file())
    assert 0 < size <= 12_000_000
