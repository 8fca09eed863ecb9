"""A shop cuts the bows that read heavy, by chance too; what it learns of its removals must not take that up.

Sixty shops of 65 bows each, seeds 563000 to 563059. Bounds are those of luck alone at the number of gains that there
are, two and a half standard errors.
"""

import numpy as np
import pytest
from numpy.typing import NDArray

from datasets.removals import gain_of
from predictor.belief.own_history import Slips
from tests.shops_that_cut import shop
from training.engine.hierarchy import fit
from training.learning.cuts import usual_cut, with_cuts
from training.learning.evidence import readings

SEEDS = range(563_000, 563_060)
BOWS = 65


@pytest.fixture(scope="module")
def scores() -> NDArray[np.float64]:
    """What each gain learned is off by, in its standard deviations."""
    found = []
    for seed in SEEDS:
        gains, weighings = shop(np.random.default_rng(seed), BOWS)
        belief = fit(readings(with_cuts(weighings, usual_cut(weighings))), Slips()).posterior
        for method, gain in gains.items():
            learned = belief.effect(gain_of(method))
            found.append((float(learned.mean[0]) - gain) / float(learned.sd[0]))
    return np.array(found)


@pytest.mark.slow
def test_gains_lean_to_no_side(scores: NDArray[np.float64]) -> None:
    """Over the shops, gains come out too great as often as too small: their scores are zero on average."""
    assert len(scores) == 2 * len(SEEDS)
    assert abs(np.mean(scores)) < 2.5 / np.sqrt(len(scores))


@pytest.mark.slow
def test_gains_lie_in_their_intervals(scores: NDArray[np.float64]) -> None:
    """Nine true gains in ten lie within 1.645 standard deviations."""
    inside = np.mean(np.abs(scores) < 1.645)

    assert abs(inside - 0.9) < 2.5 * np.sqrt(0.9 * 0.1 / len(scores))
