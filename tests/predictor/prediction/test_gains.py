"""What measuring better would bring: never wider, and what is said is what then comes true."""

from fractions import Fraction
from math import asinh
from typing import Any

import pytest

from datasets.materials import handbook
from datasets.record import DrawLength, ZeroPoint
from datasets.schema import Event, Removal, Stage, WeighIn
from predictor.belief.foresight import Situation
from predictor.prediction.gains import LEVEL, Budget, budget, by_caliper
from predictor.prediction.predict import Prediction, predict
from tests.predictor.example_bows import STRAIGHT, build

DRAW = DrawLength(inch=28, zero=ZeroPoint.STANDARD)


WEIGHED = WeighIn.model_validate(
    {
        "id": "K-001/1",
        "build": "K-001",
        "on": "2026-03-01",
        "stage": "tillered",
        "readings": [{"draw": "28", "weight": "48"}],
    }
)


def told(*events: Event, scale: str | None = None, **changes: Any) -> Budget:
    """Return the budget of a build with some fields changed, before any training."""
    read = Situation(events, (DRAW,), Stage.TILLERED, scale=scale)
    found = budget(STRAIGHT, build(**changes), events, read, handbook())
    assert isinstance(found, Budget)
    return found


def half_width(*events: Event, scale: str | None = None, **changes: Any) -> float:
    """Return half the width of the interval that `predict` gives."""
    found = predict(STRAIGHT, build(**changes), events, (DRAW,), handbook(), scale=scale)
    assert isinstance(found, Prediction)
    (interval,) = [one for one in found.draws[0].intervals if one.level == LEVEL]
    return (interval.high_lbf - interval.low_lbf) / 2


@pytest.mark.parametrize("scale", [None, "spring"])
@pytest.mark.parametrize("events", [(), (WEIGHED,)])
def test_half_width_is_that_of_the_prediction(events: tuple[Event, ...], scale: str | None) -> None:
    """As things are, the budget's half width is the one of the prediction, own weighings and scale counted alike."""
    found = told(*events, scale=scale, planned=True)

    assert found.half_width_lbf == pytest.approx(half_width(*events, scale=scale, planned=True), rel=1e-9)


def test_a_weighed_bow_gains_little_from_a_strip() -> None:
    """Once a bow is weighed, a strip test of its lots brings less than a quarter of what it brought before."""
    before, after = (
        max(found.half_width_lbf - gain.half_width_lbf for gain in found.gains if "strip" in gain.measure)
        for found in (told(), told(WEIGHED))
    )

    assert 0 < after < before / 4


def test_a_check_weight_pays_where_scales_change() -> None:
    """A check weight brings next to nothing where a bow is read again on its scale: what that scale adds cancels."""

    def saved(found: Budget) -> float:
        (check,) = [gain for gain in found.gains if gain.measure.startswith("check weight")]
        return found.half_width_lbf - check.half_width_lbf

    assert 0 <= saved(told(WEIGHED)) < 0.1 * saved(told(WEIGHED, scale="spring"))


@pytest.mark.parametrize("events", [(), (WEIGHED,)])
def test_nothing_widens(events: tuple[Event, ...]) -> None:
    """No measurement makes the interval wider, and the best stands first."""
    found = told(*events, planned=True)
    widths = [gain.half_width_lbf for gain in found.gains]

    assert widths == sorted(widths)
    assert widths[-1] <= found.half_width_lbf


def test_caliper_of_all_is_what_a_measured_build_has() -> None:
    """Variances of log weight saved by the caliper, source by source, add up to the step from plan to caliper, to 2 %.

    The tolerance is for slopes: they are differences over one sd of each dimension, and a plan's is wider.
    Before training the logarithm is normal: an interval of half width w about its median m reaches asinh(w / m).
    """
    plan, found = build(planned=True), told(planned=True)
    measured = predict(STRAIGHT, by_caliper(plan), (), (DRAW,), handbook())
    assert isinstance(measured, Prediction)
    (at_28,) = measured.draws
    (interval,) = [one for one in at_28.intervals if one.level == LEVEL]

    def variance(half_width_lbf: float) -> float:
        return asinh(half_width_lbf / at_28.weight_lbf) ** 2

    now = variance(found.half_width_lbf)
    calipers = [gain for gain in found.gains if gain.measure.startswith("caliper")]
    saved = sum(now - variance(gain.half_width_lbf) for gain in calipers)
    assert saved == pytest.approx(now - variance((interval.high_lbf - interval.low_lbf) / 2), rel=0.02)


def test_strip_settles_a_lot() -> None:
    """Before training, strips of wood and glass are worth more than any caliper of a measured bow."""
    first, second = (gain.measure for gain in told().gains[:2])

    assert {first.split(" of ")[0], second.split(" of ")[0]} == {"strip test"}


def by_plan(method: str, amount_in: str, **changes: Any) -> Removal:
    """Return a removal all along of which only the plan is noted, unless changed."""
    cuts = [{"at": place, "amount_in": amount_in} for place in ("fade", "nock")]
    data = {"id": "K-001/2", "build": "K-001", "on": "2026-03-02", "method": method, "planned": cuts}
    return Removal.model_validate(data | changes)


def by_caliper_at(amount_in: str, *places: str) -> list[dict[str, Any]]:
    """Return cuts of one amount that were measured by caliper."""
    inch = float(Fraction(amount_in))
    return [{"at": at, "amount_in": {"inch": inch, "taken": "caliper"}} for at in places]


@pytest.mark.parametrize(
    ("method", "amount_in", "kind"), [("sides", "1/8", "width"), ("edges", "3/16", "corners")]
)
def test_measuring_what_was_taken_off_is_offered_and_comes_true(
    method: str, amount_in: str, kind: str
) -> None:
    """After a cut by plan alone the best thing is to measure it, and its half width is what a caliper then leaves."""
    found = told(WEIGHED, by_plan(method, amount_in))
    measured = by_plan(method, amount_in, done=by_caliper_at(amount_in, "fade", "nock"))

    assert found.gains[0].measure == f"measure what was taken off: {kind}"
    assert found.gains[0].half_width_lbf == pytest.approx(half_width(WEIGHED, measured), rel=1e-9)
    assert found.gains[0].half_width_lbf < found.half_width_lbf


def test_measuring_is_not_offered_where_it_brings_nothing() -> None:
    """A cut that was measured, and one so small that the plan is the better guide, are not offered to be measured."""
    done = by_plan("sides", "1/8", done=by_caliper_at("1/8", "fade"))
    for removal in (done, by_plan("sides", "1/64")):
        assert not any("taken off" in gain.measure for gain in told(WEIGHED, removal).gains)
