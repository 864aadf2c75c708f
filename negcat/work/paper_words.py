"""Words and figures of the papers, out of records."""

from __future__ import annotations

__all__ = ["figure", "joined", "one_line", "tag_words"]


def joined(*parts: object, mark: str = ", ") -> str:
    """Put together what there is, leaving out what is blank."""
    return mark.join(str(part) for part in parts if part not in (None, ""))


def one_line(text: str | None) -> str:
    """Set a text of several lines in one."""
    return " ".join((text or "").split())


def tag_words(tag: str) -> str:
    """Set a tag with the proper minus."""
    return tag.replace("-", "−")


def figure(value: float | None) -> str:
    """Set a number without decimals that say nothing; blank for None."""
    return "" if value is None else f"{value:g}"
