"""A weight that is expected, with the range that holds nine of ten."""

import numpy as np
from pydantic import Field

from datasets.record import Record
from predictor.belief.mixture import NormalMixture

HELD = 0.9
"""Share of weights that lie within a range."""

REACH_SDS = 1.645
"""Standard deviations to either side that a normal number's range reaches."""


class Ranged(Record):
    """A weight in pounds, or a difference of two, with its range."""

    lbf: float = Field(description="it lies below as often as above")
    low_lbf: float = Field(description="nine of ten lie between this and the next")
    high_lbf: float

    @classmethod
    def about(cls, lbf: float, log_sd: float) -> "Ranged":
        """Return the range of a weight whose logarithm is normal.

        Args:
            lbf: its median.
            log_sd: standard deviation of its logarithm.
        """
        factor = float(np.exp(REACH_SDS * log_sd))
        return cls(lbf=lbf, low_lbf=lbf / factor, high_lbf=lbf * factor)


def ranged(logs: NormalMixture) -> list[Ranged]:
    """Return the weights whose logarithms a mixture tells of, in its order."""
    low, middle, high = (np.exp(logs.quantile((1 + side * HELD) / 2)).tolist() for side in (-1, 0, 1))
    return [
        Ranged(lbf=lbf, low_lbf=least, high_lbf=most)
        for least, lbf, most in zip(low, middle, high, strict=True)
    ]
