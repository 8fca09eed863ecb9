"""Beyond the sizes that a shop's bows have had the statics are believed to an exponent: none within, more outside."""

from collections.abc import Mapping
from math import log, sqrt

import pytest

from datasets.materials import handbook
from datasets.record import DrawLength, ZeroPoint
from datasets.schema import Event, Stage, WeighIn
from predictor.belief.beyond import BEYOND, EXPONENT_SDS, LENGTH, STACK, WIDTH, beyond
from predictor.belief.calibration import Calibration
from predictor.belief.habits import Habits
from predictor.belief.model import FORMAT, Model, prior_belief
from predictor.planning.knowledge import Knowledge
from predictor.planning.promise import Judged
from predictor.planning.prospects import prospects
from predictor.prediction.predict import Prediction, predict
from tests.predictor.example_bows import STRAIGHT, build

DRAW = DrawLength(inch=28, zero=ZeroPoint.STANDARD)
SEEN = {STACK: (0.282, 0.290), LENGTH: (24.0, 26.0), WIDTH: (0.9, 1.2)}


def model(seen_in: Mapping[str, tuple[float, float]]) -> Model:
    """Return a model of bows of such sizes that has learned nothing else."""
    return Model(
        format=FORMAT,
        tool="0",
        trained_at="2026-01-01",
        data_hash="0" * 64,
        records=1,
        builds=1,
        readings=1,
        builds_by_form={},
        builds_by_material={},
        calibration=Calibration(),
        habits=Habits(seen_in=dict(seen_in)),
        posterior=prior_belief().to_json(),
    )


def predicted(seen_in: Mapping[str, tuple[float, float]] | None, *events: Event) -> Prediction:
    """Return the prediction of the straight bow, untrained where no sizes are given."""
    trained = None if seen_in is None else model(seen_in)
    found = predict(STRAIGHT, build(), events, [DRAW], handbook(), trained)
    assert isinstance(found, Prediction)
    return found


def source(told: Prediction, name: str) -> float:
    """Return the log sd that a source alone would give; zero where it is not named."""
    return sum(one.sd_lbf for one in told.shares if one.source == name) / told.draws[0].weight_lbf


def stack_in() -> float:
    """Return the straight bow's stack at mid-limb: glass and lams, less a taper that counts from the bow's middle."""
    return 2 * 0.040 + 0.140 + 0.170 - 0.0015 * (8 + 13)


def test_nothing_within() -> None:
    """Within the range, at its very ends too, and before any bow has taught, the statics are believed as ever."""
    sizes = {STACK: 0.3, LENGTH: 25.0, WIDTH: 1.0}

    assert not list(beyond(sizes, {name: (size, size) for name, size in sizes.items()}))
    assert not list(beyond(sizes, {name: (0.9 * size, 1.1 * size) for name, size in sizes.items()}))
    assert not list(beyond(sizes, {}))
    wide = dict.fromkeys(sizes, (0.1, 100.0))
    assert predicted(wide).draws[0].log_sd == predicted(None).draws[0].log_sd


def test_grows_with_the_distance() -> None:
    """A stack of one and a half times the thickest gives .15 log 1.5; one as much thinner the same, its sign turned."""
    (thick,) = beyond({STACK: 0.45}, {STACK: (0.2, 0.3)})
    (thin,) = beyond({STACK: 0.2 / 1.5}, {STACK: (0.2, 0.3)})

    assert thick.log_ratio == pytest.approx(log(1.5)) == -thin.log_ratio
    assert thick.name == thin.name == "statics beyond the stacks seen so far"
    assert thick.exponent_sd == 0.15


@pytest.mark.parametrize(("size", "true_in"), [(STACK, stack_in()), (LENGTH, 26.0), (WIDTH, 1.0)])
@pytest.mark.parametrize("ratio", [0.7, 1.3])
def test_a_prediction_is_wider_by_just_that(size: str, true_in: float, ratio: float) -> None:
    """The exponent's part adds to the variance of the logarithm, is named in the budget, and moves no median."""
    plain = predicted(None).draws[0]
    told = predicted({size: (true_in * ratio, true_in * ratio)})
    added = EXPONENT_SDS[size] * abs(log(ratio))

    assert source(told, BEYOND[size]) == pytest.approx(added, rel=0.001)
    assert told.draws[0].log_sd == pytest.approx(sqrt(plain.log_sd**2 + added**2), rel=1e-3)
    assert told.draws[0].weight_lbf == pytest.approx(plain.weight_lbf, rel=1e-9)
    assert told.distance <= 1


def test_own_weighings_settle_it() -> None:
    """All weighings of a bow share the exponent, so one reading leaves under a third of its part."""
    read = WeighIn.model_validate(
        {
            "id": "K-001/1",
            "build": "K-001",
            "on": "2026-03-01",
            "stage": "tillered",
            "readings": [{"draw": "28", "weight": "52.5"}],
        }
    )
    name = BEYOND[STACK]

    assert 0 < source(predicted(SEEN, read), name) < source(predicted(SEEN), name) / 3


def test_a_planned_stack_is_told_so_too() -> None:
    """What may be pressed is told with the same doubt as a bow of these very dimensions: one seam for both."""

    def sds(trained: Model | None) -> tuple[float, float]:
        (found,) = prospects(STRAIGHT, [build()], Judged(DRAW, 0, "hook"), Knowledge(handbook(), trained))
        alone = predict(
            STRAIGHT, build(), (), [DRAW], handbook(), trained, Stage.FIRST_DRAW, shots=0, scale="hook"
        )
        return float(found.first.sd[0]), alone.draws[0].log_sd

    for trained in (None, model(SEEN)):
        planned, alone = sds(trained)
        assert planned == pytest.approx(alone, rel=1e-9)
    assert sds(model(SEEN))[0] > sds(None)[0]
