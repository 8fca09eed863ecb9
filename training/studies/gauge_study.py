"""Repeatability and reproducibility of weighing: how far readings of one bow lie apart, and what parts them.

Several appraisers, here hands on scales, measure several parts, here bows, several times each. By average and range,
and by analysis of variance with the interaction pooled into the error where it shows no sign of being real. Source:
AIAG, Measurement Systems Analysis, 4th edition (2010), chapter III section B, by way of public test suites that quote
it. Balanced studies only.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import floor, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2, f, norm

Array = NDArray[np.float64]

POOLING_LEVEL = 0.25
"""An interaction whose p-value is above this counts as error: the handbook's rule."""

CATEGORIES = 1.41
"""Distinct categories are so many times part over gauge: the square root of two, as the handbook rounds it."""


@dataclass(frozen=True)
class Variation:
    """Standard deviations of a study, in the unit of its readings.

    Attributes:
        repeatability: the same appraiser, the same part.
        reproducibility: between appraisers, their interaction with parts counted in.
        part: between parts.
    """

    repeatability: float
    reproducibility: float
    part: float

    @property
    def gauge(self) -> float:
        """Of the whole measuring system."""
        return float(np.hypot(self.repeatability, self.reproducibility))

    @property
    def total(self) -> float:
        """Of the system and the parts together."""
        return float(np.hypot(self.gauge, self.part))

    @property
    def categories(self) -> int | None:
        """How many classes of parts the system tells apart, cut to a whole number; None where it never errs."""
        return floor(CATEGORIES * self.part / self.gauge) if self.gauge else None


@dataclass(frozen=True)
class Line:
    """One line of an analysis of variance."""

    source: str
    squares: float
    freedom: int

    @property
    def mean_square(self) -> float:
        """Sum of squares over degrees of freedom."""
        return self.squares / self.freedom


@dataclass(frozen=True)
class Analysis:
    """A study by analysis of variance.

    Attributes:
        lines: part, appraiser, interaction and error, before any pooling.
        interaction_p: probability of an interaction so large if there is none; None where nothing ever differed.
        pooled: whether the interaction was counted as error.
        variation: what follows; a variance that came out negative is told as zero.
    """

    lines: tuple[Line, ...]
    interaction_p: float | None
    pooled: bool
    variation: Variation


def by_ranges(readings: Array) -> Variation:
    """Return a study's variation by averages and ranges.

    The appraiser's and the part's factors are for a single range; the one for repeatability is for many, as the
    handbook has it from 15 ranges on, and for fewer it reads up to a few per cent low.

    Args:
        readings: shape (parts, appraisers, trials), two of each at least.

    Raises:
        ValueError: there are fewer.
    """
    parts, _, trials = _shape(readings)
    repeatability = float(np.ptp(readings, axis=2).mean()) / range_moments(trials)[0]
    apart = _from_range(readings.mean(axis=(0, 2)))
    reproducibility = sqrt(max(0.0, apart**2 - repeatability**2 / (parts * trials)))
    return Variation(repeatability, reproducibility, _from_range(readings.mean(axis=(1, 2))))


def by_analysis(readings: Array) -> Analysis:
    """Return a study by analysis of variance, both factors random.

    Args:
        readings: shape (parts, appraisers, trials), two of each at least.

    Raises:
        ValueError: there are fewer.
    """
    part, appraiser, interaction, error = lines = _lines(readings)
    p = None
    if error.squares > 0:
        p = float(f.sf(interaction.mean_square / error.mean_square, interaction.freedom, error.freedom))
    pooled = p is None or p > POOLING_LEVEL
    if pooled:
        error = interaction = Line(
            "error", interaction.squares + error.squares, interaction.freedom + error.freedom
        )
    parts, appraisers, trials = readings.shape
    between = max(0.0, (appraiser.mean_square - interaction.mean_square) / (parts * trials))
    crossed = max(0.0, (interaction.mean_square - error.mean_square) / trials)
    variation = Variation(
        repeatability=sqrt(error.mean_square),
        reproducibility=sqrt(between + crossed),
        part=sqrt(max(0.0, (part.mean_square - interaction.mean_square) / (appraisers * trials))),
    )
    return Analysis(lines, p, pooled, variation)


def _lines(readings: Array) -> tuple[Line, Line, Line, Line]:
    parts, appraisers, trials = _shape(readings)
    cells = readings.mean(axis=2)
    of_parts, of_appraisers = cells.mean(axis=1), cells.mean(axis=0)
    mean = cells.mean()
    crossed = cells - of_parts[:, None] - of_appraisers[None, :] + mean
    return (
        Line("part", appraisers * trials * _squares(of_parts - mean), parts - 1),
        Line("appraiser", parts * trials * _squares(of_appraisers - mean), appraisers - 1),
        Line("interaction", trials * _squares(crossed), (parts - 1) * (appraisers - 1)),
        Line("error", _squares(readings - cells[:, :, None]), parts * appraisers * (trials - 1)),
    )


def _squares(values: Array) -> float:
    return float(np.sum(values**2))


def _shape(readings: Array) -> tuple[int, int, int]:
    if readings.ndim != 3 or min(readings.shape) < 2:
        raise ValueError(
            f"wanted two parts, appraisers and trials at least, got {readings.shape}; weigh again"
        )
    parts, appraisers, trials = readings.shape
    return parts, appraisers, trials


def _from_range(values: Array) -> float:
    """Return the standard deviation that the range of a few numbers tells, by the factor for a single range."""
    return float(np.ptp(values)) / float(np.hypot(*range_moments(len(values))))


@lru_cache
def range_moments(n: int) -> tuple[float, float]:
    """Return d2 and d3: mean and standard deviation of the range of n standard normal numbers.

    The range exceeds r with probability 1 - n times the integral of phi(x) (Phi(x + r) - Phi(x))^(n - 1): Tippett,
    Biometrika 17 (1925), 364-387 (from memory). Both integrals by Gauss and Legendre, to 1e-10.
    """
    nodes, weights = np.polynomial.legendre.leggauss(120)
    x, r = 10 * nodes[:, None], 10 * (nodes + 1)[None, :]
    inside = norm.pdf(x) * (norm.cdf(x + r) - norm.cdf(x)) ** (n - 1)
    beyond = 1 - n * (10 * weights) @ inside
    mean = float(10 * weights @ beyond)
    second = float(2 * (10 * weights * r[0]) @ beyond)
    return mean, sqrt(second - mean**2)


@dataclass(frozen=True)
class Pooled:
    """Standard deviation of repeated readings about their means, from several sets of them.

    Attributes:
        sd: in the unit of the readings.
        freedom: degrees of freedom.
        low: lower end of its 90 % interval.
        high: upper end.
    """

    sd: float
    freedom: int
    low: float
    high: float


POOLED_LEVEL = 0.9
"""Of the interval about a pooled standard deviation."""


def pooled(sets: Sequence[Sequence[float]]) -> Pooled | None:
    """Return the scatter of readings within sets, or nothing where no set has two.

    Args:
        sets: readings of the same thing each; sets of one say nothing.
    """
    freedom = sum(len(one) - 1 for one in sets if one)
    if not freedom:
        return None
    squares = sum(_squares(np.array(one) - np.mean(one)) for one in sets if one)
    low, high = (sqrt(squares / float(chi2.ppf((1 + side * POOLED_LEVEL) / 2, freedom))) for side in (1, -1))
    return Pooled(sqrt(squares / freedom), freedom, low, high)
