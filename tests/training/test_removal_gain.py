"""Before-and-after records of a way of taking stock off teach how much of the statics' loss the shop gets."""

import numpy as np
import pytest

from datasets.contents import Contents
from datasets.history import bow_at
from datasets.materials import handbook
from datasets.record import Record, ZeroPoint
from datasets.schema import Removal, WeighIn
from datasets.tolerances import GAIN_SD
from datasets.zero_points import from_back
from predictor.bow import handbook_moduli, weights
from predictor.own_history import Slips
from tests.predictor.bows import STRAIGHT, build
from training.evidence import evidence, readings
from training.hierarchy import fit

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


def weighed_before_and_after(number: int) -> list[Record]:
    """Return a bow that lost 1.3 times what the statics say by its sides, weighed exactly."""
    name = f"K-{number:03d}"
    made = build(id=name)
    cut = {"at": "fade", "amount_in": {"typed": "1/8", "taken": "caliper"}}
    sides = Removal.model_validate(
        {"id": f"{name}/2", "build": name, "on": "2026-03-02", "method": "sides", "done": [cut]}
    )
    bows = [bow_at(STRAIGHT, made, events) for events in ((), (sides,))]
    moduli = [handbook_moduli(bow, handbook()) for bow in bows]
    before, after = weights(bows, moduli, np.full((2, 1), DRAW_IN)).lbf[:, 0]
    left = before * (after / before) ** TRUE_GAIN
    return [made, weighed(name, 1, before), sides, weighed(name, 3, left)]


@pytest.fixture(scope="module")
def learned() -> tuple[float, float]:
    """Mean and sd of the gain of sides, after eight bows."""
    records = [record for number in range(1, BOWS + 1) for record in weighed_before_and_after(number)]
    belief = fit(readings(evidence(Contents.of([STRAIGHT, *records])).weighings), Slips()).posterior
    place = belief.effects.index("gain of sides")
    mean = belief.weights @ belief.means[:, place]
    return float(mean), float(np.sqrt(belief.weights @ belief.covariances[:, place, place]))


def test_the_gain_is_learned_and_shrunk(learned: tuple[float, float]) -> None:
    """From eight exact bows the gain lies between the statics' and the true one, the true one within two sds."""
    mean, sd = learned

    assert 0.1 < mean < TRUE_GAIN - 1
    assert sd < 0.8 * GAIN_SD
    assert abs(mean - (TRUE_GAIN - 1)) < 2 * sd
