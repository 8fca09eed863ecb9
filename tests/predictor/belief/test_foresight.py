"""A bow's own weighings in its prediction: counted once, shared errors cancel, slips are not followed blindly."""

from typing import Any

import numpy as np
import pytest

from datasets.materials import handbook
from datasets.record import DrawLength, ZeroPoint
from datasets.schema import Event, Stage, WeighIn
from predictor.belief.foresight import Foretold, Situation, foresee, laid_out
from predictor.belief.own_history import Slips, conditioned
from predictor.belief.posterior import Posterior, Rows, predict
from predictor.belief.shares import log_variances
from tests.predictor.example_bows import STRAIGHT, build

DRAWS = tuple(DrawLength(inch=inch, zero=ZeroPoint.STANDARD) for inch in (26, 28))
BOW = build()


def weigh_in(number: int, lbf: str, **changes: Any) -> WeighIn:
    """Return a weighing of the bow at 28 in."""
    data = {
        "id": f"{BOW.id}/{number}",
        "build": BOW.id,
        "on": f"2026-03-0{number}",
        "stage": "tillered",
        "readings": [{"draw": "28", "weight": lbf}],
    }
    return WeighIn.model_validate(data | changes)


def foretold(*history: Event, scale: str | None = None) -> Foretold:
    """Return a reading at two draws now, then the force now and once settled at 28 in."""
    now = Situation(history, DRAWS, Stage.TILLERED, scale=scale)
    force = Situation(history, DRAWS[1:], Stage.TILLERED, exact=True)
    settled = Situation(history, DRAWS[1:], Stage.SETTLED, 500, exact=True)
    found = foresee(laid_out(STRAIGHT, BOW, history, (now, force, settled), handbook()))
    assert isinstance(found, tuple)
    return found[0]


def log_sd(found: Foretold) -> np.ndarray:
    """Return the standard deviations of the logarithms."""
    return found.joint.marginal().sd


def test_one_weighing_halves_the_width() -> None:
    """Before training a reading at 28 in leaves less than a quarter of the width of the force."""
    assert log_sd(foretold(weigh_in(1, "50")))[2] < 0.25 * log_sd(foretold())[2]


def test_more_weighings_narrow() -> None:
    """Each further weighing that agrees narrows what is foretold."""
    widths = [log_sd(foretold(*(weigh_in(n, "50") for n in range(1, k + 1))))[2] for k in range(4)]

    assert widths == sorted(widths, reverse=True)


def test_an_unknown_scale_is_one_and_the_same() -> None:
    """Where nobody noted the scale, the next reading on it is surer than one on a scale of the shop."""
    weighed = weigh_in(1, "50")

    assert log_sd(foretold(weighed))[1] < log_sd(foretold(weighed, scale="spring"))[1]


def test_loss_is_surer_than_weight() -> None:
    """What is lost by settling is known better than the weight itself: what both share cancels."""
    found = foretold()
    change = found.changes([2], [3])

    assert change.quantile(0.5)[0] < 0
    assert change.sd[0] < 0.25 * log_sd(found)[3] * found.weights_lbf(0.5)[3]


@pytest.mark.parametrize("history", [(), ("50",), ("50", "49.5", "51"), ("70",)])
def test_shares_add_up(history: tuple[str, ...]) -> None:
    """The variances of all sources add up to that of the reading, and none is negative."""
    found = foretold(*(weigh_in(n, lbf) for n, lbf in enumerate(history, 1)))
    shares = log_variances(found, np.array([0.0, 1.0, 0.0, 0.0]))

    assert sum(shares.values()) == pytest.approx(log_sd(found)[1] ** 2, rel=1e-9)
    assert min(shares.values()) >= -1e-15


def test_a_slip_is_not_followed() -> None:
    """Of three weighings the one that the two others contradict counts for nothing, and is named."""
    sound, slipped = weigh_in(1, "50"), weigh_in(2, "65")
    found = foretold(sound, slipped, weigh_in(3, "50"))

    assert found.slips()[slipped.id] > 0.99
    assert found.weights_lbf(0.5)[1] == pytest.approx(50, abs=0.5)


def test_a_lone_weighing_far_off_leaves_it_open() -> None:
    """One weighing far from all expectation may be a slip or mean a wrong record: both stay possible."""
    found = foretold(weigh_in(1, "90"))
    low, high = found.weights_lbf(0.05)[1], found.weights_lbf(0.95)[1]

    assert low < 60 < 90 < high


TAU, SIGMA = 0.05, 0.03
"""Scatter between builds and of a reading."""


@pytest.mark.parametrize(("taken", "sd"), [(1, 0.03952), (2, 0.03580), (3, 0.03417), (5, 0.03268)])
def test_without_slips_it_is_the_closed_form(taken: int, sd: float) -> None:
    """With slips ruled out the next reading has the sd of the one-way closed form, as in the test of posteriors."""
    belief = Posterior(
        ("a",), (), ("b",), np.ones(1), np.array([[TAU, SIGMA]]), np.zeros((1, 1)), np.zeros((1, 1, 1))
    )
    n = taken + 1
    rows = Rows(np.ones((n, 1)), {}, np.ones((n, 1)), np.zeros((n, 0)), np.ones(n))
    none = Slips(build_share=1e-300, weighing_share=1e-300, reading_share=1e-300)
    found = conditioned(belief, rows, np.full(taken, 0.1), list(range(taken)), none).joint
    alone = predict(belief, rows.part(slice(taken, n)), rows.part(slice(0, taken)), np.full(taken, 0.1))

    assert found.marginal().sd[0] == pytest.approx(sd, abs=5e-6)
    assert found.mean == pytest.approx(alone.mean, rel=1e-12)
