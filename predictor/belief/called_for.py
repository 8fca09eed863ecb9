"""What a bow called for, given what it was cut by: a bow that came out light is not cut at all.

What a bow is over its order, L, is taken to be normal over a shop's bows. It is cut by L where that is worth the while,
and else not at all, so that of a bow that was not cut only a bound of L is known: a censored reading (Tobin,
Econometrica 26 (1958), 24-36, from memory). Where the first width is not on record the cut itself is seen with an
error, and either may have been. What is known of L then is put as one normal reading that, laid beside the shop's
usual, gives L's true mean and variance (moment matching: Minka, A family of algorithms for approximate Bayesian
inference, 2001, section 3, from memory).
"""

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from predictor.belief.usual_cut import UsualCut

Array = NDArray[np.float64]

WORTH_THE_WHILE = 0.01
"""Share of its weight from which a shop takes a bow's excess off: common practice, no source."""

LEAST_TOLD = 1e-3
"""A cut that tells less than this share of what is known without it tells nothing."""

TINY = 1e-300
"""A share below this counts as this, so that a bow far from all others still has a likelihood."""


@dataclass(frozen=True)
class CalledFor:
    """A reading of what a bow called for.

    Attributes:
        log_share: logarithm of the weight before over the order.
        sd: of the reading.
    """

    log_share: float
    sd: float


@dataclass(frozen=True)
class _Way:
    """One of the ways how it may have been, for n bows.

    Attributes:
        density: of what is seen, shape (n,).
        mean: of what the bow called for, given that, shape (n,).
        variance: shape (n,).
    """

    density: Array
    mean: Array
    variance: Array


def called_for(cut: float, cut_sd: float, usual: UsualCut) -> CalledFor | None:
    """Return what a bow called for; nothing where its cut tells no more than is usual.

    Args:
        cut: logarithm of the weight before over the weight after, as it is seen.
        cut_sd: of what is seen, above zero.
        usual: in the shop.
    """
    ways = _ways(np.array([cut]), np.array([cut_sd]), usual.called_for, usual.called_for_sd)
    density = sum(way.density[0] for way in ways)
    mean = sum(way.density[0] * way.mean[0] for way in ways) / density
    variance = sum(way.density[0] * (way.variance[0] + (way.mean[0] - mean) ** 2) for way in ways) / density
    told = 1 / variance - 1 / usual.called_for_sd**2
    if told * usual.called_for_sd**2 < LEAST_TOLD:
        return None
    read = (mean / variance - usual.called_for / usual.called_for_sd**2) / told
    return CalledFor(float(read), sqrt(1 / told))


def log_likelihood(cut: Array, cut_sd: Array, mean: float, sd: float) -> float:
    """Return how well cuts agree with what a shop's bows call for.

    Args:
        cut: as they are seen, shape (n,).
        cut_sd: of what is seen, above zero, shape (n,).
        mean: of what bows call for.
        sd: of it.
    """
    uncut, was_cut = _ways(cut, cut_sd, mean, sd)
    return float(np.sum(np.log(uncut.density + was_cut.density)))


def _ways(cut: Array, cut_sd: Array, mean: float, sd: float) -> tuple[_Way, _Way]:
    """Return that bows were not cut, and that they were cut by what they called for."""
    below = np.full(len(cut), (WORTH_THE_WHILE - mean) / sd)
    uncut = _ending(_density(cut / cut_sd) / cut_sd, np.full(len(cut), mean), np.full(len(cut), sd), below, 1)
    whole = np.hypot(sd, cut_sd)
    given, left = (mean * cut_sd**2 + cut * sd**2) / whole**2, sd * cut_sd / whole
    above = (WORTH_THE_WHILE - given) / left
    return uncut, _ending(_density((cut - mean) / whole) / whole, given, left, above, -1)


def _ending(density: Array, mean: Array, sd: Array, at: Array, side: int) -> _Way:
    """Return normals that end at so many standard deviations: 1 above, -1 below; their share is part of the density."""
    share = np.maximum(ndtr(side * at), TINY)
    ratio = side * _density(at) / share
    left = np.maximum(1 - ratio * (ratio + at), 0.0)
    return _Way(density * share + TINY, mean - sd * ratio, sd**2 * left)


def _density(at: Array) -> Array:
    found: Array = np.exp(-(at**2) / 2) / np.sqrt(2 * np.pi)
    return found
