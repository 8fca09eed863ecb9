"""Bows drawn by lot from all that a weight depends on, before anything is learned, for tests of what is believed."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from predictor.belief.columns import Columns
from predictor.belief.own_history import USUAL_SLIPS
from predictor.belief.scatter import SCATTER_SDS

Array = NDArray[np.float64]
DRAWS = 20_000


class Lots:
    """Bows drawn by lot: each effect has one value in a bow, whatever weighing it enters.

    Attributes:
        rng: where chance comes from.
        drawn: standard normal values by name, one a bow.
    """

    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng(seed)
        self.drawn: dict[str, Array] = {}

    def value(self, name: str) -> Array:
        """Return standard normal values of an effect."""
        return self.drawn.setdefault(name, self.rng.standard_normal(DRAWS))

    def log_lbf(self, told: Columns, bow: str = "") -> Array:
        """Return the logarithm of what each bow weighs, without the air of the day and the errors of reading.

        Args:
            told: what the weighing depends on.
            bow: name of the bow; bows of two names share no effects and sizes of their own, and no lot not noted.
        """
        total = np.full(DRAWS, told.offset[0])
        for name, column in told.common.items():
            prior = told.priors[name]
            total += column[0] * (prior.mean + prior.sd * self.value(name))
        for group, levels in told.groups.items():
            for level, column in levels.items():
                total += column[0] * SCATTER_SDS[group] * self.value(f"{group}: {level}")
        for group, lots in told.unnoted.items():
            for name, column in lots.items():
                total += column[0] * SCATTER_SDS[group] * self.value(f"{group}: {name} of {bow}")
        for name, column in told.build.items():
            total += column[0] * SCATTER_SDS[name] * self.value(f"own {name} {bow}")
        for given in told.tolerances:
            total += given.column[0] * self.value(f"size {given.name} {bow}")
        return total


@dataclass(frozen=True)
class Weighted:
    """A number of each bow, and how well each bow agrees with what was read."""

    values: Array
    weights: Array

    @property
    def mean(self) -> float:
        """Mean of the bows that agree."""
        return float(np.average(self.values, weights=self.weights))

    @property
    def sd(self) -> float:
        """Their standard deviation."""
        return float(np.sqrt(self.moment(2)))

    def moment(self, power: int) -> float:
        """Return a central moment."""
        return float(np.average((self.values - self.mean) ** power, weights=self.weights))

    @property
    def bows(self) -> float:
        """How many bows of equal weight would tell as much (Kish, Survey Sampling, 1965, section 11.7, from memory)."""
        return float(self.weights.sum() ** 2 / (self.weights**2).sum())

    @property
    def mean_error(self) -> float:
        """Standard error of the mean."""
        return self.sd / np.sqrt(self.bows)

    @property
    def sd_error(self) -> float:
        """Standard error of the standard deviation, by the fourth moment."""
        return float(np.sqrt((self.moment(4) - self.sd**4) / self.bows) / (2 * self.sd))


def slips(rng: np.random.Generator) -> Array:
    """Return shifts by a wrong record of the bow, and by a wrong weighing or reading, shape (2, bows)."""
    shares = [USUAL_SLIPS.build_share, USUAL_SLIPS.weighing_share + USUAL_SLIPS.reading_share]
    kind = rng.choice(3, size=DRAWS, p=[*shares, 1 - sum(shares)])
    return (kind == np.arange(2)[:, None]) * USUAL_SLIPS.sd * rng.standard_normal(DRAWS)
