"""What the weighings of one bow tell of another that is pressed like it.

Both share the doubts about moduli, lots, form and scale, so a bow that reads heavy makes the next one of its lams
expected heavier. What each bow has of its own, lots that nobody noted among it, and the tolerances of its dimensions,
they do not share. The belief is
that of a shop that has not learned from the bow, and its weighings count once: of a bow that a model has learned from
in full the same comes out as from that model.
"""

from dataclasses import dataclass, replace

import numpy as np

from predictor.belief.columns import Columns, of_another_bow
from predictor.belief.foresight import Standing, foretell, standing
from predictor.belief.mixture import NormalMixture
from predictor.belief.own_history import laid_with_cut, together
from predictor.belief.posterior import Array, Posterior, predict
from predictor.belief.seen import seen_by
from predictor.belief.weighings import weighed
from predictor.bows.features import features
from predictor.planning.kit_state import Kit
from predictor.planning.knowledge import Knowledge
from predictor.planning.prospects import without_scatter

DOUBTFUL = 0.5
"""A bow whose record or weighings hold a slip more likely than this tells nothing of others."""


@dataclass(frozen=True, kw_only=True)
class LikeBow(Knowledge):
    """What a shop knows with the weighings of one bow, of others like it.

    Attributes:
        stand: what is believed apart from these weighings, and they.
    """

    stand: Standing

    def log_weight(self, told: Columns) -> NormalMixture:
        """Return what is believed of the logarithm of what columns of another bow explain, one number a row."""
        belief = self.stand.belief
        own, read = laid_with_cut(self.stand.weighings, self.stand.cut)
        seen = seen_by(belief, together([*own, ("another", of_another_bow(without_scatter(told)))]))
        mine, others = slice(len(read)), slice(len(read), None)
        expected = predict(
            belief, seen.rows.part(others), seen.rows.part(mine), read - seen.offset[mine]
        ).marginal()
        scattered = replace(expected, sds=np.sqrt(expected.sds**2 + _own_variances(belief, told)))
        wider = scattered.stretched(self.wider(told))
        return NormalMixture(wider.weights, wider.means + seen.offset[others], wider.sds)


def _own_variances(belief: Posterior, told: Columns) -> Array:
    """Return the variances of what another bow and its weighing share with no other, shape (sets of scales, rows)."""
    own = sum((given.column**2 for given in (*told.tolerances, *told.weighing)), np.zeros_like(told.sd))
    of_bow = [np.outer(belief.scale(name) ** 2, told.build[name] ** 2) for name in belief.build_columns]
    total: Array = own + np.sum(of_bow, axis=0) + np.outer(belief.scale("noise") ** 2, told.sd**2)
    return total


def with_bow(kit: Kit, knowledge: Knowledge) -> Knowledge:
    """Return what a shop knows of bows like one of its own, that one's weighings counted.

    A bow that the model has learned from and whose records have changed since, or whose record looks like a slip,
    counts as the model has it.

    Args:
        kit: the bow with its history.
        knowledge: of the shop.
    """
    mine = list(weighed(kit.form, kit.build, kit.events))
    found = features([one.case for one in mine], knowledge.materials)
    stand = standing(mine, found, knowledge.materials, knowledge.model, knowledge.strips)
    if not stand.weighings or stand.changed:
        return knowledge
    slips = foretell(stand, [(stand.weighings[-1].columns, False)]).slips()
    if sum(slips.values()) > DOUBTFUL:
        return knowledge
    return LikeBow(knowledge.materials, knowledge.model, knowledge.strips, stand=stand)
