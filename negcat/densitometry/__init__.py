"""Pixels to densities: scanner profiles, step tablets, spots, base+fog, and what is wrong with a scan.

Every image here is an array (h, w) of 16-bit-scaled code values of one channel, 0 to 65535, more code for
more light. Nothing in this room opens a file. Places in an image that leave the room are fractions of its
width and height, so that they hold for the same scan at any reduction.
"""

from negcat.densitometry.boxes import Box
from negcat.densitometry.condition import Condition, assess
from negcat.densitometry.film_steps import FilmSteps, find_film_steps, measure_film_steps
from negcat.densitometry.fitting import fit_profile
from negcat.densitometry.profile import FULL_SCALE, ScannerProfile, StepFit
from negcat.densitometry.rebate import NoRebate, Rebate, find_rebate
from negcat.densitometry.spots import NetDensity, SpotDensity, measure_spot, net_density
from negcat.densitometry.tablet import FoundSteps, find_steps, step_codes

__all__ = [
    "FULL_SCALE",
    "Box",
    "Condition",
    "FilmSteps",
    "FoundSteps",
    "NetDensity",
    "NoRebate",
    "Rebate",
    "ScannerProfile",
    "SpotDensity",
    "StepFit",
    "assess",
    "find_film_steps",
    "find_rebate",
    "find_steps",
    "fit_profile",
    "measure_film_steps",
    "measure_spot",
    "net_density",
    "step_codes",
]
