"""From a season to what it taught."""

from negcat.learning.learned import Learned
from negcat.learning.season import Season

__all__ = ["LEARNING_VERSION", "learn"]

LEARNING_VERSION = 1
"""Raised whenever the same season would teach something else."""


def learn(season: Season) -> Learned:
    """Fit a season's sheets together.

    Parameters
    ----------
    season : the sheets, and what is on record about films, lenses and tests.

    Returns
    -------
    Estimates with their intervals, entanglements and advice; of a season without a single density, empty
    lists and `why`.

    Raises
    ------
    QuantityError
        Where a sheet names a film, lens or cell that the season doesn't hold, a number is no finite number,
        or two sheets have one id.
    """
    raise NotImplementedError
