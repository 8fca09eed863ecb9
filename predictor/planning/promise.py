"""The weight that a bow is promised to have, and when and how it counts."""

from dataclasses import dataclass

import numpy as np

from datasets.record import DrawLength


@dataclass(frozen=True)
class Judged:
    """When and how the weight of a finished bow counts.

    Attributes:
        draw: draw length.
        shots: arrows shot by then.
        scale: that is read; nothing for the true force.
    """

    draw: DrawLength
    shots: int
    scale: str | None = None


@dataclass(frozen=True)
class Promise:
    """A weight to be kept, either way by a tolerance."""

    weight_lbf: float
    tolerance_lbf: float
    judged: Judged

    @property
    def least(self) -> float:
        """Logarithm of the least weight that keeps it."""
        return float(np.log(self.weight_lbf - self.tolerance_lbf))

    @property
    def most(self) -> float:
        """Logarithm of the greatest weight that keeps it."""
        return float(np.log(self.weight_lbf + self.tolerance_lbf))
