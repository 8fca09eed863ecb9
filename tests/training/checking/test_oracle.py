"""The oracle knows a shop's truth, and no more of a bow than its records say."""

from dataclasses import replace

import numpy as np
import pytest

from datasets.contents import Contents
from predictor.belief.model import prior_belief
from training.checking.oracle import knowing_the_shop, knowing_the_shops
from training.checking.questions import answers, cut_to_weight, only_asked, questions
from training.learning.evidence import evidence
from training.workshop.shop_truth import Scatter
from training.workshop.virtual_shop import simulate, simulate_side_by_side

ALIKE = Scatter(
    theory=0.3,
    wood=0.2,
    glass=0.2,
    wood_bow=0,
    glass_bow=0,
    glass_in=0,
    lam_in=0,
    planned_lam_in=0,
    waviness=0,
    glue_line_in=0,
    limbs=0,
    radius_in=0,
    trap_in=0,
    brace_in=0,
    nock_offset_in=0,
    string=0,
    bow=0,
    climate=0,
    draw_in=0,
    scale_lbf=0,
    carried_out=0,
    method_gain=0,
    finish=1e-4,
    settling=1e-3,
)
"""Large differences between shops, none between bows of one lot."""


def _asked(shop):
    contents = Contents.of(shop.records)
    asked = evidence(only_asked(contents, contents.builds, cut_to_weight)).weighings
    return questions(contents, asked, cut_to_weight)


def test_knows_all_that_is_common():
    """Where bows differ by nothing unknown, the oracle is off by what rules and scales round: 2 %.

    A width is rounded to 1/32 or 1/16, of about 1 in, and the weight of some 45 lb to 1/4 or 1/2.
    """
    shop = simulate(seed=32, builds=16, scatter=ALIKE)
    asked = _asked(shop)
    read = np.array([question.log_weight for question in asked])
    off = read - knowing_the_shop(shop.truth, ALIKE, asked)
    assert np.sqrt(np.mean(off**2)) < 0.02
    assert np.sqrt(np.mean((read - answers(prior_belief(), asked).mean) ** 2)) > 0.05


def test_does_not_look_at_bows():
    """What the oracle says stays the same without the truth of the bows."""
    shop = simulate(seed=33, builds=4)
    asked = _asked(shop)
    blind = replace(shop.truth, bows={})
    assert np.array_equal(
        knowing_the_shop(blind, Scatter(), asked), knowing_the_shop(shop.truth, Scatter(), asked)
    )


def test_stiffer_glass_by_its_effect():
    """With stiffer glass the oracle expects more by the statics' own derivative, to second order."""
    shop = simulate(seed=34, builds=3)
    asked = _asked(shop)
    stiffer = {key: psi * (1.02 if key[0] == "limb glass" else 1.0) for key, psi in shop.truth.lots.items()}
    more = knowing_the_shop(replace(shop.truth, lots=stiffer), Scatter(), asked)
    gained = more - knowing_the_shop(shop.truth, Scatter(), asked)
    slopes = [question.columns.common["stiffness of limb glass"][0] for question in asked]
    assert gained == pytest.approx(np.log(1.02) * np.array(slopes), rel=0.03)


def test_several_shops_as_each_alone():
    """Of several shops, one of which is asked nothing, the oracle says what it says of each alone, to 1e-9."""
    shops = simulate_side_by_side((33, 34), 3)
    known = [(shops[0].truth, _asked(shops[0])), (shops[1].truth, ()), (shops[1].truth, _asked(shops[1]))]
    one, none, other = knowing_the_shops(known, Scatter())
    assert none.shape == (0,)
    assert one == pytest.approx(knowing_the_shop(known[0][0], Scatter(), known[0][1]), abs=1e-9)
    assert other == pytest.approx(knowing_the_shop(known[2][0], Scatter(), known[2][1]), abs=1e-9)
