"""Which scale reads high: what builds weighed on several scales say of each, and what check weights say.

A scale's bias is a factor: the logarithm of what it reads over what hangs on it. A check weight is an observation of
it, and nothing else: a belief that is normal at each set of scales of scatter takes it in closed form.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import log, sqrt

import numpy as np
from numpy.typing import NDArray

from datasets.schema import Scale
from predictor.belief.posterior import Posterior, observed, with_effects
from predictor.belief.scatter import PRIOR_SCATTER, SCALES
from predictor.belief.seen import level_name

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Biases:
    """Biases of some scales as a joint normal.

    Attributes:
        mean: shape (scales,).
        covariance: shape (scales, scales).
    """

    mean: Array
    covariance: Array

    @property
    def sd(self) -> Array:
        """Standard deviations, shape (scales,)."""
        sd: Array = np.sqrt(np.diag(self.covariance))
        return sd

    def difference(self, first: int, second: int) -> tuple[float, float]:
        """Return mean and standard deviation of how much higher one scale reads than another."""
        contrast = np.zeros(len(self.mean))
        contrast[first] += 1
        contrast[second] -= 1
        return float(contrast @ self.mean), sqrt(max(0.0, float(contrast @ self.covariance @ contrast)))


def by_weighings(belief: Posterior, names: Sequence[str]) -> Biases:
    """Return what a fit believes of scales; one that it never met has the scatter of scales.

    The mixture over the fit's scales of scatter is told by its mean and covariance.

    Args:
        belief: of the fit.
        names: of the scales, each once.
    """
    place = {name: index for index, name in enumerate(belief.effects)}
    known = [place.get(level_name(SCALES, name)) for name in names]
    rows = np.zeros((len(names), len(place)))
    for row, index in enumerate(known):
        if index is not None:
            rows[row, index] = 1.0
    means = belief.means @ rows.T
    mean = belief.weights @ means
    apart = means - mean
    within = rows @ belief.covariances @ rows.T + apart[:, :, None] * apart[:, None, :]
    spread = float(belief.weights @ belief.scale(SCALES) ** 2)
    never_met = np.diag([spread if index is None else 0.0 for index in known])
    return Biases(mean, np.tensordot(belief.weights, within, axes=1) + never_met)


def by_checks(scale: Scale) -> tuple[float, float] | None:
    """Return the bias that a scale's check weights tell, with its standard deviation; nothing without any.

    A reading is off by the rounding to the scale's division, evenly spread, and by the usual reading error. A known
    weight is taken as right.
    """
    if not scale.checks:
        return None
    off = np.array([log(check.read.lbf / check.known.lbf) for check in scale.checks])
    error_lbf = np.hypot(scale.division_lbf / sqrt(12), PRIOR_SCATTER.scale_reading_lbf)
    precision = (np.array([check.known.lbf for check in scale.checks]) / error_lbf) ** 2
    return float(precision @ off / precision.sum()), float(1 / np.sqrt(precision.sum()))


def with_check_weights(belief: Posterior, scales: Mapping[str, Scale]) -> Posterior:
    """Return a belief that has also seen the check weights of scales; these scales are among its effects.

    A check weight on one scale tells of the others too, as far as builds were weighed on both.

    Args:
        belief: that has seen none of them.
        scales: by name, with their check weights.
    """
    told = {name: found for name, scale in scales.items() if (found := by_checks(scale)) is not None}
    if not told:
        return belief
    names = [level_name(SCALES, name) for name in told]
    known = with_effects(belief, dict.fromkeys(names, belief.scale(SCALES) ** 2))
    design = np.zeros((len(names), len(known.effects)))
    design[np.arange(len(names)), [known.effects.index(name) for name in names]] = 1.0
    read, sds = np.array(list(told.values())).T
    return observed(known, design, read, sds**2)
