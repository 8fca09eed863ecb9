"""What one change does to a bow's weight: shared doubts cancel, and the answer obeys the laws of bent limbs."""

from collections.abc import Callable
from typing import Any

import pytest

from datasets.materials import handbook
from datasets.record import DrawLength, ZeroPoint
from datasets.schema import Event, Removal, Rigging, StringSpec, WeighIn
from predictor.bows.bow import Refusal
from predictor.prediction.predict import Prediction, predict
from predictor.prediction.supposed import (
    Supposed,
    wider,
    with_brace,
    with_glass,
    with_length,
    with_removal,
    with_string,
)
from predictor.prediction.what_if import Expected, WhatIf, what_if
from tests.predictor.example_bows import STRAIGHT, build

DRAW = DrawLength(inch=28, zero=ZeroPoint.STANDARD)
WEIGHED = WeighIn.model_validate(
    {
        "id": "K-001/1",
        "build": "K-001",
        "on": "2026-03-01",
        "stage": "tillered",
        "readings": [{"draw": "28", "weight": "50"}],
    }
)
NOW = Supposed(build(), (), DRAW)


def removal(method: str = "sides", *, measured: bool = False, **amounts: str) -> Removal:
    """Return stock taken off, thought of."""
    cuts = [{"at": place, "amount_in": amount} for place, amount in amounts.items()]
    data = {"id": "K-001/9", "build": "K-001", "on": "2026-03-09", "method": method}
    return Removal.model_validate({**data, "done" if measured else "planned": cuts})


def asked(then: Supposed, now: Supposed = NOW) -> WhatIf:
    """Return what a change does."""
    told = what_if(STRAIGHT, now, then, "a change", handbook())
    assert isinstance(told, WhatIf), told
    return told


def width(expected: Expected) -> float:
    """Return the width of the 90 % interval."""
    return expected.intervals[-1].high_lbf - expected.intervals[-1].low_lbf


def sides(amount: str, *, measured: bool = False) -> Supposed:
    """Return the bow with its sides taken in evenly."""
    return with_removal(NOW, removal(measured=measured, fade=amount))


def force(events: tuple[Event, ...], **changes: Any) -> float:
    """Return the median force that a prediction tells by itself."""
    told = predict(STRAIGHT, build(**changes), events, (DRAW,), handbook())
    assert isinstance(told, Prediction), told
    return told.force.weight_lbf


CHANGES: dict[str, Callable[[Supposed], Supposed]] = {
    "sides": lambda bow: with_removal(bow, removal(fade="1/16")),
    "glass": lambda bow: with_glass(bow, 0.005, more=True),
    "length": lambda bow: with_length(bow, bow.build.length_in.inch - 0.5),
    "width": lambda bow: wider(bow, 0.0625),
    "brace": lambda bow: with_brace(bow, bow.brace().inch + 0.25),
}


@pytest.mark.parametrize("name", CHANGES)
def test_it_is_the_difference_of_two_predictions(name: str) -> None:
    """The change is the difference of the medians of two predictions, to first order, and far surer than either."""
    then = CHANGES[name](NOW)
    told = asked(then)
    apart = predict(STRAIGHT, then.build, then.events, (DRAW,), handbook())

    assert isinstance(apart, Prediction)
    assert told.difference.lbf == pytest.approx(apart.force.weight_lbf - force(()), rel=0.03)
    assert told.after.lbf == pytest.approx(apart.force.weight_lbf, rel=1e-6)
    assert width(told.difference) < 0.25 * width(told.after)


def test_brace_is_antisymmetric() -> None:
    """An eighth more brace and an eighth less change the weight by opposite amounts, to second order."""
    inch = NOW.brace().inch
    up, down = (asked(with_brace(NOW, inch + step)).difference.lbf for step in (0.125, -0.125))
    small_up, small_down = (asked(with_brace(NOW, inch + step)).difference.lbf for step in (0.0625, -0.0625))

    assert up + down == pytest.approx(0, abs=0.1 * abs(up))
    assert up + down == pytest.approx(4 * (small_up + small_down), rel=0.05)


def test_equal_shares_of_the_sides_are_proportional() -> None:
    """A limb of square edges, taken in by one share of its width all along, loses that share of its weight.

    The stiffness goes with the width; the string's stretch, which does not, is why it is not exact.
    """
    widths = [{"at": "fade", "belly_in": "1 1/4"}, {"at": "nock", "belly_in": "5/8"}]
    now = Supposed(build(widths=widths, edge_radius_in="0"), (), DRAW)
    told = asked(with_removal(now, removal(fade=".0500", nock=".0250")), now)

    assert told.difference.lbf == pytest.approx(-0.04 * told.before.lbf, rel=0.002)


def test_no_change_is_no_change() -> None:
    """Where nothing changes, the difference is nothing, surely."""
    for then in (NOW, with_brace(NOW, NOW.brace().inch), with_glass(NOW, 0.0, more=True), sides("0")):
        told = asked(then)

        assert told.difference.lbf == width(told.difference) == 0
        assert told.after == told.before


def test_a_small_change_is_surely_small() -> None:
    """The width of a change goes to nothing with the change."""
    large, small = (asked(sides(amount)).difference for amount in ("1/16", "1/64"))

    assert width(small) == pytest.approx(width(large) / 4, rel=0.05)


def test_what_is_only_planned_is_less_sure() -> None:
    """How a removal is carried out is a doubt until it is measured; then the caliper's error counts instead."""
    planned, measured = (asked(sides(".2", measured=done)).difference for done in (False, True))

    assert planned.lbf == pytest.approx(measured.lbf, rel=0.02)
    assert width(planned) > 1.2 * width(measured)


def test_own_weighings_make_it_surer() -> None:
    """A bow that was weighed tells its own weight, and so what a share of it is."""
    weighed = Supposed(NOW.build, (WEIGHED,), DRAW)
    told = asked(CHANGES["length"](weighed), weighed)

    assert told.before.lbf == pytest.approx(50, rel=0.06)
    assert width(told.difference) < width(asked(CHANGES["length"](NOW)).difference)


def test_a_longer_draw_is_heavier_by_the_slope() -> None:
    """An eighth of an inch more draw adds the slope of the draw curve times that."""
    longer = Supposed(NOW.build, (), DrawLength(inch=28.125, zero=ZeroPoint.STANDARD))
    told = predict(STRAIGHT, build(), (), (DRAW,), handbook())

    assert isinstance(told, Prediction)
    assert asked(longer).difference.lbf == pytest.approx(told.draws[0].per_inch_lbf / 8, rel=0.03)


def test_a_brace_height_noted_later_is_the_one_that_changes() -> None:
    """The last brace height noted is changed, so that its error is one and the same before and after."""
    noted = WEIGHED.model_copy(update={"brace": NOW.brace().model_copy(update={"inch": 7.5})})
    now = Supposed(NOW.build, (noted,), DRAW)
    then = with_brace(now, 7.75)

    assert (now.brace().inch, then.brace().inch, then.build) == (7.5, 7.75, now.build)
    assert width(asked(then, now).difference) < 0.1


def test_twice_the_strands_change_little() -> None:
    """At one brace height the stretch of a string of low stretch hardly matters, and the one last noted counts."""
    spec = NOW.string()
    thicker = StringSpec(material=spec.material, strands=2 * spec.strands)
    rigged = Rigging.model_validate(
        {"id": "K-001/2", "build": "K-001", "on": "2026-03-02", "string": {"strands": 10}}
    )
    later = Supposed(NOW.build, (rigged,), DRAW)

    assert with_string(NOW, thicker).string() == with_string(later, thicker).string() == thicker
    assert with_string(later, thicker).build == NOW.build
    assert 0 < abs(asked(with_string(NOW, thicker)).difference.lbf) < 0.1


def test_a_bow_that_would_break_is_refused() -> None:
    """A change after which the limb would break is refused, and one that leaves little margin is warned of."""
    thick = with_glass(NOW, 0.25, more=False).build
    far = Supposed(thick, (), DrawLength(inch=36, zero=ZeroPoint.STANDARD))
    near = asked(Supposed(NOW.build, (), DrawLength(inch=33, zero=ZeroPoint.STANDARD)))

    assert isinstance(what_if(STRAIGHT, NOW, far, "too thick", handbook()), Refusal)
    assert any("strain margin" in remark for remark in near.notes)


def test_a_bow_that_cannot_be_is_refused() -> None:
    """Sides taken in by more than the limb's width leave no bow, which is said."""
    told = what_if(STRAIGHT, NOW, sides("1.2 in"), "all of it", handbook())

    assert isinstance(told, Refusal)
