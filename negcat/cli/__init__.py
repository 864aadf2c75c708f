"""The ``negcat`` command: thin over ``negcat.work``."""

from negcat.cli.program import main

__all__ = ["main"]
