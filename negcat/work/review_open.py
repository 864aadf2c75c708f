"""What a review leaves open: estimates that can't be told apart, and the sheets that would settle them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from negcat import learning
from negcat.work.review_words import cell_words, level_words, listed

__all__ = ["entangled_words", "names_of_levels", "settling_words", "worth_settling"]

LEAST_TOLD = 0.1
"""Part of a deviation that a further sheet must take off to be worth naming."""

LEAST_DIFFERENCE = 0.01

MOST_SETTLING = 5


def names_of_levels(learned: learning.Learned, lenses: Sequence[learning.Lens]) -> dict[str, str]:
    """Name all that can be open or entangled: ``factor: level`` → as one would say it."""
    whole = {lens.lens: lens.whole for lens in lenses}
    named = {
        f"{one.factor}: {one.level}": level_words(one.factor, one.names, whole) for one in learned.factors
    }
    named |= {
        f"reciprocity: {one.film}": level_words("reciprocity", (one.film,)) for one in learned.reciprocity
    }
    return named | {
        f"development: {one.film} / {one.tag}": level_words("development", (one.film, one.tag))
        for one in learned.development
    }


def entangled_words(entangled_with: Sequence[str], named: Mapping[str, str]) -> str:
    """Say what an estimate can't be told from; nothing where it stands by itself.

    Parameters
    ----------
    entangled_with : ``factor: level`` of each.
    named : as :func:`names_of_levels` gives them.

    Examples
    --------
    >>> entangled_words(["cell: Aldwater / rear"], {"cell: Aldwater / rear": "the rear cell of Aldwater"})
    'The sheets made so far can’t tell it from the rear cell of Aldwater.'
    """
    if not entangled_with:
        return ""
    said = listed([named.get(one, one) for one in entangled_with], "or")
    return f"The sheets made so far can’t tell it from {said}."


def worth_settling(settling: Sequence[learning.Settling]) -> list[learning.Settling]:
    """Choose the few sheets that would tell most: those that take a tenth or more off a deviation."""
    told = [
        one
        for one in settling
        if one.sd_before - one.sd_after > max(LEAST_TOLD * one.sd_before, LEAST_DIFFERENCE)
    ]
    return sorted(told, key=lambda one: one.sd_after / one.sd_before)[:MOST_SETTLING]


def settling_words(one: learning.Settling, named: Mapping[str, str], lenses: Sequence[learning.Lens]) -> str:
    """Say which one sheet would settle an open question best, and how much it would tell."""
    whole = {lens.lens: lens.whole for lens in lenses}
    process = " ".join(part for part in (one.developer, one.dilution) if part)
    return (
        f"To settle {named.get(one.settles, one.settles)}: expose one sheet of {one.film} with "
        f"{cell_words(one.lens, one.cell, whole)} at {one.marked_time} and develop it {one.tag}"
        f"{f' in {process}' if process else ''}. That would bring its deviation from {one.sd_before:.2f} to "
        f"{one.sd_after:.2f}."
    )
