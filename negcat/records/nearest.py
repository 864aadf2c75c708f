"""The nearest known name to one that isn't known."""

from bisect import bisect_left
from collections.abc import Collection, Iterable
from difflib import get_close_matches

__all__ = ["did_you_mean", "nearest_name"]

_COMPARED = 2_000
_LISTED = 8


def nearest_name(name: str, known: Collection[str]) -> str | None:
    """Find the known name most like another one.

    Parameters
    ----------
    name : what was written.
    known : the names there are. Of very many, those that begin alike are compared.

    Returns
    -------
    The nearest name, or None where none is near.

    Examples
    --------
    >>> nearest_name("Aldwater", ["Aldwater 180", "Brinmoor 90"])
    'Aldwater 180'
    """
    wanted = name.casefold()
    candidates: Iterable[str] = known
    if len(known) > _COMPARED:
        ordered = sorted(known, key=str.casefold)
        at = bisect_left(ordered, wanted, key=str.casefold)
        candidates = ordered[max(0, at - _COMPARED // 2) : at + _COMPARED // 2]
    folded: dict[str, str] = {}
    for candidate in sorted(candidates):
        folded.setdefault(candidate.casefold(), candidate)
    if close := get_close_matches(wanted, folded, n=1, cutoff=0.6):
        return folded[close[0]]
    part = [
        original
        for plain, original in folded.items()
        if len(wanted) >= 3 and (plain.startswith(wanted) or (wanted.startswith(plain) and len(plain) >= 3))
    ]
    return min(part, key=len) if part else None


def did_you_mean(name: str, known: Collection[str]) -> str:
    """Finish the sentence about an unknown name: the nearest known one, else the known ones if they are few.

    Examples
    --------
    >>> did_you_mean("fim", ["film", "lens"])
    "did you mean 'film'?"
    """
    if near := nearest_name(name, known):
        return f"did you mean '{near}'?"
    listed = ", ".join(sorted(known)[:_LISTED])
    return f"known are {listed}{' …' if len(known) > _LISTED else ''}" if known else "none is known"
