"""How likely a sheet's densities are together: ordinary, careless, a reading mistaken, or the sheet spoiled.

Sources
-------
Box : G. E. P. Box, G. C. Tiao, A Bayesian approach to some outlier problems, Biometrika 55 (1968): outliers
    as a second, wider distribution.
Dempster : A. P. Dempster, N. M. Laird, D. B. Rubin, Maximum likelihood from incomplete data via the EM
    algorithm, J. R. Stat. Soc. B 39 (1977): weights as expected memberships.
Gelman : A. Gelman et al., Bayesian Data Analysis (2013), 15, 22: sheets as levels of a hierarchy; mixtures.
Lange : K. L. Lange, R. J. A. Little, J. M. G. Taylor, Robust statistical modeling using the t distribution, J. Am.
    Stat. Assoc. 84 (1989): heavy tails as a mixture over scales, here over two.
Woodbury : W. W. Hager, Updating the inverse of a matrix, SIAM Review 31 (1989).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.special import log_ndtr

from negcat.learning.layout import Layout
from negcat.learning.prediction import Predicted

__all__ = ["FLOOR_SD", "MISTAKEN_SD", "Noise", "Together", "Weighed", "spoiled_directions"]

Array = NDArray[np.float64]
Places = NDArray[np.intp]

FLOOR_SD = 0.03
"""No exposure zone is known better than this, whatever the density's deviation."""

CARELESS_SHARE = 0.06
SHIFTED_SHARE = 0.01
SPOILED_SHARE = 0.01
MISTAKEN_SHARE = 0.01
"""Beliefs: of a hundred sheets six are metered carelessly, one is exposed quite differently from what its record
says, one spoiled in another way; of a hundred readings one is mistaken."""

_CARELESS = 2.0  # times the ordinary deviation of metering, of readings and of sheets
_CARELESS_STOPS = 0.25  # and the sheet's as a whole by so much on top

MISTAKEN_SD = 0.35  # net density by which a mistaken reading is off
_SPOILED_STOPS = 1.0
_SPOILED_FOG = 0.15
_SPOILED_SLOPE = 0.2  # of the exposure above the middle reading
_MOST_BEYOND = 0.001  # share of bounds that are mistaken


@dataclass(frozen=True)
class Noise:
    """Standard deviations that are learnt, not believed: of noise, and of errors that are alike.

    Parameters
    ----------
    reading, sheet, batch : stops; metering of one reading, of a whole sheet, and what batches differ by.
    batch_contrast : of the logarithm of contrast.
    bend : zones by which films' curves depart from the target's shape.
    shutter, hand : stops by which marked times are off: a shutter's, and those counted by hand.
    accidents : whether sheets may be spoiled and readings mistaken; without, all are ordinary.
    """

    reading: float
    sheet: float
    batch: float
    batch_contrast: float
    bend: float
    shutter: float
    hand: float
    accidents: bool = True


@dataclass(frozen=True)
class Weighed:
    """The rows' covariances at one state of the fit, frozen.

    Parameters
    ----------
    precision : of rows against each other: sheets in blocks, bounds and tests alone; sparse (n, n).
    """

    precision: sparse.csr_array
    ordinary: Array  # (S, M, M) precision of ordinary sheets
    ordinary_log: Array  # (S,) its log determinant
    careless: Array
    careless_log: Array
    shifted: Array
    shifted_log: Array
    leverage: Array  # (S, M)
    spread: Array  # (S, M, 3) P·U
    inner: Array  # (S, 3, 3)
    spoiled_log: Array
    by_stop: Array
    variance: Array
    belongs: Array  # (S,) probability that a sheet is ordinary or careless
    mistaken: Array  # (S, M) probability of each reading being mistaken


class Together:
    """The likelihood of all rows, with what each sheet's readings have in common integrated out.

    Parameters
    ----------
    layout : the season.

    Notes
    -----
    A sheet's residuals r are normal with V = D + σ²·k·kᵀ: D its readings' own variances (density, a floor of
    0.03 zone, metering times slope), σ the sheets' deviation in stops, k the slopes. A careless sheet has twice
    the metering's deviations and 0.25 stop on top, which makes tails heavy (Lange). An accident widens V: one
    reading by W² (mistaken), or the sheet by a stop (shifted), or by shift, fog and slope (spoiled). The
    likelihood is the mixture of these cases (Box), and Σ P(case)·V⁻¹, with P from the residuals, is the weight
    that the EM algorithm gives the sheet (Dempster), so that a spoiled sheet drops out by itself. Inverses are
    updates of the ordinary one (Woodbury).
    """

    def __init__(self, layout: Layout) -> None:
        rows, count = layout.rows, layout.densities
        self.layout = layout
        self.count, self.bounds = count, layout.bounds
        sheet = rows.sheet[:count]
        self.sheets = len(layout.sheets)
        starts = np.searchsorted(sheet, np.arange(self.sheets))
        self.sizes = np.bincount(sheet, minlength=self.sheets)
        self.width = max(int(self.sizes.max(initial=0)), 1)
        self.slot = (sheet, np.arange(count) - starts[sheet])
        self.there = self.padded(np.ones(count))
        # The sparse precision's pattern, once: every pair of readings of one sheet, then the single rows.
        pairs = self.there[:, :, None] * self.there[:, None, :] > 0.0
        self._pairs = np.nonzero(pairs)
        row_of = np.zeros((self.sheets, self.width), np.intp)
        row_of[self.slot] = np.arange(count)
        single = np.arange(count, len(rows))
        left = np.concatenate([row_of[self._pairs[0], self._pairs[1]], single])
        right = np.concatenate([row_of[self._pairs[0], self._pairs[2]], single])
        self._order = np.lexsort((right, left))
        self._columns = right[self._order]
        self._starts = np.searchsorted(left[self._order], np.arange(len(rows) + 1))
        zone = self.padded(rows.zone[:count])
        middle = zone.sum(axis=1) / np.maximum(self.sizes, 1)
        self.from_middle = (zone - middle[:, None]) * self.there

    def padded(self, values: Array) -> Array:
        """Return the sheets' rows as a table, one line a sheet, 0 where a sheet has no more readings."""
        table = np.zeros((self.sheets, self.width))
        table[self.slot] = values
        return table

    def variances(self, predicted: Predicted, noise: Noise) -> Array:
        """Return each row's own variance of density, (n,); a bound's includes what its sheet has in common."""
        rows = self.layout.rows
        per_stop = np.full(len(rows), FLOOR_SD**2 + noise.reading**2)
        per_stop[self.count :] += noise.sheet**2
        per_stop[self.count + self.bounds :] = FLOOR_SD**2
        return np.asarray(rows.sd**2 + per_stop * predicted.by_stop**2)

    def weigh(self, predicted: Predicted, noise: Noise) -> tuple[Weighed, Array, float]:
        """Freeze the covariances at a state.

        Returns
        -------
        The weighed state, the score of every row's prediction (n,), and the log likelihood.
        """
        rows, count = self.layout.rows, self.count
        variance = self.variances(predicted, noise)
        k = self.padded(predicted.by_stop[:count])
        own = self.padded(1.0 / variance[:count])
        ordinary, ordinary_log = _in_common(own, k, noise.sheet)
        more = (_CARELESS**2 - 1.0) * noise.reading**2
        wider = self.padded(1.0 / (variance[:count] + more * predicted.by_stop[:count] ** 2))
        careless, careless_log = _in_common(
            wider, k, float(np.hypot(_CARELESS * noise.sheet, _CARELESS_STOPS))
        )
        shifted, shifted_log = _in_common(own, k, float(np.hypot(noise.sheet, _SPOILED_STOPS)))
        index = np.arange(self.width)
        directions = spoiled_directions(k, self.there, self.from_middle)
        spread = ordinary @ directions
        inner = np.asarray(np.linalg.inv(np.eye(3) + directions.transpose(0, 2, 1) @ spread), np.float64)
        state = Weighed(
            precision=sparse.csr_array((0, 0)),
            ordinary=ordinary,
            ordinary_log=ordinary_log,
            careless=careless,
            careless_log=careless_log,
            shifted=shifted,
            shifted_log=shifted_log,
            leverage=ordinary[:, index, index] * MISTAKEN_SD**2,
            spread=spread,
            inner=inner,
            spoiled_log=np.linalg.slogdet(inner)[1],
            by_stop=k,
            variance=variance,
            belongs=np.ones(self.sheets),
            mistaken=np.zeros((self.sheets, self.width)),
        )
        residual = rows.density - predicted.density
        likelihood, cases = self._cases(residual, state, noise)
        blocks = ordinary
        if noise.accidents:
            pull = cases[:, 4:] * MISTAKEN_SD**2 / (1.0 + state.leverage)
            blocks = ordinary - (ordinary * pull[:, None, :]) @ ordinary
            blocks -= cases[:, 3, None, None] * (spread @ inner @ spread.transpose(0, 2, 1))
            blocks += cases[:, 1, None, None] * (careless - ordinary)
            blocks += cases[:, 2, None, None] * (shifted - ordinary)
        bound_score, bound_weight, bound_log = self._bounds(residual, variance)
        tests = slice(count + self.bounds, len(rows))
        values = np.concatenate([blocks[self._pairs], bound_weight, 1.0 / variance[tests]])
        precision = sparse.csr_array(
            (values[self._order], self._columns, self._starts), shape=(len(rows), len(rows))
        )
        score = np.asarray(precision @ residual)
        score[count : count + self.bounds] = bound_score
        state = Weighed(
            **{
                **{name: getattr(state, name) for name in state.__dataclass_fields__},
                "precision": precision,
                "belongs": cases[:, 0] + cases[:, 1],
                "mistaken": cases[:, 4:],
            }
        )
        return state, np.asarray(score), likelihood + bound_log + self._tests(residual, variance)

    def likelihood(self, predicted: Predicted, state: Weighed, noise: Noise) -> float:
        """Return the log likelihood of a prediction under covariances frozen before."""
        residual = self.layout.rows.density - predicted.density
        return (
            self._cases(residual, state, noise)[0]
            + self._bounds(residual, state.variance)[2]
            + self._tests(residual, state.variance)
        )

    def _cases(self, residual: Array, state: Weighed, noise: Noise) -> tuple[float, Array]:
        """Return the log likelihood, and P(case): ordinary, careless, shifted, spoiled, each mistaken."""
        table = self.padded(residual[: self.count])
        pulled = np.einsum("smn,sn->sm", state.ordinary, table)
        ordinary = 0.5 * (state.ordinary_log - np.einsum("sm,sm->s", pulled, table))
        normal = -0.5 * np.log(2.0 * np.pi) * self.count
        if not noise.accidents:
            cases = np.zeros((self.sheets, 4 + self.width))
            cases[:, 0] = 1.0
            return float(ordinary.sum()) + normal, cases
        careless, shifted = (
            0.5 * (log - np.einsum("sm,smn,sn->s", table, precision, table, optimize=False))
            for precision, log in (
                (state.careless, state.careless_log),
                (state.shifted, state.shifted_log),
            )
        )
        along = np.einsum("smj,sm->sj", state.spread, table)
        spoiled = ordinary + 0.5 * (np.einsum("sj,sjk,sk->s", along, state.inner, along) + state.spoiled_log)
        widened = 1.0 + state.leverage
        mistaken = ordinary[:, None] + 0.5 * (pulled**2 * MISTAKEN_SD**2 / widened - np.log(widened))
        # In a sheet of one reading the two accidents are one.
        several = (self.sizes > 1)[:, None] * self.there > 0.0
        mistaken = np.where(several, mistaken + np.log(MISTAKEN_SHARE), -np.inf)
        rest = CARELESS_SHARE + SHIFTED_SHARE + SPOILED_SHARE + MISTAKEN_SHARE * several.sum(axis=1)
        every = np.column_stack(
            [
                ordinary + np.log1p(-rest),
                careless + np.log(CARELESS_SHARE),
                shifted + np.log(SHIFTED_SHARE),
                spoiled + np.log(SPOILED_SHARE),
                mistaken,
            ]
        )
        top = every.max(axis=1)
        cases = np.exp(every - top[:, None])
        total = cases.sum(axis=1)
        return float((top + np.log(total)).sum()) + normal, cases / total[:, None]

    def _bounds(self, residual: Array, variance: Array) -> tuple[Array, Array, float]:
        """Return score, information and log likelihood of the bounds: a probit each (Gelman, 16)."""
        which = slice(self.count, self.count + self.bounds)
        if not self.bounds:
            return np.empty(0), np.empty(0), 0.0
        sign, sd = self.layout.rows.sign[which], np.sqrt(variance[which])
        # Denser than a bound: prediction over bound; the residual is bound minus prediction.
        eta = -sign * residual[which] / sd
        log_share = log_ndtr(eta)
        likely = np.logaddexp(np.log1p(-_MOST_BEYOND) + log_share, np.log(_MOST_BEYOND))
        meant = np.exp(np.log1p(-_MOST_BEYOND) + log_share - likely)
        ratio = np.exp(-0.5 * eta * eta - 0.5 * np.log(2.0 * np.pi) - log_share)
        information = np.maximum(ratio * (ratio + eta), 0.0) * meant / sd**2
        return sign * ratio * meant / sd, information, float(likely.sum())

    def _tests(self, residual: Array, variance: Array) -> float:
        which = slice(self.count + self.bounds, None)
        own, wide = residual[which], variance[which]
        return float(-0.5 * (own * own / wide + np.log(2.0 * np.pi * wide)).sum())


def _in_common(own: Array, by_stop: Array, sd: float) -> tuple[Array, Array]:
    """Return (D + σ²·k·kᵀ)⁻¹ of every sheet, and its log determinant (Woodbury).

    Parameters
    ----------
    own : D⁻¹, 0 where there is no reading, shape (S, M).
    by_stop : k, shape (S, M).
    sd : σ, stops.
    """
    weighted = own * by_stop
    share = 1.0 / (1.0 + sd**2 * np.einsum("sm,sm->s", weighted, by_stop))
    found = -(share * sd**2)[:, None, None] * weighted[:, :, None] * weighted[:, None, :]
    index = np.arange(own.shape[1])
    found[:, index, index] += own
    return found, np.log(np.where(own > 0.0, own, 1.0)).sum(axis=1) + np.log(share)


def spoiled_directions(by_stop: Array, there: Array, from_middle: Array) -> Array:
    """Return how a spoiled sheet's readings go astray together: shift, fog, slope; (sheets, readings, 3)."""
    return np.stack(
        [_SPOILED_STOPS * by_stop, _SPOILED_FOG * there, _SPOILED_SLOPE * from_middle * by_stop], axis=2
    )
