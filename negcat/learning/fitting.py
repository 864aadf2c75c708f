"""The fit at given noise levels: Gauss–Newton to the mode, and the curvature there.

Sources
-------
Bates : D. Bates, M. Mächler, B. Bolker, S. Walker, Fitting linear mixed-effects models using lme4, J. Stat.
    Softw. 67 (2015): nested effects eliminated one level at a time.
Björck : Å. Björck, Numerical Methods for Least Squares Problems (1996), 9.2: damped Gauss–Newton.
Tierney : L. Tierney, J. B. Kadane, Accurate approximations for posterior moments and marginal densities, J.
    Am. Stat. Assoc. 81 (1986): the Laplace approximation of a marginal likelihood.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, sparse

from negcat.learning.layout import Layout
from negcat.learning.prediction import Derivatives, Predicted, predict
from negcat.learning.sheets_together import Noise, Together, Weighed

__all__ = ["Fit", "Fitter", "State"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class State:
    """Where the fit stands.

    Parameters
    ----------
    unknowns : shape (unknowns,).
    batches : stops and log contrast of each, shape (batches, 2).
    """

    unknowns: Array
    batches: Array


@dataclass(frozen=True)
class Fit:
    """The mode at given noise levels, and the Gaussian there.

    Parameters
    ----------
    state : the mode.
    noise : the levels.
    covariance : of the unknowns, batches integrated out, (unknowns, unknowns).
    batch_gain : how the batches answer to the unknowns, (batches, 2, unknowns): E(batch | unknowns).
    batch_own : covariance of each batch given the unknowns, (batches, 2, 2).
    log_evidence : log marginal likelihood by Laplace, without hyperpriors.
    weighed, predicted : at the mode.
    """

    state: State
    noise: Noise
    covariance: Array
    batch_gain: Array
    batch_own: Array
    log_evidence: float
    weighed: Weighed
    predicted: Predicted


class Fitter:
    """Fits one season.

    Parameters
    ----------
    layout : the season.

    Notes
    -----
    Sheets are integrated out within the likelihood, batches by the Schur complement of their blocks of two,
    which leaves a dense system of the unknowns alone (Bates): its size is that of the equipment, not of the
    archive.
    """

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        self.together = Together(layout)
        self.means = layout.unknowns.means
        self._precisions = layout.unknowns.precisions
        self._seen: State | None = None
        self._derivatives = Derivatives(layout.rows, len(self.means))
        self._derived: tuple[Predicted, sparse.csr_array, sparse.csr_array, Array]
        self._levels = {
            level: np.array([prior.level == level for prior in layout.unknowns.priors])
            for level in ("bend", "shutter", "hand")
        }
        batch = layout.rows.batch
        inside = np.flatnonzero(batch >= 0)
        self.batches = len(layout.batches)
        self._gather = sparse.csr_array(
            sparse.coo_array(
                (np.ones(len(inside)), (batch[inside], inside)), shape=(self.batches, len(batch))
            )
        )

    def has(self, level: str) -> bool:
        """Whether a level bears on anything in this season."""
        if level.startswith("batch"):
            return self.batches > 0
        return level not in self._levels or bool(self._levels[level].any())

    def start(self) -> State:
        """Return the state of the priors."""
        return State(self.means.copy(), np.zeros((self.batches, 2)))

    def predict(self, state: State) -> Predicted:
        """Predict all rows."""
        return predict(self.layout.shape, self.layout.rows, state.unknowns, state.batches)

    def log_prior(self, state: State, noise: Noise) -> float:
        """Return the log density of a state under the priors, without constants."""
        away = state.unknowns - self.means
        precisions = self.precisions(noise)
        wide = np.array([noise.batch, noise.batch_contrast])
        of_batches = -0.5 * ((state.batches / wide) ** 2).sum() - self.batches * np.log(wide).sum()
        of_unknowns = 0.5 * (np.log(precisions) - precisions * away * away).sum()
        return float(of_unknowns + of_batches)

    def precisions(self, noise: Noise) -> Array:
        """Return one over the prior variances of the unknowns."""
        found = self._precisions.copy()
        for level, which in self._levels.items():
            found[which] = getattr(noise, level) ** -2.0
        return found

    def solve(self, state: State, noise: Noise) -> "_Step":
        """Return the Gauss–Newton step from a state, and the curvature there."""
        # Levels are tried by the dozen at one state, and derivatives know nothing of them.
        if state is not self._seen:
            predicted = self.predict(state)
            self._seen = state
            by_unknown, by_batch = self._derivatives.at(predicted, state.unknowns)
            self._derived = (predicted, by_unknown, by_unknown.T.tocsr(), by_batch)
        predicted, by_unknown, of_unknowns, by_batch = self._derived
        weighed, score, likelihood = self.together.weigh(predicted, noise)
        weighted = weighed.precision @ by_unknown
        curvature = (of_unknowns @ weighted).toarray()
        precisions = self.precisions(noise)
        curvature[np.diag_indices_from(curvature)] += precisions
        gradient = of_unknowns @ score - precisions * (state.unknowns - self.means)
        batch_precision = np.array([noise.batch, noise.batch_contrast]) ** -2.0
        own = np.zeros((self.batches, 2, 2))
        coupling = [sparse.csr_array((self.batches, len(self.means)))] * 2
        batch_step = np.zeros((self.batches, 2))
        log_determinant = 0.0
        if self.batches:
            weighted_batch = weighed.precision @ by_batch
            lengths = np.diff(weighted.indptr)
            for i in range(2):
                for j in range(2):
                    own[:, i, j] = self._gather @ (by_batch[:, i] * weighted_batch[:, j])
                own[:, i, i] += batch_precision[i]
                scaled = weighted.data * np.repeat(by_batch[:, i], lengths)
                coupling[i] = self._gather @ sparse.csr_array(
                    (scaled, weighted.indices, weighted.indptr), shape=weighted.shape
                )
            pull = self._gather @ (by_batch * score[:, None]) - batch_precision * state.batches
            log_determinant += float(np.linalg.slogdet(own)[1].sum())
            own = np.asarray(np.linalg.inv(own), np.float64)
            batch_step = np.einsum("bij,bj->bi", own, pull)
            for i in range(2):
                one, other = (coupling[j].multiply(own[:, i, j][:, None]) for j in range(2))
                curvature -= (coupling[i].T @ sparse.csr_array(one + other)).toarray()
                gradient -= np.asarray(coupling[i].T @ batch_step[:, i], np.float64)
        factor = linalg.cho_factor(0.5 * (curvature + curvature.T), lower=True)
        step = linalg.cho_solve(factor, gradient)
        answered = np.stack([np.asarray(one @ step, np.float64) for one in coupling], axis=1)
        batch_step -= np.einsum("bij,bj->bi", own, answered)
        log_determinant += 2.0 * float(np.log(np.diag(factor[0])).sum())
        evidence = likelihood + self.log_prior(state, noise) - 0.5 * log_determinant
        return _Step(step, batch_step, factor, coupling, own, evidence, weighed, predicted)

    def climb(self, state: State, noise: Noise, *, steps: int = 30, near: float = 1e-3) -> State:
        """Go to the mode.

        Parameters
        ----------
        state : where to start.
        noise : the noise levels.
        steps : how many steps at most.
        near : size of a step, in prior deviations, that counts as none.
        """
        wide = np.sqrt(self.precisions(noise))
        for _ in range(steps):
            step = self.solve(state, noise)
            # Far off, the way is not straight.
            largest = max(float(np.abs(step.unknowns * wide).max()), 1e-12)
            share = min(1.0, 2.0 / largest)
            before = self.together.likelihood(step.predicted, step.weighed, noise) + self.log_prior(
                state, noise
            )
            for _ in range(6):
                tried = State(state.unknowns + share * step.unknowns, state.batches + share * step.batches)
                after = self.together.likelihood(self.predict(tried), step.weighed, noise)
                if after + self.log_prior(tried, noise) >= before - 1e-6:
                    break
                share *= 0.4
            state = tried
            if share * largest < near:
                break
        return state

    def fit(self, state: State, noise: Noise, *, steps: int = 30, near: float = 1e-3) -> Fit:
        """Go to the mode and look around there; parameters as :meth:`climb`."""
        state = self.climb(state, noise, steps=steps, near=near)
        at = self.solve(state, noise)
        covariance = linalg.cho_solve(at.factor, np.eye(len(self.means)))
        gain = -at.own @ np.stack([one.toarray() for one in at.coupling], axis=1)
        return Fit(state, noise, covariance, gain, at.own, at.log_evidence, at.weighed, at.predicted)


@dataclass(frozen=True)
class _Step:
    unknowns: Array
    batches: Array
    factor: tuple[Array, bool]
    coupling: list[sparse.csr_array]
    own: Array
    log_evidence: float
    weighed: Weighed
    predicted: Predicted
