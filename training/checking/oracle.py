"""The floor of an invented shop: who knows its truth, but of each bow only what its records say.

No method can do better with these records, but for what a bow's own weighings would tell. What is left is each bow's
own scatter, the tolerances of its dimensions, and the reading.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from datasets.record import ZeroPoint
from datasets.zero_points import from_back
from predictor.belief.columns import FINISHED
from predictor.bows.bow import weights
from training.checking.questions import Question
from training.workshop.shop_truth import Scatter, ShopTruth, shape_effect

Array = NDArray[np.float64]


def knowing_the_shop(shop: ShopTruth, scatter: Scatter, asked: Sequence[Question]) -> Array:
    """Return what is to be expected of the logarithm of each reading, shape (n,).

    Args:
        shop: the truth: theory, moduli of the lots, forms, scales, mean losses. Its bows are not looked at.
        scatter: sizes of the effects that the shop was simulated with.
        asked: the questions.
    """
    (expected,) = knowing_the_shops([(shop, asked)], scatter)
    return expected


def knowing_the_shops(known: Sequence[tuple[ShopTruth, Sequence[Question]]], scatter: Scatter) -> list[Array]:
    """Return what is to be expected in several shops, each as `knowing_the_shop` has it; all are solved together.

    Args:
        known: the truth of each shop, and the questions asked there.
        scatter: sizes of the effects that all of them were simulated with.
    """
    every = [(shop, question) for shop, asked in known for question in asked]
    draws = [[from_back(q.moment.draws_in[0], ZeroPoint.STANDARD, q.bow.pivot_depth)] for _, q in every]
    solved = weights(
        [question.bow for _, question in every], [shop.lots for shop, _ in every], np.array(draws)
    )
    effects = [_effects(shop, scatter, question) for shop, question in every]
    expected: Array = np.log(solved.lbf[:, 0]) + effects
    return np.split(expected, np.cumsum([len(asked) for _, asked in known])[:-1])


def _effects(shop: ShopTruth, scatter: Scatter, question: Question) -> float:
    """Return all that a shop adds to the statics at its lots' moduli."""
    moment = question.moment
    form = shop.forms[moment.form.split("/")[0]]
    shape = float(shape_effect(form, np.array(moment.draws_in))[0])
    scale = shop.scales[moment.scale] if moment.scale else 0.0
    sanding = scatter.finish_mean if moment.stage in FINISHED else 0.0
    shot_in = shop.settling_at_500 * shop.settled(moment.shots or 0)
    return shop.theory + shape + scale - sanding - shot_in
