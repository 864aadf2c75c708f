"""What worked, and what to change: one fit over all ordinary sheets of a season.

Every ordinary sheet is a test. Per film and process::

    net density = curve(zone given + film + lens + cell + shutter time + reciprocity + tag + batch + sheet;
                        contrast(time, temperature))

and all of it is estimated together, so that a cell's error, which is the same on every film, and a film's
speed, which is the same behind every cell, are told apart where the season tells them apart, and named as
entangled where it doesn't. `season` holds what goes in, `learned` what comes out, `learn` leads from one to
the other.
"""

from negcat.learning.learned import (
    ContrastCurve,
    DevelopmentEstimate,
    Factor,
    FactorEstimate,
    FittedCurve,
    IndexEstimate,
    Learned,
    LooksLike,
    NoiseLevel,
    ReciprocityEstimate,
    Settling,
    SheetEffect,
    Spoiled,
)
from negcat.learning.learning import LEARNING_VERSION, learn
from negcat.learning.season import Bound, Film, FilmTest, Law, Lens, Reading, Season, Sheet

__all__ = [
    "LEARNING_VERSION",
    "Bound",
    "ContrastCurve",
    "DevelopmentEstimate",
    "Factor",
    "FactorEstimate",
    "Film",
    "FilmTest",
    "FittedCurve",
    "IndexEstimate",
    "Law",
    "Learned",
    "Lens",
    "LooksLike",
    "NoiseLevel",
    "Reading",
    "ReciprocityEstimate",
    "Season",
    "Settling",
    "Sheet",
    "SheetEffect",
    "Spoiled",
    "learn",
]
