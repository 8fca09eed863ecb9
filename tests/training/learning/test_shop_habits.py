"""What is learned of removals and settling holds in invented shops: as often as it says, and nearer than the statics.

Seeds 545000 to 545011, forty builds each. Bounds are those of luck alone at the number of figures that there are.
"""

from dataclasses import dataclass

import numpy as np
import pytest

from datasets.contents import Contents
from datasets.removals import gain_of
from predictor.belief.model import Model
from predictor.belief.settling import FULL_SETTLING_SHOTS, LawBasis
from predictor.belief.shot_in import left_after
from training.learning.train import train
from training.workshop.shop_truth import Scatter, ShopTruth
from training.workshop.virtual_shop import simulate

SEEDS = range(545_000, 545_012)
BUILDS = 40


@dataclass(frozen=True)
class Gained:
    """A method's true gain, less one, beside what was learned."""

    removals: int
    true: float
    low: float
    middle: float
    high: float


@pytest.fixture(scope="module")
def shops() -> list[tuple[ShopTruth, Model]]:
    """Each shop's truth and what its book taught."""
    made = [simulate(seed, BUILDS) for seed in SEEDS]
    return [(one.truth, train(Contents.of(one.records), "0" * 64, len(one.records)).model) for one in made]


@pytest.fixture(scope="module")
def gains(shops: list[tuple[ShopTruth, Model]]) -> list[Gained]:
    """The gain of every method that a shop used."""
    found = []
    for truth, model in shops:
        belief = model.belief()
        for method, share in truth.method_gain.items():
            if gain_of(method) in belief.effects:
                effect = belief.effect(gain_of(method))
                ends = (float(effect.quantile(p)[0]) for p in (0.05, 0.5, 0.95))
                removals = model.habits.weighed_removals.get(gain_of(method), 0)
                found.append(Gained(removals, share - 1, *ends))
    return found


@pytest.mark.slow
def test_gains_lie_in_their_intervals(gains: list[Gained]) -> None:
    """Of some forty true gains, nine in ten lie in their 90 % intervals, within two and a half standard errors."""
    inside = np.mean([one.low <= one.true <= one.high for one in gains])

    assert len(gains) > 30
    assert abs(inside - 0.9) < 2.5 * np.sqrt(0.9 * 0.1 / len(gains))


@pytest.mark.slow
def test_learned_gains_beat_the_statics(gains: list[Gained]) -> None:
    """A gain with five removals or more behind it is nearer to the true one than the statics' own loss, on average."""
    learned = [one for one in gains if one.removals >= 5]
    off, untold = (
        np.mean(np.abs(some)) for some in zip(*((g.middle - g.true, g.true) for g in learned), strict=True)
    )

    assert off < untold


@pytest.mark.slow
def test_how_plans_are_carried_out(shops: list[tuple[ShopTruth, Model]]) -> None:
    """The mean and the scatter of carrying a plan out come out near the invented ones: no bias, twelve per cent."""
    beliefs = [model.habits.carrying_out.anybody for _, model in shops]
    z = [belief.mean / belief.mean_sd for belief in beliefs]
    scatter = np.mean([belief.sd for belief in beliefs])

    assert abs(np.mean(z)) < 2.5 / np.sqrt(len(z))
    assert scatter == pytest.approx(Scatter().carried_out, abs=0.02)


@pytest.mark.slow
def test_loss_by_shooting_in(shops: list[tuple[ShopTruth, Model]]) -> None:
    """At least 85 % of bows lose by 500 shots what the 90 % interval of their shop says."""
    inside = []
    for truth, model in shops:
        left = left_after(model.belief(), model.habits.settling, FULL_SETTLING_SHOTS)
        inside += [left.low <= np.exp(-bow.settling_at_500) <= left.high for bow in truth.bows.values()]

    assert np.mean(inside) >= 0.85


@pytest.mark.slow
def test_a_dozen_bows_do_not_tell_laws_apart(shops: list[tuple[ShopTruth, Model]]) -> None:
    """In the air of one weighing, a hundredth, a dozen bows seldom decide: most shops keep the labelled default."""
    default = [model.habits.settling.basis is LawBasis.DEFAULT for _, model in shops]

    assert np.mean(default) >= 0.75
