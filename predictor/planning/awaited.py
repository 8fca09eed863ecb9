"""The weighings that a plan waits for: at which draw a kit is weighed, and what it is expected to read there.

A kit is not drawn past the weight that it is meant to have, but for the little that settling is still to take (common
practice, no source). Where its full draw would pass that by more, it is weighed at the draw where it is expected to
reach its target, rounded down; the shape of its readings over draw is that of the kit as it stands.
"""

from dataclasses import dataclass
from math import floor, sqrt

import numpy as np
from numpy.typing import NDArray

from datasets.history import bow_at
from datasets.record import DrawLength, Record
from datasets.zero_points import from_zero
from predictor.belief.foresight import Situation, foresee, laid_out
from predictor.bows.bow import Refusal
from predictor.planning.kit_state import Kit, KitState
from predictor.planning.knowledge import Knowledge
from predictor.planning.promise import Promise
from predictor.prediction.ranged import Ranged, ranged

Array = NDArray[np.float64]

MOST_OVER_LBF = 2.0
"""By which a full draw may pass the target weight on the bench (common practice, no source)."""

STEP_IN = 0.5
"""Draws to weigh at are multiples of this."""

LEAST_PAST_BRACE_IN = 4.0
"""Shortest draw that is weighed at, beyond the brace (common practice, no source)."""


class Awaited(Record):
    """A weighing to come."""

    draw: DrawLength
    reading: Ranged


@dataclass(frozen=True)
class Readings:
    """What one more weighing of a kit would read as it stands, at its promised draw and at shorter ones.

    Attributes:
        target_lbf: weight promised.
        draws: longest first; none where even the shortest is refused.
        readings: expected at each.
        log_variances: of the logarithm of each reading.
    """

    target_lbf: float
    draws: tuple[DrawLength, ...]
    readings: tuple[Ranged, ...]
    log_variances: Array

    def now(self) -> Awaited | None:
        """Return the weighing of the kit as it stands; nothing where no draw is short enough."""
        place = self._place(1.0)
        return None if place is None else Awaited(draw=self.draws[place], reading=self.readings[place])

    def after(self, lbf: float, log_sd: float) -> Awaited | None:
        """Return the weighing of a lighter kit; nothing where no draw is short enough.

        Args:
            lbf: reading expected at the promised draw.
            log_sd: standard deviation of its logarithm.
        """
        share = lbf / self.readings[0].lbf if self.readings else 1.0
        place = self._place(share)
        if place is None:
            return None
        variance = log_sd**2 + float(self.log_variances[place] - self.log_variances[0])
        reading = Ranged.about(share * self.readings[place].lbf, sqrt(max(variance, 0.0)))
        return Awaited(draw=self.draws[place], reading=reading)

    def _place(self, share: float) -> int | None:
        """Return the longest draw that is weighed at, of a kit that reads so much of what this one does."""
        most = [self.target_lbf + MOST_OVER_LBF, *[self.target_lbf] * len(self.draws)]
        places = range(len(self.draws))
        return next((place for place in places if share * self.readings[place].lbf <= most[place]), None)


def readings_of(kit: Kit, state: KitState, promise: Promise, knowledge: Knowledge) -> Readings:
    """Return what one more weighing of a kit would read.

    Args:
        kit: as it stands.
        state: what is believed of it.
        promise: with the draw at which its weight counts.
        knowledge: of the shop.
    """
    target, draw = promise.weight_lbf, promise.judged.draw
    if state.reading.lbf <= target + MOST_OVER_LBF:
        return Readings(target, (draw,), (state.reading,), np.zeros(1))
    draws = _shorter(kit, draw)
    stage, shots = kit.stands_at()
    asked = Situation(kit.events, draws, stage, shots, state.scale)
    found = foresee(
        laid_out(
            kit.form, kit.build, kit.events, (asked,), knowledge.materials, knowledge.model, knowledge.strips
        )
    )
    if isinstance(found, Refusal):
        return Readings(target, (), (), np.zeros(0))
    logs = found[0].joint.marginal()
    return Readings(target, draws, tuple(ranged(logs)), logs.sd**2)


def _shorter(kit: Kit, draw: DrawLength) -> tuple[DrawLength, ...]:
    """Return a draw and the multiples of a step below it, down to the shortest that is weighed at."""
    bow = bow_at(kit.form, kit.build, kit.events)
    least_in = from_zero(bow.brace, draw.zero, bow.pivot_depth) + LEAST_PAST_BRACE_IN
    count = max(floor((draw.inch - least_in) / STEP_IN), 0)
    below = STEP_IN * (np.ceil(draw.inch / STEP_IN) - 1 - np.arange(count))
    return (draw, *(draw.model_copy(update={"inch": inch, "typed": None}) for inch in below.tolist()))
