"""What is believed about the size of a scatter before its own readings speak.

A prior is a density of the logarithm of the scale, which is the coordinate the fit works in. Shops are learned from
under `LogNormal`; `Flat` switches the penalty off and gives the plain restricted likelihood.
"""

from dataclasses import dataclass
from math import exp, log
from typing import Protocol, Self


class ScalePrior(Protocol):
    """A density of a standard deviation, up to a constant."""

    @property
    def start(self) -> float:
        """Where the search for the scale begins."""

    @property
    def free(self) -> bool:
        """Whether the readings may move the scale at all."""

    def log_density(self, log_scale: float) -> tuple[float, float]:
        """Return the log density of the logarithm of the scale, and its derivative."""


@dataclass(frozen=True)
class LogNormal:
    """A scale known to within a factor: its logarithm is normal about that of the median.

    For scatters of which handbooks and the bench already give the size: the mean square of a half-t of four degrees of
    freedom is 3.6 times its squared median, so with few builds it expects lots twice as far apart as anyone has seen.
    """

    median: float
    log_sd: float
    free: bool = True

    @classmethod
    def of_mean_square(cls, root: float, log_sd: float, *, free: bool = True) -> Self:
        """Return the density of which the mean square has the given root.

        What handbooks and benches give is a root mean square; taken as the median, effects would be expected
        exp(log_sd**2) times as far apart as that.
        """
        return cls(root * exp(-(log_sd**2)), log_sd, free)

    def __post_init__(self) -> None:
        if not (self.median > 0 and self.log_sd > 0):
            raise ValueError(
                f"wanted a positive median and log sd, got {self.median} and {self.log_sd}: give both above zero"
            )

    @property
    def start(self) -> float:
        """The median."""
        return self.median

    def log_density(self, log_scale: float) -> tuple[float, float]:
        """Return the log density of the logarithm of the scale, and its derivative."""
        off = (log_scale - log(self.median)) / self.log_sd
        return -(off**2) / 2, -off / self.log_sd


@dataclass(frozen=True)
class Flat:
    """No belief: the scale is where the restricted likelihood is highest, zero included."""

    start: float
    free: bool = True

    def log_density(self, log_scale: float) -> tuple[float, float]:  # noqa: ARG002 - the protocol's argument
        """Return zero and zero."""
        return 0.0, 0.0


def penalty(priors: tuple[ScalePrior, ...], log_scales: list[float]) -> tuple[float, list[float]]:
    """Return minus twice the sum of the log densities, and its gradient."""
    pairs = [prior.log_density(value) for prior, value in zip(priors, log_scales, strict=True)]
    return -2 * sum(value for value, _ in pairs), [-2 * slope for _, slope in pairs]
