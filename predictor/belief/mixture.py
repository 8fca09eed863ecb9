"""Mixtures of normal distributions: what is believed of a number when the scales themselves are not known."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, logsumexp, ndtr, ndtri, ndtri_exp

Array = NDArray[np.float64]

BISECTIONS = 60
"""Halvings of the bracket of a quantile: more than a double has bits to tell apart."""


@dataclass(frozen=True)
class NormalMixture:
    """A mixture of K normals for each of n numbers.

    Attributes:
        weights: shape (K, n), adding up to one over K.
        means: shape (K, n).
        sds: shape (K, n), positive.
    """

    weights: Array
    means: Array
    sds: Array

    @property
    def mean(self) -> Array:
        """Means, shape (n,)."""
        mean: Array = np.sum(self.weights * self.means, axis=0)
        return mean

    @property
    def sd(self) -> Array:
        """Standard deviations, shape (n,): within the components and between them."""
        spread = self.sds**2 + (self.means - self.mean) ** 2
        sd: Array = np.sqrt(np.sum(self.weights * spread, axis=0))
        return sd

    def some(self, places: Sequence[int]) -> "NormalMixture":
        """Return some of the numbers."""
        chosen = np.array(places, dtype=int)
        return NormalMixture(self.weights[:, chosen], self.means[:, chosen], self.sds[:, chosen])

    def cdf(self, values: Array) -> Array:
        """Return the probability of lying below each value, shape (n,)."""
        below: Array = np.sum(self.weights * ndtr((values - self.means) / self.sds), axis=0)
        return np.clip(below, 0.0, 1.0)  # weights add up to one but for rounding

    def stretched(self, factor: float | Array) -> "NormalMixture":
        """Return the mixture made wider or narrower about its medians by a positive factor, or by one for each."""
        middle = self.quantile(0.5)
        return NormalMixture(self.weights, middle + factor * (self.means - middle), factor * self.sds)

    def normal_score(self, values: Array) -> Array:
        """Return the standard normal values at the same probabilities, shape (n,); for one normal (value - mean) / sd.

        The smaller tail is taken by its logarithm, so that a value far out keeps its score.
        """
        z = (values - self.means) / self.sds
        below = logsumexp(log_ndtr(z), b=self.weights, axis=0)
        above = logsumexp(log_ndtr(-z), b=self.weights, axis=0)
        # Rounding may bring the larger tail's logarithm above zero; the smaller one's is at most log(1/2).
        score: Array = np.where(
            below < above, ndtri_exp(np.minimum(below, 0)), -ndtri_exp(np.minimum(above, 0))
        )
        return score

    def quantile(self, probability: float) -> Array:
        """Return the values below which the numbers lie with this probability, shape (n,).

        Raises:
            ValueError: the probability is not between 0 and 1.
        """
        if not 0 < probability < 1:
            raise ValueError(f"wanted a probability between 0 and 1, got {probability}")
        each = self.means + ndtri(probability) * self.sds
        low, high = each.min(axis=0), each.max(axis=0)
        for _ in range(BISECTIONS):
            middle = (low + high) / 2
            below = self.cdf(middle) < probability
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        quantile: Array = (low + high) / 2
        return quantile


def side_by_side(each: Sequence[NormalMixture]) -> NormalMixture:
    """Return several mixtures as one of all their numbers; those of fewer normals are filled up."""
    most = max(len(one.weights) for one in each)
    filled = [np.pad(one.weights, ((0, most - len(one.weights)), (0, 0))) for one in each]
    means, sds = (
        [np.pad(part, ((0, most - len(part)), (0, 0)), mode="edge") for part in parts]
        for parts in ([one.means for one in each], [one.sds for one in each])
    )
    return NormalMixture(np.hstack(filled), np.hstack(means), np.hstack(sds))


@dataclass(frozen=True)
class JointMixture:
    """A mixture of K normals for n numbers that belong together.

    Attributes:
        weights: shape (K,), adding up to one.
        means: shape (K, n).
        covariances: shape (K, n, n).
    """

    weights: Array
    means: Array
    covariances: Array

    @property
    def mean(self) -> Array:
        """Means, shape (n,)."""
        mean: Array = self.weights @ self.means
        return mean

    @property
    def covariance(self) -> Array:
        """Covariance, shape (n, n): within the components and between them."""
        apart = self.means - self.mean
        outer = apart[:, :, None] * apart[:, None, :]
        covariance: Array = np.tensordot(self.weights, self.covariances + outer, axes=1)
        return covariance

    def along(self, directions: Array) -> NormalMixture:
        """Return sums of the numbers times factors, each by itself.

        Args:
            directions: the factors, shape (sums, n).
        """
        weights = np.broadcast_to(self.weights[:, None], (len(self.weights), len(directions)))
        variances = np.einsum("si,kij,sj->ks", directions, self.covariances, directions)
        return NormalMixture(weights, self.means @ directions.T, np.sqrt(variances))

    def marginal(self) -> NormalMixture:
        """Return each number by itself."""
        weights = np.broadcast_to(self.weights[:, None], self.means.shape)
        return NormalMixture(weights, self.means, np.sqrt(np.diagonal(self.covariances, axis1=1, axis2=2)))
