"""How good predictions were: scoring rules, and means over shops with honest standard errors."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from predictor.belief.mixture import NormalMixture

Array = NDArray[np.float64]


def crps(predicted: NormalMixture, observed: Array) -> Array:
    """Return the continuous ranked probability score of mixtures of normals, in the unit of the values.

    The closed form of Grimit, Gneiting, Berrocal and Johnson, Quarterly Journal of the Royal Meteorological Society 132
    (2006), 2925-2942 (from memory): E|X - y| - E|X - X'| / 2.

    Args:
        predicted: of n numbers.
        observed: what they turned out to be, shape (n,).

    Returns:
        A score for each, shape (n,); lower is better.
    """
    weights, means, sds = predicted.weights, predicted.means, predicted.sds
    off = np.sum(weights * _mean_absolute(observed - means, sds), axis=0)
    apart = _mean_absolute(means[:, None] - means, np.hypot(sds[:, None], sds))
    score: Array = off - np.einsum("in,jn,ijn->n", weights, weights, apart) / 2
    return score


def _mean_absolute(mean: Array, sd: Array) -> Array:
    """Return the mean absolute value of a normal number."""
    z = mean / sd
    density = np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi)
    value: Array = 2 * sd * density + mean * (2 * ndtr(z) - 1)
    return value


def interval_score(low: Array, high: Array, observed: Array, level: float) -> Array:
    """Return the score of central intervals: their width, and a fine for each value outside; lower is better.

    Source: Gneiting and Raftery, Journal of the American Statistical Association 102 (2007), 359-378, eq. 43 (from
    memory): (u - l) + (2 / a) (l - y) for y below l and (2 / a) (y - u) for y above u, with a = 1 - level.

    Args:
        low: lower ends, shape (n,).
        high: upper ends, shape (n,).
        observed: what came, shape (n,).
        level: coverage promised.
    """
    outside = np.maximum(low - observed, 0) + np.maximum(observed - high, 0)
    score: Array = high - low + 2 / (1 - level) * outside
    return score


@dataclass(frozen=True)
class Estimate:
    """A figure over all tests of all shops, and its standard error over shops."""

    value: float
    error: float


def clustered_mean(values: Array, clusters: NDArray[np.generic]) -> Estimate:
    """Return the mean of values that are alike within a cluster, such as all tests of one shop.

    Args:
        values: shape (n,).
        clusters: which cluster each belongs to, shape (n,).
    """
    return clustered_ratio(values, np.ones_like(values), clusters)


def clustered_ratio(above: Array, below: Array, clusters: NDArray[np.generic]) -> Estimate:
    """Return the mean of one quantity over that of another; its error is to first order in the clusters' sums.

    Source: the ratio estimator of cluster sampling, Cochran, Sampling Techniques (1977), sections 6.4 and 9A (from
    memory).

    Args:
        above: shape (n,).
        below: shape (n,).
        clusters: which cluster each pair belongs to, shape (n,).

    Raises:
        ValueError: there are fewer than two clusters.
    """
    names, place = np.unique(clusters, return_inverse=True)
    count = len(names)
    if count < 2:
        raise ValueError(
            f"wanted two clusters or more for a standard error, got {count}: simulate more shops"
        )
    ratio = float(np.sum(above) / np.sum(below))
    sums = np.bincount(place, weights=above - ratio * below)
    error = np.sqrt(count / (count - 1) * np.sum(sums**2)) / abs(float(np.sum(below)))
    return Estimate(ratio, float(error))
