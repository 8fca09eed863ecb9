"""What a shop's cutting tells of a bow: one that had to be narrowed much was likely heavier than the statics say.

A shop takes stock off until the scale shows what was ordered, so the last dimensions of a finished bow tell of its own
stiffness. How much of a cut is that, and how much a lighter order or a rough first width, the shop's builds teach. The
cut tells of the bow, not of a stage: it is a column of all readings of a build. A bow that nobody has cut to its weight
yet, such as a planned one, has the shop's usual cut, whose column is zero.
"""

from dataclasses import replace
from math import log

import numpy as np

from datasets.removals import gain_of
from datasets.schema import Method
from predictor.columns import Columns, Moment, Prior
from predictor.usual_cut import UsualCut

CUT = "cut to its weight"
CUT_PRIOR = Prior(0.3, 0.3)
"""Share of a cut that the bow's own excess of weight called for: from none of it to nearly all; a guess, no source."""


def with_cut(columns: Columns, over_usual: float) -> Columns:
    """Return columns with the one of what a bow was cut by over the shop's usual, a logarithm of weight."""
    column = np.full(len(columns.offset), over_usual)
    return replace(columns, common={**columns.common, CUT: column}, priors={**columns.priors, CUT: CUT_PRIOR})


def cut_of(columns: Columns) -> float:
    """Return what the bow of some columns was cut by over the usual; zero where nobody told them."""
    return float(columns.common[CUT][0]) if CUT in columns.common else 0.0


def over_usual(columns: Columns, moment: Moment, usual: UsualCut) -> float:
    """Return by how much more than usual a bow was cut until a weighing, as a logarithm of weight.

    Weight goes with width where equal shares are taken all along a limb; other ways of taking stock off count by the
    statics. Zero on a form of which no bow was weighed before it was finished.
    """
    if moment.form not in usual.first_width_in:
        return 0.0
    narrowed = log(usual.first_width_in[moment.form] / columns.sizes_in["width at mid-limb"])
    other = -sum(float(np.mean(columns.common.get(gain, 0.0))) for gain in _OTHER_GAINS)
    return narrowed + other - usual.cut


_OTHER_GAINS = tuple(gain_of(method) for method in Method if method not in {Method.SIDES, Method.SHORTEN})
