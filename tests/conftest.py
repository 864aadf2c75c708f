"""What tests of several rooms share."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from negcat.cli import main


@pytest.fixture(scope="session")
def sample(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample archive, built as `negcat demo` builds it; not to be written to."""
    folder = tmp_path_factory.mktemp("sample") / "brickworks"
    result = CliRunner().invoke(main, ["demo", str(folder), "--no-serve", "--json"])
    assert result.exit_code == 0, result.stderr
    (folder / "demo.json").write_text(result.stdout, encoding="utf-8")
    return folder
