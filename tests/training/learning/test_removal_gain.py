"""Before-and-after records of a way of taking stock off teach how much of the statics' loss the shop gets."""

import numpy as np
import pytest

from datasets.contents import Contents
from datasets.history import bow_at
from datasets.materials import handbook
from datasets.record import Record, ZeroPoint
from datasets.removals import gain_of
from datasets.schema import Method, Removal, WeighIn
from datasets.tolerances import GAIN_SD
from datasets.zero_points import from_back
from predictor.belief.own_history import Slips
from predictor.bows.bow import handbook_moduli, weights
from tests.predictor.example_bows import STRAIGHT, build
from training.engine.hierarchy import fit
from training.learning.evidence import evidence, readings

TRUE_GAIN = 1.3
BOWS = 8
DRAW_IN = from_back(28.0, ZeroPoint.STANDARD, 2.25)


def weighed(name: str, number: int, lbf: float) -> WeighIn:
    """Return a weighing at 28 in."""
    reading = {"draw": "28", "weight": f"{lbf:.2f}"}
    return WeighIn.model_validate(
        {
            "id": f"{name}/{number}",
            "build": name,
            "on": f"2026-03-{number:02d}",
            "stage": "tillered",
            "readings": [reading],
            "scale": "hanging",
        }
    )


CUTS = {"sides": "1/8", "trap": "3/16", "edges": "5/32", "belly-glass": ".008", "back-glass": ".008"}
"""Amounts that cost several per cent each."""


def weighed_before_and_after(number: int, method: str) -> list[Record]:
    """Return a bow that lost 1.3 times what the statics say by one method, weighed exactly."""
    name = f"K-{number:03d}"
    made = build(id=name, edge_radius_in=".04")
    cut = {"at": "fade", "amount_in": {"typed": CUTS[method], "taken": "caliper"}}
    off = Removal.model_validate(
        {"id": f"{name}/2", "build": name, "on": "2026-03-02", "method": method, "done": [cut]}
    )
    bows = [bow_at(STRAIGHT, made, events) for events in ((), (off,))]
    moduli = [handbook_moduli(bow, handbook()) for bow in bows]
    before, after = weights(bows, moduli, np.full((2, 1), DRAW_IN)).lbf[:, 0]
    left = before * (after / before) ** TRUE_GAIN
    return [made, weighed(name, 1, before), off, weighed(name, 3, left)]


def learned(method: str) -> tuple[float, float]:
    """Return mean and sd of the gain of a method less one, after eight bows."""
    records = [record for number in range(1, BOWS + 1) for record in weighed_before_and_after(number, method)]
    belief = fit(readings(evidence(Contents.of([STRAIGHT, *records])).weighings), Slips()).posterior
    place = belief.effects.index(gain_of(Method(method)))
    mean = belief.weights @ belief.means[:, place]
    return float(mean), float(np.sqrt(belief.weights @ belief.covariances[:, place, place]))


@pytest.mark.parametrize("method", CUTS)
def test_the_gain_is_learned_and_shrunk(method: str) -> None:
    """From eight exact bows the gain is the true one, shrunk toward the statics as its sd tells, within one sd.

    Of a normal prior about nothing with sd s0, a belief left with sd s has its mean at the share 1 - (s / s0)^2 of what
    exact records say.
    """
    mean, sd = learned(method)
    shrunk = (TRUE_GAIN - 1) * (1 - (sd / GAIN_SD) ** 2)

    assert sd < 0.9 * GAIN_SD
    assert abs(mean - shrunk) < sd
    assert 0 < mean < TRUE_GAIN - 1
