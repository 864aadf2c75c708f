"""A negcat that knows fewer steps of the schema, or more."""

from collections.abc import Sequence
from typing import Any

import pytest

from negcat.catalogue import connection
from negcat.catalogue.migrations import migrations

__all__ = ["knows"]


def knows(patch: pytest.MonkeyPatch, steps: Sequence[Any]) -> None:
    """Let negcat know just these steps, as long as the patch holds."""
    patch.setattr(migrations, "_migrations", list(steps))
    patch.setattr(connection, "STEPS", tuple(step.name for step in steps))
