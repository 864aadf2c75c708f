"""Film and paper in figures: print targets, the tone that prints, the paper's scale.

`targets` holds what a zone should measure on the negative, `tone` how light it prints, `paper` the exposure
scale and grade that a density range asks for.
"""

from negcat.sensitometry.paper import PAPER_GRADES, PaperGrade, nearest_grade, paper_exposure_scale
from negcat.sensitometry.targets import BUILT_IN_TARGETS, DEFAULT_TARGET, TargetCurve, built_in_target
from negcat.sensitometry.tone import print_lightness

__all__ = [
    "BUILT_IN_TARGETS",
    "DEFAULT_TARGET",
    "PAPER_GRADES",
    "PaperGrade",
    "TargetCurve",
    "built_in_target",
    "nearest_grade",
    "paper_exposure_scale",
    "print_lightness",
]
