"""The paper: which exposure scale a negative's density range asks for, and which grade has it.

Sources
-------
ANSI PH2.2 : ANSI PH2.2-1966, appendix: six grades of paper by their log exposure range.
ISO 6846 : ISO 6846:1992: ISO range R = 100 × log exposure range of a paper.
"""

from dataclasses import dataclass

from negcat.errors import QuantityError
from negcat.sensitometry.targets import TargetCurve, built_in_target

__all__ = [
    "PAPER_GRADES",
    "SUITS_WITHIN",
    "PaperGrade",
    "nearest_grade",
    "paper_exposure_scale",
    "range_wanted",
    "ranges_suiting",
    "textured_range",
]


@dataclass(frozen=True)
class PaperGrade:
    """A grade of printing paper.

    Parameters
    ----------
    grade : 0 (very soft) to 5 (extra hard).
    word : the grade in words.
    from_r, to_r : the ISO ranges R it spans.
    """

    grade: int
    word: str
    from_r: float
    to_r: float


PAPER_GRADES: tuple[PaperGrade, ...] = (
    PaperGrade(0, "very soft", 140.0, 170.0),
    PaperGrade(1, "soft", 115.0, 140.0),
    PaperGrade(2, "medium", 95.0, 115.0),
    PaperGrade(3, "hard", 80.0, 95.0),
    PaperGrade(4, "very hard", 65.0, 80.0),
    PaperGrade(5, "extra hard", 50.0, 65.0),
)
"""Grades by log exposure range × 100 (ANSI PH2.2). Makers' own grades differ from these by up to one."""

SUITS_WITHIN = 7.0 / 6.5
"""Ratio to the range wanted, either way, within which a negative suits a target: half an N of development."""

_TEXTURED = (2.0, 8.0)


def paper_exposure_scale(
    density_range: float,
    target: TargetCurve | None = None,
    zones: tuple[float, float] | None = None,
) -> float:
    """Exposure scale that a paper needs to print a density range of the negative.

    Parameters
    ----------
    density_range : density of the textured highlight minus density of the textured shadow; positive.
    target : the print target, which says by how much the light of the enlarger spreads (condenser) or
        flattens (flare) the negative's range; without one the range falls on the paper as it is, as in
        contact.
    zones : the print zones that the two densities are meant to print as, shadow first; default II and VIII,
        the ends of the textured scale.

    Returns
    -------
    ISO range R = 100 × log10 exposure range (ISO 6846), not rounded.

    Raises
    ------
    QuantityError
        For a range that isn't positive, or for zones that don't rise.

    Notes
    -----
    The three silver targets are for the same print, and in contact the negative's range is the paper's: so
    a target's light counts as (contact VIII − I) / (its own VIII − I), 1.04 for diffused light and 1.14 for
    a condenser. Contact, long-scale and the photographer's own targets count as 1. Where the two densities
    belong to other zones than II and VIII, the range is carried to those in the target's proportion
    (the default target's without one).

    Examples
    --------
    >>> round(paper_exposure_scale(1.10))
    110
    >>> condenser = built_in_target("silver, condenser")
    >>> round(paper_exposure_scale(condenser.density(8.0) - condenser.density(2.0), condenser))
    114
    """
    if not density_range > 0.0:
        raise QuantityError(
            f"A density range of {density_range:.2f} can't be printed: "
            "the highlight must be denser than the shadow."
        )
    spread = _light(target)
    if zones is not None:
        low, high = zones
        if not high > low:
            raise QuantityError(f"The highlight's zone {high:g} must lie above the shadow's, {low:g}.")
        shape = target if target is not None else built_in_target()
        spread *= (shape.density(_TEXTURED[1]) - shape.density(_TEXTURED[0])) / (
            shape.density(high) - shape.density(low)
        )
    return 100.0 * density_range * spread


def _light(target: TargetCurve | None) -> float:
    """By how much the light of a target's enlarger spreads a negative's range, 1 in contact."""
    if target is None or target.name not in ("silver, diffusion", "silver, condenser"):
        return 1.0
    contact = built_in_target("silver contact")
    return (contact.density(8.0) - contact.density(1.0)) / (target.density(8.0) - target.density(1.0))


def textured_range(iso_r: float, target: TargetCurve | None = None) -> float:
    """Density range between zones II and VIII of the negative that asks for an exposure scale.

    Parameters
    ----------
    iso_r : exposure scale, as `paper_exposure_scale` gives it for `target`.
    target : the print target.

    Returns
    -------
    Density of the negative's zone VIII minus that of its zone II.

    Examples
    --------
    >>> diffusion = built_in_target()
    >>> range_ = diffusion.density(8.0) - diffusion.density(2.0)
    >>> round(textured_range(paper_exposure_scale(range_, diffusion), diffusion), 6) == round(range_, 6)
    True
    """
    return iso_r / (100.0 * _light(target))


def range_wanted(target: TargetCurve) -> float:
    """Density range between zones II and VIII that a print target wants of a negative.

    Examples
    --------
    >>> round(range_wanted(built_in_target("long-scale")), 2)
    1.48
    """
    return target.density(_TEXTURED[1]) - target.density(_TEXTURED[0])


def ranges_suiting(target: TargetCurve) -> tuple[float, float]:
    """Density ranges between zones II and VIII with which a negative suits a print target.

    Returns
    -------
    The least and the most, both still suiting: within `SUITS_WITHIN` of the range that the target wants.

    Examples
    --------
    >>> [round(range_, 2) for range_ in ranges_suiting(built_in_target("long-scale"))]
    [1.38, 1.6]
    """
    wanted = range_wanted(target)
    return wanted / SUITS_WITHIN, wanted * SUITS_WITHIN


def nearest_grade(iso_r: float) -> PaperGrade:
    """Look up the grade of paper nearest to an exposure scale.

    Parameters
    ----------
    iso_r : ISO range R, positive.

    Returns
    -------
    The grade whose span holds `iso_r` (ANSI PH2.2); beyond R 170 grade 0 and under R 50 grade 5, the
    nearest there are.

    Raises
    ------
    QuantityError
        For a scale that isn't positive.

    Examples
    --------
    >>> nearest_grade(108).grade, nearest_grade(128).word, nearest_grade(30).grade
    (2, 'soft', 5)
    """
    if not iso_r > 0.0:
        raise QuantityError(f"An ISO range of {iso_r:g} is none: it must be more than 0.")
    for grade in PAPER_GRADES:
        if iso_r > grade.from_r:
            return grade
    return PAPER_GRADES[-1]
