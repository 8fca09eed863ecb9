"""What a kit's maker gets of the loss of weight that the statics tell of a removal, and how far it scatters.

Each way of taking stock off has a gain that a shop's weighings before and after removals have taught, and its builders
carry plans out more or less fully. The kit is foretold as it stands and after a thought-of removal by each method; what
is believed of the difference is the removal's own.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import sqrt

import numpy as np

from datasets.schema import Method, Removal, Stage
from predictor.bow import Refusal
from predictor.foresight import Situation, foresee
from predictor.kit_state import Kit
from predictor.prospects import Judged, Knowledge


@dataclass(frozen=True)
class Got:
    """What is got of the loss by the statics.

    Attributes:
        gain: share of it that is expected, both as logarithms.
        share: standard deviation of a loss over the one expected, as a share of it.
    """

    gain: float
    share: float


def got_by(
    kit: Kit, judged: Judged, knowledge: Knowledge, tried: Mapping[Method, Sequence[Removal]]
) -> Mapping[Method, Got] | Refusal:
    """Return what is got by each method, or why the statics refuse a removal.

    Args:
        kit: as it stands.
        judged: draw at which the loss counts.
        knowledge: of the shop.
        tried: by each method a removal that takes something off.
    """
    if not tried:
        return {}
    now = Situation(kit.events, (judged.draw,), Stage.TILLERED, shots=0, exact=True)
    after = [replace(now, events=(*kit.events, *removals)) for removals in tried.values()]
    found = foresee(
        kit.form, kit.build, kit.events, [now, *after], knowledge.materials, knowledge.model, knowledge.strips
    )
    if isinstance(found, Refusal):
        return found
    foretold, solved = found
    covariance = foretold.joint.covariance
    middle, statics = np.log(foretold.weights_lbf(0.5)), np.log([one.weight_lbf[0] for one in solved])
    told = {}
    for place, method in enumerate(tried, 1):
        loss = float(middle[0] - middle[place])
        variance = covariance[0, 0] + covariance[place, place] - 2 * covariance[0, place]
        told[method] = Got(loss / float(statics[0] - statics[place]), sqrt(variance) / loss)
    return told
