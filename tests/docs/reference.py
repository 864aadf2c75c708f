"""What README quotes of the commands: their help, and what they print on the sample archive.

``python -m tests.docs.reference`` writes both anew.
"""

import re
import shlex
import tempfile
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


def with_outputs(readme: str, archive: Path) -> str:
    """Put what each quoted command prints on the sample archive after its mark."""

    def quoted(match: re.Match[str]) -> str:
        words = shlex.split(match[1])
        result = CliRunner().invoke(main, [*words, "-a", str(archive)], prog_name="negcat")
        assert result.exit_code == 0, result.stderr
        said = f"```text\n$ negcat {match[1]}\n{result.stdout.rstrip()}\n```"
        return f"<!-- output of: {match[1]} -->\n{said}\n<!-- end -->"

    return re.sub(r"<!-- output of: (.+?) -->\n.*?<!-- end -->", quoted, readme, flags=re.DOTALL)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        sample = Path(folder) / "brickworks"
        assert CliRunner().invoke(main, ["demo", str(sample), "--no-serve"]).exit_code == 0
        text = README.read_text(encoding="utf-8")
        README.write_text(with_outputs(with_reference(text), sample), encoding="utf-8")
