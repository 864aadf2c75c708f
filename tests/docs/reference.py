"""README's command reference, made from what the commands themselves say. ``python -m tests.docs.reference`` writes it."""

import re
from pathlib import Path

from click.testing import CliRunner

from negcat.cli import main
from negcat.cli.program import COMMANDS

README = Path(__file__).parents[2] / "README.md"
MARKS = ("<!-- command reference -->", "<!-- end of command reference -->")


def reference() -> str:
    """Set every command's help as Markdown."""
    parts = []
    for name in COMMANDS:
        text = CliRunner().invoke(main, [name, "--help"], prog_name="negcat", env={"COLUMNS": "100"}).output
        parts.append(f"### negcat {name}\n\n```text\n{text.rstrip()}\n```\n")
    return "\n".join(parts)


def with_reference(readme: str) -> str:
    """Put the reference between its marks."""
    before, after = MARKS
    pattern = re.compile(f"{re.escape(before)}.*?{re.escape(after)}", re.DOTALL)
    assert pattern.search(readme), f"README has no {before}"
    return pattern.sub(lambda _: f"{before}\n\n{reference()}\n{after}", readme)


if __name__ == "__main__":
    README.write_text(with_reference(README.read_text(encoding="utf-8")), encoding="utf-8")
