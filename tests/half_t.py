"""A prior of scatters of which nothing is known."""

from dataclasses import dataclass
from math import exp, log1p

from scipy.stats import t as student


@dataclass(frozen=True)
class HalfT:
    """Half of a Student-t density with the given median; the fewer degrees of freedom, the longer its tail.

    It is finite at zero, so in the coordinate that a fit works in, the logarithm, its mode is never at zero (Gelman,
    Bayesian Analysis 1 (2006), 515-534, from memory).
    """

    median: float
    df: float = 4.0
    free: bool = True

    def __post_init__(self) -> None:
        if not (self.median > 0 and self.df > 0):
            raise ValueError(f"wanted a positive median and df, got {self.median} and {self.df}")

    @property
    def start(self) -> float:
        """The median."""
        return self.median

    def log_density(self, log_scale: float) -> tuple[float, float]:
        """Return the log density of the logarithm of the scale, and its derivative."""
        squared = (exp(log_scale) / self._unit()) ** 2
        value = log_scale - (self.df + 1) / 2 * log1p(squared / self.df)
        return value, 1 - (self.df + 1) * squared / (self.df + squared)

    def quantile(self, probability: float) -> float:
        """Return the scale that lies above the given share of the density."""
        return self._unit() * float(student.ppf((1 + probability) / 2, self.df))

    def _unit(self) -> float:
        return self.median / float(student.ppf(0.75, self.df))
