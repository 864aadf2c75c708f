"""Which scanner made a scan, by the scan's own tags."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple, Protocol

__all__ = ["ScannerTags", "matching_scanner", "same_text"]


class _Tagged(Protocol):
    @property
    def name(self) -> str: ...
    @property
    def make(self) -> str | None: ...
    @property
    def model(self) -> str | None: ...
    @property
    def software(self) -> str | None: ...


class ScannerTags(NamedTuple):
    """What a scanner's record says of the tags of its scans."""

    name: str
    make: str | None
    model: str | None
    software: str | None


def matching_scanner(scanners: Iterable[_Tagged], tags: Mapping[str, str | None]) -> str | None:
    """Tell the scanner from a scan's own tags.

    Parameters
    ----------
    scanners : the scanners on record.
    tags : the scan's ``make``, ``model`` and ``software``, each a text or None.

    Returns
    -------
    The one scanner of which every recorded tag is the scan's; the one with most tags where several fit;
    None where none does, or two equally well.

    Examples
    --------
    >>> bench = ScannerTags("bench", "Marl", None, None)
    >>> matching_scanner([bench], {"make": "MARL", "model": "Flatbed 4"})
    'bench'
    """
    fitting: list[tuple[int, str]] = []
    for scanner in scanners:
        wanted = {
            field: value
            for field in ("make", "model", "software")
            if (value := getattr(scanner, field)) is not None
        }
        if wanted and all(same_text(value, tags.get(field)) for field, value in wanted.items()):
            fitting.append((len(wanted), scanner.name))
    best = max((count for count, _ in fitting), default=0)
    names = [name for count, name in fitting if count == best]
    return names[0] if len(names) == 1 else None


def same_text(recorded: str, tag: str | None) -> bool:
    """Tell whether a tag says what is recorded, case and spaces aside."""
    return tag is not None and " ".join(recorded.casefold().split()) == " ".join(tag.casefold().split())
