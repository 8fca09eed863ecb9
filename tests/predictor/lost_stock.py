"""What stock taken off a limb costs, by what it is worth along the limb."""

import numpy as np

from datasets.removals import Polyline
from datasets.schema import Method
from predictor.prediction.worth import UNIT_IN, LimbWorth


def lost_lbf(limb: LimbWorth, method: Method, amounts: Polyline) -> float:
    """Return what amounts in inches at stations take off the weight.

    It is in proportion to the amounts, and so meant for some units; less than a unit off the edges costs less.
    """
    units = np.interp(limb.station, *amounts) / UNIT_IN[method]
    return float((limb.length * units * limb.lost[method]).sum())
