"""What a kit's maker gets of the loss of weight that the statics tell of a removal, and how far it scatters.

Each way of taking stock off has a gain that a shop's weighings before and after removals have taught, and its builders
carry plans out more or less fully. The kit is foretold as it stands and after a small and a large thought-of removal by
each method; what is believed of the differences is the removal's own. Off widths and glass both tell the same. A corner
is rounded to a radius, and so loses less the rounder it is already, and how round it is, is hardly known: of a little
that is planned off the corners much is in doubt.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import hypot

import numpy as np
from numpy.typing import NDArray

from datasets import tolerances
from datasets.removals import gain_of
from datasets.schema import Method, Removal, Stage
from predictor.belief.columns import Prior
from predictor.belief.foresight import Situation, foresee, laid_out
from predictor.bows.bow import Refusal
from predictor.planning.kit_state import Kit
from predictor.planning.knowledge import Knowledge
from predictor.planning.promise import Judged

Array = NDArray[np.float64]

Tried = tuple[Sequence[Removal], Sequence[Removal]]
"""A small and a large thought-of removal; the same where only one can be made."""


@dataclass(frozen=True)
class Got:
    """What is got of a loss that the statics tell, all as logarithms of weight.

    Attributes:
        gain: of each loss expected more for each told.
        offset: expected of a loss by nothing, as where a corner may be rounder than noted.
        share: standard deviation of a loss for each told.
        floor: of a loss by nothing.
    """

    gain: float
    offset: float
    share: float
    floor: float

    def expected(self, losses: Array) -> Array:
        """Return what is expected of losses by the statics; nothing of none."""
        found: Array = np.where(losses > 0, np.maximum(self.gain * losses + self.offset, 0.0), 0.0)
        return found

    def sd(self, loss: float) -> float:
        """Return the standard deviation of a loss."""
        return hypot(self.share * loss, self.floor)

    def relative(self, loss: float) -> float:
        """Return the standard deviation of a loss as a share of the one expected, at most 1."""
        expected = float(self.expected(np.array(loss)))
        return min(self.sd(loss) / expected, 1.0) if expected > 0 else 1.0


def got_by(
    kit: Kit,
    judged: Judged,
    knowledge: Knowledge,
    tried: Mapping[Method, Tried],
    stage: Stage,
) -> Mapping[Method, Got] | Refusal:
    """Return what is got by each method, or why the statics refuse a removal.

    Args:
        kit: as it stands.
        judged: draw at which the loss counts.
        knowledge: of the shop.
        tried: by each method.
        stage: at which the loss counts: a rounding that finishing would have done without a note costs a finished bow
            nothing.
    """
    if not tried:
        return {}
    now = Situation(kit.events, (judged.draw,), stage, shots=0, exact=True)
    after = [replace(now, events=(*kit.events, *removals)) for pair in tried.values() for removals in pair]
    found = foresee(
        laid_out(
            kit.form,
            kit.build,
            kit.events,
            [now, *after],
            knowledge.materials,
            knowledge.model,
            knowledge.strips,
        )
    )
    if isinstance(found, Refusal):
        return found
    foretold, solved = found
    covariance = foretold.joint.covariance
    middle, statics = np.log(foretold.weights_lbf(0.5)), np.log([one.weight_lbf[0] for one in solved])
    variances = covariance[0, 0] + np.diag(covariance) - 2 * covariance[0]
    losses = np.stack([statics[0] - statics, middle[0] - middle, np.sqrt(variances)])[:, 1:]
    pairs = losses.reshape(3, len(tried), 2)
    return {method: _got(*pairs[:, place]) for place, method in enumerate(tried)}


def _got(told: Array, expected: Array, sds: Array) -> Got:
    """Return what is got by a small and a large removal: losses by the statics, those expected, and their doubts."""
    (small, large), apart = told, told[1] - told[0]
    if apart <= 0:
        return Got(float(expected[1] / large), 0.0, float(sds[1] / large), 0.0)
    gain = float((expected[1] - expected[0]) / apart)
    share = np.sqrt(max(sds[1] ** 2 - sds[0] ** 2, 0.0) / (large**2 - small**2))
    floor = np.sqrt(max(sds[0] ** 2 - (share * small) ** 2, 0.0))
    return Got(gain, float(expected[0] - gain * small), float(share), float(floor))


def believed_gain(knowledge: Knowledge, method: Method) -> Prior:
    """Return the share of a loss by the statics that a shop gets by a method: its mean and standard deviation."""
    name, belief = gain_of(method), knowledge.by_builds
    if name not in belief.effects:
        return Prior(1.0, tolerances.GAIN_SD)
    beyond = belief.effect(name)
    return Prior(1.0 + float(beyond.mean[0]), float(beyond.sd[0]))
