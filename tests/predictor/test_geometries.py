"""Over a thousand geometries that hypothesis draws, in batches: each keeps the energy identity or is refused."""

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from predictor import statics, unlike
from predictor.statics import Status
from tests.predictor.geometries import GEOMETRIES, GRIPS, MISMATCHES, grid, joined, pairs

STEP = 0.01
PLACES = np.array([0.02, 0.15, 0.5, 1.0])

batched = settings(
    deadline=None,
    derandomize=True,
    phases=[Phase.generate],
    # One example is a batch of bows, which is large and slow to draw on purpose.
    suppress_health_check=[HealthCheck.large_base_example, HealthCheck.data_too_large, HealthCheck.too_slow],
)


def triples(from_draw, travel):
    """Three draws close together at each of the places between brace and full draw, shape (n, 3 × places)."""
    middle = from_draw[:, None] + np.maximum(travel[:, None] * PLACES, 2 * STEP)
    return (middle[:, :, None] + np.array([-STEP, 0.0, STEP])).reshape(len(travel), -1)


def check_identity_or_refusal(drawn, energy):
    """A solved draw stores its work to 1e-4; a refused one has a reason and no numbers.

    Simpson's rule takes the work over a fiftieth of an inch, so that no place is lost in the mean over the draw.
    """
    refused = drawn.status != Status.OK
    assert np.all(np.isnan(drawn.force) == refused)
    assert np.all(drawn.force[~refused] > 0)
    assert all(Status(status).reason for status in np.unique(drawn.status))
    stored = np.stack([energy(drawn.hold(column)) for column in range(drawn.force.shape[1])], axis=1)
    force, stored = (values.reshape(len(refused), -1, 3) for values in (drawn.force, stored))
    work = STEP / 3 * (force @ [1.0, 4.0, 1.0])
    error = np.abs((stored[..., 2] - stored[..., 0]) / work - 1)
    whole = ~refused.reshape(force.shape).any(axis=-1)
    assert float(error[whole].max(initial=0.0)) < 1e-4


@pytest.mark.slow
@settings(batched, max_examples=26)
@given(st.lists(GEOMETRIES, min_size=40, max_size=40))
def test_a_thousand_drawn_geometries_are_solved_or_refused(chosen):
    """Straight, reflexed and recurved limbs, stiff ears and hollow tips store what the draw puts in, or are refused."""
    limbs = joined([grid(one) for one in chosen])
    height, string, travel = (
        np.array([getattr(one, name) for one in chosen]) for name in ("brace", "string", "travel")
    )
    braced = statics.brace(limbs, height, string)
    drawn = statics.draw(limbs, braced, triples(height, travel))

    def energy(hold):
        shape = statics.shape(limbs, braced, hold)
        return shape.bending_energy + shape.string_energy

    check_identity_or_refusal(drawn, energy)


@pytest.mark.slow
@settings(batched, max_examples=5)
@given(st.lists(st.tuples(GEOMETRIES, MISMATCHES, GRIPS), min_size=20, max_size=20))
def test_a_hundred_drawn_unlike_bows_are_solved_or_refused(chosen):
    """Two limbs that differ, of the same kinds, on a riser that is held off its centre, do so too."""
    bows = pairs(chosen)
    height, travel = (np.array([getattr(one, name) for one, *_ in chosen]) for name in ("brace", "travel"))
    braced = unlike.brace(bows, height)
    drawn = unlike.draw(bows, braced, triples(np.where(np.isnan(braced.draw), height, braced.draw), travel))

    def energy(hold):
        return sum(half.bending_energy + half.string_energy for half in unlike.shapes(bows, braced, hold))

    check_identity_or_refusal(drawn, energy)
