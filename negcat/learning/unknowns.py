"""The unknowns of a season's fit, with what is believed of each beforehand."""

from dataclasses import dataclass, field
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from negcat.exposure import contrast
from negcat.learning.shape import BENDS, SMOOTH_BENDS

__all__ = ["Prior", "Process", "Unknown", "Unknowns"]

Array = NDArray[np.float64]

FILM_SD: Final = 2 / 3  # stops
CELL_SD: Final = 1 / 2
EXPONENT_SD: Final = 0.15
UNRECORDED_EXPONENT_SD: Final = 0.3
"""Where no law is on record, nothing is known but that films lose: exponents of 1 to 1.4 are usual."""

PACE_SD: Final = 0.35  # zones a zone, by which a curve under I or over VIII goes its own way
PROCESS_SD: Final = 0.25  # stops between a film's speeds in two developers
TAG_SD: Final = 0.25  # stops by which developing an N or more away from N shifts Zone I
CONTRAST_SD: Final = 0.15  # of contrast at the reference time: one N
RISE: Final = (0.6, 0.25)  # contrast gained per unit of ln time: kt·e^(−kt)·c∞ for kt from 0.4 to 2
BEND: Final = (0.0, 0.25)  # by how much that gain changes per unit of ln time
LOG_Q10: Final = (float(np.log(2.0)), 0.25)  # 2.0 ± 0.5
ABSOLUTE_TEST_SD: Final = 0.25  # stops between a sensitometer's lux·s and the camera with its meter
RELATIVE_TEST_SD: Final = 5.0
TEST_CONTRAST_SD: Final = 0.03


class Process(NamedTuple):
    """A film in a developer."""

    film: str
    developer: str | None
    dilution: str | None


class Unknown(NamedTuple):
    """One unknown: its kind and what it belongs to."""

    kind: str
    of: tuple[str | None, ...]


class Prior(NamedTuple):
    """What is believed of it beforehand.

    Parameters
    ----------
    mean, sd : of a normal density.
    level : the name of the noise level that is learnt in place of `sd`, where its kind shares one.
    """

    mean: float
    sd: float
    level: str = ""


@dataclass
class Unknowns:
    """All unknowns in their order, and where each stands.

    Parameters
    ----------
    place : unknown → column.
    priors : one for each column.
    """

    place: dict[Unknown, int] = field(default_factory=dict)
    priors: list[Prior] = field(default_factory=list)

    def __len__(self) -> int:
        return len(self.priors)

    def add(self, kind: str, of: tuple[str | None, ...], prior: Prior) -> int:
        """Add an unknown, where it is not there yet; return its column."""
        unknown = Unknown(kind, of)
        if unknown not in self.place:
            self.place[unknown] = len(self.priors)
            self.priors.append(prior)
        return self.place[unknown]

    def find(self, kind: str, of: tuple[str | None, ...]) -> int:
        """Return the column of an unknown, −1 where there is none."""
        return self.place.get(Unknown(kind, of), -1)

    @property
    def means(self) -> Array:
        """Prior means, shape (unknowns,)."""
        return np.array([prior.mean for prior in self.priors])

    @property
    def precisions(self) -> Array:
        """One over the prior variances, shape (unknowns,)."""
        return np.array([prior.sd for prior in self.priors]) ** -2.0

    def add_shape(self, process: Process) -> None:
        """Add a process's bends, in a row."""
        for j in range(BENDS):
            prior = Prior(0.0, 1.0, "bend") if j < SMOOTH_BENDS else Prior(0.0, PACE_SD)
            self.add("bend", (*process, str(j)), prior)

    def add_contrast(self, process: Process, reference_n: float, *, with_temperature: bool) -> None:
        """Add a process's contrast at its reference time, its rise with ln time, and its Q10."""
        self.add("contrast", process, Prior(contrast(reference_n), CONTRAST_SD))
        self.add("rise", process, Prior(*RISE))
        self.add("rise bend", process, Prior(*BEND))
        if with_temperature:
            self.add("log q10", process, Prior(*LOG_Q10))
