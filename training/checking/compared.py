"""How far left-out predictions were off, the model's and its rivals' on the same builds left out."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil, log2, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.stats import t, ttest_1samp
from statsmodels.stats.multitest import multipletests
from threadpoolctl import threadpool_limits

from predictor.belief.mixture import NormalMixture, side_by_side
from training.checking.left_out_builds import LeftOutBuilds
from training.checking.rivals import RIVALS
from training.checking.scores import crps, interval_score
from training.progress import Track

Array = NDArray[np.float64]

FEWEST_FOR_RIVALS = 3
"""A rival learns from two builds at least."""

SURE_P = 0.05
"""Below this chance a difference is told as one."""

FEWEST_FOR_A_VERDICT = ceil(log2(2 * len(RIVALS) / SURE_P))
"""So many builds does it take to call rivals better or worse. Of fewer, even if all fell on one side, a sign test would
not be sure for all rivals together; Student's t may be, but by normal scores, which so few cannot show."""

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


def rivals_left_out(builds: LeftOutBuilds, track: Track) -> dict[str, NormalMixture]:
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
    return {name: side_by_side(each) for name, each in told.items()}


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


@dataclass(frozen=True)
class Difference:
    """A mean of paired differences, and the chance of one as far from zero if there were none (Student's t).

    Attributes:
        mean: with its interval.
        p: the chance; nothing where builds are too few for a verdict, or there is no difference at all.
        p_of_all: the same, of the farthest among all differences looked at (Holm).
    """

    mean: Mean
    p: float | None
    p_of_all: float | None


def paired(differences: Mapping[str, Array]) -> dict[str, Difference]:
    """Return the mean of each of some differences, taken build by build.

    Args:
        differences: by name, shape (n,) each.
    """
    known = {
        name: values
        for name, values in differences.items()
        if len(values) >= FEWEST_FOR_A_VERDICT and np.ptp(values) > 0
    }
    p = {name: float(ttest_1samp(values, 0).pvalue) for name, values in known.items()}
    together = multipletests(list(p.values()), method="holm")[1].tolist() if p else []
    p_of_all = dict(zip(p, together, strict=True))
    return {
        name: Difference(mean(values), p.get(name), p_of_all.get(name))
        for name, values in differences.items()
    }
