"""Whether predictions held as often as they promised: counts with the spread that luck alone gives them.

What is looked at is the probability that each prediction gave to a reading below the one that came (the probability
integral transform). If predictions are right it is spread evenly between 0 and 1: Gneiting, Balabdaoui and Raftery,
Journal of the Royal Statistical Society B 69 (2007), 243-268 (from memory). Builds are taken as independent; left-out
predictions of one fit are a little less than that.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.stats import binom, norm

Array = NDArray[np.float64]

CONFIDENCE = 0.95
"""Of every band here."""


@dataclass(frozen=True)
class Count:
    """How many of some builds had a property, and what to make of it.

    Attributes:
        held: how many had it.
        of: how many there were.
        low: lower end of the interval of the true share.
        high: its upper end.
        usual_low: fewest that luck leaves usual if the promised share is true.
        usual_high: most.
    """

    held: int
    of: int
    low: float
    high: float
    usual_low: int
    usual_high: int


def count(held: int, of: int, promised: float) -> Count:
    """Return a count with its interval and with what would be usual."""
    return Count(held, of, *wilson(held, of), *usual_counts(of, promised))


def wilson(held: int, of: int) -> tuple[float, float]:
    """Return the interval of a share by Wilson's score.

    Source: Wilson, Journal of the American Statistical Association 22 (1927), 209-212 (from memory). Without any
    case it is all from 0 to 1.
    """
    if not of:
        return 0.0, 1.0
    z = float(norm.ppf((1 + CONFIDENCE) / 2))
    share, shrunk = held / of, 1 + z**2 / of
    middle = (share + z**2 / (2 * of)) / shrunk
    half = z * sqrt(share * (1 - share) / of + z**2 / (4 * of**2)) / shrunk
    # At none and at all the ends are 0 and 1, which rounding may miss.
    return max(0.0, min(middle - half, share)), min(1.0, max(middle + half, share))


def usual_counts(of: int, share: float) -> tuple[int, int]:
    """Return between which counts luck leaves a share, at most 2.5 % of cases being beyond at either side."""
    tail = (1 - CONFIDENCE) / 2
    return int(binom.ppf(tail, of, share)), int(binom.ppf(1 - tail, of, share))


def inside(below: Array, level: float) -> NDArray[np.bool_]:
    """Return which readings lay in the central interval of a level, from the probability given to lower ones."""
    return np.abs(below - 0.5) <= level / 2


@dataclass(frozen=True)
class Bar:
    """One bar of a histogram of probabilities, and between which counts luck leaves it."""

    start: float
    end: float
    builds: int
    usual_low: int
    usual_high: int

    @property
    def unusual(self) -> bool:
        """Whether it lies outside its band, as one bar in twenty does by luck."""
        return not self.usual_low <= self.builds <= self.usual_high


FEWEST_A_BAR = 6
"""So many builds a bar at least, on average; below two bars' worth a histogram shows nothing."""

MOST_BARS = 10


def bars(below: Array) -> tuple[Bar, ...]:
    """Return the histogram of the probabilities given to lower readings, or none where builds are too few for one."""
    number = min(MOST_BARS, len(below) // FEWEST_A_BAR)
    if number < 2:
        return ()
    edges = np.linspace(0, 1, number + 1)
    counts = np.histogram(below, edges)[0].tolist()
    usual = usual_counts(len(below), 1 / number)
    return tuple(
        Bar(start, end, builds, *usual)
        for start, end, builds in zip(edges[:-1].tolist(), edges[1:].tolist(), counts, strict=True)
    )


def thirds(values: Sequence[float]) -> list[int]:
    """Return in which third of its kind each value lies, 0 to 2, by rank."""
    ranks = np.argsort(np.argsort(np.asarray(values), kind="stable"), kind="stable")
    return [int(3 * rank // len(values)) for rank in ranks]
