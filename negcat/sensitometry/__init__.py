"""Film and paper in figures: print targets, the tone that prints, the paper's scale, the film's own curve.

`targets` holds what a zone should measure on the negative, `tone` how light it prints, `paper` the exposure
scale and grade that a density range asks for. `film_curve` fits the characteristic curve of a step tablet
exposed on film, `film_figures` reads the standard figures off it, `developing` holds contrast against time
and temperature.
"""

from negcat.sensitometry.developing import (
    BATCH_SD,
    Q10,
    TAGS,
    ContrastLaw,
    ContrastTest,
    TimeForN,
    contrast_of,
    fit_contrast,
)
from negcat.sensitometry.figures import Figure
from negcat.sensitometry.film_curve import FilmCurve, fit_film_curve
from negcat.sensitometry.film_figures import (
    STOP,
    ZONE_I_SHARE,
    ContrastCondition,
    FilmFigures,
    film_figures,
)
from negcat.sensitometry.paper import (
    PAPER_GRADES,
    SUITS_WITHIN,
    PaperGrade,
    nearest_grade,
    paper_exposure_scale,
    range_wanted,
    ranges_suiting,
    textured_range,
)
from negcat.sensitometry.targets import BUILT_IN_TARGETS, DEFAULT_TARGET, TargetCurve, built_in_target
from negcat.sensitometry.tone import print_lightness

__all__ = [
    "BATCH_SD",
    "BUILT_IN_TARGETS",
    "DEFAULT_TARGET",
    "PAPER_GRADES",
    "Q10",
    "STOP",
    "SUITS_WITHIN",
    "TAGS",
    "ZONE_I_SHARE",
    "ContrastCondition",
    "ContrastLaw",
    "ContrastTest",
    "Figure",
    "FilmCurve",
    "FilmFigures",
    "PaperGrade",
    "TargetCurve",
    "TimeForN",
    "built_in_target",
    "contrast_of",
    "film_figures",
    "fit_contrast",
    "fit_film_curve",
    "nearest_grade",
    "paper_exposure_scale",
    "print_lightness",
    "range_wanted",
    "ranges_suiting",
    "textured_range",
]
