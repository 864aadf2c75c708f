"""What the unknowns predict: the density of every row, and how it answers to each unknown."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from negcat.learning.layout import Rows
from negcat.learning.shape import BENDS, Shape

__all__ = ["Derivatives", "Predicted", "predict", "stops_of_rows"]

Array = NDArray[np.float64]

_LEAST_CONTRAST = 0.25
_LEAST_EXPONENT = 0.6


@dataclass(frozen=True)
class Predicted:
    """Predictions for n rows.

    Parameters
    ----------
    density : net density, shape (n,).
    by_stop, by_contrast : its derivatives by the exposure in stops and by the logarithm of contrast, (n,).
    by_bend : by each bend, shape (n, BENDS).
    contrast : contrast of each row, shape (n,).
    by_time : the same as time and temperature alone would have it, shape (n,).
    """

    density: Array
    by_stop: Array
    by_contrast: Array
    by_bend: Array
    contrast: Array
    by_time: Array


def stops_of_rows(rows: Rows, unknowns: Array, batches: Array) -> Array:
    """Return the stops by which everything learnt shifts each row's exposure, shape (n,).

    Parameters
    ----------
    rows : n rows.
    unknowns : their values.
    batches : stops and contrast (its logarithm) of each batch, shape (batches, 2).
    """
    known = np.append(unknowns, 0.0)  # column −1: nothing
    stops = known[rows.stops].sum(axis=1)
    exponent = np.maximum(rows.exponent + known[rows.exponent_column], _LEAST_EXPONENT)
    stops += rows.lost_log2 * (1.0 / exponent - 1.0 / rows.exponent)
    return np.asarray(stops + np.vstack([batches, np.zeros((1, 2))])[rows.batch, 0])


def contrast_of_rows(rows: Rows, unknowns: Array, batches: Array) -> tuple[Array, Array]:
    """Return the contrast that development gave each row, and would have given by time and temperature alone.

    Parameters as `stops_of_rows`; both of shape (n,).
    """
    known = np.append(unknowns, 0.0)
    time = rows.log_time + rows.tens_of_degrees * known[rows.log_q10]
    by_time = known[rows.contrast] + (known[rows.rise] + 0.5 * known[rows.rise_bend] * time) * time
    by_time = np.maximum(by_time, _LEAST_CONTRAST)
    own = known[rows.own_contrast] + np.vstack([batches, np.zeros((1, 2))])[rows.batch, 1]
    return np.asarray(by_time * np.exp(own)), np.asarray(by_time)


def predict(shape: Shape, rows: Rows, unknowns: Array, batches: Array) -> Predicted:
    """Predict the rows' densities.

    Notes
    -----
    Density = curve(1 + c·(z + stops − 1)) from Zone I up, curve(z + stops) below it: development hardly moves
    Zone I (as :func:`negcat.exposure.print_zone_of`).
    """
    contrast, by_time = contrast_of_rows(rows, unknowns, batches)
    over_one = rows.zone + stops_of_rows(rows, unknowns, batches) - 1.0
    stretched = np.where(over_one > 0.0, contrast, 1.0)
    first = np.asarray(rows.bends)
    bends = unknowns[first[:, None] + np.arange(BENDS)]
    curve = shape.at(1.0 + stretched * over_one, bends)
    return Predicted(
        curve.density,
        curve.slope * stretched,
        curve.slope * contrast * np.maximum(over_one, 0.0),
        curve.by_bend,
        contrast,
        by_time,
    )


class Derivatives:
    """The derivatives of the rows' densities: a row is touched by some twenty of the unknowns, wherever they stand.

    Parameters
    ----------
    rows : n of them.
    count : how many unknowns there are.
    """

    def __init__(self, rows: Rows, count: int) -> None:
        self.rows, self.count = rows, count
        columns = np.column_stack(
            [
                rows.stops,
                rows.exponent_column,
                rows.contrast,
                rows.rise,
                rows.rise_bend,
                rows.log_q10,
                rows.own_contrast,
                rows.bends[:, None] + np.arange(BENDS),
            ]
        )
        # An unknown may touch a row in more ways than one; −1 belongs to none.
        keys = np.arange(len(rows))[:, None] * count + columns
        places, self._into = np.unique(keys[columns >= 0], return_inverse=True)
        self._of_one = columns >= 0
        self._columns = places % max(count, 1)
        self._starts = np.searchsorted(places, np.arange(len(rows) + 1) * count)

    def at(self, predicted: Predicted, unknowns: Array) -> tuple[sparse.csr_array, Array]:
        """Return the derivatives at a state.

        Returns
        -------
        By the unknowns, sparse (n, unknowns), and by the own batch's stops and contrast, shape (n, 2).
        """
        rows = self.rows
        known = np.append(unknowns, 0.0)
        exponent = np.maximum(rows.exponent + known[rows.exponent_column], _LEAST_EXPONENT)
        time = rows.log_time + rows.tens_of_degrees * known[rows.log_q10]
        # by_contrast is by the logarithm, as contrasts of batches and tests multiply; the process's is itself.
        by_contrast = predicted.by_contrast / predicted.by_time
        by_time = known[rows.rise] + known[rows.rise_bend] * time
        values = np.column_stack(
            [
                *[predicted.by_stop] * rows.stops.shape[1],
                -predicted.by_stop * rows.lost_log2 / exponent**2,
                by_contrast,
                by_contrast * time,
                by_contrast * 0.5 * time * time,
                by_contrast * by_time * rows.tens_of_degrees,
                predicted.by_contrast,
                predicted.by_bend,
            ]
        )
        summed = np.bincount(self._into, values[self._of_one], len(self._columns))
        by_unknown = sparse.csr_array((summed, self._columns, self._starts), shape=(len(rows), self.count))
        in_batch = (rows.batch >= 0)[:, None]
        of_batch = np.where(in_batch, np.stack([predicted.by_stop, predicted.by_contrast], axis=1), 0.0)
        return by_unknown, of_batch
