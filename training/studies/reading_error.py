"""What a weighing is off by, the scale's own bias aside: as the shop's repeated weighings show, or as it is assumed."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, sqrt

from predictor.belief.scatter import NOISE_LOG_SD, PRIOR_SCATTER
from training.checking.rivals import SHARE_PER_INCH
from training.studies.gauge_study import Pooled, pooled
from training.studies.weighed_again import Occasion, on_one_scale

ASSUMED_FREEDOM = 1 / (2 * NOISE_LOG_SD**2)
"""What is assumed counts as so many degrees of freedom: a standard deviation of that many is known as well."""


@dataclass(frozen=True)
class ReadingError:
    """Errors of reading the scale and the draw, from hand to hand.

    Attributes:
        repeats: scatter of readings of one bow as it stood on one scale, whoever weighed; nothing where none was
            weighed twice.
    """

    repeats: Pooled | None

    def sd_lbf(self, weight_lbf: float, per_inch_lbf: float | None = None) -> float:
        """Return the standard uncertainty of one reading, in pounds.

        Args:
            weight_lbf: of the bow.
            per_inch_lbf: slope of its weight with draw; the usual share of its weight where it is not known.
        """
        slope = SHARE_PER_INCH * weight_lbf if per_inch_lbf is None else per_inch_lbf
        assumed = hypot(PRIOR_SCATTER.scale_reading_lbf, PRIOR_SCATTER.draw_reading_in * slope)
        if self.repeats is None:
            return assumed
        squares = ASSUMED_FREEDOM * assumed**2 + self.repeats.freedom * self.repeats.sd**2
        return sqrt(squares / (ASSUMED_FREEDOM + self.repeats.freedom))


def reading_error(weighed_again: Sequence[Occasion]) -> ReadingError:
    """Return the error that weighings of bows as they stood bear out, with what is assumed before."""
    return ReadingError(pooled(on_one_scale(weighed_again)))
