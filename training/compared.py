"""How far left-out predictions were off, the model's and its rivals' on the same builds left out."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.stats import t
from threadpoolctl import threadpool_limits

from predictor.mixture import NormalMixture
from training.left_out_builds import LeftOutBuilds
from training.rivals import RIVALS
from training.scores import crps, interval_score

Array = NDArray[np.float64]

FEWEST_FOR_RIVALS = 3
"""A rival learns from two builds at least."""

SCORED_LEVEL = 0.9
"""Of the intervals that are scored."""


@dataclass(frozen=True)
class Errors:
    """How far predictions were off, build by build, shape (n,) each.

    Attributes:
        off_lbf: reading less median.
        off_percent: the same in per cent of the median.
        crps_percent: continuous ranked probability score of the logarithm of the weight, times 100.
        interval_lbf: score of the 90 % interval.
    """

    off_lbf: Array
    off_percent: Array
    crps_percent: Array
    interval_lbf: Array

    def some(self, places: Sequence[int]) -> "Errors":
        """Return those of some builds."""
        return Errors(
            self.off_lbf[places],
            self.off_percent[places],
            self.crps_percent[places],
            self.interval_lbf[places],
        )


def errors(predicted: NormalMixture, log_weight: Array) -> Errors:
    """Return how far predictions of logarithms of pounds were off."""
    middle, read = np.exp(predicted.quantile(0.5)), np.exp(log_weight)
    low, high = (np.exp(predicted.quantile(p)) for p in ((1 - SCORED_LEVEL) / 2, (1 + SCORED_LEVEL) / 2))
    return Errors(
        off_lbf=read - middle,
        off_percent=100 * (read / middle - 1),
        crps_percent=100 * crps(predicted, log_weight),
        interval_lbf=interval_score(low, high, read, SCORED_LEVEL),
    )


def rivals_left_out(
    builds: LeftOutBuilds, track: Callable[[Sequence[Any], str], Iterable[Any]]
) -> dict[str, NormalMixture]:
    """Return what each rival says of each build from all the others.

    Args:
        builds: three at least.
        track: goes through the builds and tells how far it has come.
    """
    told: dict[str, list[NormalMixture]] = {name: [] for name in RIVALS}
    with threadpool_limits(limits=1):
        for place in track(range(len(builds.builds)), "asking the rivals"):
            one = np.arange(len(builds.builds)) == place
            for name, rival in RIVALS.items():
                told[name].append(rival(builds.table.rows(~one), builds.table.rows(one)))
    return {name: _side_by_side(each) for name, each in told.items()}


def _side_by_side(each: Sequence[NormalMixture]) -> NormalMixture:
    return NormalMixture(
        np.hstack([one.weights for one in each]),
        np.hstack([one.means for one in each]),
        np.hstack([one.sds for one in each]),
    )


@dataclass(frozen=True)
class Mean:
    """A mean over builds with its 95 % interval, by Student's t; the interval is open where there is one build."""

    value: float
    half: float | None


def mean(values: Array) -> Mean:
    """Return the mean of values of independent builds."""
    count = len(values)
    if count < 2:
        return Mean(float(values.mean()), None)
    error = float(values.std(ddof=1)) / sqrt(count)
    return Mean(float(values.mean()), float(t.ppf(0.975, count - 1)) * error)
