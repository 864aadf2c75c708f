"""Check that what was taken is still there and unchanged."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any, Literal

from negcat import scans
from negcat.errors import ScanError
from negcat.work.archive import Archive

__all__ = ["Check", "Verification", "verify_archive"]


@dataclass(frozen=True)
class Check:
    """One master checked.

    Parameters
    ----------
    scan, sheet, path : whose master it is and where it should be.
    status : ``unchanged``, ``missing``, ``changed`` or ``unreadable``.
    reason : what was found instead; None when unchanged.
    expected, found : SHA-256.
    """

    scan: str
    sheet: str | None
    path: str
    status: Literal["unchanged", "missing", "changed", "unreadable"]
    reason: str | None
    expected: str
    found: str | None

    def as_json(self) -> dict[str, Any]:
        """Give what ``negcat verify --json`` prints of a master."""
        return asdict(self)


class Verification:
    """A run over every master, checked one after the other as it is iterated.

    Parameters
    ----------
    archive : the archive.
    """

    def __init__(self, archive: Archive) -> None:
        self._archive = archive
        self._rows = archive.catalogue.scans()
        self.length = len(self._rows)
        self.catalogue_faults: list[str] = archive.catalogue.faults()

    def __iter__(self) -> Iterator[Check]:
        for row in self._rows:
            path = self._archive.master_path(row["path"])
            status: Literal["unchanged", "missing", "changed", "unreadable"]
            found = reason = None
            if not path.is_file():
                status, reason = (
                    "missing",
                    "the file is not there; put it back, or ingest it from where it lies now",
                )
            else:
                try:
                    found = scans.sha256_of(path)
                except ScanError as error:
                    status, reason = "unreadable", str(error)
                else:
                    same = found == row["sha256"]
                    status = "unchanged" if same else "changed"
                    reason = None if same else "its content is not what was taken; put back a sound copy"
            yield Check(row["scan"], row["sheet"], str(path), status, reason, row["sha256"], found)


def verify_archive(archive: Archive) -> Verification:
    """Prepare to check every master by SHA-256; the catalogue itself is checked at once."""
    return Verification(archive)
